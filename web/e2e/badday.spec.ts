// Bad input and bad days, in a real browser against the real server.
import { expect, test, type BrowserContext, type Page } from '@playwright/test';
import { asPerson, clean, DESK, installed, synced, watch } from './browser.ts';
import { seed, type Seed } from './seed.ts';
import { Serve } from './serve.ts';

let s: Serve, ids: Seed;
test.beforeAll(async () => {
	s = await Serve.start();
	ids = await seed(s, { run: true, samples: 6 });
});
test.afterAll(async () => s.end());

async function open(c: BrowserContext, path: string): Promise<{ page: Page; w: ReturnType<typeof watch> }> {
	await asPerson(c, ids.person);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(s.url + path);
	await synced(page);
	return { page, w };
}
const count = async () => (await s.get<{ samples: { archived?: boolean }[] }>(`/runs/${ids.run}/view`)).samples.filter((x) => !x.archived).length;
async function fill(page: Page, gross: string, shaken: string): Promise<void> {
	await page.getByLabel('Gross weight, g').fill(gross);
	await page.getByLabel('Shaken DO, ppb').fill(shaken);
	await expect(page.getByTestId('result')).toBeVisible();
}

test('a double tap is one sample', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const { page, w } = await open(c, `/runs/${ids.run}/sample`);
	const before = await count();
	await fill(page, '371.9', '46');
	await page.getByRole('button', { name: 'Save', exact: true }).dblclick();
	await expect(page.getByRole('button', { name: /^Undo/ })).toBeVisible();
	await synced(page);
	expect(await count()).toBe(before + 1);
	clean(w);
	await c.close();
});

test('undo takes the sample back, before or after it was sent', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const { page, w } = await open(c, `/runs/${ids.run}/sample`);
	const before = await count();
	await fill(page, '371.9', '46');
	await page.getByRole('button', { name: 'Save', exact: true }).click();
	await expect.poll(count).toBe(before + 1);
	await page.getByRole('button', { name: /^Undo/ }).click();
	await expect.poll(count).toBe(before);
	w.cut(true);
	await s.kill();
	await fill(page, '372.0', '47');
	await page.getByRole('button', { name: 'Save', exact: true }).click();
	await page.getByRole('button', { name: /^Undo/ }).click();
	await expect(page.getByRole('button', { name: /^Undo/ })).toHaveCount(0);
	await s.up();
	await synced(page);
	expect(await count()).toBe(before);
	clean(w);
	await c.close();
});

test('a slip of the unit is asked about and mended by one press', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const { page, w } = await open(c, `/runs/${ids.run}/sample`);
	await page.getByLabel('Gross weight, g').fill('371.9');
	await page.getByLabel('Shaken DO, ppb').fill('4100');
	await expect(page.getByTestId('odd')).toContainText('4.1 ppm after fermentation? Readings here are usually ppb.');
	await expect(page.getByRole('button', { name: 'Yes, 4,100 ppb' })).toBeVisible();
	await page.getByRole('button', { name: '4.1 ppb', exact: true }).click();
	await expect(page.getByTestId('odd')).toHaveCount(0);
	await expect(page.getByLabel('Shaken DO, ppb')).toHaveValue('4.1 ppb');
	await page.getByLabel('Gross weight, g').fill('490.0');
	await expect(page.getByTestId('odd')).toContainText('does not fit');
	await page.getByLabel('Gross weight, g').fill('four');
	await expect(page.getByText('"four" is not a number')).toBeVisible();
	clean(w);
	await c.close();
});

test('what is being typed survives a reload', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const { page, w } = await open(c, `/runs/${ids.run}/sample`);
	await page.getByLabel('Gross weight, g').fill('371.7');
	await page.getByText('Foamed').click();
	await page.reload();
	await expect(page.getByLabel('Gross weight, g')).toHaveValue('371.7');
	await expect(page.getByRole('button', { name: 'Foamed' })).toHaveAttribute('aria-pressed', 'true');
	clean(w);
	await c.close();
});

test('two tabs: what one saves without a server the other shows, and it is sent once', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const a = await open(c, `/runs/${ids.run}/sample`);
	const b = await open(c, `/runs/${ids.run}`);
	await installed(a.page);
	const before = await count();
	a.w.cut(true);
	b.w.cut(true);
	await s.kill();
	await fill(a.page, '372.2', '43');
	await a.page.getByRole('button', { name: 'Save', exact: true }).click();
	await expect(b.page.getByTestId('waiting')).toHaveText('1 waiting');
	await expect(b.page.getByTestId('samples').locator('tbody tr[data-id]')).toHaveCount(before + 1);
	await s.up();
	await synced(a.page);
	await synced(b.page);
	expect(await count()).toBe(before + 1);
	clean(a.w);
	clean(b.w);
	await c.close();
});

test('a conflict is shown with both versions and settled by choice', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const { page, w } = await open(c, `/setup/beers/${ids.beer}`);
	await installed(page);
	await page.goto(`${s.url}/setup/beers/${ids.beer}`);
	w.cut(true);
	await c.setOffline(true);
	await page.getByLabel('Style').fill('pale ale, centrifuged');
	await page.getByRole('button', { name: 'Save' }).click();
	await expect(page.getByTestId('waiting')).toHaveText('1 waiting');
	const cur = await s.get<Record<string, unknown> & { rev: number }>(`/beers/${ids.beer}`);
	const [theirs] = await s.write([{ collection: 'beers', id: ids.beer, base_rev: cur.rev, record: { ...cur, style: 'best bitter' } }]);
	expect(theirs.status).toBe('updated');
	await c.setOffline(false);
	await expect(page.getByTestId('waiting')).toHaveText('1 to settle');
	await page.goto(s.url + '/waiting');
	const box = page.getByTestId('conflict');
	await expect(box).toContainText('pale ale, centrifuged');
	await expect(box).toContainText('best bitter');
	await box.getByRole('button', { name: 'Keep mine' }).click();
	await expect(page.getByText('Nothing to settle.')).toBeVisible();
	await synced(page);
	await expect.poll(async () => (await s.get<{ style: string }>(`/beers/${ids.beer}`)).style).toBe('pale ale, centrifuged');
	const revs = await s.get<{ revisions: { style: string }[] }>(`/beers/${ids.beer}/revisions`);
	expect(revs.revisions.map((r) => r.style)).toContain('best bitter');
	await expect(page.getByText('Settled on this device')).toBeVisible();
	clean(w);
	await c.close();
});

test('an empty server guides to the first run', async ({ browser }) => {
	const empty = await Serve.start();
	const c = await browser.newContext(DESK);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(empty.url);
	await expect(page.getByRole('heading', { name: 'Start here' })).toBeVisible();
	await page.getByRole('link', { name: 'Your brewery' }).first().click();
	await page.getByRole('link', { name: /^New/ }).click();
	await page.getByLabel('Name').fill('Ostrelweir Brewhouse');
	await page.getByLabel('Altitude').fill('310');
	await page.getByRole('button', { name: 'Save' }).click();
	await expect(page.getByText('(done)')).toHaveCount(1);
	await expect.poll(async () => (await empty.get<{ records: { name: string }[] }>('/brewery')).records[0]?.name).toBe('Ostrelweir Brewhouse');
	clean(w);
	await c.close();
	await empty.end();
});

test('the network ends between the server storing and its answer: sent again, counted once', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const { page, w } = await open(c, `/runs/${ids.run}/sample`);
	const before = await count();
	w.cut(true);
	let lost = 0;
	await page.route('**/api/v1/batch', async (route) => {
		if (lost++ > 0) return route.continue();
		await route.fetch(); // the server has it
		await route.abort('connectionreset');
	});
	await fill(page, '371.8', '45');
	await page.getByRole('button', { name: 'Save', exact: true }).click();
	await expect.poll(() => lost).toBeGreaterThan(1);
	await synced(page);
	expect(await count()).toBe(before + 1);
	clean(w);
	await c.close();
});

test('a full disk on the server: said in words, kept here, sent when there is room', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const { page, w } = await open(c, `/runs/${ids.run}/sample`);
	const before = await count();
	w.cut(true);
	let full = true;
	await page.route('**/api/v1/batch', (route) => (full ? route.fulfill({ status: 507, contentType: 'application/problem+json', body: JSON.stringify({ type: 'about:blank', title: "The server's disk is full", status: 507, detail: 'nothing of this request was kept' }) }) : route.continue()));
	await fill(page, '371.8', '44');
	await page.getByRole('button', { name: 'Save', exact: true }).click();
	await expect(page.getByTestId('waiting')).toHaveText('1 waiting');
	await page.getByTestId('net').click();
	await expect(page.getByRole('alert')).toContainText('nothing of this request was kept');
	expect(await count()).toBe(before);
	full = false;
	await page.getByRole('button', { name: 'Send now' }).click();
	await synced(page);
	expect(await count()).toBe(before + 1);
	clean(w);
	await c.close();
});

test('a full device: nothing claims to be saved and what was typed stays', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const { page, w } = await open(c, `/runs/${ids.run}/sample`);
	const before = await count();
	await page.evaluate(() => {
		IDBObjectStore.prototype.add = IDBObjectStore.prototype.put = () => {
			throw new DOMException('The quota has been exceeded', 'QuotaExceededError');
		};
	});
	await fill(page, '371.8', '43');
	await page.getByRole('button', { name: 'Save', exact: true }).click();
	await expect(page.getByRole('alert')).toContainText('Not saved');
	await expect(page.getByLabel('Gross weight, g')).toHaveValue('371.8');
	await expect(page.getByRole('button', { name: /^Undo/ })).toHaveCount(0);
	expect(await count()).toBe(before);
	clean(w);
	await c.close();
});

test('a clock wrong by a day is said, and both times are kept', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	await c.clock.setSystemTime(Date.now() + 24 * 3600000);
	const { page, w } = await open(c, `/runs/${ids.run}/sample`);
	await expect(page.getByText(/clock of this device is 24 h ahead of the server/)).toBeVisible();
	await page.getByLabel('Beer, °C').fill('3.9');
	await fill(page, '371.8', '42');
	await page.getByRole('button', { name: 'Save', exact: true }).click();
	await expect(page.getByRole('button', { name: /^Undo/ })).toBeVisible();
	await synced(page);
	const { samples } = await s.get<{ samples: { taken_at: string; server_at: string; clock_skew_s?: number; inputs: { do_ppb: number } }[] }>(`/runs/${ids.run}/view`);
	const x = samples.filter((y) => y.inputs.do_ppb === 42).sort((a, b) => (a.taken_at < b.taken_at ? -1 : 1)).at(-1)!;
	expect(Date.parse(x.taken_at) - Date.parse(x.server_at)).toBeGreaterThan(23 * 3600000);
	expect(x.clock_skew_s).toBeGreaterThan(23 * 3600);
	clean(w);
	await c.close();
});
