// The real server on its own port and its own data folder; may be killed and
// started again on the same ones.
import { spawn, type ChildProcess } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';

export const BIN = process.env.ULLAGE_BIN ?? resolve(import.meta.dirname, '../../bin/ullage');

function freePort(): Promise<number> {
	return new Promise((ok, no) => {
		const s = createServer().on('error', no).listen(0, '127.0.0.1', () => {
			const a = s.address();
			s.close(() => (a && typeof a === 'object' ? ok(a.port) : no(new Error('no port'))));
		});
	});
}

export class Serve {
	url = '';
	private child?: ChildProcess;
	private log = '';
	private port: number;
	private data: string;
	private how: string[];
	private constructor(port: number, data: string, how: string[]) {
		this.port = port;
		this.data = data;
		this.how = how;
		this.url = `http://127.0.0.1:${port}`;
	}
	/** On an empty folder, or on one that is given and is removed at the end as well. */
	static async start(data = mkdtempSync(join(tmpdir(), 'ullage-e2e-')), how = ['--open']): Promise<Serve> {
		if (!existsSync(BIN)) throw new Error(`${BIN} is not there: build it first (make), or set ULLAGE_BIN`);
		const s = new Serve(await freePort(), data, how);
		await s.up();
		return s;
	}
	/** Temporary files lie in its folder: a killed server cannot remove them. */
	async up(): Promise<void> {
		const c = spawn(BIN, ['serve', ...this.how, '--addr', `127.0.0.1:${this.port}`, '--data', this.data], { stdio: ['ignore', 'pipe', 'pipe'], env: { ...process.env, TMPDIR: this.data } });
		this.child = c;
		process.once('exit', () => c.kill('SIGKILL'));
		const take = (b: Buffer) => (this.log = (this.log + b.toString()).slice(-4000));
		c.stdout!.on('data', take);
		c.stderr!.on('data', take);
		for (let i = 0; i < 200; i++) {
			if (c.exitCode !== null) break;
			try {
				if ((await fetch(this.url + '/healthz')).ok) return;
			} catch {
				// not listening yet
			}
			await new Promise((r) => setTimeout(r, 50));
		}
		throw new Error(`the server did not answer at ${this.url}/healthz:\n${this.log}`);
	}
	/** The one-time link of the first administrator, as the terminal shows it. */
	get adminLink(): string {
		return /\S+\/sign-in#link=\S+/.exec(this.log)?.[0] ?? '';
	}
	/** As a power cut ends it: no chance to tidy. */
	async kill(): Promise<void> {
		const c = this.child;
		if (!c || c.exitCode !== null || c.signalCode) return;
		const gone = new Promise((r) => c.once('exit', r));
		c.kill('SIGKILL');
		await gone;
	}
	async end(): Promise<void> {
		await this.kill();
		rmSync(this.data, { recursive: true, force: true });
	}
	async get<T>(path: string): Promise<T> {
		const r = await fetch(`${this.url}/api/v1${path}`, { signal: AbortSignal.timeout(10000) });
		if (!r.ok) throw new Error(`${path}: ${r.status} ${await r.text()}`);
		return (await r.json()) as T;
	}
	async write(writes: object[]): Promise<Answer[]> {
		const out: Answer[] = [];
		for (let i = 0; i < writes.length; i += 500) {
			const r = await fetch(`${this.url}/api/v1/batch`, { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify({ writes: writes.slice(i, i + 500) }), signal: AbortSignal.timeout(15000) });
			if (!r.ok) throw new Error(`batch: ${r.status} ${await r.text()}`);
			out.push(...((await r.json()) as { answers: Answer[] }).answers);
		}
		return out;
	}
}
export interface Answer { status: string; record?: { id: string; rev: number }; problem?: { title: string; detail?: string } }
