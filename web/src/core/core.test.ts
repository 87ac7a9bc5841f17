import { describe, expect, it } from 'vitest';
import type { Line, Run, Sample } from '#api/records.ts';
import { cell, csv } from './csv.ts';
import { differences } from './differ.ts';
import { judge, judgeMean } from './judge.ts';
import { nextPlace, nextSet, sampleDue } from './line.ts';
import { byHead, summary } from './runtable.ts';
import { lotInForce } from './start.ts';
import { odd } from './tpo.ts';
import { DEFAULT_UNITS, decimalsFor, oxygen, parse } from './units.ts';
import { level, radius } from '../parts/section.ts';

const u = DEFAULT_UNITS;
const at = (min: number) => new Date(Date.UTC(2026, 10, 5, 8, min)).toISOString();
const s = (min: number, over: Partial<Sample> = {}): Sample => ({ id: `s${min}`, rev: 1, run_id: 'r', kind: 'shaken', taken_at: at(min), raw: {}, inputs: {}, ...over });

describe('typed numbers', () => {
	it('reads the unit typed behind a number', () => {
		expect(parse('39.2 °F', 'temperature', u).value).toBeCloseTo(4, 9);
		expect(parse('0.048 ppm', 'oxygen', u).value).toBeCloseTo(48, 9);
		expect(parse('48', 'oxygen', { ...u, oxygen: 'ppm' }).value).toBe(48000);
		expect(parse('−1,5', 'temperature', u).value).toBe(-1.5);
	});
	it('asks back what can be read two ways, and refuses the rest', () => {
		expect(parse('1,204', 'oxygen', u).error).toContain('two ways');
		expect(parse('4..1', 'oxygen', u).error).toBeTruthy();
		expect(parse('48 g', 'oxygen', u).error).toContain('no unit');
		expect(parse('', 'oxygen', u)).toEqual({ unit: 'ppb' });
	});
	it('shows as many digits as the uncertainty justifies', () => {
		expect(decimalsFor(3.66)).toBe(1);
		expect(decimalsFor(12)).toBe(0);
		expect(oxygen(98.185, u, 3.66)).toBe('98.2');
		expect(oxygen(98.185, { ...u, oxygen: 'ppm' }, 3.66)).toBe('0.0982');
	});
});

describe('at the line', () => {
	const line = { heads: 6, stations: 2 } as Line;
	it('turns head and station, and stays on the head of a pair', () => {
		expect(nextPlace([], line)).toEqual({ head: 1, station: 1 });
		expect(nextPlace([s(1, { head: 6, station: 1 })], line)).toEqual({ head: 1, station: 2 });
		expect(nextPlace([s(1, { head: 3, station: 1, kind: 'unshaken' })], line)).toEqual({ head: 3, station: 1 });
		expect(nextPlace([s(1, { head: 3, station: 1 }), s(2, { kind: 'inlet' })], line).head).toBe(4);
	});
	it('stays on a head above the limit for two re-tests, then turns on', () => {
		const of = (min: number, head: number, tpo_ppb: number) => s(min, { head, station: 1, result: { method: 'm', computed_by: 'device', tpo_ppb } });
		const x = [of(1, 2, 100), of(2, 3, 240)];
		expect(nextPlace(x, line, 200)).toMatchObject({ head: 3, station: 1, why: expect.stringContaining('Head 3') });
		expect(nextPlace(x, line).head).toBe(4);
		expect(nextPlace([...x, of(3, 3, 100)], line, 200).head).toBe(3);
		expect(nextPlace([...x, of(3, 3, 260), of(4, 3, 100)], line, 200).head).toBe(4);
		expect(nextPlace([...x, of(3, 4, 100)], line, 200).head).toBe(5);
	});
	it('begins a new set after half the interval', () => {
		const x = [s(0, { set_no: 2 })];
		expect(nextSet(x, 30, Date.parse(at(10)))).toBe(2);
		expect(nextSet(x, 30, Date.parse(at(16)))).toBe(3);
	});
	it('wants a sample at once after a restart', () => {
		const run = { id: 'r', started_at: at(0), sample_every_min: 30 } as Run;
		expect(sampleDue(run, [s(5)], []).at).toBe(Date.parse(at(35)));
		const due = sampleDue(run, [s(5)], [{ id: 'e', rev: 1, run_id: 'r', kind: 'restart', at: at(9) }]);
		expect(due.at).toBe(Date.parse(at(9)));
		expect(due.why).toContain('restart');
	});
	it('takes the lot in force on the day', () => {
		const lots = [{ id: 'a', format_id: 'f', from: '2026-01-01' }, { id: 'b', format_id: 'f', from: '2026-06-01' }, { id: 'c', format_id: 'g', from: '2026-01-01' }] as never[];
		expect(lotInForce(lots, 'f', '2026-05-31')?.id).toBe('a');
		expect(lotInForce(lots, 'f', '2026-06-01')?.id).toBe('b');
	});
});

describe('odd values', () => {
	const f = { tare_g: 13.4, nominal_ml: 355, sg: 1.01 };
	it('asks about ppm typed as ppb, with the mend', () => {
		const o = odd({ do_ppb: 4100 }, 'shaken', f, undefined, []);
		expect(o[0].text).toContain('4.1 ppm after fermentation');
		expect(o[0].mends.map((m) => m.label)).toEqual(['4.1 ppb', 'Yes, 4,100 ppb']);
		expect(o[0].mends[0].apply).toEqual({ do_ppb: 4.1 });
		expect(odd({ do_ppb: 0.048 }, 'shaken', f, undefined, [])[0].mends[0].label).toBe('48 ppb');
	});
	it('asks about °F typed as °C and another package, and lets good values pass', () => {
		expect(odd({ temperature_c: 39.2 }, 'shaken', f, undefined, [])[0].mends[0].apply).toEqual({ temperature_c: 4 });
		expect(odd({ gross_g: 490 }, 'shaken', f, undefined, [])[0].field).toBe('gross_g');
		expect(odd({ gross_g: 371.9, do_ppb: 46, temperature_c: 3.8 }, 'shaken', f, undefined, [40, 50, 60])).toEqual([]);
	});
});

describe('judgement', () => {
	it('decides on the value as recorded', () => {
		expect(judge(110.04, 110, 200).word).toBe('within');
		expect(judge(110.06, 110, 200).word).toBe('watch');
		expect(judge(200.1, 110, 200).word).toBe('over');
		expect(judge(50).word).toBe('none');
		expect(judge(105, 110, 200, 95, 116).why).toContain('above the aim');
	});
	it('judges a mean between its aim and what one package may be', () => {
		expect(judgeMean(115, { mean_green_ppb: 110, single_green_ppb: 110, single_red_ppb: 200 })?.word).toBe('watch');
		expect(judgeMean(190, { mean_green_ppb: 120, single_green_ppb: 180, single_red_ppb: 250 })?.word).toBe('over');
	});
	it('keeps dented packages out of means and in the highest', () => {
		const r = { in_force: { limits: [{ quantity: 'tpo', single_green_ppb: 110, single_red_ppb: 200 }] } } as unknown as Run;
		const x = [s(1, { head: 1, set_no: 1, result: { tpo_ppb: 100 } as never }), s(2, { head: 2, set_no: 1, flags: ['dent'], result: { tpo_ppb: 300 } as never })];
		expect(summary(x, r)).toMatchObject({ n: 2, mean: 100, max: 300, over: 1, setN: 1 });
		expect(byHead(x, 2)[1].n).toBe(0);
	});
});

describe('tables and versions', () => {
	it('disarms formulas and quotes what needs it', () => {
		expect(cell('=HYPERLINK("x")')).toBe('"\'=HYPERLINK(""x"")"');
		expect(cell('@SUM(A1)')).toBe("'@SUM(A1)");
		expect(cell(-1.5)).toBe('-1.5');
		expect(csv([['a', 1, undefined], ['b,c', 2, 'd\ne']])).toBe('a,1,\r\n"b,c",2,"d\ne"\r\n');
	});
	it('names what differs', () => {
		const d = differences({ id: 'x', rev: 1, inputs: { do_ppb: 46 }, flags: [] }, { id: 'x', rev: 2, inputs: { do_ppb: 4.6 }, flags: ['foam'], by: 'y' });
		expect(d.map((x) => [x.name, x.before, x.after])).toEqual([['DO reading, ppb', '46', '4.6'], ['flags', 'none', 'foam']]);
	});
});

describe('the drawn package', () => {
	it('is filled to its true share of the drawn capacity', () => {
		for (const kind of ['can', 'bottle', 'keg'] as const)
			for (const share of [0.05, 0.5, 0.952, 0.999]) {
				const h = level(kind, share);
				let below = 0, total = 0;
				for (let i = 0; i < 20000; i++) {
					const x = (i + 0.5) / 20000, a = radius(kind, x) ** 2;
					total += a;
					if (x < h) below += a;
				}
				expect(below / total).toBeCloseTo(share, 3);
			}
	});
});

describe('event labels', () => {
	it('never lie over each other', async () => {
		const { levels } = await import('../parts/chart.ts');
		const marks = [0, 10, 12, 60, 61, 62, 63, 64].map((t) => ({ t, name: 'Restart' }));
		const lv = levels(marks, (t) => t * 3);
		const half = (7 + 6) * 3.7;
		for (let i = 0; i < marks.length; i++)
			for (let j = 0; j < i; j++)
				if (lv[i] !== undefined && lv[i] === lv[j]) expect(Math.abs(marks[i].t - marks[j].t) * 3).toBeGreaterThanOrEqual(2 * half);
		expect(lv.filter((x) => x === undefined).length).toBeGreaterThan(0);
		expect(lv[0]).toBe(0);
	});
});
