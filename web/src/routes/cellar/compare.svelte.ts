// Comparisons of batches: from the server while it answers, else computed here by
// the same core from the records on this device.
import { cellar, Unreachable, type Changes, type Transfers } from '#api/client.ts';
import { changesInput, transfersInput, type Wide } from '#core/cellarcompare.ts';
import { run as calc } from '#core/client.ts';
import { net } from '#offline/net.svelte.ts';
import { store } from '#offline/store.svelte.ts';
import { labHere } from './local.svelte.ts';

type Input = Record<string, unknown>;
export interface Compared<T> { value: T; by: 'server' | 'device'; waits: number }

const wide = (): Wide => ({ ...labHere(), people: store.list('people'), zone: store.list('brewery')[0]?.time_zone || 'UTC', archived: store.list('batches', true) });

/** Asks the server unless it is known not to answer, or has not all that was typed here. */
async function either<T>(ask: () => Promise<T>, name: string, input: () => Input | Promise<Input>): Promise<Compared<T>> {
	const waits = store.waiting;
	try {
		if (waits || net.state === 'offline' || net.state === 'unreachable') throw new Unreachable('not asked');
		return { value: await ask(), by: 'server', waits };
	} catch (e) {
		if (!(e instanceof Unreachable)) throw e;
	}
	const a = await calc<T>(name, await input());
	if (!a.result) throw new Error([a.error?.message, a.error?.mend].filter(Boolean).join('; ') || 'it could not be compared');
	return { value: a.result, by: 'device', waits };
}

export const transfers = (step: NonNullable<Parameters<typeof cellar.transfers>[0]>['step'], from: string, to: string): Promise<Compared<Transfers>> =>
	either(() => cellar.transfers({ step, ...(from && { from }), ...(to && { to }) }), 'transfers', () => transfersInput(wide(), step ?? 'transfer', from, to));

export const changes = (id: string): Promise<Compared<Changes>> =>
	either(() => cellar.changes(id), 'what-changed', async () => {
		const lab = wide(), beer = store.get('batches', id)?.beer_id, mine = lab.runs.filter((r) => store.get('batches', r.batch_id)?.beer_id === beer);
		const here = new Set<string>();
		for (const r of mine) if (r.status === 'going' || (await store.db.get('meta', 'have:' + r.id))) here.add(r.id);
		return changesInput(lab, id, (run) => here.has(run));
	});
