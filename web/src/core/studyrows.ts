// From typed rows to a study's answer: cells are read, rows that cannot be used
// are named with their fault, and the rest is computed.
import type { Units } from '#api/records.ts';
import { run, type CalcAnswer } from './client.ts';
import type { Option, StudyDef } from './studies.ts';
import { shown } from './studies.ts';
import type { Column, Row } from './table.ts';
import { parse } from './units.ts';

export type Faults = Map<number, Record<string, string>>;
/** One cell as a number, or as text; its fault in words. */
export function readCell(c: { kind: Column['kind']; unit?: string }, typed: string | undefined, u: Units): { value?: number | string; error?: string } {
	const t = (typed ?? '').trim();
	if (!t) return {};
	if (c.kind === 'text') return { value: t };
	const p = parse(t, c.kind, u);
	if (p.error && c.kind === 'plain' && c.unit && t.toLowerCase().endsWith(c.unit.toLowerCase())) return readCell(c, t.slice(0, -c.unit.length), u);
	return p.error ? { error: c.kind === 'plain' && /no unit/.test(p.error) ? `"${t}" is not a number. Type digits${c.unit ? `, in ${c.unit}` : ''}.` : p.error } : { value: p.value };
}

export interface Prepared { rows: Record<string, number | string>[]; /** Place in the grid of each row sent. */ from: number[]; faults: Faults; /** Rows begun and not finished. */ open: number }
export function prepare(rows: Row[], def: StudyDef, u: Units): Prepared {
	const columns = def.columns;
	const out: Prepared = { rows: [], from: [], faults: new Map(), open: 0 };
	rows.forEach((r, i) => {
		if (!columns.some((c) => r[c.key]?.trim())) return;
		const v: Record<string, number | string> = {}, bad: Record<string, string> = {};
		for (const c of columns) {
			const x = readCell(c, r[c.key], u);
			if (x.error) bad[c.key] = x.error;
			else if (x.value !== undefined) v[c.key] = x.value;
		}
		if (Object.keys(bad).length) out.faults.set(i, bad);
		else if (columns.some((c) => c.needed && v[c.key] === undefined) || (def.either && !def.either.some((set) => set.every((k) => v[k] !== undefined)))) out.open++;
		else {
			out.rows.push(v);
			out.from.push(i);
		}
	});
	return out;
}

export interface Studied { answer?: CalcAnswer; faults: Faults; /** Place in the grid of each row used. */ from: number[]; used: number; open: number; /** Settings as sent. */ settings: Record<string, number>; settingFaults: Record<string, string>; rows: Record<string, number | string>[]; trouble: string }
export function readSettings(options: Option[], typed: Record<string, string>, u: Units): { settings: Record<string, number>; faults: Record<string, string> } {
	const settings: Record<string, number> = {}, faults: Record<string, string> = {};
	for (const o of options) {
		const x = readCell(o, typed[o.key], u);
		if (x.error) faults[o.key] = x.error;
		else if (typeof x.value === 'number') settings[o.key] = x.value;
	}
	return { settings, faults };
}

/** Computes a study; a row that the calculation refuses is reported with its place, and the others go on. */
export async function study(def: StudyDef, rows: Row[], typed: Record<string, string>, u: Units, complete?: (p: Prepared) => Promise<void>): Promise<Studied> {
	const p = prepare(rows, def, u);
	await complete?.(p);
	const { settings, faults: settingFaults } = readSettings(def.options, typed, u);
	const out: Studied = { faults: p.faults, from: [], used: 0, open: p.open, settings, settingFaults, rows: [], trouble: '' };
	for (let turn = 0; turn < 50; turn++) {
		if (p.rows.length < def.least) {
			out.used = p.rows.length;
			out.rows = p.rows;
			out.from = p.from;
			return out;
		}
		const a = await run(def.calc, { ...settings, rows: p.rows });
		const at = /^rows\[(\d+)\]\.?(.*)$/.exec(a.error?.field ?? '');
		if (a.error && at && p.from[Number(at[1])] !== undefined) {
			const i = Number(at[1]);
			p.faults.set(p.from[i], { [at[2] || def.columns.find((c) => c.needed)!.key]: `${a.error.value === undefined || a.error.value === '' ? '' : `${String(a.error.value)} `}${a.error.message}${a.error.mend ? `; ${a.error.mend}` : ''}` });
			p.rows.splice(i, 1);
			p.from.splice(i, 1);
			continue;
		}
		if (a.error) {
			const field = a.error.field ?? '';
			const words = `${a.error.value === undefined || a.error.value === '' ? '' : `${String(a.error.value)} `}${a.error.message}${a.error.mend ? `; ${a.error.mend}` : ''}`;
			if (def.options.some((o) => o.key === field)) out.settingFaults[field] = words;
			else out.trouble = field && field !== 'rows' ? `${field} ${words}` : words;
		}
		out.answer = a;
		out.used = p.rows.length;
		out.rows = p.rows;
		out.from = p.from;
		return out;
	}
	out.trouble = 'More than fifty rows were refused. Check the units of the columns.';
	return out;
}

/** Rows as CSV: the headings are those that the command line and the import read. */
export const tableOf = (columns: Column[], rows: Record<string, number | string>[]): (string | number | undefined)[][] => {
	const used = columns.filter((c) => rows.some((r) => r[c.key] !== undefined));
	return [used.map((c) => c.key), ...rows.map((r) => used.map((c) => r[c.key]))];
};
/** The unit of each column for this person. */
export const units = (columns: Column[], u: Units): Record<string, string> => Object.fromEntries(columns.map((c) => [c.key, shown(c, u)]));
