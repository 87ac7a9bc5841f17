// A planner's inputs as text: kept in the address, so that a plan can be sent and
// "back" works, and remembered on the device. Every change is computed at once by
// the calculation core in the browser.
import { browser } from '$app/env';
import { goto } from '$app/navigation';
import { run, type CalcAnswer, type CalcError } from './client.ts';
import { read, start, UNITS, type Kind } from './measure.ts';
import { me } from './me.svelte.ts';

/** A field: the name of the core's input in its base unit, and how it starts. */
export interface Spec { kind: Kind; label: string; field?: string; start?: string; hint?: string; u?: string }
export type Specs = Record<string, Spec>;
const WORDS = 'plain' as const;

export class Plan {
	text = $state<Record<string, string>>({});
	private readonly key: string;
	private readonly specs: Specs;
	private readonly starts: Record<string, string>;
	private timer: ReturnType<typeof setTimeout> | undefined;

	/** Words are choices and lists, which have no unit. */
	constructor(name: string, specs: Specs, words: Record<string, string> = {}) {
		this.key = `ullage.plan.${name}`;
		this.specs = specs;
		this.starts = { ...words };
		for (const [k, s] of Object.entries(specs)) this.starts[k] = s.start === undefined ? '' : start(s.start, s.kind, me.units);
		this.text = { ...this.starts };
		if (browser) this.open(new URL(location.href), true);
	}
	/** From the address; with nothing there, from what was last typed here. */
	open(url: URL, remember = false): void {
		let given: Record<string, string> = Object.fromEntries([...url.searchParams].filter(([k]) => k in this.starts));
		if (remember && !Object.keys(given).length) {
			try {
				given = JSON.parse(localStorage.getItem(this.key) ?? '{}') as Record<string, string>;
			} catch {
				given = {};
			}
		}
		const next = { ...this.starts };
		for (const [k, v] of Object.entries(given)) if (k in next && typeof v === 'string') next[k] = v.slice(0, 4000);
		this.text = next;
	}
	get changed(): Record<string, string> {
		return Object.fromEntries(Object.entries(this.text).filter(([k, v]) => v !== this.starts[k]));
	}
	/** All inputs once one differs: starts hang on the reader's units, an address must not. */
	get address(): string {
		return Object.keys(this.changed).length ? this.full : location.pathname;
	}
	get full(): string {
		return `${location.pathname}?${new URLSearchParams(Object.entries(this.text).filter(([k, v]) => v || this.starts[k]))}`;
	}
	/** Typing replaces the address; a choice adds one, so that "back" undoes it. */
	keep(): void {
		clearTimeout(this.timer);
		localStorage.setItem(this.key, JSON.stringify(this.changed));
		this.timer = setTimeout(() => this.go(true), 400);
	}
	choose(k: string, v: string): void {
		if (this.text[k] === v) return;
		this.text[k] = v;
		clearTimeout(this.timer);
		localStorage.setItem(this.key, JSON.stringify(this.changed));
		this.go(false);
	}
	private go(replace: boolean): void {
		if (this.address !== location.pathname + location.search) void goto(this.address, { reset: false, replace });
	}
	reset(): void {
		this.text = { ...this.starts };
		this.keep();
	}
	/** A field's number in the core's unit; undefined where nothing usable stands. */
	base(k: string, station_kpa?: number): number | undefined {
		const s = this.specs[k];
		return read(this.text[k] ?? '', s.kind, UNITS[s.kind][0].name, station_kpa).base;
	}
	/** What the core takes for a field: its number, or a gravity as text. */
	value(k: string, station_kpa?: number): number | string | undefined {
		const s = this.specs[k], r = read(this.text[k] ?? '', s.kind, UNITS[s.kind][0].name, station_kpa);
		return r.sg !== undefined ? `${r.sg} SG` : r.base;
	}
	/** The first field that cannot be read. */
	fault(keys: string[]): { key: string; message: string } | undefined {
		for (const k of keys) {
			const s = this.specs[k], e = read(this.text[k] ?? '', s.kind, UNITS[s.kind][0].name).error;
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
	/** Standard uncertainties typed beside fields, for those that are given; a share of another quantity is relative. */
	uncertainty(pairs: [string, string][]): Record<string, number> | undefined {
		const out: Record<string, number> = {};
		for (const [k, of] of pairs) {
			const u = this.base(k), v = this.value(of);
			const relative = this.specs[k].kind === 'share' && this.specs[of].kind !== 'share';
			if (u !== undefined && u > 0 && v !== undefined && !(relative && typeof v !== 'number')) out[this.specs[of].field ?? of] = relative ? u * Math.abs(v as number) : u;
		}
		return Object.keys(out).length ? out : undefined;
	}
	spec(k: string): Spec {
		return this.specs[k] ?? { kind: WORDS, label: k };
	}
}

/** The newest answer of a calculation; an older one that comes late is dropped. */
export class Asked<R> {
	answer = $state.raw<CalcAnswer<R> | undefined>();
	/** The last good result, shown on while a field is being mended. */
	result = $state.raw<R | undefined>();
	failed = $state('');
	/** A field cannot be read, so nothing was asked. */
	stale = $state(false);
	private n = 0;
	async ask(name: string, input: Record<string, unknown> | undefined): Promise<void> {
		const mine = ++this.n;
		this.stale = !input;
		if (!input) return;
		try {
			const a = await run<R>(name, input);
			if (mine !== this.n) return;
			this.answer = a;
			this.failed = '';
			if (a.result) this.result = a.result;
		} catch (e) {
			if (mine === this.n) this.failed = `The calculation core is not loaded: ${(e as Error).message}. Open this page once with a network; after that it works without.`;
		}
	}
	/** What stands in place of a result. */
	get blank(): string {
		return this.answer || this.stale || this.failed ? 'The result appears when the fields agree.' : 'Starting the calculation core of this device.';
	}
	get error(): CalcError | undefined {
		return this.answer?.error;
	}
}

export interface Spread { value: number; u: number; low95: number; high95: number; budget?: { key: string; share: number }[] }
/** The 95 % interval of a number of the result, where inputs carry uncertainty. */
export function interval(a: CalcAnswer<unknown> | undefined, field: string): Spread | undefined {
	const s = (a as { uncertainty?: Record<string, Spread> } | undefined)?.uncertainty?.[field];
	return s && s.u > 1e-9 * Math.abs(s.value) ? s : undefined;
}
export interface Caution { code: string; text: string }

/** Three significant digits with thousands parted, as plans are printed. */
export function sig(x: number | undefined, n = 3): string {
	if (x === undefined || !Number.isFinite(x)) return '–';
	if (x === 0) return '0';
	const d = Math.max(0, Math.min(6, n - 1 - Math.floor(Math.log10(Math.abs(x)))));
	const r = Number(x.toPrecision(n));
	return r.toLocaleString('en-US', { maximumFractionDigits: d }).replace('-', '\u2212');
}
export const cap = (s: string): string => s.charAt(0).toUpperCase() + s.slice(1);
export const span = (a: number, b: number, n = 3): string => (sig(a, n) === sig(b, n) ? sig(a, n) : a < 0 ? `${sig(a, n)} to ${sig(b, n)}` : `${sig(a, n)}–${sig(b, n)}`);
