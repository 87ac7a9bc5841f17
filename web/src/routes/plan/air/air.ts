// The fields of air in a package, and the input of the calculation from them.
import type { Caution } from '#core/plan.svelte.ts';
import { command } from '#core/plancli.ts';
import type { Form, Specs, Sure } from '#core/planform.ts';

export interface Result { air_ml: number; tpo_ppb: number; tpo_low_ppb: number; tpo_high_ppb: number; oxygen_ug: number; per_ml_ppb: number; allowed_air_ml?: number; allowed_air_fraction?: number; needed_driven_fraction?: number; cautions?: Caution[] }
export const SPECS: Specs = {
	beer: { kind: 'volume', flag: '--beer', label: 'Beer in it', field: 'beer_ml', start: '355 mL' }, headspace: { kind: 'volume', flag: '--headspace', label: 'Headspace', field: 'headspace_ml', start: '18 mL' }, liquid: { kind: 'oxygen', flag: '--unshaken-do', label: 'Unshaken DO', field: 'unshaken_do_ppb', start: '43 ppb', hint: 'What came with the beer' },
	driven: { kind: 'share', flag: '--driven', label: 'Air that foam or gas drove out', field: 'driven_fraction', start: '99 %', hint: 'Fobbing, gas under the cover' }, share: { kind: 'share', flag: '--share', label: 'Air in the headspace', field: 'air_fraction', start: '1 %' }, air: { kind: 'volume', flag: '--air', label: 'Air in the package', field: 'air_ml', start: '0.1 mL' }, residue: { kind: 'volume', flag: '--residue', label: 'Gas left over caustic', field: 'residue_ml', start: '0.3 mL', hint: 'As read on the burette, here and now' },
	target: { kind: 'oxygen', flag: '--target', label: 'TPO wanted', field: 'target_ppb', start: '110 ppb' }, temperature: { kind: 'temperature', flag: '--temperature', label: 'Of that gas', field: 'temperature_c', start: '20 °C' }, altitude: { kind: 'altitude', flag: '--altitude', label: 'Altitude of the place', field: 'altitude_m', start: '' },
	uLiquid: { kind: 'oxygen', label: '± unshaken DO', start: '3 ppb' }, uDriven: { kind: 'share', label: '± driven out', start: '0.1 %' }, uShare: { kind: 'share', label: '± share', start: '0.1 %' }, uAir: { kind: 'volume', label: '± air', start: '0.01 mL' }, uHeadspace: { kind: 'volume', label: '± headspace', start: '' }, uResidue: { kind: 'volume', label: '± residue', start: '0.05 mL' }
};
export const WORDS = { how: 'driven', kind: 'can' };
export const HOW: [string, string][] = [['driven', 'By what was driven out'], ['share', 'By its share'], ['air', 'In millilitres'], ['residue', 'By caustic']];
export const keys = (f: Form): string[] => ['beer', 'headspace', 'liquid', HOW.some(([k]) => k === f.text.how) ? f.text.how : 'driven', 'target', 'temperature', 'altitude'];
const OF: Record<string, string> = { driven: 'uDriven', share: 'uShare', air: 'uAir', residue: 'uResidue' };
const sure = (f: Form): Sure[] => [['liquid', 'uLiquid'], ['headspace', 'uHeadspace'], [keys(f)[3], OF[keys(f)[3]]]];
export function input(f: Form): Record<string, unknown> | undefined {
	if (f.fault(keys(f))) return undefined;
	const u = f.uncertainty(sure(f));
	return { ...f.input(keys(f)), explain: true, ...(u ? { u } : {}) };
}
export const cli = (f: Form): string => command('air', [...f.flags(keys(f)), ...f.sure(sure(f))]);
