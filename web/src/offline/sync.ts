// Sync: send what waits, then fetch what is new. One tab does it at a time. It
// knows no HTTP: the transport is handed in.
import { COLLECTIONS, type Collection, type Rec, type Write } from '#api/records.ts';
import { keep, type Db } from './db.ts';
import { next, refers, settle, toWrite, type Answer } from './outbox.ts';

export interface Transport {
	batch(writes: Write[]): Promise<Answer[]>;
	changes(since: string): Promise<{ changes: Change[]; cursor: string; more: boolean }>;
	list(c: Collection, after: string, newest?: boolean): Promise<{ records: Rec[]; next: string }>;
	view(run_id: string): Promise<{ run: Rec; samples: Rec[]; events: Rec[]; cursor: string }>;
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
			// wrong base, a sample without its run: they wait for the choice.
			if (refers(items[i], bad)) {
				bad.add(items[i].id);
				continue;
			}
			const s = await settle(db, items[i], answers[i]);
			if (s === 'stored') {
				out.sent++;
				seen([{ collection: items[i].collection, record: answers[i].record! }]);
			}
			if (s === 'conflict') out.conflicts++;
			if (s === 'refused') out.refused++;
			if (s !== 'stored') bad.add(items[i].id);
			progress ||= s !== 'waiting';
		}
		if (!progress) throw new Error('the server could not store any of the writes: they stay in the outbox');
	}
}

/** Fetches everything newer than the cursor kept on this device. */
export async function pull(db: Db, t: Transport, seen: (c: Change[]) => void = () => {}): Promise<number> {
	let n = 0;
	if ((await db.get('meta', 'cursor')) === undefined) n += await bootstrap(db, t, seen);
	for (;;) {
		const since = ((await db.get('meta', 'cursor')) as string | undefined) ?? '';
		const page = await t.changes(since);
		const changes = await wanted(db, page.changes);
		await keep(db, changes);
		seen(changes);
		n += changes.length;
		if (page.cursor !== since) await db.put('meta', page.cursor, 'cursor');
		if (!page.more || page.cursor === since) return n;
	}
}

/**
 * A new device takes the set-up, all runs and the newest samples, not years of
 * them: samples of an old run come when it is opened. An empty server has no
 * run and is read from the beginning of its changes.
 */
async function bootstrap(db: Db, t: Transport, seen: (c: Change[]) => void): Promise<number> {
	const newest = (await t.list('runs', '', true)).records[0];
	if (!newest) return 0;
	const { cursor } = await t.view(newest.id);
	let n = 0;
	const take = async (collection: Collection, records: Rec[]) => {
		const changes = records.map((record) => ({ collection, record }));
		await keep(db, changes);
		seen(changes);
		n += changes.length;
	};
	for (const c of COLLECTIONS.filter((x) => x !== 'samples' && x !== 'events'))
		for (let after = '', more = true; more; ) {
			const p = await t.list(c, after);
			await take(c, p.records);
			after = p.next;
			more = !!p.next;
		}
	await take('samples', (await t.list('samples', '', true)).records);
	for (const r of await db.getAllFromIndex('records', 'c', 'runs')) if (r.rec.status === 'going') await fetchRun(db, t, r.id, seen);
	await db.put('meta', cursor, 'cursor');
	return n;
}

/** All samples and events of one run, once; later ones come as changes. */
export async function fetchRun(db: Db, t: Transport, run_id: string, seen: (c: Change[]) => void): Promise<void> {
	const v = await t.view(run_id);
	const changes: Change[] = [{ collection: 'runs' as const, record: v.run }, ...v.samples.map((record) => ({ collection: 'samples' as const, record })), ...v.events.map((record) => ({ collection: 'events' as const, record }))];
	await keep(db, changes);
	await db.put('meta', true, 'have:' + run_id);
	seen(changes);
}

/** Leaves out samples and events of ended runs that this device never opened. */
async function wanted(db: Db, changes: Change[]): Promise<Change[]> {
	const verdict = new Map<string, boolean>();
	const out: Change[] = [];
	for (const c of changes) {
		const run = c.record.run_id;
		// Decisions are few, and every device shows them.
		if (typeof run !== 'string' || c.collection === 'decisions') {
			out.push(c);
			continue;
		}
		if (!verdict.has(run)) {
			const rec = changes.findLast((x) => x.collection === 'runs' && x.record.id === run)?.record ?? (await db.get('records', ['runs', run]))?.rec;
			verdict.set(run, rec?.status !== 'ended' || !!(await db.get('meta', 'have:' + run)) || !(await db.get('meta', 'cursor')));
		}
		if (verdict.get(run)) out.push(c);
	}
	return out;
}

export async function round(db: Db, t: Transport, seen?: (c: Change[]) => void): Promise<Outcome> {
	const sent = await flush(db, t, seen);
	return { ...sent, fetched: await pull(db, t, seen) };
}
