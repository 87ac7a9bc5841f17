// Changes of a mapping, and the words of an import. No network, no state.
import { fmt } from './units.ts';
import type { ImportMapping, ImportPreview, ImportUpload } from '#api/client.ts';

export type Name = NonNullable<ImportMapping['names']>[number];
export type Question = ImportPreview['questions'][number];
type Fields = ImportUpload['fields'];

const sure = (m: ImportMapping, id: string): string[] => [...new Set([...(m.sure ?? []), id])];
const isUnitOf = (id: string, i: number): boolean => id.startsWith(`unit:${i}:`);

/** A field stands in one column: choosing it here takes it from the other. */
export function setField(m: ImportMapping, i: number, field: string, fields: Fields): ImportMapping {
	const f = fields.find((x) => x.target === m.target && x.field === field);
	const columns = m.columns.map((c, j) => (j === i ? { ...c, field, unit: f?.units?.[0] ?? '', why: '' } : field && c.field === field ? { ...c, field: '', unit: '' } : c));
	return { ...m, columns, sure: (m.sure ?? []).filter((id) => !isUnitOf(id, i)) };
}
export function setUnit(m: ImportMapping, i: number, unit: string): ImportMapping {
	return { ...m, columns: m.columns.map((c, j) => (j === i ? { ...c, unit } : c)), sure: sure(m, `unit:${i}:${m.columns[i].field}`) };
}
/** Puts the answer to a question of the server where it belongs. */
export function answer(m: ImportMapping, id: string, value: string): ImportMapping {
	const [what, i] = id.split(':');
	if (what === 'unit') return setUnit(m, Number(i), value);
	if (what === 'beer' || what === 'format' || what === 'line') return { ...m, [`${what}_id`]: value };
	return { ...m, [what]: value, sure: sure(m, id) };
}
export function setName(m: ImportMapping, n: Name): ImportMapping {
	const rest = (m.names ?? []).filter((x) => x.field !== n.field || x.text !== n.text);
	return { ...m, names: n.id || n.create ? [...rest, n] : rest };
}

export const count = (n: number, one: string, many = one + 's'): string => `${fmt(n, 0)} ${n === 1 ? one : many}`;
export function bytes(n: number): string {
	return n < 1000 ? `${n} bytes` : n < 1e6 ? `${(n / 1e3).toFixed(0)} kB` : `${(n / 1e6).toFixed(1)} MB`;
}
/** What confirming would write, in words. */
export function outcome(p: ImportPreview): string {
	const c = p.counts;
	return p.mapping.target === 'samples' ? `${count(c.samples, 'sample')} in ${count(c.runs, 'run')}` : `${count(c.format_lots, 'lot')} and ${count(c.formats, 'new format')}`;
}
export const STATE: Record<string, string> = { writing: 'not finished', done: 'imported', undone: 'undone' };
export const SEPARATOR: [string, string][] = [[',', 'Comma'], [';', 'Semicolon'], ['\t', 'Tab']];
export const ENCODING: [string, string][] = [['utf-8', 'UTF-8'], ['windows-1252', 'Windows-1252'], ['utf-16le', 'UTF-16, little end first'], ['utf-16be', 'UTF-16, big end first']];
