import { describe, expect, it } from 'vitest';
import type { Instrument, LotDecision, MeterCheck, Run, Sample, SampleResult } from '#api/records.ts';
import { corrected, fitErrors, foundBy, inDoubt, lastPass } from './consequences.ts';
import { choose, directResult, pairsOf, tpoName, volumesOf, waysText } from './direct.ts';
import { judgeInput, lotState } from './judgement.ts';

const calculated = (v: number): SampleResult => ({ method: 'tpo', tpo_by: 'calculated', tpo_ppb: v, tpo_u_ppb: 4, beer_ml: 355, headspace_ml: 18, path: 'weighed', computed_by: 'device' });
const run = (over: Partial<Run> = {}): Run => ({ id: 'r', rev: 1, number: 7, beer_id: 'b', format_id: 'f', line_id: 'l', started_at: '2026-11-05T08:00:00Z', ended_at: '2026-11-05T10:00:00Z', status: 'ended', in_force: {}, ...over });
const sample = (id: string, over: Partial<Sample> = {}): Sample => ({ id, rev: 1, run_id: 'r', kind: 'shaken', taken_at: `2026-11-05T08:1${id}:00Z`, raw: {}, inputs: { do_ppb: 44 }, result: calculated(108), ...over });

describe('a TPO read directly', () => {
	it('has the uncertainty of its instrument, else the larger of 1 ppb and 2 %', () => {
		expect(directResult({ direct_ppb: 30 }, {}, '')).toMatchObject({ tpo_by: 'direct', tpo_ppb: 30, tpo_u_ppb: 1 });
		expect(directResult({ direct_ppb: 100 }, {}, '')).toMatchObject({ tpo_u_ppb: 2, tpo_low95_ppb: 96.08, tpo_high95_ppb: 103.92 });
		expect(directResult({ direct_ppb: 100 }, { instruments: { tpo_meter: { id: 'i', name: 'D', u_abs: 3, u_rel: 0.04 } } }, '')).toMatchObject({ tpo_u_ppb: 5 });
		expect(directResult({ do_ppb: 100 }, {}, '')).toBeUndefined();
	});
	it('counts where there is one, unless the rule says the calculated one and that has a figure', () => {
		const c = calculated(108), d = directResult({ direct_ppb: 104 }, {}, '')!;
		expect(choose(c, d, undefined)).toEqual([d, c]);
		expect(choose(c, d, 'calculated')).toEqual([c, d]);
		expect(choose({ ...c, tpo_ppb: undefined }, d, 'calculated')[0]).toBe(d);
		expect(choose(c, undefined, 'direct')).toEqual([c, undefined]);
	});
	it('makes pairs, words and judgements, and never a DO', () => {
		const d = (v: number) => directResult({ direct_ppb: v }, {}, '')!;
		const both = sample('1', { inputs: { do_ppb: 44, direct_ppb: 104 }, result: d(104), other_result: calculated(108) });
		const alone = sample('2', { kind: 'direct', inputs: { direct_ppb: 90 }, result: d(90) });
		const dented = sample('3', { ...both, id: '3', flags: ['dent'] });
		expect(pairsOf(run(), [both, alone, dented, sample('4')])).toEqual([{ id: 'run 7, 1', calculated_ppb: 108, calculated_u_ppb: 4, direct_ppb: 104, direct_u_ppb: 2.08, beer_ml: 355, headspace_ml: 18 }]);
		expect([tpoName(both), tpoName(sample('4'))]).toEqual(['TPO, read directly', 'TPO, calculated']);
		expect(volumesOf(both)?.beer_ml).toBe(355);
		expect(waysText([both, alone, sample('4')])).toBe('TPO of 2 of 3 packages was read directly; 1 has both figures: calculated − direct is +4.0 ppb in the mean.');
		expect(waysText([sample('4')])).toBe('');
		const input = judgeInput({ run: run({ in_force: { tpo_by: 'calculated' } }), samples: [both, alone], events: [], checks: [], direct: { id: 'd', rev: 1, name: 'D', kind: 'tpo_meter', u_rel: 0.02 }, directChecks: [{ id: 'c', rev: 1, instrument_id: 'd', at: '2026-11-05T07:00:00Z', outcome: 'passed', against: 'zero' }] }) as { rows: Record<string, unknown>[] };
		expect(input).toMatchObject({ tpo_by: 'calculated', direct_meter: { u_rel: 0.02 }, direct_meter_checks: [{ outcome: 'passed' }] });
		expect(input.rows[0]).toMatchObject({ shaken_do_ppb: 44, tpo_ppb: 108, direct_ppb: 104, fill_known: true });
		expect(input.rows[1]).toMatchObject({ direct_ppb: 90 });
		expect(Object.keys(input.rows[1]).filter((k) => /_do_ppb|^tpo_ppb/.test(k))).toEqual([]);
	});
});

describe('what a failed check found', () => {
	const scale = { id: 's', rev: 1, name: 'Balance', kind: 'scale' } as Instrument;
	const check = (over: Partial<MeterCheck>): MeterCheck => ({ id: 'c', rev: 1, instrument_id: 's', at: '2026-11-05T12:00:00Z', outcome: 'failed', against: 'mass', unit: 'g', ...over });
	it('is an offset and a slope from two masses on', () => {
		expect(fitErrors([{ expected: 100, read: 100.2 }, { expected: 400, read: 400.8 }])!.slope).toBeCloseTo(0.2, 9);
		expect(fitErrors([{ expected: 100, read: 100.5 }, { expected: 400, read: 400.5 }])!.offset).toBeCloseTo(0.5, 9);
		expect(fitErrors([{ expected: 390, read: 390.5 }, { expected: 400, read: 400.5 }])).toBeUndefined();
		expect(foundBy(check({ read: 400.8, expected: 400, more: [{ expected: 100, read: 100.2 }] }), scale, [])).toMatchObject({ offset: 0, slope_pct: 0.2, points: 2 });
	});
	it('with one mass says what is assumed, and keeps the other reading of it', () => {
		const c = check({ read: 400.8, expected: 400 });
		const f = foundBy(c, scale, [c]);
		expect(f).toMatchObject({ assumed: 'offset', other_slope_pct: 0.2 });
		expect(f.offset).toBeCloseTo(0.8, 9);
		// Another mass on the same day, with no adjustment between, makes the line.
		const second = check({ id: 'd', at: '2026-11-05T11:55:00Z', outcome: 'passed', read: 100.2, expected: 100 });
		expect(foundBy(c, scale, [c, second])).toMatchObject({ slope_pct: 0.2, points: 2 });
		expect(foundBy(c, scale, [c, { ...second, adjusted: true }]).assumed).toBe('offset');
	});
	it('is taken off what that instrument read, and nothing else', () => {
		const i = { do_ppb: 40, gross_g: 400.8, tare_g: 100.2, temperature_c: 4, direct_ppb: 90 };
		expect(corrected(run({ scale_id: 's' }), i, 's', { offset: 0, slope_pct: 0.2 })).toMatchObject({ do_ppb: 40, gross_g: 400, tare_g: 100, direct_ppb: 90 });
		expect(corrected(run({ tpo_meter_id: 't' }), i, 't', { offset: 9 })).toEqual({ ...i, direct_ppb: 81 });
		expect(corrected(run({ do_meter_id: 'm' }), i, 'm', { offset_ppb: 2, slope_pct: -5 })).toEqual({ ...i, do_ppb: 40 });
	});
	it('reaches the runs read since the last pass of the same check', () => {
		const pass = check({ id: 'p', at: '2026-11-05T07:00:00Z', outcome: 'passed' }), c = check({});
		const of = (r: Run, s: Sample[]) => inDoubt({ check: c, checks: [pass, c], runs: [r], parts: () => ({ run: r, samples: s, events: [], checks: [] }) });
		expect(lastPass(c, [pass, check({ id: 'x', against: 'zero', outcome: 'passed' }), c])?.id).toBe('p');
		expect(of(run({ scale_id: 's' }), [sample('1')])).toHaveLength(1);
		expect(of(run({ scale_id: 's' }), [sample('1', { taken_at: '2026-11-04T07:00:00Z' })])).toHaveLength(0);
		expect(of(run({ do_meter_id: 's2' }), [sample('1')])).toHaveLength(0);
		expect(of(run({ scale_id: 's' }), [])).toHaveLength(1);
	});
});

describe('where a lot stands', () => {
	const d = (decision: LotDecision['decision'], server_at: string): LotDecision => ({ id: server_at, rev: 1, run_id: 'r', proposed: 'release', decision, why: 'w', server_at });
	it('says the same on every page', () => {
		expect(lotState(run(), []).text).toBe('Not decided');
		expect(lotState(run({ hold: { state: 'released', reason: 'x' } }), [d('conditional', '2026-11-05T11:00:00Z')]).text).toBe('Released with conditions');
		const open = run({ hold: { state: 'held', reason: 'x', check_id: 'c', reopened_at: '2026-11-06T00:00:00Z' } });
		expect(lotState(open, [d('release', '2026-11-05T11:00:00Z')])).toEqual({ word: 'over', text: 'On hold, opened again', why: 'Released then; no longer counts' });
		expect(lotState({ ...open, hold: { ...open.hold, state: 'released' } }, [d('release', '2026-11-05T11:00:00Z'), d('release', '2026-11-07T00:00:00Z')]).text).toBe('Released');
		// A hold set after a decision goes before it.
		expect(lotState(run({ hold: { state: 'held', reason: 'x' } }), [d('release', '2026-11-05T11:00:00Z')]).text).toBe('On hold');
	});
});
