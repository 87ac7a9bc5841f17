// Instruments as a person asks of them: proven until when, by which checks, how
// good a reading is now. Limits are the plan of the instrument, else common
// practice, as on the server.
import type { Against, Instrument, MeterCheck, Units } from '#api/records.ts';
import type { Judgement } from './judge.ts';
import type { PlotModel } from './plot.ts';
import { day, fmt, sig } from './units.ts';

export type Kind = Instrument['kind'];
export const KIND: Record<Kind, string> = { do_meter: 'DO meter', scale: 'Scale', thermometer: 'Thermometer', barometer: 'Barometer', tpo_meter: 'Direct TPO instrument' };
export const UNIT: Record<Kind, string> = { do_meter: 'ppb', tpo_meter: 'ppb', scale: 'g', thermometer: '°C', barometer: 'kPa' };
const SHOWN: Record<string, string> = { ppb: 'ppb', g: 'g', c: '°C', kpa: 'kPa', s: 's' };
export const AGAINST: Record<Against, string> = { zero: 'Zero', air: 'Air-saturated water', response: 'Response time', meter: 'Another meter', mass: 'Reference mass', ice: 'Ice point', reference: 'Reference instrument', other: 'Something else' };
/** The checks that each kind can be given here. */
export const CHECKS: Record<Kind, Against[]> = { do_meter: ['zero', 'air', 'response', 'meter'], tpo_meter: ['zero', 'meter'], scale: ['mass'], thermometer: ['ice', 'reference'], barometer: ['reference'] };
export const againstWord = (a: string | undefined): string => AGAINST[a as Against] ?? 'Check';

const DAY = 86400000;
const at = (c: { at: string }): number => Date.parse(c.at);
export const checksOf = (id: string, all: MeterCheck[]): MeterCheck[] => all.filter((c) => c.instrument_id === id).sort((a, b) => at(a) - at(b) || (a.id < b.id ? -1 : 1));

export const planned = (i: Instrument, a: string): { limit?: number; every_days?: number } => i.checks?.find((p) => p.against === a) ?? {};
/** Limit of |read − expected| in the unit of the check; of a response time, seconds. Undefined: not judged. */
export function limitOf(i: Instrument, a: string, expected = 0): number | undefined {
	const own = planned(i, a).limit, e = Math.abs(expected);
	switch (a) {
		case 'zero': return own ?? 3;
		case 'air': return ((own ?? 3) / 100) * e;
		case 'meter': return own ?? Math.max(2, 0.05 * e);
		case 'mass': return own ?? ((i.resolution ?? 0) >= 1 ? 10 : 0.1);
		case 'ice': return own ?? 0.3;
		case 'reference': return own ?? (i.kind === 'barometer' ? 0.5 : 0.3);
		default: return own;
	}
}
export const failed = (c: MeterCheck): boolean => c.outcome === 'failed';
/** Off by: read − expected; of a response time the seconds; of air percent. */
export function off(c: MeterCheck): number | undefined {
	if (c.read === undefined) return c.against === 'air' ? c.slope_pct : c.offset_ppb;
	if (c.against === 'response') return c.read;
	if (c.expected === undefined) return undefined;
	return c.against === 'air' && c.expected ? 100 * (c.read / c.expected - 1) : c.read - c.expected;
}
export const unitOf = (c: { against?: string; unit?: string }, i: Instrument): string => (c.against === 'air' ? '%' : c.against === 'response' ? 's' : (SHOWN[c.unit ?? ''] ?? UNIT[i.kind]));

export interface DueCheck { against: string; at?: number; last?: MeterCheck; every_days?: number; why: string }
/** When each planned check is due, the first first, as on the server: a planned check that comes as often says the same as "any check", and a failed one is due at once. */
export function dues(i: Instrument, checks: MeterCheck[]): DueCheck[] {
	const plan = (i.checks ?? []).filter((p) => p.every_days);
	const one = (against: string, every: number, seen: MeterCheck[], before?: string): DueCheck => {
		const last = seen.at(-1), t = Math.max(last ? at(last) : 0, before ? Date.parse(before) : 0);
		if (last && failed(last) && at(last) === t) return { against, every_days: every, last, at: t, why: `failed ${day(last.at)}: due until it passes` };
		return { against, every_days: every, last, at: t ? t + every * DAY : 0, why: t ? `${last && at(last) === t ? 'passed' : 'checked'} ${day(new Date(t).toISOString())}, every ${fmt(every, every % 1 ? 1 : 0)} days` : 'no check on record' };
	};
	const out = plan.map((p) => one(p.against, p.every_days!, checks.filter((c) => c.against === p.against)));
	if (i.check_every_days && !plan.some((p) => p.every_days! <= i.check_every_days!)) out.push(one('', i.check_every_days, checks, i.last_checked_at));
	return out.sort((a, b) => (a.at ?? 0) - (b.at ?? 0));
}
/** Checks that failed and were not passed since, against the same thing. */
export const unmended = (checks: MeterCheck[]): MeterCheck[] => {
	const same = (a?: string, b?: string) => a === b || !a || !b;
	return checks.filter((c) => failed(c) && !checks.some((d) => !failed(d) && at(d) > at(c) && same(d.against, c.against)));
};
export function stateOf(i: Instrument, checks: MeterCheck[], now: number): Judgement {
	const bad = unmended(checks);
	if (bad.length) return { word: 'over', text: `Failed ${day(bad.at(-1)!.at).replace(/ \d{4}$/, '')}`, why: [...new Set(bad.map((c) => againstWord(c.against).toLowerCase()))].join(', ') };
	const next = dues(i, checks)[0];
	const last = checks.filter((c) => !failed(c)).at(-1);
	if (!next) return last ? { word: 'within', text: `Passed ${day(last.at).replace(/ \d{4}$/, '')}`, why: 'no date for the next check' } : { word: 'none', text: 'Never checked', why: 'no check on record, none planned' };
	if (!next.at) return { word: 'watch', text: 'Due now', why: `${next.against ? `${againstWord(next.against).toLowerCase()}: ` : ''}${next.why}` };
	const when = day(new Date(next.at).toISOString()).replace(new RegExp(` ${new Date(now).getFullYear()}$`), '');
	return next.at < now ? { word: 'watch', text: `Due since ${when}`, why: `${next.against ? `${againstWord(next.against).toLowerCase()}: ` : ''}${next.why}` } : { word: 'within', text: `Proven until ${when}`, why: next.why };
}

/** Standard uncertainty of a reading now, without its proportional part: u_abs, resolution/√12 and drift since the last pass (JCGM 100, F.2.2.1). */
export function uNow(i: Instrument, checks: MeterCheck[], now: number): { u?: number; text: string; days?: number } {
	const last = checks.filter((c) => !failed(c)).at(-1);
	const days = last ? Math.max(0, (now - at(last)) / DAY) : undefined;
	if (i.u_abs === undefined && i.resolution === undefined) return { text: 'nothing on record: the usual value is assumed in results', days };
	const step = (i.resolution ?? 0) / Math.sqrt(12), drift = ((i.u_drift ?? 0) * (days ?? 0)) / 30;
	const parts = [i.u_abs !== undefined && `constant ${i.u_abs}`, i.resolution !== undefined && `step shown ${Number(step.toPrecision(2))}`, drift >= 0.001 && `drift since the last pass ${Number(drift.toPrecision(2))}`].filter(Boolean);
	return { u: Math.hypot(i.u_abs ?? 0, step, drift), text: parts.join(', '), days };
}
export function sensorAge(i: Instrument, checks: MeterCheck[], now: number): { days?: number; life?: number; word: Judgement['word']; text: string } {
	const renewed = [i.sensor_replaced_at, ...checks.filter((c) => c.sensor_replaced).map((c) => c.at)].filter((x): x is string => !!x).sort().at(-1);
	if (!renewed) return { word: 'none', text: 'not on record' };
	const days = Math.max(0, Math.floor((now - Date.parse(renewed)) / DAY)), life = i.sensor_life_days;
	const share = life ? days / life : 0;
	return { days, life, word: share > 1 ? 'over' : share > 0.85 ? 'watch' : 'within', text: `${days} days${life ? ` of the usual ${fmt(life, 0)}` : ''}, since ${day(renewed)}` };
}
/** Checks of one kind in time, with limits and sensor changes on the chart. */
export function driftPlot(i: Instrument, a: Against, checks: MeterCheck[], who: (id?: string) => string): PlotModel | undefined {
	const of = checks.filter((c) => c.against === a && off(c) !== undefined);
	if (!of.length) return undefined;
	const unit = unitOf({ against: a, unit: of.at(-1)!.unit }, i), last = of.at(-1)!;
	const limit = a === 'air' ? (planned(i, 'air').limit ?? 3) : (last.limit ?? limitOf(i, a, last.expected));
	const d = a === 'response' ? 0 : unit === '°C' || unit === 'g' || unit === 'kPa' ? 2 : 1;
	const first = at(of[0]) - DAY, marks = checks.filter((c) => c.sensor_replaced && at(c) >= first).map((c) => ({ x: at(c), name: 'sensor renewed' }));
	if (i.sensor_replaced_at && Date.parse(i.sensor_replaced_at) >= first && !marks.some((m) => Math.abs(m.x - Date.parse(i.sensor_replaced_at!)) < DAY)) marks.push({ x: Date.parse(i.sensor_replaced_at), name: 'sensor renewed' });
	return {
		name: AGAINST[a], x: { name: '', time: true }, y: { name: a === 'response' ? 'seconds' : `read − expected, ${unit}` },
		points: of.map((c) => ({ x: at(c), y: off(c)!, low: a !== 'air' && a !== 'response' && c.u ? off(c)! - 2 * c.u : undefined, high: a !== 'air' && a !== 'response' && c.u ? off(c)! + 2 * c.u : undefined, word: failed(c) ? 'over' : 'within', text: `${day(c.at)}: ${off(c)! > 0 && a !== 'response' ? '+' : ''}${fmt(off(c)!, d)} ${unit}, ${c.outcome ?? 'noted'}${c.by ? `, ${who(c.by)}` : ''}${c.adjusted ? ', adjusted after' : ''}` })),
		levels: [...(a === 'response' ? [] : [{ y: 0, name: '', kind: 'soft' as const }]), ...(limit === undefined ? [] : a === 'response' ? [{ y: limit, name: `limit ${fmt(limit, d)} s`, kind: 'limit' as const }] : [{ y: limit, name: `limit +${fmt(limit, d)} ${unit}`, kind: 'limit' as const }, { y: -limit, name: `limit −${fmt(limit, d)} ${unit}`, kind: 'limit' as const }])],
		marks: marks.sort((x, y) => x.x - y.x), key: '● passed, ■ failed; lines through points: ± 2u of the check'
	};
}
/** Amount in the instrument's own unit, as people write it. */
export const amount = (v: number | undefined, unit: string): string => (v === undefined ? '–' : `${sig(v, 4)} ${unit}`.trim());
export type { Units };
