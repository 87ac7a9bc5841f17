// Starting a run: what the last run of the same kind tells, and the snapshot of
// what is in force. The server fills what is left empty by the same rules.
import type { Beer, Format, FormatLot, InForce, Limit, Run } from '#api/records.ts';

/** The lot in force: the newest of the format whose date is not after the day. */
export function lotInForce(lots: FormatLot[], format_id: string, day: string): FormatLot | undefined {
	return lots.filter((l) => l.format_id === format_id && (l.from ?? '') <= day).sort((a, b) => ((a.from ?? '') < (b.from ?? '') ? -1 : 1)).at(-1);
}

/** One limit per quantity; one for the format goes before one for all formats. */
export function limitsInForce(limits: Limit[], beer_id: string, format_id: string): NonNullable<InForce['limits']> {
	const out: NonNullable<InForce['limits']> = [];
	for (const quantity of ['tpo', 'do_inlet', 'do_tank'] as const) {
		const fit = limits.filter((l) => l.beer_id === beer_id && l.quantity === quantity && (!l.format_id || l.format_id === format_id));
		const l = fit.find((x) => x.format_id) ?? fit[0];
		if (l) out.push({ quantity, mean_green_ppb: l.mean_green_ppb, single_green_ppb: l.single_green_ppb, single_red_ppb: l.single_red_ppb });
	}
	return out;
}

export function snapshot(beer?: Beer, format?: Format, lot?: FormatLot, limits: InForce['limits'] = []): InForce {
	return {
		package: format?.kind, nominal_ml: format?.nominal_ml, sg: beer?.sg, abv_pct: beer?.abv_pct, co2_vol: beer?.co2_vol, yeast_in_package: beer?.yeast_in_package || undefined,
		tare_g: lot?.tare_g, tare_sd_g: lot?.tare_sd_g, capacity_ml: lot?.capacity_ml, capacity_sd_ml: lot?.capacity_sd_ml,
		capacity_source: lot?.capacity_ml !== undefined ? (lot.capacity_source ?? 'lot') : undefined, neck_gap_mm: lot?.neck_gap_mm, neck_headspace_ml: lot?.neck_headspace_ml, neck_ml_per_mm: lot?.neck_ml_per_mm, limits
	};
}

/** The newest run of the line (and beer, once chosen): beer, format, instruments and interval are copied from it. */
export function lastLike(runs: Run[], line_id?: string, beer_id?: string): Run | undefined {
	const s = [...runs].sort((a, b) => Date.parse(b.started_at) - Date.parse(a.started_at));
	return s.find((r) => r.line_id === line_id && r.beer_id === beer_id) ?? (beer_id ? s.find((r) => r.beer_id === beer_id) : undefined) ?? s.find((r) => r.line_id === line_id) ?? (line_id ? undefined : s[0]);
}
