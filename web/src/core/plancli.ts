// A plan as the command of a terminal: the same inputs, the same numbers.
import { inUnit, read, UNITS, type Kind } from './measure.ts';

/** Units that the command line does not read, or reads as plain numbers of a base. */
const HERE_ONLY = new Set(['m', 'ft', 'part', 'weeks', 'months', 'hL/h', 'gal/min', 'bbl/h', 'Nm³/h', 'scfh', 'ft³']);
const PLAIN = new Set<Kind>(['plain', 'flow', 'wortflow', 'room', 'days', 'altitude']);

/** A field's text as a flag's value: no spaces, units that a shell leaves alone. */
export function flagValue(text: string, kind: Kind, station_kpa?: number): string | undefined {
	const r = read(text, kind, UNITS[kind][0].name, station_kpa);
	if (r.sg !== undefined) return `${r.sg}SG`;
	if (r.base === undefined) return undefined;
	const base = inUnit(r.base, kind, UNITS[kind][0].name, 12);
	if (PLAIN.has(kind)) return base;
	if (r.absolute) return `${base}kPa`;
	if (HERE_ONLY.has(r.unit)) return kind === 'share' ? base : `${base}${UNITS[kind][0].name}`;
	return `${r.number}${r.unit.replace(/[\s°]/g, '').replace('ppmv/v', 'ppm')}`;
}
export const command = (name: string, flags: [string, string | undefined][]): string => ['ullage plan', name, ...flags.filter((f): f is [string, string] => f[1] !== undefined && f[1] !== '').map(([k, v]) => `${k} ${v}`)].join(' ');
