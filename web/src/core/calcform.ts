// The calculator's fields as data: name in the calculation "tpo", the words, and
// the flag of the same input at the command line.
import type { Units } from '#api/records.ts';

export interface CalcField { key: string; label: string; hint: string; unit: (u: Units) => string; flag: string; options?: [string, string][] }
const unit = (s: string) => () => s;
const temp = (u: Units) => (u.temperature === 'f' ? '°F' : '°C');
const vol = (u: Units) => (u.volume === 'floz' ? 'fl oz' : 'mL');
const oxy = (u: Units) => u.oxygen;
const f = (key: string, label: string, u: CalcField['unit'], flag: string, hint = ''): CalcField => ({ key, label, unit: u, flag, hint });
const pick = (key: string, label: string, flag: string, options: [string, string][]): CalcField => ({ key, label, unit: unit(''), flag, hint: '', options });

export const NEEDED: CalcField[] = [
	f('temperature', 'Temperature', temp, '-t', 'Of the package when shaking ended'),
	f('shaken_do', 'Shaken DO', oxy, '-d', 'The reading after shaking to equilibrium; 5 min is common practice'),
	f('gross', 'Gross weight', unit('g'), '--gross', 'Full and closed, before it is opened'),
	f('tare', 'Tare', unit('g'), '--tare', 'Empty, with its closure'),
	f('capacity', 'Capacity', vol, '--capacity', 'Closed and filled to the brim'),
	f('sg', 'Gravity', (u) => (u.gravity === 'plato' ? '°P' : 'SG'), '--sg', 'Of the degassed beer, 20/20 °C')
];
export const MORE: [string, CalcField[]][] = [
	['Where tare and capacity come from', [
		pick('package', 'Package', '--package', [['', 'Guessed from the weights'], ['can', 'Can'], ['bottle', 'Bottle'], ['keg', 'Keg']]),
		pick('tare_source', 'Tare of', '--tare-source', [['lot', 'the lot, a mean'], ['own', 'this package']]), f('tare_sd', 'Tare, spread (SD)', unit('g'), '--tare-sd'),
		pick('capacity_source', 'Capacity of', '--capacity-source', [['lot', 'the lot, a mean'], ['own', 'this package'], ['drawing', 'the drawing']]), f('capacity_sd', 'Capacity, spread (SD)', vol, '--capacity-sd'),
		f('capacity_water', 'Or: water that fills it', unit('g'), '--capacity-water', 'Net weight in air; leave the capacity empty'), f('water_temperature', 'Temperature of that water', temp, '--water-temperature')]],
	['Fill height in the neck (bottles)', [f('gap', 'Rim down to beer', unit('mm'), '--gap'), f('neck_gap', 'A known distance', unit('mm'), '--neck-gap'), f('neck_headspace', 'Headspace at it', vol, '--neck-headspace'), f('neck', 'Neck', unit('mL/mm'), '--neck-per-mm')]],
	['Limit and neighbours', [f('limit', 'TPO limit', oxy, '--limit'), f('unshaken_do', 'Unshaken DO', oxy, '--unshaken-do', 'Of a neighbour: splits liquid from headspace'), f('inlet_do', 'Inlet DO', oxy, '--inlet-do', 'At the filler'), f('nominal', 'Nominal volume', vol, '--nominal'), f('fill_sd', 'Fill, spread (SD)', vol, '--fill-sd'), f('minutes_since_closing', 'Closed before', unit('min'), '--since')]],
	['Beer and air', [f('co2', 'Carbonation', unit('vol'), '--co2', 'volumes, or with its unit: 5 g/L'), f('abv', 'Alcohol', unit('%'), '--abv', 'by volume'), f('air_density', 'Air density', unit('kg/m³'), '--air-density', '1.2 when empty')]]
];
export const ALL: CalcField[] = [...NEEDED, ...MORE.flatMap(([, x]) => x)];
export const CORRECTIONS: [string, string, string][] = [
	['co2', 'Dissolved CO₂ in the density', 'needs carbonation'], ['pressure', 'CO₂ pressure on the partition ratio', 'needs carbonation'], ['expansion', 'Expansion of ethanol and extract', 'needs alcohol'], ['beer', 'Oxygen less soluble in beer than in water', 'needs alcohol']
];
/** Values shown at the start: a can of the invented brewery. */
export const EXAMPLE: Record<string, string> = { temperature: '3.8', shaken_do: '46', gross: '371.9', tare: '13.4', capacity: '373.5', sg: '1.010', limit: '200', tare_sd: '0.12', capacity_sd: '0.7' };

const BARE: Record<string, string> = { SG: '', '%': '%', 'fl oz': ' fl oz', '°P': ' °P', vol: '', 'mL/mm': '', 'kg/m³': '', min: ' min' };
/** The text with its unit, as every door to the calculation takes it. */
export function withUnit(text: string, field: CalcField, u: Units): string {
	const t = text.trim().replace(',', '.');
	if (field.options || /[a-z°%µ/]/i.test(t)) return t;
	const s = field.unit(u);
	return `${t}${BARE[s] ?? ` ${s}`}`;
}
export interface Form { text: Record<string, string>; corrections: string[]; uncertainty: string }

/** Input of "tpo": every typed field with its unit. */
export function input(form: Form, u: Units): Record<string, unknown> {
	const out: Record<string, unknown> = { explain: true, uncertainty: form.uncertainty };
	for (const x of ALL) if (form.text[x.key]?.trim()) out[x.key] = withUnit(form.text[x.key], x, u);
	// One of the two ways to the capacity, not both.
	if (out.capacity_water) delete out.capacity;
	if (form.corrections.length) out.corrections = form.corrections;
	return out;
}
/** The same at a terminal. */
export function command(form: Form, u: Units): string {
	const parts = ALL.filter((x) => form.text[x.key]?.trim() && !(x.key === 'capacity' && form.text.capacity_water?.trim())).map((x) => {
		const v = withUnit(form.text[x.key], x, u).replace(/ /g, '').replace('°', '');
		return `${x.flag} ${v}`;
	});
	if (form.corrections.length) parts.push(`--correct ${form.corrections.join(',')}`);
	if (form.uncertainty !== 'gum') parts.push(`--uncertainty ${form.uncertainty}`);
	return ['ullage tpo', ...parts, '--explain'].join(' ');
}
export const names: Record<string, string> = { weighed: 'weighed', fill_height: 'fill height in the neck', assumed: 'assumed fill' };
