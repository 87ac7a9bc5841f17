import 'fake-indexeddb/auto';
import { beforeEach, describe, expect, it } from 'vitest';
import type { Rec, Write } from '#api/records.ts';
import { keep, openDb, type Db } from './db.ts';
import { add, all, choose, content, next, settle, takeBack, type Answer } from './outbox.ts';
import { flush, pull, round, type Change, type Transport } from './sync.ts';
import { uuidv7 } from './uuid.ts';

let db: Db;
let n = 0;
beforeEach(async () => {
	db = await openDb('test-' + ++n);
});
const sample = (over: Record<string, unknown> = {}): Rec => ({ id: uuidv7(), rev: 0, run_id: 'r1', kind: 'shaken', taken_at: '2026-11-05T09:40:00Z', raw: { do: '46' }, inputs: { do_ppb: 46 }, ...over }) as Rec;

/** A server that keeps the contract: idempotent by id, base and content; conflict otherwise. */
class Server implements Transport {
	recs = new Map<string, Rec[]>();
	log: Change[] = [];
	writes = 0;
	/** Called before and after a batch is stored; throwing is a lost network. */
	before: () => void = () => {};
	after: () => void = () => {};
	async batch(ws: Write[]): Promise<Answer[]> {
		this.before();
		const out = ws.map((w): Answer => {
			this.writes++;
			const revs = this.recs.get(w.id) ?? [];
			const cur = revs.at(-1);
			if (w.record.refuse) return { status: 422, problem: { title: 'A value cannot be right', status: 422 } };
			const same = revs[w.base_rev];
			if (same && content(same) === content(w.record)) return { status: 200, record: cur };
			if (w.base_rev !== revs.length) return { status: 409, problem: { title: 'Someone else wrote first', status: 409, current: cur } };
			const rec = { ...w.record, rev: revs.length + 1, server_at: 'now' };
			this.recs.set(w.id, [...revs, rec]);
			this.log.push({ collection: w.collection, record: rec });
			return { status: 201, record: rec };
		});
		this.after();
		return out;
	}
	async changes(since: string) {
		const from = Number(since || 0);
		const page = this.log.slice(from, from + 2);
		return { changes: page, cursor: String(from + page.length), more: from + page.length < this.log.length };
	}
	async list(c: string) {
		const records = [...new Map(this.log.filter((x) => x.collection === c).map((x) => [x.record.id, x.record])).values()];
		return { records, next: '' };
	}
	async view(id: string) {
		const of = (c: string) => [...new Map(this.log.filter((x) => x.collection === c && x.record.run_id === id).map((x) => [x.record.id, x.record])).values()];
		return { run: this.recs.get(id)!.at(-1)!, samples: of('samples'), events: of('events'), cursor: String(this.log.length) };
	}
}
const down = () => {
	throw new Error('no network');
};

describe('uuid', () => {
	it('is version 7, in the order of time, and never twice', () => {
		const a = Array.from({ length: 2000 }, () => uuidv7());
		expect(new Set(a).size).toBe(2000);
		expect(a[0]).toMatch(/^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
		expect(uuidv7(1) < uuidv7(2)).toBe(true);
		expect(parseInt(uuidv7(1762335600123).replace('-', '').slice(0, 12), 16)).toBe(1762335600123);
	});
});

describe('outbox', () => {
	it('takes a double tap as one write', async () => {
		const s = sample();
		await Promise.all([add(db, 'samples', s), add(db, 'samples', { ...s })]);
		await add(db, 'samples', { ...s, device_at: 'later' });
		expect((await all(db)).length).toBe(1);
	});
	it('numbers revisions upon each other before anything was sent', async () => {
		const s = sample();
		await add(db, 'samples', s);
		await add(db, 'samples', { ...s, inputs: { do_ppb: 47 }, reason: 'typed wrong' });
		expect((await all(db)).map((i) => i.base_rev)).toEqual([0, 1]);
	});
	it('bases a correction on what the server has stored', async () => {
		const s = sample();
		await keep(db, [{ collection: 'samples', record: { ...s, rev: 3 } }]);
		expect((await add(db, 'samples', { ...s, note: 'x' })).base_rev).toBe(3);
	});
	it('takes back what was never sent, and only that', async () => {
		const a = sample(), b = sample();
		await add(db, 'samples', a);
		await add(db, 'samples', b);
		expect(await takeBack(db, 'samples', a.id)).toBe(true);
		await next(db, 10); // b may now be on the server, whatever the answer
		expect(await takeBack(db, 'samples', b.id)).toBe(false);
		expect((await all(db)).map((i) => i.id)).toEqual([b.id]);
	});
	it('survives closing the database', async () => {
		await add(db, 'samples', sample());
		const name = db.name;
		db.close();
		db = await openDb(name);
		expect((await all(db)).length).toBe(1);
	});
});

describe('sync', () => {
	it('sends each write once and empties the outbox', async () => {
		const t = new Server();
		for (let i = 0; i < 120; i++) await add(db, 'samples', sample());
		expect((await flush(db, t)).sent).toBe(120);
		expect((await all(db)).length).toBe(0);
		expect(t.recs.size).toBe(120);
	});
	it('loses nothing and counts nothing twice when the answer is lost', async () => {
		const t = new Server();
		const s = sample();
		await add(db, 'samples', s);
		t.after = down;
		await expect(flush(db, t)).rejects.toThrow('no network');
		expect((await all(db)).length).toBe(1);
		t.after = () => {};
		await flush(db, t);
		expect((await all(db)).length).toBe(0);
		expect(t.recs.get(s.id)!.length).toBe(1);
	});
	it('keeps everything when the server is away', async () => {
		const t = new Server();
		t.before = down;
		await add(db, 'samples', sample());
		await expect(round(db, t)).rejects.toThrow();
		expect((await all(db))[0].state).toBe('waiting');
	});
	it('does not trust an answer that does not fit the question', async () => {
		const t = new Server();
		await add(db, 'samples', sample());
		await expect(flush(db, { ...t, batch: async () => [], changes: t.changes, list: t.list, view: t.view })).rejects.toThrow('stay in the outbox');
		expect((await all(db)).length).toBe(1);
	});
	it('sends a chain of revisions in order', async () => {
		const t = new Server();
		const s = sample();
		await add(db, 'samples', s);
		await add(db, 'samples', { ...s, note: 'second', reason: 'x' });
		await flush(db, t);
		expect(t.recs.get(s.id)!.map((r) => r.rev)).toEqual([1, 2]);
	});
	it('shows a conflict, holds later revisions of that record, and sends the rest', async () => {
		const t = new Server();
		const s = sample(), other = sample();
		t.recs.set(s.id, [{ ...s, rev: 1 }, { ...s, rev: 2, note: 'from another phone' }]);
		await keep(db, [{ collection: 'samples', record: { ...s, rev: 1 } }]);
		await add(db, 'samples', { ...s, note: 'mine', reason: 'r' });
		await add(db, 'samples', { ...s, note: 'mine again', reason: 'r' });
		await add(db, 'samples', other);
		const out = await flush(db, t);
		expect(out).toMatchObject({ sent: 1, conflicts: 1 });
		const left = await all(db);
		expect(left.map((i) => i.state)).toEqual(['conflict', 'waiting']);
		expect(left[0].current?.note).toBe('from another phone');
		expect((await next(db, 10)).length).toBe(0);
	});
	it('keep mine writes a revision upon theirs and keeps theirs readable', async () => {
		const t = new Server();
		const s = sample();
		t.recs.set(s.id, [{ ...s, rev: 1 }, { ...s, rev: 2, note: 'theirs' }]);
		await keep(db, [{ collection: 'samples', record: { ...s, rev: 1 } }]);
		await add(db, 'samples', { ...s, note: 'mine', reason: 'r' });
		await flush(db, t);
		await choose(db, (await all(db))[0], 'mine', 'read it twice');
		await flush(db, t);
		expect(t.recs.get(s.id)!.map((r) => r.note)).toEqual([undefined, 'theirs', 'mine']);
		expect(t.recs.get(s.id)![2].reason).toBe('read it twice');
		expect((await db.getAll('settled'))[0].theirs?.note).toBe('theirs');
	});
	it('keep theirs sets mine aside, readable', async () => {
		const s = sample();
		const item = await add(db, 'samples', { ...s, note: 'mine' });
		await settle(db, item, { status: 409, problem: { title: 'x', status: 409, current: { ...s, rev: 1, note: 'theirs' } } });
		await choose(db, (await all(db))[0], 'theirs', '');
		expect((await all(db)).length).toBe(0);
		expect((await db.getAll('settled'))[0].mine.note).toBe('mine');
	});
	it('a refused write waits for its mend, which takes its place', async () => {
		const t = new Server();
		const s = sample({ refuse: true });
		await add(db, 'samples', s);
		expect((await flush(db, t)).refused).toBe(1);
		await add(db, 'samples', { ...s, refuse: undefined });
		expect((await all(db)).map((i) => [i.base_rev, i.state])).toEqual([[0, 'waiting']]);
		await flush(db, t);
		expect(t.recs.get(s.id)!.length).toBe(1);
	});
	it('samples wait for their refused run and follow it once it is mended', async () => {
		const t = new Server();
		const run = { id: uuidv7(), rev: 0, code: 'x', refuse: true } as Rec;
		await add(db, 'runs', run);
		await add(db, 'samples', sample({ run_id: run.id }));
		const batch = t.batch.bind(t);
		// As the server does: a sample without its run is refused too.
		t.batch = async (ws) => (await batch(ws)).map((a, i) => (ws[i].record.run_id === run.id && !t.recs.has(run.id) ? (t.recs.delete(ws[i].id), { status: 422, problem: { title: 'no such run', status: 422 } }) : a));
		expect(await flush(db, t)).toMatchObject({ sent: 0, refused: 1 });
		expect((await all(db)).map((i) => i.state)).toEqual(['refused', 'waiting']);
		await add(db, 'runs', { ...run, refuse: undefined });
		expect((await all(db)).map((i) => i.collection)).toEqual(['runs', 'samples']);
		await flush(db, t);
		expect((await all(db)).length).toBe(0);
		expect(t.recs.size).toBe(2);
	});
	it('two phones into one run end with the same records', async () => {
		const t = new Server();
		const other = await openDb('other-' + n);
		await add(db, 'samples', sample({ note: 'a' }));
		await add(other, 'samples', sample({ note: 'b' }));
		await round(db, t);
		await round(other, t);
		await round(db, t);
		const ids = async (d: Db) => (await d.getAll('records')).map((r) => r.id).sort();
		expect(await ids(db)).toEqual(await ids(other));
		expect((await ids(db)).length).toBe(2);
	});
	it('never puts an older revision over a newer', async () => {
		const s = sample();
		await keep(db, [{ collection: 'samples', record: { ...s, rev: 2, note: 'new' } }]);
		await keep(db, [{ collection: 'samples', record: { ...s, rev: 1, note: 'old' } }]);
		expect((await db.get('records', ['samples', s.id]))!.rec.note).toBe('new');
	});
	it('a new device takes set-up and going runs, and old runs when they are opened', async () => {
		const t = new Server();
		const put = (collection: Change['collection'], record: Record<string, unknown>) => t.batch([{ collection, id: record.id as string, base_rev: 0, record: { rev: 0, ...record } as Rec }]);
		await put('beers', { id: 'b', name: 'Vellumrook' });
		await put('runs', { id: 'r-old', status: 'ended' });
		await put('runs', { id: 'r-new', status: 'going' });
		await put('samples', sample({ run_id: 'r-new' }) as unknown as Record<string, unknown>);
		await pull(db, t);
		expect(await db.get('records', ['beers', 'b'])).toBeTruthy();
		expect(await db.get('meta', 'have:r-new')).toBe(true);
		await put('samples', { ...sample({ run_id: 'r-old' }), id: 'late' });
		await put('samples', { ...sample({ run_id: 'r-new' }), id: 'fresh' });
		await pull(db, t);
		expect(await db.get('records', ['samples', 'late'])).toBeUndefined();
		expect(await db.get('records', ['samples', 'fresh'])).toBeTruthy();
	});
});
