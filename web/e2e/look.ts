// Pictures of every page, phone and desk, light and dark, for a person to look
// at: node e2e/look.ts [quick] [page ...]. With ULLAGE_URL set it looks at a
// server that is running, such as the demo. Not a test.
import { mkdirSync } from 'node:fs';
import { chromium } from '@playwright/test';
import { asPerson, CHROMIUM, DESK, PHONE, synced } from './browser.ts';
import { seed } from './seed.ts';
import { Serve } from './serve.ts';

const at = process.env.ULLAGE_URL;
const s = at ? undefined : await Serve.start();
const url = at ?? s!.url;
interface Found { id: string; status?: string; run_id?: string }
const first = async (path: string): Promise<Found> => ((await (await fetch(`${url}/api/v1/${path}`)).json()) as { records: Found[] }).records[0];
const ids = s ? await seed(s, { run: true, samples: 24 }) : { run: process.env.ULLAGE_RUN ?? (await first('runs?order=newest&limit=1')).id, beer: (await first('beers?limit=1')).id, person: (await first('people?limit=1')).id };
const PAGES: Record<string, string> = {
	today: '/', runs: '/runs', new: '/runs/new', run: `/runs/${ids.run}`, sample: `/runs/${ids.run}/sample`, calc: '/calc', setup: '/setup', lots: '/setup/format_lots', beer: `/setup/beers/${ids.beer}`, me: '/me', waiting: '/waiting'
};
const want = process.argv.slice(2).filter((a) => a in PAGES);
const modes = process.argv.includes('quick') ? ([['phone', 'light'], ['desk', 'dark']] as const) : ([['phone', 'light'], ['phone', 'dark'], ['desk', 'light'], ['desk', 'dark']] as const);
mkdirSync('e2e/out', { recursive: true });
const b = await chromium.launch(CHROMIUM);
for (const [size, scheme] of modes) {
	const c = await b.newContext({ ...(size === 'phone' ? PHONE : DESK), colorScheme: scheme, reducedMotion: 'reduce' });
	await asPerson(c, ids.person);
	const p = await c.newPage();
	p.on('console', (m) => m.type() === 'error' && console.log(size, scheme, m.text()));
	p.on('pageerror', (e) => console.log(size, scheme, String(e)));
	await p.goto(url);
	await synced(p);
	for (const [name, path] of Object.entries(PAGES)) {
		if (want.length && !want.includes(name)) continue;
		await p.goto(url + path);
		await synced(p);
		if (name === 'sample') {
			await p.getByLabel('Gross weight').fill('371.9');
			await p.getByLabel('Shaken DO, ppb').fill('46');
			await p.getByTestId('result').waitFor();
		}
		await p.waitForTimeout(400);
		await p.screenshot({ path: `e2e/out/${name}-${size}-${scheme}.png`, fullPage: name !== 'sample' });
	}
	await c.close();
}
await b.close();
await s?.end();
