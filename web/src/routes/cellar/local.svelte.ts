// The cellar as this device knows it: what hangs together, gathered once for a page.
import type { Batch, Beer, Brew, CellarLimit, Move, Reading, Run, Tank } from '#api/records.ts';
import { boundOf, byAt, judgeReading, type Around } from '#core/cellar.ts';
import type { Lab } from '#core/cellarmap.ts';
import { store } from '#offline/store.svelte.ts';

function group<T>(list: T[], keys: (x: T) => (string | undefined)[]): Map<string, T[]> {
	const out = new Map<string, T[]>();
	for (const x of list)
		for (const k of new Set(keys(x))) {
			if (!k) continue;
			const a = out.get(k);
			if (a) a.push(x);
			else out.set(k, [x]);
		}
	return out;
}

export class Local {
	tanks = $derived<Tank[]>(store.list('tanks'));
	batches = $derived<Batch[]>(store.list('batches'));
	limits = $derived<CellarLimit[]>(store.list('cellar_limits'));
	readings = $derived<Map<string, Reading[]>>(group(byAt(store.list('readings')), (r) => [r.batch_id]));
	moves = $derived<Map<string, Move[]>>(group(store.list('moves'), (m) => [m.from_batch_id, m.to_batch_id]));
	brews = $derived<Map<string, Brew[]>>(group(store.list('brews'), (b) => [b.batch_id]));
	runs = $derived<Map<string, Run[]>>(group(store.list('runs'), (r) => [r.batch_id]));
	/** What is in each tank: the newest batch of it that has not gone. */
	inTank = $derived.by(() => {
		const out = new Map<string, Batch>();
		for (const b of this.batches) {
			if (!b.tank_id || b.status === 'empty') continue;
			const old = out.get(b.tank_id);
			if (!old || stamp(old) < stamp(b)) out.set(b.tank_id, b);
		}
		return out;
	});

	around(batch: Batch): Around {
		return {
			batch, tank: store.get('tanks', batch.tank_id), moves: this.moves.get(batch.id) ?? [], brews: this.brews.get(batch.id) ?? [], readings: this.readings.get(batch.id) ?? [],
			filling: (this.runs.get(batch.id) ?? []).some((r) => r.status === 'going')
		};
	}
	bound(r: Reading, batch?: Batch) {
		return boundOf(this.limits, r.point, (batch ?? store.get('batches', r.batch_id))?.beer_id);
	}
	judge(r: Reading, batch?: Batch) {
		return judgeReading(r, this.bound(r, batch));
	}
}
/** Version 7 ids sort by their making; a stated time goes before. */
const stamp = (b: Batch): string => b.made_at ?? b.device_at ?? b.id;

export const beerOf = (b: Batch | undefined): Beer | undefined => store.get('beers', b?.beer_id);
export const batchName = (b: Batch | undefined): string => (b ? `${b.code}${beerOf(b) ? ` ${beerOf(b)!.name}` : ''}` : '–');
export const whoIs = (x?: string): string => store.get('people', x)?.initials || store.get('people', x)?.name || x || '–';

export const labHere = (): Lab => ({
	batches: store.list('batches'), tanks: store.list('tanks'), moves: store.list('moves'), brews: store.list('brews'), readings: store.list('readings'), runs: store.list('runs'), limits: store.list('cellar_limits'), beers: store.list('beers'), instruments: store.list('instruments'), lines: store.list('lines'),
	samples: (run_id) => store.of('samples', run_id), events: (run_id) => store.of('events', run_id)
});
