// The tank's DO beside the readings of a run. The server makes the same of the
// same records (internal/lab/judge_tank.go).
import type { Run, RunEvent } from '#api/records.ts';

export interface TankReading { id: string; batch_id: string; point: string; at: string; do_ppb?: number; archived?: boolean }

const DAY = 24 * 3600e3, AFTER = 10 * 60e3, FRESH = 45 * 60e3;
const POINTS = ['tank_after', 'tank_rested', 'tank_hold'];
const ms = (t: string): number => Date.parse(t);

const ofRun = (run: Run, all: TankReading[]): TankReading[] => all.filter((r) => !r.archived && r.do_ppb !== undefined && r.do_ppb !== null && !!run.batch_id && r.batch_id === run.batch_id);

/** When the run draws from another tank than the one of its batch. */
const changedAt = (events: RunEvent[]): number => Math.min(...events.filter((e) => e.kind === 'tank_change' && !e.archived).map((e) => ms(e.at)), Infinity);

/** Minutes that a run was running between two moments, without its stops. */
function running(events: RunEvent[], from: number, to: number): number {
	let sum = to - from, stopped = NaN;
	for (const e of [...events].sort((a, b) => ms(a.at) - ms(b.at))) {
		if (e.kind === 'stop' && Number.isNaN(stopped)) stopped = ms(e.at);
		else if (e.kind === 'restart' && !Number.isNaN(stopped)) {
			sum -= Math.max(0, Math.min(ms(e.at), to) - Math.max(stopped, from));
			stopped = NaN;
		}
	}
	return Math.max(0, sum / 60000);
}

/** The beer that a run drew from the tank of its batch, hL, and what it is taken from where it was not measured, as the server takes it (internal/lab/cellar_run.go). */
export function drawn(r: Run, events: RunEvent[], line?: { packages_per_min?: number }): { volume_hl?: number; volume_from?: 'packages' | 'time' } {
	const start = ms(r.started_at), minutes = r.ended_at ? running(events, start, ms(r.ended_at)) : 0, until = changedAt(events);
	const share = minutes > 0 && until < ms(r.ended_at!) + AFTER ? running(events, start, until) / minutes : 1, each = (r.in_force?.nominal_ml ?? 0) / 1e5;
	if (r.drawn_hl !== undefined) return { volume_hl: r.drawn_hl * share };
	if (r.packages !== undefined && each > 0) return { volume_hl: r.packages * each * share, volume_from: 'packages' };
	const rate = line?.packages_per_min ?? 0;
	return rate > 0 && minutes * each > 0 ? { volume_hl: minutes * rate * each * share, volume_from: 'time' } : {};
}

/** The last reading of the tank before the run, within a day, and all until its end or the first change of tank. */
export function tankReadings(run: Run, events: RunEvent[], all: TankReading[]): TankReading[] {
	const start = ms(run.started_at), end = Math.min(run.ended_at ? ms(run.ended_at) + AFTER : Infinity, changedAt(events));
	const tank = ofRun(run, all).filter((r) => POINTS.includes(r.point)).sort((a, b) => ms(a.at) - ms(b.at) || (a.id < b.id ? -1 : 1));
	const before = tank.filter((r) => ms(r.at) <= start && start - ms(r.at) <= DAY);
	const last = before.filter((r) => ms(r.at) === ms(before.at(-1)!.at))[0];
	return [...(last ? [last] : []), ...tank.filter((r) => ms(r.at) > start && ms(r.at) <= end)];
}

/** Readings at the filler's inlet that were entered in the cellar, while the run went. */
export const inletReadings = (run: Run, all: TankReading[]): TankReading[] =>
	ofRun(run, all).filter((r) => r.point === 'filler_inlet' && ms(r.at) >= ms(run.started_at) && (!run.ended_at || ms(r.at) <= ms(run.ended_at)));

type Row = Record<string, unknown>;

/** The tank's DO at a time, not once the run draws from another tank. */
export const tankThen = (events: RunEvent[], tank: TankReading[], t: number): number | undefined => (t > changedAt(events) ? undefined : tankAt(tank, t));
/** When it stopped drawing from the tank it names. */
export function tankUntil(run: Run, events: RunEvent[]): string | undefined {
	const end = Math.min(run.ended_at ? ms(run.ended_at) + AFTER : Infinity, changedAt(events));
	return end < Infinity ? new Date(end).toISOString() : undefined;
}

/** The tank's DO at a time: between two readings on a straight line, else the nearest for three quarters of an hour; the only reading speaks for all of the run. */
function tankAt(tank: TankReading[], t: number): number | undefined {
	const a = tank.findLast((r) => ms(r.at) <= t), b = tank.find((r) => ms(r.at) > t);
	if (a && b) return a.do_ppb! + (b.do_ppb! - a.do_ppb!) * ((t - ms(a.at)) / (ms(b.at) - ms(a.at)));
	if (tank.length === 1) return tank[0].do_ppb;
	if (a && t - ms(a.at) <= FRESH) return a.do_ppb;
	return b && ms(b.at) - t <= FRESH ? b.do_ppb : undefined;
}

/** Puts the tank's DO on the inlet rows of the run; without one, each on the row next to it. */
export function joinTank(rows: Row[], run: Run, events: RunEvent[], all: TankReading[]): void {
	if (!rows.length) return;
	for (const r of inletReadings(run, all)) rows.push({ id: r.id, taken_at: r.at, inlet_do_ppb: r.do_ppb });
	const tank = tankReadings(run, events, all), inlets = rows.filter((row) => row.inlet_do_ppb !== undefined);
	if (!tank.length) return;
	for (const row of inlets) {
		const t = ms(String(row.taken_at)), v = tankThen(events, tank, t);
		if (v !== undefined) row.tank_do_ppb = v;
	}
	if (inlets.length) return;
	for (const r of tank) {
		const off = (row: Row): number => Math.abs(ms(String(row.taken_at)) - ms(r.at));
		const best = rows.filter((row) => row.tank_do_ppb === undefined).reduce<Row | undefined>((a, b) => (!a || off(b) < off(a) ? b : a), undefined);
		if (best) best.tank_do_ppb = r.do_ppb;
	}
}
