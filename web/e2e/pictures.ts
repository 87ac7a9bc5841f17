// The pictures of the README, from the demo: make pictures.
import { mkdirSync } from 'node:fs';
import { chromium } from '@playwright/test';
import { asPerson, CHROMIUM, DESK, PHONE, synced } from './browser.ts';

const url = process.env.ULLAGE_URL;
if (!url) throw new Error('ULLAGE_URL is not set: start ullage demo and give its address');
interface Found { id: string; status?: string; number?: number; batch_id?: string; kind?: string }
const list = async (path: string) => ((await (await fetch(`${url}/api/v1/${path}`)).json()) as { records: Found[] }).records;
const runs = await list('runs?order=newest&limit=20');
const going = runs.find((r) => r.status === 'going') ?? runs[0];
const judged = (runs.find((r) => r.number === 134) ?? runs[1]).id; // one head of six too high
const person = (await list('people?limit=1'))[0].id;
const out = '../docs/pictures';
mkdirSync(out, { recursive: true });
const b = await chromium.launch(CHROMIUM);
const take = async (name: string, size: 'phone' | 'desk', scheme: 'light' | 'dark', path: string, before?: (p: import('@playwright/test').Page) => Promise<void>) => {
	const c = await b.newContext({ ...(size === 'phone' ? PHONE : DESK), deviceScaleFactor: 1, colorScheme: scheme, reducedMotion: 'reduce' });
	await asPerson(c, person);
	const p = await c.newPage();
	await p.goto(url);
	await synced(p);
	await p.goto(url + path);
	await synced(p);
	await before?.(p);
	await p.waitForTimeout(900);
	await p.screenshot({ path: `${out}/${name}.png` });
	await c.close();
};
await take('today-phone', 'phone', 'light', '/');
await take('sample-phone', 'phone', 'light', `/runs/${going.id}/sample`, async (p) => {
	await p.getByLabel('Gross weight').fill('459.6');
	await p.getByLabel('Shaken DO, ppb').fill('46');
	await p.getByTestId('result').waitFor();
});
await take('run-desk', 'desk', 'light', `/runs/${going.id}`);
await take('judgement-desk', 'desk', 'light', `/runs/${judged}/judgement`);
await take('calculator-desk-dark', 'desk', 'dark', '/calc');
await take('map-desk', 'desk', 'light', `/cellar/batches/${runs.find((r) => r.number === 138)?.batch_id}`);
await take('cellar-phone', 'phone', 'light', '/cellar');
await take('purge-phone', 'phone', 'light', '/plan/purge');
const pairs = (await list('studies?limit=50')).find((s) => s.kind === 'agreement');
await take('agreement-desk', 'desk', 'light', `/studies/agreement?study=${pairs?.id}`);
await b.close();
