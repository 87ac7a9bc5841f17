// What Go and this browser both hold must not part: the core's tests hold the
// same files.
import { describe, expect, it } from 'vitest';
import type { Instrument, MeterCheck } from '#api/records.ts';
import { CHALLENGE_PPB, judgeReading, POINTS, START_POINT, START_STEP } from './cellar.ts';
import { dues, failed } from './instruments.ts';
import cellar from './testdata/cellar.json';
import due from './testdata/dues.json';

describe('the cellar\'s starting points are the core\'s', () => {
	it('points, limits, budgets, what is challenged', () => {
		expect(POINTS).toEqual(cellar.points);
		expect(START_POINT).toEqual(Object.fromEntries(cellar.limits.map((l) => [l.point, [l.green_ppb, l.red_ppb]])));
		expect(START_STEP).toEqual(Object.fromEntries(cellar.budgets.map((b) => [b.step, b.ppb])));
		expect(CHALLENGE_PPB).toBe(cellar.event_ppb);
	});
	it('the band of wort', () => {
		const word = (point: 'wort_cooled' | 'wort_oxygenated' | 'pitched_12h', do_ppb: number) => judgeReading({ point, do_ppb }, { start: true }).word;
		const w = cellar.wort;
		for (const [point, inside, outside] of [['wort_cooled', w.carried, w.carried + 1], ['wort_oxygenated', w.low, w.low - 1], ['wort_oxygenated', w.high, w.high + 1], ['pitched_12h', w.pitched, w.pitched + 1]] as const) {
			expect(word(point, inside), `${point} ${inside}`).toBe('within');
			expect(word(point, outside), `${point} ${outside}`).toBe('watch');
		}
	});
});

describe('when checks are due is as on the server', () => {
	for (const c of due.cases)
		it(c.name, () => {
			const got = dues(c.instrument as unknown as Instrument, c.checks as unknown as MeterCheck[]);
			expect(got.map((d) => ({ against: d.against, every_days: d.every_days, at: d.at, failed: !!d.last && failed(d.last) && at(d.last) === d.at }))).toEqual([...c.want].map((w) => ({ against: w.against, every_days: w.every_days, at: w.at ? Date.parse(w.at) : 0, failed: w.failed })).sort((a, b) => a.at - b.at));
		});
});
const at = (c: MeterCheck): number => Date.parse(c.at);
