// Quantities as people type them: a number with any unit of its kind, what was
// understood, and the same in another unit. Exact definitions of units only; a
// test holds every one of them against the calculation core.
import type { Units } from '#api/records.ts';
import type { CalcError } from './client.ts';
import { fmt, sig } from './units.ts';

interface Unit { name: string; also?: string[]; scale: number; offset?: number; digits?: number }
export type Kind = 'temperature' | 'volume' | 'mass' | 'gauge' | 'oxygen' | 'share' | 'length' | 'co2' | 'extract' | 'flow' | 'wortflow' | 'room' | 'days' | 'minutes' | 'altitude' | 'kelvin' | 'price' | 'gasinbeer' | 'ingress' | 'plain';

/** base = (number + offset) × scale; the first unit is the base of the core's field. */
export const UNITS: Record<Kind, Unit[]> = {
	temperature: [{ name: '°C', also: ['c', 'celsius', 'degc'], scale: 1 }, { name: '°F', also: ['f', 'fahrenheit', 'degf'], scale: 1 / 1.8, offset: -32 }, { name: 'K', also: ['kelvin'], scale: 1, offset: -273.15 }],
	volume: [{ name: 'mL', also: ['cm3', 'cm³', 'cc'], scale: 1 }, { name: 'L', also: ['litre', 'liter', 'litres', 'liters'], scale: 1000 }, { name: 'hL', scale: 1e5 }, { name: 'gal', also: ['gallon', 'gallons'], scale: 3785.411784 }, { name: 'bbl', also: ['barrel', 'barrels'], scale: 117347.765304 }, { name: 'fl oz', also: ['floz'], scale: 29.5735295625 }],
	mass: [{ name: 'g', scale: 1 }, { name: 'kg', scale: 1000 }, { name: 'oz', scale: 28.349523125 }, { name: 'lb', also: ['lbs'], scale: 453.59237 }],
	gauge: [{ name: 'kPa', scale: 1 }, { name: 'bar', also: ['barg'], scale: 100 }, { name: 'psi', also: ['psig'], scale: 6.894757293168 }, { name: 'mbar', scale: 0.1 }, { name: 'atm', scale: 101.325 }],
	oxygen: [{ name: 'ppb', also: ['µg/l', 'μg/l', 'ug/l'], scale: 1 }, { name: 'ppm', also: ['mg/l'], scale: 1000 }],
	share: [{ name: 'part', also: ['fraction'], scale: 1 }, { name: '%', scale: 0.01 }, { name: 'ppm v/v', also: ['ppm', 'ppmv'], scale: 1e-6 }],
	length: [{ name: 'mm', scale: 1 }, { name: 'cm', scale: 10 }, { name: 'm', scale: 1000 }, { name: 'in', also: ['inch', '"'], scale: 25.4 }, { name: 'ft', also: ["'"], scale: 304.8 }],
	co2: [{ name: 'vol', also: ['vols', 'volumes'], scale: 1 }, { name: 'g/L', scale: 1 / 1.9767 }],
	extract: [{ name: '°P', also: ['p', 'plato'], scale: 1 }, { name: 'SG', scale: NaN }],
	flow: [{ name: 'NL/min', also: ['nl/m', 'l/min', 'lpm'], scale: 1 }, { name: 'Nm³/h', also: ['nm3/h', 'm3/h', 'm³/h'], scale: 1000 / 60 }, { name: 'scfh', scale: (28.316846592 * 273.15) / 288.706 / 60 }],
	wortflow: [{ name: 'L/min', also: ['lpm'], scale: 1 }, { name: 'hL/h', scale: 100 / 60 }, { name: 'gal/min', also: ['gpm'], scale: 3.785411784 }, { name: 'bbl/h', scale: 117.347765304 / 60 }],
	room: [{ name: 'm³', also: ['m3'], scale: 1 }, { name: 'ft³', also: ['ft3', 'cuft', 'cu ft'], scale: 0.028316846592 }],
	days: [{ name: 'days', also: ['d', 'day'], scale: 1 }, { name: 'weeks', also: ['w', 'wk', 'week'], scale: 7 }, { name: 'months', also: ['month'], scale: 30 }, { name: 'h', also: ['hours', 'hour'], scale: 1 / 24 }],
	minutes: [{ name: 'min', also: ['minutes'], scale: 1 }, { name: 'h', also: ['hours', 'hour'], scale: 60 }],
	altitude: [{ name: 'm', scale: 1 }, { name: 'ft', scale: 0.3048 }],
	kelvin: [{ name: '°C', also: ['c', 'k', 'degc'], scale: 1 }, { name: '°F', also: ['f', 'degf'], scale: 1 / 1.8 }],
	price: [{ name: '/kg', also: ['a kg', 'per kg'], scale: 1 }, { name: '/lb', also: ['a lb', 'per lb'], scale: 1 / 0.45359237 }],
	gasinbeer: [{ name: 'g/L', scale: 1 }, { name: 'mg/L', scale: 0.001 }],
	ingress: [{ name: 'mL/d', also: ['ml/day', 'cm3/d', 'cc/d'], scale: 1 }, { name: 'µL/d', also: ['µl/day', 'μl/d', 'ul/d', 'ul/day'], scale: 0.001 }],
	plain: [{ name: '', scale: 1 }]
};

/** Absolute pressures in a gauge field: told by these endings, taken at the station's pressure. */
const ABSOLUTE: Record<string, number> = { psia: 6.894757293168, bara: 100, 'bar abs': 100, 'bar a': 100, 'kpa abs': 1, kpaa: 1, 'psi abs': 6.894757293168, mmhg: 101.325 / 760, torr: 101.325 / 760, hpa: 0.1 };

export interface Read {
	/** In the base unit of the core's field; for a gravity in SG undefined, and sg set. */
	base?: number; sg?: number; number?: number; unit: string; error?: string;
	/** The unit was typed or is the field's own. */
	typed: boolean; absolute?: boolean;
}

const bare = (s: string): string => s.toLowerCase().replace(/[\s._]/g, '');
export const unitOf = (kind: Kind, name: string): Unit | undefined => UNITS[kind].find((u) => bare(u.name) === bare(name) || u.also?.some((a) => bare(a) === bare(name)));
const significant = (x: number, n: number): number => Number(x.toPrecision(n));

/** Reads typed text; a bare number is in the field's unit. */
export function read(text: string, kind: Kind, own: string, station_kpa = 101.325): Read {
	const t = text.trim().replace(/\u2212/g, '-');
	if (!t) return { unit: own, typed: false };
	const m = /^([+-]?(?:\d[\d.,]*|[.,]\d+)(?:e[+-]?\d+)?)\s*(.*)$/i.exec(t);
	if (!m) return { unit: own, typed: false, error: `"${t}" is not a number. Type digits and one point, such as 48.5.` };
	const digits = m[1], word = m[2].trim();
	if (/^\d{1,3},\d{3}$/.test(digits)) return { unit: own, typed: false, error: `"${digits}" can be read two ways. Type ${digits.replace(',', '')} or ${digits.replace(',', '.')}.` };
	const x = Number(digits.replace(',', '.'));
	if (!Number.isFinite(x)) return { unit: own, typed: false, error: `"${digits}" is not a number. Type digits and one point, such as 48.5.` };
	if (kind === 'gauge' && word && ABSOLUTE[word.toLowerCase()] !== undefined) {
		const base = x * ABSOLUTE[word.toLowerCase()] - station_kpa;
		return { base: significant(base, 12), number: x, unit: word, typed: true, absolute: true };
	}
	// 1.048 in a field of extract is a gravity: no beer or wort has 1.048 °P to three decimals.
	if (kind === 'extract' && ((!word && /^[01][.,]\d{3,}$/.test(digits) && x > 0.98 && x < 1.2) || bare(word) === 'sg')) return { sg: x, number: x, unit: 'SG', typed: true };
	const u = unitOf(kind, word || own);
	if (!u) return { unit: own, typed: true, error: `"${word}" is no unit for this field. Use ${UNITS[kind].map((k) => k.name).join(', ')}.` };
	return { base: significant((x + (u.offset ?? 0)) * u.scale, 13), number: x, unit: u.name, typed: !!word };
}

/** A base value as a number of the unit, with so many significant digits. */
export function inUnit(base: number, kind: Kind, name: string, digits = 4): string {
	const u = unitOf(kind, name) ?? UNITS[kind][0];
	const x = base / u.scale - (u.offset ?? 0);
	if (kind === 'temperature') return String(Number(x.toFixed(1)));
	return String(significant(x, digits));
}

/** The unit that a person with these settings usually types. */
export function usual(kind: Kind, name: string, u: Units): string {
	const us = u.volume === 'floz';
	if (kind === 'temperature' && name === '°C') return u.temperature === 'f' ? '°F' : '°C';
	if (kind === 'volume' && us) return { mL: 'fl oz', L: 'gal', hL: 'bbl' }[name] ?? name;
	if (kind === 'gauge' && us && name === 'bar') return 'psi';
	if (kind === 'mass' && us) return { g: 'oz', kg: 'lb' }[name] ?? name;
	if (kind === 'length' && us) return { mm: 'in', cm: 'in', m: 'ft' }[name] ?? name;
	if (kind === 'room' && us) return 'ft³';
	if (kind === 'flow' && us) return 'scfh';
	if (kind === 'altitude' && us) return 'ft';
	if (kind === 'kelvin') return u.temperature === 'f' ? '°F' : '°C';
	if (kind === 'price' && us) return '/lb';
	return name;
}

/** A starting text such as "50 hL" in the person's units. */
export function start(text: string, kind: Kind, u: Units): string {
	const r = read(text, kind, UNITS[kind][0].name);
	const to = usual(kind, r.unit, u);
	if (r.base === undefined || to === r.unit) return text;
	return `${inUnit(r.base, kind, to, 3)} ${to}`;
}

const OTHER: Partial<Record<Kind, Record<string, string>>> = {
	temperature: { '°C': '°F', '°F': '°C', K: '°C' }, volume: { gal: 'L', bbl: 'hL', 'fl oz': 'mL', mL: 'fl oz', L: 'gal', hL: 'bbl' }, mass: { lb: 'kg', oz: 'g', kg: 'lb', g: 'oz' },
	gauge: { psi: 'bar', kPa: 'bar', bar: 'psi', mbar: 'bar', atm: 'bar' }, oxygen: { ppm: 'ppb' }, share: { '%': 'ppm v/v', part: '%' }, length: { in: 'mm', ft: 'm', mm: 'in', cm: 'in', m: 'ft' },
	co2: { 'g/L': 'vol' }, flow: { 'Nm³/h': 'NL/min', scfh: 'NL/min', 'NL/min': 'scfh' }, wortflow: { 'hL/h': 'L/min', 'gal/min': 'L/min', 'bbl/h': 'L/min', 'L/min': 'gal/min' }, room: { 'm³': 'ft³', 'ft³': 'm³' }, days: { weeks: 'days', months: 'days', h: 'days' }, altitude: { m: 'ft', ft: 'm' }, minutes: { h: 'min' }, kelvin: { '°C': '°F', '°F': '°C' }, price: { '/kg': '/lb', '/lb': '/kg' }, gasinbeer: { 'mg/L': 'g/L' }, ingress: { 'µL/d': 'mL/d' }
};
const US = new Set(['/lb', '°F', 'gal', 'bbl', 'fl oz', 'oz', 'lb', 'psi', 'in', 'ft', 'ft³', 'scfh', 'gal/min', 'bbl/h']);
const BOTH = new Set<Kind>(['temperature', 'volume', 'mass', 'gauge', 'length', 'flow', 'wortflow', 'room', 'altitude', 'kelvin', 'price']);

/** As it is read, not typed again: thousands parted. */
const parted = (x: string): string => sig(Number(x), 12);
/** What the field understood, in the other usual unit: "= 18.9 L". A unit of the person's own system needs no echo. */
export function understood(r: Read, kind: Kind, u?: Units, station_kpa = 101.325): string {
	if (r.base === undefined) return '';
	if (r.absolute) return `= ${inUnit(r.base, kind, 'bar', 3)} bar gauge at ${fmt(station_kpa * 10, 0)} hPa`;
	const to = kind === 'share' && r.base >= 0.005 ? undefined : OTHER[kind]?.[r.unit];
	const own = u && BOTH.has(kind) && US.has(r.unit) === (kind === 'temperature' || kind === 'kelvin' ? u.temperature === 'f' : u.volume === 'floz') && r.unit !== 'K';
	const same = to && !own ? `= ${parted(inUnit(r.base, kind, to, 3))} ${to}` : '';
	if (kind === 'gauge') return `${same}${same ? ', ' : '= '}${inUnit(r.base + station_kpa, kind, 'bar', 3)} bar absolute`;
	return same;
}

const upper = (s: string): string => s.charAt(0).toUpperCase() + s.slice(1);
/** A refusal in words: of a list, which entry and which of its fields; the unit of a field's name stands behind the number. */
export function refused(e: CalcError): string {
	const [, entry, inner, rest] = /^in entry (\d+), (\w+) (.*)$/.exec(e.message) ?? [];
	const name = (inner ?? e.field ?? '').replace(/_(ppb|ppmv?|kpa|c|ml|g|mm|m|hl|percent)$/, '').replaceAll('_', ' ').replace(/^u( |$)/, 'uncertainty$1');
	const where = entry ? `${upper(e.field ?? '').replaceAll('_', ' ')}, no. ${entry}: ${name}` : upper(name);
	return [where, e.value === undefined ? '' : String(e.value), rest ?? e.message].filter(Boolean).join(' ') + (e.mend ? `; ${e.mend}.` : '.');
}
