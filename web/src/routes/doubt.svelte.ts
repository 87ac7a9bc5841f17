// What a failed check puts in doubt: from the server; without it, or while the
// check still waits here, judged by the core from the records on this device.
import { instruments, Unreachable } from '#api/client.ts';
import type { Instrument, MeterCheck } from '#api/records.ts';
import { consequences, type Consequences } from '#core/consequences.ts';
import { net } from '#offline/net.svelte.ts';
import { store } from '#offline/store.svelte.ts';
import { partsOf } from './runs/[id]/judged.svelte.ts';

export class Doubt {
	r = $state.raw<Consequences | undefined>();
	by = $state<'' | 'server' | 'device'>('');
	trouble = $state('');
	private turn = 0;

	/** only: of one run alone, which is quicker here. */
	async look(check: MeterCheck, instrument: Instrument, only?: string): Promise<void> {
		const mine = ++this.turn;
		let out: Consequences | undefined, by: 'server' | 'device' = 'server', trouble = '';
		try {
			if (store.saved('meter_checks', check.id) !== 'server' || net.state === 'offline') throw new Unreachable('not asked');
			out = await instruments.consequences(check.id);
		} catch (e) {
			by = 'device';
			if (!(e instanceof Unreachable)) trouble = (e as Error).message;
			else
				try {
					out = await consequences({ check, instrument, checks: store.list('meter_checks'), runs: store.list('runs').filter((r) => !only || r.id === only), parts: partsOf, decisions: store.list('decisions'), beer: (x) => store.get('beers', x)?.name ?? 'beer', format: (x) => store.get('formats', x)?.name ?? '' });
				} catch (x) {
					trouble = `The lots could not be judged again here: ${(x as Error).message}.`;
				}
		}
		if (mine !== this.turn) return;
		if (out) [this.r, this.by] = [out, by];
		this.trouble = trouble;
	}
}
