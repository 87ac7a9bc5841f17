// What the run page counts and exports. Means are shown with the highest value
// beside them: an average must not hide a bad package.
import type { Run, Sample } from '#api/records.ts';
import { limitOf } from '#api/records.ts';
import type { Cell } from './csv.ts';
import { byMethod, isPackage, volumesOf } from './direct.ts';
import { judgeSample, KIND } from './judge.ts';
import { inOrder } from './line.ts';

export const counts = (s: Sample): boolean => isPackage(s) && s.result?.tpo_ppb !== undefined;
/** Dented and bulged packages have another volume: they stay visible and out of means. */
export const inMean = (s: Sample): boolean => counts(s) && !s.flags?.some((f) => f === 'dent' || f === 'bulged');
export const mean = (x: number[]): number | undefined => (x.length ? x.reduce((a, b) => a + b, 0) / x.length : undefined);

export interface HeadRow { head: number; n: number; values: number[]; mean?: number; max?: number; ratio?: number }
/** By head: mean, highest, and the ratio to the mean of all heads. */
export function byHead(samples: Sample[], heads = 0): HeadRow[] {
	const ok = samples.filter(inMean);
	const all = mean(ok.map((s) => s.result!.tpo_ppb!));
	const n = Math.max(heads, ...ok.map((s) => s.head ?? 0));
	return Array.from({ length: n }, (_, i) => {
		const values = ok.filter((s) => s.head === i + 1).map((s) => s.result!.tpo_ppb!);
		const m = mean(values);
		return { head: i + 1, n: values.length, values, mean: m, max: values.length ? Math.max(...values) : undefined, ratio: m !== undefined && all ? m / all : undefined };
	});
}

export interface Summary { n: number; mean?: number; max?: number; maxU?: number; over: number; watch: number; set?: number; setMean?: number; setN: number }
/** A run by its number and what is known of it; what this device has not fetched yet is left out. */
export const runTitle = (run: Run | undefined, names: (string | undefined)[], between = ', '): string => [run?.number ? `Run ${run.number}` : 'Run', names.filter(Boolean).join(', ')].filter(Boolean).join(between);
export function summary(samples: Sample[], run: Run): Summary {
	const ok = samples.filter(counts);
	const set = ok.length ? Math.max(...ok.map((s) => s.set_no ?? 0)) : undefined;
	const last = ok.filter((s) => (s.set_no ?? 0) === set && inMean(s));
	const words = ok.map((s) => judgeSample(s, run.in_force).word);
	const top = ok.reduce<Sample | undefined>((a, s) => (!a || s.result!.tpo_ppb! > a.result!.tpo_ppb! ? s : a), undefined);
	return {
		n: ok.length, mean: mean(ok.filter(inMean).map((s) => s.result!.tpo_ppb!)), max: top?.result?.tpo_ppb, maxU: top?.result?.tpo_u_ppb,
		over: words.filter((w) => w === 'over').length, watch: words.filter((w) => w === 'watch').length, set, setMean: mean(last.map((s) => s.result!.tpo_ppb!)), setN: last.length
	};
}

export function table(samples: Sample[], run: Run, who: (id?: string) => string): Cell[][] {
	const head = ['id', 'rev', 'set', 'head', 'station', 'kind', 'closed_at', 'taken_at', 'temperature_c', 'gross_g', 'tare_g', 'tare_source', 'gap_mm', 'do_ppb', 'shake_min', 'beer_ml', 'headspace_ml', 'tpo_ppb', 'tpo_u_ppb', 'tpo_low95_ppb', 'tpo_high95_ppb', 'judgement', 'path', 'method', 'flags', 'note', 'by', 'reason', 'raw', 'direct_ppb', 'tpo_by', 'calculated_tpo_ppb', 'calculated_tpo_u_ppb', 'direct_tpo_u_ppb'];
	const l = limitOf(run.in_force, 'tpo');
	return [head, ...inOrder(samples).map((s): Cell[] => [
		s.id, s.rev, s.set_no, s.head, s.station, KIND[s.kind], s.closed_at, s.taken_at, s.inputs.temperature_c, s.inputs.gross_g, s.inputs.tare_g ?? (s.kind === 'shaken' ? run.in_force.tare_g : undefined), s.tare_source, s.inputs.gap_mm, s.inputs.do_ppb, s.inputs.shake_min,
		volumesOf(s)?.beer_ml, volumesOf(s)?.headspace_ml, s.result?.tpo_ppb, s.result?.tpo_u_ppb, s.result?.tpo_low95_ppb, s.result?.tpo_high95_ppb, l ? judgeSample(s, run.in_force).text : '', volumesOf(s)?.path, s.result?.method, s.flags?.join(' '), s.note, who(s.by), s.reason, Object.entries(s.raw ?? {}).map(([k, v]) => `${k}: ${v}`).join('; '),
		s.inputs.direct_ppb, s.result?.tpo_ppb === undefined ? '' : (s.result.tpo_by ?? 'calculated'), byMethod(s, 'calculated')?.tpo_ppb, byMethod(s, 'calculated')?.tpo_u_ppb, byMethod(s, 'direct')?.tpo_u_ppb
	])];
}
