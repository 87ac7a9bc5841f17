// The fields of oxygen for wort, and the input of the calculation from them:
// target typed or by rules, efficiency typed or learned, one brew or several.
import { csv, type Cell } from '#core/csv.ts';
import type { Caution } from '#core/plan.svelte.ts';
import { command } from '#core/plancli.ts';
import { entry, listOf, pairs, unread, type Entry, type Form, type Specs, type Sure } from '#core/planform.ts';
import type { WortTrend } from '#core/wort.ts';

export interface Fill { volume_hl: number; gassed: boolean; do_ppb: number; gas_nl_min: number; gas_nl: number }
export interface CoreRule { from_plato: number; below_plato: number; style?: string; low_mg_l: number; high_mg_l: number; note?: string; source?: string }
export interface Target { low_mg_l: number; high_mg_l: number; proposed_mg_l: number; second_dose: boolean; reasons: string[]; source: string }
export interface Result {
	gas_nl_min: number; gas_low_nl_min?: number; gas_high_nl_min?: number; target_ppb: number; efficiency_fraction: number; oxygen_g_min: number; air_scale_nl_min?: number; gas_nl?: number; do_made_ppb?: number; efficiency_learned?: number;
	ceiling_ppb: number; tank_ceiling_ppb: number; tank_ceiling_low_ppb: number; tank_ceiling_high_ppb: number; float_reading_nl_min?: number; fills?: Fill[]; mixed_ppb?: number; second_oxygen_g?: number; second_gas_nl?: number;
	target?: Target; rules?: CoreRule[]; trend?: WortTrend; cautions: Caution[];
}

export const SPECS: Specs = {
	volume: { kind: 'volume', flag: '--volume', label: 'Brew', field: 'wort_ml', start: '20 hL' }, minutes: { kind: 'minutes', flag: '--minutes', label: 'Knock-out takes', field: 'knockout_min', start: '40 min' }, flow: { kind: 'wortflow', flag: '--flow', label: 'Wort flow', field: 'wort_l_min', start: '50 L/min' },
	target: { kind: 'oxygen', flag: '--target', label: 'DO wanted in the wort', field: 'target_ppb', start: '9.5 ppm' }, carried: { kind: 'oxygen', flag: '--carried', label: 'DO it has already', field: 'carried_ppb', start: '0.5 ppm' },
	temperature: { kind: 'temperature', flag: '--temperature', label: 'Wort', field: 'temperature_c', start: '12 °C' }, extract: { kind: 'extract', flag: '--extract', label: 'Its extract or gravity', field: 'extract_plato', start: '12 °P' }, gauge: { kind: 'gauge', flag: '--gauge', label: 'Pressure where the gas goes in', field: 'pressure_gauge_kpa', start: '1 bar' }, altitude: { kind: 'altitude', flag: '--altitude', label: 'Altitude of the place', field: 'altitude_m', start: '' },
	generation: { kind: 'plain', flag: '--generation', label: 'Generation', field: 'generation', start: '', hint: '1: first use' }, slurry: { kind: 'days', flag: '--slurry-age', label: 'Age of the slurry', field: 'slurry_days', start: '' }, pitch: { kind: 'plain', flag: '--pitch', label: 'Pitched, million cells a mL', field: 'pitch_million_ml', start: '' },
	efficiency: { kind: 'share', flag: '--efficiency', label: 'Share that dissolves and stays', field: 'efficiency_fraction', start: '60 %', hint: 'Learn it from a reading' },
	second: { kind: 'oxygen', flag: '--second', label: 'Second dose', field: 'second_ppb', start: '', hint: '12 to 18 h after pitching, not after 24 h' }, secondEff: { kind: 'share', flag: '--second-efficiency', label: 'Share of it that stays', field: 'second_efficiency_fraction', start: '20 %', hint: '10 to 40 % for a stone in the tank' },
	floatGauge: { kind: 'gauge', flag: '--float-gauge', label: 'Pressure in the meter', field: 'float_gauge_kpa', start: '1 bar' }, floatT: { kind: 'temperature', flag: '--float-temperature', label: 'Its gas', field: 'float_temperature_c', start: '20 °C' },
	set: { kind: 'flow', flag: '--gas-set', label: 'Gas flow that was set', field: 'gas_set_nl_min', start: '' }, reading: { kind: 'oxygen', flag: '--read', label: 'DO read with it', field: 'read_ppb', start: '' },
	uEfficiency: { kind: 'share', label: '± share that dissolves', start: '5 %' }, uFlow: { kind: 'share', label: '± wort flow', start: '2 %' }, uCarried: { kind: 'oxygen', label: '± DO it has already', start: '' }
};
export const WORDS = { gas: 'oxygen', by: 'volume', aim: 'typed', style: 'ale', yeast: 'repitch', rules: '', tank: 'one', fills: '', eff: 'typed', brews: '', flowIs: 'true', cleaned: '', float: '' };

/** A rule of the target as it is typed. */
export interface Rule extends Record<string, string> { from: string; below: string; style: string; low: string; high: string; note: string; source: string }
export const RULE: Rule = { from: '', below: '', style: '', low: '', high: '', note: '', source: '' };
export const OF_RULE: Entry[] = [['from', 'extract', 'from_plato'], ['below', 'extract', 'below_plato'], ['low', 'oxygen', 'low_ppb'], ['high', 'oxygen', 'high_ppb']];
/** Rules of one's own; none: the core's starting points hold. */
export const rules = (text: string): Rule[] => listOf(text, RULE, [], 20);
/** The rules in force, ready to be changed. */
export const ruleText = (list: CoreRule[]): Rule[] => list.map((r) => ({ from: `${r.from_plato} °P`, below: `${r.below_plato} °P`, style: r.style ?? '', low: `${r.low_mg_l} ppm`, high: `${r.high_mg_l} ppm`, note: r.note ?? '', source: r.source ?? '' }));
/** One brew of a tank. */
export interface TankBrew extends Record<string, string> { volume: string; gas: string; uvolume: string }
export const tankBrew = (b: Partial<TankBrew>): TankBrew => ({ volume: '25 hL', gas: 'yes', uvolume: '', ...b }) as TankBrew;
const OF_FILL: Entry[] = [['volume', 'volume', 'wort_ml', 'wort']];
export const fills = (text: string): TankBrew[] => listOf(text, tankBrew({}), [tankBrew({}), tankBrew({ gas: 'no' })], 12);
/** A past brew. */
export interface Past extends Record<string, string> { id: string; do: string; carried: string; volume: string; minutes: string; flow: string; cleaned: string }
export const past = (b: Partial<Past>): Past => ({ id: '', do: '', carried: '0.5 ppm', volume: '20 hL', minutes: '40 min', flow: '', cleaned: '', ...b }) as Past;
export const OF_PAST: Entry[] = [['do', 'oxygen', 'do_ppb'], ['carried', 'oxygen', 'carried_ppb'], ['volume', 'volume', 'wort_ml'], ['minutes', 'minutes', 'knockout_min'], ['flow', 'flow', 'gas_nl_min']];
export const pasts = (text: string): Past[] => listOf(text, past({}), [past({ id: '1', do: '8 ppm', flow: '0.5 NL/min' })], 20);

const meter = (f: Form): string[] => (f.text.float ? ['floatGauge', 'floatT'] : []);
/** Which fields count, by what is chosen. */
export function keys(f: Form): string[] {
	const t = f.text;
	return [
		...(t.by === 'volume' ? ['volume', 'minutes'] : ['flow']), ...(t.aim === 'rules' ? ['generation', 'slurry', 'pitch'] : ['target']), 'carried', 'temperature', 'extract', 'gauge', 'altitude', ...(t.eff === 'typed' ? ['efficiency'] : []),
		...(f.base('second') === undefined ? [] : ['second', 'secondEff']), ...meter(f), ...(f.base('set') === undefined ? [] : ['set', 'reading'])
	];
}
const sure = (f: Form): Sure[] => [['carried', 'uCarried'], ...(f.text.eff === 'typed' ? [['efficiency', 'uEfficiency'] as Sure] : []), ...(f.text.by === 'flow' ? [['flow', 'uFlow'] as Sure] : [])];

/** Past brews as the core takes them; those of the records come ready. */
export function brewRows(f: Form, records: Record<string, unknown>[]): Record<string, unknown>[] | undefined {
	if (f.text.eff === 'records') return records;
	const list = pasts(f.text.brews);
	if (list.some((b) => unread(b, OF_PAST))) return undefined;
	return list.map((b, i) => {
		const { gas_nl_min, ...row } = entry(b, OF_PAST) as Record<string, number>;
		const flow = gas_nl_min === undefined ? {} : f.text.flowIs === 'float' && f.text.float ? { float_reading_nl_min: gas_nl_min, float_for: f.text.float, ...f.input(meter(f)) } : { gas_nl_min };
		return { id: b.id.trim() || String(i + 1), gas: f.text.gas, ...row, ...flow, ...(b.cleaned === 'yes' ? { stone_cleaned: true } : {}) };
	});
}
export const ruleRows = (f: Form): Record<string, unknown>[] => rules(f.text.rules).map((r) => ({ ...entry(r, OF_RULE), ...(r.style ? { style: r.style } : {}), ...(r.note.trim() ? { note: r.note.trim() } : {}), ...(r.source.trim() ? { source: r.source.trim() } : {}) }));

export function input(f: Form, records: Record<string, unknown>[] = []): Record<string, unknown> | undefined {
	const t = f.text, own = ruleRows(f), tank = fills(t.fills);
	if (f.fault(keys(f)) || (t.tank === 'several' && tank.some((b) => unread(b, OF_FILL))) || rules(t.rules).some((r) => unread(r, OF_RULE))) return undefined;
	const i: Record<string, unknown> = { ...f.input(keys(f)), gas: t.gas, explain: true };
	if (t.aim === 'rules') Object.assign(i, { style: t.style, yeast_source: t.yeast, ...(own.length ? { rules: own } : {}) });
	if (t.tank === 'several') i.fills = tank.map((b) => ({ ...entry(b, OF_FILL), gassed: b.gas !== 'no' }));
	if (t.eff !== 'typed') {
		const brews = brewRows(f, records);
		if (!brews?.length) return undefined;
		Object.assign(i, { brews, ...(t.cleaned === 'yes' ? { next_cleaned: true } : {}) });
	}
	if (t.float) i.float_for = t.float;
	const u = f.uncertainty(sure(f));
	return { ...i, ...(u ? { u } : {}) };
}

/** The command; rules and past brews are in files beside it. */
export function cli(f: Form): string {
	const t = f.text, list = f.flags(keys(f));
	if (t.aim === 'rules') list.push(['--style', t.style], ['--yeast', t.yeast], ['--rules', rules(t.rules).length ? 'rules.csv' : undefined]);
	if (t.tank === 'several') for (const b of fills(t.fills)) {
		const [volume, ...u] = pairs(b, OF_FILL), rest = [...(b.gas === 'no' ? ['none'] : []), ...u];
		if (volume) list.push(['--fill', `${volume.replace('wort=', '')}${rest.length ? `:${rest.join(',')}` : ''}`]);
	}
	if (t.eff !== 'typed') list.push(['--brews', 'brews.csv']);
	if (t.float) list.push(['--float-for', t.float]);
	if (t.gas !== 'oxygen') list.push(['--gas', t.gas]);
	const all = command('wort', [...list, ...f.sure(sure(f))]);
	return t.eff !== 'typed' && t.cleaned === 'yes' ? `${all} --cleaned` : all;
}
/** Rows as the CSV file of that command: its columns are the fields of the core. */
export function table(rows: Record<string, unknown>[]): string {
	const cols = [...new Set(rows.flatMap((r) => Object.keys(r)))].filter((c) => c !== 'at');
	return csv([cols, ...rows.map((r) => cols.map((c): Cell => (r[c] === false ? undefined : r[c] === true ? 'yes' : (r[c] as Cell))))]);
}
