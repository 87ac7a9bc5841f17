import type { MeterCheck, Rec } from '#api/records.ts';
import { POINT, STEP } from '#core/cellar.ts';
import { read, SETUP, type SetupCollection } from '#core/setup.ts';
import { amount, unitOf } from '#core/instruments.ts';
import { day, fmt, sig } from '#core/units.ts';
import { store } from '#offline/store.svelte.ts';

/** A field of a record as a person reads it. */
export function show(c: SetupCollection, rec: Rec, key: string): string {
	const f = SETUP[c].fields.find((x) => x.key === key);
	const v = read(rec, key);
	if (v === undefined || v === null || v === '') return '–';
	if (f?.type === 'ref') return nameOf(f.ref as SetupCollection, String(v));
	if (f?.type === 'select') return f.options?.find(([k]) => k === v)?.[1] ?? String(v);
	if (f?.type === 'datetime' || f?.type === 'date') return day(String(v));
	if (c === 'meter_checks' && typeof v === 'number' && ['read', 'expected', 'limit'].includes(key)) return amount(v, checkUnit(rec as MeterCheck));
	if (f?.type === 'check') return v ? 'yes' : 'no';
	if (typeof v === 'number') return `${key === 'sg' ? fmt(v, 4) : sig(v, 8)} ${f?.unit && !f.unit.includes(' or ') ? f.unit : ''}`.trim();
	return String(v);
}
/** A check is in the unit of its instrument, unless it says another. */
function checkUnit(c: MeterCheck): string {
	const i = store.get('instruments', c.instrument_id);
	return i ? unitOf(c.against === 'air' ? { unit: 'ppb' } : c, i) : '';
}
export function nameOf(c: SetupCollection, id: string): string {
	const r = store.get(c, id) as Rec | undefined;
	return r ? String(r.name ?? r.code ?? id.slice(0, 8)) : id.slice(0, 8);
}
export const title = (c: SetupCollection, r: Rec): string =>
	c === 'cellar_limits' ? (POINT[r.point as keyof typeof POINT] ?? STEP[r.step as keyof typeof STEP] ?? '–') : show(c, r, SETUP[c].title);
