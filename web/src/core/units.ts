// Numbers as people type and read them. Exact unit definitions only (°F, US fl
// oz, ppm); everything with physics in it is asked of the calculation core.
import type { Units } from '#api/records.ts';

export const DEFAULT_UNITS: Units = { temperature: 'c', volume: 'ml', gravity: 'sg', oxygen: 'ppb' };
const ML_PER_FLOZ = 29.5735295625; // US customary, exact by definition of the inch

export const cToF = (c: number): number => c * 1.8 + 32;
export const fToC = (f: number): number => (f - 32) / 1.8;

export interface Parsed { value?: number; error?: string; unit: string }
type Kind = 'temperature' | 'mass' | 'oxygen' | 'length' | 'minutes' | 'volume' | 'plain';

const UNIT: Record<Kind, Record<string, (x: number) => number>> = {
	temperature: { '°c': (x) => x, c: (x) => x, '°f': fToC, f: fToC },
	mass: { g: (x) => x, kg: (x) => x * 1000 },
	oxygen: { ppb: (x) => x, 'µg/l': (x) => x, 'ug/l': (x) => x, ppm: (x) => x * 1000, 'mg/l': (x) => x * 1000 },
	length: { mm: (x) => x, cm: (x) => x * 10 },
	minutes: { min: (x) => x, h: (x) => x * 60 },
	volume: { ml: (x) => x, l: (x) => x * 1000, 'fl oz': (x) => x * ML_PER_FLOZ, floz: (x) => x * ML_PER_FLOZ },
	plain: { '': (x) => x }
};

export function unitOf(kind: Kind, u: Units): string {
	switch (kind) {
		case 'temperature': return u.temperature === 'f' ? '°F' : '°C';
		case 'mass': return 'g';
		case 'oxygen': return u.oxygen;
		case 'length': return 'mm';
		case 'minutes': return 'min';
		case 'volume': return u.volume === 'floz' ? 'fl oz' : 'mL';
		default: return '';
	}
}

/**
 * Reads typed text in the person's unit, or in a unit typed behind the number.
 * A comma is a decimal comma unless three digits follow it: "1,204" could be
 * either and is asked back.
 */
export function parse(text: string, kind: Kind, u: Units): Parsed {
	const t = text.trim().toLowerCase().replace(/\u2212/g, '-');
	const m = /^([+-]?[\d.,]*\d[.,]?)\s*([^\d]*)$/.exec(t);
	const unit = m?.[2].trim() || unitOf(kind, u).toLowerCase();
	const shown = m?.[2].trim() || unitOf(kind, u);
	if (!t) return { unit: shown };
	if (!m) return { unit: shown, error: `"${text}" is not a number. Type digits and one point, such as 48.5.` };
	const digits = m[1];
	if (/^\d{1,3},\d{3}$/.test(digits)) return { unit: shown, error: `"${digits}" can be read two ways. Type ${digits.replace(',', '')} or ${digits.replace(',', '.')}.` };
	const x = Number(digits.replace(',', '.'));
	if (!Number.isFinite(x)) return { unit: shown, error: `"${text}" is not a number. Type digits and one point, such as 48.5.` };
	const f = UNIT[kind][unit];
	if (!f) return { unit: shown, error: `"${m[2].trim()}" is no unit for this field. Use ${unitOf(kind, u)}.` };
	return { value: Number(f(x).toPrecision(12)), unit: shown };
}

// Making a formatter costs a hundred times its use; a long run formats thousands.
const NUMBER = new Map<number, Intl.NumberFormat>();
const HM = new Intl.DateTimeFormat('en-GB', { hour: '2-digit', minute: '2-digit' });
const SHORT = new Intl.DateTimeFormat('en-GB', { day: 'numeric', month: 'short' });
const DAY = new Intl.DateTimeFormat('en-GB', { day: 'numeric', month: 'short', year: 'numeric' });

export function fmt(x: number, digits: number): string {
	let f = NUMBER.get(digits);
	if (!f) NUMBER.set(digits, (f = new Intl.NumberFormat('en-US', { minimumFractionDigits: digits, maximumFractionDigits: digits })));
	return f.format(x).replace('-', '\u2212');
}
/** So many significant digits, thousands parted, a minus that is one: for figures whose size is not known before. */
export function sig(x: number | undefined, n = 3): string {
	if (x === undefined || !Number.isFinite(x)) return '–';
	if (x === 0) return '0';
	const r = Number(x.toPrecision(n));
	const d = Math.max(0, Math.min(9, n - 1 - Math.floor(Math.log10(Math.abs(x)))));
	let k = 0;
	while (k < d && Number(r.toFixed(k)) !== r) k++;
	return fmt(r, k);
}
/** Decimals that two significant digits of the uncertainty justify (JCGM 100, 7.2.6). */
export function decimalsFor(u: number | undefined, fallback = 0): number {
	if (u === undefined || !(u > 0)) return fallback;
	return Math.max(0, Math.min(6, 1 - Math.floor(Math.log10(Number(u.toPrecision(2))))));
}

export function oxygen(ppb: number | undefined, u: Units, sd?: number): string {
	if (ppb === undefined || !Number.isFinite(ppb)) return '–';
	if (u.oxygen === 'ppm') return fmt(ppb / 1000, Math.min(4, decimalsFor(sd === undefined ? undefined : sd / 1000, 3)));
	return fmt(ppb, Math.min(1, decimalsFor(sd, Math.abs(ppb) < 10 ? 1 : 0)));
}
export function temperature(c: number | undefined, u: Units): string {
	if (c === undefined) return '–';
	return u.temperature === 'f' ? `${fmt(cToF(c), 1)} °F` : `${fmt(c, 1)} °C`;
}
export function volume(ml: number | undefined, u: Units, digits = 1): string {
	if (ml === undefined) return '–';
	return u.volume === 'floz' ? `${fmt(ml / ML_PER_FLOZ, digits + 1)} fl oz` : `${fmt(ml, digits)} mL`;
}

/** Mass of oxygen: grams, below one gram mg. */
export function mass(g: number | undefined): string {
	if (g === undefined || !Number.isFinite(g)) return '–';
	const a = Math.abs(g);
	return a >= 0.9995 ? `${fmt(g, a < 10 ? 1 : 0)} g` : `${fmt(1000 * g, a < 0.01 ? 1 : 0)} mg`;
}

export function ago(iso: string | undefined, now: number): string {
	if (!iso) return '';
	const min = Math.round((now - Date.parse(iso)) / 60000);
	const future = min < 0;
	const span = duration(Math.abs(min));
	if (span === 'now') return 'just now';
	return future ? `in ${span}` : `${span} ago`;
}
export function duration(min: number): string {
	if (min < 1) return 'now';
	if (min < 60) return `${Math.round(min)} min`;
	if (min < 24 * 60) return `${Math.floor(min / 60)} h${Math.round(min % 60) ? ` ${Math.round(min % 60)} min` : ''}`;
	if (min < 48 * 60) return `${Math.round(min / 60)} h`;
	return `${Math.round(min / 1440)} days`;
}
export function clockTime(iso: string | undefined): string {
	if (!iso) return '–';
	return HM.format(new Date(iso));
}
/** Clock time today, the date on another day. */
export function clockOrDay(ms: number, now: number): string {
	const d = new Date(ms);
	return d.toDateString() === new Date(now).toDateString() ? HM.format(d) : SHORT.format(d);
}
export function day(iso: string | undefined): string {
	if (!iso) return '–';
	return DAY.format(new Date(iso));
}
/** For inputs of type datetime-local, in the device's own time zone. */
export function localInput(iso: string | undefined): string {
	if (!iso) return '';
	const d = new Date(iso);
	return new Date(d.getTime() - d.getTimezoneOffset() * 60000).toISOString().slice(0, 16);
}
