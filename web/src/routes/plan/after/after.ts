// The fields of a package in store, and the input of the calculation from them.
import { command } from '#core/plancli.ts';
import type { Form, Specs, Sure } from '#core/planform.ts';

export interface Closure { key: string; name: string; ingress_low_ppb_day: number; ingress_high_ppb_day: number; keeping_low_days: number; keeping_high_days: number; source: string }
export interface Store { temperature_c: number; ageing_speed: number; keeping_low_days: number; keeping_high_days: number }
export interface Point { days: number; present_ppb: number; present_low_ppb: number; present_high_ppb: number; supplied_ppb: number; supplied_low_ppb: number; supplied_high_ppb: number }
export interface Result { ingress_ppb_day: number; present_ppb: number; present_low_ppb: number; present_high_ppb: number; supplied_ppb: number; supplied_low_ppb: number; supplied_high_ppb: number; consumed_ppb: number; days: number; ingress_equals_tpo_days?: number; keeping_low_days: number; keeping_days: number; keeping_high_days: number; ageing_speed: number; allowed_tpo_ppb?: number; course: Point[]; closures: Closure[]; stores: Store[]; assumptions: string[] }
export const SPECS: Specs = {
	tpo: { kind: 'oxygen', flag: '--tpo', label: 'TPO at closing', field: 'tpo_ppb', start: '60 ppb' }, beer: { kind: 'volume', flag: '--beer', label: 'Beer in it', field: 'beer_ml', start: '330 mL' }, temperature: { kind: 'temperature', flag: '--temperature', label: 'Store', field: 'temperature_c', start: '12 °C' }, days: { kind: 'days', flag: '--days', label: 'Look ahead', field: 'days', start: '180 days' },
	keep: { kind: 'days', flag: '--keep', label: 'It should keep', field: 'keep_days', start: '', hint: 'Gives the TPO that allows it' },
	ingress: { kind: 'ingress', flag: '--ingress', label: 'Oxygen that comes in at 20 °C', field: 'ingress_ml_day', start: '0.001 mL/d' }, half: { kind: 'days', flag: '--half-life', label: 'Half-life of oxygen in this beer here', field: 'half_life_days', start: '5 days', hint: 'From a study of delays' },
	q10: { kind: 'plain', flag: '--q10', label: 'Ageing with 10 K more, ×', field: 'q10', start: '3', hint: 'Published: 2 to 4.5' }, style: { kind: 'plain', flag: '--style', label: 'Keeping over a pale beer, ×', field: 'style_factor', start: '1', hint: '0.5 hop-forward, 1.5–2 dark or strong' }, uTpo: { kind: 'oxygen', label: '± TPO', start: '4 ppb' }, uTemperature: { kind: 'kelvin', label: '± store', start: '1 °C' }, uIngress: { kind: 'share', label: '± oxygen that comes in', start: '' }, uHalf: { kind: 'share', label: '± half-life', start: '' }
};
export const WORDS = { closure: 'crown_low', uptake: 'bright' };
export const CLOSURES: [string, string][] = [['can', 'Can, sound seam'], ['crown_scavenger', 'Crown, liner takes up oxygen'], ['crown_low', 'Crown, low-permeation liner'], ['crown_pvc', 'Crown, PVC liner'], ['pet_barrier', 'PET with barrier'], ['pet', 'PET, one layer'], ['own', 'Measured ingress'], ['none', 'None known']];
export const UPTAKES: [string, string][] = [['bright', 'Bright, filtered'], ['unfiltered', 'Unfiltered or hop-forward'], ['yeast', 'Live yeast in it'], ['own', 'A study of ours'], ['none', 'Not known']];
export const keys = (f: Form): string[] => ['tpo', 'beer', 'temperature', 'days', 'keep', ...(f.text.closure === 'own' ? ['ingress'] : []), ...(f.text.uptake === 'own' ? ['half'] : []), 'q10', 'style'];
const sure = (f: Form): Sure[] => [['tpo', 'uTpo'], ['temperature', 'uTemperature'], ...(f.text.closure === 'own' ? [['ingress', 'uIngress'] as Sure] : []), ...(f.text.uptake === 'own' ? [['half', 'uHalf'] as Sure] : [])];
const word = (w: string): string | undefined => (w === 'own' || w === 'none' ? undefined : w);
export function input(f: Form): Record<string, unknown> | undefined {
	if (f.fault(keys(f))) return undefined;
	const t = f.text, u = f.uncertainty(sure(f));
	return { ...f.input(keys(f)), ...(word(t.closure) ? { closure: t.closure } : {}), ...(word(t.uptake) ? { uptake: t.uptake } : {}), explain: true, ...(u ? { u } : {}) };
}
export const cli = (f: Form): string => command('after', [...f.flags(keys(f)), ['--closure', word(f.text.closure)], ['--uptake', word(f.text.uptake)], ...f.sure(sure(f))]);
