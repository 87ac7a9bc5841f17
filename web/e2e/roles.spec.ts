// Each role sees its own: who reads sees records and who may, who enters no
// signature, who reviews signs. And a device without a name is asked for one.
import { expect, test, type Browser, type BrowserContext, type Page } from '@playwright/test';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { uuidv7 } from '../src/offline/uuid.ts';
import { clean, DESK, synced, watch } from './browser.ts';
import { seed } from './seed.ts';
import { Serve } from './serve.ts';

let s: Serve, boss: BrowserContext;
const PASS = 'eleven casks of old ale';
const [beer, can, lot, line, run, meter, sample] = Array.from({ length: 7 }, () => uuidv7());
const accept = async (c: BrowserContext, link: string, more: object = {}) => {
	const r = await c.request.post(`${s.url}/api/v1/session/accept`, { data: { link, password: PASS, ...more } });
	expect(r.status(), await r.text()).toBe(200);
};
test.beforeAll(async ({ browser }) => {
	s = await Serve.start(mkdtempSync(join(tmpdir(), 'ullage-e2e-')), []);
	boss = await browser.newContext(DESK);
	await accept(boss, s.adminLink.split('#link=')[1], { name: 'brewmaster', person_name: 'Brewmaster' });
	const w = (collection: string, record: { id: string }) => ({ collection, id: record.id, base_rev: 0, record });
	const at = new Date(Date.now() - 3600000).toISOString();
	const r = await boss.request.post(`${s.url}/api/v1/batch`, { data: { writes: [
		w('beers', { id: beer, name: 'Vellumrook', sg: 1.01, co2_vol: 2.45 } as never), w('formats', { id: can, name: 'Can 355', kind: 'can', nominal_ml: 355 } as never),
		w('format_lots', { id: lot, format_id: can, name: 'Lot A', from: '2026-01-05', capacity_ml: 373.5, capacity_sd_ml: 0.7, capacity_source: 'lot', tare_g: 13.4, tare_sd_g: 0.12 } as never),
		w('lines', { id: line, name: 'C6', heads: 6, stations: 2, sample_every_min: 30 } as never), w('instruments', { id: meter, name: 'DO meter 1', kind: 'do_meter' } as never),
		w('runs', { id: run, beer_id: beer, format_id: can, format_lot_id: lot, line_id: line, do_meter_id: meter, started_at: at, status: 'going' } as never),
		w('samples', { id: sample, run_id: run, kind: 'shaken', head: 1, taken_at: at, inputs: { do_ppb: 46, gross_g: 371.9, temperature_c: 4 }, tare_source: 'lot' } as never)
	] } });
	expect((await r.json()).answers.map((a: { status: string }) => a.status)).toEqual(Array(7).fill('created'));
});
test.afterAll(async () => {
	await boss?.close();
	await s.end();
});

async function as(browser: Browser, ...roles: string[]): Promise<[BrowserContext, Page]> {
	const made = await (await boss.request.post(`${s.url}/api/v1/accounts`, { data: { name: roles.join('.'), roles, person_name: roles.join(' and ') } })).json();
	const c = await browser.newContext({ ...DESK, reducedMotion: 'reduce' });
	await accept(c, made.secret);
	const page = await c.newPage();
	await page.goto(s.url);
	await synced(page);
	return [c, page];
}
const needs = (page: Page) => page.getByTestId('needs');
const main = (page: Page) => page.locator('main');

test('who reads sees records and who may, and no form', async ({ browser }) => {
	const [c, page] = await as(browser, 'read');
	const w = watch(page);
	await expect(main(page).getByRole('link', { name: 'Enter a sample' })).toHaveCount(0);
	await expect(main(page).getByRole('link', { name: 'Start a run' })).toHaveCount(0);
	await page.goto(`${s.url}/runs/${run}`);
	await expect(page.getByTestId('samples').locator('tbody tr')).toHaveCount(1);
	await expect(needs(page)).toHaveText('Entering needs the role enter or review; ask who administers the accounts.');
	await expect(main(page).locator('form')).toHaveCount(0);
	for (const name of ['Correct', 'Hold the lot', 'End the run', 'Line stopped']) await expect(main(page).getByText(name, { exact: true }), name).toHaveCount(0);
	// Also by an address that was kept.
	for (const [path, words] of [[`/runs/${run}/sample`, 'Entering needs the role enter or review'], ['/runs/new', 'Starting a run needs the role'], [`/instruments/${meter}/check`, 'Recording a check needs the role'], ['/cellar/reading', 'Entering needs the role'], ['/setup/beers/new', 'the role review;'], [`/setup/beers/${beer}`, 'Changing it needs the role review']]) {
		await page.goto(s.url + path);
		await expect(needs(page), path).toContainText(words);
		await expect(main(page).locator('form'), path).toHaveCount(0);
	}
	await expect(main(page).locator('dl')).toContainText('Vellumrook'); // the record is read
	await page.goto(`${s.url}/runs/${run}/lot`);
	await expect(needs(page)).toContainText('Signing a decision needs the role review');
	await page.goto(`${s.url}/setup`);
	await expect(page.getByRole('link', { name: /^Beers/ })).toBeVisible();
	for (const name of [/^Accounts/, /^Import/, /^Export/]) await expect(main(page).getByRole('link', { name })).toHaveCount(0);
	clean(w);
	await c.close();
});

test('who enters corrects and holds, and does not sign; who reviews signs', async ({ browser }) => {
	const [c, page] = await as(browser, 'read', 'enter');
	const w = watch(page);
	await page.goto(`${s.url}/runs/${run}`);
	await expect(main(page).getByRole('link', { name: 'Enter a sample' })).toBeVisible();
	await expect(main(page).getByRole('button', { name: 'Hold the lot' })).toBeVisible();
	await expect(page.getByRole('button', { name: 'Compute the results again' })).toHaveCount(0);
	await expect(needs(page)).toHaveCount(0);
	await page.goto(`${s.url}/runs/${run}/lot`);
	await expect(needs(page)).toContainText('Signing a decision needs the role review');
	await expect(page.getByRole('button', { name: 'Sign', exact: true })).toHaveCount(0);
	await page.goto(`${s.url}/accounts`);
	await expect(page.getByText('Accounts are made by an administrator.')).toBeVisible();
	clean(w);
	await c.close();

	const [c2, p2] = await as(browser, 'read', 'review');
	await p2.goto(`${s.url}/runs/${run}/lot`);
	await expect(p2.getByRole('button', { name: 'Sign', exact: true })).toBeVisible();
	await expect(needs(p2)).toHaveCount(0);
	await c2.close();
});

test('a device that nobody is named on asks before its first record', async ({ browser }) => {
	const open = await Serve.start();
	const ids = await seed(open, { run: true, samples: 1 });
	const c = await browser.newContext({ ...DESK, reducedMotion: 'reduce' });
	const page = await c.newPage();
	await page.goto(open.url);
	await synced(page);
	const meters = await open.get<{ records: { id: string; kind: string }[] }>('/instruments');
	await page.goto(`${open.url}/instruments/${meters.records.find((i) => i.kind === 'do_meter')!.id}/check`);
	await page.getByLabel('Reads, ppb').first().fill('1');
	await expect(page.getByTestId('outcome-zero')).toBeVisible();
	await page.getByRole('button', { name: 'Save', exact: true }).click();
	const ask = page.getByRole('dialog', { name: 'Who is this?' });
	await ask.getByRole('button', { name: 'Quality tech' }).click();
	await expect(ask).toBeHidden();
	await expect.poll(async () => (await open.get<{ records: { by: string }[] }>('/meter_checks?order=newest&limit=1')).records[0]?.by).toBe(ids.person);
	await c.close();
	await open.end();
});
