// What this device keeps: records as last told by the server, and the outbox of
// writes not yet answered. It does not decide anything.
import { openDB, type DBSchema, type IDBPDatabase } from 'idb';
import type { Collection, Problem, Rec } from '#api/records.ts';

export type ItemState = 'waiting' | 'conflict' | 'refused';
export interface Item {
	seq?: number;
	collection: Collection;
	id: string;
	base_rev: number;
	record: Rec;
	queued_at: string;
	state: ItemState;
	tried?: boolean;
	problem?: Problem;
	current?: Rec;
}
/** A conflict that somebody settled: the version set aside stays readable. */
export interface Settled { at: string; kept: 'mine' | 'theirs' | 'both'; collection: Collection; id: string; mine: Rec; theirs?: Rec; n?: number }

interface Row { c: Collection; id: string; run: string; rec: Rec }
interface Schema extends DBSchema {
	records: { key: [string, string]; value: Row; indexes: { c: string; run: string } };
	outbox: { key: number; value: Item; indexes: { id: string } };
	settled: { key: number; value: Settled };
	meta: { key: string; value: unknown };
}
export type Db = IDBPDatabase<Schema>;

export function openDb(name = 'ullage'): Promise<Db> {
	return openDB<Schema>(name, 1, {
		upgrade(db) {
			const r = db.createObjectStore('records', { keyPath: ['c', 'id'] });
			r.createIndex('c', 'c');
			r.createIndex('run', 'run');
			db.createObjectStore('outbox', { keyPath: 'seq', autoIncrement: true }).createIndex('id', 'id');
			db.createObjectStore('settled', { keyPath: 'n', autoIncrement: true });
			db.createObjectStore('meta');
		}
	});
}

export function row(c: Collection, rec: Rec): Row {
	return { c, id: rec.id, run: typeof rec.run_id === 'string' ? rec.run_id : '', rec };
}

/** Keeps the newer of what is stored and what arrives; answers may overtake each other. */
export async function keep(db: Db, changes: { collection: Collection; record: Rec }[]): Promise<void> {
	const tx = db.transaction('records', 'readwrite', { durability: 'strict' });
	for (const { collection, record } of changes) {
		const old = await tx.store.get([collection, record.id]);
		if (!old || old.rec.rev <= record.rev) await tx.store.put(row(collection, record));
	}
	await tx.done;
}
