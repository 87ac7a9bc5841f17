// The only place that talks HTTP to the server. Network trouble becomes an
// Unreachable error, everything else an answer with its problem.
import type { Collection, Problem, Rec, Write } from './records.ts';
import type { Answer } from '../offline/outbox.ts';
import type { Change, Transport } from '../offline/sync.ts';
import createClient from 'openapi-fetch';
import type { components, paths } from '#gen/api.d.ts';
import type { OxygenMap } from '#core/cellarmap.ts';

export class Unreachable extends Error {}
export class Refused extends Error {
	constructor(readonly problem: Problem) {
		super(problem.detail || problem.title);
	}
}

/** Server clock minus this device's clock, ms; undefined before the first answer. */
export const clock: { skew_ms?: number } = {};

async function call(req: Request, timeout_ms = 45000): Promise<Response> {
	let res: Response;
	const began = Date.now();
	try {
		res = await fetch(req, { signal: AbortSignal.timeout(timeout_ms), cache: 'no-store' });
	} catch (e) {
		throw new Unreachable(navigator.onLine ? 'The server does not answer.' : 'No network.', { cause: e });
	}
	const date = Date.parse(res.headers.get('date') ?? '');
	if (date) clock.skew_ms = date + 500 - (began + Date.now()) / 2;
	// A proxy or a restarting server answers 502–504: same as no server.
	if (res.status >= 502 && res.status <= 504) throw new Unreachable(`The server is not ready (${res.status}).`);
	return res;
}

export const api = createClient<paths>({ baseUrl: '', fetch: (req: Request) => call(req) });

/** The data of an answer, or its problem as an error. */
export async function data<T>(p: Promise<{ data?: T; response: Response; error?: unknown }>): Promise<T> {
	const { data: d, response, error } = await p;
	if (d !== undefined) return d;
	const e = (error ?? {}) as Problem;
	throw new Refused({ ...e, title: e.title || response.statusText || 'The server answered with an error', status: response.status });
}

export async function alive(): Promise<boolean> {
	try {
		return (await call(new Request('/healthz'), 5000)).ok;
	} catch {
		return false;
	}
}

export interface RunView { run: Rec; samples: Rec[]; events: Rec[]; cursor: string }

const STATUS: Record<string, number> = { created: 201, updated: 200, unchanged: 200, conflict: 409 };
// The generated paths are one per collection; the records of each are checked in contract.ts.
type OneOf = '/api/v1/samples';

export const transport: Transport = {
	async batch(writes: Write[]): Promise<Answer[]> {
		const r = await data(api.POST('/api/v1/batch', { body: { sent_at: new Date().toISOString(), writes } }));
		return r.answers.map((a) => ({ status: STATUS[a.status] ?? a.problem?.status ?? 422, record: a.record as Rec | undefined, problem: a.problem as Problem | undefined }));
	},
	async changes(since: string) {
		return (await data(api.GET('/api/v1/changes', { params: { query: { since: since || '0', limit: 1000 } } }))) as { changes: Change[]; cursor: string; more: boolean };
	},
	async list(c: Collection, after: string, newest = false) {
		const r = await data(api.GET(`/api/v1/${c}` as OneOf, { params: { query: { limit: 1000, ...(after ? { after } : {}), ...(newest ? { order: 'newest' as const } : {}) } } }));
		return { records: r.records as unknown as Rec[], next: r.next ?? '' };
	},
	view: async (id: string) => (await data(api.GET('/api/v1/runs/{id}/view', { params: { path: { id } } }))) as unknown as RunView
};

export const revisions = async (c: Collection, id: string): Promise<Rec[]> =>
	(await data(api.GET(`/api/v1/${c}/{id}/revisions` as `${OneOf}/{id}/revisions`, { params: { path: { id } } }))).revisions as unknown as Rec[];

/** Asks the server to compute all results of a run again; it keeps the older ones. Answers how many changed. */
export const recompute = async (id: string, by: string): Promise<number> =>
	(await data(api.POST('/api/v1/runs/{id}/recompute', { params: { path: { id }, query: { by } } }))).changed;

/** A calculation by the server, for a browser that has not loaded the core. A refused input is an answer too. */
export async function calcOnServer(name: string, input: Record<string, unknown>): Promise<unknown> {
	const { data: d, error } = await api.POST('/api/v1/calc/{name}', { params: { path: { name } }, body: input });
	return d ?? error;
}

/** What was judged of runs; the server computes it anew each time. */
export const judged = {
	run: (id: string): Promise<components['schemas']['Report']> => data(api.GET('/api/v1/runs/{id}/judgement', { params: { path: { id } } })),
	compare: (query: paths['/api/v1/compare']['get']['parameters']['query']): Promise<Comparison> => data(api.GET('/api/v1/compare', { params: { query } })),
	month: (month: string): Promise<Month> => data(api.GET('/api/v1/months/{month}', { params: { path: { month } } }))
};
export type Comparison = components['schemas']['Comparison'];
export type Month = components['schemas']['Month'];

/** Calls back on every change the server tells of. Returns the way to stop. */
export function listen(onChange: () => void, onOpen: (up: boolean) => void): () => void {
	const es = new EventSource('/api/v1/stream');
	es.onopen = () => onOpen(true);
	es.onerror = () => onOpen(false);
	es.addEventListener('revision', onChange);
	return () => es.close();
}

/** What a check means, how an instrument drifts, and what to buy: computed by the server from all records. */
export const instruments = {
	consequences: (id: string): Promise<Consequences> => data(api.GET('/api/v1/meter_checks/{id}/consequences', { params: { path: { id } } })),
	history: (id: string): Promise<components['schemas']['History']> => data(api.GET('/api/v1/instruments/{id}/history', { params: { path: { id } } })),
	buyNext: (): Promise<BuyNext> => data(api.GET('/api/v1/buy-next')),
	/** Packages on record that were read both ways. */
	pairs: (): Promise<components['schemas']['Pairs']> => data(api.GET('/api/v1/studies/pairs'))
};
export type Consequences = components['schemas']['Consequences'];
export type BuyNext = components['schemas']['BuyNext'];

/** Old logs: sent as they are, read under a mapping, written once confirmed. */
export const imports = {
	async send(file: File, zone: string): Promise<ImportUpload> {
		const res = await call(new Request(`/api/v1/imports/files?${new URLSearchParams({ name: file.name, time_zone: zone })}`, { method: 'POST', headers: { 'content-type': 'application/octet-stream' }, body: file }), 1200000);
		return data<ImportUpload>(res.ok ? Promise.resolve({ data: (await res.json()) as ImportUpload, response: res }) : Promise.resolve({ response: res, error: await res.json().catch(() => ({})) }));
	},
	preview: (id: string, body: ImportMapping): Promise<ImportPreview> => data(api.POST('/api/v1/imports/files/{id}/preview', { params: { path: { id } }, body })),
	confirm: (id: string, body: components['schemas']['ConfirmImport']): Promise<ImportProgress> => data(api.POST('/api/v1/imports/files/{id}/confirm', { params: { path: { id } }, body })),
	undo: (id: string, body: components['schemas']['UndoImport']): Promise<ImportProgress> => data(api.POST('/api/v1/imports/{id}/undo', { params: { path: { id } }, body })),
	progress: (id: string): Promise<ImportProgress> => data(api.GET('/api/v1/imports/{id}/progress', { params: { path: { id } } })),
	list: async (): Promise<ImportRecord[]> => (await data(api.GET('/api/v1/imports', { params: { query: { limit: 50, order: 'newest' } } }))).records
};
export type ImportUpload = components['schemas']['ImportUpload'];
export type ImportPreview = components['schemas']['ImportPreview'];
export type ImportMapping = components['schemas']['ImportMapping'];
export type ImportProgress = components['schemas']['ImportProgress'];
export type ImportRecord = components['schemas']['Import'];

/** What the server computes of batches, over the records of all devices. */
export const cellar = {
	map: async (id: string): Promise<OxygenMap> => (await data(api.GET('/api/v1/batches/{id}/map', { params: { path: { id } } }))).map as unknown as OxygenMap,
	changes: (id: string): Promise<Changes> => data(api.GET('/api/v1/batches/{id}/changes', { params: { path: { id } } })),
	transfers: (query: paths['/api/v1/transfers']['get']['parameters']['query']): Promise<Transfers> => data(api.GET('/api/v1/transfers', { params: { query } }))
};
export type Changes = components['schemas']['WhatChanged'];
export type Transfers = components['schemas']['TransferList'];
