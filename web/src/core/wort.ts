// Wort oxygenation: efficiency learned from past brews, its trend, and the gas for
// the next. Flow, float meter, ceiling and trend are the core's.
import type { Brew } from '#api/records.ts';
import { run as calc, type CalcAnswer } from './client.ts';

export interface WortTrend {
	n: number; brews: { id: string; since_cleaning: number; efficiency: number; fitted: number; odd: boolean }[]; mean_efficiency: number; slope_pct_per_brew?: number; slope_low95?: number; slope_high95?: number; fouling: boolean; scatter: number;
	brews_since_cleaning: number; next_efficiency: number; next_low95: number; next_high95: number; own_weight: number; brews_to_30_pct?: number; jump_at?: string; sentence: string;
}
interface Target { low_mg_l: number; high_mg_l: number; proposed_mg_l: number; second_dose: boolean; reasons: string[]; source: string }
interface Setting { gas_nl_min: number; gas_nl?: number; float_reading_nl_min?: number; tank_ceiling_low_ppb: number; tank_ceiling_high_ppb: number; cautions?: { text: string }[] }
export interface GasPlan { setting?: Setting; target?: Target; trend: WortTrend; warnings: string[]; cautions: string[]; trouble: string }

const has = (v: unknown): boolean => v !== undefined && v !== null && v !== '' && !Number.isNaN(v);
const some = (o: Record<string, unknown>) => Object.fromEntries(Object.entries(o).filter(([, v]) => has(v)));
const said = (a: CalcAnswer<unknown>): string => [a.error?.field, a.error?.message, a.error?.mend].filter(Boolean).join('; ');

/** Brews as rows of "wort-trend", the oldest first. */
export const trendRows = (brews: Brew[]): Record<string, unknown>[] =>
	[...brews].sort((a, b) => Date.parse(a.at) - Date.parse(b.at)).map((b) => some({
		id: b.id, at: b.at, do_ppm: b.do_mg_l, carried_ppm: b.carry_over_mg_l, wort_hl: b.volume_hl, knockout_min: b.minutes, gas: b.gas, gas_nl_min: b.gas_flow_nl_min,
		...(has(b.gas_flow_nl_min) || !has(b.float_reading) ? {} : { float_reading_nl_min: b.float_reading, float_for: b.float_for, float_gauge_bar: b.float_bar, float_temperature_c: b.float_temperature_c }), stone_cleaned: b.stone_cleaned || undefined
	}));
const NONE: WortTrend = { n: 0, brews: [], mean_efficiency: 0, fouling: false, scatter: 0, brews_since_cleaning: 0, next_efficiency: 0.55, next_low95: 0, next_high95: 1, own_weight: 0, sentence: 'No past brew: 55 % is common practice for a stone in the line, and may be far off.' };

export async function wortTrend(brews: Brew[], next_cleaned = false): Promise<{ trend: WortTrend; warnings: string[] }> {
	if (!brews.length) return { trend: NONE, warnings: [] };
	const a = await calc<WortTrend>('wort-trend', { rows: trendRows(brews), next_cleaned });
	if (!a.result) throw new Error(said(a));
	return { trend: a.result, warnings: (a.warnings ?? []).map((w) => `Brew ${brews.find((b) => b.id === w.value)?.code ?? ''} ${w.message}`) };
}

/** Target and gas setting of a brew; what is missing for either is said in trouble. */
export async function planGas(d: Partial<Brew>, past: Brew[]): Promise<GasPlan> {
	const { trend } = await wortTrend(past.filter((b) => (b.gas ?? 'oxygen') === (d.gas ?? 'oxygen')), !!d.stone_cleaned);
	const out: GasPlan = { trend, warnings: [], cautions: [], trouble: '' };
	let plato: number | undefined;
	if (d.sg) {
		const g = await calc<{ extract_plato: number }>('gravity', { sg: d.sg });
		plato = g.result?.extract_plato;
		if (g.error) out.trouble = said(g);
	}
	if (plato !== undefined) out.target = (await calc<Target>('wort-target', some({ extract_plato: Number(plato.toFixed(3)), yeast_source: d.yeast_source, generation: d.generation, pitch_million_ml: d.pitch_million_ml }))).result;
	const aim = d.target_mg_l ?? out.target?.proposed_mg_l;
	const lack = [[d.volume_hl, 'cold wort'], [d.minutes, 'knock-out time'], [d.temperature_c, 'temperature'], [aim, 'DO aimed at']].filter(([v]) => !has(v)).map(([, n]) => n);
	if (lack.length) return { ...out, trouble: out.trouble || `Give ${lack.join(', ')}: the setting of the gas follows.` };
	const a = await calc<Setting>('wort-oxygen', some({
		wort_hl: d.volume_hl, knockout_min: d.minutes, target_ppm: aim, carried_ppm: d.carry_over_mg_l, efficiency_fraction: Number(trend.next_efficiency.toFixed(4)), gas: d.gas, temperature_c: d.temperature_c, extract_plato: plato && Number(plato.toFixed(3)),
		pressure_bar: has(d.line_bar) ? d.line_bar! + 1.01325 : undefined, float_for: d.float_for, float_gauge_bar: d.float_bar, float_temperature_c: d.float_temperature_c
	}));
	return { ...out, setting: a.result, trouble: a.error ? said(a) : out.trouble, warnings: (a.warnings ?? []).map((w) => [w.message, w.mend].filter(Boolean).join('; ')), cautions: (a.result?.cautions ?? []).map((c) => c.text) };
}
