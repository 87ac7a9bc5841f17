// The cellar in words: points from wort to package, steps between them, limits
// and what a value there is judged by. Starting points are common practice.
import type { Batch, BatchStatus, Brew, CellarLimit, Move, MoveKind, Point, Reading, StepKind, Tank, Units, Via } from '#api/records.ts';
import { judge, type Judgement } from './judge.ts';
import { fmt, oxygen, parse, type Parsed, sig } from './units.ts';

/** In flow order. */
export const POINT: Record<Point, string> = {
	wort_cooled: 'Cooled wort, before the gas', wort_oxygenated: 'Wort after oxygenation', pitched_12h: '12 h after pitching', fermentation_end: 'End of fermentation',
	dry_hop_before: 'Before dry hop', dry_hop_1h: '1 h after dry hop', dry_hop_24h: '24 h after dry hop', tank_before: 'Giving tank, before the transfer', centrifuge_in: 'Centrifuge in', centrifuge_out: 'Centrifuge out', filter_in: 'Filter in', filter_out: 'Filter out',
	carbonation_before: 'Before carbonation', carbonation_after: 'After carbonation', tank_after: 'Receiving tank, after the transfer', tank_rested: 'Tank, rested', tank_hold: 'Tank, held',
	tank_gas: 'Gas above the beer', line_start: 'Start of the filling line', filler_inlet: 'Filler inlet', unshaken: 'Package, unshaken DO', tpo: 'Package, TPO'
};
export const POINTS = Object.keys(POINT) as Point[];
/** Points at which a cellar hand reads; packages are entered with their run. */
export const ENTERED: Point[] = POINTS.filter((p) => p !== 'unshaken' && p !== 'tpo');
export const isWort = (p: Point): boolean => p === 'wort_cooled' || p === 'wort_oxygenated' || p === 'pitched_12h';
export const STEP: Record<StepKind, string> = {
	transfer: 'Transfer', centrifuge: 'Centrifuge', filter: 'Filter', carbonation: 'Carbonation', dry_hop: 'Dry hop', hold: 'Holding in the tank', line: 'Line to the filler', filling: 'Filling', headspace: 'Headspace of the package', fermentation_end: 'Left at the end of fermentation'
};
export const MOVE: Record<MoveKind, string> = { transfer: 'Transfer', blend: 'Blend', addition: 'Addition', recirculation: 'Recirculation', dump: 'Dump' };
export const VIA: Record<Via, string> = { centrifuge: 'Centrifuge', filter: 'Filter', carbonation: 'Carbonation in line', hose: 'Hose', pump: 'Pump', heat_exchanger: 'Heat exchanger' };
export const ADDED: Record<string, string> = { deaerated_water: 'Deaerated water', dry_hop: 'Dry hop', finings: 'Finings', fruit: 'Fruit', yeast: 'Yeast', priming: 'Priming', other: 'Something else' };
export const STATUS: Record<BatchStatus, string> = { fermenting: 'Fermenting', maturing: 'Maturing', bright: 'Bright', empty: 'Gone from the tank' };
export const TANK: Record<Tank['kind'], string> = { kettle_side: 'Kettle side', fermenter: 'Fermenter', bright_tank: 'Bright tank' };
export const YEAST: Record<string, string> = { repitch: 'Repitched', propagated: 'Propagated', dry: 'Active dry' };

export interface CellarBound { green?: number; red?: number; start: boolean }
/** Starting points in ppb, aim and limit of a small brewery at good practice: common practice, the same table as core/cellar's. */
export const START_POINT: Partial<Record<Point, [green: number, red: number]>> = {
	fermentation_end: [10, 20], dry_hop_1h: [50, 200], dry_hop_24h: [30, 50], tank_before: [30, 50], tank_after: [30, 50], carbonation_after: [30, 50], tank_rested: [30, 50], tank_hold: [30, 50], filler_inlet: [40, 80], unshaken: [70, 140], tpo: [120, 200]
};
/** Starting points of the pick-up budgets, ppb. */
export const START_STEP: Partial<Record<StepKind, number>> = { dry_hop: 8, transfer: 12, centrifuge: 10, filter: 30, carbonation: 2, hold: 2, line: 5, filling: 20, headspace: 60 };
/** Wort, ppb: oxygen is wanted in it, so it has a band (common practice, as core/cellar's). */
const WORT = { carried: 3000, low: 6000, high: 20000, pitched: 1000 };

/** The limit of a point for a beer: the beer's own, then everybody's, then the starting point. */
export function boundOf(limits: CellarLimit[], point: Point, beer_id?: string): CellarBound {
	const fit = limits.filter((l) => l.what === 'point' && l.point === point && (!l.beer_id || l.beer_id === beer_id));
	const l = fit.findLast((x) => x.beer_id) ?? fit.at(-1);
	const d = START_POINT[point];
	// The half that was left empty comes from the starting point.
	if (l) return { green: l.green_ppb ?? (d && Math.min(d[0], l.red_ppb ?? 0)), red: l.red_ppb ?? (d && Math.max(d[1], l.green_ppb ?? 0)), start: false };
	return { green: d?.[0], red: d?.[1], start: true };
}
function judgeWort(point: Point, ppb: number): Judgement {
	const watch = (text: string, why: string): Judgement => ({ word: 'watch', text, why });
	if (point === 'wort_cooled' && ppb > WORT.carried) return watch('Watch', 'More than 3 mg/L before the gas: air is drawn in at the cooler or its pump.');
	if (point === 'wort_oxygenated' && ppb < WORT.low) return watch('Low for yeast', 'Below 6 mg/L: a slow start and a stuck end are likelier. Weigh it against this yeast.');
	if (point === 'wort_oxygenated' && ppb > WORT.high) return watch('High', 'Above 20 mg/L. Bubbles in the cell read high too: read again.');
	if (point === 'pitched_12h' && ppb > WORT.pitched) return watch('Watch', 'The yeast has not taken it within 12 h: look at vitality and pitch. A high-range sensor cannot see ppb.');
	return { word: 'within', text: 'In its band', why: '' };
}
export function judgeReading(r: Pick<Reading, 'point' | 'do_ppb'>, b: CellarBound): Judgement {
	if (r.do_ppb === undefined) return { word: 'none', text: 'No limit', why: '' };
	if (isWort(r.point) && b.green === undefined && b.red === undefined) return judgeWort(r.point, r.do_ppb);
	const j = judge(r.do_ppb, b.green, b.red);
	return { ...j, why: j.word === 'over' ? 'Read it once more within 5 min, then bracket: one reading before the step, one after.' : j.word === 'none' ? 'Set a limit of this point under Set-up.' : '' };
}

/** The unit a value is typed and shown in at a point: mg/L in wort, the person's own after it. */
export const unitAt = (p: Point, u: Units): string => (p === 'tank_gas' ? '% O₂' : isWort(p) ? 'mg/L' : u.oxygen);
const unitsAt = (p: Point, u: Units): Units => (isWort(p) ? { ...u, oxygen: 'ppm' } : u);
export const parseAt = (text: string, p: Point, u: Units): Parsed => (p === 'tank_gas' ? parse(text.replace(/%.*$/, ''), 'plain', u) : parse(text, 'oxygen', unitsAt(p, u)));
/** A value with the unit of its point. */
export function shownAt(ppb: number | undefined, p: Point | '' | undefined, u: Units, sd?: number): string {
	if (ppb === undefined || !Number.isFinite(ppb)) return '–';
	if (p && isWort(p)) return `${fmt(ppb / 1000, ppb < 1000 ? 2 : 1)} mg/L`;
	return `${oxygen(ppb, u, sd)} ${u.oxygen}`;
}
export const readingText = (r: Pick<Reading, 'point' | 'do_ppb' | 'gas_o2_pct'>, u: Units): string => (r.point === 'tank_gas' && r.gas_o2_pct !== undefined ? `${fmt(r.gas_o2_pct, r.gas_o2_pct < 0.1 ? 3 : 2)} % O₂` : shownAt(r.do_ppb, r.point, u));

/** From here on a reading after fermentation is challenged, ppb. */
export const CHALLENGE_PPB = 1000;
export interface Slip { text: string; mends: { label: string; ppb: number; event: boolean }[] }
const n = (x: number): string => sig(x, 4);
/** A value of another unit's size, with both ways to read it. */
export function slip(point: Point, ppb: number | undefined): Slip | undefined {
	if (ppb === undefined || point === 'tank_gas') return undefined;
	if (isWort(point)) {
		if (ppb <= 60000) return undefined;
		return { text: `${n(ppb / 1000)} mg/L in wort? Even under pure oxygen it holds about 50. Was it ppb?`, mends: [{ label: `${n(ppb / 1e6)} mg/L`, ppb: ppb / 1000, event: false }, { label: `Yes, ${n(ppb / 1000)} mg/L`, ppb, event: true }] };
	}
	if (ppb < CHALLENGE_PPB) return undefined;
	return { text: `${n(ppb / 1000)} ppm after fermentation? Readings here are usually ppb.`, mends: [{ label: `${n(ppb / 1000)} ppb`, ppb: ppb / 1000, event: false }, { label: `Yes, ${n(ppb)} ppb`, ppb, event: true }] };
}

export const byAt = <T extends { at: string; id: string }>(x: T[]): T[] => [...x].sort((a, b) => Date.parse(a.at) - Date.parse(b.at) || (a.id < b.id ? -1 : 1));
export const moveName = (m: Pick<Move, 'kind' | 'via' | 'addition'>): string =>
	m.kind === 'addition' ? (ADDED[m.addition?.what ?? ''] ?? MOVE.addition) : m.via?.some((v) => v === 'centrifuge' || v === 'filter') ? `${MOVE[m.kind]} through the ${m.via.filter((v) => v === 'centrifuge' || v === 'filter').map((v) => VIA[v].toLowerCase()).join(' and ')}` : MOVE[m.kind];

export interface Around { batch: Batch; tank?: Tank; moves: Move[]; brews: Brew[]; readings: Reading[]; filling?: boolean }
const H = 3600000;
const t = (s: string | undefined): number => (s ? Date.parse(s) : NaN);
/** A move that is going on fills this batch: nothing of it is due before that ends. */
const fillingUp = (a: Around): boolean => a.moves.some((m) => m.to_batch_id === a.batch.id && m.from_batch_id && m.from_batch_id !== a.batch.id && !m.ended_at);

/** The points of a move in the order the beer passes them. */
export function pointsOf(m: Move, batch_id: string): Point[] {
	const out: Point[] = [];
	if (m.kind === 'addition') return m.addition?.what === 'dry_hop' ? ['dry_hop_before', 'dry_hop_1h', 'dry_hop_24h'] : ['tank_before', 'tank_after'];
	if (m.from_batch_id) out.push('tank_before');
	for (const v of m.via ?? []) {
		if (v === 'centrifuge') out.push('centrifuge_in', 'centrifuge_out');
		if (v === 'filter') out.push('filter_in', 'filter_out');
		if (v === 'carbonation') out.push('carbonation_before', 'carbonation_after');
	}
	if (m.to_batch_id && (m.to_batch_id === batch_id || !m.ended_at)) out.push('tank_after');
	return out;
}

/** What is to be read next of a batch, why, and from when. */
export interface NextPoint { point: Point; why: string; at: number; move_id?: string; brew_id?: string }
export function nextPoints(a: Around, now: number): NextPoint[] {
	const out: NextPoint[] = [];
	const id = a.batch.id;
	// What was read shortly before a move began counts for it.
	const read = (p: Point, since: number) => a.readings.some((r) => r.point === p && t(r.at) >= since - 3 * H);
	const mine = [...a.moves].filter((m) => m.from_batch_id === id || m.to_batch_id === id).sort((x, y) => t(y.started_at) - t(x.started_at));
	for (const m of mine.filter((x) => x.kind !== 'addition' && x.kind !== 'dump' && (x.from_batch_id === id || !x.from_batch_id))) {
		if (m.ended_at || t(m.started_at) > now || now - t(m.started_at) > 48 * H) continue;
		for (const p of pointsOf(m, id)) if (!read(p, t(m.started_at))) out.push({ point: p, why: `${moveName(m)} is going on`, at: t(m.started_at), move_id: m.id });
	}
	const hop = mine.find((m) => m.kind === 'addition' && m.addition?.what === 'dry_hop');
	if (hop && now - t(hop.started_at) < 48 * H)
		for (const [p, h] of [['dry_hop_1h', 1], ['dry_hop_24h', 24]] as const) if (!read(p, t(hop.started_at) + h * H)) out.push({ point: p, why: 'dry hop', at: t(hop.started_at) + h * H, move_id: hop.id });
	const brew = [...a.brews].sort((x, y) => t(y.at) - t(x.at))[0];
	if (brew && now - t(brew.at) < 36 * H) {
		if (now - t(brew.at) < H && !read('wort_oxygenated', t(brew.at)) && brew.do_mg_l === undefined) out.push({ point: 'wort_oxygenated', why: 'knock-out; yeast eats it within minutes', at: t(brew.at), brew_id: brew.id });
		if (!read('pitched_12h', t(brew.at) + 8 * H)) out.push({ point: 'pitched_12h', why: 'the yeast should have taken it all', at: t(brew.at) + 12 * H, brew_id: brew.id });
	}
	if (a.filling) for (const p of ['line_start', 'filler_inlet'] as const) if (!read(p, now - 2 * H)) out.push({ point: p, why: 'it is being packaged', at: now });
	const into = mine.find((m) => m.to_batch_id === id && m.from_batch_id && m.from_batch_id !== id && m.ended_at);
	if (into) {
		const end = t(into.ended_at);
		if (!read('tank_after', end - H)) out.push({ point: 'tank_after', why: 'the transfer has ended', at: end, move_id: into.id });
		if (!read('tank_rested', end)) out.push({ point: 'tank_rested', why: 'rested, before packaging', at: end + 12 * H });
	}
	const s = a.batch.status;
	if ((s === 'fermenting' || (!s && a.tank?.kind === 'fermenter')) && !a.readings.some((r) => r.point === 'fermentation_end')) out.push({ point: 'fermentation_end', why: 'the plant\'s own zero', at: Infinity });
	if (a.tank?.kind === 'kettle_side') out.push({ point: 'wort_cooled', why: 'counts as carry-over', at: Infinity });
	if (s === 'maturing') out.push({ point: 'tank_before', why: 'before it is moved', at: Infinity });
	if ((s === 'bright' || (!s && a.tank?.kind === 'bright_tank')) && !fillingUp(a)) {
		const last = byAt(a.readings).at(-1);
		if (last) out.push({ point: 'tank_hold', why: 'every day it is held', at: t(last.at) + 24 * H });
	}
	return out.filter((x, i) => out.findIndex((y) => y.point === x.point) === i).sort((x, y) => x.at - y.at);
}
/** The point the entry opens with, and those beside it. */
export function suggest(a: Around, now: number): { first: NextPoint; near: Point[] } {
	const next = nextPoints(a, now);
	const soon = next.filter((x) => x.at <= now + 2 * H || x.at === Infinity);
	const byTank: Point = a.tank?.kind === 'bright_tank' ? 'tank_hold' : a.tank?.kind === 'kettle_side' ? 'wort_cooled' : 'tank_before';
	const first = soon[0] ?? { point: byTank, why: 'nothing is due here', at: now };
	const near = [...new Set([first.point, ...next.map((x) => x.point), byTank, ...(a.tank?.kind === 'fermenter' ? (['fermentation_end', 'dry_hop_before'] as const) : (['carbonation_after', 'filler_inlet'] as const))])].slice(0, 5);
	return { first, near: near.sort((x, y) => POINTS.indexOf(x) - POINTS.indexOf(y)) };
}
/** After a reading before a machine its other side is next, within minutes: a pair is worth more than two singles. */
export const PAIR: Partial<Record<Point, Point>> = { centrifuge_in: 'centrifuge_out', filter_in: 'filter_out', carbonation_before: 'carbonation_after', tank_before: 'tank_after', dry_hop_before: 'dry_hop_1h', line_start: 'filler_inlet' };

export const FLAGGED: Record<string, string> = { bubbles: 'Bubbles', unsteady: 'Unsteady', first_runnings: 'First runnings', doubtful: 'Doubtful', other: 'Other' };
