// A study being typed: kept on this device with every key, so that a closed
// browser or a flat battery loses nothing.
import { untrack } from 'svelte';
import { browser } from '$app/env';
import { page } from '$app/state';
import type { Study, Units } from '#api/records.ts';
import { study, type Prepared, type Studied } from '#core/studyrows.ts';
import { shown, type StudyDef } from '#core/studies.ts';
import { cells, headingRow, readTable, type Row } from '#core/table.ts';
import { readXlsx } from '#core/xlsx.ts';
import { me } from '#core/me.svelte.ts';
import { DEFAULT_UNITS } from '#core/units.ts';
import { store } from '#offline/store.svelte.ts';
import { uuidv7 } from '#offline/uuid.ts';

type Of = Pick<Study, 'format_ids' | 'format_lot_id' | 'do_meter_id' | 'tpo_meter_id'>;
interface Kept { id: string; name: string; rows: Row[]; typed: Record<string, string>; source: string; more: boolean; of: Of }
const EXAMPLES = import.meta.glob<string>('../../../../examples/studies/*.csv', { query: '?raw', import: 'default' });

export class Draft {
	id = $state('');
	name = $state('');
	rows = $state<Row[]>([]);
	typed = $state<Record<string, string>>({});
	source = $state('');
	/** What it is of: lot, packages, meters. */
	of = $state<Of>({});
	/** All columns are shown. */
	more = $state(false);
	said = $state('');
	trouble = $state('');
	before = $state.raw<{ kept: Kept; what: string } | undefined>();
	result = $state.raw<Studied | undefined>();
	busy = $state(false);
	private turn = 0;
	private opened = '';

	constructor(readonly def: StudyDef) {
		let kept: Partial<Kept> = {};
		try {
			kept = browser ? (JSON.parse(localStorage.getItem(this.key) ?? '{}') as Partial<Kept>) : {};
		} catch {
			// What cannot be read is not a draft.
		}
		this.put({ id: uuidv7(), name: '', rows: [], typed: {}, source: '', more: false, of: {}, ...kept });
	}
	private get key(): string {
		return `ullage.study.${this.def.kind}`;
	}
	private put(k: Kept): void {
		Object.assign(this, k);
	}
	private snapshot(): Kept {
		return $state.snapshot({ id: this.id, name: this.name, rows: this.rows, typed: this.typed, source: this.source, more: this.more, of: this.of }) as Kept;
	}
	keep(): void {
		const k = this.snapshot();
		try {
			localStorage.setItem(this.key, JSON.stringify(k));
		} catch {
			this.trouble = 'This device has no room to keep the draft. Save the rows as CSV before you leave.';
		}
	}
	/** Puts other rows in place; what was there comes back by Undo. */
	swap(next: Partial<Kept>, what: string): void {
		const old = this.snapshot();
		this.before = old.rows.length ? { kept: old, what } : undefined;
		this.put({ id: uuidv7(), name: '', typed: {}, source: '', more: false, rows: [], of: {}, ...next });
		this.said = what;
		this.trouble = '';
	}
	/** Opens a study on record; its numbers are in the units of their names, and say so. */
	open(s: Study | undefined): void {
		if (!s || s.id === this.id || s.id === this.opened) return;
		this.opened = s.id;
		const texts = this.texts();
		this.swap({ id: s.id, name: s.name, rows: s.rows.map(texts), typed: texts(s.settings ?? {}), source: s.source ?? '', of: { format_ids: s.format_ids, format_lot_id: s.format_lot_id, do_meter_id: s.do_meter_id, tpo_meter_id: s.tpo_meter_id } }, `${s.name} is opened.`);
	}
	/** Numbers on record become what a person would have typed: with their unit, where the page shows another. */
	private texts(): (o: Record<string, unknown>) => Row {
		const unit = new Map([...this.def.columns, ...this.def.options].map((c) => [c.key, c.kind === 'text' || c.kind === 'plain' ? '' : ` ${shown(c, DEFAULT_UNITS)}`]));
		const cell = (k: string, v: unknown) => (typeof v === 'number' ? `${Number(v.toPrecision(8))}${unit.get(k) === ` ${shown(this.def.columns.find((c) => c.key === k) ?? { kind: 'plain' }, me.units)}` ? '' : (unit.get(k) ?? '')}` : String(v));
		return (o: Record<string, unknown>): Row => Object.fromEntries(Object.entries(o).filter(([, v]) => v !== undefined && v !== null).map(([k, v]) => [k, cell(k, v)]));
	}
	/** Packages that runs were read both ways take the place of the rows. */
	take(rows: object[], of: Of, source: string): void {
		if (!rows.length) {
			this.trouble = `${source}: no package was read both ways.`;
			return;
		}
		const texts = this.texts();
		this.swap({ rows: rows.map((r) => texts(r as Record<string, unknown>)), typed: $state.snapshot(this.typed), name: this.name, of: { ...($state.snapshot(this.of) as Of), ...of }, source, more: true }, `${source}: ${rows.length} ${rows.length === 1 ? 'pair' : 'pairs'}.`);
	}
	undo(): void {
		if (this.before) this.put(this.before.kept);
		this.before = undefined;
		this.said = '';
	}
	cut(i: number): void {
		const old = this.snapshot();
		this.rows.splice(i, 1);
		this.before = { kept: old, what: `Row ${i + 1} taken out.` };
		this.said = this.before.what;
	}
	async example(u: Units): Promise<void> {
		const text = await EXAMPLES[`../../../../examples/studies/${this.def.example}.csv`]();
		this.read(cells(text), u, 'Example of the invented Ostrelweir Brewhouse');
	}
	/** A table from a file or the clipboard takes the place of the rows. */
	read(table: string[][], u: Units, source: string): void {
		const r = readTable(table, this.def.columns, (c) => shown(c, u));
		if (!r.rows.length) {
			this.trouble = `${source}: no row was found. Name the columns ${this.def.columns.filter((c) => !c.extra).map((c) => c.key).join(', ')}.`;
			return;
		}
		const none = r.taken.length && !this.def.columns.some((c) => c.needed && r.taken.includes(c.label));
		if (none) {
			this.trouble = `${source}: ${this.def.columns.filter((c) => c.needed).map((c) => `"${c.label}" (${c.key})`).join(', ')} was not found among ${[...r.taken, ...r.left].join(', ')}. Give the column that name.`;
			return;
		}
		this.swap({ rows: r.rows, typed: $state.snapshot(this.typed), name: this.name, of: $state.snapshot(this.of) as Of, source }, `${source}: ${r.rows.length} rows; columns: ${r.taken.join(' · ')}${r.left.length ? `; left out: ${r.left.join(' · ')}` : ''}`);
	}
	/** A block of cells pasted into the grid; one with headings replaces all. */
	paste(text: string, row: number, column: number, u: Units, keys: string[]): boolean {
		const table = cells(text);
		if (!table.length) return false;
		if (headingRow(table, this.def.columns) === 0 && !/^[-+−\d.,\s]*$/.test(table[0].join(''))) {
			this.read(table, u, 'Pasted');
			return true;
		}
		const old = this.snapshot();
		table.forEach((line, i) => {
			const at = row + i, r: Row = { ...(this.rows[at] ?? {}) };
			line.forEach((v, j) => {
				if (keys[column + j]) r[keys[column + j]] = v;
			});
			if (at < this.rows.length) this.rows[at] = r;
			else this.rows.push(r);
		});
		this.before = { kept: old, what: `${table.length} rows pasted.` };
		this.said = this.before.what;
		return true;
	}
	async file(f: File, u: Units): Promise<void> {
		this.trouble = '';
		try {
			const data = await f.arrayBuffer();
			const zip = new Uint8Array(data.slice(0, 2));
			if (zip[0] === 0x50 && zip[1] === 0x4b) {
				const sheets = await readXlsx(data);
				// The sheet whose headings name the most columns.
				const known = (t: string[][]) => new Set((t[headingRow(t, this.def.columns)] ?? []).filter(Boolean)).size * (headingRow(t, this.def.columns) >= 0 ? 1 : 0);
				const best = sheets.reduce((a, b) => (known(b.cells) > known(a.cells) ? b : a));
				this.read(best.cells, u, sheets.length > 1 ? `${f.name}, sheet ${best.name}` : f.name);
			} else {
				const bytes = new Uint8Array(data);
				const utf16 = bytes[0] === 0xff && bytes[1] === 0xfe ? 'utf-16le' : bytes[0] === 0xfe && bytes[1] === 0xff ? 'utf-16be' : '';
				let t: string;
				try {
					t = new TextDecoder(utf16 || 'utf-8', { fatal: true }).decode(data);
				} catch {
					t = new TextDecoder('windows-1252').decode(data);
				}
				if (t.includes('\0')) throw new Error('this is not text. Save it as CSV or as XLSX');
				this.read(cells(t), u, f.name);
			}
		} catch (e) {
			this.trouble = `${f.name}: ${(e as Error).message}`;
		}
	}
	/** Opens the study that the address names, keeps what is typed and computes it. For a page that is being made. */
	follow(complete?: Parameters<Draft['compute']>[1]): void {
		$effect(() => {
			const s = store.get('studies', page.url.searchParams.get('study') ?? undefined);
			untrack(() => this.open(s));
		});
		$effect(() => {
			void [JSON.stringify(this.rows), JSON.stringify(this.typed), JSON.stringify(this.of), this.name, this.source, this.more, this.id];
			untrack(() => this.keep());
		});
		$effect(() => {
			void [JSON.stringify(this.rows), JSON.stringify(this.typed)];
			const u = me.units, t = setTimeout(() => untrack(() => void this.compute(u, complete)), 150);
			return () => clearTimeout(t);
		});
	}
	/** Rows that are finished, computed; a slower answer never overtakes a newer one. */
	async compute(u: Units, complete?: (p: Prepared) => Promise<void>): Promise<void> {
		const mine = ++this.turn, rows = $state.snapshot(this.rows) as Row[], typed = $state.snapshot(this.typed) as Record<string, string>;
		this.busy = true;
		try {
			const r = await study(this.def, rows, typed, u, complete);
			if (mine === this.turn) this.result = r;
		} catch (e) {
			if (mine === this.turn) this.trouble = `The calculation core is not loaded: ${(e as Error).message}. Open this page once with a network; after that it works without.`;
		} finally {
			if (mine === this.turn) this.busy = false;
		}
	}
}
