// What a failed check puts in doubt, judged again on this device by the core: the
// server says the same of the same records (internal/lab/consequences.go).
import type { components } from '#gen/api.d.ts';
import type { Instrument, LotDecision, MeterCheck, Run, Sample, SampleInputs } from '#api/records.ts';
import { run as calc } from './client.ts';
import { choose, directResult, isPackage } from './direct.ts';
import { counts, judgeInput, type Report, type RunParts } from './judgement.ts';
import { missing, tpoInput, type TpoResult } from './tpo.ts';

export type Consequences = components['schemas']['Consequences'];
export type DoubtRun = Consequences['runs'][number];
export type Found = Consequences['found'];

const at = (c: { at: string }): number => Date.parse(c.at);
const DAY = 86400000;
/** How far apart checks may lie whose errors make one line. */
const SESSION = 12 * 3600000;
/** After the end of a run its packages may still be read so long. */
const READ_WITHIN = 7 * DAY;
const sameAgainst = (a?: string, b?: string): boolean => a === b || !a || !b;
const r4 = (x: number): number => Math.round(x * 1e4) / 1e4;
const r2 = (x: number): number => Math.round(x * 100) / 100;

export const lastPass = (c: MeterCheck, all: MeterCheck[]): MeterCheck | undefined =>
	all.filter((x) => x.id !== c.id && x.instrument_id === c.instrument_id && x.outcome === 'passed' && sameAgainst(x.against, c.against) && at(x) < at(c)).sort((a, b) => at(a) - at(b)).at(-1);

/** Other checks that tell of the same error: near in time, with no adjustment between. */
function session(c: MeterCheck, all: MeterCheck[]): MeterCheck[] {
	return all.filter((x) => {
		if (x.id === c.id || x.instrument_id !== c.instrument_id || Math.abs(at(x) - at(c)) > SESSION) return false;
		const first = at(x) < at(c) ? x : c;
		return !first.adjusted && !first.sensor_replaced;
	}).sort((a, b) => at(a) - at(b));
}
const references = (c: MeterCheck): { expected: number; read: number }[] =>
	c.read === undefined || c.expected === undefined || c.against === 'air' || c.against === 'response' ? [] : [{ expected: c.expected, read: c.read }, ...(c.more ?? [])];

/** A line through differences over what should have been read; undefined where the points lie within a tenth of the largest. */
export function fitErrors(p: { expected: number; read: number }[]): { offset: number; slope: number } | undefined {
	const x = p.map((q) => q.expected), n = p.length;
	if (n < 2 || !(Math.max(...x) - Math.min(...x) > Math.max(...x.map(Math.abs)) / 10)) return undefined;
	const mx = x.reduce((a, b) => a + b, 0) / n, my = p.reduce((a, q) => a + q.read - q.expected, 0) / n;
	const slope = p.reduce((a, q) => a + (q.expected - mx) * (q.read - q.expected - my), 0) / p.reduce((a, q) => a + (q.expected - mx) ** 2, 0);
	return { offset: my - slope * mx, slope: 100 * slope };
}
export function foundBy(c: MeterCheck, i: Instrument, all: MeterCheck[]): Found {
	const near = session(c, all), clock = (x: MeterCheck) => x.at.slice(11, 16);
	if (i.kind === 'do_meter') {
		// Before the server has filled them, offset and slope follow from the reading.
		const own = (x: MeterCheck) => ({
			offset: x.offset_ppb ?? (x.against === 'zero' && x.read !== undefined && x.expected !== undefined ? r2(x.read - x.expected) : undefined),
			slope: x.slope_pct ?? (x.against === 'air' && x.read !== undefined && x.expected ? r2(100 * (x.read / x.expected - 1)) : undefined)
		});
		const f: Found = { offset_ppb: own(c).offset, slope_pct: own(c).slope };
		for (const x of near) {
			if (f.offset_ppb === undefined && own(x).offset !== undefined) Object.assign(f, { offset_ppb: own(x).offset, from: `offset by the check of ${clock(x)}` });
			if (f.slope_pct === undefined && own(x).slope !== undefined) Object.assign(f, { slope_pct: own(x).slope, from: `slope by the check of ${clock(x)}` });
		}
		return f;
	}
	const f: Found = { unit: c.unit }, mine = references(c);
	if (!mine.length) return f;
	const points = [...mine, ...near.filter((x) => x.unit === c.unit).flatMap(references)], line = fitErrors(points);
	if (line) return { ...f, offset: r4(line.offset), slope_pct: r4(line.slope), points: points.length, ...(points.length > mine.length ? { from: `with ${points.length - mine.length} references of other checks of the same day` } : {}) };
	const off = mine.reduce((a, q) => a + q.read - q.expected, 0) / mine.length;
	return { ...f, offset: off, points: mine.length, ...(c.unit === 'g' && mine[0].expected > 0 ? { assumed: 'offset' as const, other_slope_pct: r4((100 * off) / mine[0].expected) } : {}) };
}
const known = (f: Found): boolean => f.offset_ppb !== undefined || f.slope_pct !== undefined || f.offset !== undefined;
const right = (f: Found, v: number | undefined): number | undefined => (v === undefined ? undefined : (v - (f.offset ?? 0)) / (1 + (f.slope_pct ?? 0) / 100));

/** The readings of a run as they would have been, had the instrument read right. */
export function corrected(r: Run, i: SampleInputs, instrument: string, f: Found): SampleInputs {
	const out = { ...i };
	if (r.do_meter_id === instrument && i.do_ppb !== undefined) out.do_ppb = Math.max(0, (i.do_ppb - (f.offset_ppb ?? 0)) / (1 + (f.slope_pct ?? 0) / 100));
	if (f.offset === undefined) return out;
	if (r.tpo_meter_id === instrument && i.direct_ppb !== undefined) out.direct_ppb = Math.max(0, right(f, i.direct_ppb)!);
	if (r.scale_id === instrument) [out.gross_g, out.tare_g] = [right(f, i.gross_g), right(f, i.tare_g)];
	if (r.thermometer_id === instrument) out.temperature_c = right(f, i.temperature_c);
	return out;
}
async function again(r: Run, s: Sample, f: Found, instrument: string): Promise<Sample> {
	const inputs = corrected(r, s.inputs, instrument, f);
	if (!isPackage(s)) return { ...s, inputs };
	const own = s.tare_source === 'own' || (!s.tare_source && s.inputs.tare_g !== undefined);
	let calculated: Sample['result'] = undefined;
	if (s.kind === 'shaken' && inputs.do_ppb !== undefined) {
		const a = missing('shaken', inputs, r.in_force, own).length ? undefined : await calc<TpoResult>('tpo', tpoInput(inputs, r.in_force, own, r.in_force.package, s.closed_at, s.taken_at));
		const t = a?.result;
		calculated = { tpo_by: 'calculated', method: 'tpo', computed_by: 'device', ...(t ? { beer_ml: r2(t.beer_ml!), headspace_ml: r2(t.headspace_ml!), tpo_ppb: r2(t.tpo_ppb!), tpo_u_ppb: r2(t.tpo_u_ppb!), path: t.path } : {}) };
	}
	const [result, other_result] = choose(calculated ?? undefined, directResult(inputs, r.in_force, s.taken_at), r.in_force.tpo_by);
	return { ...s, inputs, result, other_result };
}
interface Word { verdict: 'release' | 'conditional' | 'hold'; rule?: string; mean_ppb?: number }
/** Judges a run as if its instruments had been proven. */
async function asProven(p: RunParts): Promise<{ word?: Word; n: number }> {
	const with_tpo = p.samples.filter((s) => isPackage(s) && (s.result?.tpo_ppb ?? 0) > 0), n = with_tpo.length;
	if (!n) return { n };
	const input = { ...judgeInput(p) }, proven = { before: 'passed', after: 'passed' };
	for (const k of ['meter_checks', 'direct_meter_checks']) delete input[k];
	Object.assign(input, { meter: { ...(p.meter?.u_rel ? { u_rel: p.meter.u_rel } : {}), ...proven }, direct_meter: { ...(p.direct?.u_rel ? { u_rel: p.direct.u_rel } : {}), ...proven } });
	const a = await calc<Report>('judge', input);
	return { word: a.result && { verdict: a.result.verdict as Word['verdict'], rule: a.result.rule, mean_ppb: r2(with_tpo.reduce((x, s) => x + s.result!.tpo_ppb!, 0) / n) }, n };
}
const WORDS: Record<string, string> = { release: 'release', conditional: 'release with conditions', hold: 'hold' };
const whole = (x: number | undefined): string => (x ?? 0).toFixed(0);

export interface OnDevice { check: MeterCheck; instrument: Instrument; checks: MeterCheck[]; runs: Run[]; parts: (id: string) => RunParts | undefined; decisions: LotDecision[]; beer: (id: string) => string; format: (id: string) => string }
/** Runs on this device that were measured with the instrument since its last pass, the oldest first. */
export function inDoubt(o: Pick<OnDevice, 'check' | 'checks' | 'runs' | 'parts'>): Run[] {
	const last = lastPass(o.check, o.checks), since = last ? at(last) : 0, id = o.check.instrument_id;
	return o.runs.filter((r) => {
		if (![r.do_meter_id, r.scale_id, r.thermometer_id, r.tpo_meter_id].includes(id) || Date.parse(r.started_at) > at(o.check) || (r.ended_at && Date.parse(r.ended_at) < since - READ_WITHIN)) return false;
		// A run whose readings are not here is listed too: nobody can say that it was not read.
		const read = o.parts(r.id)?.samples ?? [];
		return !read.length || read.some((s) => Date.parse(s.taken_at) >= since && Date.parse(s.taken_at) <= at(o.check));
	}).sort((a, b) => Date.parse(a.started_at) - Date.parse(b.started_at));
}
async function doubtRun(o: OnDevice, r: Run, f: Found): Promise<DoubtRun> {
	const p = o.parts(r.id)!;
	// The decision of then: the newest before this check opened the lot again, else the newest.
	const all = o.decisions.filter((x) => x.run_id === r.id).sort((a, b) => Date.parse(a.server_at ?? a.device_at ?? '') - Date.parse(b.server_at ?? b.device_at ?? ''));
	const reopened = r.hold?.check_id === o.check.id, before = reopened ? all.filter((x) => !counts(x, r)) : all, d = (before.length ? before : all).at(-1), still = !!d && counts(d, r);
	const out: DoubtRun = {
		run_id: r.id, number: r.number ?? 0, code: r.code, beer: o.beer(r.beer_id), format: o.format(r.format_id), started_at: r.started_at, ended_at: r.ended_at, readings: 0, hold: r.hold?.state, reopened, changes: false, mean_change_ppb: 0, why: '',
		...(d ? { decision: { verdict: d.decision, by: d.by, at: d.server_at ?? d.device_at, counts: still } } : {})
	};
	if (!p.samples.length) return { ...out, why: 'its readings are not on this device: it is judged again with the network' };
	const read = await asProven(p);
	[out.as_read, out.readings] = [read.word, read.n];
	if (!known(f)) return { ...out, why: 'the check says not by how much the instrument was off' };
	const redo = async (g: Found) => (await asProven({ ...p, samples: await Promise.all(p.samples.map((s) => again(r, s, g, o.check.instrument_id))) })).word;
	out.corrected = await redo(f);
	if (!read.word || !out.corrected) return { ...out, why: 'no package with TPO can be judged' };
	if (f.other_slope_pct !== undefined) {
		const x = await redo({ unit: f.unit, offset: 0, slope_pct: f.other_slope_pct });
		if (x && x.verdict !== out.corrected.verdict) out.otherwise = x;
	}
	out.mean_change_ppb = r2(out.corrected.mean_ppb! - read.word.mean_ppb!);
	out.changes = out.corrected.verdict !== read.word.verdict || !!out.otherwise;
	const is = WORDS[out.corrected.verdict], was = WORDS[read.word.verdict];
	out.why = out.otherwise
		? `one reference mass cannot tell how the error goes with the weight: as the same amount at every weight the proposal is ${is} (mean TPO ${whole(out.corrected.mean_ppb)} ppb), as a share of the weight ${WORDS[out.otherwise.verdict]} (${whole(out.otherwise.mean_ppb)} ppb); as read it is ${was}`
		: out.changes ? `corrected, the mean TPO is ${whole(out.corrected.mean_ppb)} ppb instead of ${whole(read.word.mean_ppb)}, and the proposal ${is} instead of ${was}`
		: Math.abs(out.mean_change_ppb) < 0.05 ? 'the found error does not reach its TPO' : `corrected, the mean TPO is ${whole(out.corrected.mean_ppb)} ppb instead of ${whole(read.word.mean_ppb)}; by its readings it stays ${is}`;
	return out;
}
/** The lots on this device that a failed check puts in doubt, judged again under the error found. */
export async function consequences(o: OnDevice): Promise<Consequences> {
	const last = lastPass(o.check, o.checks), found = foundBy(o.check, o.instrument, o.checks), runs: DoubtRun[] = [];
	for (const r of o.check.outcome === 'failed' ? inDoubt(o) : []) runs.push(await doubtRun(o, r, found));
	const changing = runs.filter((r) => r.changes).length, n = runs.length;
	const lots = n === 1 ? 'One lot was' : `${n} lots were`, other = changing === 0 ? 'none would be judged otherwise' : changing === 1 ? 'one would be judged otherwise' : `${changing} would be judged otherwise`;
	const sentence = !n ? 'Nothing on this device was measured with it since its last pass.'
		: !known(found) ? `${lots} measured with it since its last pass. The check does not say by how much it was off, so nothing could be judged again.`
		: `${lots} measured with it since its last pass; under the error found ${other}. A person decides.${found.assumed ? ' One reference mass was used: the error is taken as the same amount at every weight; where taking it as a share of the weight gives another verdict, both are shown. Two masses tell.' : ''}`;
	return { check_id: o.check.id, instrument_id: o.check.instrument_id, instrument: o.instrument.name, against: o.check.against, at: o.check.at, outcome: o.check.outcome ?? '', since: (last?.at ?? null) as string, found, runs, changing, reopened: runs.filter((r) => r.reopened).length, sentence };
}
