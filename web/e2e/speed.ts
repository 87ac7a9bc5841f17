// Measures a run of 5,000 samples in the browser: npm run bench. Not a test: what
// else the machine does must not decide about a change.
import { chromium } from '@playwright/test';
import { asPerson, CHROMIUM, DESK, installed, synced } from './browser.ts';
import { seed } from './seed.ts';
import { Serve } from './serve.ts';

const s = await Serve.start();
const ids = await seed(s, { run: true, samples: 5000 });
const b = await chromium.launch(CHROMIUM);
const c = await b.newContext(DESK);
await asPerson(c, ids.person);
const page = await c.newPage();
const row = page.getByTestId('samples').locator('tbody tr[data-id]').first();
const clock = async (what: string, act: () => Promise<unknown>): Promise<void> => {
	const t = performance.now();
	await act();
	console.log(`${what}: ${(performance.now() - t).toFixed(0)} ms`);
};
await page.goto(s.url);
await synced(page);
await installed(page);
await clock('5,000 samples, from the tap to the table', async () => {
	await page.getByRole('link', { name: /C6.*Vellumrook/ }).first().click();
	await row.waitFor();
});
await clock('and on to the chart', () => page.locator('canvas').first().waitFor());
await clock('from a reload to the table', async () => {
	await page.reload();
	await row.waitFor();
});
await clock('entry page, from its address to a field that takes keys', async () => {
	await page.goto(`${s.url}/runs/${ids.run}/sample`);
	await page.locator('#in-gross:focus').waitFor();
});
await clock('five keys', () => page.getByLabel('Gross weight, g').pressSequentially('371.9'));
await b.close();
await s.end();
