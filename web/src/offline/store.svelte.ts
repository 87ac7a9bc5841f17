// The lab on this device: server records with the waiting writes laid over them.
// Reading is synchronous and reactive; writing returns when the write is on disk.
import { COLLECTIONS, type Collection, type Rec, type Records } from '#api/records.ts';
import { openDb, type Db, type Item } from './db.ts';
import { add, all, choose, takeBack } from './outbox.ts';
import type { Change } from './sync.ts';
import { uuidv7 } from './uuid.ts';

export type Saved = 'server' | 'waiting' | 'conflict' | 'refused';

class Store {
	ready = $state(false);
	failed = $state('');
	items = $state.raw<Item[]>([]);
	private v = $state<Record<string, number>>(Object.fromEntries(COLLECTIONS.map((c) => [c, 0])));
	private base = new Map<Collection, Map<string, Rec>>(COLLECTIONS.map((c) => [c, new Map()]));
	private view = new Map<Collection, Map<string, Rec>>(COLLECTIONS.map((c) => [c, new Map()]));
	private over: Map<string, Item> = new Map();
	private channel?: BroadcastChannel;
	db!: Db;
	onWrite: () => void = () => {};
	/** Asks who holds the device, where nobody is named on it. */
	ask: () => Promise<void> | void = () => {};

	async open(): Promise<void> {
		try {
			this.db = await openDb();
			await this.reload();
			this.channel = new BroadcastChannel('ullage');
			this.channel.onmessage = (e: MessageEvent<[Collection, string][] | undefined>) => void this.hear(e.data);
			this.ready = true;
			// Browsers may clear storage under pressure unless asked not to.
			void navigator.storage?.persist?.();
		} catch (e) {
			this.failed = `This browser does not let Ullage keep records (${(e as Error).message}). Leave private browsing, or free some space, then open the page again.`;
		}
	}

	/** Reads the device's database again, after a sync here or in another tab. */
	async reload(): Promise<void> {
		const rows = await this.db.getAll('records');
		for (const m of this.base.values()) m.clear();
		for (const r of rows) this.base.get(r.c)?.set(r.id, r.rec);
		await this.overlay(COLLECTIONS);
	}

	/** Lays newly answered or fetched records in, without reading everything again. */
	async take(changes: Change[]): Promise<void> {
		for (const { collection, record } of changes) {
			const old = this.base.get(collection)?.get(record.id);
			if (!old || old.rev <= record.rev) this.base.get(collection)?.set(record.id, record);
		}
		await this.overlay([...new Set(changes.map((c) => c.collection))].filter((c) => this.base.has(c)));
	}

	private async overlay(touched: Collection[]): Promise<void> {
		this.items = await all(this.db);
		this.over = new Map(this.items.map((i) => [i.collection + i.id, i]));
		for (const c of touched) {
			const m = new Map(this.base.get(c));
			for (const i of this.items) if (i.collection === c) m.set(i.id, i.record);
			this.view.set(c, m);
			this.v[c]++;
		}
	}

	/** Tells the other tabs which records changed; the outbox they read anyway. */
	tellOthers(changes: Change[] = []): void {
		this.channel?.postMessage(changes.length > 2000 ? undefined : changes.map((c) => [c.collection, c.record.id]));
	}
	private async hear(keys: [Collection, string][] | undefined): Promise<void> {
		if (!keys) return this.reload();
		for (const [c, id] of keys) {
			const r = await this.db.get('records', [c, id]);
			if (r) this.base.get(c)?.set(id, r.rec);
		}
		await this.overlay(COLLECTIONS);
	}

	/** All records that are not archived, in the order of their making. */
	list<C extends Collection>(c: C, archived = false): Records[C][] {
		void this.v[c];
		return [...this.view.get(c)!.values()].filter((r) => !!r.archived === archived).sort((a, b) => (a.id < b.id ? -1 : 1)) as Records[C][];
	}
	get<C extends Collection>(c: C, id: string | undefined): Records[C] | undefined {
		void this.v[c];
		return id ? (this.view.get(c)!.get(id) as Records[C] | undefined) : undefined;
	}
	of<C extends 'samples' | 'events'>(c: C, run_id: string): Records[C][] {
		void this.v[c];
		const out: Rec[] = [];
		for (const r of this.view.get(c)!.values()) if (r.run_id === run_id && !r.archived) out.push(r);
		return out.sort((a, b) => (a.id < b.id ? -1 : 1)) as Records[C][];
	}
	saved(c: Collection, id: string): Saved {
		void this.v[c];
		const i = this.items.filter((x) => x.collection === c && x.id === id);
		if (!i.length) return 'server';
		return (i.find((x) => x.state !== 'waiting')?.state as Saved) ?? 'waiting';
	}
	get waiting(): number {
		return this.items.filter((i) => i.state === 'waiting').length;
	}
	get held(): Item[] {
		return this.items.filter((i) => i.state !== 'waiting');
	}

	async write(c: Collection, rec: Rec): Promise<Item> {
		if (c !== 'people' && c !== 'brewery') await this.ask();
		const item = await add(this.db, c, tidy({ ...$state.snapshot(rec), ...stamp() }) as Rec);
		await this.overlay([c]);
		this.tellOthers();
		this.onWrite();
		return item;
	}
	/** Within ten seconds: out of the outbox if it was never sent, else archived by a new revision. */
	async undo(c: Collection, id: string): Promise<void> {
		if (!(await takeBack(this.db, c, id))) {
			const r = this.get(c, id);
			if (r) await this.write(c, { ...r, archived: true, reason: 'Undone at once' });
		}
		await this.overlay([c]);
		this.tellOthers();
	}
	async settle(item: Item, kept: 'mine' | 'theirs', reason: string): Promise<void> {
		await choose(this.db, item, kept, reason);
		await this.overlay([item.collection]);
		this.tellOthers();
		this.onWrite();
	}
}

/** Takes the records off this device, and keeps what still waits. Answers how many wait. */
export async function forget(): Promise<number> {
	for (const s of ['records', 'meta', 'settled'] as const) await store.db.clear(s);
	await store.reload();
	store.tellOthers(Array.from({ length: 2001 }));
	return store.db.count('outbox');
}

export const store = new Store();

export function deviceId(): string {
	let id = localStorage.getItem('ullage.device');
	if (!id) localStorage.setItem('ullage.device', (id = uuidv7()));
	return id;
}
function stamp(): { by: string; device_id: string } {
	return { by: localStorage.getItem('ullage.me') || 'not named', device_id: deviceId() };
}
/** Drops what is empty: an absent field and an empty one mean the same. */
function tidy(v: unknown): unknown {
	if (Array.isArray(v)) return v.map(tidy);
	if (!v || typeof v !== 'object') return v;
	return Object.fromEntries(Object.entries(v).filter(([, x]) => x !== undefined && x !== null && x !== '' && !Number.isNaN(x)).map(([k, x]) => [k, tidy(x)]));
}
export const fresh = (): { id: string; rev: number } => ({ id: uuidv7(), rev: 0 });
