// A run's sampling plan: what it is made from, what comes next by it, and when.
import { isPackage } from './direct.ts';
import type { Line, PlannedPull, PlannedSet, Run, Sample, SamplingPlan } from '#api/records.ts';

/** Result of the calculation "sampling-plan". */
export interface Planned {
	heads: number; minutes: number; every_min: number; fault: number; scatter: number; sets: PlannedSet[]; extra?: PlannedPull[];
	packages: number; shaken_per_head: number; shaken_least: number; rotation_min: number; hit_chance: number; named_chance: number; missed_chance: number; needed_per_head: number;
	curve: { fault: number; excess_ppb?: number; missed_chance: number }[]; advice?: string[];
}
/** The fault to catch is told as a ratio, in ppb, or in standard errors. */
export type FaultBy = 'ratio' | 'ppb' | 'se';
export const FAULT_BY: [FaultBy, string][] = [['ratio', 'times the others'], ['ppb', 'ppb above them'], ['se', 'standard errors']];
export type Typed = Record<'heads' | 'hours' | 'every' | 'fault' | 'level' | 'scatter' | 'cans' | 'miss' | 'alarm', string>;

/** Starting points: the line's heads and interval, the mean limit as the level of a good head, and the scatter of the last runs like it. */
export function begin(run: Run, line: Line | undefined, mean: number | undefined, scatter: number | undefined): Typed {
	const p = run.plan;
	const pct = (x: number | undefined, or: string) => (x ? String(Number((100 * x).toPrecision(4))) : or);
	return {
		heads: String(p?.heads ?? line?.heads ?? 1), hours: String(Number(((p?.minutes ?? 240) / 60).toPrecision(4))), every: String(p?.every_min ?? run.sample_every_min ?? line?.sample_every_min ?? 30),
		fault: String(Number((p?.fault ?? 1.5).toPrecision(4))), level: mean === undefined ? '' : String(Math.round(mean)), scatter: String(Number((p?.scatter ?? scatter ?? 0.3).toPrecision(2))), cans: p?.cans ? String(p.cans) : '',
		miss: pct(p?.miss_risk, '10'), alarm: pct(p?.false_alarm, '5')
	};
}

const number = (s: string): number | undefined => {
	const x = Number(s.trim().replace(',', '.'));
	return s.trim() && Number.isFinite(x) ? x : undefined;
};
/** Input of the core, or the field that is no number. */
export function input(t: Typed, by: FaultBy): { input?: Record<string, unknown>; bad?: keyof Typed } {
	for (const k of Object.keys(t) as (keyof Typed)[]) if (t[k].trim() && number(t[k]) === undefined) return { bad: k };
	const out: Record<string, unknown> = { heads: number(t.heads), hours: number(t.hours), every_min: number(t.every), scatter: number(t.scatter), level_ppb: number(t.level), cans: number(t.cans), explain: true };
	out[{ ratio: 'fault', ppb: 'fault_ppb', se: 'fault_se' }[by]] = number(t.fault);
	if (number(t.miss) !== undefined) out.miss_risk = number(t.miss)! / 100;
	if (number(t.alarm) !== undefined) out.false_alarm = number(t.alarm)! / 100;
	for (const k of Object.keys(out)) if (out[k] === undefined) delete out[k];
	return { input: out };
}
/** Which field the core's refusal is about. */
export const FIELD: Record<string, keyof Typed> = { heads: 'heads', hours: 'hours', every: 'every', every_min: 'every', fault: 'fault', fault_ppb: 'fault', fault_se: 'fault', level_ppb: 'level', scatter: 'scatter', cans: 'cans', miss_risk: 'miss', power: 'miss', false_alarm: 'alarm' };

/** The plan to keep on the run, as made. */
export function kept(r: Planned, t: Typed): SamplingPlan {
	return { heads: r.heads, minutes: r.minutes, every_min: r.every_min, fault: r.fault, scatter: r.scatter, cans: number(t.cans) ?? 0, miss_risk: (number(t.miss) ?? 10) / 100, false_alarm: (number(t.alarm) ?? 5) / 100, sets: r.sets, extra: r.extra ?? [] };
}

/** Scatter of single packages about the mean of their head, of ln TPO, over runs; undefined with fewer than eight to spare. */
export function scatterOf(runs: Sample[][]): number | undefined {
	let squares = 0, free = 0;
	for (const samples of runs) {
		const by: Record<number, number[]> = {};
		for (const s of samples) if (isPackage(s) && s.head && (s.result?.tpo_ppb ?? 0) > 0) (by[s.head] ??= []).push(Math.log(s.result!.tpo_ppb!));
		for (const x of Object.values(by)) {
			const m = x.reduce((a, b) => a + b, 0) / x.length;
			squares += x.reduce((a, b) => a + (b - m) ** 2, 0);
			free += x.length - 1;
		}
	}
	return free >= 8 ? Math.sqrt(squares / free) : undefined;
}

export interface Next { /** from 1 */ set: number; of: number; due: number; pull: PlannedPull; occasion: string; left: PlannedPull[]; why: string }
const EARLY = 5 * 60000;
/** What the plan wants next. A package counts for the newest set that is due and has its place open; once the next set is due, what is left of one is let go. Undefined after the last. */
export function nextPull(plan: SamplingPlan | undefined, started_at: string, samples: Sample[], now: number): Next | undefined {
	if (!plan?.sets.length) return undefined;
	const start = Date.parse(started_at), due = plan.sets.map((s) => start + s.minute * 60000);
	const open = plan.sets.map((s) => [...s.pulls]);
	let p = 0;
	for (const s of [...samples].sort((a, b) => Date.parse(a.taken_at) - Date.parse(b.taken_at) || (a.id < b.id ? -1 : 1))) {
		const t = Date.parse(s.taken_at);
		const place = (i: number) => open[i].findIndex((x) => x.kind === s.kind && (x.kind === 'inlet' || x.head === s.head));
		let at = -1;
		for (let i = p; i < open.length && (i === p || due[i] <= t + EARLY || open[i - 1].length === 0); i++) if (place(i) >= 0) at = i;
		if (at < 0) continue;
		open[at].splice(place(at), 1);
		p = at;
	}
	while (p < open.length - 1 && (!open[p].length || due[p + 1] <= now)) p++;
	if (!open[p].length) return undefined;
	const set = plan.sets[p], pull = open[p][0];
	return { set: p + 1, of: open.length, due: due[p], pull, occasion: set.occasion, left: open[p], why: `plan, set ${p + 1} of ${open.length}: ${words(open[p])}` };
}

/** "inlet, heads 1 pair, 2, 3". */
export function words(pulls: PlannedPull[]): string {
	const heads = [...new Set(pulls.filter((x) => x.head).map((x) => x.head!))];
	const both = (h: number) => pulls.some((x) => x.head === h && x.kind === 'unshaken') && pulls.some((x) => x.head === h && x.kind === 'shaken');
	const list = heads.map((h) => `${h}${both(h) ? ' pair' : pulls.some((x) => x.head === h && x.kind === 'unshaken') ? ' unshaken' : ''}`);
	return [pulls.some((x) => x.kind === 'inlet') ? 'inlet' : '', list.length ? `${list.length > 1 ? 'heads' : 'head'} ${list.join(', ')}` : ''].filter(Boolean).join(', ');
}
