// The second factor: set up, asked for at sign-in, replaced by a recovery code,
// required of some, lost by one, lost by the only administrator.
import { expect, test, type BrowserContext, type Page } from '@playwright/test';
import { execFileSync } from 'node:child_process';
import { createHmac } from 'node:crypto';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { clean, DESK, PHONE, synced, watch } from './browser.ts';
import { fits } from './fits.ts';
import { BIN, Serve } from './serve.ts';

let s: Serve, boss: BrowserContext, tech: BrowserContext, secret = '', codes: string[] = [];
const data = mkdtempSync(join(tmpdir(), 'ullage-e2e-'));
const PASS = 'eleven casks of old ale', TECH = 'twelve kegs of new stout', NEW = 'thirteen bright tanks of lager';
test.describe.configure({ mode: 'serial' });
test.beforeAll(async ({ browser }) => {
	s = await Serve.start(data, []);
	boss = await browser.newContext({ ...PHONE, reducedMotion: 'reduce' });
	tech = await browser.newContext({ ...DESK, reducedMotion: 'reduce' });
});
test.afterAll(async () => {
	await boss?.close();
	await tech?.close();
	await s?.end();
});

/** What the app on the phone shows (RFC 6238), so many steps of 30 s from now. */
const shown = (base32: string, steps = 0): string => {
	const bits = [...base32.replaceAll(' ', '')].map((c) => 'ABCDEFGHIJKLMNOPQRSTUVWXYZ234567'.indexOf(c).toString(2).padStart(5, '0')).join('');
	const key = Buffer.from(bits.match(/.{8}/g)!.map((b) => parseInt(b, 2)));
	const count = Buffer.alloc(8);
	count.writeBigUInt64BE(BigInt(Math.floor(Date.now() / 30000) + steps));
	const mac = createHmac('sha1', key).update(count).digest();
	return String((mac.readUInt32BE(mac[19] & 15) & 0x7fffffff) % 1e6).padStart(6, '0');
};
const choose = async (page: Page, pass: string) => {
	await page.getByLabel('Password', { exact: true }).fill(pass);
	await page.getByLabel('The same again').fill(pass);
	await page.getByRole('button', { name: 'Sign in', exact: true }).click();
};
const password = async (page: Page, name: string, pass: string) => {
	await page.goto(s.url + '/sign-in');
	await page.getByLabel('Name', { exact: true }).fill(name);
	await page.getByLabel('Password', { exact: true }).fill(pass);
	await page.getByRole('button', { name: 'Sign in', exact: true }).click();
};
/** The step after the password is done, and the records are there. */
const inside = async (page: Page) => {
	await expect(page.getByRole('heading', { name: 'And a code' })).toBeHidden();
	await synced(page);
};
const signOut = async (page: Page) => {
	await page.goto(s.url + '/me');
	await page.getByRole('button', { name: 'Sign out', exact: true }).click();
	await expect(page.getByRole('heading', { name: 'Sign in' })).toBeVisible();
};
/** Reads the secret, sends a code of it, keeps the recovery codes. */
const setUp = async (page: Page, what = '') => {
	await expect(page.getByRole('img', { name: 'QR code' })).toBeVisible();
	const at = page.getByTestId('secret');
	await expect(at).toHaveText(/^([A-Z2-7]{4} ){7}[A-Z2-7]{4}$/);
	if (what) await fits(page, what);
	const now = await at.innerText();
	await page.getByLabel('Code of the app').fill(shown(now));
	await page.getByRole('button', { name: 'Turn it on' }).click();
	await expect(page.getByRole('heading', { name: 'Ten recovery codes' })).toBeVisible();
	await expect(page.locator('ol code')).toHaveCount(10);
	if (what) await fits(page, `${what}: recovery codes`);
	codes = await page.locator('ol code').allInnerTexts();
	await page.getByRole('button', { name: 'I have kept them' }).click();
	await expect(page.getByRole('heading', { name: 'Ten recovery codes' })).toBeHidden();
	return now;
};

test('set up on the own page, then asked for; a recovery code takes its place once', async () => {
	const page = await boss.newPage();
	const seen = watch(page);
	seen.cut(true); // refused codes are answers of 403
	await page.goto(s.adminLink);
	await page.getByLabel('Your name').fill('Brewmaster');
	await page.getByLabel('Name to sign in with').fill('brewmaster');
	await choose(page, PASS);
	await expect(page.getByRole('heading', { name: 'Start here' })).toBeVisible();
	await page.goto(s.url + '/me');
	await page.getByRole('button', { name: 'Set it up' }).click();
	await page.getByLabel('Code of the app').fill('00000x');
	await page.getByRole('button', { name: 'Turn it on' }).click();
	await expect(page.getByRole('alert')).toContainText('is not right');
	secret = await setUp(page, 'set up');
	await expect(page.getByText('The second factor is on. Other devices')).toBeVisible();
	await expect(page.getByText('Recovery codes left: 10')).toBeVisible();
	await fits(page, 'my account with a second factor');

	await signOut(page);
	await password(page, 'brewmaster', PASS);
	await expect(page.getByRole('heading', { name: 'And a code' })).toBeVisible();
	await fits(page, 'the code at sign-in');
	expect((await boss.request.get(`${s.url}/api/v1/runs`)).status()).toBe(401); // half a session opens nothing
	await page.reload(); // and is not lost by a reload
	await page.getByLabel('Code of the app').fill('00000x');
	await page.getByRole('button', { name: 'Sign in', exact: true }).click();
	await expect(page.getByRole('alert')).toContainText('is not right');
	await page.getByLabel('Code of the app').fill(shown(secret, 1)); // the code of its setting up counts once
	await page.getByRole('button', { name: 'Sign in', exact: true }).click();
	await inside(page);

	await signOut(page);
	await password(page, 'brewmaster', PASS);
	await page.getByRole('button', { name: 'use a recovery code' }).click();
	await page.getByLabel('Recovery code').fill(codes[0].replaceAll('-', ' ').toUpperCase());
	await page.getByRole('button', { name: 'Sign in', exact: true }).click();
	await inside(page);
	await page.goto(s.url + '/me');
	await expect(page.getByText('Recovery codes left: 9')).toBeVisible();
	await signOut(page);
	clean(seen);
	await page.close();
});

test('required of some: who has none is led to it; a lost one is taken off, and its holder told', async () => {
	const page = await boss.newPage(), other = await tech.newPage();
	await password(page, 'brewmaster', PASS);
	await page.getByRole('button', { name: 'use a recovery code' }).click();
	await page.getByLabel('Recovery code').fill(codes[2]);
	await page.getByRole('button', { name: 'Sign in', exact: true }).click();
	await inside(page);
	await page.goto(s.url + '/accounts');
	await page.getByLabel('Name to sign in with').fill('quality.tech');
	await page.getByLabel('Name on records').fill('Quality tech');
	await page.getByRole('checkbox', { name: /^review/ }).last().check();
	await page.getByRole('button', { name: 'Make the account' }).click();
	const link = page.locator('.note code');
	await expect(link).toContainText('#link=');
	const techLink = (await link.innerText()).trim();
	await page.getByLabel('Required of').selectOption('reviewers');
	await expect(page.getByText('set it up when they sign in next')).toBeVisible();

	const mine = codes;
	await other.goto(techLink);
	await choose(other, TECH);
	await expect(other.getByRole('heading', { name: 'Set up your second factor' })).toBeVisible();
	await setUp(other, 'required at sign-in');
	await synced(other);
	await other.goto(s.url + '/me');
	await expect(other.getByText('This server requires it of your roles.')).toBeVisible();
	codes = mine;

	// The server asks the administrator again who it is, as after ten minutes.
	let asked = 0;
	await page.route('**/take-factor-off', (r) => (asked++ ? r.continue() : r.fulfill({ status: 403, contentType: 'application/problem+json', body: JSON.stringify({ type: '/api/docs#problem-prove_again', title: 'Show again who you are', status: 403, detail: 'x' }) })));
	await page.reload();
	await page.getByRole('button', { name: 'Take off the lost second factor' }).click();
	const dialog = page.getByRole('dialog', { name: 'Is it still you?' });
	await expect(dialog).toBeVisible();
	await fits(page, 'asked again');
	await dialog.getByLabel('Your password').fill('not the password');
	await dialog.getByRole('button', { name: 'use a recovery code' }).click();
	await dialog.getByLabel('Recovery code').fill(codes[3]);
	await dialog.getByRole('button', { name: 'Go on' }).click();
	await expect(dialog.getByRole('alert')).toContainText('is not the password');
	await dialog.getByLabel('Your password').fill(PASS);
	await dialog.getByLabel('Recovery code').fill(codes[3]);
	await dialog.getByRole('button', { name: 'Go on' }).click();
	await expect(dialog).toBeHidden();
	await expect(page.getByText('The second factor of quality.tech is off')).toBeVisible();
	await fits(page, 'accounts with a rule');
	// The last administrator stays one, also on the page.
	const last = page.getByRole('group', { name: 'Roles of brewmaster' }).getByRole('checkbox', { name: /^administer/ });
	await last.click();
	await expect(page.getByRole('alert')).toContainText('is the last administrator');
	await expect(last).toBeChecked();

	await password(other, 'quality.tech', TECH);
	await expect(other.getByRole('heading', { name: 'Set up your second factor' })).toBeVisible();
	await setUp(other);
	await expect(other.getByTestId('told')).toContainText('taken off by brewmaster');
	await other.getByRole('button', { name: 'I have read it' }).click();
	await expect(other.getByTestId('told')).toBeHidden();
	await page.close();
	await other.close();
});

test('the only administrator, without password, phone and codes, comes back through who holds the database', async () => {
	const page = await boss.newPage();
	await s.kill();
	const out = execFileSync(BIN, ['recover', '--data', data, '--lost-factor', 'brewmaster'], { encoding: 'utf8' });
	const path = /\/sign-in#link=\S+/.exec(out)![0];
	await s.up();
	await page.goto(s.url + path);
	await expect(page.getByText('Account brewmaster')).toBeVisible();
	await choose(page, NEW);
	await expect(page.getByRole('heading', { name: 'Set up your second factor' })).toBeVisible(); // the rule is the server's
	await setUp(page);
	await expect(page.getByTestId('told')).toContainText('taken off by the command line');
	await page.goto(s.url + '/accounts');
	await expect(page.getByRole('cell', { name: 'second factor taken off by the command line' })).toBeVisible();
	await expect(page.getByRole('cell', { name: 'link made at the command line' })).toBeVisible();
	await page.close();
});
