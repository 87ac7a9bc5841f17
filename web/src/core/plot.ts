// A chart as data: what parts/Plot draws, reads out and gives as a table.
import type { Word } from './judge.ts';
import { fmt } from './units.ts';

export interface PlotPoint { x: number; y: number; low?: number; high?: number; word?: Word; /** Shape of a group that is no judgement: 0 circle, 1 square, 2 triangle, 3 diamond. */ shape?: number; text: string }
export interface PlotCurve { at: [number, number][]; name: string; kind: 'fit' | 'second' | 'same' | 'soft' }
export interface PlotLevel { y: number; name: string; kind: 'limit' | 'aim' | 'mean' | 'soft' }
export interface PlotBand { from: number; to: number; kind: 'aim' | 'own' }
export interface PlotMark { x: number; name: string }
export interface PlotModel {
	name: string; x: { name: string; ticks?: [number, string][]; time?: boolean; /** Counts things: no tick between two of them. */ whole?: boolean; from?: number; to?: number }; y: { name: string; from?: number; to?: number };
	points: PlotPoint[]; curves?: PlotCurve[]; levels?: PlotLevel[]; bands?: PlotBand[]; marks?: PlotMark[]; key?: string; /** Where lines are named; at their right end when not said. */ names?: 'corner';
}

/** Round ticks inside a range, about n of them. */
export function ticks(lo: number, hi: number, n: number): number[] {
	if (!(hi > lo)) return [lo];
	const raw = (hi - lo) / Math.max(1, n), p = 10 ** Math.floor(Math.log10(raw));
	const step = [1, 2, 2.5, 5, 10].map((m) => m * p).find((s) => s >= raw * 0.999) ?? 10 * p;
	const out: number[] = [];
	for (let k = Math.ceil(lo / step - 1e-9); k * step <= hi + 1e-9 * step; k++) out.push(Number((k * step).toPrecision(12)));
	return out;
}
/** As many decimals as the distance of the ticks asks for. */
export function tickText(t: number[]): (v: number) => string {
	const step = t.length > 1 ? Math.abs(t[1] - t[0]) : 1;
	const d = Math.max(0, Math.min(6, -Math.floor(Math.log10(step) + 1e-9) + (String(step / 10 ** Math.floor(Math.log10(step) + 1e-9)).startsWith('2.5') ? 1 : 0)));
	return (v) => fmt(Object.is(v, -0) ? 0 : v, Object.is(v, -0) ? 0 : d);
}
/** A curve as points, n steps over a range. */
export const curve = (f: (x: number) => number, from: number, to: number, n = 60): [number, number][] => Array.from({ length: n + 1 }, (_, i) => from + ((to - from) * i) / n).map((x) => [x, f(x)] as [number, number]).filter(([, y]) => Number.isFinite(y));

/** Range of all that is drawn, with a little air; a point's interval may be cut at three times the spread. */
export function ranges(m: PlotModel): { x0: number; x1: number; y0: number; y1: number } {
	const xs = [...m.points.map((p) => p.x), ...(m.curves ?? []).flatMap((c) => c.at.map((p) => p[0])), ...(m.marks ?? []).map((k) => k.x)];
	const ys = [...m.points.flatMap((p) => [p.y, p.low ?? p.y, p.high ?? p.y]), ...(m.curves ?? []).flatMap((c) => c.at.map((p) => p[1])), ...(m.levels ?? []).map((l) => l.y), ...(m.bands ?? []).flatMap((b) => [b.from, b.to])].filter(Number.isFinite);
	const wide = (v: number[], from?: number, to?: number): [number, number] => {
		let lo = v.length ? Math.min(...v) : 0, hi = v.length ? Math.max(...v) : 1;
		if (!(hi > lo)) [lo, hi] = [lo - Math.max(1e-6, Math.abs(lo) * 0.02), hi + Math.max(1e-6, Math.abs(hi) * 0.02)];
		const air = (hi - lo) * 0.06;
		return [from ?? lo - air, to ?? hi + air];
	};
	const [x0, x1] = wide(xs, m.x.from, m.x.to), [y0, y1] = wide(ys, m.y.from, m.y.to);
	return { x0, x1, y0, y1 };
}
/** Pushes labels apart that would lie on each other; the order stays. */
export function apart(y: number[], least: number, top: number, bottom: number): number[] {
	const order = y.map((v, i) => ({ v, i })).sort((a, b) => a.v - b.v);
	for (let k = 1; k < order.length; k++) order[k].v = Math.max(order[k].v, order[k - 1].v + least);
	for (let k = order.length - 1, floor = bottom; k >= 0; k--) floor = (order[k].v = Math.min(order[k].v, floor)) - least;
	const out = [...y];
	for (const { v, i } of order) out[i] = Math.max(top, v);
	return out;
}
