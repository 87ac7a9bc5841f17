// The calculation core in a worker: a slow calculation cannot block typing. Same
// table and same answers as the server and the command line.

export interface CalcWarning { field: string; value?: unknown; message: string; mend?: string; [k: string]: unknown }
export interface CalcError { kind?: string; field?: string; value?: unknown; message: string; mend?: string }
export interface CalcAnswer<T = Record<string, unknown>> {
	result?: T;
	warnings?: CalcWarning[];
	derivation?: unknown[];
	error?: CalcError;
}

let worker: Worker | undefined;
let n = 0;
const open = new Map<number, { ok: (s: string) => void; no: (e: Error) => void }>();

function start(): Worker {
	const w = new Worker(new URL('./worker.ts', import.meta.url), { type: 'module', name: 'ullage-core' });
	w.onmessage = (e: MessageEvent<{ n: number; out?: string; fail?: string }>) => {
		const p = open.get(e.data.n);
		open.delete(e.data.n);
		if (e.data.fail !== undefined) p?.no(new Error(e.data.fail));
		else p?.ok(e.data.out!);
	};
	w.onerror = (e) => {
		for (const p of open.values()) p.no(new Error(e.message || 'the calculation stopped'));
		open.clear();
		worker?.terminate();
		worker = undefined;
	};
	return w;
}

/** Runs a named calculation. Rejects only if the core itself cannot run. */
export function run<T = Record<string, unknown>>(name: string, input: object): Promise<CalcAnswer<T>> {
	worker ??= start();
	const id = ++n;
	return new Promise<string>((ok, no) => {
		open.set(id, { ok, no });
		worker!.postMessage({ n: id, name, json: JSON.stringify(input) });
	}).then((s) => JSON.parse(s) as CalcAnswer<T>);
}
