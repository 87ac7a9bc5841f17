// The oxygen map of a batch: its input, gathered from the records for the
// calculation "batch-map", and what comes back. The physics is in the core.
import type { Addition, Batch, Beer, Brew, CellarLimit, Instrument, Line, Move, Point, Reading, Run, RunEvent, Sample, StepKind, Tank } from '#api/records.ts';
import type { Word } from './judge.ts';
import { isPackage } from './direct.ts';
import { run as calc } from './client.ts';
import { START_POINT, STEP } from './cellar.ts';
import { drawn, inletReadings, tankReadings, tankThen, tankUntil } from './tankdo.ts';

export interface MapNode {
	id: string; batch?: string; point?: Point | ''; move?: string; brew?: string; run?: string; at?: string; do_ppb?: number; u_ppb?: number; reconciled_ppb?: number; volume_hl?: number; grams?: number;
	state?: 'ok' | 'watch' | 'over' | ''; green_ppb?: number; red_ppb?: number; limit_from?: string; readings?: string[];
}
export interface MapPart { from: string; batch?: string; volume_hl?: number; share: number; do_ppb: number }
export type StepState = 'within' | 'over' | 'not_resolved' | 'negative' | 'no_budget';
export interface MapStep {
	id: string; from: string; to: string; parts?: MapPart[]; kind: StepKind | 'oxygenation' | 'fermentation' | 'addition'; covers?: string[]; batch?: string; move?: string; run?: string;
	delta_ppb: number; u_ppb: number; low95_ppb: number; high95_ppb: number; dosed_ppb?: number; resolved: boolean; consumed: boolean; half_life_h?: number; grams?: number; air_ml_min?: number; flow_hl_h?: number; hours?: number;
	budget_ppb?: number; budget_from?: string; state: StepState; reason: string; next_check?: string;
}
export interface MapClosure { tpo_ppb: number; sum_ppb: number; residual_ppb: number; allowed_ppb: number; within: boolean }
export interface MapPackage { run: string; tank_ppb?: number; line_ppb?: number; filler_ppb?: number; headspace_ppb?: number; tpo_ppb?: number; closure?: MapClosure }
export interface MapFinding { kind: string; where: string; step?: string; batch?: string; move?: string; ppb: number; evidence: string; fit?: Record<string, unknown>; next_check: string }
export interface OxygenMap {
	focus?: string; nodes: MapNode[]; steps: MapStep[]; blends?: { node: string; parts: MapPart[]; mixed_ppb: number; read_ppb?: number }[]; package?: MapPackage[]; closure?: MapClosure;
	reconciliation: { needed: boolean; consistent: boolean; chi2: number; df: number; p: number; moved_most?: string; adjustments: { node: string; reading: string; ppb: number; in_u: number }[] };
	tank_gas?: { reading: string; batch: string; gas_o2_fraction: number; contact_ppb: number; equilibrium_ppb?: number; gas_grams?: number }[];
	diagnosis: MapFinding[]; assumptions: string[]; warnings: { code: string; where?: string; message: string; mend: string }[];
}

export interface Lab {
	batches: Batch[]; tanks: Tank[]; moves: Move[]; brews: Brew[]; readings: Reading[]; runs: Run[]; limits: CellarLimit[]; beers: Beer[]; instruments: Instrument[]; lines?: Line[];
	samples: (run_id: string) => Sample[]; events: (run_id: string) => RunEvent[];
}

/** The batches that hang together with one: what flowed into it, and what it flowed into. */
export function connected(moves: Move[], focus: string): Set<string> {
	const into = new Map<string, string[]>(), out = new Map<string, string[]>();
	const put = (m: Map<string, string[]>, k: string, v: string) => void (m.get(k)?.push(v) ?? m.set(k, [v]));
	for (const m of moves)
		if (m.from_batch_id && m.to_batch_id && m.from_batch_id !== m.to_batch_id) {
			put(into, m.to_batch_id, m.from_batch_id);
			put(out, m.from_batch_id, m.to_batch_id);
		}
	const walk = (start: Iterable<string>, next: Map<string, string[]>) => {
		const seen = new Set(start), todo = [...seen];
		for (let b = todo.pop(); b; b = todo.pop())
			for (const x of next.get(b) ?? []) if (!seen.has(x)) seen.add(x), todo.push(x);
		return seen;
	};
	// Downstream first, then everything that came into any of those.
	return walk(walk([focus], out), into);
}

/** Standard uncertainty of a reading by its meter, as the server takes it; undefined lets the core assume one. */
export function meterU(i: Instrument | undefined, ppb: number): number | undefined {
	const u = Math.hypot(i?.u_abs ?? 0, (i?.resolution ?? 0) / Math.sqrt(12), (i?.u_rel ?? 0) * ppb);
	return u > 0 ? u : undefined;
}
export const some = <T extends object>(o: T): T => Object.fromEntries(Object.entries(o).filter(([, v]) => v !== undefined && v !== null && v !== '')) as T;

/** Half of the variance of one reading is the meter's and the lot's own: it does not average out (our judgement). */
const COMMON = 0.5;
/** Tells readings that are in the unit of most. */
function sameUnit(v: number[]): (x: number) => boolean {
	const middle = [...v].sort((a, b) => a - b)[Math.floor(v.length / 2)];
	return (x) => !(middle > 0 && (x * 100 < middle || x > middle * 100));
}
/** Mean of a run's readings without those in another unit, and its standard uncertainty. */
export function runMean(v: number[], one: (m: number) => number | undefined): { m?: number; u?: number } {
	if (!v.length) return {};
	const kept = v.filter(sameUnit(v));
	const m = kept.reduce((a, b) => a + b, 0) / kept.length, u1 = one(m) ?? 0, n = kept.length;
	const u = n > 1 ? Math.sqrt(kept.reduce((a, b) => a + (b - m) ** 2, 0) / (n - 1) / n + COMMON * u1 * u1) : u1;
	return { m, u: u || undefined };
}
function runInput(r: Run, samples: Sample[], events: RunEvent[], readings: Reading[], meter?: Instrument, line?: Line) {
	const read = samples.filter((s) => s.inputs.do_ppb !== undefined), total = samples.filter((s) => isPackage(s) && s.result?.tpo_ppb !== undefined);
	const one = (m: number) => meterU(meter, m);
	const at = [...read.filter((s) => s.kind === 'inlet').map((s) => ({ t: s.taken_at, v: s.inputs.do_ppb! })), ...inletReadings(r, readings).map((x) => ({ t: x.at, v: x.do_ppb! }))], all = at.map((x) => x.v);
	const inlet = runMean(all, one), un = runMean(read.filter((s) => s.kind === 'unshaken').map((s) => s.inputs.do_ppb!), one), tpo = runMean(total.map((s) => s.result!.tpo_ppb!), () => total.reduce((a, s) => a + (s.result!.tpo_u_ppb ?? 0), 0) / total.length);
	// The tank at the moments of the inlet, as the judgement takes it.
	const tank = tankReadings(r, events, readings), same = sameUnit(all);
	const brought = at.map((x) => ({ v: x.v, tank: tankThen(events, tank, Date.parse(x.t)) })).filter((x) => x.tank !== undefined && same(x.v)).map((x) => x.v - x.tank!);
	const tanked = brought.length ? { tank_ppb: inlet.m! - brought.reduce((a, b) => a + b, 0) / brought.length, tank_until: tankUntil(r, events) } : {};
	return some({ id: r.id, batch: r.batch_id, started_at: r.started_at, ended_at: r.ended_at, ...drawn(r, events, line), inlet_ppb: inlet.m, inlet_u_ppb: inlet.u, unshaken_ppb: un.m, unshaken_u_ppb: un.u, tpo_ppb: tpo.m, tpo_u_ppb: tpo.u, ...tanked });
}

const added = (a: Addition | undefined) => a && some({ what: a.what, amount_kg: a.amount_kg, do_ppb: a.do_ppb, air_ml: a.air_ml });

/** The half of a limit that was left empty comes from the starting point. */
export function filled(l: Pick<CellarLimit, 'point' | 'green_ppb' | 'red_ppb'>): { green_ppb: number; red_ppb: number } {
	const d = START_POINT[l.point!];
	const green = l.green_ppb ?? Math.min(d?.[0] ?? 0, l.red_ppb ?? 0);
	return { green_ppb: green, red_ppb: l.red_ppb ?? Math.max(d?.[1] ?? 0, green) };
}

/** A batch as the core takes it. */
export function batchRows(lab: Pick<Lab, 'beers' | 'tanks'>): (b: Batch) => Record<string, unknown> {
	const yeast = new Set(lab.beers.filter((b) => b.yeast_in_package).map((b) => b.id)), tank = new Map(lab.tanks.map((t) => [t.id, t]));
	return (b) => {
		const t = tank.get(b.tank_id ?? '');
		return some({ id: b.id, code: b.code, volume_hl: b.volume_hl, tank: t?.name, vessel: t?.kind, yeast: yeast.has(b.beer_id ?? '') ? 'yes' : undefined, headspace_bar: t?.headspace_bar, gas_hl: t?.volume_hl && b.volume_hl && t.volume_hl > b.volume_hl ? Number((t.volume_hl - b.volume_hl).toFixed(6)) : undefined });
	};
}
/** And a move. */
export const moveRow = (m: Move): Record<string, unknown> => some({ id: m.id, kind: m.kind, from: m.from_batch_id, to: m.to_batch_id, volume_hl: m.volume_hl, flow_hl_h: m.flow_hl_h, via: m.via, started_at: m.started_at, ended_at: m.ended_at, addition: added(m.addition) });

/** Input of "batch-map" for one batch and all that hangs together with it. */
export function mapInput(lab: Lab, focus: string): Record<string, unknown> {
	const ids = connected(lab.moves, focus);
	// Where part of it went elsewhere, that batch is named, not followed.
	const moves = lab.moves.filter((m) => ids.has(m.from_batch_id ?? '') || ids.has(m.to_batch_id ?? ''));
	const named = new Set([...ids, ...moves.flatMap((m) => [m.from_batch_id ?? '', m.to_batch_id ?? ''])]), kept = new Set(moves.map((m) => m.id));
	const meter = new Map(lab.instruments.map((i) => [i.id, i]));
	const beer_id = lab.batches.find((b) => b.id === focus)?.beer_id;
	const of = (what: CellarLimit['what']) => {
		const fit = lab.limits.filter((l) => l.what === what && (!l.beer_id || l.beer_id === beer_id));
		const key = (l: CellarLimit) => (what === 'point' ? l.point : l.step) ?? '';
		return [...new Map([...fit.filter((l) => !l.beer_id), ...fit.filter((l) => l.beer_id)].map((l) => [key(l), l])).entries()];
	};
	const runs = lab.runs.filter((r) => r.batch_id && ids.has(r.batch_id));
	return some({
		focus,
		batches: lab.batches.filter((b) => named.has(b.id)).map(batchRows(lab)),
		brews: lab.brews.filter((b) => ids.has(b.batch_id)).map((b) => some({ id: b.id, code: b.code, batch: b.batch_id, at: b.at, volume_hl: b.volume_hl, do_ppb: b.do_mg_l === undefined ? undefined : b.do_mg_l * 1000 })),
		moves: moves.map(moveRow),
		readings: lab.readings.filter((r) => ids.has(r.batch_id) && (r.do_ppb !== undefined || r.gas_o2_pct !== undefined)).map((r) => some({
			id: r.id, batch: r.batch_id, move: kept.has(r.move_id ?? '') ? r.move_id : undefined, brew: r.brew_id, point: r.point, at: r.at, do_ppb: r.do_ppb, u_ppb: meterU(meter.get(r.meter_id ?? ''), r.do_ppb ?? 0), meter: r.meter_id,
			temperature_c: r.temperature_c, pressure_bar: r.pressure_bar, flow_hl_h: r.flow_hl_h, volume_hl: r.volume_moved_hl, gas_o2_fraction: r.gas_o2_pct === undefined ? undefined : r.gas_o2_pct / 100, confirmed: r.confirmed, first_runnings: r.flags?.includes('first_runnings') || undefined
		})),
		runs: runs.map((r) => runInput(r, lab.samples(r.id), lab.events(r.id), lab.readings, meter.get(r.do_meter_id ?? ''), lab.lines?.find((l) => l.id === r.line_id))),
		budgets: of('step').map(([step, l]) => ({ step, ppb: l.green_ppb ?? l.red_ppb })),
		limits: of('point').map(([point, l]) => ({ point, ...filled(l) }))
	});
}

export async function mapHere(lab: Lab, focus: string): Promise<OxygenMap> {
	const a = await calc<OxygenMap>('batch-map', mapInput(lab, focus));
	if (!a.result) throw new Error([a.error?.message, a.error?.mend].filter(Boolean).join('; ') || 'the map could not be computed');
	return a.result;
}

/** The step that a reading being typed would close, as the map will show it. */
export interface Live { step: MapStep; from?: MapNode }
export async function liveStep(lab: Lab, draft: Reading): Promise<Live | undefined> {
	const map = await mapHere({ ...lab, readings: [...lab.readings.filter((r) => r.id !== draft.id), draft] }, draft.batch_id);
	const to = map.nodes.find((n) => n.readings?.includes(draft.id)), step = map.steps.find((s) => s.to === to?.id);
	return step && { step, from: map.nodes.find((n) => n.id === step.from) };
}

export const stepName = (k: MapStep['kind'] | string): string => ({ oxygenation: 'Oxygenation', fermentation: 'Fermentation', addition: 'Addition' })[k] ?? STEP[k as StepKind] ?? k;
export const STATE: Record<StepState, { word: Word; text: string }> = {
	within: { word: 'within', text: 'Within budget' }, over: { word: 'over', text: 'Over budget' }, not_resolved: { word: 'none', text: 'Not resolved' }, negative: { word: 'watch', text: 'Less after than before' }, no_budget: { word: 'none', text: 'No budget' }
};
export const stateOf = (s: MapStep): { word: Word; text: string } => (s.consumed ? { word: 'none', text: 'Taken up' } : s.kind === 'oxygenation' ? { word: 'none', text: 'Wanted' } : (STATE[s.state] ?? STATE.no_budget));
export const NODE_WORD: Record<string, Word> = { ok: 'within', watch: 'watch', over: 'over' };
export const FINDING: Record<string, string> = {
	leak: 'A leak of constant size', proportional: 'Something dosed, or an offset', suction: 'Air drawn in where suction grows', washout: 'Wash-out of what was left in the way', tank_gas: 'Oxygen in the gas space', consumption: 'Oxygen taken up', dry_hop: 'Air that came with the hops',
	step: 'A step at once', rise: 'Rising while it runs', cycle: 'A swing that comes again and again', exchanged: 'Two points that changed places', meter: 'Two meters that disagree', offset: 'An offset of the meters', pickup: 'Pick-up over its budget', unclear: 'Nothing resolved'
};
export const findingName = (k: string): string => FINDING[k] ?? k.replaceAll('_', ' ').replace(/^./, (c) => c.toUpperCase());
