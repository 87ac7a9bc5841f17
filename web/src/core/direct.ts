// TPO read directly, instead of or beside the calculated one: which of the two
// counts, how sure it is, and the words that keep them apart. The server decides
// by the same rules (internal/lab/direct.go).
import type { InForce, Run, Sample, SampleInputs, SampleKind, SampleResult } from '#api/records.ts';

export type By = 'calculated' | 'direct';
export const isDirect = (r: { tpo_by?: string } | null | undefined): boolean => r?.tpo_by === 'direct';
/** A package that can have a TPO: shaken, or read directly. */
export const isPackage = (s: { kind: SampleKind }): boolean => s.kind === 'shaken' || s.kind === 'direct';
/** How the TPO that counts was found, as it stands before the number. */
export const tpoName = (s: Pick<Sample, 'result'> | undefined): string => (isDirect(s?.result) ? 'TPO, read directly' : 'TPO, calculated');
export function byMethod(s: Sample, by: By): SampleResult | undefined {
	return [s.result, s.other_result].find((r) => r?.tpo_ppb !== undefined && isDirect(r) === (by === 'direct')) ?? undefined;
}
/** The result that holds the volumes: a direct reading has none, the calculated figure beside it does. */
export const volumesOf = (s: Sample): SampleResult | null | undefined => (isDirect(s.result) && s.other_result ? s.other_result : s.result);

const r2 = (x: number): number => Math.round(x * 100) / 100;
/** The reading with its uncertainty: the run's instrument, else the larger of 1 ppb and 2 % (common practice). */
export function directResult(i: SampleInputs, f: InForce | undefined, now: string): SampleResult | undefined {
	const v = i.direct_ppb;
	if (v === undefined) return undefined;
	const e = f?.instruments?.tpo_meter;
	const u = e ? Math.hypot(e.u_abs ?? 0, (e.u_rel ?? 0) * v) : Math.max(1, 0.02 * v);
	return { tpo_by: 'direct', method: 'direct/1', tpo_ppb: r2(v), tpo_u_ppb: r2(u), tpo_low95_ppb: r2(Math.max(0, v - 1.959964 * u)), tpo_high95_ppb: r2(v + 1.959964 * u), computed_at: now, computed_by: 'device' };
}
/** The one that counts first: the direct reading, unless the run's rule says the calculated one and that has a figure. */
export function choose(calculated: SampleResult | undefined, direct: SampleResult | undefined, by: By | undefined): [SampleResult | undefined, SampleResult | undefined] {
	if (!direct) return [calculated, undefined];
	if (!calculated) return [direct, undefined];
	return by === 'calculated' && calculated.tpo_ppb !== undefined ? [calculated, direct] : [direct, calculated];
}
export interface PairRow { id: string; calculated_ppb: number; calculated_u_ppb?: number; direct_ppb: number; direct_u_ppb?: number; beer_ml?: number; headspace_ml?: number }
/** Packages of a run that were read both ways, as rows of an agreement study. A dented or bulged one has another volume than was measured. */
export function pairsOf(run: Run | undefined, samples: Sample[]): PairRow[] {
	const order = [...samples].sort((a, b) => Date.parse(a.taken_at) - Date.parse(b.taken_at) || (a.id < b.id ? -1 : 1));
	return order.flatMap((s, n) => {
		const c = byMethod(s, 'calculated'), d = byMethod(s, 'direct');
		if (!c || !d || s.flags?.some((f) => f === 'dent' || f === 'bulged')) return [];
		return [{ id: `run ${run?.number ?? ''}, ${n + 1}`, calculated_ppb: c.tpo_ppb!, calculated_u_ppb: c.tpo_u_ppb, direct_ppb: d.tpo_ppb!, direct_u_ppb: d.tpo_u_ppb, beer_ml: c.beer_ml, headspace_ml: c.headspace_ml }];
	});
}
/** How the TPO of a run was found, in words; empty where all of it was calculated. */
export function waysText(samples: Sample[]): string {
	const all = samples.filter((s) => isPackage(s) && s.result?.tpo_ppb !== undefined), direct = all.filter((s) => isDirect(s.result)).length;
	const both = samples.filter((s) => byMethod(s, 'calculated') && byMethod(s, 'direct'));
	if (!direct && !both.length) return '';
	const d = both.reduce((sum, s) => sum + byMethod(s, 'calculated')!.tpo_ppb! - byMethod(s, 'direct')!.tpo_ppb!, 0) / (both.length || 1);
	return `TPO of ${direct} of ${all.length} packages was read directly${both.length ? `; ${both.length} ${both.length === 1 ? 'has' : 'have'} both figures: calculated − direct is ${d > 0 ? '+' : ''}${d.toFixed(1).replace('-', '\u2212')} ppb in the mean` : ''}.`;
}
