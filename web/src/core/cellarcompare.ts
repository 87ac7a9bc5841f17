// Batches beside each other, gathered from the records of this device for the
// calculations "transfers" and "what-changed". The server gathers the same
// (internal/lab/cellar_transfers.go, cellar_changes.go).
import type { Batch, Move, Person, Run, RunEvent } from '#api/records.ts';
import { isWort } from './cellar.ts';
import { batchRows, meterU, moveRow, some, type Lab } from './cellarmap.ts';
import { dayStart } from './zone.ts';

export interface Wide extends Lab { people: Person[]; zone: string; archived: Batch[] }
type Rows = Record<string, unknown>;
const named = (people: Person[]): ((id?: string) => string | undefined) => {
	const m = new Map(people.map((p) => [p.id, p.name]));
	return (id) => (id && m.get(id)) || id;
};

/** Input of "transfers": all batches, their moves and what was read after the wort. */
export function transfersInput(lab: Wide, step: string, from: string, to: string): Rows {
	const row = batchRows(lab), who = named(lab.people), beer = new Map(lab.beers.map((b) => [b.id, b.name])), meter = new Map(lab.instruments.map((i) => [i.id, i]));
	const one = (b: Batch, archived?: true) => some({ ...row(b), beer: b.beer_id, beer_name: beer.get(b.beer_id ?? ''), made_at: b.made_at, archived });
	return some({
		step, from: from && dayStart(from, 0, lab.zone), until: to && dayStart(to, 1, lab.zone),
		batches: [...lab.batches.map((b) => one(b)), ...lab.archived.map((b) => one(b, true))],
		moves: lab.moves.map((m) => some({ ...moveRow(m), by: who(m.by), purge: m.purge })),
		readings: lab.readings.filter((r) => !r.brew_id && !isWort(r.point) && r.do_ppb !== undefined).map((r) => some({
			id: r.id, batch: r.batch_id, move: r.move_id, point: r.point, at: r.at, do_ppb: r.do_ppb, u_ppb: meterU(meter.get(r.meter_id ?? ''), r.do_ppb ?? 0), meter: r.meter_id,
			flow_hl_h: r.flow_hl_h, volume_hl: r.volume_moved_hl, confirmed: r.confirmed, first_runnings: r.flags?.includes('first_runnings') || undefined
		})),
		limits: lab.limits.map((l) => some({ beer: l.beer_id, point: l.what === 'point' ? l.point : undefined, step: l.what === 'step' ? l.step : undefined, green_ppb: l.green_ppb, red_ppb: l.red_ppb }))
	});
}

/** Input of "what-changed" for a batch and the earlier ones of its beer. Of a run whose events are not here, nothing is said of its gas. */
export function changesInput(lab: Wide, focus: string, eventsHere: (run_id: string) => boolean): Rows {
	const x = lab.batches.find((b) => b.id === focus), who = named(lab.people);
	const tank = new Map(lab.tanks.map((t) => [t.id, t])), meter = new Map(lab.instruments.map((i) => [i.id, i.name])), all = new Map([...lab.batches, ...lab.archived].map((b) => [b.id, b]));
	const batches = lab.batches.filter((b) => b.id === focus || b.beer_id === x?.beer_id), ids = new Set(batches.map((b) => b.id));
	const tankOf = (id?: string) => tank.get(all.get(id ?? '')?.tank_id ?? '');
	const move = (m: Move) => some({
		to: m.to_batch_id, from_tank: tankOf(m.from_batch_id)?.name, by: who(m.by), via: m.via, purge: m.purge, flow_hl_h: m.flow_hl_h, hose_m: m.hose_m, hose_mm: m.hose_mm,
		started_at: m.started_at, ended_at: m.ended_at, added: m.addition?.what, added_kg: m.addition?.amount_kg
	});
	return some({
		focus,
		batches: batches.map((b) => some({ id: b.id, code: b.code, beer: b.beer_id, vessel: tankOf(b.id)?.kind, tank: tankOf(b.id)?.name, volume_hl: b.volume_hl, made_at: b.made_at })),
		moves: lab.moves.filter((m) => ids.has(m.to_batch_id ?? '')).map(move),
		readings: lab.readings.filter((r) => ids.has(r.batch_id)).map((r) => some({ batch: r.batch_id, point: r.point, by: who(r.by), meter: meter.get(r.meter_id ?? ''), tubing: r.tubing, do_ppb: r.do_ppb, temperature_c: r.temperature_c, pressure_bar: r.pressure_bar })),
		brews: lab.brews.filter((b) => ids.has(b.batch_id)).map((b) => some({ batch: b.batch_id, by: who(b.by), yeast: [b.yeast, b.yeast_source].filter(Boolean).join(' '), gas: b.gas, gas_nl_min: b.gas_flow_nl_min, float_reading: b.float_reading, pitch_million_ml: b.pitch_million_ml })),
		runs: lab.runs.filter((r) => ids.has(r.batch_id ?? '')).map((r) => pastRun(r, lab.events(r.id), eventsHere(r.id)))
	});
}
function pastRun(r: Run, events: RunEvent[], here: boolean): Rows {
	return some({
		batch: r.batch_id, events_known: here || undefined, gas_changes: here ? events.filter((e) => e.kind === 'gas_change' && !e.archived).map((e) => e.note ?? '') : undefined,
		limits: (r.in_force?.limits ?? []).map((l) => some({ quantity: l.quantity, mean_ppb: l.mean_green_ppb, single_ppb: l.single_green_ppb, red_ppb: l.single_red_ppb }))
	});
}
