// The only place that talks HTTP to the server. Network trouble becomes an
// Unreachable error, everything else an answer with its problem.
import type { Collection, Problem, Rec, Write } from './records.ts';
import type { Answer } from '../offline/outbox.ts';
import type { Transport } from '../offline/sync.ts';

export class Unreachable extends Error {}
export class Refused extends Error {
	constructor(readonly problem: Problem) {
		super(problem.detail || problem.title);
	}
}

const BASE = '/api/v1';
/** Server clock minus this device's clock, ms; undefined before the first answer. */
export const clock: { skew_ms?: number } = {};

async function call(path: string, init?: RequestInit, timeout_ms = 20000): Promise<Response> {
	let res: Response;
	const began = Date.now();
	try {
		res = await fetch(path, { ...init, signal: AbortSignal.timeout(timeout_ms), cache: 'no-store' });
	} catch (e) {
		throw new Unreachable(navigator.onLine ? 'The server does not answer.' : 'No network.', { cause: e });
	}
	const date = Date.parse(res.headers.get('date') ?? '');
	if (date) clock.skew_ms = date + 500 - (began + Date.now()) / 2;
	// A proxy or a restarting server answers 502–504: same as no server.
	if (res.status >= 502 && res.status <= 504) throw new Unreachable(`The server is not ready (${res.status}).`);
	return res;
}

async function problemOf(res: Response): Promise<Problem> {
	try {
		const p = (await res.json()) as Problem;
		return { ...p, title: p.title || res.statusText, status: res.status };
	} catch {
		return { title: res.statusText || 'The server answered with an error', status: res.status };
	}
}

export async function getJson<T>(path: string): Promise<T> {
	const res = await call(BASE + path, { headers: { accept: 'application/json' } });
	if (!res.ok) throw new Refused(await problemOf(res));
	return (await res.json()) as T;
}

export async function postJson<T>(path: string, body: unknown, timeout_ms?: number): Promise<T> {
	const res = await call(BASE + path, { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) }, timeout_ms);
	if (!res.ok) throw new Refused(await problemOf(res));
	return (await res.json()) as T;
}

export async function alive(): Promise<boolean> {
	try {
		return (await call('/healthz', undefined, 5000)).ok;
	} catch {
		return false;
	}
}

interface BatchAnswer { status: string; record?: Rec; problem?: Problem }
interface Changes { changes: { collection: Collection; record: Rec }[]; cursor: string; more: boolean }
export interface RunView { run: Rec; samples: Rec[]; events: Rec[]; cursor: string }

const STATUS: Record<string, number> = { created: 201, updated: 200, unchanged: 200, conflict: 409 };

export const transport: Transport = {
	async batch(writes: Write[]): Promise<Answer[]> {
		const r = await postJson<{ answers: BatchAnswer[] }>('/batch', { sent_at: new Date().toISOString(), writes }, 60000);
		return r.answers.map((a) => ({ status: STATUS[a.status] ?? a.problem?.status ?? 422, record: a.record, problem: a.problem }));
	},
	changes: (since: string) => getJson<Changes>(`/changes?limit=1000&since=${encodeURIComponent(since || '0')}`),
	async list(c: Collection, after: string, newest = false) {
		const r = await getJson<{ records: Rec[]; next?: string }>(`/${c}?limit=1000${after ? `&after=${after}` : ''}${newest ? '&order=newest' : ''}`);
		return { records: r.records, next: r.next ?? '' };
	},
	view: (run_id: string) => getJson<RunView>(`/runs/${run_id}/view`)
};

export const revisions = (c: Collection, id: string) => getJson<{ revisions: Rec[] }>(`/${c}/${id}/revisions`).then((r) => r.revisions ?? []);

/** Calls back on every change the server tells of. Returns the way to stop. */
export function listen(onChange: () => void, onOpen: (up: boolean) => void): () => void {
	const es = new EventSource(`${BASE}/stream`);
	es.onopen = () => onOpen(true);
	es.onerror = () => onOpen(false);
	es.addEventListener('revision', onChange);
	return () => es.close();
}
