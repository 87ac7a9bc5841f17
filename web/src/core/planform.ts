// A planner's fields read without a page: what was typed, the calculation's input
// from it, and the same as a command.
import { read, UNITS, type Kind } from './measure.ts';
import { flagValue } from './plancli.ts';

/** A field: the name of the core's input in its base unit, and how it starts. */
export interface Spec { kind: Kind; label: string; field?: string; start?: string; hint?: string; flag?: string }
export type Specs = Record<string, Spec>;
/** A field of ± and the field that it is of. */
export type Sure = [of: string, u: string];
const own = (kind: Kind): string => UNITS[kind][0].name;

export class Form {
	/** Left to those who extend it: a page keeps it as state, which a field of this class would hide. */
	declare text: Record<string, string>;
	readonly specs: Specs;
	constructor(specs: Specs) {
		this.specs = specs;
	}
	/** A field's number in the core's unit; undefined where nothing usable stands. */
	base(k: string, station_kpa?: number): number | undefined {
		const { kind } = this.specs[k];
		return read(this.text[k] ?? '', kind, own(kind), station_kpa).base;
	}
	/** What the core takes for a field: its number, or a gravity as text. */
	value(k: string, station_kpa?: number): number | string | undefined {
		const { kind } = this.specs[k];
		return taken(this.text[k] ?? '', kind, station_kpa);
	}
	/** The first field that cannot be read. */
	fault(keys: string[]): { key: string; message: string } | undefined {
		for (const k of keys) {
			const { kind } = this.specs[k], e = read(this.text[k] ?? '', kind, own(kind)).error;
			if (e) return { key: k, message: e };
		}
		return undefined;
	}
	/** Inputs of the core from fields, by their names there; empty ones are left out. */
	input(keys: string[], station_kpa?: number): Record<string, unknown> {
		const out: Record<string, unknown> = {};
		for (const k of keys) {
			const v = this.value(k, station_kpa);
			if (v !== undefined) out[this.specs[k].field ?? k] = v;
		}
		return out;
	}
	/** The same as options of the command line. */
	flags(keys: string[], station_kpa?: number): [string, string | undefined][] {
		return keys.filter((k) => this.specs[k].flag).map((k) => [this.specs[k].flag!, flagValue(this.text[k] ?? '', this.specs[k].kind, station_kpa)]);
	}
	/** Standard uncertainties typed beside fields; a share of another quantity is of its value. */
	uncertainty(list: Sure[]): Record<string, number> | undefined {
		const out: Record<string, number> = {};
		for (const [of, k] of list) {
			const u = this.base(k), v = this.value(of), relative = this.relative(of, k);
			if (u !== undefined && u > 0 && v !== undefined && !(relative && typeof v !== 'number')) out[this.specs[of].field ?? of] = relative ? u * Math.abs(v as number) : u;
		}
		return Object.keys(out).length ? out : undefined;
	}
	/** The same as options of the command line. */
	sure(list: Sure[]): [string, string | undefined][] {
		const given = this.uncertainty(list) ?? {};
		return list.filter(([of]) => (this.specs[of].field ?? of) in given).map(([of, k]) => {
			const u = this.base(k)!;
			return ['--u', `${this.specs[of].field ?? of}=${this.relative(of, k) ? `${Number((100 * u).toPrecision(12))}%` : flagValue(this.text[k], this.specs[k].kind)}`];
		});
	}
	private relative(of: string, k: string): boolean {
		return this.specs[k].kind === 'share' && this.specs[of].kind !== 'share';
	}
}

/** A form that is filled in once. */
export class Filled extends Form {
	override text: Record<string, string>;
	constructor(specs: Specs, text: Record<string, string>) {
		super(specs);
		this.text = text;
	}
}

/** What the core takes for a text: the number in the base unit, or a gravity as text. */
export function taken(text: string, kind: Kind, station_kpa?: number): number | string | undefined {
	const r = read(text, kind, own(kind), station_kpa);
	return r.sg !== undefined ? `${r.sg} SG` : r.base;
}

/** The kind that an uncertainty of a quantity is typed in. */
export const spreadKind = (kind: Kind): Kind => (kind === 'temperature' ? 'kelvin' : kind);
/** A field of an entry: its key, kind, name in the calculation and at the command line. */
export type Entry = readonly [key: string, kind: Kind, name: string, flag?: string];
/** An entry of a list as the core takes it; the ± of a field stands under "u" + its key. */
export function entry(e: Record<string, string>, fields: readonly Entry[], station_kpa?: number): Record<string, unknown> {
	const out: Record<string, unknown> = {}, u: Record<string, number> = {};
	for (const [k, kind, name] of fields) {
		const v = taken(e[k] ?? '', kind, station_kpa);
		if (v === undefined) continue;
		out[name] = v;
		const s = read(e[`u${k}`] ?? '', spreadKind(kind), own(kind)).base;
		if (s !== undefined && s > 0) u[name] = s;
	}
	return Object.keys(u).length ? { ...out, u } : out;
}
/** The same as KEY=VALUE of the command line; in order, with u-KEY behind. */
export function pairs(e: Record<string, string>, fields: readonly Entry[], station_kpa?: number): string[] {
	return fields.flatMap(([k, kind, , flag]) => {
		const v = flagValue(e[k] ?? '', kind, station_kpa), u = flagValue(e[`u${k}`] ?? '', spreadKind(kind)), key = flag ?? k;
		return v === undefined ? [] : [`${key}=${v}`, ...(u !== undefined && Number.parseFloat(u) > 0 ? [`u-${key}=${u}`] : [])];
	});
}
/** A field of an entry, or its ±, cannot be read. */
export const unread = (e: Record<string, string>, fields: readonly Entry[]): boolean =>
	fields.some(([k, kind]) => read(e[k] ?? '', kind, own(kind)).error || read(e[`u${k}`] ?? '', spreadKind(kind), own(spreadKind(kind))).error);
/** A list kept as text; anything else that stands there gives the other list. */
export function listOf<E extends Record<string, string>>(text: string, blank: E, otherwise: E[], most: number): E[] {
	try {
		const list = JSON.parse(text || 'null') as Partial<E>[] | null;
		if (!Array.isArray(list)) return otherwise;
		return list.filter((x) => x && typeof x === 'object').slice(0, most).map((x) => Object.fromEntries(Object.keys(blank).map((k) => [k, String(x[k] ?? '').slice(0, 200)])) as E);
	} catch {
		return otherwise;
	}
}
