// axe on every page, phone and desk, light and dark; and targets of 44 px.
import { expect, test, type Page } from '@playwright/test';
import { asPerson, clean, DESK, PHONE, synced, watch } from './browser.ts';
import { faults } from './fits.ts';
import { seed, type Seed } from './seed.ts';
import { Serve } from './serve.ts';

let s: Serve, ids: Seed;
test.beforeAll(async () => {
	s = await Serve.start();
	ids = await seed(s, { run: true, samples: 12 });
});
test.afterAll(async () => s.end());

const pages = (): [string, string][] => [
	['today', '/'], ['runs', '/runs'], ['start a run', '/runs/new'], ['run', `/runs/${ids.run}`], ['sample', `/runs/${ids.run}/sample`], ['calculator', '/calc'], ['set-up', '/setup'],
	...['brewery', 'people', 'beers', 'formats', 'format_lots', 'limits', 'lines', 'instruments', 'tanks', 'batches'].map((c): [string, string] => [c, `/setup/${c}`]),
	['a beer', `/setup/beers/${ids.beer}`], ['a new lot', '/setup/format_lots/new'], ['this device', '/me'], ['waiting', '/waiting'], ['import', '/import'], ['no such page', '/nowhere']
];

test('states a page may be in', async ({ browser }) => {
	test.setTimeout(120000);
	const found: string[] = [];
	const axe = async (page: Page, name: string) => void found.push(...(await faults(page, name)));
	const empty = await Serve.start();
	const c = await browser.newContext({ ...PHONE, reducedMotion: 'reduce' });
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(empty.url);
	await expect(page.getByRole('heading', { name: 'Start here' })).toBeVisible();
	await axe(page, 'first run');
	await page.goto(empty.url + '/runs');
	await axe(page, 'no runs');
	await page.goto(empty.url + '/runs/new');
	await axe(page, 'nothing to start with');

	await page.goto(`${s.url}/runs/${ids.run}/sample`);
	await synced(page);
	await expect(page.getByText('Who holds this device?')).toBeVisible();
	await axe(page, 'nobody named');
	await page.getByRole('button', { name: 'Quality tech' }).tap();
	await page.getByLabel('Gross weight, g').fill('371.9');
	await page.getByLabel('Shaken DO, ppb').fill('46');
	await page.getByRole('button', { name: 'Save' }).tap();
	await expect(page.getByRole('button', { name: /^Undo/ })).toBeVisible();
	await axe(page, 'just saved');
	await synced(page);
	const id = (await s.get<{ samples: { id: string }[] }>(`/runs/${ids.run}/view`)).samples.at(-1)!.id;
	await page.goto(`${s.url}/runs/${ids.run}/sample?correct=${id}`);
	await expect(page.getByLabel('Why it is corrected')).toBeVisible();
	await axe(page, 'correction');
	await page.evaluate(() => localStorage.setItem('ullage.glare', 'yes'));
	for (const path of ['/', `/runs/${ids.run}`, `/runs/${ids.run}/sample`]) {
		await page.goto(s.url + path);
		await synced(page);
		await axe(page, `glare ${path.replace(ids.run!, '')}`);
	}

	// Two versions of one beer.
	w.cut(true);
	await page.goto(`${s.url}/setup/beers/${ids.beer}`);
	await c.setOffline(true);
	await page.getByLabel('Style').fill('mine');
	await page.getByRole('button', { name: 'Save' }).tap();
	const cur = await s.get<Record<string, unknown> & { rev: number }>(`/beers/${ids.beer}`);
	await s.write([{ collection: 'beers', id: ids.beer, base_rev: cur.rev, record: { ...cur, style: 'theirs' } }]);
	await c.setOffline(false);
	await expect(page.getByTestId('waiting')).toHaveText('1 to settle');
	await page.getByTestId('net').tap();
	await expect(page.getByTestId('conflict')).toBeVisible();
	await axe(page, 'conflict');
	expect(found).toEqual([]);
	clean(w);
	await c.close();
	await empty.end();
});

for (const [size, view] of [['phone', PHONE], ['desk', DESK]] as const)
	test(`every page, ${size}`, async ({ browser }) => {
		test.setTimeout(300000);
		const c = await browser.newContext({ ...view, reducedMotion: 'reduce' });
		await asPerson(c, ids.person);
		const page = await c.newPage();
		const w = watch(page);
		const found: string[] = [];
		for (const [name, path] of pages()) {
			await page.goto(s.url + path);
			await synced(page);
			await expect(page.locator('h1')).toBeVisible();
			if (name === 'sample') {
				await page.getByLabel('Gross weight, g').fill('490.0');
				await page.getByLabel('Shaken DO, ppb').fill('4100');
				await expect(page.getByTestId('odd').first()).toBeVisible();
			}
			if (name === 'run') await expect(page.locator('canvas').first()).toBeVisible();
			found.push(...(await faults(page, name)));
		}
		expect(found).toEqual([]);
		clean(w);
		await c.close();
	});
