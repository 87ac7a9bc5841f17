// Planners: each opened on a phone gives what the command line gives for the same
// inputs (the page prints the command, the test runs it), takes any unit, keeps
// its inputs in the address, works without a network, and prints its card on one page.
import { execFileSync } from 'node:child_process';
import { resolve } from 'node:path';
import { expect, test, type Page } from '@playwright/test';
import { clean, DESK, installed, PHONE, watch } from './browser.ts';
import { faults } from './fits.ts';
import { BIN, Serve } from './serve.ts';

const ROOT = resolve(import.meta.dirname, '../..');
let s: Serve;
test.beforeAll(async () => (s = await Serve.start()));
test.afterAll(async () => s.end());

type Numbers = Record<string, number>;
/** Runs the command as the page prints it. */
async function atTerminal(page: Page): Promise<Numbers> {
	const command = await page.locator('.cli code').first().innerText();
	expect(command).toMatch(/^ullage plan /);
	return (JSON.parse(execFileSync('sh', ['-c', `${command.replace('ullage', `'${BIN}'`)} --format json`], { encoding: 'utf8', cwd: ROOT })) as { result: Numbers }).result;
}
const number = async (page: Page, id: string): Promise<number> => Number((await page.getByTestId(id).innerText()).replaceAll(',', '').split('–')[0]);
/** Waits until the figure on the page is the terminal's to its three digits. */
async function agrees(page: Page, id: string, pick: (r: Numbers) => number): Promise<void> {
	await expect(page.getByTestId(id)).toBeVisible();
	await expect.poll(async () => {
		const shown = await number(page, id), there = pick(await atTerminal(page));
		expect(there).not.toBe(0);
		return Math.abs(shown / there - 1);
	}).toBeLessThan(0.006);
}

// Page, figure, where the terminal has it, and a field typed in another unit.
const PLANS: [string, string, (r: Numbers) => number, string, string][] = [
	['/plan/purge', 'amount', (r) => r.amount, 'Vessel', '45 bbl'],
	['/plan/purge?method=pressure&aim=given&high=12+psi', 'left', (r) => r.oxygen_ppmv, 'Gas in the vessel', '50 °F'],
	['/plan/purge?method=steps&aim=target&vessel=20+L&beer=19+L&target=20+ppb&gasOxygen=10+ppm', 'amount', (r) => r.amount, 'Beer that goes in', '5 gal'],
	['/plan/gas?use=bring', 'dissolved', (r) => r.dissolved_ppb, 'CO2 dissolved and kept', '5 g/L'],
	['/plan/gas?use=strip', 'strip', (r) => r.gas_per_beer, 'DO before', '0.15 ppm'],
	['/plan/additions', 'after', (r) => r.do_low_ppb, 'Beer in the tank', '30 bbl'],
	['/plan/air', 'tpo', (r) => r.tpo_ppb, 'Beer in it', '12 fl oz'],
	['/plan/after', 'supplied', (r) => r.supplied_ppb, 'Store', '68 °F'],
	['/plan/age', 'age', (r) => r.equivalent_days, 'As if all along at', '50 °F'],
	['/plan/wort', 'flow', (r) => r.gas_nl_min, 'Its extract or gravity', '1.060'],
	['/plan/wort?aim=rules&extract=18+%C2%B0P&tank=several&second=4+ppm&float=air', 'float', (r) => r.float_reading_nl_min, 'Wort', '50 °F'],
	['/plan/home', 'air', (r) => r.all_air_ppb, 'Beer in the keg', '5 gal']
];

test('each planner on a phone, against the terminal, in any unit, and without a network', async ({ browser }) => {
	test.setTimeout(120000);
	const c = await browser.newContext(PHONE);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(s.url + '/plan');
	await expect(page.getByRole('heading', { name: 'Planners' })).toBeVisible();
	await expect(page.locator('.jobs a')).toHaveCount(8);
	for (const [path, id, pick, label, typed] of PLANS) {
		await page.goto(s.url + path);
		await agrees(page, id, pick);
		const before = await page.locator('.cli code').first().innerText();
		const field = page.getByLabel(label, { exact: true }).first();
		if (!(await field.isVisible())) await page.getByText('Vessel by its dimensions').click();
		await field.fill(typed);
		await expect(page.locator('.cli code').first()).not.toHaveText(before);
		await agrees(page, id, pick);
	}
	await installed(page);
	w.cut(true);
	await s.kill();
	for (const [path, id] of PLANS) {
		await page.goto(s.url + path);
		await expect(page.getByTestId(id)).toBeVisible();
	}
	await s.up();
	w.cut(false);
	clean(w);
	await c.close();
});

test('a field says what it understood, and its unit turns by a tap', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(s.url + '/plan/purge');
	const vessel = page.getByLabel('Vessel', { exact: true }), under = vessel.locator('xpath=../following-sibling::span');
	await vessel.fill('5 gal');
	await expect(under).toContainText('= 18.9 L');
	await page.getByLabel('Beer that goes in', { exact: true }).fill('3 gal');
	await vessel.blur();
	await expect(vessel).toHaveValue('5');
	await page.getByLabel('Unit of Vessel', { exact: true }).selectOption('L');
	await expect(vessel).toHaveValue('18.93');
	await vessel.fill('about 5');
	await expect(under).toContainText('not a number');
	await expect(vessel).toHaveValue('about 5');
	await vessel.fill('1,204');
	await expect(under).toContainText('two ways');
	await vessel.fill('20 L');
	await page.getByRole('radio', { name: 'Pressure cycles' }).check();
	const high = page.getByLabel('Filled to', { exact: true });
	await high.fill('29.4 psia');
	await expect(high.locator('xpath=../following-sibling::span')).toContainText('= 1.01 bar gauge');
	await high.fill('12 psi');
	await expect(high.locator('xpath=../following-sibling::span')).toContainText('1.84 bar absolute');
	// A refusal of the calculation stands at its field, with the mend.
	await page.getByLabel('Beer that goes in', { exact: true }).fill('3 hL');
	await expect(page.getByText('more than the vessel', { exact: false })).toBeVisible();
	await page.goto(s.url + '/plan/wort');
	await page.getByLabel('Its extract or gravity').fill('1.048');
	await expect(page.getByText('= 11.91 °P')).toBeVisible();
	clean(w);
	await c.close();
});

test('wort: rules of one\'s own, several brews, past brews, all kept in the address', async ({ browser }) => {
	const c = await browser.newContext(PHONE);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(s.url + '/plan/wort?aim=rules');
	await expect(page.getByTestId('target')).toHaveText('9');
	await page.getByText('The rules, yours to change').tap();
	await page.getByLabel('DO at most, rule 1', { exact: true }).fill('14 ppm');
	await expect(page.getByTestId('target')).toHaveText('11');
	await page.getByLabel('Source, rule 1', { exact: true }).fill('our trial');
	await expect(page.getByTestId('why')).toContainText('Source: our trial');
	await page.getByRole('radio', { name: 'Several brews' }).check();
	await expect(page.getByRole('img', { name: /2 brews in one tank/ })).toContainText('no gas');
	await page.getByRole('radio', { name: 'From brews I type' }).check();
	await page.getByLabel('DO read, brew 1', { exact: true }).fill('10 ppm');
	await expect(page.getByTestId('trend')).toContainText('1 brew');
	await expect(page.locator('.cli code')).toContainText('--rules rules.csv --fill 25hL --fill 25hL:none --brews brews.csv');
	await expect.poll(() => decodeURIComponent(page.url())).toContain('"do":"10+ppm"');
	const shown = await page.getByTestId('flow').innerText(), other = await c.newPage();
	await other.goto(page.url());
	await expect(other.getByTestId('flow')).toHaveText(shown);
	await expect(other.getByLabel('DO read, brew 1', { exact: true })).toHaveValue('10');
	clean(w);
	await c.close();
});

test('the plan is in the address, comes back, and is remembered', async ({ browser }) => {
	const c = await browser.newContext(PHONE);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(s.url + '/plan');
	await page.getByRole('link', { name: /^Purge/ }).tap();
	await expect(page.getByTestId('amount')).toBeVisible();
	await page.getByLabel('Vessel', { exact: true }).fill('70 hL');
	await expect.poll(() => page.url()).toContain('vessel=70+hL');
	const sweep = await number(page, 'amount');
	await page.getByRole('radio', { name: 'Pressure cycles' }).check();
	await expect(page.getByText('cycles', { exact: true }).first()).toBeVisible();
	await page.goBack();
	await expect(page.getByLabel('Vessel', { exact: true })).toHaveValue('70');
	await expect.poll(() => number(page, 'amount')).toBe(sweep);
	const other = await c.newPage();
	await other.goto(page.url());
	await expect(other.getByLabel('Vessel', { exact: true })).toHaveValue('70');
	await other.goto(s.url + '/plan/purge');
	await expect(other.getByLabel('Vessel', { exact: true })).toHaveValue('70');
	await other.getByRole('button', { name: 'Start values' }).tap();
	await expect(other.getByLabel('Vessel', { exact: true })).toHaveValue('50');
	clean(w);
	await c.close();
});

test("a logger's file: its age, its faults by line, and dates that can be read two ways", async ({ browser }) => {
	const c = await browser.newContext(PHONE);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(s.url + '/plan/age?from=logger');
	await page.locator('input[type=file]').setInputFiles(resolve(ROOT, 'examples/logger.csv'));
	await expect(page.getByTestId('age')).toHaveText('41.3');
	await expect(page.getByTestId('read')).toContainText('9 of 10 rows used');
	const row = page.getByRole('row', { name: /^7 error/ });
	await expect(row).toContainText('is not a number');
	await page.locator('input[type=file]').setInputFiles({ name: 'two ways.csv', mimeType: 'text/csv', buffer: Buffer.from('time;temperature (°C)\n04/05/2026 10:00;4,0\n06/05/2026 10:00;4,0\n') });
	await expect(page.getByText('can be read two ways', { exact: false })).toBeVisible();
	await page.getByRole('button', { name: 'Month first' }).tap();
	await expect(page.getByTestId('age')).toHaveText('61');
	clean(w);
	await c.close();
});

test('the card prints on one page', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const page = await c.newPage();
	for (const path of ['/plan/home', '/plan/home?package=bottle&co2=3.4+vol&rest=1+%C2%B0P&name=Thrumbeck', '/plan/home?package=can']) {
		await page.goto(s.url + path);
		await expect(page.getByTestId('best')).toBeVisible();
		await expect(page.getByTestId('sugars')).toBeVisible();
		await page.emulateMedia({ media: 'print', colorScheme: 'light' });
		await expect(page.getByTestId('card')).toBeVisible();
		await expect(page.getByTestId('card')).toContainText('An estimate, not a measurement');
		await expect(page.getByTestId('card')).toContainText('poisonous');
		await expect(page.locator('.shell-head')).toBeHidden();
		for (const format of ['A4', 'Letter']) {
			const pdf = await page.pdf({ format, margin: { top: '12mm', bottom: '12mm', left: '12mm', right: '12mm' } });
			expect(pdf.toString('latin1').match(/\/Type\s*\/Page\b/g)?.length, `${path} on ${format}`).toBe(1);
		}
		await page.emulateMedia({ media: 'screen' });
	}
	await c.close();
});

for (const [size, view] of [['phone', PHONE], ['desk', DESK]] as const)
	test(`accessible and fits, ${size}`, async ({ browser }) => {
		test.setTimeout(300000);
		const c = await browser.newContext({ ...view, reducedMotion: 'reduce' });
		const page = await c.newPage();
		const w = watch(page);
		const found: string[] = [];
		for (const [path, id] of [['/plan', ''] as const, ...PLANS.slice(2).map((p) => [p[0], p[1]] as const)]) {
			await page.goto(s.url + path);
			if (id) await expect(page.getByTestId(id)).toBeVisible();
			await page.evaluate(() => document.querySelectorAll('details').forEach((d) => (d.open = true)));
			found.push(...(await faults(page, path)));
		}
		expect(found).toEqual([]);
		clean(w);
		await c.close();
	});
