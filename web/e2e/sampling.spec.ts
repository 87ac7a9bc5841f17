// The sampling plan of a run: made on the device without a network, followed by
// the sample page, printed on one page.
import { mkdirSync } from 'node:fs';
import { expect, test, type Browser, type Page } from '@playwright/test';
import { asPerson, clean, DESK, installed, PHONE, synced, watch } from './browser.ts';
import { fits } from './fits.ts';
import { seed, type Seed } from './seed.ts';
import { Serve } from './serve.ts';

let s: Serve, ids: Seed;
test.beforeAll(async () => {
	s = await Serve.start();
	ids = await seed(s, { run: true, samples: 24 });
	mkdirSync('e2e/out/sampling', { recursive: true });
});
test.afterAll(async () => s.end());

async function open(browser: Browser, view: object): Promise<[Page, ReturnType<typeof watch>]> {
	const c = await browser.newContext({ ...view, reducedMotion: 'reduce' });
	await asPerson(c, ids.person);
	const page = await c.newPage();
	return [page, watch(page)];
}

test('planned and followed without a network, kept when it is back', async ({ browser }) => {
	test.setTimeout(120000);
	const [page, w] = await open(browser, PHONE);
	await page.goto(s.url);
	await synced(page);
	await installed(page);
	await page.goto(`${s.url}/runs/${ids.run}`);
	await synced(page);
	w.cut(true);
	await page.context().setOffline(true);
	await page.getByRole('link', { name: 'Sampling plan' }).click();
	await expect(page.getByTestId('packages')).toHaveText('37');
	await page.getByLabel('Packages to open, at most').fill('8');
	await expect(page.getByText('do not even make a start set')).toBeVisible();
	await page.getByLabel('Packages to open, at most').fill('20');
	await expect(page.getByTestId('packages')).toHaveText(/^(1\d|20)$/);
	await page.getByLabel('Between sets').fill('15');
	await page.getByLabel('Packages to open, at most').fill('');
	await page.getByLabel('Fault to catch').fill('60');
	await page.getByLabel('The fault is given in').selectOption('ppb');
	await page.getByLabel('TPO of a good head').fill('80');
	const missed = page.getByTestId('missed');
	await expect(missed).toHaveText(/^\d+ %$/);
	const before = parseInt((await missed.textContent())!);
	await page.getByLabel('Scatter of single').fill('0.15');
	await expect.poll(async () => Number((await missed.textContent())!.replace(/[^\d]/g, ''))).toBeLessThan(Math.max(1, before));
	await page.getByRole('button', { name: 'Follow this plan' }).click();
	await expect(page.getByText('This run follows this plan.')).toBeVisible();
	// The plan runs by the clock of the run: 100 min after its start.
	await page.getByRole('link', { name: 'Enter it' }).click();
	const why = page.getByText(/^Plan, set \d+ of \d+: /);
	await expect(why).toBeVisible();
	// The inlet goes first where the set has one; else the first head of the set.
	const text = (await why.textContent())!, head = /heads? (\d+)/.exec(text)![1];
	if (text.includes('inlet')) await expect(page.getByRole('radio', { name: 'Inlet' })).toBeChecked();
	else await expect(page.getByRole('spinbutton', { name: 'Head' })).toHaveValue(head);
	if (process.env.LOOK) await page.screenshot({ path: 'e2e/out/sampling/sample-phone.png' });
	await page.goto(`${s.url}/runs/${ids.run}`);
	await expect(page.getByText('due', { exact: false }).first()).toBeVisible();
	if (process.env.LOOK) await page.screenshot({ path: 'e2e/out/sampling/run-phone.png' });
	await page.context().setOffline(false);
	w.cut(false);
	await synced(page);
	const kept = await s.get<{ record: { plan: { heads: number; sets: unknown[] } } }>(`/runs/${ids.run}`);
	const run = (kept.record ?? kept) as { plan: { heads: number; fault: number; sets: unknown[] } };
	expect(run.plan).toMatchObject({ heads: 6, fault: 1.75 });
	expect(run.plan.sets.length).toBeGreaterThan(10);
	clean(w);
	await page.context().close();
});

for (const [size, view] of [['phone', PHONE], ['desk', DESK]] as const)
	test(`the plan on ${size}: fits and is accessible`, async ({ browser }) => {
		test.setTimeout(90000);
		const [page, w] = await open(browser, view);
		await page.goto(s.url);
		await synced(page);
		await page.goto(`${s.url}/runs/${ids.run}/plan`);
		await expect(page.getByTestId('packages')).toBeVisible();
		await fits(page, 'plan');
		if (process.env.LOOK) await page.screenshot({ path: `e2e/out/sampling/${size}.png`, fullPage: true });
		clean(w);
		await page.context().close();
	});

test('the run sheet is one page, for few packages and for many', async ({ browser }) => {
	const [page, w] = await open(browser, DESK);
	await page.goto(s.url);
	await synced(page);
	await page.goto(`${s.url}/runs/${ids.run}/plan`);
	await expect(page.getByTestId('packages')).toBeVisible();
	for (const [heads, hours, every] of [['6', '4', '30'], ['16', '8', '30'], ['2', '1', '30']]) {
		await page.getByLabel('Filling heads').fill(heads);
		await page.getByLabel('Running time').fill(hours);
		await page.getByLabel('Between sets').fill(every);
		await page.waitForTimeout(700);
		const pdf = await page.pdf({ preferCSSPageSize: true, path: process.env.LOOK ? `e2e/out/sampling/sheet-${heads}.pdf` : undefined });
		expect(pdf.toString('latin1').match(/\/Type\s*\/Page\b/g)?.length, `${heads} heads, ${hours} h`).toBe(1);
	}
	clean(w);
	await page.context().close();
});
