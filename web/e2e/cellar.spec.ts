// As a cellar hand: three readings on a phone, offline in between; the map names
// the step of the demo's four stories; from wort to the run and back; and axe.
import { expect, test, type Page } from '@playwright/test';
import { asPerson, clean, DESK, installed, PHONE, synced, watch } from './browser.ts';
import { cellarSeed, type CellarSeed } from './cellarseed.ts';
import { demo } from './demo.ts';
import { faults } from './fits.ts';
import { Serve } from './serve.ts';

let s: Serve, ids: CellarSeed;
test.beforeAll(async () => {
	s = await Serve.start();
	ids = await cellarSeed(s);
});
test.afterAll(async () => s.end());

async function keys(page: Page, text: string): Promise<void> {
	for (const k of text) await page.getByRole('group', { name: 'Numeric pad' }).getByRole('button', { name: k, exact: true }).tap();
}
const save = (page: Page) => page.getByRole('group', { name: 'Numeric pad' }).getByRole('button', { name: 'Save' }).tap();
interface R { point: string; do_ppb: number; confirmed?: string; move_id?: string; meter_id?: string; temperature_c?: number; raw?: string; batch_id: string; archived?: boolean }
const readings = async (batch: string) => (await s.get<{ records: R[] }>(`/readings?batch_id=${batch}&limit=200`)).records.filter((r) => !r.archived);

test('three readings on a phone, offline in between, synced after', async ({ browser }) => {
	test.setTimeout(120000);
	const c = await browser.newContext(PHONE);
	await asPerson(c, ids.person);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(s.url + '/cellar');
	await synced(page);
	await installed(page);
	const before = (await readings(ids.going)).length;

	// The board says what is due of the transfer that is going on; one press opens it.
	await page.getByRole('link', { name: 'Read: FV 2, Centrifuge in' }).tap();
	await expect(page.getByLabel('DO, ppb')).toBeFocused();
	await keys(page, '9');
	await expect(page.getByTestId('gain')).toContainText('Not resolved');
	await save(page);
	await expect(page.getByRole('button', { name: /^Undo/ })).toBeVisible();
	await expect.poll(async () => (await readings(ids.going)).length).toBe(before + 1);

	// The other side of the machine comes next by itself; the network and the server are gone.
	await page.goto(`${s.url}/cellar/reading?batch=${ids.going}&point=centrifuge_out&move=${ids.move}`);
	await synced(page);
	w.cut(true);
	await c.setOffline(true);
	await s.kill();
	await expect(page.getByRole('button', { name: 'Centrifuge out' })).toHaveAttribute('aria-pressed', 'true');
	await keys(page, '31');
	// Computed here: the centrifuge's pick-up at once.
	await expect(page.getByTestId('gain')).toContainText('Over budget');
	await expect(page.getByTestId('gain')).toContainText('+22 ppb');
	await save(page);
	await expect(page.getByTestId('waiting')).toHaveText('1 waiting');
	await expect(page.getByText('Saved here, waiting').first()).toBeVisible();

	// A slip of the unit is asked about, never stored unasked.
	await page.getByRole('combobox', { name: 'Another point' }).selectOption('tank_before');
	await keys(page, '4100');
	await expect(page.getByTestId('odd')).toContainText('4.1 ppm after fermentation? Readings here are usually ppb.');
	await save(page);
	await expect(page.getByTestId('waiting')).toHaveText('1 waiting');
	await page.getByRole('button', { name: '4.1 ppb', exact: true }).tap();
	await expect(page.getByTestId('odd')).toHaveCount(0);
	await save(page);
	await expect(page.getByTestId('waiting')).toHaveText('2 waiting');

	// The map is drawn without a network as well, and has them.
	await page.goto(`${s.url}/cellar/batches/${ids.going}`);
	await expect(page.getByText('computed on this device')).toBeVisible();
	await expect(page.locator('[data-step=centrifuge][data-state=over]')).toContainText('+22 ppb');

	await c.setOffline(false);
	await s.up();
	await synced(page);
	const got = await readings(ids.going);
	expect(got.length).toBe(before + 3);
	expect(got.slice(-3).map((r) => [r.point, r.do_ppb, r.move_id, r.meter_id, r.confirmed])).toEqual([['centrifuge_in', 9, ids.move, ids.meter, undefined], ['centrifuge_out', 31, ids.move, ids.meter, undefined], ['tank_before', 4.1, ids.move, ids.meter, undefined]]);
	expect(got.at(-1)!.raw).toContain('4100');
	// Carried from the reading before: the beer's temperature.
	expect(got.at(-1)!.temperature_c).toBe(1.2);
	clean(w);
	await c.close();
});

test('undo takes a reading back; a correction keeps what was typed and why', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	await asPerson(c, ids.person);
	const page = await c.newPage();
	const w = watch(page);
	const before = (await readings(ids.bbt)).length;
	await page.goto(`${s.url}/cellar/reading?batch=${ids.bbt}&point=tank_hold`);
	await synced(page);
	await page.getByLabel('DO, ppb').fill('35');
	await page.getByRole('button', { name: 'Save' }).click();
	await page.getByRole('button', { name: /^Undo/ }).click();
	await expect.poll(async () => (await readings(ids.bbt)).length).toBe(before);
	await page.goto(`${s.url}/cellar/batches/${ids.bbt}`);
	await synced(page);
	await page.getByRole('link', { name: /^Correct Filler inlet/ }).click();
	await page.getByLabel('DO, ppb').fill('38');
	await page.getByRole('button', { name: 'Save the correction' }).click();
	await expect(page.getByText('Say why the reading is corrected.')).toBeVisible();
	await page.getByLabel('Why it is corrected').fill('Typed wrong');
	await page.getByRole('button', { name: 'Save the correction' }).click();
	await page.waitForURL(/\/cellar\/batches\//);
	await expect(page.getByTestId('readings')).toContainText('corrected: Typed wrong');
	await synced(page);
	expect((await readings(ids.bbt)).find((r) => r.point === 'filler_inlet')?.do_ppb).toBe(38);
	clean(w);
	await c.close();
});

test('the map names the step of the four stories; from wort to the run and back', async ({ browser }) => {
	test.setTimeout(300000);
	const d = await demo();
	const c = await browser.newContext(DESK);
	const page = await c.newPage();
	const w = watch(page);
	const runs: { number: number; batch_id: string }[] = [];
	for (let after = ''; ; ) {
		const r = await d.get<{ records: { number: number; batch_id: string }[]; next?: string }>(`/runs?limit=1000${after ? `&after=${after}` : ''}`);
		runs.push(...r.records);
		if (!r.next) break;
		after = r.next;
	}
	const batch = (n: number) => runs.find((r) => r.number === n)!.batch_id;
	const where = page.getByTestId('diagnosis');
	for (const [run, words] of [[138, /Centrifuge in → centrifuge out: a leak of constant size/], [141, /Filter in → filter out: wash-out/], [140, /Dry hop: air that came with the hops/], [129, /in BBT2: oxygen in the gas space/]] as const) {
		await page.goto(`${d.url}/cellar/batches/${batch(run)}`);
		await synced(page);
		await expect(where, `run ${run}`).toContainText(words);
		await expect(page.locator('.flow [data-state=over]').first(), `run ${run}`).toBeVisible();
	}
	// One page: from the brews' wort to the package; then the run, and from it back.
	await page.goto(`${d.url}/cellar/batches/${batch(138)}`);
	await synced(page);
	const flow = page.getByTestId('flow');
	await expect(flow.locator('li.node').first()).toContainText('mg/L');
	await expect(flow.locator('li.node').last()).toContainText('Package, TPO');
	await expect(flow).toContainText('joins: brew');
	const step = flow.locator('[data-step=centrifuge][data-state=over]');
	await step.getByRole('button').first().click();
	await expect(step).toContainText('95 %:');
	await expect(step).toContainText('Check next:');
	await page.getByRole('button', { name: 'The same in a table' }).click();
	await expect(page.getByTestId('map-table').locator('tbody tr')).toHaveCount(await flow.locator('li.node').count());
	await expect(page.getByTestId('changes').or(page.getByText('Nothing recorded differs'))).toBeVisible();
	for (const [format, starts] of [['pdf', '%PDF'], ['xlsx', 'PK']] as const) {
		const file = await page.request.get(`${d.url}${await page.getByRole('link', { name: format.toUpperCase(), exact: true }).getAttribute('href')}`);
		expect(file.status(), format).toBe(200);
		expect((await file.body()).subarray(0, starts.length).toString(), format).toBe(starts);
	}
	// The same comparisons without a network, from the records on the device.
	const rows = page.getByTestId('transfers').locator('tbody tr'), told = page.getByTestId('changes').locator('tbody tr');
	const changed = await told.allInnerTexts();
	await page.goto(`${d.url}/cellar/transfers?step=centrifuge`);
	await expect(rows.first()).toBeVisible();
	const online = await rows.allInnerTexts();
	await installed(page);
	w.cut(true);
	await c.setOffline(true);
	await page.goto(`${d.url}/cellar/transfers?step=centrifuge`);
	await expect(page.getByTestId('by-device')).toBeVisible();
	await expect.poll(() => rows.allInnerTexts()).toEqual(online);
	await page.goto(`${d.url}/cellar/batches/${batch(138)}`);
	await expect(page.getByTestId('changes-by-device')).toBeVisible();
	await expect.poll(() => told.allInnerTexts()).toEqual(changed);
	await c.setOffline(false);
	await page.goto(`${d.url}/cellar/batches/${batch(138)}`);
	await synced(page);
	w.cut(false);
	await page.getByRole('link', { name: /^Run 138/ }).last().click();
	await expect(page.getByRole('heading', { name: /^Run 138/ })).toBeVisible();
	await page.getByRole('link', { name: /^batch VR-26-138/ }).click();
	await expect(page.getByRole('heading', { name: /^VR-26-138/ })).toBeVisible();
	clean(w);
	await c.close();
	await d.end();
});

for (const [size, view] of [['phone', PHONE], ['desk', DESK]] as const)
	test(`axe and targets: ${size}`, async ({ browser }) => {
		test.setTimeout(300000);
		const c = await browser.newContext({ ...view, reducedMotion: 'reduce' });
		await asPerson(c, ids.person);
		const page = await c.newPage();
		const w = watch(page);
		const found: string[] = [];
		const brew = (await s.get<{ records: { id: string }[] }>('/brews?limit=1')).records[0].id;
		const pages: [string, string][] = [['board', '/cellar'], ['batches', '/cellar/batches'], ['map', `/cellar/batches/${ids.bbt}`], ['wort', `/cellar/batches/${ids.wort}`], ['which tank', '/cellar/reading'], ['reading', `/cellar/reading?batch=${ids.going}`], ['move', '/cellar/moves/new'], ['addition', '/cellar/moves/new?kind=addition'], ['end a move', `/cellar/moves/${ids.move}`], ['brews', '/cellar/brews'], ['brew', `/cellar/brews/${brew}`], ['new brew', '/cellar/brews/new'], ['transfers', '/cellar/transfers'], ['limits', '/cellar/limits'], ['a limit', '/setup/cellar_limits/new']];
		for (const [name, path] of pages) {
			await page.goto(s.url + path);
			await synced(page);
			await expect(page.locator('h1')).toBeVisible();
			if (name === 'map') await page.locator('.flow button').first().click();
			if (name === 'reading') {
				await page.getByLabel('DO, ppb').fill('4100');
				await expect(page.getByTestId('odd')).toBeVisible();
			}
			if (name === 'brews') await expect(page.getByRole('group', { name: /^Chart/ })).toBeVisible();
			found.push(...(await faults(page, name)));
		}
		expect(found).toEqual([]);
		clean(w);
		await c.close();
	});
