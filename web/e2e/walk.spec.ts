// The walk a technician takes: start a run, five samples, two of them without a
// network and over a killed browser, seen once each by a second client, one
// corrected, and the table taken home.
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium, expect, test, type BrowserContext, type Page } from '@playwright/test';
import { asPerson, CHROMIUM, clean, DESK, installed, PHONE, synced, watch } from './browser.ts';
import { seed, type Seed } from './seed.ts';
import { Serve } from './serve.ts';

let s: Serve, ids: Seed, profile: string;
test.beforeAll(async () => {
	s = await Serve.start();
	ids = await seed(s);
	profile = mkdtempSync(join(tmpdir(), 'ullage-phone-'));
});
test.afterAll(async () => {
	await s.end();
	rmSync(profile, { recursive: true, force: true });
});

const phone = (): Promise<BrowserContext> => chromium.launchPersistentContext(profile, { ...CHROMIUM, ...PHONE, acceptDownloads: true }).then((c) => (c.setDefaultTimeout(10000), c));

/** As the power button ends it: no unload, no goodbye. */
async function crash(c: BrowserContext): Promise<void> {
	const gone = new Promise((r) => c.once('close', r));
	const cdp = await c.browser()!.newBrowserCDPSession();
	void cdp.send('Browser.crash').catch(() => {});
	await gone;
}

async function keys(page: Page, text: string): Promise<void> {
	for (const k of text) await page.getByRole('group', { name: 'Numeric pad' }).getByRole('button', { name: k, exact: true }).tap();
}
/** One shaken package by the pad alone, in the order the page asks for. */
async function enter(page: Page, gross: string, shaken: string, first = false): Promise<void> {
	const pad = page.getByRole('group', { name: 'Numeric pad' });
	if (first) {
		await expect(page.getByLabel('Beer, °C')).toBeFocused();
		await keys(page, '3.8');
	}
	await expect(page.getByLabel('Gross weight, g')).toBeFocused();
	await keys(page, gross);
	await expect(page.getByLabel('Shaken DO, ppb')).toBeFocused();
	await keys(page, shaken);
	await expect(page.getByTestId('result')).toContainText('TPO, calculated');
	await pad.getByRole('button', { name: 'Save' }).tap();
	await expect(page.getByRole('button', { name: /^Undo/ })).toBeVisible();
}

test('the walk', async ({ browser }) => {
	test.setTimeout(120000);
	let c = await phone();
	await asPerson(c, ids.person);
	let page = c.pages()[0] ?? (await c.newPage());
	let w = watch(page);

	// Start a run.
	await page.goto(s.url);
	await synced(page);
	await page.getByRole('link', { name: 'Start a run' }).tap();
	await page.getByRole('radio', { name: 'C6' }).tap();
	await page.getByRole('radio', { name: 'Vellumrook' }).tap();
	await page.getByRole('radio', { name: 'Can 355' }).tap();
	await expect(page.getByText('13.40 g (SD 0.12)')).toBeVisible();
	await page.getByLabel('Code on the package').fill('L6330');
	await page.getByRole('button', { name: 'Start the run' }).tap();
	await page.waitForURL(/\/runs\/[^/]+\/sample$/);
	const run = page.url().split('/').at(-2)!;

	// Three samples with a network.
	await enter(page, '371.9', '46', true);
	await enter(page, '372.4', '41');
	await enter(page, '371.2', '52');
	await synced(page);
	await installed(page);
	await page.goto(`${s.url}/runs/${run}/sample`); // now through the service worker
	await synced(page);

	// Two without, the server gone as well, the browser killed between them.
	w.cut(true);
	await c.setOffline(true);
	await s.kill();
	await enter(page, '372.8', '44');
	await expect(page.getByTestId('net')).toContainText('No network');
	await expect(page.getByTestId('waiting')).toHaveText('1 waiting');
	clean(w);
	await crash(c);

	c = await phone();
	page = c.pages()[0] ?? (await c.newPage());
	w = watch(page);
	w.cut(true);
	await page.goto(`${s.url}/runs/${run}/sample`, { timeout: 90000 }); // a browser that was killed starts slowly on a busy machine
	await expect(page.getByTestId('net')).toContainText('No server');
	await expect(page.getByTestId('waiting')).toHaveText('1 waiting');
	await enter(page, '371.5', '48');
	await expect(page.getByTestId('waiting')).toHaveText('2 waiting');
	await crash(c);

	c = await phone();
	page = c.pages()[0] ?? (await c.newPage());
	w = watch(page);
	w.cut(true);
	await page.goto(`${s.url}/runs/${run}`);
	await expect(page.getByTestId('waiting')).toHaveText('2 waiting');
	await s.up();
	await synced(page);
	w.cut(false);

	// The server and a second client have each once.
	const kept = await s.get<{ samples: { id: string; head: number; result?: { tpo_ppb?: number; computed_by?: string }; results_before?: object[] }[] }>(`/runs/${run}/view`);
	expect(kept.samples.length).toBe(5);
	expect(kept.samples.map((x) => x.head)).toEqual([1, 2, 3, 4, 5]);
	for (const x of kept.samples) {
		expect(x.result?.tpo_ppb).toBeGreaterThan(60);
		// The server computed each again; a different device result would stand in results_before.
		expect([x.result?.computed_by, x.results_before]).toEqual(['server', undefined]);
	}

	const desk = await browser.newContext({ ...DESK, acceptDownloads: true });
	await asPerson(desk, ids.person);
	const two = await desk.newPage();
	const w2 = watch(two);
	await two.goto(`${s.url}/runs/${run}`);
	await synced(two);
	const rows = two.getByTestId('samples').locator('tbody tr[data-id]');
	await expect(rows).toHaveCount(5);

	// Corrected at the desk, seen on the phone without a reload.
	await rows.first().getByRole('link', { name: /^Correct/ }).click();
	await two.getByLabel('Shaken DO, ppb').fill('84');
	await two.getByLabel('Why it is corrected').fill('Typed wrong');
	await two.getByRole('button', { name: 'Save the correction' }).click();
	await two.waitForURL(new RegExp(`/runs/${run}$`));
	await synced(two);
	await expect(rows.first()).toContainText('corrected: Typed wrong');
	const onPhone = page.getByTestId('samples').locator('tbody tr[data-id]');
	await expect(onPhone.first()).toContainText('Typed wrong');
	await expect(onPhone).toHaveCount(5);
	await rows.first().getByRole('button', { name: /^History/ }).click();
	await expect(two.getByText('DO reading, ppb: 48 → 84')).toBeVisible();

	// Exported.
	const got = two.waitForEvent('download');
	await two.getByRole('button', { name: 'Table as CSV' }).click();
	const file = await (await got).path();
	const lines = readFileSync(file, 'utf8').trim().split('\r\n');
	expect(lines.length).toBe(6);
	expect(lines[0]).toContain('do_ppb');
	expect(lines.at(-1)).toContain(',84,');
	const png = two.waitForEvent('download');
	await two.getByRole('button', { name: 'Chart as PNG' }).click();
	expect(readFileSync(await (await png).path()).subarray(1, 4).toString()).toBe('PNG');
	clean(w);
	clean(w2);
	await desk.close();
	await c.close();
});
