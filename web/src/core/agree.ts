// Agreement of calculated and direct TPO: words, figures and the two pictures.
// Difference = calculated − direct; the direct reading is x.
import type { Units } from '#api/records.ts';
import { run } from './client.ts';
import type { Judgement } from './judge.ts';
import { curve, type PlotModel } from './plot.ts';
import { RAW_KEYS } from './studies.ts';
import type { Prepared } from './studyrows.ts';
import type { Fig } from './studyview.ts';
import type { TpoResult } from './tpo.ts';
import { decimalsFor, fmt } from './units.ts';

export interface Pair { id: string; calculated_ppb: number; direct_ppb: number; mean_ppb: number; difference_ppb: number; u_ppb: number; allowed_ppb: number; within: boolean }
export interface Agreement {
	n: number; verdict: 'may stand in' | 'not yet shown' | 'differs'; sentence: string; because: { kind: string; ppb: number; text: string; look: string }[];
	equivalent: boolean; equivalent_p: number; margin_ppb: number; pairs_needed: number | null; pairs_more: number | null;
	bias_ppb: number; bias_ppb_low95: number; bias_ppb_high95: number; bias_ppb_low90: number; bias_ppb_high90: number; sd_ppb: number;
	loa_low_ppb: number; loa_low_ppb_low95: number; loa_low_ppb_high95: number; loa_high_ppb: number; loa_high_ppb_low95: number; loa_high_ppb_high95: number;
	deming_slope: number | null; deming_slope_low95: number | null; deming_slope_high95: number | null; deming_intercept: number | null; deming_intercept_low95: number | null; deming_intercept_high95: number | null;
	passing_bablok_slope: number | null; passing_bablok_slope_low95: number | null; passing_bablok_slope_high95: number | null; passing_bablok_intercept: number | null; passing_bablok_intercept_low95: number | null; passing_bablok_intercept_high95: number | null;
	concordance: number | null; concordance_low95: number | null; concordance_high95: number | null; direct_lowest_ppb: number; direct_highest_ppb: number; pairs_within: number; pairs: Pair[];
}
export const VERDICT: Record<Agreement['verdict'], Judgement> = {
	'may stand in': { word: 'within', text: 'May stand in', why: '' }, 'not yet shown': { word: 'watch', text: 'Not yet shown', why: '' }, differs: { word: 'over', text: 'Differs', why: '' }
};

/** Pairs that came as raw readings get their calculated TPO first, with its uncertainty and volumes. */
export async function fromRaw(p: Prepared): Promise<void> {
	const bad: number[] = [];
	await Promise.all(p.rows.map(async (r, i) => {
		const raw = Object.fromEntries(RAW_KEYS.filter((k) => r[k] !== undefined).map((k) => [k, r[k]]));
		for (const k of RAW_KEYS) delete r[k];
		if (r.calculated_ppb !== undefined) return;
		const a = await run<TpoResult>('tpo', raw);
		if (a.error || a.result?.tpo_ppb === undefined) {
			bad.push(i);
			const field = a.error?.field && RAW_KEYS.includes(a.error.field) ? a.error.field : 'calculated_ppb';
			p.faults.set(p.from[i], { [field]: `${a.error?.message ?? 'no TPO from these readings'}${a.error?.mend ? `; ${a.error.mend}` : ''}` });
			return;
		}
		Object.assign(r, { calculated_ppb: a.result.tpo_ppb, calculated_u_ppb: r.calculated_u_ppb ?? a.result.tpo_u_ppb, beer_ml: a.result.beer_ml, headspace_ml: a.result.headspace_ml });
	}));
	const gone = new Set(bad);
	p.rows = p.rows.filter((_, i) => !gone.has(i));
	p.from = p.from.filter((_, i) => !gone.has(i));
}

const scale = (u: Units) => (u.oxygen === 'ppm' ? 0.001 : 1);
const sign = (v: number, d: number) => `${v > 0 ? '+' : ''}${fmt(v, d)}`;
export function figures(r: Agreement, u: Units): Fig[] {
	const f = scale(u), d = decimalsFor((f * (r.bias_ppb_high95 - r.bias_ppb_low95)) / 4);
	const one = (name: string, v: number, low: number, high: number, note?: string): Fig => ({ name, value: sign(v * f, d), unit: u.oxygen, low: sign(low * f, d), high: sign(high * f, d), note });
	const line = (name: string, what: 'deming' | 'passing_bablok'): Fig => {
		const s = r[`${what}_slope`], i = r[`${what}_intercept`];
		return s === null || i === null ? { name, value: '–', unit: '', note: 'too few pairs, or no common rise' } : { name, value: `${fmt(i * f, 1 + (f < 1 ? 3 : 0))} + ${fmt(s, 3)} ×`, unit: 'direct', note: `slope 95 %: ${fmt(r[`${what}_slope_low95`] ?? NaN, 3)} to ${fmt(r[`${what}_slope_high95`] ?? NaN, 3)}; intercept ${fmt((r[`${what}_intercept_low95`] ?? NaN) * f, 1)} to ${fmt((r[`${what}_intercept_high95`] ?? NaN) * f, 1)}` };
	};
	return [
		one('Mean difference, calculated − direct', r.bias_ppb, r.bias_ppb_low95, r.bias_ppb_high95),
		one('Limit of agreement, low', r.loa_low_ppb, r.loa_low_ppb_low95, r.loa_low_ppb_high95), one('Limit of agreement, high', r.loa_high_ppb, r.loa_high_ppb_low95, r.loa_high_ppb_high95),
		{ name: `Equivalence within ±${fmt(r.margin_ppb * f, f < 1 ? 3 : r.margin_ppb % 1 ? 1 : 0)} ${u.oxygen}`, value: r.equivalent ? 'shown' : 'not shown', unit: '', note: `90 %: ${sign(r.bias_ppb_low90 * f, d)} to ${sign(r.bias_ppb_high90 * f, d)}; p ${r.equivalent_p < 0.001 ? 'below 0.001' : fmt(r.equivalent_p, 3)}` },
		{ name: 'Single pairs within max(margin, 2u)', value: `${r.pairs_within} of ${r.n}`, unit: '', note: r.pairs_more ? `${r.pairs_more} more pairs would show it (4 times in 5)` : r.pairs_more === 0 ? 'no more pairs needed' : 'no number of pairs helps while the mean lies there' },
		line('Deming line', 'deming'), line('Passing–Bablok line', 'passing_bablok'),
		r.concordance === null ? { name: 'Concordance', value: '–', unit: '' } : { name: 'Concordance', value: fmt(r.concordance, 4), unit: '', low: fmt(r.concordance_low95 ?? NaN, 4), high: fmt(r.concordance_high95 ?? NaN, 4) }
	];
}
const say = (p: Pair, u: Units, more: string): string => {
	const f = scale(u), d = f < 1 ? 4 : 1;
	return `${p.id ? `${p.id}: ` : ''}calculated ${fmt(p.calculated_ppb * f, d)}, direct ${fmt(p.direct_ppb * f, d)} ${u.oxygen}, difference ${sign(p.difference_ppb * f, d)}, allowed ±${fmt(p.allowed_ppb * f, d)}${p.within ? '' : ': outside'}${more}`;
};
/** Raw readings of a pair, for who taps its point. */
export type Raw = (i: number) => string;

export function differencePlot(r: Agreement, u: Units, raw: Raw): PlotModel {
	const f = scale(u), d = f < 1 ? 4 : 1;
	return {
		name: 'Difference against the direct reading', x: { name: `TPO, direct, ${u.oxygen}` }, y: { name: `calculated − direct, ${u.oxygen}` },
		points: r.pairs.map((p, i) => ({ x: p.direct_ppb * f, y: p.difference_ppb * f, word: p.within ? 'within' : 'over', text: say(p, u, raw(i)) })),
		bands: [{ from: -r.margin_ppb * f, to: r.margin_ppb * f, kind: 'aim' }, { from: r.loa_low_ppb_low95 * f, to: r.loa_low_ppb_high95 * f, kind: 'own' }, { from: r.loa_high_ppb_low95 * f, to: r.loa_high_ppb_high95 * f, kind: 'own' }],
		levels: [
			{ y: r.loa_high_ppb * f, name: `95 % below ${sign(r.loa_high_ppb * f, d)}`, kind: 'soft' }, { y: r.margin_ppb * f, name: `margin +${fmt(r.margin_ppb * f, d)}`, kind: 'aim' }, { y: r.bias_ppb * f, name: `mean ${sign(r.bias_ppb * f, d)}`, kind: 'mean' },
			{ y: -r.margin_ppb * f, name: `margin −${fmt(r.margin_ppb * f, d)}`, kind: 'aim' }, { y: r.loa_low_ppb * f, name: `95 % above ${sign(r.loa_low_ppb * f, d)}`, kind: 'soft' }
		],
		key: '● within max(margin, 2u) of its own, ■ outside · green band: the margin · pale bands: 95 % intervals of the limits of agreement'
	};
}
export function identityPlot(r: Agreement, u: Units, raw: Raw): PlotModel {
	const f = scale(u), lo = Math.min(...r.pairs.map((p) => Math.min(p.direct_ppb, p.calculated_ppb))) * f, hi = Math.max(...r.pairs.map((p) => Math.max(p.direct_ppb, p.calculated_ppb))) * f;
	const curves: PlotModel['curves'] = [{ at: curve((x) => x, lo, hi, 1), name: 'calculated = direct', kind: 'same' }];
	if (r.deming_slope !== null) curves.push({ at: curve((x) => r.deming_intercept! * f + r.deming_slope! * x, lo, hi, 1), name: `Deming, slope ${fmt(r.deming_slope, 3)}`, kind: 'fit' });
	if (r.passing_bablok_slope !== null) curves.push({ at: curve((x) => r.passing_bablok_intercept! * f + r.passing_bablok_slope! * x, lo, hi, 1), name: `Passing–Bablok ${fmt(r.passing_bablok_slope, 3)}`, kind: 'second' });
	return {
		name: 'Calculated against direct', x: { name: `TPO, direct, ${u.oxygen}` }, y: { name: `TPO, calculated, ${u.oxygen}` },
		points: r.pairs.map((p, i) => ({ x: p.direct_ppb * f, y: p.calculated_ppb * f, word: p.within ? 'within' : 'over', text: say(p, u, raw(i)) })), curves, names: 'corner',
		key: 'Full line: Deming · dashed: Passing–Bablok · grey: where both read the same'
	};
}
export function pairsTable(r: Agreement): { heads: string[]; rows: (string | number)[][] } {
	return { heads: ['id', 'calculated_ppb', 'direct_ppb', 'difference_ppb', 'u_ppb', 'allowed_ppb', 'within'], rows: r.pairs.map((p) => [p.id, p.calculated_ppb, p.direct_ppb, p.difference_ppb, p.u_ppb, p.allowed_ppb, p.within ? 'yes' : 'no']) };
}
