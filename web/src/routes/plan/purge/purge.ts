// The purge page's fields and the input of the calculation from them.
import { command } from '#core/plancli.ts';
import { entry, listOf, pairs, unread, type Entry, type Form, type Specs, type Sure } from '#core/planform.ts';

/** One way in a sequence; high is the pressure of a cycle, above or below the air around; u… their standard uncertainties. */
export interface Step extends Record<string, string> { method: string; amount: string; high: string; space: string; uamount: string; uhigh: string; uspace: string }
export interface Option { key: string; label: string; amount: number; unit: string; oxygen_ppmv: number; upper_ppb: number; gas_kg: number; cost?: number; minutes?: number; note: string }
export interface Result {
	oxygen_ppmv: number; oxygen_pct: number; oxygen_mg: number; upper_ppb: number; headspace_ppb: number; equilibrium_ppb: number; contact_ppb: number; floor_ppb: number; floor_ppmv: number;
	amount: number; amount_exact: number; amount_unit: string; planned_step: number; gas_kg: number; gas_volumes: number; released_m3: number; cost?: number; minutes?: number;
	room_average_ppm?: number; room_average_oxygen_pct?: number; vessel_l: number; station_kpa: number;
	steps: { method: string; amount: number; unit: string; oxygen_ppmv: number; gas_kg: number }[]; curve: { amount: number; oxygen_ppmv: number; upper_ppb: number }[] | null; compare: Option[];
	mixing?: { mixed_ppmv: number; mixed_upper_ppb: number; calm_ppmv: number; calm_upper_ppb: number };
	reading?: { read_ppmv: number; planned_ppmv: number; upper_ppb: number; worth?: number; more?: number; says: string; word: string };
	cautions: { code: string; text: string }[];
}

export const SPECS: Specs = {
	vessel: { kind: 'volume', flag: '--vessel', label: 'Vessel', field: 'vessel_ml', start: '50 hL' }, beer: { kind: 'volume', flag: '--beer', label: 'Beer that goes in', field: 'beer_ml', start: '45 hL' },
	diameter: { kind: 'length', flag: '--diameter', label: 'Inner diameter', field: 'diameter_mm', start: '1.6 m' }, straight: { kind: 'length', flag: '--straight', label: 'Straight part', field: 'straight_mm', start: '2.1 m' }, cone: { kind: 'length', flag: '--cone', label: 'Cone height', field: 'cone_mm', start: '1.2 m' },
	target: { kind: 'oxygen', flag: '--target', label: 'Oxygen it may bring to the beer, at most', field: 'target_ppb', start: '150 ppb' }, residual: { kind: 'share', flag: '--residual', label: 'Oxygen to be left in the gas', field: 'residual_fraction', start: '100 ppm v/v' },
	volumes: { kind: 'plain', flag: '--volumes', label: 'Vessel volumes of gas', field: 'volumes', start: '5' }, cycles: { kind: 'plain', flag: '--cycles', label: 'Cycles', field: 'cycles', start: '8' },
	high: { kind: 'gauge', flag: '--high-gauge', label: 'Filled to', field: 'high_gauge_kpa', start: '1 bar', hint: 'Within the rating on the plate' }, low: { kind: 'gauge', flag: '--low-gauge', label: 'Evacuated to', field: 'low_gauge_kpa', start: '-0.9 bar', hint: 'Below the air around, so negative' },
	pocket: { kind: 'volume', flag: '--pocket', label: 'Gas that the liquid leaves', field: 'pocket_ml', start: '1 L', hint: 'The pocket at the top it does not reach' }, filmDo: { kind: 'oxygen', flag: '--film-do', label: 'DO of that liquid', field: 'film_do_ppb', start: '', hint: 'Empty: air-saturated' }, start: { kind: 'share', flag: '--start', label: 'Oxygen in the vessel before', field: 'start_fraction', start: '', hint: 'Empty: air' },
	film: { kind: 'volume', flag: '--film', label: 'Liquid left behind', field: 'film_ml', start: '', hint: 'Air-saturated when its DO is not given' },
	gasOxygen: { kind: 'share', flag: '--gas-oxygen', label: 'Oxygen in the gas', field: 'gas_oxygen_fraction', start: '30 ppm v/v', hint: 'Guideline for beverage CO2: 30 ppm v/v at most' },
	works: { kind: 'share', flag: '--works', label: 'Share of the gas that works', field: 'works_fraction', start: '', hint: 'Less than 100 % with dead legs or a short way to the vent' },
	temperature: { kind: 'temperature', flag: '--temperature', label: 'Gas in the vessel', field: 'temperature_c', start: '20 °C' }, beerTemperature: { kind: 'temperature', flag: '--beer-temperature', label: 'Beer that comes', field: 'beer_temperature_c', start: '2 °C' },
	altitude: { kind: 'altitude', flag: '--altitude', label: 'Altitude of the place', field: 'altitude_m', start: '' }, at: { kind: 'gauge', flag: '--at-gauge', label: 'Pressure while gas flows', field: 'at_gauge_kpa', start: '', hint: 'Empty: as the air around' }, fill: { kind: 'gauge', flag: '--fill-gauge', label: 'Pressure when the beer comes', field: 'fill_gauge_kpa', start: '' },
	flow: { kind: 'flow', flag: '--flow', label: 'Gas flow', field: 'flow_nl_min', start: '500 NL/min' }, price: { kind: 'price', flag: '--price', label: 'Price of the gas', field: 'price_per_kg', start: '' }, room: { kind: 'room', flag: '--room', label: 'Room, if the gas goes there', field: 'room_m3', start: '' },
	reading: { kind: 'share', flag: '--reading', label: 'Oxygen read in the gas afterwards', field: 'reading_fraction', start: '', hint: 'At the vent, at the end of the purge' },
	uVessel: { kind: 'share', label: '± vessel', start: '2 %' }, uDiameter: { kind: 'length', label: '± inner diameter', start: '' }, uStraight: { kind: 'length', label: '± straight part', start: '' }, uGas: { kind: 'share', label: '± oxygen in the gas', start: '3 ppm v/v' }, uTemperature: { kind: 'kelvin', label: '± gas temperature', start: '3 °C' }, uVolumes: { kind: 'share', label: '± vessel volumes of gas', start: '5 %' }
};
export const WORDS = { method: 'sweep', aim: 'target', size: 'volume', gas: 'co2', mixing: '1', basis: 'upper', steps: '' };
export const METHODS: [string, string][] = [['sweep', 'Blow gas through'], ['pressure', 'Pressure cycles'], ['displacement', 'Fill with liquid, push out'], ['vacuum', 'Vacuum cycles'], ['steps', 'Several in turn']];
export const NAME: Record<string, string> = { sweep: 'Gas blown through', pressure: 'Pressure cycles', vacuum: 'Vacuum cycles', displacement: 'Filled with liquid and pushed out' };

const BLANK: Step = { method: 'sweep', amount: '', high: '', space: '', uamount: '', uhigh: '', uspace: '' };
export const made = (s: Partial<Step>): Step => ({ ...BLANK, ...s }) as Step;
/** The pressure of a cycle as it starts. */
export const PRESSURE: Record<string, string> = { pressure: '1 bar', vacuum: '-0.9 bar' };
export const FIRST_STEPS: Step[] = [made({ method: 'displacement', amount: '1 L' }), made({ method: 'pressure', high: '1 bar', space: '1 L' })];
export const steps = (text: string): Step[] => listOf(text, BLANK, FIRST_STEPS, 20).map((s) => ({ ...s, method: s.method in NAME ? s.method : 'sweep', high: s.high || (PRESSURE[s.method] ?? '') }));
/** Fields of a step, by its way. */
export const OF_STEP: Record<string, Entry[]> = {
	sweep: [['amount', 'plain', 'volumes', 'volumes'], ['space', 'volume', 'space_ml']], pressure: [['amount', 'plain', 'cycles', 'cycles'], ['high', 'gauge', 'high_gauge_kpa', 'high-gauge'], ['space', 'volume', 'space_ml']],
	vacuum: [['amount', 'plain', 'cycles', 'cycles'], ['high', 'gauge', 'low_gauge_kpa', 'low-gauge'], ['space', 'volume', 'space_ml']], displacement: [['amount', 'volume', 'pocket_ml', 'pocket']]
};

/** Which fields count, by what is chosen. */
function keys(p: Form): string[] {
	const t = p.text, out = [...(t.size === 'volume' ? ['vessel'] : ['diameter', 'straight', 'cone']), 'beer', 'gasOxygen', 'start', 'temperature', 'beerTemperature', 'altitude', 'at', 'fill', 'flow', 'price', 'room', 'reading'];
	if (t.aim === 'target') out.push('target');
	if (t.aim === 'residual') out.push('residual');
	if (t.method === 'sweep') out.push('works', ...(t.aim === 'given' ? ['volumes'] : []));
	if (t.method === 'pressure') out.push('high', ...(t.aim === 'given' ? ['cycles'] : []));
	if (t.method === 'vacuum') out.push('low', ...(t.aim === 'given' ? ['cycles'] : []));
	if (t.method === 'displacement') out.push('film', ...(t.film ? ['filmDo'] : []), ...(t.aim === 'given' ? ['pocket'] : []));
	return out;
}
/** What ± counts. */
function sure(p: Form): Sure[] {
	const t = p.text, out: Sure[] = [['gasOxygen', 'uGas'], ['temperature', 'uTemperature']];
	if (t.size === 'volume') out.push(['vessel', 'uVessel']);
	else out.push(['diameter', 'uDiameter'], ['straight', 'uStraight']);
	if (t.method === 'sweep' && t.aim === 'given') out.push(['volumes', 'uVolumes']);
	return out;
}
export function input(p: Form, station_kpa?: number): Record<string, unknown> | undefined {
	const used = keys(p), t = p.text, list = steps(t.steps);
	if (p.fault(used) || (t.method === 'steps' && list.some((s) => unread(s, OF_STEP[s.method])))) return undefined;
	const i: Record<string, unknown> = { ...p.input(used, station_kpa), gas: t.gas, explain: true };
	if (t.aim === 'target' && t.basis !== 'upper') i.basis = t.basis;
	if (t.method === 'steps') i.steps = list.map((s) => ({ method: s.method, ...entry(s, OF_STEP[s.method], station_kpa) }));
	else i.method = t.method;
	if (t.method === 'sweep' && t.mixing !== '1') i.cells = Number(t.mixing);
	const u = p.uncertainty(sure(p));
	if (u) i.u = u;
	return i;
}
export function cli(p: Form, station_kpa?: number): string {
	const t = p.text, list = p.flags(keys(p), station_kpa);
	if (t.method === 'steps') for (const s of steps(t.steps)) list.push(['--step', `${s.method}:${pairs(s, OF_STEP[s.method], station_kpa).join(',')}`]);
	else list.unshift(['--method', t.method === 'sweep' ? undefined : t.method]);
	if (t.method === 'sweep' && t.mixing !== '1') list.push(['--cells', t.mixing]);
	if (t.aim === 'target' && t.basis !== 'upper') list.push(['--basis', t.basis]);
	if (t.gas !== 'co2') list.push(['--gas', t.gas]);
	return command('purge', [...list, ...p.sure(sure(p))]);
}
