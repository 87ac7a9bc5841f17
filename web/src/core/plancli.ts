// A plan as the command of a terminal: what was typed, in its own unit, for the
// same numbers.
import { inUnit, read, UNITS, type Kind } from './measure.ts';

/** Units that the command line spells in another way. */
const SPELT: Record<string, string> = { part: '', 'ppm v/v': 'ppm', days: 'd' };
/** A pressure typed as absolute where gauge is asked for is printed as gauge, in the nearest unit. */
const GAUGE: Record<string, string> = { psia: 'psi', 'psi abs': 'psi', bara: 'bar', 'bar abs': 'bar', 'bar a': 'bar' };

/** A field's text as a flag's value: the number and unit typed, no spaces, nothing that a shell takes apart. */
export function flagValue(text: string, kind: Kind, station_kpa?: number): string | undefined {
	const r = read(text, kind, UNITS[kind][0].name, station_kpa);
	if (r.sg !== undefined) return `${r.sg}SG`;
	if (r.base === undefined) return undefined;
	if (r.absolute) {
		const unit = GAUGE[r.unit.toLowerCase()] ?? 'kPa';
		return `${inUnit(r.base, 'gauge', unit, 12)}${unit}`;
	}
	return `${r.number}${SPELT[r.unit] ?? r.unit.replace(/[\s°]/g, '')}`;
}
const quiet = /^[\p{L}\p{N}_.,:;=@%+\-/³µ]*$/u;
/** A word as a shell takes it for one. */
const word = (s: string): string => (quiet.test(s) ? s : `'${s.replaceAll("'", "'\\''")}'`);
/** A value that begins with a minus would be taken for an option. */
const option = ([k, v]: [string, string]): string => (v.startsWith('-') ? `${k}=${word(v)}` : `${k} ${word(v)}`);
export const command = (name: string, flags: [string, string | undefined][]): string => ['ullage plan', name, ...flags.filter((f): f is [string, string] => f[1] !== undefined && f[1] !== '').map(option)].join(' ');
