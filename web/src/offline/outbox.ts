// The outbox: every write waits here until the server has answered it, in the
// order it was made. A write is the same write if id, base revision and content
// are the same, so sending twice cannot count twice.
import type { Collection, Problem, Rec, Write } from '#api/records.ts';
import type { Db, Item, ItemState } from './db.ts';

/** Content without what the server adds, in a fixed key order. */
export function content(rec: Rec): string {
	const skip = new Set(['rev', 'server_at', 'device_at', 'by', 'device_id', 'number', 'results_before', 'clock_skew_s', 'result']);
	const sort = (v: unknown): unknown => {
		if (Array.isArray(v)) return v.map(sort);
		if (v && typeof v === 'object')
			return Object.fromEntries(Object.entries(v).filter(([, x]) => x !== undefined).sort(([a], [b]) => (a < b ? -1 : 1)).map(([k, x]) => [k, sort(x)]));
		return v;
	};
	return JSON.stringify(sort(Object.fromEntries(Object.entries(rec).filter(([k]) => !skip.has(k)))));
}

/**
 * Puts a write into the outbox and returns once it is on disk. The base revision
 * is worked out here: the newest waiting write of that record, else the stored
 * record, else 0. A second tap (same content as the newest) adds nothing.
 */
export async function add(db: Db, collection: Collection, record: Rec, now = new Date()): Promise<Item> {
	const tx = db.transaction(['outbox', 'records'], 'readwrite', { durability: 'strict' });
	const box = tx.objectStore('outbox');
	const mine = (await box.index('id').getAll(record.id)).filter((i) => i.collection === collection);
	const last = mine.at(-1);
	const stored = await tx.objectStore('records').get([collection, record.id]);
	const newest = last?.record ?? stored?.rec;
	if (newest && content(newest) === content(record)) {
		await tx.done;
		return last ?? { collection, id: record.id, base_rev: newest.rev, record: newest, queued_at: now.toISOString(), state: 'waiting' };
	}
	// A refused write was never stored: its mended version takes the same base.
	const mends = last?.state === 'refused';
	const base_rev = last ? last.base_rev + (mends ? 0 : 1) : (stored?.rec.rev ?? 0);
	const item: Item = {
		collection, id: record.id, base_rev, queued_at: now.toISOString(), state: 'waiting',
		record: { ...record, rev: base_rev + 1, device_at: now.toISOString() }
	};
	// A mended write keeps its place in the queue: what stands on it comes after.
	if (mends) item.seq = last.seq;
	item.seq = await box.put(item);
	await tx.done;
	return item;
}

export const all = (db: Db): Promise<Item[]> => db.getAll('outbox');

/** Whether a write is of one of these records or points at one. */
export const refers = (i: Item, ids: Set<string>): boolean => ids.has(i.id) || Object.values(i.record).some((v) => typeof v === 'string' && ids.has(v));

/**
 * The next writes to send: oldest first, leaving out records with an unsettled
 * conflict or refusal and what refers to them: later revisions stand on the
 * earlier ones, samples on their run. They
 * are marked as tried: from now on the server may have them.
 */
export async function next(db: Db, n: number): Promise<Item[]> {
	const tx = db.transaction('outbox', 'readwrite', { durability: 'strict' });
	const items = await tx.store.getAll();
	const held = new Set(items.filter((i) => i.state !== 'waiting').map((i) => i.id));
	const out: Item[] = [];
	for (const i of items) {
		if (i.state !== 'waiting') continue;
		if (refers(i, held)) held.add(i.id);
		else if (out.length < n) out.push(i);
	}
	for (const i of out) if (!i.tried) await tx.store.put({ ...i, tried: true });
	await tx.done;
	return out;
}

export const toWrite = (i: Item): Write => ({ collection: i.collection, id: i.id, base_rev: i.base_rev, record: i.record });

export interface Answer { status: number; record?: Rec; problem?: Problem }

/** Files one answer: stored, conflict, refused, or (server trouble) still waiting. */
export async function settle(db: Db, item: Item, a: Answer): Promise<ItemState | 'stored'> {
	const tx = db.transaction(['outbox', 'records'], 'readwrite', { durability: 'strict' });
	const box = tx.objectStore('outbox');
	const still = await box.get(item.seq!);
	let state: ItemState | 'stored' = 'waiting';
	if (a.status >= 200 && a.status < 300 && a.record) {
		const recs = tx.objectStore('records');
		const old = await recs.get([item.collection, item.id]);
		if (!old || old.rec.rev <= a.record.rev)
			await recs.put({ c: item.collection, id: item.id, run: typeof a.record.run_id === 'string' ? a.record.run_id : '', rec: a.record });
		if (still) await box.delete(item.seq!);
		state = 'stored';
	} else if (a.status === 409 || a.status === 412) {
		state = 'conflict';
		if (still) await box.put({ ...still, state, problem: a.problem, current: a.problem?.current });
	} else if (a.status >= 400 && a.status < 500 && a.status !== 401 && a.status !== 408 && a.status !== 429) {
		state = 'refused';
		if (still) await box.put({ ...still, state, problem: a.problem });
	}
	await tx.done;
	return state;
}

/** Takes a first version back out that was never sent. False if the server may have it. */
export async function takeBack(db: Db, collection: Collection, id: string): Promise<boolean> {
	const tx = db.transaction(['outbox', 'records'], 'readwrite', { durability: 'strict' });
	const stored = await tx.objectStore('records').get([collection, id]);
	const box = tx.objectStore('outbox');
	const mine = (await box.index('id').getAll(id)).filter((i) => i.collection === collection);
	const can = !stored && mine.length > 0 && mine.every((i) => !i.tried);
	if (can) for (const i of mine) await box.delete(i.seq!);
	await tx.done;
	return can;
}

/**
 * Settles a conflict or a refusal by choice. The version set aside is kept in
 * 'settled', readable on this device; nothing is thrown away.
 */
export async function choose(db: Db, item: Item, kept: 'mine' | 'theirs', reason: string, now = new Date()): Promise<void> {
	const tx = db.transaction(['outbox', 'records', 'settled'], 'readwrite', { durability: 'strict' });
	const box = tx.objectStore('outbox');
	const mine = (await box.index('id').getAll(item.id)).filter((i) => i.collection === item.collection);
	const last = mine.at(-1) ?? item;
	const stored = (await tx.objectStore('records').get([item.collection, item.id]))?.rec;
	const theirs = [item.current, stored].filter((r): r is Rec => !!r).sort((a, b) => b.rev - a.rev)[0];
	for (const i of mine) await box.delete(i.seq!);
	if (kept === 'mine') {
		const base_rev = theirs?.rev ?? 0;
		await box.put({
			...(mine.length ? { seq: mine[0].seq } : {}), collection: item.collection, id: item.id, base_rev, queued_at: now.toISOString(), state: 'waiting',
			record: { ...last.record, rev: base_rev + 1, reason, device_at: now.toISOString() }
		});
	}
	await tx.objectStore('settled').add({ at: now.toISOString(), kept, collection: item.collection, id: item.id, mine: last.record, theirs });
	await tx.done;
}
