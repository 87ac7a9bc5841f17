// The fields of gas and sparging, and the inputs of both calculations from them.
import type { Caution } from '#core/plan.svelte.ts';
import { command } from '#core/plancli.ts';
import type { Form, Specs, Sure } from '#core/planform.ts';

export interface Gas { oxygen_ppmv: number; dissolved_g_l: number; dissolved_ppb: number; per_volume_ppb: number; per_gram_ug: number; contact_ppb: number; pressure_kpa: number; headspace_ppb?: number; guideline_ppmv: number; at_guideline_ppb: number; word: string; allowed_ppmv?: number; cautions: Caution[] }
export interface Strip { do_after_ppb: number; do_low_ppb: number; do_high_ppb: number; floor_ppb: number; gas_per_beer: number; gas_per_beer_theory: number; gas_kg?: number; curve: { gas_per_beer: number; do_ppb: number; do_low_ppb: number; do_high_ppb: number }[]; cautions: Caution[] }
export const SPECS: Specs = {
	oxygen: { kind: 'share', flag: '--oxygen', label: 'Oxygen in the gas', field: 'oxygen_fraction', start: '10 ppm v/v', hint: 'From the certificate, or read at the manifold' }, co2: { kind: 'co2', flag: '--co2', label: 'CO2 dissolved and kept', field: 'co2_vol', start: '2.5 vol', hint: 'All that is injected and stays' }, dissolved: { kind: 'gasinbeer', flag: '--dissolved', label: 'Nitrogen dissolved', field: 'dissolved_g_l', start: '0.02 g/L' },
	may: { kind: 'oxygen', flag: '--target', label: 'May bring at most', field: 'target_ppb', start: '20 ppb', hint: 'Gives the oxygen the gas may hold' },
	temperature: { kind: 'temperature', flag: '--temperature', label: 'Beer', field: 'temperature_c', start: '2 °C' }, altitude: { kind: 'altitude', flag: '--altitude', label: 'Altitude of the place', field: 'altitude_m', start: '' }, stripPressure: { kind: 'gauge', flag: '--pressure-gauge', label: 'Pressure in the vessel', field: 'pressure_gauge_kpa', start: '0 bar' },
	gauge: { kind: 'gauge', flag: '--gauge', label: 'Pressure of the gas on the beer', field: 'pressure_gauge_kpa', start: '1 bar' },
	beer: { kind: 'volume', flag: '--beer', label: 'Beer below it', field: 'beer_ml', start: '40 hL' }, headspace: { kind: 'volume', flag: '--headspace', label: 'Gas space above', field: 'headspace_ml', start: '4 hL' },
	do: { kind: 'oxygen', flag: '--do', label: 'DO before', field: 'do_ppb', start: '120 ppb' }, stripBeer: { kind: 'volume', flag: '--beer', label: 'Beer', field: 'beer_ml', start: '40 hL' }, stripOxygen: { kind: 'share', flag: '--gas-oxygen', label: 'Oxygen in the gas', field: 'gas_oxygen_fraction', start: '10 ppm v/v' },
	target: { kind: 'oxygen', flag: '--target', label: 'DO wanted', field: 'target_ppb', start: '40 ppb' }, perBeer: { kind: 'plain', flag: '--gas-per-beer', label: 'Volumes of gas a volume of beer', field: 'gas_per_beer', start: '0.35', hint: 'At the temperature and pressure of the beer; only gas that leaves' },
	efficiency: { kind: 'share', flag: '--efficiency', label: 'How near to equilibrium bubbles leave', field: 'efficiency_fraction', start: '15 %', hint: '10–25 % in practice' },
	uOxygen: { kind: 'share', label: '± oxygen in the gas', start: '2 ppm v/v' }, uDo: { kind: 'oxygen', label: '± DO before', start: '4 ppb' }, uCo2: { kind: 'co2', label: '± CO2 dissolved', start: '' }, uEfficiency: { kind: 'share', label: '± efficiency', start: '4 %' }
};
export const WORDS = { use: 'bring', gas: 'co2', aim: 'target' };
const brings = (f: Form): boolean => f.text.use !== 'strip';
export const calculation = (f: Form): 'gas' | 'strip' => (brings(f) ? 'gas' : 'strip');
export function keys(f: Form): string[] {
	const t = f.text;
	return brings(f) ? ['oxygen', t.gas === 'n2' ? 'dissolved' : 'co2', 'may', 'temperature', 'gauge', 'altitude', 'beer', 'headspace'] : ['do', 'temperature', 'stripBeer', 'stripOxygen', 'efficiency', 'stripPressure', 'altitude', t.aim === 'target' ? 'target' : 'perBeer'];
}
const sure = (f: Form): Sure[] => (brings(f) ? [['oxygen', 'uOxygen'], ...(f.text.gas === 'n2' ? [] : [['co2', 'uCo2'] as Sure])] : [['do', 'uDo'], ['efficiency', 'uEfficiency'], ['stripOxygen', 'uOxygen']]);
export function input(f: Form): Record<string, unknown> | undefined {
	if (f.fault(keys(f))) return undefined;
	const u = f.uncertainty(sure(f));
	return { ...f.input(keys(f)), gas: f.text.gas, explain: true, ...(u ? { u } : {}) };
}
export const cli = (f: Form): string => command(calculation(f), [...f.flags(keys(f)), ['--gas', f.text.gas === 'co2' ? undefined : f.text.gas], ...f.sure(sure(f))]);
