// Weighs the app: what every page loads (shell), the rest of the pages, charts
// and core, gzip as the network carries it. Fails above the budget of the shell.
import { readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

const ROOT = new URL('../dist/app/', import.meta.url).pathname;
const BUDGET = 350_000;
const files = (d: string): string[] => readdirSync(d).flatMap((f) => (statSync(join(d, f)).isDirectory() ? files(join(d, f)) : [join(d, f)]));
const weight = (f: string) => (/\.(woff2|png)$/.test(f) ? statSync(f).size : gzipSync(readFileSync(f), { level: 9 }).length);
const sums: Record<string, number> = { shell: 0, charts: 0, core: 0, pictures: 0 };
for (const f of files(ROOT)) {
	const name = f.slice(ROOT.length);
	const kind = /core\.wasm|wasm_exec/.test(name) ? 'core' : /\.png$/.test(name) ? 'pictures' : /\.js$/.test(name) && statSync(f).size > 250_000 ? 'charts' : 'shell';
	sums[kind] += weight(f);
}
const kb = (n: number) => `${(n / 1000).toFixed(1)} kB`;
console.log(`app shell, every page with style and font: ${kb(sums.shell)} of ${kb(BUDGET)}\ncharts, loaded with the first chart: ${kb(sums.charts)}\ncalculation core: ${kb(sums.core)}\npictures: ${kb(sums.pictures)}`);
if (sums.shell > BUDGET) process.exit(1);
