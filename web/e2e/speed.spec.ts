// A run of 5,000 samples: open, read and filter without waiting. The bound is
// generous against the machine, not against the user: figures are printed.
import { expect, test } from '@playwright/test';
import { asPerson, clean, DESK, installed, synced, watch } from './browser.ts';
import { seed } from './seed.ts';
import { Serve } from './serve.ts';

test('a run of 5,000 samples', async ({ browser }) => {
	test.setTimeout(120000);
	const s = await Serve.start();
	const ids = await seed(s, { run: true, samples: 5000 });
	const c = await browser.newContext(DESK);
	await asPerson(c, ids.person);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(s.url);
	await synced(page);
	await installed(page); // the first visit also fills the cache
	// From the tap on the run to a table that answers.
	const t0 = Date.now();
	await page.getByRole('link', { name: /C6.*Vellumrook/ }).first().click();
	await expect(page.getByTestId('samples').locator('tbody tr[data-id]').first()).toBeVisible();
	const table = Date.now() - t0;
	await expect(page.locator('canvas').first()).toBeVisible();
	const chart = Date.now() - t0;
	const t1 = Date.now();
	await page.reload();
	await expect(page.getByTestId('samples').locator('tbody tr[data-id]').first()).toBeVisible();
	const cold = Date.now() - t1;
	const t2 = Date.now();
	await page.goto(`${s.url}/runs/${ids.run}/sample`);
	await expect(page.getByLabel('Gross weight, g')).toBeFocused();
	const entry = Date.now() - t2;
	const t3 = Date.now();
	await page.getByLabel('Gross weight, g').pressSequentially('371.9');
	const typing = Date.now() - t3;
	console.log(`5,000 samples: table after ${table} ms, chart ${chart} ms, from a reload ${cold} ms, entry page ${entry} ms, five keys ${typing} ms`);
	expect(table).toBeLessThan(2000);
	expect(cold).toBeLessThan(4000);
	expect(typing).toBeLessThan(1500);
	clean(w);
	await c.close();
	await s.end();
});
