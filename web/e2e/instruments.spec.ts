// Instruments and studies as a technician uses them: a check that fails without a
// network and opens two released lots again, an agreement study from a workbook,
// every study on a phone with the command line's number, and axe on each page.
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { expect, test, type Browser, type Page } from '@playwright/test';
import { uuidv7 } from '../src/offline/uuid.ts';
import { asPerson, clean, DESK, installed, PHONE, synced, watch } from './browser.ts';
import { faults } from './fits.ts';
import { seed, type Seed } from './seed.ts';
import { BIN, Serve } from './serve.ts';
import { workbook } from './workbook.ts';

const EXAMPLES = resolve(import.meta.dirname, '../../examples/studies');
let s: Serve, ids: Seed, meter: string;
test.beforeAll(async () => {
	s = await Serve.start();
	ids = await seed(s);
	meter = (await s.get<{ records: { id: string; kind: string }[] }>('/instruments')).records.find((i) => i.kind === 'do_meter')!.id;
	mkdirSync('e2e/out/instruments', { recursive: true });
});
test.afterAll(async () => s.end());

async function open(browser: Browser, view: object): Promise<[Page, ReturnType<typeof watch>]> {
	const c = await browser.newContext({ ...view, reducedMotion: 'reduce' });
	await asPerson(c, ids.person);
	const page = await c.newPage();
	return [page, watch(page)];
}
const hours = (h: number) => new Date(Date.now() - h * 3600000).toISOString();
async function put(collection: string, rec: Record<string, unknown>): Promise<string> {
	const id = uuidv7();
	const [a] = await s.write([{ collection, id, base_rev: 0, record: { id, by: ids.person, ...rec } }]);
	if (a.status !== 'created') throw new Error(`${collection}: ${JSON.stringify(a)}`);
	return id;
}
/** A run with twelve packages, read between the checks, and its lot released. */
async function released(from: number, base_ppb: number): Promise<string> {
	const line = (await s.get<{ records: { id: string; name: string }[] }>('/lines')).records.find((l) => l.name === 'C6')!.id;
	const scale = (await s.get<{ records: { id: string; kind: string }[] }>('/instruments')).records.find((i) => i.kind === 'scale')!.id;
	const run = await put('runs', { beer_id: ids.beer, format_id: ids.can, format_lot_id: ids.lot, line_id: line, started_at: hours(from), ended_at: hours(from - 2), status: 'ended', do_meter_id: meter, scale_id: scale, sample_every_min: 30 });
	for (let i = 0; i < 12; i++)
		await put('samples', { run_id: run, set_no: 1 + Math.floor(i / 6), kind: 'shaken', head: (i % 6) + 1, closed_at: hours(from - 0.1 - i * 0.1), taken_at: hours(from - 0.2 - i * 0.1), raw: {}, tare_source: 'lot', inputs: { temperature_c: 3.8, temperature_at: hours(from - 0.1), do_ppb: base_ppb + (i % 4), gross_g: 371.9, shake_min: 5 } });
	await put('meter_checks', { instrument_id: meter, at: hours(from - 2.5), against: 'zero', read: 0.5 });
	await put('decisions', { run_id: run, proposed: 'release', decision: 'release', why: 'All within' });
	return run;
}

test('a check that fails without a network opens two released lots again', async ({ browser }) => {
	test.setTimeout(120000);
	await put('meter_checks', { instrument_id: meter, at: hours(30), against: 'zero', read: 0.4 });
	await put('meter_checks', { instrument_id: meter, at: hours(30), against: 'air', read: 8750, temperature_c: 20, pressure_kpa: 97.7 });
	const lots = [await released(26, 38), await released(20, 46)];
	const [page, w] = await open(browser, PHONE);
	await page.goto(`${s.url}/instruments`);
	await synced(page);
	await installed(page);
	await expect(page.getByText(/^Proven until \d/)).toBeVisible();
	w.cut(true);
	await page.context().setOffline(true);
	await page.getByRole('link', { name: 'Check Bench DO meter' }).click();
	await page.getByLabel('Water temperature').fill('20');
	await page.getByLabel('Station pressure').fill('977');
	// What it should read stands there before the reading does.
	await expect(page.getByText('Should read 8,760 ppb (8.76 ppm) at 97.7 kPa')).toBeVisible();
	const reads = page.getByRole('region', { name: /Air-saturated/ }).getByLabel('Reads');
	await reads.fill('8.7 ppm');
	await expect(page.getByTestId('outcome-air')).toContainText('Passed');
	await reads.fill('9.6 ppm');
	await expect(page.getByTestId('outcome-air')).toContainText('Failed: off by +840 ppb, 9.6 %');
	await expect(page.getByText(/ppb too high in TPO/)).toBeVisible();
	await page.reload();
	await expect(reads).toHaveValue('9.6 ppm');
	await page.getByRole('button', { name: 'Save the failed check' }).click();
	await expect(page.getByRole('heading', { name: 'Air-saturated water: failed' })).toBeVisible();
	await expect(page.getByText('Kept on this device.')).toBeVisible();
	await expect(page.getByRole('listitem').filter({ hasText: 'Vellumrook' })).toHaveCount(2);
	// The lots are judged again here, without the server, and alike.
	await expect(page.getByTestId('here')).toBeVisible();
	await expect(page.getByTestId('doubt')).toHaveCount(2);
	const proposed = async () => (await page.getByTestId('doubt').allInnerTexts()).map((t) => t.slice(t.indexOf('Proposed')));
	const onDevice = await proposed();
	expect(onDevice.every((t) => /as read[\s\S]*taken off/.test(t))).toBe(true);

	await page.context().setOffline(false);
	w.cut(false);
	await synced(page);
	await expect(page.getByText('On hold, opened again', { exact: true })).toHaveCount(2);
	await expect(page.getByTestId('here')).toHaveCount(0);
	await expect(page.getByTestId('sentence')).toContainText('2 lots');
	await expect.poll(proposed).toEqual(onDevice);
	for (const run of lots) {
		const r = await s.get<{ hold: { state: string; check_id: string; reason: string } }>(`/runs/${run}`);
		expect(r.hold.state).toBe('held');
		expect(r.hold.reason).toContain('+9.6 % in air');
	}
	if (process.env.LOOK) await page.screenshot({ path: 'e2e/out/instruments/consequences-phone.png', fullPage: true });
	await page.getByRole('link', { name: /^Run \d+, Vellumrook/ }).first().click();
	await expect(page.getByTestId('reopened')).toContainText('Open again: Bench DO meter failed its check');
	await expect(page.getByText('On hold, opened again').first()).toBeVisible();
	await expect(page.getByTestId('doubt')).toContainText('no longer counts');
	await page.goto(`${s.url}/instruments`);
	await expect(page.getByText(/^Failed \d/)).toBeVisible();
	clean(w);
	await page.context().close();
});

test('an agreement study from a workbook is put in force, its report opened, and a run stands in by it', async ({ browser }) => {
	test.setTimeout(120000);
	const pairs = readFileSync(`${EXAMPLES}/pairs.csv`, 'utf8').trim().split(/\r?\n/).map((l) => l.split(','));
	const cli = JSON.parse(execFileSync(BIN, ['agree', `${EXAMPLES}/pairs.csv`, '--format', 'json'], { encoding: 'utf8' })) as { sentence: string; bias_ppb: number };
	// As people keep it: a cover, a title above the headings, words of their own, a column too many, one cell that is no number.
	const names: Record<string, string> = { id: 'Sample', temperature_c: 'Temperature (°C)', gross_g: 'Gross (g)', tare_g: 'Tare, g', capacity_ml: 'Capacity (mL)', sg: 'Specific gravity', shaken_do_ppb: 'Shaken DO (ppb)', direct_ppb: 'Direct TPO (ppb)' };
	const book = workbook({ Cover: [['Ostrelweir Brewhouse']], Pairs: [['Paired readings, autumn'], [...pairs[0].map((h) => names[h]), 'Remark'], ...pairs.slice(1).map((r) => r.map((v, i) => (i ? Number(v) : v))), ['C6-99', 4, 372, 13.4, 373.5, 1.0105, 'foamed', 80]] }, true);
	const [page, w] = await open(browser, DESK);
	await page.goto(`${s.url}/studies/agreement`);
	await synced(page);
	await page.getByLabel('From a file').setInputFiles({ name: 'pairs.xlsx', mimeType: 'application/vnd.openxmlformats-officedocument.spreadsheetml.sheet', buffer: book });
	await expect(page.getByText('pairs.xlsx, sheet Pairs: 41 rows')).toBeVisible();
	await expect(page.getByText('left out: Remark')).toBeVisible();
	await expect(page.getByTestId('sentence')).toHaveText(cli.sentence);
	await expect(page.getByText('May stand in', { exact: true })).toBeVisible();
	await expect(page.getByText(`−${Math.abs(cli.bias_ppb).toFixed(2)}`).first()).toBeVisible();
	await expect(page.getByText('41 rows, 40 used, 1 to look at')).toBeVisible();
	// Points are read by keyboard, with what was typed of the pair.
	const chart = page.getByRole('group', { name: /^Chart: Difference against/ });
	await chart.focus();
	await page.keyboard.press('End');
	await expect(page.getByText(/difference [+−]?\d.*typed: temperature/)).toBeVisible();

	await expect(page.getByRole('button', { name: 'Put in force' })).toBeDisabled();
	await page.getByLabel('Name').fill('Autumn pairs');
	await page.getByLabel('Can 355').check();
	await page.getByRole('button', { name: 'Put in force' }).click();
	await expect(page.getByText('In force since')).toBeVisible();
	await synced(page);
	const rec = (await s.get<{ records: { id: string; name: string; in_force_from?: string; rows: object[]; result: { bias_ppb: number } }[] }>('/studies')).records[0];
	expect([rec.name, rec.rows.length, !!rec.in_force_from]).toEqual(['Autumn pairs', 40, true]);
	expect(rec.result.bias_ppb).toBeCloseTo(cli.bias_ppb, 9);
	const report = page.getByRole('link', { name: 'Report, PDF' });
	const got = await page.request.get(s.url + (await report.getAttribute('href'))!);
	expect([got.status(), got.headers()['content-type']]).toEqual([200, 'application/pdf']);

	await page.goto(`${s.url}/runs/new`);
	await synced(page);
	await page.getByRole('radio', { name: 'Can 355' }).check();
	await page.getByLabel('By the calculated method, standing in for the direct one').check();
	await page.getByRole('button', { name: 'Start the run' }).click();
	await expect(page).toHaveURL(/\/sample$/);
	await synced(page);
	await page.goto(page.url().replace('/sample', ''));
	await expect(page.getByTestId('standin')).toContainText('standing in for the direct one, by Autumn pairs: 40 pairs');
	await page.goto(`${s.url}/runs`);
	await expect(page.getByText('stands in for a direct reading')).toBeVisible();
	clean(w);
	await page.context().close();
});

for (const [kind, file] of [['tare', 'tare'], ['capacity', 'capacity'], ['neck', 'neck'], ['shake', 'shake'], ['delay', 'delay'], ['line', 'line'], ['repeatability', 'operators'], ['agreement', 'pairs']])
	test(`study on a phone, without a network: ${kind}`, async ({ browser }) => {
		const [page, w] = await open(browser, PHONE);
		await page.goto(`${s.url}/studies`);
		await synced(page);
		await installed(page);
		w.cut(true);
		await page.context().setOffline(true);
		await page.locator(`a[href="/studies/${kind}"]`).click();
		await page.getByRole('button', { name: 'Fill in an example' }).click();
		const want = kind === 'agreement' ? (JSON.parse(execFileSync(BIN, ['agree', `${EXAMPLES}/${file}.csv`, '--format', 'json'], { encoding: 'utf8' })) as { sentence: string }).sentence : execFileSync(BIN, ['study', kind, `${EXAMPLES}/${file}.csv`], { encoding: 'utf8' }).split('\n')[0];
		await expect(page.getByTestId('sentence')).toHaveText(want);
		// The draft is still there after the browser was closed.
		await page.reload();
		await expect(page.getByTestId('sentence')).toHaveText(want);
		if (process.env.LOOK) await page.screenshot({ path: `e2e/out/instruments/${kind}-phone.png`, fullPage: true });
		clean(w);
		await page.context().close();
	});

test('rows are typed with the pad, a slip is named, and a tare goes into its lot', async ({ browser }) => {
	const [page, w] = await open(browser, PHONE);
	await page.goto(`${s.url}/studies/tare`);
	await synced(page);
	const pad = page.getByRole('group', { name: 'Numeric pad' });
	await page.getByLabel('Empty weight, g').click();
	for (const weight of ['13.41', '13.45', '13.38', '13.47']) {
		for (const c of weight) await pad.getByRole('button', { name: c, exact: true }).click();
		await pad.getByRole('button', { name: 'Next row' }).click();
	}
	await expect(page.getByTestId('sentence')).toContainText('Mean 13.43 g');
	await page.getByLabel('Empty weight, g').fill('heavy');
	await expect(page.getByText('"heavy" is not a number')).toBeVisible();
	await page.getByRole('button', { name: 'Take out row 5' }).click();
	await page.getByLabel('Of the lot').selectOption({ label: 'Can 355, Lot A' });
	await expect(page.getByRole('row', { name: /Tare, g 13.4 13.4275/ })).toBeVisible();
	await page.getByRole('button', { name: 'Put in force' }).click();
	await expect(page.getByText('In force since')).toBeVisible();
	await synced(page);
	const lot = await s.get<{ tare_g: number; tare_n: number; capacity_ml: number }>(`/format_lots/${ids.lot}`);
	expect(lot).toMatchObject({ tare_g: 13.4275, tare_n: 4, capacity_ml: 373.5 });
	clean(w);
	await page.context().close();
});

for (const [size, view] of [['phone', PHONE], ['desk', DESK]] as const)
	test(`pages are accessible and fit: ${size}`, async ({ browser }) => {
		test.setTimeout(300000);
		const check = (await s.get<{ records: { id: string; outcome: string }[] }>('/meter_checks')).records.find((c) => c.outcome === 'failed');
		const pages: Record<string, string> = { instruments: '/instruments', one: `/instruments/${meter}`, check: `/instruments/${meter}/check`, buy: '/instruments/buy', studies: '/studies', new: '/setup/instruments/new', ...(check ? { failed: `/instruments/${meter}/checks/${check.id}` } : {}), ...Object.fromEntries(['tare', 'capacity', 'neck', 'shake', 'delay', 'line', 'repeatability', 'agreement'].map((k) => [k, `/studies/${k}`])) };
		const [page, w] = await open(browser, view);
		const found: string[] = [];
		for (const [name, path] of Object.entries(pages)) {
			await page.goto(s.url + path);
			await synced(page);
			await expect(page.locator('h1')).toBeVisible();
			const example = page.getByRole('button', { name: 'Fill in an example' });
			if (await example.count()) {
				await example.click();
				await expect(page.getByTestId('sentence')).toBeVisible();
			}
			found.push(...(await faults(page, name)));
			if (process.env.LOOK) await page.screenshot({ path: `e2e/out/instruments/${name}-${size}.png`, fullPage: true });
		}
		expect(found).toEqual([]);
		clean(w);
		await page.context().close();
	});
