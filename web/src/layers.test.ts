// Who may import and touch what: routes use everything; parts draw and know only
// words and shapes; one room talks HTTP, one touches the WebAssembly core.
import { readdirSync, readFileSync } from 'node:fs';
import { join, relative } from 'node:path';
import { describe, expect, it } from 'vitest';

const ROOT = import.meta.dirname;
const files = (d: string): string[] => readdirSync(d, { withFileTypes: true }).flatMap((f) => (f.isDirectory() ? files(join(d, f.name)) : [join(d, f.name)]));
const all = files(ROOT).filter((f) => /\.(ts|svelte)$/.test(f) && !/\.test\.ts$|gen\//.test(f)).map((f) => ({ f: relative(ROOT, f), text: readFileSync(f, 'utf8') }));
/** Imports that bring code, not only types. */
const brings = (text: string): string[] => [...text.matchAll(/import\s+(?!type\b)([^'"]*?)from\s+'([^']+)'|import\('([^']+)'\)/g)].filter((m) => !/^\{(\s*type\s+[\w$]+(\s+as\s+\w+)?\s*,?)+\}\s*$/.test(m[1] ?? '')).map((m) => m[2] ?? m[3]);

describe('layers', () => {
	it('sees the code it is about', () => {
		expect(all.length).toBeGreaterThan(50);
		expect(brings("import { a, type B } from '#offline/x.ts';\nimport type { C } from '#api/y.ts';\nimport { type D } from '#api/z.ts';")).toEqual(['#offline/x.ts']);
	});
	const rules: [string, RegExp, RegExp][] = [
		['parts bring nothing from offline, and from api only the shapes', /^parts\//, /#offline|#api\/(?!records)/],
		['core brings nothing from offline but ids, nor HTTP', /^core\//, /#offline|#api\/(?!records)|#parts/],
		['offline knows no page, no part, no calculation', /^offline\/(?!net|store)/, /#parts|#core|routes/],
		['api knows no page and no part', /^api\//, /#parts|routes/]
	];
	// State and a picker of the import page; they belong beside that page.
	const PAGE = ['core/import.svelte.ts', 'parts/ImportNames.svelte'];
	for (const [what, where, never] of rules)
		it(what, () => expect(all.filter((x) => where.test(x.f) && !PAGE.includes(x.f)).flatMap((x) => brings(x.text).filter((i) => never.test(i)).map((i) => `${x.f} brings ${i}`))).toEqual([]));
	it('only api, the core worker and the service worker fetch', () => expect(all.filter((x) => /\bfetch\(|new EventSource|XMLHttpRequest/.test(x.text) && !/^(api\/|core\/worker\.ts|service-worker\/)/.test(x.f)).map((x) => x.f)).toEqual([]));
	it('only the core worker touches the calculation core', () => expect(all.filter((x) => /\.ullage\b(?!\.)/.test(x.text.replace(/'[^']*'|`[^`]*`/g, '')) && x.f !== 'core/worker.ts').map((x) => x.f)).toEqual([]));
	it('no file is longer than 400 lines', () => expect(all.filter((x) => x.text.split('\n').length > 401).map((x) => x.f)).toEqual([]));
});
