// The demo brewery built by the program itself, served from a folder of its own.
import { execFileSync } from 'node:child_process';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { Serve } from './serve.ts';

const BIN = process.env.ULLAGE_BIN ?? resolve(import.meta.dirname, '../../bin/ullage');

export async function demo(): Promise<Serve> {
	const data = mkdtempSync(join(tmpdir(), 'ullage-demo-'));
	execFileSync(BIN, ['demo', '--build-only', '--data', data], { stdio: 'ignore', timeout: 120000 });
	return Serve.start(data);
}
