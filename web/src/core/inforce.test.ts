import { expect, test } from 'vitest';
import type { FormatLot } from '#api/records.ts';
import { changes } from './inforce.ts';

const LOT = { tare_g: 13.399, tare_sd_g: 0.121, tare_n: 10 } as unknown as FormatLot;

test('a study put in force says what it changes in the lot, and no spread that is the same but for digits', () => {
	expect(changes(LOT, { tare_g: 13.399, tare_sd_g: 0.12078, tare_n: 10 })).toEqual([]);
	expect(changes(LOT, { tare_g: 13.41, tare_sd_g: 0.12078 }).map((c) => `${c.name}: ${c.from} to ${c.to}`)).toEqual(['Tare, g: 13.399 to 13.41']);
	expect(changes(LOT, { tare_sd_g: 0.13 }).length).toBe(1);
	expect(changes(undefined, { tare_sd_g: 0.13 }).map((c) => c.from)).toEqual(['not set']);
});
