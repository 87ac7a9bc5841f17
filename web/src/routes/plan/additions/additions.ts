// What goes into a tank, as the page keeps it and as the calculation takes it.
import { read, UNITS, type Kind } from '#core/measure.ts';
import { flagValue } from '#core/plancli.ts';

export interface Part { kind: string; name: string; volume: string; do: string; mass: string; cycles: string; gauge: string; bore: string; length: string; holds: string }
export interface Brings { name: string; kind: string; oxygen_mg: number; low_ppb: number; high_ppb: number; upper_ppb: number; note?: string }
export interface Result { do_low_ppb: number; do_high_ppb: number; do_upper_ppb: number; do_before_ppb: number; volume_l: number; air_saturated_ppb: number; allowed_liquid_do_ppb?: number; parts: Brings[]; cautions: { code: string; text: string }[] }

const blank: Part = { kind: 'liquid', name: '', volume: '', do: '', mass: '', cycles: '', gauge: '', bore: '', length: '', holds: '' };
/** What a brewer adds, with sensible starts; each is one of the five kinds of the calculation. */
export const ADD: [string, string, Partial<Part>][] = [
	['finings', 'Finings or slurry', { volume: '20 L' }], ['daw', 'Deaerated water, push water', { name: 'deaerated water', volume: '50 L', do: '20 ppb' }], ['hops', 'Dry hops', { kind: 'hops', name: 'dry hops', mass: '20 kg', cycles: '5', gauge: '1 bar' }],
	['fruit', 'Fruit or flavour', { name: 'fruit', volume: '40 L' }], ['yeast', 'Yeast slurry', { name: 'yeast', volume: '20 L', do: '1000 ppb' }], ['priming', 'Priming sugar in water', { name: 'priming', volume: '15 L' }],
	['blend', 'Another beer (blend)', { name: 'blended beer', volume: '10 hL', do: '30 ppb' }], ['hose', 'Hose or pipe', { kind: 'hose', name: 'hose', bore: '50 mm', length: '10 m', holds: 'liquid' }], ['heel', 'Heel left in the tank', { kind: 'heel', name: 'heel', volume: '20 L', holds: 'liquid' }], ['air', 'Air pocket', { kind: 'air', name: 'air pocket', volume: '2 L' }]
];
export const made = (key: string): Part => ({ ...blank, name: key, ...ADD.find(([k]) => k === key)?.[2] });
export const FIRST: Part[] = [made('finings'), made('hops'), { ...made('hose'), do: '20 ppb' }];

export function parts(text: string): Part[] {
	try {
		const list = JSON.parse(text) as Partial<Part>[];
		return Array.isArray(list) ? list.filter((p) => p && typeof p === 'object').slice(0, 20).map((p) => Object.fromEntries(Object.keys(blank).map((k) => [k, String(p[k as keyof Part] ?? '')])) as unknown as Part) : FIRST;
	} catch {
		return FIRST;
	}
}
/** Fields of a kind: [key, kind of quantity, name in the calculation, in its base unit]. */
export const FIELDS: Record<string, [keyof Part, Kind, string, string][]> = {
	liquid: [['volume', 'volume', 'volume_ml', 'Volume'], ['do', 'oxygen', 'do_ppb', 'Its DO']], hops: [['mass', 'mass', 'mass_g', 'Pellets'], ['cycles', 'plain', 'cycles', 'Cycles of the closed hopper'], ['gauge', 'gauge', 'gauge_kpa', 'Each filled to']],
	hose: [['bore', 'length', 'bore_mm', 'Inner diameter'], ['length', 'length', 'length_mm', 'Length'], ['do', 'oxygen', 'do_ppb', 'DO of what it holds']], heel: [['volume', 'volume', 'volume_ml', 'Volume'], ['do', 'oxygen', 'do_ppb', 'Its DO']], air: [['volume', 'volume', 'volume_ml', 'Volume']]
};
const bases = (p: Part) => (FIELDS[p.kind] ?? []).map(([k, kind, name]): [string, number | undefined] => [name, read(p[k], kind, UNITS[kind][0].name).base]);
export function input(list: Part[]): Record<string, unknown>[] {
	return list.map((p) => ({ kind: p.kind, name: p.name.trim() || p.kind, ...(p.holds === 'air' ? { holds: 'air' } : {}), ...Object.fromEntries(bases(p).filter(([n, v]) => v !== undefined && !(p.holds === 'air' && n === 'do_ppb'))) }));
}
export const unread = (list: Part[]): boolean => list.some((p) => (FIELDS[p.kind] ?? []).some(([k, kind]) => read(p[k], kind, UNITS[kind][0].name).error));
export function flags(list: Part[]): [string, string][] {
	return list.map((p) => ['--add', `${p.kind}:${[...(FIELDS[p.kind] ?? []).map(([k, kind]) => { const v = flagValue(p[k], kind); return v === undefined || (p.holds === 'air' && k === 'do') ? '' : `${k}=${v}`; }), p.name.trim() && `name=${p.name.trim().replace(/[\s,=:]+/g, '-')}`, p.holds === 'air' && 'holds=air'].filter(Boolean).join(',')}`]);
}
