// The plan without a meter: its fields, and the inputs of "home" and "priming".
import { command } from '#core/plancli.ts';
import type { Form, Specs } from '#core/planform.ts';

export interface Level { key: string; title: string; low_ppb: number; high_ppb: number; pickup_low_ppb: number; pickup_high_ppb: number; cycles?: number; steps: string[] }
export interface Home { package: string; all_air_ppb: number; per_ml_ppb: number; cycle_factor: number; levels: Level[]; says: string; advice: string[]; cautions: { code: string; text: string }[] }
export interface Priming { residual_vol: number; final_vol: number; sugars: { name: string; g_l: number; total_g: number }[]; gauge_20c_bar: number; gauge_warm_bar: number; warm_c: number; usual_limit_vol: number; cautions: { code: string; text: string }[] }
export const SPECS: Specs = {
	kegBeer: { kind: 'volume', flag: '--beer', label: 'Beer in the keg', field: 'beer_ml', start: '19 L' }, kegHead: { kind: 'volume', flag: '--headspace', label: 'Gas above it', field: 'headspace_ml', start: '600 mL' }, gauge: { kind: 'gauge', flag: '--gauge', label: 'Purge cycles up to', field: 'gauge_kpa', start: '2 bar' }, cycles: { kind: 'plain', flag: '--cycles', label: 'Cycles of the headspace', field: 'cycles', start: '', hint: "Empty: the plan's own" },
	bottleBeer: { kind: 'volume', flag: '--beer', label: 'Beer in a bottle', field: 'beer_ml', start: '500 mL' }, bottleHead: { kind: 'volume', flag: '--headspace', label: 'Gas above it', field: 'headspace_ml', start: '15 mL', hint: '15–20 mm from the rim' }, canBeer: { kind: 'volume', flag: '--beer', label: 'Beer in a can', field: 'beer_ml', start: '440 mL' }, canHead: { kind: 'volume', flag: '--headspace', label: 'Gas above it', field: 'headspace_ml', start: '19 mL' },
	altitude: { kind: 'altitude', flag: '--altitude', label: 'Altitude of the place', field: 'altitude_m', start: '' },
	batch: { kind: 'volume', flag: '--beer', label: 'Beer to prime', field: 'beer_ml', start: '20 L' }, co2: { kind: 'co2', flag: '--co2', label: 'Carbonation wanted', field: 'co2_vol', start: '2.4 vol' }, highest: { kind: 'temperature', flag: '--highest', label: 'Highest temperature since fermentation ended', field: 'highest_c', start: '20 °C' }, rest: { kind: 'extract', flag: '--unfermented', label: 'Extract that may still ferment', field: 'unfermented_plato', start: '0 °P', hint: 'Wait until two gravities days apart agree' }, warm: { kind: 'temperature', flag: '--warm', label: 'Warmest it will be', field: 'warm_c', start: '30 °C' }
};
export const WORDS = { package: 'keg', glass: 'bottle', name: '' };
export type Kind = 'keg' | 'bottle' | 'can';
export const kindOf = (f: Form): Kind => (['keg', 'bottle', 'can'].includes(f.text.package) ? f.text.package : 'keg') as Kind;
export const keys = (f: Form): string[] => [`${kindOf(f)}Beer`, `${kindOf(f)}Head`, ...(kindOf(f) === 'keg' ? ['gauge', 'cycles'] : []), 'altitude'];
const PRIME = ['batch', 'co2', 'highest', 'rest', 'warm', 'altitude'];
const vessel = (f: Form): string => (kindOf(f) === 'bottle' ? f.text.glass : kindOf(f));
export const input = (f: Form): Record<string, unknown> | undefined => (f.fault(keys(f)) ? undefined : { ...f.input(keys(f)), package: kindOf(f), explain: true });
export const priming = (f: Form): Record<string, unknown> | undefined => (f.fault(PRIME) ? undefined : { ...f.input(PRIME), package: vessel(f), explain: true });
export const cli = (f: Form): string => command('home', [['--package', kindOf(f)], ...f.flags(keys(f))]);
export const primingCli = (f: Form): string => command('priming', [...f.flags(PRIME), ['--package', vessel(f)]]);
