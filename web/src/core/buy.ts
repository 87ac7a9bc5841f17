// What to buy next, from the records on this device: a usual package of each
// format with its instruments as they stand now, its budget, and the options.
import type { Format, Instrument, MeterCheck, Run, Sample } from '#api/records.ts';
import { run } from './client.ts';
import { byMethod } from './direct.ts';
import { checksOf, uNow } from './instruments.ts';
import { tpoInput, type TpoResult } from './tpo.ts';

export interface Option { what: string; kind: string; gain_mean_ppb: number; gain_largest_ppb: number; largest_for: string; half_width_mean_ppb: number; packages: { id: string; gain_ppb: number }[] }
export interface BuyResult { packages: { id: string; tpo_ppb: number; tpo_u_ppb: number; half_width_ppb: number; path: string }[]; options: Option[]; half_width_mean_ppb: number; sentence: string }
export interface Usual { id: string; run: Run; input: Record<string, unknown> }

/** Where a part of the budget comes from, for a person who buys or works. */
export const GROUPS = ['DO meter', 'Scale', 'Thermometer', 'Tare and capacity', 'Shaking', 'Beer and method'] as const;
export type Group = (typeof GROUPS)[number];
const OF: Record<string, Group> = { meter: 'DO meter', scale_gross: 'Scale', scale_tare: 'Scale', scale_adjustment: 'Scale', temperature: 'Thermometer', tare: 'Tare and capacity', capacity: 'Tare and capacity', neck: 'Tare and capacity', fill: 'Tare and capacity', shaking: 'Shaking' };
export const groupOf = (key: string): Group => OF[key] ?? 'Beer and method';

/** The package with the median TPO of the newest run of each format; instruments count as they stand now. */
export function usual(formats: Format[], runs: Run[], samples: (id: string) => Sample[], instruments: Instrument[], checks: MeterCheck[], now: number): Usual[] {
	const newest = [...runs].sort((a, b) => Date.parse(b.started_at) - Date.parse(a.started_at));
	const today = (id?: string) => {
		const i = instruments.find((x) => x.id === id);
		return i && { id: i.id, name: i.name, u_abs: uNow(i, checksOf(i.id, checks), now).u, u_rel: i.u_rel };
	};
	const out: Usual[] = [];
	for (const f of formats)
		for (const r of newest.filter((x) => x.format_id === f.id).slice(0, 5)) {
			const s = samples(r.id).filter((x) => x.kind === 'shaken' && (byMethod(x, 'calculated')?.tpo_ppb ?? 0) >= 1).sort((a, b) => byMethod(a, 'calculated')!.tpo_ppb! - byMethod(b, 'calculated')!.tpo_ppb!);
			if (!s.length) continue;
			const mid = s[Math.floor(s.length / 2)];
			const { limit_ppb: _, ...input } = tpoInput(mid.inputs, { ...r.in_force, instruments: { do_meter: today(r.do_meter_id), scale: today(r.scale_id), thermometer: today(r.thermometer_id) } }, mid.tare_source === 'own', f.kind);
			out.push({ id: f.name, run: r, input });
			break;
		}
	return out;
}
export interface Budget { id: string; tpo_ppb: number; half_ppb: number; parts: { group: Group; u_ppb: number; share: number }[] }
/** The budget of a usual package, by group; shares are of the variance and sum to one where effects are independent. */
export async function budgetOf(x: Usual): Promise<Budget | undefined> {
	const a = await run<TpoResult>('tpo', x.input);
	if (!a.result?.tpo_u_ppb || a.result.tpo_ppb === undefined) return undefined;
	const share = new Map<Group, number>();
	for (const b of a.result.budget ?? []) share.set(groupOf(b.key), (share.get(groupOf(b.key)) ?? 0) + Math.max(0, b.share ?? 0));
	const sum = [...share.values()].reduce((s, v) => s + v, 0) || 1;
	return { id: x.id, tpo_ppb: a.result.tpo_ppb, half_ppb: ((a.result.tpo_high95_ppb ?? 0) - (a.result.tpo_low95_ppb ?? 0)) / 2, parts: GROUPS.map((group) => ({ group, share: (share.get(group) ?? 0) / sum, u_ppb: a.result!.tpo_u_ppb! * Math.sqrt((share.get(group) ?? 0) / sum) })) };
}
export async function buyNext(list: Usual[]): Promise<BuyResult> {
	const a = await run<BuyResult>('buy-next', { rows: list.map((x) => ({ id: x.id, ...x.input })) });
	if (!a.result) throw new Error(a.error?.message ?? 'no answer');
	return a.result;
}
