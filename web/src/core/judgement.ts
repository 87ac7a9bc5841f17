// A run's judgement: from the server while it answers, else from the core on this
// device, which gives the same of the same records. Words for what comes back.
import { fmt } from './units.ts';
import type { components } from '#gen/api.d.ts';
import { limitOf, type Instrument, type Line, type LotDecision, type MeterCheck, type RuleSet, type Run, type RunEvent, type Sample } from '#api/records.ts';
import { byMethod, isDirect, isPackage, volumesOf } from './direct.ts';
import type { Judgement, Word } from './judge.ts';
import { joinTank, type TankReading } from './tankdo.ts';

export type Report = components['schemas']['Report'];
export type Cause = components['schemas']['Cause'];
export type HeldSpan = components['schemas']['HeldSpan'];
export type Reason = components['schemas']['Reason'];
export type LotVerdict = 'release' | 'conditional' | 'hold';

export interface RunParts { run: Run; samples: Sample[]; events: RunEvent[]; line?: Line; meter?: Instrument; checks: MeterCheck[]; /** The instrument that reads TPO directly, with its checks. */ direct?: Instrument; directChecks?: MeterCheck[]; rules?: RuleSet; readings?: TankReading[] }

/** The narrowest set of rules that fits: beer and format, beer, format, all. */
export function ruleSetFor(sets: RuleSet[], beer_id: string, format_id: string): RuleSet | undefined {
	const rank = (r: RuleSet) => (r.beer_id ? 2 : 0) + (r.format_id ? 1 : 0);
	return sets.filter((r) => (!r.beer_id || r.beer_id === beer_id) && (!r.format_id || r.format_id === format_id))
		.sort((a, b) => rank(b) - rank(a) || (a.id > b.id ? -1 : 1))[0];
}

const given = (o: Record<string, unknown>): Record<string, unknown> => Object.fromEntries(Object.entries(o).filter(([, v]) => v !== undefined && v !== null && v !== ''));

/** Input of the calculation "judge"; the server makes the same in internal/lab/judge.go. */
export function judgeInput(p: RunParts): Record<string, unknown> {
	const l = limitOf(p.run.in_force, 'tpo');
	const r = p.rules;
	const events: Record<string, unknown>[] = p.events.filter((e) => e.kind !== 'note').map((e) => ({ taken_at: e.at, event: e.kind }));
	const rows: Record<string, unknown>[] = [];
	for (const s of p.samples) {
		if (s.inputs.do_ppb === undefined && s.inputs.direct_ppb === undefined) continue;
		const x = isDirect(s.result) ? byMethod(s, 'calculated') : s.result, d = byMethod(s, 'direct'), v = volumesOf(s);
		rows.push(given({
			id: s.id, taken_at: s.taken_at, closed_at: s.closed_at, head: s.head || undefined, station: s.station || undefined, yeast_in_package: p.run.in_force.yeast_in_package || undefined,
			...(s.kind === 'direct' ? {} : { [`${s.kind}_do_ppb`]: s.inputs.do_ppb }), ...(s.kind === 'shaken' ? { tpo_ppb: x?.tpo_ppb ?? 0, tpo_u_ppb: x?.tpo_u_ppb, beer_ml: v?.beer_ml, fill_known: (v?.beer_ml !== undefined && v.path !== 'assumed') || undefined } : {}),
			...(isPackage(s) && d ? { direct_ppb: d.tpo_ppb, direct_u_ppb: d.tpo_u_ppb } : {})
		}));
	}
	joinTank(rows, p.run, p.events, p.readings ?? []);
	const checksOf = (list: MeterCheck[]) => list.map((c) => given({ at: c.at, outcome: c.outcome, against: c.against, offset_ppb: c.offset_ppb, offset_u_ppb: c.offset_u_ppb }));
	return given({
		tpo_by: p.run.in_force.tpo_by,
		...(p.direct ? { direct_meter: given({ u_rel: p.direct.u_rel }), direct_check_every_days: p.direct.check_every_days, direct_meter_checks: checksOf(p.directChecks ?? []) } : {}),
		rules: given({
			mean_green_ppb: l?.mean_green_ppb || l?.single_green_ppb, single_green_ppb: l?.single_green_ppb, single_red_ppb: l?.single_red_ppb, mean_bound_ppb: r?.mean_bound_ppb, mean_red_ppb: r?.mean_red_ppb,
			late_minutes: r?.late_minutes, yeast_minutes: r?.yeast_minutes, retest_minutes: r?.retest_minutes, retest_count: r?.retest_count, min_readings: r?.min_readings, risk: r?.risk, false_alarm: r?.false_alarm
		}),
		meter: given({ u_rel: p.meter?.u_rel }), check_every_days: p.meter?.check_every_days,
		meter_checks: p.meter ? checksOf(p.checks) : undefined,
		line: given({ heads: p.line?.heads, packages_per_min: p.line?.packages_per_min, packages_per_pallet: r?.packages_per_pallet }), rows: [...events, ...rows]
	});
}

const WORD: Record<string, Word> = { release: 'within', conditional: 'watch', hold: 'over', keep_going: 'within', re_test: 'watch', stop: 'over' };
export const VERDICT: Record<string, string> = { release: 'Release', conditional: 'Release with conditions', hold: 'Hold', keep_going: 'Keep going', re_test: 'Re-test', stop: 'Stop the line' };
export const asWord = (v: string): Judgement => ({ word: WORD[v] ?? 'none', text: VERDICT[v] ?? 'Not judged', why: '' });
/** What was decided, as it stands on record. */
export const DECIDED: Record<string, string> = { release: 'Released', conditional: 'Released with conditions', hold: 'On hold' };

export const CAUSE: Record<string, string> = {
	startup: 'Start-up', restart: 'After stops', drift: 'Drift', step: 'Step', head: 'One head', station: 'One closing station', headspace: 'Headspace, all heads', low_fill: 'Low fills',
	meter: 'The meter', late_reading: 'Read too late', unit_slip: 'Typed in another unit', tank: 'The tank', line: 'The line before the filler'
};
const clock = new Intl.DateTimeFormat('en-GB', { hour: '2-digit', minute: '2-digit' });
export const hm = (t: string): string => clock.format(new Date(t));
/** Kind and place of a cause in words. */
export function causeName(c: Pick<Cause, 'kind' | 'where'>): string {
	if (c.kind === 'head') return `Head ${c.where}`;
	if (c.kind === 'station') return `Closing station ${c.where}`;
	if (c.kind === 'low_fill' && !c.where.includes('T')) return `Low fills, head ${c.where}`;
	return CAUSE[c.kind] ?? c.kind;
}
export const RULE: Record<string, string> = {
	meter_proven: 'Meter proven before and after', read_in_time: 'All read in time', record_in_order: 'Record in order', mean_below: 'Mean within its limit', mean_bound_below: 'Upper 95 % bound of the mean',
	no_single_above: 'No confirmed package above the limit', enough_readings: 'Enough readings', set_mean: 'Mean of the set', set_singles: 'Single packages of the set', all: 'All rules'
};
export const ruleName = (r: string): string => RULE[r] ?? r.replaceAll('_', ' ').replace(/^./, (c) => c.toUpperCase());
export const HIT: Record<string, string> = { beyond_limits: 'One package outside what this run\'s own scatter explains', one_side: 'Nine packages in a row on one side of the middle: the level has shifted', steady_trend: 'Six packages in a row rising, or falling: a drift' };

/** A chance in words a person would say. */
export function chance(p: number | null | undefined): string {
	if (p === null || p === undefined) return '';
	const x = p * 100;
	return x < 0.1 ? 'under\u00a00.1\u00a0%' : x < 1 ? `${x.toFixed(1)}\u00a0%` : x > 99 ? 'over\u00a099\u00a0%' : `${x.toFixed(0)}\u00a0%`;
}
export const upper = (s: string): string => s.charAt(0).toUpperCase() + s.slice(1);
/** Why there is no chance to give, with the rule in words. */
export const wrongWords = (r: { wrong?: string; rule: string; probability_wrong: number | null }): string =>
	r.probability_wrong === null ? upper((r.wrong ?? '').replace(`the rule ${r.rule}`, `the rule "${ruleName(r.rule)}"`)) : `Chance of being wrong: ${chance(r.probability_wrong)} (${r.wrong})`;
export const span = (h: { from: string; to: string }): string => `${hm(h.from)} to ${hm(h.to)}`;
export const count = (n: number | null | undefined): string => (n === null || n === undefined ? 'not countable: set the speed of the line' : fmt(n, 0));
export const pallets = (n: number | null | undefined): string => (n ? ` on ${n} ${n === 1 ? 'pallet' : 'pallets'}` : '');
/** A decision counts until a failed check opens the lot again; what waits on this device is newer than any. */
export const counts = (d: LotDecision, run?: Run): boolean => !run?.hold?.reopened_at || !d.server_at || Date.parse(d.server_at) > Date.parse(run.hold.reopened_at);

/** Where a lot stands, in the same words on every page: a hold goes before a decision, and a decision that no longer counts is said. */
export function lotState(run: Run | undefined, decisions: LotDecision[]): Judgement {
	const of = decisions.filter((d) => d.run_id === run?.id).sort((a, b) => Date.parse(a.server_at ?? a.device_at ?? '') - Date.parse(b.server_at ?? b.device_at ?? '') || (a.id < b.id ? -1 : 1));
	const last = of.filter((d) => counts(d, run)).at(-1), then = of.filter((d) => !counts(d, run)).at(-1);
	if (run?.hold?.state === 'held' && run.hold.check_id && !last) return { word: 'over', text: 'On hold, opened again', why: then ? `${DECIDED[then.decision]} then; no longer counts` : 'released then; no longer counts' };
	if (run?.hold?.state === 'held') return { word: 'over', text: DECIDED.hold, why: '' };
	if (last) return { ...asWord(last.decision), text: DECIDED[last.decision] };
	return run?.hold?.state === 'released' ? { word: 'within', text: DECIDED.release, why: '' } : { word: 'none', text: 'Not decided', why: '' };
}
