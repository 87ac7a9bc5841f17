// A small cellar for the pages: one brew from wort to a run, with a centrifuge
// that lets air in; a split, an addition, and a tank being filled.
import { uuidv7 } from '../src/offline/uuid.ts';
import { seed, type Seed } from './seed.ts';
import type { Serve } from './serve.ts';

export interface CellarSeed extends Seed { fv: string; bbt: string; going: string; move: string; meter: string; wort: string }

export async function cellarSeed(s: Serve): Promise<CellarSeed> {
	const base = await seed(s, { run: true, samples: 18 });
	const id = () => uuidv7(), H = 3600000, now = Date.now();
	const at = (h: number) => new Date(now + h * H).toISOString();
	const run = await s.get<{ batch_id: string; do_meter_id: string }>(`/runs/${base.run}`);
	const bbt = run.batch_id, meter = run.do_meter_id, fv = id(), going = id(), wort = id(), move = id(), pull = id(), brew = id(), hop = id();
	const tank = { fv1: id(), fv2: id(), fv3: id(), b4: id(), ks: id() };
	const by = base.person;
	const w = (collection: string, rec: Record<string, unknown>) => ({ collection, id: rec.id, base_rev: 0, record: { by, ...rec } });
	const r = (batch_id: string, point: string, h: number, do_ppb: number, more: object = {}) => w('readings', { id: id(), batch_id, point, at: at(h), do_ppb, raw: `${do_ppb} ppb`, meter_id: meter, temperature_c: 2.1, ...more });
	const old = await s.get<Record<string, unknown> & { rev: number }>(`/batches/${bbt}`);
	const writes = [
		w('tanks', { id: tank.ks, name: 'Whirlpool', kind: 'kettle_side', volume_hl: 30 }), w('tanks', { id: tank.fv1, name: 'FV 1', kind: 'fermenter', volume_hl: 60 }), w('tanks', { id: tank.fv2, name: 'FV 2', kind: 'fermenter', volume_hl: 60 }),
		w('tanks', { id: tank.fv3, name: 'FV 3', kind: 'fermenter', volume_hl: 30 }), w('tanks', { id: tank.b4, name: 'BBT 4', kind: 'bright_tank', volume_hl: 50, headspace_bar: 0.8 }),
		w('batches', { id: fv, code: 'V-117', beer_id: base.beer, tank_id: tank.fv1, volume_hl: 50, made_at: at(-16 * 24), status: 'empty' }),
		{ collection: 'batches', id: bbt, base_rev: old.rev, record: { ...old, made_at: at(-30), status: 'bright' } },
		w('batches', { id: going, code: 'V-121', beer_id: base.beer, tank_id: tank.fv2, volume_hl: 52, made_at: at(-12 * 24), status: 'maturing' }),
		w('batches', { id: wort, code: 'V-122', beer_id: base.beer, tank_id: tank.fv3, volume_hl: 25, made_at: at(-13), status: 'fermenting' }),
		w('brews', { id: brew, code: '214', batch_id: fv, at: at(-16 * 24), volume_hl: 50, sg: 1.048, temperature_c: 14, minutes: 55, gas: 'oxygen', target_mg_l: 9, carry_over_mg_l: 0.4, do_mg_l: 8.8, gas_flow_nl_min: 0.9, yeast: 'house ale', yeast_source: 'repitch', generation: 3, pitch_million_ml: 11, hours_to_drop: 14 }),
		w('brews', { id: id(), code: '219', batch_id: wort, at: at(-13), volume_hl: 25, sg: 1.05, temperature_c: 14, minutes: 40, gas: 'oxygen', target_mg_l: 9, carry_over_mg_l: 0.5, gas_flow_nl_min: 0.6, yeast: 'house ale', yeast_source: 'repitch', generation: 4 }),
		w('moves', { id: hop, kind: 'addition', to_batch_id: fv, started_at: at(-96), ended_at: at(-96), addition: { what: 'dry_hop', amount_kg: 20 }, purge: 'doser, 5 cycles of CO2' }),
		w('moves', { id: pull, kind: 'transfer', from_batch_id: fv, to_batch_id: bbt, started_at: at(-30), ended_at: at(-29.6), volume_hl: 48, flow_hl_h: 120, via: ['centrifuge', 'hose'], hose_m: 10, hose_mm: 50, purge: 'line with deaerated water' }),
		r(fv, 'wort_oxygenated', -16 * 24 + 0.5, 8800, { brew_id: brew, temperature_c: 14, raw: '8.8 mg/L' }), r(fv, 'fermentation_end', -8 * 24, 4), r(fv, 'dry_hop_before', -97, 5, { move_id: hop }), r(fv, 'dry_hop_1h', -95, 46, { move_id: hop }), r(fv, 'dry_hop_24h', -72, 11, { move_id: hop }),
		r(fv, 'tank_before', -30.1, 9, { move_id: pull }), r(fv, 'centrifuge_in', -29.9, 10, { move_id: pull, flow_hl_h: 120, volume_moved_hl: 12 }), r(fv, 'centrifuge_out', -29.85, 32, { move_id: pull, flow_hl_h: 120, volume_moved_hl: 13 }),
		r(bbt, 'tank_after', -29.4, 34, { move_id: pull }), r(bbt, 'tank_rested', -20, 33), r(bbt, 'line_start', -1.5, 33), r(bbt, 'filler_inlet', -1.4, 36),
		r(going, 'fermentation_end', -4 * 24, 6), r(going, 'tank_before', -1, 8, { temperature_c: 1.2 }),
		w('moves', { id: move, kind: 'transfer', from_batch_id: going, to_batch_id: undefined, started_at: at(-0.4), volume_hl: 50, flow_hl_h: 100, via: ['centrifuge'], hose_m: 10, hose_mm: 50 })
	];
	const into = id();
	writes.splice(-1, 0, w('batches', { id: into, code: 'V-121-B4', beer_id: base.beer, tank_id: tank.b4, made_at: at(-0.4), status: 'bright' }));
	(writes.at(-1) as { record: Record<string, unknown> }).record.to_batch_id = into;
	const bad = (await s.write(writes)).filter((a) => a.status !== 'created' && a.status !== 'updated');
	if (bad.length) throw new Error('cellar seed: ' + JSON.stringify(bad.slice(0, 3)));
	return { ...base, fv, bbt, going, move, meter, wort };
}
