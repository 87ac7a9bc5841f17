import { describe, expect, it } from 'vitest';
import type { ImportMapping } from '#api/client.ts';
import { answer, bytes, count, outcome, setField, setName } from './import.ts';

const m: ImportMapping = { target: 'samples', header_row: 1, decimal: '.', date_order: 'ymd', time_zone: 'UTC', columns: [{ header: 'a', field: 'do_shaken', unit: 'ppb' }, { header: 'b', field: 'tare', unit: 'g' }], sure: ['unit:0:do_shaken'] };
const fields = [{ target: 'samples', field: 'do_shaken', name: 'Shaken DO', units: ['ppb', 'ppm'] }, { target: 'samples', field: 'note', name: 'Note' }];

describe('a mapping', () => {
	it('has a field in one column only, and asks for its unit anew', () => {
		const n = setField(m, 1, 'do_shaken', fields);
		expect(n.columns.map((c) => [c.field, c.unit])).toEqual([['', ''], ['do_shaken', 'ppb']]);
		expect(setField(m, 0, 'note', fields).sure).toEqual([]);
		expect(m.columns[0].field, 'the old mapping is left alone').toBe('do_shaken');
	});
	it('takes an answer where it belongs, once', () => {
		const n = answer(answer({ ...m, sure: [] }, 'unit:0:do_shaken', 'ppm'), 'unit:0:do_shaken', 'ppm');
		expect([n.columns[0].unit, n.sure]).toEqual(['ppm', ['unit:0:do_shaken']]);
		expect(answer(m, 'date_order', 'mdy')).toMatchObject({ date_order: 'mdy', sure: ['unit:0:do_shaken', 'date_order'] });
		expect(answer(m, 'beer', 'x').beer_id).toBe('x');
		expect(answer(m, 'beer', 'x').sure).toEqual(m.sure);
	});
	it('keeps one meaning for a name, and forgets one taken back', () => {
		const n = setName(setName(m, { field: 'beer', text: 'A', id: '1' }), { field: 'beer', text: 'A', create: true });
		expect(n.names).toEqual([{ field: 'beer', text: 'A', create: true }]);
		expect(setName(n, { field: 'beer', text: 'A' }).names).toEqual([]);
	});
});

describe('words', () => {
	it('count', () => {
		expect([count(1, 'row'), count(1200, 'row'), bytes(423), bytes(12_345), bytes(3_400_000)]).toEqual(['1 row', '1,200 rows', '423 bytes', '12 kB', '3.4 MB']);
		const counts = { rows: 9, faulty: 0, odd: 0, repeated: 0, runs: 1, samples: 9, formats: 1, format_lots: 2, created: 0, revived: 0, unchanged: 0, refused: 0, archived: 0, kept: 0 };
		const p = { mapping: m, counts } as unknown as Parameters<typeof outcome>[0];
		expect(outcome(p)).toBe('9 samples in 1 run');
		expect(outcome({ ...p, mapping: { ...m, target: 'format_lots' } })).toBe('2 lots and 1 new format');
	});
});
