// Loads a batch's oxygen map: from the server while it answers, else computed
// here by the same core from the records on this device.
import { cellar, Unreachable } from '#api/client.ts';
import { connected, mapHere, type OxygenMap } from '#core/cellarmap.ts';
import { net } from '#offline/net.svelte.ts';
import { store } from '#offline/store.svelte.ts';
import { labHere } from '../../local.svelte.ts';

/** The runs that draw this batch or what became of it. */
export function runsOf(batch: string) {
	const ids = connected(store.list('moves'), batch);
	return store.list('runs').filter((r) => r.batch_id && ids.has(r.batch_id));
}

export class BatchMap {
	map = $state.raw<OxygenMap | undefined>();
	by = $state<'' | 'server' | 'device'>('');
	trouble = $state('');
	busy = $state(true);
	/** Runs whose packages are not on this device: the map then ends before them. */
	without = $state(0);
	private turn = 0;

	async load(id: string): Promise<void> {
		const mine = ++this.turn;
		this.busy = true;
		let map: OxygenMap | undefined, by: 'server' | 'device' = 'server', trouble = '', without = 0;
		const waits = store.items.some((i) => i.state === 'waiting');
		try {
			if (waits || net.state === 'offline' || net.state === 'unreachable') throw new Unreachable('not asked');
			map = await cellar.map(id);
		} catch (e) {
			if (!(e instanceof Unreachable)) trouble = (e as Error).message;
			else if (store.get('batches', id)) {
				by = 'device';
				const here = await Promise.all(runsOf(id).map((r) => (net.state === 'online' ? net.openRun(r.id) : store.db.get('meta', 'have:' + r.id).then((x) => (x || store.of('samples', r.id).length ? 'here' : 'partial')))));
				without = here.filter((x) => x === 'partial').length;
				try {
					map = await mapHere(labHere(), id);
				} catch (x) {
					trouble = (x as Error).message;
				}
			}
		}
		if (mine !== this.turn) return;
		Object.assign(this, { map, by: map ? by : '', trouble, without, busy: false });
	}
}
