// What comes next at the line: head and station by rotation, the set, and what
// is due. Intervals marked "common practice" are defaults that a brewery changes.
import type { Instrument, Line, MeterCheck, Run, RunEvent, Sample, SampleKind } from '#api/records.ts';
import { isPackage } from './direct.ts';
import { againstWord, checksOf, dues } from './instruments.ts';
import { nextPull, type Next } from './sampling.ts';

/** The beer temperature is asked for again after this time (common practice). */
export const TEMPERATURE_MAX_AGE_MIN = 180;
/** TPO belongs within this time of closing (common practice); with yeast in the package, 15 min. */
export const LATE_MIN = 120;
export const LATE_YEAST_MIN = 15;

const byTime = (a: Sample, b: Sample) => Date.parse(a.taken_at) - Date.parse(b.taken_at) || (a.id < b.id ? -1 : 1);
export const inOrder = (s: Sample[]): Sample[] => [...s].sort(byTime);

/** By the run's plan; without one by rotation, in which a pair stays on its head: after an unshaken package the same head is due, shaken. */
export function nextPlace(samples: Sample[], line: Line | undefined, red?: number, planned?: Next): { head?: number; station?: number; kind?: SampleKind; why?: string } {
	const packages = inOrder(samples).filter((s) => s.kind !== 'inlet');
	const again = retest(packages, red);
	if (again) return { ...again, why: `Head ${again.head} was above the limit: the same head again` };
	const last = packages.at(-1);
	const step = (x: number | undefined, n: number | undefined) => (n ? (x === undefined ? 1 : last?.kind === 'unshaken' ? x : (x % n) + 1) : undefined);
	const station = step(last?.station, line?.stations);
	if (planned) return { head: planned.pull.head ?? step(last?.head, line?.heads), station, kind: planned.pull.kind, why: `${planned.why[0].toUpperCase()}${planned.why.slice(1)}` };
	return { head: step(last?.head, line?.heads), station };
}

/** Re-tests of a head above the limit that refute or confirm it (common practice). */
const RETESTS = 2;
/** While the last packages are of one head that was above the limit: that head, until it was pulled twice more. */
function retest(packages: Sample[], red: number | undefined): { head?: number; station?: number } | undefined {
	const shaken = packages.filter((s) => isPackage(s) && s.result?.tpo_ppb !== undefined);
	const head = shaken.at(-1)?.head;
	if (red === undefined || !head) return undefined;
	const streak = shaken.slice(shaken.findLastIndex((s) => s.head !== head) + 1);
	const high = streak.findIndex((s) => s.result!.tpo_ppb! > red);
	return high >= 0 && streak.length - 1 - high < RETESTS ? { head, station: streak.at(-1)!.station } : undefined;
}

/** A new set begins once half the sampling interval has passed since the set began. */
export function nextSet(samples: Sample[], every_min: number | undefined, now: number): number {
	const o = inOrder(samples);
	const last = o.at(-1);
	if (!last) return 1;
	const n = last.set_no ?? 1;
	const began = o.find((s) => s.set_no === n) ?? last;
	return now - Date.parse(began.taken_at) > (every_min ?? 30) * 30000 ? n + 1 : n;
}

export function carriedTemperature(samples: Sample[]): { c?: number; at?: string } {
	const s = samples.filter((x) => x.inputs.temperature_c !== undefined && x.inputs.temperature_at)
		.sort((a, b) => Date.parse(a.inputs.temperature_at!) - Date.parse(b.inputs.temperature_at!)).at(-1);
	return s ? { c: s.inputs.temperature_c, at: s.inputs.temperature_at } : {};
}

export interface Due { what: string; at: number; why: string; kind: 'sample' | 'temperature' | 'check'; run_id?: string; id?: string }

const OCCASION: Record<string, string> = { start: 'Start set', steady: 'Set', end: 'End set' };
export function sampleDue(run: Run, samples: Sample[], events: RunEvent[], now = Date.now()): Due {
	const last = inOrder(samples).at(-1);
	const restart = events.filter((e) => e.kind === 'restart' || e.kind === 'tank_change' || e.kind === 'gas_change').sort((a, b) => Date.parse(a.at) - Date.parse(b.at)).at(-1);
	if (restart && (!last || Date.parse(restart.at) > Date.parse(last.taken_at)))
		return { kind: 'sample', run_id: run.id, what: 'Sample', at: Date.parse(restart.at), why: `first packages after the ${EVENT_WORD[restart.kind]}` };
	const planned = run.status === 'going' ? nextPull(run.plan, run.started_at, samples, now) : undefined;
	if (planned) return { kind: 'sample', run_id: run.id, what: OCCASION[planned.occasion] ?? 'Sample', at: planned.due, why: planned.why };
	const every = run.sample_every_min ?? 30;
	if (!last) return { kind: 'sample', run_id: run.id, what: 'Start set', at: Date.parse(run.started_at), why: 'one package of each head' };
	return { kind: 'sample', run_id: run.id, what: 'Sample', at: Date.parse(last.taken_at) + every * 60000, why: `every ${every} min` };
}
const EVENT_WORD: Record<string, string> = { restart: 'restart', tank_change: 'tank change', gas_change: 'gas change' };

export function temperatureDue(run: Run, samples: Sample[]): Due | undefined {
	const t = carriedTemperature(samples);
	if (!t.at) return undefined;
	return { kind: 'temperature', run_id: run.id, what: 'Beer temperature', at: Date.parse(t.at) + TEMPERATURE_MAX_AGE_MIN * 60000, why: 'older than 3 h' };
}
/** The check of an instrument that is due first. */
export function checkDue(i: Instrument, checks: MeterCheck[] = []): Due | undefined {
	const d = dues(i, checksOf(i.id, checks))[0];
	return d && { kind: 'check', id: i.id, what: d.against ? `${i.name}: ${againstWord(d.against).toLowerCase()}` : `Check of ${i.name}`, at: d.at ?? 0, why: d.why };
}
