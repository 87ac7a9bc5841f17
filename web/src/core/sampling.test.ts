import { describe, expect, it } from 'vitest';
import type { PlannedPull, Run, Sample, SampleKind, SamplingPlan } from '#api/records.ts';
import { nextPlace, sampleDue } from './line.ts';
import { begin, input, nextPull, scatterOf, words } from './sampling.ts';

const start = '2026-11-25T07:00:00.000Z';
const at = (min: number) => new Date(Date.parse(start) + min * 60000).toISOString();
const ms = (min: number) => Date.parse(at(min));
const p = (kind: SampleKind, head?: number): PlannedPull => ({ kind, head });
const plan: SamplingPlan = {
	heads: 4, minutes: 120, every_min: 30, fault: 1.5, scatter: 0.3,
	sets: [{ occasion: 'start', minute: 1, pulls: [p('inlet'), p('unshaken', 1), p('shaken', 1), p('shaken', 2)] }, { occasion: 'steady', minute: 30, pulls: [p('shaken', 3), p('shaken', 4)] }, { occasion: 'end', minute: 110, pulls: [p('shaken', 1)] }]
};
const s = (min: number, kind: SampleKind, head?: number): Sample => ({ id: `s${min}`, rev: 1, run_id: 'r', kind, head, taken_at: at(min), raw: {}, inputs: {} });

describe('next by the plan', () => {
	it('goes through a set in order, whatever order it is taken in', () => {
		expect(nextPull(plan, start, [], ms(2))).toMatchObject({ set: 1, of: 3, pull: p('inlet'), due: ms(1) });
		expect(nextPull(plan, start, [s(3, 'shaken', 2)], ms(4))).toMatchObject({ set: 1, pull: p('inlet') });
		expect(nextPull(plan, start, [s(2, 'inlet'), s(3, 'unshaken', 1)], ms(4))?.pull).toEqual(p('shaken', 1));
		const one = [s(2, 'inlet'), s(3, 'unshaken', 1), s(4, 'shaken', 1), s(5, 'shaken', 2)];
		expect(nextPull(plan, start, one, ms(6))).toMatchObject({ set: 2, pull: p('shaken', 3), due: ms(30) });
	});
	it('lets go of what is left once the next set is due', () => {
		expect(nextPull(plan, start, [s(2, 'inlet')], ms(31))).toMatchObject({ set: 2, pull: p('shaken', 3) });
		expect(nextPull(plan, start, [s(2, 'inlet'), s(31, 'shaken', 3)], ms(32))).toMatchObject({ set: 2, pull: p('shaken', 4) });
	});
	it('takes a re-test or a stray head for no part of it, and ends', () => {
		expect(nextPull(plan, start, [s(31, 'shaken', 2)], ms(32))).toMatchObject({ set: 2, pull: p('shaken', 3) });
		expect(nextPull(plan, start, [s(110, 'shaken', 1)], ms(111))).toBeUndefined();
		expect(nextPull(undefined, start, [], ms(1))).toBeUndefined();
	});
	it('is what the line is told: head, kind, time', () => {
		const run = { id: 'r', started_at: start, status: 'going', plan } as unknown as Run;
		const planned = nextPull(plan, start, [], ms(31));
		expect(nextPlace([], { heads: 4 } as never, undefined, planned)).toMatchObject({ head: 3, kind: 'shaken', why: 'Plan, set 2 of 3: heads 3, 4' });
		expect(sampleDue(run, [], [], ms(31))).toMatchObject({ what: 'Set', at: ms(30) });
		expect(words(plan.sets[0].pulls)).toBe('inlet, heads 1 pair, 2');
	});
});

describe('what a plan is made from', () => {
	it('starts from the line, the limit and what was seen, or from the plan in force', () => {
		const t = begin({ sample_every_min: 20 } as Run, { heads: 6 } as never, 110, 0.2345);
		expect(t).toMatchObject({ heads: '6', every: '20', level: '110', scatter: '0.23', fault: '1.5', miss: '10' });
		expect(begin({ plan: { ...plan, miss_risk: 0.2 } } as Run, { heads: 6 } as never, 110, undefined)).toMatchObject({ heads: '4', hours: '2', miss: '20' });
		expect(input({ ...t, cans: '' }, 'ppb').input).toMatchObject({ heads: 6, fault_ppb: 1.5, level_ppb: 110, miss_risk: 0.1 });
		expect(input({ ...t, hours: 'four' }, 'ratio')).toEqual({ bad: 'hours' });
	});
	it('finds the scatter about the means of heads', () => {
		const x = (i: number, head: number, tpo_ppb: number): Sample => ({ ...s(i, 'shaken', head), result: { method: 'm', computed_by: 'device', tpo_ppb } });
		const heads = Array.from({ length: 5 }, (_, h) => [x(h, h + 1, 50 * (h + 1) * Math.exp(0.2)), x(h + 9, h + 1, 50 * (h + 1) * Math.exp(-0.2)), x(h + 20, h + 1, 50 * (h + 1))]).flat();
		expect(scatterOf([heads])).toBeCloseTo(Math.sqrt((5 * 0.08) / 10), 12);
		expect(scatterOf([heads.slice(0, 6)])).toBeUndefined();
	});
});
