// Accounts: the first administrator, a colleague by link, a phone whose session
// ended with samples waiting, a shared tablet, a device at the line.
import { expect, test, type Browser, type BrowserContext, type Page } from '@playwright/test';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { uuidv7 } from '../src/offline/uuid.ts';
import { DESK, installed, PHONE, synced } from './browser.ts';
import { fits } from './fits.ts';
import { Serve } from './serve.ts';

let s: Serve, boss: BrowserContext, run = '';
const PASS = 'eleven casks of old ale', TECH = 'twelve kegs of new stout';
test.describe.configure({ mode: 'serial' });
test.beforeAll(async () => {
	s = await Serve.start(mkdtempSync(join(tmpdir(), 'ullage-e2e-')), []);
});
test.afterAll(async () => {
	await boss?.close();
	await s.end();
});

const sample = async (page: Page, grams: string) => {
	await page.goto(`${s.url}/runs/${run}/sample`);
	await page.getByLabel('Gross weight, g').fill(grams);
	await page.getByLabel('Shaken DO, ppb').fill('46');
	await page.getByLabel('Beer, °C').fill('3.8').catch(() => {});
	await page.getByRole('button', { name: 'Save', exact: true }).click();
	await expect(page.getByRole('button', { name: /^Undo/ })).toBeVisible();
};
/** What the server has, as the administrator reads it. */
const samples = async (): Promise<{ by: string; said_by?: string; inputs: { gross_g: number } }[]> => (await (await boss.request.get(`${s.url}/api/v1/samples?limit=100`)).json()).records;
const person = async (name: string): Promise<string> => ((await (await boss.request.get(`${s.url}/api/v1/people?limit=100`)).json()) as { records: { id: string; name: string }[] }).records.find((p) => p.name === name)!.id;
const byPassword = async (page: Page, name: string, pass: string) => {
	await page.getByLabel('Name', { exact: true }).fill(name);
	await page.getByLabel('Password', { exact: true }).fill(pass);
	await page.getByRole('button', { name: 'Sign in', exact: true }).click();
	await expect(page.getByRole('heading', { name: 'Sign in' })).toBeHidden();
};
/** How many records lie in the browser, and how many writes wait there. */
const stored = (page: Page) => page.evaluate(async () => {
	const db = await new Promise<IDBDatabase>((ok, no) => { const q = indexedDB.open('ullage'); q.onsuccess = () => ok(q.result); q.onerror = () => no(q.error!); });
	const count = (name: string) => new Promise<number>((ok) => { const q = db.transaction(name).objectStore(name).count(); q.onsuccess = () => ok(q.result); });
	const n = { records: await count('records'), outbox: await count('outbox') };
	db.close();
	return n;
});
async function phone(browser: Browser): Promise<[BrowserContext, Page]> {
	const c = await browser.newContext({ ...PHONE, reducedMotion: 'reduce' });
	return [c, await c.newPage()];
}
let techLink = '';

test('the link of the terminal makes the administrator, who makes an account', async ({ browser }) => {
	boss = await browser.newContext({ ...DESK, reducedMotion: 'reduce' });
	const page = await boss.newPage();
	await page.goto(s.url);
	await expect(page.getByRole('heading', { name: 'Sign in' })).toBeVisible();
	await fits(page, 'sign in');
	await page.goto(s.url + '/calc');
	await expect(page.locator('h1')).toBeVisible(); // the calculators need no account
	expect(s.adminLink).toContain('/sign-in#link=');
	await page.goto(s.adminLink);
	await expect(page.getByRole('heading', { name: 'Become the administrator' })).toBeVisible();
	expect(page.url()).not.toContain('link=');
	await fits(page, 'first administrator');
	await page.getByLabel('Your name').fill('Brewmaster');
	await page.getByLabel('Name to sign in with').fill('brewmaster');
	await page.getByLabel('Password', { exact: true }).fill('short');
	await page.getByLabel('The same again').fill('short');
	await page.getByRole('button', { name: 'Sign in' }).click();
	await expect(page.getByRole('alert')).toContainText('12 characters');
	await page.getByLabel('Password', { exact: true }).fill(PASS);
	await page.getByLabel('The same again').fill(PASS);
	await page.getByRole('button', { name: 'Sign in' }).click();
	await expect(page.getByRole('heading', { name: 'Start here' })).toBeVisible();
	await page.goto(s.adminLink);
	await expect(page.getByRole('alert')).toContainText('used already');

	await page.goto(s.url + '/accounts');
	await page.getByLabel('Name to sign in with').fill('quality.tech');
	await page.getByLabel('Name on records').fill('Quality tech');
	await page.getByRole('button', { name: 'Make the account' }).click();
	techLink = (await page.locator('code').innerText()).trim();
	expect(techLink).toContain('#link=');
	await fits(page, 'accounts');
	await page.goto(s.url + '/me');
	await expect(page.getByText('Where you are signed in (1)')).toBeVisible();
	await fits(page, 'my account');
	// A run to enter into.
	const [beer, can, lot, line] = [uuidv7(), uuidv7(), uuidv7(), uuidv7()];
	run = uuidv7();
	const w = (collection: string, record: { id: string }) => ({ collection, id: record.id, base_rev: 0, record });
	const r = await boss.request.post(`${s.url}/api/v1/batch`, { data: { writes: [
		w('beers', { id: beer, name: 'Vellumrook', sg: 1.01, co2_vol: 2.45 } as never), w('formats', { id: can, name: 'Can 355', kind: 'can', nominal_ml: 355 } as never),
		w('format_lots', { id: lot, format_id: can, name: 'Lot A', from: '2026-01-05', capacity_ml: 373.5, capacity_sd_ml: 0.7, capacity_source: 'lot', tare_g: 13.4, tare_sd_g: 0.12 } as never),
		w('lines', { id: line, name: 'C6', heads: 6, stations: 2, sample_every_min: 30 } as never),
		w('runs', { id: run, beer_id: beer, format_id: can, format_lot_id: lot, line_id: line, started_at: new Date(Date.now() - 3600000).toISOString(), status: 'going' } as never)
	] } });
	expect((await r.json()).answers.map((a: { status: string }) => a.status)).toEqual(Array(5).fill('created'));
});

test('a phone whose session ended keeps what is entered, and sends it after signing in', async ({ browser }) => {
	const [c, page] = await phone(browser);
	await page.goto(techLink);
	const secret = page.getByLabel('Password', { exact: true });
	await secret.fill(TECH);
	for (const [press, type] of [['Show', 'text'], ['Hide', 'password']]) {
		await page.getByRole('button', { name: press }).click();
		await expect(secret).toHaveAttribute('type', type);
		await expect(secret).toHaveAttribute('autocomplete', 'new-password');
	}
	await page.getByLabel('The same again').fill(TECH);
	await page.getByRole('button', { name: 'Sign in' }).click();
	await expect(page.getByRole('heading', { name: 'Choose a password' })).toBeHidden();
	await synced(page);
	await sample(page, '371.9');
	await synced(page);
	// An administrator takes the sessions away.
	const list = (await (await boss.request.get(`${s.url}/api/v1/accounts`)).json()).accounts as { id: string; name: string; roles: string[] }[];
	const tech = list.find((a) => a.name === 'quality.tech')!;
	for (const off of [true, false]) await boss.request.post(`${s.url}/api/v1/accounts/${tech.id}`, { data: { roles: tech.roles, off } });
	// It had no network then: it opens, and goes on as who was signed in.
	await installed(page);
	await c.setOffline(true);
	await sample(page, '372.3');
	await expect(page.getByTestId('waiting')).toHaveText('1 waiting');
	await expect(page.getByTestId('sign-in-to-send')).toHaveCount(0);
	await c.setOffline(false);
	await expect(page.getByTestId('sign-in-to-send')).toContainText('Sign in to send 1 waiting', { timeout: 40000 });
	await page.goto(s.url + '/runs'); // nothing is lost by closing the app
	await expect(page.getByTestId('sign-in-to-send')).toContainText('Sign in to send 1 waiting');
	await fits(page, 'waiting for sign-in');
	await page.getByRole('link', { name: 'Sign in' }).click();
	await expect(page.getByText('1 waiting on this device')).toBeVisible();
	await byPassword(page, 'quality.tech', TECH);
	await synced(page);
	const all = await samples();
	expect(all.map((x) => x.inputs.gross_g).sort()).toEqual([371.9, 372.3]);
	expect(new Set(all.map((x) => x.by))).toEqual(new Set([await person('Quality tech')]));
	// A PIN for the tablet.
	await page.goto(s.url + '/me');
	await page.getByLabel('Password', { exact: true }).fill(TECH);
	await page.getByLabel('PIN for shared devices').fill('482915');
	await page.getByRole('button', { name: 'Set the PIN' }).click();
	await expect(page.getByText('The PIN is set.')).toBeVisible();
	// Signing out takes the records off the device, also while something waits; that stays.
	const signOut = async (waits: number) => {
		await page.goto(s.url + '/me');
		await page.getByRole('button', { name: 'Sign out', exact: true }).click();
		await expect(page.getByRole('heading', { name: 'Sign in' })).toBeVisible();
		await expect.poll(() => stored(page)).toEqual({ records: 0, outbox: waits });
	};
	await c.route('**/api/v1/batch', (r) => r.abort());
	await sample(page, '372.4');
	await expect(page.getByTestId('waiting')).toHaveText('1 waiting');
	await signOut(1);
	await c.unroute('**/api/v1/batch');
	await byPassword(page, 'quality.tech', TECH);
	await synced(page);
	expect((await samples()).filter((x) => x.inputs.gross_g === 372.4).length).toBe(1);
	// Without a network too; the server is told when it is back.
	await page.goto(s.url + '/me');
	const out = page.getByRole('button', { name: 'Sign out', exact: true });
	await expect(out).toBeVisible();
	await c.setOffline(true);
	await out.click();
	await expect.poll(() => stored(page)).toEqual({ records: 0, outbox: 0 });
	await c.setOffline(false);
	await expect.poll(async () => (await (await page.request.get(`${s.url}/api/v1/session`)).json()).signed_in, { timeout: 40000 }).toBe(false);
	await page.goto(s.url + '/runs');
	await expect(page.getByRole('heading', { name: 'Sign in' })).toBeVisible();
	await c.close();
});

test('a shared tablet goes from hand to hand by PIN', async ({ browser }) => {
	const [c, page] = await phone(browser);
	await page.goto(s.url);
	await byPassword(page, 'brewmaster', PASS);
	await synced(page);
	await page.goto(s.url + '/accounts');
	await page.getByLabel('Name, by its place').fill('Lab tablet');
	await page.getByRole('button', { name: 'Register' }).click();
	await expect(page.getByText('This device is Lab tablet now.')).toBeVisible();
	await fits(page, 'accounts on a phone');
	await page.goto(s.url + '/me');
	await page.getByRole('button', { name: 'Hand over' }).click();
	await expect(page.getByRole('heading', { name: 'Who takes over?' })).toBeVisible();
	await page.getByRole('radio', { name: 'Quality tech' }).check();
	await page.getByLabel('PIN').fill('000001');
	await page.getByRole('button', { name: 'Take over' }).click();
	await expect(page.getByRole('alert')).toContainText('not right');
	await fits(page, 'hand over');
	await page.getByLabel('PIN').fill('482915');
	await page.getByRole('button', { name: 'Take over' }).click();
	await expect(page.getByRole('heading', { name: 'Who takes over?' })).toBeHidden();
	await synced(page);
	await sample(page, '372.6');
	await synced(page);
	expect((await samples()).find((x) => x.inputs.gross_g === 372.6)!.by).toBe(await person('Quality tech'));
	await page.goto(s.url + '/accounts');
	await expect(page.getByText('Accounts are made by an administrator.')).toBeVisible();
	await c.close();
});

test('a device at the line enters, and does nothing else', async ({ browser }) => {
	const [c, page] = await phone(browser);
	await page.goto(s.url);
	await byPassword(page, 'brewmaster', PASS);
	await synced(page);
	await page.goto(s.url + '/accounts');
	await page.getByLabel('Name, by its place').fill('Line C6');
	await page.getByText('At the line: nobody signs in').click();
	await page.getByRole('button', { name: 'Register' }).click();
	await expect(page.getByText('This device is Line C6 now.')).toBeVisible();
	await page.goto(s.url + '/me');
	await expect(page.getByText('a device at the line')).toBeVisible();
	await sample(page, '372.8');
	await synced(page);
	expect((await samples()).find((x) => x.inputs.gross_g === 372.8)!.by).toBe(await person('Line C6'));
	expect((await c.request.get(`${s.url}/api/v1/export`)).status()).toBe(403);
	expect((await c.request.get(`${s.url}/api/v1/accounts`)).status()).toBe(403);
	await c.close();
});

test('the trail of a sample says who, how, on which device, and proves itself', async () => {
	const page = await boss.newPage();
	const id = (await (await boss.request.get(`${s.url}/api/v1/samples?limit=1`)).json()).records[0].id as string;
	await page.goto(`${s.url}/trail?c=samples&id=${id}`);
	await expect(page.getByRole('heading', { name: 'Revision 1 by Quality tech' })).toBeVisible();
	await expect(page.getByText('signed in by link')).toBeVisible();
	await page.getByRole('button', { name: 'Walk the chain' }).click();
	await expect(page.getByText('The records are what was written.')).toBeVisible();
	await fits(page, 'trail');
	await page.close();
});
