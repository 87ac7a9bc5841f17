// From what was typed at the line to the input of the calculation "tpo", and the
// shape of its answer. The physics is in the core, not here.
import { sig } from './units.ts';
import { limitOf, type Format, type InForce, type Instrument, type PackageKind, type SampleInputs, type SampleKind } from '#api/records.ts';

export interface Step { equation: string; symbol: string; formula: string; numbers: string; value: number; unit: string; source: string }
export interface Contribution { key: string; u?: number; share?: number; [k: string]: unknown }
export interface Improvement { what: string; tpo_u_ppb: number; gain_ppb: number }
export interface TpoResult {
	beer_ml?: number; headspace_ml?: number; partition_ratio?: number; total_to_dissolved?: number;
	tpo_ppb?: number; tpo_u_ppb?: number; tpo_low95_ppb?: number; tpo_high95_ppb?: number;
	oxygen_ug?: number; liquid_ug?: number; headspace_ug?: number; headspace_share?: number; headspace_air_ml?: number; beer_corrected_tpo_ppb?: number;
	path?: string; path_reason?: string; paths?: { path: string; headspace_ml: number; tpo_ppb: number; tpo_u_ppb: number; used: boolean }[];
	budget?: Contribution[]; next_measurement?: Improvement; improvements?: Improvement[]; corrections?: { name: string; change_ppb: number }[];
	limit?: { limit_ppb: number; probability_above: number; shaken_do_at_limit_ppb: number };
	split?: { inlet_ppb?: number; liquid_pickup_ppb?: number; headspace_ppb: number };
	tpo_dof?: number; coverage_factor?: number; trials?: number; nominal_fill_bias_ppb?: number; method?: string;
}

/** Input of "tpo" for a shaken package of a run; undefined fields are left out. */
export function tpoInput(i: SampleInputs, f: InForce, own: boolean, kind?: PackageKind, closed_at?: string, taken_at?: string): Record<string, unknown> {
	const limit = limitOf(f, 'tpo');
	const late = closed_at && taken_at ? (Date.parse(taken_at) - Date.parse(closed_at)) / 60000 : undefined;
	const all: Record<string, unknown> = {
		temperature_c: i.temperature_c, gross_g: i.gross_g, tare_g: own ? i.tare_g : f.tare_g, tare_source: own ? 'own' : 'lot',
		tare_sd_g: own ? undefined : f.tare_sd_g, capacity_ml: f.capacity_ml, capacity_sd_ml: f.capacity_sd_ml,
		capacity_source: f.capacity_source || 'lot', sg: f.sg, shaken_do_ppb: i.do_ppb, nominal_ml: f.nominal_ml, co2_vol: f.co2_vol,
		abv_pct: f.abv_pct, gap_mm: i.gap_mm, path: 'auto', limit_ppb: limit?.single_red_ppb ?? limit?.single_green_ppb,
		minutes_since_closing: late !== undefined && late >= 0 ? Number(late.toFixed(2)) : undefined, uncertainty: 'gum', package: f.package ?? kind, yeast_in_package: f.yeast_in_package || undefined
	};
	// A fill height without a weight needs no tare.
	if (i.gap_mm !== undefined && i.gross_g === undefined) Object.assign(all, { tare_g: undefined, tare_sd_g: undefined });
	if (i.gap_mm !== undefined)
		Object.assign(all, { neck_gap_mm: f.neck_gap_mm, neck_headspace_ml: f.neck_headspace_ml, neck_ml_per_mm: f.neck_ml_per_mm });
	Object.assign(all, instrumentErrors(i, f, own));
	return Object.fromEntries(Object.entries(all).filter(([, v]) => v !== undefined && v !== null));
}

/** Of the temperature of a package beside its thermometer: it is not quite even, K (common practice; docs/instruments.md). */
const PACKAGE_UNEVEN = 0.1;
/** The uncertainties that the records of the run's instruments give, with their names for the budget; the server takes the same (internal/lab/in_force.go). */
function instrumentErrors(i: SampleInputs, f: InForce, own: boolean): { u?: Record<string, number>; u_names?: Record<string, string> } {
	const u: Record<string, number> = {}, u_names: Record<string, string> = {};
	const add = (effect: string, of: { name: string }, value: number) => { u[effect] = value; u_names[effect] = of.name; };
	const { do_meter: meter, scale, thermometer } = f.instruments ?? {};
	const at = (e: { u_abs?: number; u_rel?: number }, reading: number) => Math.hypot(e.u_abs ?? 0, (e.u_rel ?? 0) * reading);
	if (meter && i.do_ppb !== undefined) add('meter', meter, at(meter, i.do_ppb));
	if (scale?.u_abs !== undefined) {
		add('scale_gross', scale, scale.u_abs);
		if (own) add('scale_tare', scale, scale.u_abs);
	}
	if (scale?.u_rel !== undefined) add('scale_adjustment', scale, scale.u_rel);
	if (thermometer && i.temperature_c !== undefined) add('temperature', thermometer, Math.hypot(at(thermometer, i.temperature_c), PACKAGE_UNEVEN));
	return Object.keys(u).length ? { u, u_names } : {};
}

/** What still has to be typed before a result can appear. */
export function missing(kind: SampleKind, i: SampleInputs, f: InForce, own: boolean): string[] {
	const out: string[] = [];
	if (kind === 'direct') return i.direct_ppb === undefined ? ['direct TPO'] : [];
	if (i.do_ppb === undefined) out.push(kind === 'shaken' ? 'shaken DO' : kind === 'unshaken' ? 'unshaken DO' : 'inlet DO');
	if (kind !== 'shaken') return out;
	if (i.temperature_c === undefined) out.push('temperature');
	if (i.gross_g === undefined && i.gap_mm === undefined) out.push('gross weight');
	if (own && i.tare_g === undefined) out.push('own tare');
	if (f.sg === undefined) out.push('SG of the beer (set-up)');
	if (f.capacity_ml === undefined) out.push('capacity of the package (set-up)');
	if (!own && f.tare_g === undefined && i.gap_mm === undefined) out.push('lot tare (set-up) or own tare');
	return out;
}

export interface Odd { field: string; text: string; mends: { label: string; apply: Partial<SampleInputs> | 'ok' }[] }

const median = (x: number[]): number | undefined => {
	const s = [...x].sort((a, b) => a - b);
	return s.length ? s[Math.floor(s.length / 2)] : undefined;
};
const n = (x: number): string => sig(x, 4);

/** Unit slips and mix-ups that one tap can mend. Bands: common practice. It asks; it never blocks. */
export function odd(i: SampleInputs, kind: SampleKind, f: InForce, format: Format | undefined, neighbours: number[], meter?: Instrument): Odd[] {
	const out: Odd[] = [];
	const c = i.do_ppb;
	if (c !== undefined) {
		const m = neighbours.length >= 3 ? median(neighbours) : undefined;
		if (c > 1000 || (m && c / m > 300))
			out.push({ field: 'do_ppb', text: `${n(c / 1000)} ppm after fermentation? Readings here are usually ppb.`, mends: [{ label: `${n(c / 1000)} ppb`, apply: { do_ppb: c / 1000 } }, { label: `Yes, ${n(c)} ppb`, apply: 'ok' }] });
		else if (c < 1 && c > 0)
			out.push({ field: 'do_ppb', text: `${n(c)} ppb is below what ${meter ? meter.name : 'most meters'} can tell. Was it ppm?`, mends: [{ label: `${n(c * 1000)} ppb`, apply: { do_ppb: c * 1000 } }, { label: `Yes, ${n(c)} ppb`, apply: 'ok' }] });
	}
	const v = i.direct_ppb;
	if (v !== undefined && v > 2000)
		out.push({ field: 'direct_ppb', text: `A TPO of ${n(v / 1000)} ppm? Here it is usually below 2 ppm.`, mends: [{ label: `${n(v / 1000)} ppb`, apply: { direct_ppb: v / 1000 } }, { label: `Yes, ${n(v)} ppb`, apply: 'ok' }] });
	else if (v !== undefined && v < 5 && v > 0)
		out.push({ field: 'direct_ppb', text: `A TPO of ${n(v)} ppb is unusually low. Was it ppm?`, mends: [{ label: `${n(v * 1000)} ppb`, apply: { direct_ppb: v * 1000 } }, { label: `Yes, ${n(v)} ppb`, apply: 'ok' }] });
	const t = i.temperature_c;
	if (t !== undefined && (t > 35 || t < -2)) {
		const asF = (t - 32) / 1.8;
		const mends: Odd['mends'] = [];
		if (asF > -2 && asF < 35) mends.push({ label: `${n(t)} °F`, apply: { temperature_c: Number(asF.toFixed(2)) } });
		mends.push({ label: `Yes, ${n(t)} °C`, apply: 'ok' });
		out.push({ field: 'temperature_c', text: `${n(t)} °C in the package? Beer is read between −2 and 35 °C.`, mends });
	}
	const tare = i.tare_g ?? f.tare_g;
	if (kind === 'shaken' && i.gross_g !== undefined && tare !== undefined && f.nominal_ml && f.sg) {
		const net = i.gross_g - tare, want = f.nominal_ml * f.sg * 0.9982;
		if (Math.abs(net / want - 1) > 0.08)
			out.push({ field: 'gross_g', text: `${n(net)} g of beer does not fit ${format?.name ?? 'this package'} (about ${n(want)} g). Another package, or a slip?`, mends: [{ label: 'Weigh again', apply: { gross_g: undefined } }, { label: `Yes, ${n(i.gross_g)} g`, apply: 'ok' }] });
	}
	return out;
}
