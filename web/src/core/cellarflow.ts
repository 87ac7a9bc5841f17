// From the map to what is drawn: one way from wort to package, with the streams
// that join it and leave it, and the width of the band.
import { isWort } from './cellar.ts';
import type { MapNode, MapPart, MapStep, OxygenMap } from './cellarmap.ts';

export interface FlowRow { node: MapNode; step?: MapStep; joins: MapPart[]; leaves: MapStep[]; newBatch: boolean }

/** Where the ways end: packages, or the last place known. */
export function ends(map: OxygenMap, focus: string): MapNode[] {
	const left = new Set(map.steps.flatMap((s) => [s.from, ...(s.parts ?? []).map((p) => p.from)]));
	const tips = map.nodes.filter((n) => !left.has(n.id));
	const at = new Map(map.nodes.map((n) => [n.id, n]));
	// A reading beside the way to a package is shown there, it is no end of its own.
	const packed = new Set(tips.filter((n) => n.run).flatMap((n) => way(map, n.id).map((r) => r.node.batch)));
	const through = tips.filter((n) => n.run || !packed.has(at.get(n.id)?.batch)).filter((n) => way(map, n.id).some((r) => r.node.batch === focus || r.joins.some((j) => j.batch === focus)));
	return (through.length ? through : tips).sort((a, b) => Number(!!b.run) - Number(!!a.run) || Date.parse(a.at ?? '') - Date.parse(b.at ?? '') || 0);
}

/** The way that ends at a node, from its beginning. */
export function way(map: OxygenMap, end: string): FlowRow[] {
	const node = new Map(map.nodes.map((n) => [n.id, n]));
	const into = new Map(map.steps.map((s) => [s.to, s]));
	const out: FlowRow[] = [];
	const seen = new Set<string>();
	for (let at: string | undefined = end; at && !seen.has(at); ) {
		seen.add(at);
		const n = node.get(at);
		if (!n) break;
		const step = into.get(at);
		out.push({ node: n, step, joins: (step?.parts ?? []).filter((p) => p.from !== step!.from), leaves: [], newBatch: false });
		at = step?.from;
	}
	out.reverse();
	out.forEach((r, i) => {
		r.leaves = map.steps.filter((s) => s.from === r.node.id && s.to !== out[i + 1]?.node.id);
		r.newBatch = !!r.node.batch && r.node.batch !== out.slice(0, i).findLast((x) => x.node.batch)?.node.batch;
	});
	return out;
}

export interface Scale { log: boolean; max: number; w: (ppb: number | undefined) => number; off: (ppb: number | undefined) => boolean; ticks: number[] }
/** Width 0..1 of a band. Linear leaves wort, a hundred times beer, off the scale; log holds both and says so. */
export function scaleOf(rows: FlowRow[], log: boolean): Scale {
	const beer = rows.filter((r) => r.node.do_ppb !== undefined && !(r.node.point && isWort(r.node.point))).map((r) => r.node.do_ppb!);
	const all = rows.filter((r) => r.node.do_ppb !== undefined).map((r) => r.node.do_ppb!);
	const max = log ? Math.max(10, ...all) : Math.max(10, ...(beer.length ? beer : all)) * 1.05;
	const w = (ppb: number | undefined): number => (ppb === undefined ? 0 : Math.min(1, Math.max(0, log ? Math.log10(1 + Math.max(0, ppb)) / Math.log10(1 + max) : ppb / max)));
	const step = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000].find((s) => max / s <= 4.5) ?? 10000;
	const ticks = log ? [1, 10, 100, 1000, 10000].filter((t) => t <= max) : Array.from({ length: Math.floor(max / step) }, (_, i) => (i + 1) * step);
	return { log, max, w, off: (ppb) => !log && ppb !== undefined && ppb > max * 1.001, ticks };
}
/** Log where one place after fermentation holds twenty times the rest. */
export function wantsLog(rows: FlowRow[]): boolean {
	const x = rows.filter((r) => r.node.do_ppb !== undefined && !(r.node.point && isWort(r.node.point))).map((r) => r.node.do_ppb!).sort((a, b) => a - b);
	return x.length > 2 && x.at(-1)! > 20 * Math.max(5, x[Math.floor(x.length / 2)]);
}
