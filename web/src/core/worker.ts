// Loads the WebAssembly core once and answers calls one by one.
interface GoRuntime { importObject: WebAssembly.Imports; run(i: WebAssembly.Instance): Promise<void> }
interface Core { run(name: string, json: string): string; list(): string }
interface Scope { Go: new () => GoRuntime; ullage?: Core }
const scope = globalThis as unknown as Scope;

async function load(): Promise<Core> {
	const runtime = '/wasm_exec.js';
	await import(/* @vite-ignore */ runtime);
	const go = new scope.Go();
	const res = await fetch('/core.wasm');
	if (!res.ok) throw new Error(`the calculation core could not be loaded (${res.status})`);
	const bytes = await res.arrayBuffer();
	const { instance } = await WebAssembly.instantiate(bytes, go.importObject);
	void go.run(instance);
	for (let i = 0; i < 200 && !scope.ullage; i++) await new Promise((r) => setTimeout(r, 5));
	if (!scope.ullage) throw new Error('the calculation core did not start');
	return scope.ullage;
}

let core: Promise<Core> | undefined;

onmessage = async (e: MessageEvent<{ n: number; name: string; json: string }>) => {
	const { n, name, json } = e.data;
	try {
		core ??= load();
		postMessage({ n, out: (await core).run(name, json) });
	} catch (err) {
		core = undefined;
		postMessage({ n, fail: (err as Error).message });
	}
};
