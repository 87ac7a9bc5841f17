// The purge page's fields and the input of the calculation from them.
import { command, flagValue } from '#core/plancli.ts';
import type { Plan, Specs } from '#core/plan.svelte.ts';

export interface Step { method: string; amount: string; high: string; space: string }
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
	vessel: { kind: 'volume', label: 'Vessel', field: 'vessel_ml', start: '50 hL' }, beer: { kind: 'volume', label: 'Beer that goes in', field: 'beer_ml', start: '45 hL' },
	diameter: { kind: 'length', label: 'Inner diameter', field: 'diameter_mm', start: '1.6 m' }, straight: { kind: 'length', label: 'Straight part', field: 'straight_mm', start: '2.1 m' }, cone: { kind: 'length', label: 'Cone height', field: 'cone_mm', start: '1.2 m' },
	target: { kind: 'oxygen', label: 'Oxygen it may bring to the beer, at most', field: 'target_ppb', start: '150 ppb' }, residual: { kind: 'share', label: 'Oxygen to be left in the gas', field: 'residual_fraction', start: '100 ppm v/v' },
	volumes: { kind: 'plain', label: 'Vessel volumes of gas', field: 'volumes', start: '5' }, cycles: { kind: 'plain', label: 'Cycles', field: 'cycles', start: '8' },
	high: { kind: 'gauge', label: 'Filled to', field: 'high_gauge_kpa', start: '1 bar', hint: 'Within the rating on the plate' }, low: { kind: 'gauge', label: 'Evacuated to', field: 'low_gauge_kpa', start: '-0.9 bar', hint: 'Below the air around, so negative' },
	pocket: { kind: 'volume', label: 'Gas that the liquid leaves', field: 'pocket_ml', start: '1 L', hint: 'The pocket at the top it does not reach' }, film: { kind: 'volume', label: 'Liquid left behind', field: 'film_ml', start: '', hint: 'Air-saturated when its DO is not given' },
	gasOxygen: { kind: 'share', label: 'Oxygen in the gas', field: 'gas_oxygen_fraction', start: '30 ppm v/v', hint: 'Guideline for beverage CO2: 30 ppm v/v at most' },
	works: { kind: 'share', label: 'Share of the gas that works', field: 'works_fraction', start: '', hint: 'Less than 100 % with dead legs or a short way to the vent' },
	temperature: { kind: 'temperature', label: 'Gas in the vessel', field: 'temperature_c', start: '20 °C' }, beerTemperature: { kind: 'temperature', label: 'Beer that comes', field: 'beer_temperature_c', start: '2 °C' },
	altitude: { kind: 'altitude', label: 'Altitude of the place', field: 'altitude_m', start: '' }, fill: { kind: 'gauge', label: 'Pressure when the beer comes', field: 'fill_gauge_kpa', start: '' },
	flow: { kind: 'flow', label: 'Gas flow', field: 'flow_nl_min', start: '500 NL/min' }, price: { kind: 'plain', label: 'Price of a kilogram of gas', field: 'price_per_kg', start: '' }, room: { kind: 'room', label: 'Room, if the gas goes there', field: 'room_m3', start: '' },
	reading: { kind: 'share', label: 'Oxygen read in the gas afterwards', field: 'reading_fraction', start: '', hint: 'At the vent, at the end of the purge' },
	uVessel: { kind: 'share', label: '± vessel', start: '2 %' }, uGas: { kind: 'share', label: '± oxygen in the gas', start: '3 ppm v/v' }, uTemperature: { kind: 'plain', label: '± gas temperature, °C', start: '3' }, uVolumes: { kind: 'share', label: '± vessel volumes of gas', start: '5 %' }
};
export const WORDS = { method: 'sweep', aim: 'target', size: 'volume', gas: 'co2', mixing: '1', basis: 'upper', steps: '' };
export const METHODS: [string, string][] = [['sweep', 'Blow gas through'], ['pressure', 'Pressure cycles'], ['displacement', 'Fill with liquid, push out'], ['vacuum', 'Vacuum cycles'], ['steps', 'Several in turn']];
export const NAME: Record<string, string> = { sweep: 'Gas blown through', pressure: 'Pressure cycles', vacuum: 'Vacuum cycles', displacement: 'Filled with liquid and pushed out' };

export function steps(text: string): Step[] {
	try {
		const list = JSON.parse(text) as Step[];
		return Array.isArray(list) ? list.filter((s) => s && typeof s === 'object').slice(0, 20).map((s) => ({ method: s.method in NAME ? s.method : 'sweep', amount: String(s.amount ?? ''), high: String(s.high ?? ''), space: String(s.space ?? '') })) : [];
	} catch {
		return [];
	}
}
export const FIRST_STEPS: Step[] = [{ method: 'displacement', amount: '1 L', high: '', space: '' }, { method: 'pressure', amount: '', high: '1 bar', space: '1 L' }];

/** Which fields count, by what is chosen. */
function keys(p: Plan): string[] {
	const t = p.text, out = [...(t.size === 'volume' ? ['vessel'] : ['diameter', 'straight', 'cone']), 'beer', 'gasOxygen', 'temperature', 'beerTemperature', 'altitude', 'fill', 'flow', 'price', 'room', 'reading'];
	if (t.aim === 'target') out.push('target');
	if (t.aim === 'residual') out.push('residual');
	if (t.method === 'sweep') out.push('works', ...(t.aim === 'given' ? ['volumes'] : []));
	if (t.method === 'pressure') out.push('high', ...(t.aim === 'given' ? ['cycles'] : []));
	if (t.method === 'vacuum') out.push('low', ...(t.aim === 'given' ? ['cycles'] : []));
	if (t.method === 'displacement') out.push('film', ...(t.aim === 'given' ? ['pocket'] : []));
	return out;
}
const amountKey: Record<string, string> = { sweep: 'volumes', pressure: 'cycles', vacuum: 'cycles', displacement: 'pocket' };

export function input(p: Plan, station_kpa?: number): Record<string, unknown> | undefined {
	const used = keys(p), t = p.text;
	if (p.fault(used)) return undefined;
	const i: Record<string, unknown> = { ...p.input(used, station_kpa), gas: t.gas, explain: true };
	if (t.aim === 'target' && t.basis !== 'upper') i.basis = t.basis;
	if (t.method === 'steps') {
		const list = steps(t.steps).length ? steps(t.steps) : FIRST_STEPS;
		i.steps = list.map((s) => ({ method: s.method, [s.method === 'displacement' ? 'pocket' : amountKey[s.method]]: s.amount.trim() ? (s.method === 'displacement' ? s.amount : Number(s.amount.replace(',', '.'))) : undefined, ...(s.method === 'pressure' ? { high_gauge: s.high || '1 bar' } : s.method === 'vacuum' ? { low_gauge: s.high || '-0.9 bar' } : {}), ...(s.space.trim() ? { space: s.space } : {}) }));
	} else {
		i.method = t.method;
		if (t.method === 'sweep' && t.mixing !== '1') i.cells = Number(t.mixing);
	}
	const sure: [string, string][] = [['uGas', 'gasOxygen'], ['uTemperature', 'temperature']];
	if (t.size === 'volume') sure.push(['uVessel', 'vessel']);
	if (t.method === 'sweep' && t.aim === 'given') sure.push(['uVolumes', 'volumes']);
	const u = p.uncertainty(sure);
	if (u) i.u = u;
	return i;
}

const FLAGS: Record<string, string> = { vessel: '--vessel', diameter: '--diameter', straight: '--straight', cone: '--cone', beer: '--beer', gasOxygen: '--gas-oxygen', temperature: '-t', beerTemperature: '--beer-temperature', altitude: '--altitude', fill: '--fill-gauge', flow: '--flow', price: '--price', room: '--room', reading: '--reading', target: '--target', residual: '--residual', volumes: '--volumes', cycles: '--cycles', high: '--high-gauge', pocket: '--pocket', film: '--film', works: '--works' };
export function cli(p: Plan, station_kpa?: number): string {
	const t = p.text;
	const list: [string, string | undefined][] = keys(p).filter((k) => k !== 'low').map((k) => [FLAGS[k], flagValue(t[k] ?? '', SPECS[k].kind, station_kpa)]);
	if (t.method === 'vacuum') list.push(['--low', lowAbsolute(p, station_kpa)]);
	if (t.method === 'steps') for (const s of steps(t.steps).length ? steps(t.steps) : FIRST_STEPS) list.push(['--step', `${s.method}:${[s.amount.trim() && `${amountKey[s.method]}=${s.amount.replace(/\s/g, '')}`, s.method === 'pressure' && `high-gauge=${(s.high || '1bar').replace(/\s/g, '')}`, s.method === 'vacuum' && `low-gauge=${(s.high || '-0.9bar').replace(/\s/g, '')}`, s.space.trim() && `space=${s.space.replace(/\s/g, '')}`].filter(Boolean).join(',')}`]);
	else list.unshift(['--method', t.method === 'sweep' ? undefined : t.method]);
	if (t.method === 'sweep' && t.mixing !== '1') list.push(['--cells', t.mixing]);
	if (t.aim === 'target' && t.basis !== 'upper') list.push(['--basis', t.basis]);
	if (t.gas !== 'co2') list.push(['--gas', t.gas]);
	return command('purge', list);
}
/** The command line has the lower pressure of a vacuum as absolute. */
function lowAbsolute(p: Plan, station_kpa = 101.325): string | undefined {
	const v = p.base('low', station_kpa);
	return v === undefined ? undefined : `${Number((v + station_kpa).toPrecision(8))}kPa`;
}
