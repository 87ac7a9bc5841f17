// What differs between two versions of a record, field by field, in words.
import type { Rec } from '#api/records.ts';

const HIDE = new Set(['rev', 'by', 'device_id', 'device_at', 'server_at', 'clock_skew_s', 'results_before', 'id', 'reason', 'computed_at', 'computed_by', 'number']);
export interface Difference { field: string; name: string; before: string; after: string }

const show = (v: unknown): string => (v === undefined || v === null || v === '' ? 'empty' : Array.isArray(v) ? v.map(show).join(', ') || 'none' : typeof v === 'object' ? JSON.stringify(v) : typeof v === 'number' ? String(Number(v.toPrecision(6))) : String(v));
const words = (f: string): string => f.replace(/^inputs\./, '').replace(/^result\./, 'result ').replaceAll('_', ' ').replace(/ c$/, ', °C').replace(/ g$/, ', g').replace(/ ppb$/, ', ppb').replace(/ ml$/, ', mL').replace(/ mm$/, ', mm').replace(/^do,/, 'DO reading,').replace(/tpo/g, 'TPO');

function flat(v: unknown, at: string, out: Map<string, unknown>): Map<string, unknown> {
	if (v && typeof v === 'object' && !Array.isArray(v)) for (const [k, x] of Object.entries(v)) {
		if (HIDE.has(k)) continue;
		flat(x, at ? `${at}.${k}` : k, out);
	}
	else out.set(at, v);
	return out;
}

export function differences(a: Rec, b: Rec): Difference[] {
	const x = flat(a, '', new Map()), y = flat(b, '', new Map());
	return [...new Set([...x.keys(), ...y.keys()])].filter((k) => k && !k.startsWith('result.warnings') && show(x.get(k)) !== show(y.get(k)))
		.map((k) => ({ field: k, name: words(k), before: show(x.get(k)), after: show(y.get(k)) }));
}
