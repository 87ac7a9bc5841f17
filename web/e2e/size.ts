// Weighs the app, gzip as the network carries it: the shell, which every page
// loads, with style and font; the pages; charts; the core. The service worker keeps
// them all for the day without a network. Fails above a budget.
import { readdirSync, readFileSync, statSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { gzipSync } from 'node:zlib';

const ROOT = new URL('../dist/app/', import.meta.url).pathname;
const BUDGET = { shell: 130_000, pages: 450_000 };
const files = (d: string): string[] => readdirSync(d).flatMap((f) => (statSync(join(d, f)).isDirectory() ? files(join(d, f)) : [join(d, f)]));
const weight = (f: string) => (/\.(woff2|png)$/.test(f) ? statSync(f).size : gzipSync(readFileSync(f), { level: 9 }).length);
const sums = { shell: 0, pages: 0, charts: 0, core: 0, pictures: 0 };
// What the first page asks for, and what that asks for in turn.
const first = new Set<string>();
const follow = (f: string): void => {
	if (first.has(f)) return;
	first.add(f);
	for (const m of readFileSync(f, 'utf8').matchAll(/(?:from|import)\s*["'](\.[^"']+\.js)["']/g)) follow(join(dirname(f), m[1]));
};
for (const m of readFileSync(join(ROOT, 'boot.js'), 'utf8').matchAll(/["']\.?\/?(_app\/[^"']+\.js)["']/g)) follow(join(ROOT, m[1]));
for (const f of files(ROOT)) if (/\/nodes\/0\.[^/]*\.js$/.test(f)) follow(f); // the layout
for (const f of files(ROOT)) {
	const name = f.slice(ROOT.length);
	const kind = /core\.wasm|wasm_exec/.test(name) ? 'core' : /\.png$/.test(name) ? 'pictures' : /\.js$/.test(name) && statSync(f).size > 250_000 ? 'charts' : first.has(f) || /\/assets\/0\.|\.(woff2|html|svg|webmanifest)$|^(boot|service-worker)/.test(name) ? 'shell' : 'pages';
	sums[kind] += weight(f);
}
const kb = (n: number) => `${(n / 1000).toFixed(1)} kB`;
console.log(`app shell, with style and font: ${kb(sums.shell)} of ${kb(BUDGET.shell)}\npages, all together: ${kb(sums.pages)} of ${kb(BUDGET.pages)}\ncharts, loaded with the first chart: ${kb(sums.charts)}\ncalculation core: ${kb(sums.core)}\npictures: ${kb(sums.pictures)}`);
if (sums.shell > BUDGET.shell || sums.pages > BUDGET.pages) process.exit(1);
