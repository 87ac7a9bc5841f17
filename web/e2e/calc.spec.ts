// The calculator gives what the command line gives: the page prints the command,
// the test runs it. And it needs neither a person nor, once opened, a network.
import { execFileSync } from 'node:child_process';
import { expect, test } from '@playwright/test';
import { clean, DESK, installed, watch } from './browser.ts';
import { BIN, Serve } from './serve.ts';

let s: Serve;
test.beforeAll(async () => (s = await Serve.start()));
test.afterAll(async () => s.end());

interface Out { tpo_ppb: number; tpo_u_ppb: number; headspace_ml: number }
/** Runs the command as printed, without a shell. */
function atTerminal(line: string): Out {
	const [name, ...args] = line.split(/\s+/);
	expect(name).toBe('ullage');
	const text = execFileSync(BIN, [...args.filter((a) => a !== '--explain'), '--format', 'json'], { encoding: 'utf8' });
	const out = JSON.parse(text) as Out | Out[] | { result: Out };
	return Array.isArray(out) ? out[0] : 'result' in out ? out.result : out;
}

test('the same number on the page, at the terminal, and without a network', async ({ browser }) => {
	const c = await browser.newContext(DESK);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(s.url + '/calc');
	const r = page.getByTestId('result');
	await expect(r).toContainText('98.2');
	await expect(page.getByRole('heading', { name: 'Derivation' })).toBeVisible();
	await expect(page.getByText('Benson & Krause 1984', { exact: false }).first()).toBeVisible();
	const shown = async () => Number((await r.locator('.val b').innerText()).replace(/,/g, ''));
	const agree = async () => {
		const t = atTerminal(await page.locator('code').innerText());
		expect(Math.abs((await shown()) - t.tpo_ppb)).toBeLessThanOrEqual(0.051 + 0.5 * 10 ** -1);
	};
	await agree();
	await page.getByLabel('Temperature, °C').first().fill('68 °F');
	await page.getByLabel('Shaken DO, ppb', { exact: true }).fill('0.048 ppm');
	await page.getByText('Beer and air').click();
	await page.getByLabel('Carbonation, vol').fill('2.5');
	await page.getByText('Corrections and uncertainty').click();
	await page.getByLabel(/Dissolved CO₂/).check();
	await expect.poll(shown).not.toBe(98.2);
	await agree();

	// A refusal names its field and the mend, and keeps what was typed.
	await page.getByLabel('Gross weight, g').fill('12');
	await expect(page.getByText(/not above the tare/)).toBeVisible();
	await expect(page.getByLabel('Gross weight, g')).toHaveValue('12');
	await page.getByLabel('Gross weight, g').fill('371.9');
	await expect(r).toBeVisible();

	await installed(page);
	w.cut(true);
	await s.kill();
	await page.reload();
	await expect(r).toBeVisible();
	clean(w);
	await c.close();
});
