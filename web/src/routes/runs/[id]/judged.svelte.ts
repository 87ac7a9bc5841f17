// Loads a run's judgement: from the server while it answers, else made here by the
// core from the records on this device.
import { judged, Unreachable } from '#api/client.ts';
import { net } from '#offline/net.svelte.ts';
import { store } from '#offline/store.svelte.ts';
import { run as calc } from '#core/client.ts';
import { judgeInput, ruleSetFor, type Report, type RunParts } from '#core/judgement.ts';

export function partsOf(id: string): RunParts | undefined {
	const run = store.get('runs', id);
	if (!run) return undefined;
	return {
		run, samples: store.of('samples', id), events: store.of('events', id), line: store.get('lines', run.line_id), meter: store.get('instruments', run.do_meter_id),
		checks: store.list('meter_checks').filter((c) => c.instrument_id === run.do_meter_id), direct: store.get('instruments', run.tpo_meter_id), directChecks: store.list('meter_checks').filter((c) => !!run.tpo_meter_id && c.instrument_id === run.tpo_meter_id), rules: ruleSetFor(store.list('rules'), run.beer_id, run.format_id),
		readings: run.batch_id ? store.list('readings').filter((r) => r.batch_id === run.batch_id) : []
	};
}

/** Moves with every record that is new or corrected. */
export const revisions = (list: { rev: number }[]): number => list.reduce((a, r) => a + r.rev, list.length);

export class Judged {
	report = $state.raw<Report | undefined>();
	/** Who judged, and when. */
	by = $state<'' | 'server' | 'device'>('');
	at = $state('');
	trouble = $state('');
	busy = $state(true);
	private turn = 0;

	/** With something waiting here, the server's judgement would lack it. */
	async load(id: string, waits: boolean): Promise<void> {
		const mine = ++this.turn;
		this.busy = true;
		const parts = partsOf(id);
		let report: Report | undefined, by: 'server' | 'device' = 'server', trouble = '';
		try {
			if (waits || net.state === 'offline') throw new Unreachable('not asked');
			report = await judged.run(id);
		} catch (e) {
			if (!(e instanceof Unreachable)) trouble = (e as Error).message;
			else if (parts && parts.samples.length) {
				by = 'device';
				try {
					const a = await calc<Report>('judge', judgeInput(parts));
					report = a.result;
					trouble = a.error ? `${a.error.field ?? ''} ${a.error.message}`.trim() : '';
				} catch (x) {
					trouble = `${(x as Error).message}. The judgement needs the network or the calculation core.`;
				}
			} else trouble = parts ? 'No reading yet.' : 'This run is not on this device.';
		}
		if (mine !== this.turn) return;
		this.report = report;
		this.by = report ? by : '';
		this.trouble = trouble;
		this.at = new Date().toISOString();
		this.busy = false;
	}
}
