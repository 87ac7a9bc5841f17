// A small invented brewery, written through the API as any client would.
import { uuidv7 } from '../src/offline/uuid.ts';
import type { Serve } from './serve.ts';

const BREWERY = '00000000-0000-7000-8000-000000000001';
export interface Seed { person: string; beer: string; can: string; bottle: string; lot: string; c6: string; b16: string; run?: string }
type Body = Record<string, unknown>;

function rng(seed: number): () => number {
	let a = seed;
	return () => {
		a = (a * 1664525 + 1013904223) % 4294967296;
		return a / 4294967296;
	};
}

export async function seed(s: Serve, opts: { run?: boolean; samples?: number } = {}): Promise<Seed> {
	const id = () => uuidv7();
	const ids: Seed = { person: id(), beer: id(), can: id(), bottle: id(), lot: id(), c6: id(), b16: id() };
	const limits = { single_green_ppb: 110, single_red_ppb: 200, mean_green_ppb: 110 };
	const meter = id(), scale = id(), bright = id(), batch = id();
	const w = (collection: string, rec: Body) => ({ collection, id: rec.id, base_rev: 0, record: { by: ids.person, ...rec } });
	const writes = [
		w('brewery', { id: BREWERY, name: 'Ostrelweir Brewhouse', altitude_m: 310, time_zone: 'Europe/Berlin' }),
		w('people', { id: ids.person, name: 'Quality tech', initials: 'QT', role: 'Quality tech' }),
		w('people', { id: id(), name: 'Packaging lead', initials: 'PL', role: 'Packaging lead' }),
		w('beers', { id: ids.beer, name: 'Vellumrook', style: 'pale ale', sg: 1.01, abv_pct: 5.1, co2_vol: 2.45 }),
		w('beers', { id: id(), name: 'Dapplewick', style: 'hazy, strong hops', sg: 1.015, co2_vol: 2.4, yeast_in_package: true }),
		w('formats', { id: ids.can, name: 'Can 355', kind: 'can', nominal_ml: 355, closure: 'end' }),
		w('formats', { id: ids.bottle, name: 'Bottle 330', kind: 'bottle', nominal_ml: 330, closure: 'crown' }),
		w('format_lots', { id: ids.lot, format_id: ids.can, name: 'Lot A', from: '2026-01-05', capacity_ml: 373.5, capacity_sd_ml: 0.7, capacity_n: 5, capacity_source: 'lot', tare_g: 13.4, tare_sd_g: 0.12, tare_n: 10 }),
		w('limits', { id: id(), beer_id: ids.beer, quantity: 'tpo', ...limits }),
		w('limits', { id: id(), beer_id: ids.beer, quantity: 'do_inlet', single_green_ppb: 30, single_red_ppb: 50 }),
		w('lines', { id: ids.c6, name: 'C6', heads: 6, stations: 2, packages_per_min: 30, sample_every_min: 30 }),
		w('lines', { id: ids.b16, name: 'B16', heads: 16, stations: 4, packages_per_min: 80, sample_every_min: 60 }),
		w('instruments', { id: meter, name: 'Bench DO meter', kind: 'do_meter', resolution: 1, u_abs: 1, u_rel: 0.02, check_every_days: 7, last_checked_at: new Date(Date.now() - 6.5 * 86400000).toISOString() }),
		w('instruments', { id: scale, name: 'Bench scale', kind: 'scale', resolution: 0.1, u_abs: 0.05 }),
		w('tanks', { id: bright, name: 'BBT 3', kind: 'bright_tank', volume_hl: 50 }),
		w('batches', { id: batch, code: 'V-118', beer_id: ids.beer, tank_id: bright, volume_hl: 48 })
	];
	const bad = (await s.write(writes)).filter((a) => a.status !== 'created');
	if (bad.length) throw new Error('seed: ' + JSON.stringify(bad));
	if (opts.run) ids.run = await oneRun(s, ids, meter, scale, batch, opts.samples ?? 18);
	return ids;
}

/** A run with a bad head 4 after the stop, as common on a small line. */
async function oneRun(s: Serve, ids: Seed, meter: string, scale: string, batch: string, n: number): Promise<string> {
	const run = uuidv7(), start = Date.now() - 100 * 60000, r = rng(7);
	const at = (min: number) => new Date(start + min * 60000).toISOString();
	const writes: object[] = [
		{ collection: 'runs', id: run, base_rev: 0, record: { id: run, by: ids.person, beer_id: ids.beer, format_id: ids.can, format_lot_id: ids.lot, line_id: ids.c6, batch_id: batch, code: 'L6329', started_at: at(0), status: 'going', do_meter_id: meter, scale_id: scale, sample_every_min: 30 } },
		...([['start', 0, ''], ['stop', 52, 'lid jam'], ['restart', 56, ''], ['gas_change', 84, 'CO2 bank 2']] as const).map(([kind, m, note]) => {
			const id = uuidv7();
			return { collection: 'events', id, base_rev: 0, record: { id, by: ids.person, run_id: run, kind, at: at(m), note } };
		})
	];
	for (let i = 0; i < n; i++) {
		const id = uuidv7(start + i * 60000), head = (i % 6) + 1, min = 4 + (i * 92) / n;
		const kind = i % 9 === 4 ? 'unshaken' : i % 9 === 8 ? 'inlet' : 'shaken';
		const shaken = 38 + 14 * r() + (head === 4 && min > 55 ? 46 : 0);
		const do_ppb = Math.round(kind === 'shaken' ? shaken : kind === 'unshaken' ? 42 + 8 * r() : 24 + 3 * r());
		writes.push({ collection: 'samples', id, base_rev: 0, record: {
			id, by: ids.person, run_id: run, set_no: 1 + Math.floor(i / 6), kind, ...(kind === 'inlet' ? {} : { head, station: (i % 2) + 1, closed_at: at(min - 3) }), taken_at: at(min),
			raw: { do: `${do_ppb} ppb` }, inputs: { temperature_c: 3.8, temperature_at: at(Math.floor(min / 45) * 45), do_ppb, ...(kind === 'shaken' ? { gross_g: Number((371.8 + 3.2 * (r() - 0.5)).toFixed(1)), shake_min: 5 } : {}) }, ...(kind === 'shaken' ? { tare_source: 'lot' } : {})
		} });
	}
	const bad = (await s.write(writes)).filter((a) => a.status !== 'created');
	if (bad.length) throw new Error('seed run: ' + JSON.stringify(bad.slice(0, 2)));
	return run;
}
