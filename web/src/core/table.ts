// Tables as people bring them, from a file or the clipboard, into the columns of
// a study. No state, no network.

export type ColumnKind = 'temperature' | 'mass' | 'oxygen' | 'length' | 'minutes' | 'volume' | 'plain' | 'text';
export interface Column { key: string; label: string; kind: ColumnKind; /** Unit shown where no person chooses it. */ unit?: string; needed?: boolean; /** Other headings it is known by. */ also?: string[]; /** Shown once it is used or asked for. */ extra?: boolean }
export type Row = Record<string, string>;
export interface Read { rows: Row[]; taken: string[]; left: string[] }

/** Most rows a study takes, as in the core. */
export const MAX_ROWS = 20000;

/** Cuts text into cells: tab, semicolon or comma, quotes as in RFC 4180. */
export function cells(text: string): string[][] {
	const t = text.replace(/^\ufeff/, '');
	const first = t.slice(0, t.search(/[\r\n]/) < 0 ? undefined : t.search(/[\r\n]/));
	const sep = first.includes('\t') ? '\t' : first.includes(';') ? ';' : ',';
	const out: string[][] = [];
	let row: string[] = [], cell = '', quoted = false;
	const endRow = () => {
		row.push(cell);
		if (row.some((c) => c.trim())) out.push(row.map((c) => c.trim()));
		row = [];
		cell = '';
	};
	for (let i = 0; i < t.length; i++) {
		const c = t[i];
		if (quoted) {
			if (c !== '"') cell += c;
			else if (t[i + 1] === '"') cell += t[++i];
			else quoted = false;
		} else if (c === '"' && !cell.trim()) {
			quoted = true;
			cell = '';
		} else if (c === sep) {
			row.push(cell);
			cell = '';
		} else if (c === '\n' || c === '\r') {
			if (c === '\r' && t[i + 1] === '\n') i++;
			endRow();
		} else cell += c;
	}
	endRow();
	return out;
}

/** Suffixes that name a unit in a heading, and how the unit is written behind a number. */
const SUFFIX: Record<string, string> = { c: '°C', f: '°F', g: 'g', kg: 'kg', ppb: 'ppb', ppm: 'ppm', mg_l: 'mg/L', ug_l: 'µg/L', mm: 'mm', cm: 'cm', min: 'min', h: 'h', ml: 'mL', l: 'L', floz: 'fl oz' };
const plain = (s: string): string => s.toLowerCase().normalize('NFKD').replace(/[\u0300-\u036f]/g, '').replace(/°|º/g, '').replace(/µ|μ/g, 'u').replace(/[^a-z0-9]+/g, '_').replace(/^_+|_+$/g, '');
const stem = (s: string): { name: string; unit: string } => {
	const cut = Object.keys(SUFFIX).sort((a, b) => b.length - a.length).find((x) => s.endsWith('_' + x));
	return cut ? { name: s.slice(0, -cut.length - 1), unit: cut } : { name: s, unit: '' };
};

/** The column a heading means, and the unit it names. */
export function match(heading: string, columns: Column[]): { column: Column; unit: string } | undefined {
	const h = plain(heading), s = stem(h);
	for (const column of columns) {
		const names = [column.key, column.label, ...(column.also ?? [])].map(plain);
		if (names.includes(h)) return { column, unit: column.kind === 'text' || column.kind === 'plain' ? '' : (s.unit && SUFFIX[s.unit]) || '' };
		if (s.unit && column.kind !== 'text' && column.kind !== 'plain' && names.some((n) => n === s.name || stem(n).name === s.name)) return { column, unit: SUFFIX[s.unit] };
	}
	return undefined;
}

/** The row of headings, by how many it names; above it may stand titles. -1: none. */
export function headingRow(table: string[][], columns: Column[]): number {
	let best = -1, most = 0;
	table.slice(0, 30).forEach((line, i) => {
		const n = new Set(line.map((h) => match(h, columns)?.column).filter(Boolean)).size;
		if (n > most) [best, most] = [i, n];
	});
	return best;
}

/**
 * Reads a table into rows. With a row of headings its columns may stand in any
 * order, and what is not known is left out and named; without one they stand in ours.
 */
export function readTable(table: string[][], columns: Column[], shown: (c: Column) => string): Read {
	const at = headingRow(table, columns);
	const head = table[at] ?? [];
	const seen = new Set<Column>();
	const use = (at < 0 ? columns.map((column) => ({ column, unit: '' })) : head.map((h) => match(h, columns))).map((m) => (m && !seen.has(m.column) ? (seen.add(m.column), m) : undefined));
	const rows = table.slice(at + 1).map((line) => {
		const r: Row = {};
		use.forEach((m, i) => {
			const v = line[i] ?? '';
			if (!m || !v) return;
			// A column in another unit than the person's says so in every cell.
			r[m.column.key] = m.unit && m.unit !== shown(m.column) && /^[-+−\d.,\s]+$/.test(v) ? `${v} ${m.unit}` : v;
		});
		return r;
	});
	return { rows: rows.filter((r) => Object.keys(r).length), taken: use.flatMap((m) => (m ? [m.column.label] : [])), left: at < 0 ? [] : head.filter((h, i) => h && !use[i]) };
}
