// The import page against the real server: a German log with a wrong unit, a
// name that stands for nothing and broken rows; written, seen, undone; on a desk
// and on a phone, by pointer and by keyboard, and axe on every step.
import { expect, test, type Page } from '@playwright/test';
import { asPerson, clean, DESK, PHONE, synced, watch } from './browser.ts';
import { fits } from './fits.ts';
import { seed, type Seed } from './seed.ts';
import { Serve } from './serve.ts';
import { workbook } from './workbook.ts';

let s: Serve, ids: Seed;
test.beforeEach(async () => {
	s = await Serve.start();
	ids = await seed(s);
});
test.afterEach(async () => s.end());

interface Got { records: { id: string; archived?: boolean; raw?: Record<string, string>; inputs?: { do_ppb?: number }; result?: { tpo_ppb?: number }; reason?: string }[]; next?: string }
/** Records in use, of all pages. */
async function all(c: string): Promise<Got['records']> {
	const out: Got['records'] = [];
	for (let after = ''; ; ) {
		const p = await s.get<Got>(`/${c}?limit=1000${after ? `&after=${after}` : ''}`);
		out.push(...p.records.filter((r) => !r.archived));
		if (!p.next) return out;
		after = p.next;
	}
}
const german = Buffer.from(
	'Datum;Uhrzeit;Charge;Bier;Gebinde;Linie;Ventil;Shaken DO (ppb);Temperatur (\xb0C);Brutto (g);Bemerkung\r\n' +
	'05.10.2026;09:40;V118;Vellumrook;Can 355;C6;1;0,044;3,8;371,9;\r\n' +
	'05.10.2026;09:44;V118;Vellumrook;Can 355;C6;2;0,047;3,8;372,4;sch\xf6n\r\n' +
	'05.10.2026;09:48;V118;Vellumrook;Can 355;C6;3;hoch;3,8;372,4;\r\n' +
	'05.10.2026;09:52;V118;Vellumrook;Can 355;C6;4;0,052;39;372,4;\r\n' +
	'06.10.2026;10:05;V119;Thrumbeck;Can 355;C6;1;0,061;4,1;371,2;\r\n', 'latin1');

const choose = (page: Page, name: string, buffer: Buffer) => page.getByLabel('File, or drop it here').setInputFiles({ name, mimeType: 'text/csv', buffer });

for (const [size, view] of [['phone', PHONE], ['desk', DESK]] as const)
	test(`a German log in ppm under a ppb header, ${size}`, async ({ browser }) => {
		const c = await browser.newContext({ ...view, reducedMotion: 'reduce' });
		await asPerson(c, ids.person);
		const page = await c.newPage();
		const w = watch(page);
		await page.goto(s.url + '/import');
		await synced(page);
		await fits(page, 'file');
		await choose(page, 'Füllprotokoll.csv', german);

		// Asked: the unit that the values deny. The brewery's time zone is known.
		const q = page.getByTestId('question');
		await expect(q).toHaveCount(1);
		await expect(q).toContainText('the header says ppb, but a typical value is 0.05');
		await expect(page.getByRole('button', { name: /^Write/ })).toBeDisabled();
		await expect(page.getByText('The text is read as Windows-1252')).toBeVisible();
		await fits(page, 'questions');
		await q.getByRole('button', { name: 'ppm' }).click();
		await expect(q).toHaveCount(0);

		// Live: three rows read, one broken, one of a beer that nobody knows.
		await expect(page.getByTestId('counts')).toContainText('5 rows in the file');
		await expect(page.getByTestId('counts')).toContainText('2 left out');
		await expect(page.getByTestId('fault').filter({ hasText: 'hoch' })).toContainText('is not a number');
		await expect(page.getByTestId('fault').filter({ hasText: 'Temperature' })).toContainText('is unusual');
		await expect(page.getByRole('cell', { name: /0,044/ })).toContainText('44 ppb');
		await page.getByLabel('means').selectOption({ label: 'A new one, to be made' });
		await expect(page.getByTestId('counts')).toContainText('1 left out');
		expect((await all('samples')).length, 'nothing is written by a preview').toBe(0);
		await fits(page, 'mapping');
		if (process.env.LOOK) await page.screenshot({ path: `e2e/out/import-${size}.png`, fullPage: true });

		await page.getByRole('button', { name: 'Write 4 samples in 2 runs' }).click();
		await expect(page.getByRole('heading', { name: 'Imported' })).toBeVisible();
		await fits(page, 'done');
		const got = await all('samples');
		expect(got.map((x) => x.inputs?.do_ppb).sort()).toEqual([44, 47, 52, 61]);
		expect(got.map((x) => x.raw?.do).sort()).toEqual(['0,044 ppm', '0,047 ppm', '0,052 ppm', '0,061 ppm']);
		expect(got.find((x) => x.inputs?.do_ppb === 44)?.result?.tpo_ppb).toBeGreaterThan(80);
		expect(got[0].reason).toMatch(/^imported from Füllprotokoll.csv, row \d$/);

		await page.getByRole('link', { name: 'See the runs' }).click();
		await expect(page.getByText('Thrumbeck').first()).toBeVisible();

		// The same file again changes nothing; the whole import goes back by its list.
		await page.goto(s.url + '/import');
		await expect(page.getByTestId('earlier')).toContainText('imported');
		if (process.env.LOOK) await page.screenshot({ path: `e2e/out/import-earlier-${size}.png`, fullPage: true });
		await page.getByRole('button', { name: 'Undo this import' }).click();
		await page.getByLabel('Why is this import undone?').fill('the wrong meter');
		await page.getByRole('button', { name: 'Undo the whole import' }).click();
		await expect(page.getByRole('heading', { name: 'Undone' })).toBeVisible();
		await fits(page, 'undone');
		expect(await all('samples')).toEqual([]);
		expect(await all('runs')).toEqual([]);
		expect((await all('beers')).length, 'the beer it made goes too').toBe(2);
		clean(w);
		await c.close();
	});

test('a large log by keyboard, its progress, the same file twice, and undo', async ({ page, context }) => {
	test.setTimeout(120000);
	let text = 'Date,Time,Lot,Beer,Format,Line,Head,Shaken DO (ppb),Temp (°C),Gross (g)\n';
	for (let i = 0; i < 6000; i++) {
		const t = new Date(Date.UTC(2026, 1, 2, 6) + Math.floor(i / 20) * 43200000 + (i % 20) * 540000).toISOString();
		text += `${t.slice(0, 10)},${t.slice(11, 16)},L${Math.floor(i / 20)},Vellumrook,Can 355,C6,${1 + (i % 6)},${30 + ((i * 7) % 45)},3.${i % 10},37${i % 5}.${i % 7}\n`;
	}
	const w = watch(page);
	await asPerson(context, ids.person);
	await page.goto(s.url + '/import');
	await synced(page);
	const write = page.getByRole('button', { name: 'Write 6,000 samples in 300 runs' });
	for (const time of ['first', 'second']) {
		await choose(page, 'log.csv', Buffer.from(text));
		await expect(write).toBeEnabled();
		if (time === 'second') await expect(page.getByText('Confirming it again changes nothing that is there.')).toBeVisible();
		await write.focus();
		await page.keyboard.press('Enter');
		if (time === 'first') await expect(page.getByRole('progressbar')).toBeVisible();
		await expect(page.getByRole('heading', { name: 'Imported' })).toBeVisible({ timeout: 60000 });
		await expect(page.getByTestId('progress')).toContainText(time === 'first' ? '6,300 records written' : '6,300 records there already');
		expect((await all('samples')).length).toBe(6000);
		if (time === 'first') await page.getByRole('button', { name: 'Import another file' }).press('Enter');
	}
	await page.getByRole('button', { name: 'Undo this import' }).press('Enter');
	await page.getByLabel('Why is this import undone?').fill('a trial');
	await page.keyboard.press('Enter');
	await expect(page.getByRole('heading', { name: 'Undone' })).toBeVisible({ timeout: 60000 });
	await expect(page.getByTestId('progress')).toContainText('6,300 records archived');
	expect(await all('samples')).toEqual([]);
	clean(w);
});

test('a workbook: the sheet is chosen, days are dates, and another mapping is blocked until the undo', async ({ page, context }) => {
	const w = watch(page);
	await asPerson(context, ids.person);
	await page.goto(s.url + '/import');
	await synced(page);
	const log = workbook({ Cover: [['Ostrelweir Brewhouse'], ['our readings']], Log: [['Date', 'Time', 'Lot', 'Beer', 'Format', 'Line', 'Head', 'Shaken DO (ppb)', 'Temp (°C)', 'Gross (g)'], [46300, 580 / 1440, 'V118', 'Vellumrook', 'Can 355', 'C6', 1, 44, 3.8, 371.9]] });
	await choose(page, 'log.xlsx', log);
	await expect(page.getByRole('button', { name: /^Write/ })).toBeDisabled();
	const how = page.getByText(/^How the file is read/);
	await how.click();
	await page.getByLabel('Sheet').selectOption('Log');
	await expect(page.getByRole('cell', { name: '2026-10-05' })).toBeVisible();
	await page.getByRole('button', { name: 'Write 1 sample in 1 run' }).click();
	await expect(page.getByRole('heading', { name: 'Imported' })).toBeVisible();
	expect(await s.get<Got & { records: { taken_at: string }[] }>('/samples')).toMatchObject({ records: [{ taken_at: '2026-10-05T07:40:00.000Z' }] });

	await page.getByRole('button', { name: 'Import another file' }).click();
	await choose(page, 'log.xlsx', log);
	await how.click();
	await page.getByLabel('Sheet').selectOption('Log');
	await expect(page.getByText('Confirming it again changes nothing that is there.')).toBeVisible();
	await page.getByLabel("Time zone of the log's clock").selectOption('UTC');
	await expect(page.getByText('Undo that import first')).toBeVisible();
	await expect(page.getByRole('button', { name: /^Write/ })).toBeDisabled();
	expect((await all('samples')).length).toBe(1);
	clean(w);
});

test('the page is left while the server writes, and finds it again', async ({ page, context }) => {
	test.setTimeout(120000);
	let text = 'Date,Time,Lot,Beer,Format,Line,Head,Shaken DO (ppb)\n';
	for (let i = 0; i < 12000; i++) text += `2026-0${1 + (i % 9)}-1${i % 10},0${i % 10}:${10 + (i % 50)},L${i % 400},Vellumrook,Can 355,C6,${1 + (i % 6)},${(30 + i / 20).toFixed(2)}\n`;
	const w = watch(page);
	await asPerson(context, ids.person);
	await page.goto(s.url + '/import');
	await synced(page);
	await choose(page, 'log.csv', Buffer.from(text));
	await page.getByRole('button', { name: /^Write .* samples/ }).click();
	await expect(page.getByRole('progressbar')).toBeVisible();
	await page.goto(s.url + '/calc');
	await page.goto(s.url + '/import');
	await expect(page.getByRole('progressbar')).toBeVisible();
	await expect(page.getByRole('heading', { name: 'Imported' })).toBeVisible({ timeout: 90000 });
	const n = (await all('samples')).length;
	expect(n).toBe(12000);
	clean(w);
});

test('package lots, and files that are no log', async ({ page, context }) => {
	const w = watch(page);
	await asPerson(context, ids.person);
	await page.goto(s.url + '/import');
	await synced(page);
	w.cut(true); // the browser logs each refused request
	await choose(page, 'picture.csv', Buffer.from([0x89, 0x50, 0x4e, 0x47, 0, 0, 0, 1, 0, 0, 0]));
	await expect(page.getByTestId('trouble')).toContainText('is not text – save it as CSV or as XLSX');
	w.cut(false);
	await choose(page, 'lots.csv', Buffer.from('Format,Kind,Nominal (mL),Lot,From,Tare (g),Tare SD (g),Tare n,Capacity (mL),Capacity SD (mL),Capacity n\nCan 355,can,355,D-17,2026-11-01,13.4,0.12,10,373.6,0.7,5\nCan 440,can,440,D-18,2026-11-01,15.0,0.14,10,460.0,0.8,5\n'));
	await page.getByRole('button', { name: 'Write 2 lots and 1 new format' }).click();
	await expect(page.getByRole('heading', { name: 'Imported' })).toBeVisible();
	expect((await all('formats')).length).toBe(3);
	expect((await all('format_lots')).length).toBe(3);
	await page.goto(s.url + '/setup/format_lots');
	await expect(page.getByText('D-18')).toBeVisible();
	clean(w);
});
