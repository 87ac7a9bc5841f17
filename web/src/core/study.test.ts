import { readFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { describe, expect, it } from 'vitest';
import { workbook } from '../../e2e/workbook.ts';
import type { Instrument, MeterCheck, Study } from '#api/records.ts';
import { dues, limitOf, off, stateOf, uNow, unmended } from './instruments.ts';
import { apart, ranges, ticks, tickText } from './plot.ts';
import { covering } from './standin.ts';
import { AGREEMENT, shown, STUDIES, studyOf } from './studies.ts';
import { prepare, readCell } from './studyrows.ts';
import { cells, headingRow, match, readTable } from './table.ts';
import { DEFAULT_UNITS } from './units.ts';
import { NoWorkbook, readXlsx } from './xlsx.ts';

const F = { ...DEFAULT_UNITS, temperature: 'f' as const };
const own = (u = DEFAULT_UNITS) => (c: Parameters<typeof shown>[0]) => shown(c, u);

describe('tables', () => {
	it('cuts by tab, semicolon or comma, with quotes and any line end', () => {
		expect(cells('a\tb\r\n1\t2,5\r\n')).toEqual([['a', 'b'], ['1', '2,5']]);
		expect(cells('a;b\r1,5;"x;""y"""\r')).toEqual([['a', 'b'], ['1,5', 'x;"y"']]);
		expect(cells('\ufeffa,b\n\n"1\n2",3')).toEqual([['a', 'b'], ['1\n2', '3']]);
	});
	it('knows a column by its name, its words and another unit', () => {
		const c = studyOf('capacity')!.columns;
		expect(match('water_temperature_f', c)).toMatchObject({ column: { key: 'water_temperature_c' }, unit: '°F' });
		expect(match('Full of water (kg)', c)).toMatchObject({ column: { key: 'full_g' }, unit: 'kg' });
		expect(match('Remark', c)).toBeUndefined();
		expect(match('Shaken DO (ppm)', AGREEMENT.columns)).toMatchObject({ column: { key: 'shaken_do_ppb' }, unit: 'ppm' });
	});
	it('finds the headings under a title, in any order, and says what it left out', () => {
		const t = [['Autumn'], ['Direct TPO (ppb)', 'Remark', 'calculated_ppm'], ['60', 'foam', '0.061']];
		expect(headingRow(t, AGREEMENT.columns)).toBe(1);
		expect(readTable(t, AGREEMENT.columns, own())).toEqual({ rows: [{ direct_ppb: '60', calculated_ppb: '0.061 ppm' }], taken: ['TPO, direct', 'TPO, calculated'], left: ['Remark'] });
	});
	it('takes columns in order without headings, and a file in °C for who reads °F', () => {
		expect(readTable([['May', '13.4'], ['May', '13.5']], studyOf('tare')!.columns, own()).rows).toEqual([{ lot: 'May', empty_g: '13.4' }, { lot: 'May', empty_g: '13.5' }]);
		expect(readTable(cells('lot,empty_g,full_g,water_temperature_c\nMay,13.5,384.9,25'), studyOf('capacity')!.columns, own(F)).rows[0].water_temperature_c).toBe('25 °C');
	});
	it('every example is read whole', () => {
		for (const s of [...STUDIES, AGREEMENT]) {
			const t = cells(readFileSync(resolve(import.meta.dirname, `../../../examples/studies/${s.example}.csv`), 'utf8'));
			const r = readTable(t, s.columns, own());
			expect([s.kind, r.rows.length, r.left]).toEqual([s.kind, t.length - 1, []]);
			const p = prepare(r.rows, s, DEFAULT_UNITS);
			expect([s.kind, p.rows.length, p.faults.size, p.open]).toEqual([s.kind, t.length - 1, 0, 0]);
		}
	});
});

describe('workbooks', () => {
	const bytes = (b: Buffer) => b.buffer.slice(b.byteOffset, b.byteOffset + b.byteLength) as ArrayBuffer;
	it.each([false, true])('are read, deflated: %s', async (packed) => {
		const b = workbook({ Cover: [['A &amp; B']], Data: [['x', 'y'], [1.5, 'two']] }, packed);
		expect(await readXlsx(bytes(b))).toEqual([{ name: 'Cover', cells: [['A & B']] }, { name: 'Data', cells: [['x', 'y'], ['1.5', 'two']] }]);
	});
	it('what is none is refused in words', async () => {
		await expect(readXlsx(new TextEncoder().encode('PK but no zip at all').buffer as ArrayBuffer)).rejects.toThrow(NoWorkbook);
		await expect(readXlsx(bytes(workbook({ Empty: [[]] })))).rejects.toThrow('holds no value');
	});
	it('damaged in any place they are read or refused in words', async () => {
		let seed = 7;
		const roll = (n: number) => (seed = (seed * 48271) % 2147483647) % n; // Park and Miller, 1988
		let refused = 0;
		for (let i = 0; i < 200; i++) {
			let b = workbook({ Data: [['x &amp; &#65;', 'y'], [1.5, 'two'], [2, 'three']] }, i % 2 === 0);
			for (let k = roll(4); k >= 0; k--) b[roll(b.length)] = roll(256);
			if (i % 5 === 0) b = b.subarray(0, roll(b.length));
			const got = await readXlsx(bytes(Buffer.from(b))).catch((e: unknown) => e);
			if (got instanceof NoWorkbook) refused++;
			else expect(Array.isArray(got), String(got)).toBe(true);
		}
		expect(refused).toBeGreaterThan(20);
	}, 30_000);
});

describe('rows', () => {
	const tare = studyOf('tare')!;
	it('names the cell at fault and waits for rows begun', () => {
		const p = prepare([{ empty_g: '13.4' }, { empty_g: 'heavy' }, { lot: 'May' }, {}, { empty_g: '0.0135 kg' }], tare, DEFAULT_UNITS);
		expect([p.rows, p.from, p.open]).toEqual([[{ empty_g: 13.4 }, { empty_g: 13.5 }], [0, 4], 1]);
		expect(p.faults.get(1)?.empty_g).toContain('"heavy" is not a number');
	});
	it('takes one of two ways to a figure', () => {
		const neck = studyOf('neck')!;
		expect(prepare([{ gap_mm: '50' }, { gap_mm: '50', to_brim_g: '15' }], neck, DEFAULT_UNITS)).toMatchObject({ rows: [{ gap_mm: 50, to_brim_g: 15 }], open: 1 });
	});
	it('a plain number may carry the unit of its column only', () => {
		expect(readCell({ kind: 'plain', unit: 'mL/min' }, '150 mL/min', DEFAULT_UNITS)).toEqual({ value: 150 });
		expect(readCell({ kind: 'plain', unit: 'mL/min' }, '150 gal', DEFAULT_UNITS).error).toContain('in mL/min');
		expect(readCell({ kind: 'temperature' }, '68', F)).toEqual({ value: 20 });
	});
});

const NOW = Date.parse('2026-11-25T12:00:00Z'), ago = (d: number) => new Date(NOW - d * 86400000).toISOString();
const meter = { id: 'm', rev: 1, name: 'Meter', kind: 'do_meter', resolution: 1, u_abs: 0.6, u_drift: 0.3, checks: [{ against: 'zero', every_days: 7 }, { against: 'air', every_days: 30, limit: 2 }] } as Instrument;
const check = (d: number, against: MeterCheck['against'], outcome: 'passed' | 'failed', more: Partial<MeterCheck> = {}): MeterCheck => ({ id: `${d}${against}`, rev: 1, instrument_id: 'm', at: ago(d), against, outcome, ...more });
describe('instruments', () => {
	it('are proven until the first of their checks is due', () => {
		expect(stateOf(meter, [check(2, 'zero', 'passed'), check(20, 'air', 'passed')], NOW)).toMatchObject({ word: 'within', text: 'Proven until 30 Nov' });
		expect(stateOf(meter, [check(9, 'zero', 'passed'), check(20, 'air', 'passed')], NOW)).toMatchObject({ word: 'watch', text: 'Due since 23 Nov' });
		expect(stateOf(meter, [check(2, 'zero', 'passed')], NOW)).toMatchObject({ word: 'watch', text: 'Due now' });
		expect(stateOf({ ...meter, checks: [] }, [], NOW).text).toBe('Never checked');
	});
	it('a failure is mended by a pass against the same thing alone', () => {
		const failed = check(3, 'air', 'failed');
		expect(unmended([failed, check(1, 'zero', 'passed')])).toEqual([failed]);
		expect(stateOf(meter, [failed, check(1, 'zero', 'passed')], NOW)).toMatchObject({ word: 'over', why: 'air-saturated water' });
		expect(unmended([failed, check(1, 'air', 'passed')])).toEqual([]);
	});
	it('limits are the plan, else common practice', () => {
		expect([limitOf(meter, 'air', 9000), limitOf(meter, 'zero'), limitOf(meter, 'meter', 100), limitOf(meter, 'response')]).toEqual([180, 3, 5, undefined]);
		expect([limitOf({ ...meter, kind: 'scale', resolution: 0.1 }, 'mass'), limitOf({ ...meter, kind: 'scale', resolution: 10 }, 'mass'), limitOf({ ...meter, kind: 'barometer' }, 'reference')]).toEqual([0.1, 10, 0.5]);
	});
	it('u grows with drift since the last pass', () => {
		expect(uNow(meter, [check(30, 'zero', 'passed')], NOW).u).toBeCloseTo(Math.hypot(0.6, 1 / Math.sqrt(12), 0.3), 12);
		expect(uNow({ ...meter, u_abs: undefined, resolution: undefined }, [], NOW).u).toBeUndefined();
		expect(uNow(meter, [check(0, 'zero', 'passed')], NOW).text).not.toContain('drift');
		expect(dues(meter, []).every((d) => d.at === 0)).toBe(true);
	});
	it('a failed check is due at once, and no longer when it passed', () => {
		const bad = check(1, 'zero', 'failed'), air = check(2, 'air', 'passed');
		expect(dues(meter, [air, bad])[0]).toMatchObject({ against: 'zero', at: Date.parse(bad.at), why: expect.stringContaining('due until it passes') });
		expect(dues(meter, [air, bad, check(0, 'zero', 'passed')])[0].at).toBeGreaterThan(NOW);
	});
	it('off by: ppb, percent in air, seconds', () => {
		expect([off(check(1, 'zero', 'passed', { read: 4, expected: 1 })), off(check(1, 'air', 'passed', { read: 9270, expected: 9000 })), off(check(1, 'response', 'passed', { read: 40 })), off(check(1, 'zero', 'failed', { offset_ppb: 14 }))].map((x) => Number(x!.toFixed(6)))).toEqual([3, 3, 40, 14]);
	});
});

describe('standing in', () => {
	const s = { id: 's', rev: 1, kind: 'agreement', name: 'Pairs', at: ago(9), rows: [], format_ids: ['can'], do_meter_id: 'm', in_force_from: ago(8) } as Study;
	it('needs a study in force of this package and meter', () => {
		expect(covering([s], 'can', 'm', ago(1)).study).toBe(s);
		expect(covering([s], 'bottle', 'm', ago(1)).why).toContain('other packages');
		expect(covering([s], 'can', 'x', ago(1)).why).toContain('another DO meter');
		expect(covering([s], 'can', 'm', ago(10)).why).toContain('in force from');
		expect(covering([{ ...s, in_force_from: undefined }], 'can', 'm', ago(1)).why).toBe('no agreement study is in force');
		const newer = { ...s, id: 't', in_force_from: ago(2) };
		expect(covering([newer, s], 'can', 'm', ago(1)).study).toBe(newer);
	});
});

describe('charts', () => {
	it('ticks are round and inside', () => {
		expect(ticks(0.3, 9.8, 5)).toEqual([2, 4, 6, 8]);
		expect(ticks(-0.0123, 0.0123, 5)).toEqual([-0.01, -0.005, 0, 0.005, 0.01]);
		expect(ticks(0, 1, 4).map(tickText([0, 0.25]))).toEqual(['0.00', '0.25', '0.50', '0.75', '1.00']);
	});
	it('one point alone has a range', () => {
		const r = ranges({ name: '', x: { name: '' }, y: { name: '' }, points: [{ x: 5, y: 0, text: '' }] });
		expect(r.x1 > r.x0 && r.y1 > r.y0).toBe(true);
	});
	it('labels are moved apart and stay inside', () => {
		const a = apart([10, 11, 12], 16, 0, 60);
		expect([a[1] - a[0] >= 16, a[2] - a[1] >= 16, Math.max(...a) <= 60]).toEqual([true, true, true]);
		expect(apart([58, 59], 16, 0, 60)).toEqual([44, 60]);
	});
});
