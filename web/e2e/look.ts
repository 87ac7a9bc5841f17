// Pictures of every page, phone and desk, light and dark, for a person to look
// at: node e2e/look.ts [quick] [page ...]. With ULLAGE_URL set it looks at a
// server that is running, such as the demo; with "empty" it looks at one without
// a record. The pages are those of src/routes, each with a record of the server.
// Not a test.
import { mkdirSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { chromium, type Page } from '@playwright/test';
import { asPerson, CHROMIUM, DESK, PHONE, synced } from './browser.ts';
import { seed } from './seed.ts';
import { Serve } from './serve.ts';

interface Found { id: string; status?: string; kind?: string; run_id?: string; number?: number; outcome?: string; instrument_id?: string; hold?: { state?: string } }
const ROUTES = join(import.meta.dirname, '../src/routes');
const walk = (d: string): string[] => readdirSync(d, { withFileTypes: true }).flatMap((f) => (f.isDirectory() ? walk(join(d, f.name)) : f.name === '+page.svelte' ? [d.slice(ROUTES.length) || '/'] : []));

const args = process.argv.slice(2), empty = args.includes('empty');
const at = process.env.ULLAGE_URL;
const s = at ? undefined : await Serve.start();
const url = at ?? s!.url;
if (s && !empty) await seed(s, { run: true, samples: 24 });
const list = async (path: string): Promise<Found[]> => ((await (await fetch(`${url}/api/v1/${path}`)).json()) as { records: Found[] }).records;
const newest = async (c: string) => list(`${c}?order=newest&limit=100`);
const [runs, instruments, checks, studies, decisions] = await Promise.all(['runs', 'instruments', 'meter_checks', 'studies', 'decisions'].map(newest));
const none = '00000000-0000-7000-8000-00000000000f'; // a record that is not there has a page too
const one = async (c: string) => (await newest(c))[0]?.id ?? none;
const going = runs.find((r) => r.status === 'going')?.id ?? none, ended = runs.find((r) => r.status !== 'going');
const held = runs.find((r) => r.hold?.state === 'held')?.id ?? ended?.id ?? none;
const failed = checks.find((c) => c.outcome === 'failed') ?? checks[0];
const person = (await list('people?limit=1'))[0]?.id ?? '';

/** The addresses of a page with a parameter; a new such page has to be told here. */
const FILL: Record<string, string[]> = {
	'/runs/[id]': [going, ended?.id ?? none], '/runs/[id]/sample': [going], '/runs/[id]/plan': [going], '/runs/[id]/judgement': [going, held], '/runs/[id]/lot': [held, decisions[0]?.run_id ?? none],
	'/cellar/batches/[id]': [await one('batches')], '/cellar/brews/[id]': ['new', await one('brews')], '/cellar/moves/[id]': ['new', await one('moves')],
	'/instruments/[id]': ['do_meter', 'scale'].map((k) => instruments.find((i) => i.kind === k)?.id ?? none), '/instruments/[id]/check': ['do_meter', 'scale', 'thermometer'].map((k) => instruments.find((i) => i.kind === k)?.id ?? none),
	'/months/[month]': [new Date(Date.now() - 20 * 86400000).toISOString().slice(0, 7)],
	'/studies/[kind]': ['tare', 'capacity', 'shake', 'repeatability'].map((k) => { const x = studies.find((y) => y.kind === k); return x ? `${k}?study=${x.id}` : k; }),
	'/setup/[collection]': ['beers', 'format_lots', 'limits', 'people', 'meter_checks']
};
const PAIRS: Record<string, [string, string][]> = {
	'/instruments/[id]/checks/[check]': [[failed?.instrument_id ?? none, failed?.id ?? none]],
	'/setup/[collection]/[id]': [['beers', await one('beers')], ['limits', 'new'], ['format_lots', await one('format_lots')], ['instruments', await one('instruments')]]
};
const agreement = studies.find((x) => x.kind === 'agreement');
const EXTRA = ['/nothing-here', ...(agreement ? [`/studies/agreement?study=${agreement.id}`] : []), `/cellar/reading?batch=${await one('batches')}`];
const paths = [...walk(ROUTES).flatMap((r) => {
	if (!r.includes('[')) return [r];
	const out = FILL[r]?.map((v) => r.replace(/\[\w+\]/, v)) ?? PAIRS[r]?.map(([a, b]) => r.replace(/\[\w+\]/, a).replace(/\[\w+\]/, b));
	if (!out) throw new Error(`look.ts knows no record for ${r}`);
	return out;
}), ...EXTRA];
/** File name of an address: words stay, ids become their last digits. */
const named = (p: string) => p.replace(/[0-9a-f]{8}-[0-9a-f-]{27}/g, (x) => x.slice(-3)).replace(/[^\w]+/g, '-').replace(/^-|-$/g, '') || 'today';
const dir = `e2e/out/${empty ? 'empty' : 'look'}`;
const want = args.filter((a) => a !== 'quick' && a !== 'empty');
const modes = args.includes('quick') ? ([['phone', 'light'], ['desk', 'dark']] as const) : ([['phone', 'light'], ['phone', 'dark'], ['desk', 'light'], ['desk', 'dark']] as const);
async function typed(p: Page, path: string): Promise<void> {
	if (!/runs\/[^/]+\/sample$/.test(path) || path.includes(none)) return;
	await p.getByLabel(/^Beer, °/).fill('6.1'); // a carried temperature may be too old
	await p.getByLabel('Gross weight').fill('459.6');
	await p.getByLabel('Shaken DO, ppb').fill('46');
	await p.getByTestId('result').waitFor();
}
mkdirSync(dir, { recursive: true });
const b = await chromium.launch(CHROMIUM);
for (const [size, scheme] of modes) {
	const c = await b.newContext({ ...(size === 'phone' ? { ...PHONE, deviceScaleFactor: 1.5 } : DESK), colorScheme: scheme, reducedMotion: 'reduce' });
	if (person) await asPerson(c, person);
	const p = await c.newPage();
	let path = '';
	p.on('console', (m) => m.type() === 'error' && console.log(size, scheme, path, m.text()));
	p.on('pageerror', (e) => console.log(size, scheme, path, String(e)));
	await p.goto(url);
	await synced(p);
	for (path of paths) {
		if (want.length && !want.some((w) => named(path).includes(w))) continue;
		await p.goto(url + path);
		await synced(p);
		await p.locator('h1').first().waitFor();
		await typed(p, path);
		await p.waitForTimeout(700);
		const wide = await p.evaluate(() => document.documentElement.scrollWidth - innerWidth);
		if (wide > 1) console.log(size, path, `${wide} px wider than the screen`);
		// A long page is seen whole up to here.
		const high = await p.evaluate(() => document.documentElement.scrollHeight);
		await p.screenshot({ path: `${dir}/${named(path)}-${size}-${scheme}.png`, fullPage: !/\/(sample|reading)/.test(path), ...(high > 6000 ? { clip: { x: 0, y: 0, width: size === 'phone' ? 390 : 1280, height: 6000 } } : {}) });
	}
	await c.close();
}
await b.close();
await s?.end();
