import { describe, expect, it } from 'vitest';
import type { RuleSet, Run, RunEvent, Sample } from '#api/records.ts';
import { causeName, chance, judgeInput, ruleSetFor, wrongWords } from './judgement.ts';

const rule = (id: string, over: Partial<RuleSet>): RuleSet => ({ id, rev: 1, ...over });

describe('rules in force', () => {
	const all = [rule('a', {}), rule('b', { format_id: 'can' }), rule('c', { beer_id: 'pale' }), rule('d', { beer_id: 'pale', format_id: 'can' }), rule('e', { beer_id: 'other', format_id: 'can' })];
	it('takes the narrowest that fits, and of two alike the newer', () => {
		expect(ruleSetFor(all, 'pale', 'can')?.id).toBe('d');
		expect(ruleSetFor(all, 'pale', 'bottle')?.id).toBe('c');
		expect(ruleSetFor(all, 'stout', 'can')?.id).toBe('b');
		expect(ruleSetFor(all, 'stout', 'keg')?.id).toBe('a');
		expect(ruleSetFor([rule('a', {}), rule('f', {})], 'stout', 'keg')?.id).toBe('f');
		expect(ruleSetFor([], 'pale', 'can')).toBeUndefined();
	});
});

describe('input of a judgement', () => {
	const run = { id: 'r', rev: 1, beer_id: 'b', format_id: 'f', line_id: 'l', started_at: '2026-11-05T08:00:00Z', status: 'ended', in_force: { yeast_in_package: true, limits: [{ quantity: 'tpo', mean_green_ppb: 110, single_red_ppb: 200 }] } } as Run;
	const s = (over: Partial<Sample>): Sample => ({ id: 'x', rev: 1, run_id: 'r', kind: 'shaken', taken_at: '2026-11-05T08:10:00Z', raw: {}, inputs: { do_ppb: 46 }, ...over });
	const input = judgeInput({
		run, line: undefined, checks: [], meter: undefined, rules: rule('a', { min_readings: 6 }),
		events: [{ id: 'e', rev: 1, run_id: 'r', kind: 'stop', at: '2026-11-05T08:20:00Z' }, { id: 'n', rev: 1, run_id: 'r', kind: 'note', at: '2026-11-05T08:21:00Z' }] as RunEvent[],
		samples: [s({ head: 2, result: { method: 'm', tpo_ppb: 98, tpo_u_ppb: 4, beer_ml: 355, path: 'weighed', computed_by: 'server' } }), s({ kind: 'unshaken' }), s({ kind: 'inlet', inputs: {} }), s({ result: { method: 'm', beer_ml: 355, path: 'assumed', computed_by: 'server' } })]
	}) as { rows: Record<string, unknown>[]; rules: object };
	it('sends readings and events, no notes and nothing that was not read', () => {
		expect(input.rows.length).toBe(4);
		expect(input.rows[0]).toEqual({ taken_at: '2026-11-05T08:20:00Z', event: 'stop' });
		expect(input.rows[1]).toMatchObject({ head: 2, shaken_do_ppb: 46, tpo_ppb: 98, fill_known: true, yeast_in_package: true });
		expect(input.rows[2]).toMatchObject({ unshaken_do_ppb: 46 });
		expect(input.rows[3]).toMatchObject({ tpo_ppb: 0 });
		expect(input.rows[3].fill_known).toBeUndefined();
		expect(input.rules).toEqual({ mean_green_ppb: 110, single_red_ppb: 200, min_readings: 6 });
	});
});

describe('the tank of a run', () => {
	const run = { id: 'r', rev: 1, beer_id: 'b', format_id: 'f', line_id: 'l', batch_id: 'k', started_at: '2026-11-05T08:00:00Z', ended_at: '2026-11-05T10:00:00Z', status: 'ended', in_force: {} } as Run;
	const s = (id: string, at: string, kind: Sample['kind']): Sample => ({ id, rev: 1, run_id: 'r', kind, taken_at: at, raw: {}, inputs: { do_ppb: 30 } });
	const t = (id: string, at: string, do_ppb: number, point = 'tank_hold', batch_id = 'k') => ({ id, at, do_ppb, point, batch_id });
	const input = judgeInput({
		run, checks: [], events: [], samples: [s('1', '2026-11-05T08:02:00Z', 'inlet'), s('2', '2026-11-05T08:10:00Z', 'unshaken'), s('3', '2026-11-05T09:10:00Z', 'inlet')],
		readings: [t('old', '2026-11-04T07:00:00Z', 90, 'tank_rested'), t('a', '2026-11-04T20:00:00Z', 80), t('b', '2026-11-05T07:20:00Z', 21, 'tank_rested'), t('c', '2026-11-05T09:00:00Z', 24),
			t('late', '2026-11-05T11:00:00Z', 70), t('other', '2026-11-05T09:00:00Z', 60, 'tank_hold', 'z'), t('i', '2026-11-05T09:30:00Z', 33, 'filler_inlet')]
	}) as { rows: Record<string, unknown>[] };
	it('takes the last reading before the run and those in it, between two on a straight line', () => {
		expect(input.rows.map((r) => [r.id, r.inlet_do_ppb, r.tank_do_ppb])).toEqual([['1', 30, 21 + (3 * 42) / 100], ['2', undefined, undefined], ['3', 30, 24], ['i', 33, 24]]);
	});
});

describe('words', () => {
	it('names causes by place, and chances as a person would', () => {
		expect(causeName({ kind: 'head', where: '4' })).toBe('Head 4');
		expect(causeName({ kind: 'low_fill', where: '11' })).toBe('Low fills, head 11');
		expect(causeName({ kind: 'low_fill', where: '2026-11-05T08:20:00Z' })).toBe('Low fills');
		expect([chance(0.0001), chance(0.004), chance(0.2), chance(0.999), chance(null)]).toEqual(['under\u00a00.1\u00a0%', '0.4\u00a0%', '20\u00a0%', 'over\u00a099\u00a0%', '']);
		expect(wrongWords({ probability_wrong: null, rule: 'meter_proven', wrong: 'not a matter of chance: the rule meter_proven holds it' })).toContain('"Meter proven before and after"');
	});
});
