// One reading being typed: texts as typed, the point, what is carried from the
// reading before. Texts survive a reload; the id is minted when the form opens.
import type { Point, Reading, Units } from '#api/records.ts';
import { isWort, parseAt, slip, unitAt, type Slip } from '#core/cellar.ts';
import { cToF, parse, unitOf, type Parsed } from '#core/units.ts';
import { uuidv7 } from '#offline/uuid.ts';

export type Key = 'do' | 'temperature' | 'flow' | 'volume' | 'pressure' | 'stabilised';
export const KEYS: Key[] = ['do', 'temperature', 'flow', 'volume', 'pressure', 'stabilised'];
type Num = 'temperature_c' | 'flow_hl_h' | 'volume_moved_hl' | 'pressure_bar' | 'stabilised_min';
const FIELD: Record<Exclude<Key, 'do'>, Num> = { temperature: 'temperature_c', flow: 'flow_hl_h', volume: 'volume_moved_hl', pressure: 'pressure_bar', stabilised: 'stabilised_min' };
const PLAIN: Partial<Record<Key, string>> = { flow: 'hL/h', volume: 'hL', pressure: 'bar', stabilised: 'min' };
const NONE: Record<Key, string> = { do: '', temperature: '', flow: '', volume: '', pressure: '', stabilised: '' };

export interface Carried { temperature_c?: number; flow_hl_h?: number; pressure_bar?: number; tubing?: string; meter_id?: string }
interface Draft { id: string; point: Point; text: Record<Key, string>; tubing: string; note: string; flags: string[] }

export class Entry {
	id = $state('');
	point = $state<Point>('tank_before');
	text = $state<Record<Key, string>>({ ...NONE });
	/** The value taken from a challenge, ppb; and whether it was confirmed as an event. */
	mended = $state<number | undefined>();
	event = $state(false);
	meter_id = $state('');
	move_id = $state('');
	brew_id = $state('');
	tubing = $state('');
	note = $state('');
	flags = $state<string[]>([]);
	at = $state('');
	carried = $state<Carried>({});
	original = $state.raw<Reading | undefined>();
	reason = $state('');

	begin(batch: string, point: Point, carried: Carried, link: { move_id?: string; brew_id?: string }, now: number, kept: (id: string) => boolean): void {
		Object.assign(this, { original: undefined, id: uuidv7(now), point, text: { ...NONE }, mended: undefined, event: false, move_id: link.move_id ?? '', brew_id: link.brew_id ?? '', note: '', flags: [], at: '', reason: '', carried });
		this.tubing = carried.tubing ?? this.tubing;
		this.meter_id = carried.meter_id ?? this.meter_id;
		const d = this.draft(batch);
		// A browser that was killed may bring back the draft of a reading already saved.
		if (d && !kept(d.id)) Object.assign(this, { ...d, text: { ...NONE, ...d.text } });
	}
	load(r: Reading, u: Units): void {
		const text = { ...NONE };
		text.do = r.raw ?? (r.point === 'tank_gas' ? String(r.gas_o2_pct ?? '') : r.do_ppb === undefined ? '' : `${isWort(r.point) || u.oxygen === 'ppm' ? r.do_ppb / 1000 : r.do_ppb} ${unitAt(r.point, u)}`);
		for (const k of Object.keys(FIELD) as (keyof typeof FIELD)[]) {
			const v = r[FIELD[k]];
			if (v !== undefined) text[k] = String(k === 'temperature' && u.temperature === 'f' ? Number(cToF(v).toFixed(2)) : v);
		}
		Object.assign(this, { original: r, id: r.id, point: r.point, text, event: r.confirmed === 'event', meter_id: r.meter_id ?? '', move_id: r.move_id ?? '', brew_id: r.brew_id ?? '', tubing: r.tubing ?? '', note: r.note ?? '', flags: [...(r.flags ?? [])], at: r.at, carried: {}, reason: '' });
		const p = parseAt(text.do, r.point, u).value;
		this.mended = r.point !== 'tank_gas' && p !== r.do_ppb ? r.do_ppb : undefined;
	}
	type(k: Key, s: string): void {
		this.text[k] = s;
		if (k === 'do') Object.assign(this, { mended: undefined, event: false });
	}
	parsed(k: Key, u: Units): Parsed {
		if (k === 'do') return parseAt(this.text.do, this.point, u);
		if (k === 'temperature') return parse(this.text.temperature, 'temperature', u);
		return { ...parse(this.text[k].replace(/\s*(hl\/h|hl|bar|min)\s*$/i, ''), 'plain', u), unit: PLAIN[k]! };
	}
	unit = (k: Key, u: Units): string => (k === 'do' ? unitAt(this.point, u) : k === 'temperature' ? unitOf('temperature', u) : PLAIN[k]!);
	/** ppb; undefined for a gas reading or without a number. */
	ppb(u: Units): number | undefined {
		return this.point === 'tank_gas' ? undefined : (this.mended ?? this.parsed('do', u).value);
	}
	slip(u: Units): Slip | undefined {
		return this.event ? undefined : slip(this.point, this.ppb(u));
	}
	mend(m: Slip['mends'][number]): void {
		this.mended = m.ppb;
		this.event = m.event;
	}
	temperature(u: Units): number | undefined {
		return this.parsed('temperature', u).value ?? (this.original || this.text.temperature ? undefined : this.carried.temperature_c);
	}
	flow(u: Units): number | undefined {
		return this.parsed('flow', u).value ?? (this.original || this.text.flow ? undefined : this.carried.flow_hl_h);
	}
	record(batch_id: string, u: Units, now: Date): Reading {
		const gas = this.point === 'tank_gas', typed = this.text.do.trim();
		const ppb = this.ppb(u);
		return {
			...this.original, id: this.id, rev: this.original?.rev ?? 0, batch_id, point: this.point, at: this.at || now.toISOString(), move_id: this.move_id || undefined, brew_id: this.brew_id || undefined,
			// As typed; where no unit was typed, the one that stood beside the box.
			raw: typed && !/[a-z°µ%]/i.test(typed) ? `${typed} ${unitAt(this.point, u)}` : typed,
			do_ppb: gas ? undefined : ppb === undefined ? undefined : Number(ppb.toPrecision(10)), gas_o2_pct: gas ? this.parsed('do', u).value : undefined, confirmed: this.event && !gas && !isWort(this.point) && (ppb ?? 0) >= 1000 ? 'event' : undefined,
			meter_id: this.meter_id || undefined, temperature_c: this.temperature(u), flow_hl_h: this.flow(u), pressure_bar: this.parsed('pressure', u).value, volume_moved_hl: this.parsed('volume', u).value, stabilised_min: this.parsed('stabilised', u).value,
			tubing: this.tubing.trim(), flags: $state.snapshot(this.flags), note: this.note.trim(), reason: this.original ? this.reason.trim() : undefined
		} as Reading;
	}

	private key = (batch: string) => `ullage.reading.${batch}`;
	private draft(batch: string): Draft | undefined {
		try {
			return JSON.parse(localStorage.getItem(this.key(batch)) ?? 'null') ?? undefined;
		} catch {
			return undefined;
		}
	}
	keepDraft(batch: string): void {
		if (this.original) return;
		if (!Object.values(this.text).some(Boolean) && !this.note) return this.dropDraft(batch);
		const d: Draft = { id: this.id, point: this.point, text: $state.snapshot(this.text), tubing: this.tubing, note: this.note, flags: $state.snapshot(this.flags) };
		localStorage.setItem(this.key(batch), JSON.stringify(d));
	}
	dropDraft(batch: string): void {
		localStorage.removeItem(this.key(batch));
	}
}
