// Sync: send what waits, then fetch what is new. One tab does it at a time. It
// knows no HTTP: the transport is handed in.
import type { Collection, Rec, Write } from '#api/records.ts';
import { keep, type Db } from './db.ts';
import { next, settle, toWrite, type Answer } from './outbox.ts';

export interface Transport {
	batch(writes: Write[]): Promise<Answer[]>;
	changes(since: string): Promise<{ changes: Change[]; cursor: string; more: boolean }>;
}
export type Change = { collection: Collection; record: Rec };
export interface Outcome { sent: number; conflicts: number; refused: number; fetched: number }

const BATCH = 50;

/** Sends the outbox until it is empty or only held writes are left. Throws when the server cannot be reached. */
export async function flush(db: Db, t: Transport, seen: (c: Change[]) => void = () => {}): Promise<Omit<Outcome, 'fetched'>> {
	const out = { sent: 0, conflicts: 0, refused: 0 };
	for (;;) {
		const items = await next(db, BATCH);
		if (!items.length) return out;
		const answers = await t.batch(items.map(toWrite));
		if (answers.length !== items.length)
			throw new Error(`${items.length} writes sent, ${answers.length} answers came back: all of them stay in the outbox`);
		const bad = new Set<string>();
		let progress = false;
		for (let i = 0; i < items.length; i++) {
			// A later revision of a record whose earlier one failed was judged on the
			// wrong base: it keeps waiting and is sent after the choice.
			const key = items[i].collection + items[i].id;
			if (bad.has(key)) continue;
			const s = await settle(db, items[i], answers[i]);
			if (s === 'stored') {
				out.sent++;
				seen([{ collection: items[i].collection, record: answers[i].record! }]);
			}
			if (s === 'conflict') out.conflicts++;
			if (s === 'refused') out.refused++;
			if (s !== 'stored') bad.add(key);
			progress ||= s !== 'waiting';
		}
		if (!progress) throw new Error('the server could not store any of the writes: they stay in the outbox');
	}
}

/** Fetches everything newer than the cursor kept on this device. */
export async function pull(db: Db, t: Transport, seen: (c: Change[]) => void = () => {}): Promise<number> {
	let n = 0;
	for (;;) {
		const since = ((await db.get('meta', 'cursor')) as string | undefined) ?? '';
		const page = await t.changes(since);
		await keep(db, page.changes);
		seen(page.changes);
		n += page.changes.length;
		if (page.cursor !== since) await db.put('meta', page.cursor, 'cursor');
		if (!page.more || page.cursor === since) return n;
	}
}

export async function round(db: Db, t: Transport, seen?: (c: Change[]) => void): Promise<Outcome> {
	const sent = await flush(db, t, seen);
	return { ...sent, fetched: await pull(db, t, seen) };
}
