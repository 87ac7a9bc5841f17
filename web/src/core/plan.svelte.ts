// A planner's inputs as text: kept in the address, so that a plan can be sent and
// "back" works, and remembered on the device. Every change is computed at once by
// the calculation core in the browser.
import { sig } from './units.ts';
import { browser } from '$app/env';
import { goto } from '$app/navigation';
import { run, type CalcAnswer, type CalcError } from './client.ts';
import { start } from './measure.ts';
import { me } from './me.svelte.ts';
import { Form, type Spec, type Specs } from './planform.ts';

export type { Specs } from './planform.ts';
const WORDS = 'plain' as const;

export class Plan extends Form {
	override text = $state<Record<string, string>>({});
	private readonly key: string;
	private readonly starts: Record<string, string>;
	private timer: ReturnType<typeof setTimeout> | undefined;

	/** Words are choices and lists, which have no unit. */
	constructor(name: string, specs: Specs, words: Record<string, string> = {}) {
		super(specs);
		this.key = `ullage.plan.${name}`;
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

export { sig };
export const cap = (s: string): string => s.charAt(0).toUpperCase() + s.slice(1);
export const span = (a: number, b: number, n = 3): string => (sig(a, n) === sig(b, n) ? sig(a, n) : a < 0 ? `${sig(a, n)} to ${sig(b, n)}` : `${sig(a, n)}–${sig(b, n)}`);
