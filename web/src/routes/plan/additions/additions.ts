// What goes into a tank, as the page keeps it and as the calculation takes it.
import type { Kind } from '#core/measure.ts';
import { command } from '#core/plancli.ts';
import { entry, listOf, pairs, unread as bad, type Entry, type Form, type Specs, type Sure } from '#core/planform.ts';

/** One thing that goes in; u… are standard uncertainties. */
export interface Part extends Record<string, string> { kind: string; name: string; volume: string; do: string; mass: string; cycles: string; gauge: string; bore: string; length: string; holds: string; uvolume: string; udo: string; umass: string; ucycles: string; ugauge: string; ubore: string; ulength: string }
export interface Brings { name: string; kind: string; oxygen_mg: number; low_ppb: number; high_ppb: number; upper_ppb: number; band: string; note?: string }
export interface Result { do_low_ppb: number; do_high_ppb: number; do_upper_ppb: number; do_before_ppb: number; volume_l: number; air_saturated_ppb: number; allowed_liquid_do_ppb?: number; parts: Brings[]; cautions: { code: string; text: string }[] }

const blank: Part = { kind: 'liquid', name: '', volume: '', do: '', mass: '', cycles: '', gauge: '', bore: '', length: '', holds: '', uvolume: '', udo: '', umass: '', ucycles: '', ugauge: '', ubore: '', ulength: '' };
/** What a brewer adds, with sensible starts; each is one of the five kinds of the calculation. */
export const ADD: [string, string, Partial<Part>][] = [
	['finings', 'Finings or slurry', { volume: '20 L' }], ['daw', 'Deaerated water, push water', { name: 'deaerated water', volume: '50 L', do: '20 ppb' }], ['hops', 'Dry hops', { kind: 'hops', name: 'dry hops', mass: '20 kg', cycles: '5', gauge: '1 bar' }],
	['fruit', 'Fruit or flavour', { name: 'fruit', volume: '40 L' }], ['yeast', 'Yeast slurry', { name: 'yeast', volume: '20 L', do: '1000 ppb' }], ['priming', 'Priming sugar in water', { name: 'priming', volume: '15 L' }],
	['blend', 'Another beer (blend)', { name: 'blended beer', volume: '10 hL', do: '30 ppb' }], ['hose', 'Hose or pipe', { kind: 'hose', name: 'hose', bore: '50 mm', length: '10 m', holds: 'liquid' }], ['heel', 'Heel left in the tank', { kind: 'heel', name: 'heel', volume: '20 L', holds: 'liquid' }], ['air', 'Air pocket', { kind: 'air', name: 'air pocket', volume: '2 L' }]
];
export const made = (key: string): Part => ({ ...blank, name: key, ...ADD.find(([k]) => k === key)?.[2] }) as Part;
export const FIRST: Part[] = [made('finings'), made('hops'), { ...made('hose'), do: '20 ppb' } as Part];

export const parts = (text: string): Part[] => listOf(text, blank, FIRST, 20);
/** Fields of a kind, with their label. */
type OfKind = readonly [key: string, kind: Kind, name: string, flag: string, label: string];
const OF_KIND: Record<string, OfKind[]> = {
	liquid: [['volume', 'volume', 'volume_ml', 'volume', 'Volume'], ['do', 'oxygen', 'do_ppb', 'do', 'Its DO']],
	hops: [['mass', 'mass', 'mass_g', 'mass', 'Pellets'], ['cycles', 'plain', 'cycles', 'cycles', 'Cycles of the closed hopper'], ['gauge', 'gauge', 'gauge_kpa', 'gauge', 'Each filled to']],
	hose: [['bore', 'length', 'bore_mm', 'bore', 'Inner diameter'], ['length', 'length', 'length_mm', 'length', 'Length'], ['do', 'oxygen', 'do_ppb', 'do', 'DO of what it holds']],
	heel: [['volume', 'volume', 'volume_ml', 'volume', 'Volume'], ['do', 'oxygen', 'do_ppb', 'do', 'Its DO']], air: [['volume', 'volume', 'volume_ml', 'volume', 'Volume']]
};
export const fields = (p: Part) => (OF_KIND[p.kind] ?? []).filter(([k]) => !(p.holds === 'air' && k === 'do')).map(([k, kind, name, flag, label]) => ({ k, kind, label, entry: [k, kind, name, flag] as const }));
const of = (p: Part): Entry[] => fields(p).map((f) => f.entry);

export const SPECS: Specs = {
	beer: { kind: 'volume', flag: '--beer', label: 'Beer in the tank', field: 'beer_ml', start: '40 hL' }, do: { kind: 'oxygen', flag: '--do', label: 'Its DO before', field: 'do_ppb', start: '12 ppb' }, limit: { kind: 'oxygen', flag: '--limit', label: 'DO allowed after', field: 'limit_ppb', start: '100 ppb', hint: 'Gives the DO that the liquids may have' },
	temperature: { kind: 'temperature', flag: '--temperature', label: 'What goes in, at', field: 'temperature_c', start: '10 °C', hint: 'A liquid without a DO is taken as air-saturated' }, altitude: { kind: 'altitude', flag: '--altitude', label: 'Altitude of the place', field: 'altitude_m', start: '' }, uDo: { kind: 'oxygen', label: '± DO before', start: '2 ppb' }, uBeer: { kind: 'share', label: '± beer in the tank', start: '2 %' }
};
export const WORDS = { parts: '' };
const KEYS = ['beer', 'do', 'limit', 'temperature', 'altitude'];
const SURE: Sure[] = [['do', 'uDo'], ['beer', 'uBeer']];
export function input(f: Form): Record<string, unknown> | undefined {
	const list = parts(f.text.parts);
	if (f.fault(KEYS) || !list.length || list.some((p) => bad(p, of(p)))) return undefined;
	const u = f.uncertainty(SURE);
	return { ...f.input(KEYS), additions: list.map((p) => ({ kind: p.kind, name: p.name.trim() || p.kind, ...(p.holds === 'air' ? { holds: 'air' } : {}), ...entry(p, of(p)) })), explain: true, ...(u ? { u } : {}) };
}
export function cli(f: Form): string {
	const adds = parts(f.text.parts).map((p): [string, string] => ['--add', `${p.kind}:${[...pairs(p, of(p)), ...(p.name.trim() ? [`name=${p.name.trim().replace(/[\s,]+/g, ' ')}`] : []), ...(p.holds === 'air' ? ['holds=air'] : [])].join(',')}`]);
	return command('addition', [...f.flags(KEYS), ...adds, ...f.sure(SURE)]);
}
export const SHOWN = KEYS.map((k) => SPECS[k].field ?? '');
