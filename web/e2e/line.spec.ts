// At the line: what the entry page carries, asks and advances; other units; the
// keyboard alone; the clock of the run.
import { expect, test, type Page } from '@playwright/test';
import { uuidv7 } from '../src/offline/uuid.ts';
import { asPerson, clean, DESK, synced, watch } from './browser.ts';
import { seed, type Seed } from './seed.ts';
import { Serve } from './serve.ts';

let s: Serve, ids: Seed;
test.beforeAll(async () => {
	s = await Serve.start();
	ids = await seed(s);
});
test.afterAll(async () => s.end());

const ago = (min: number) => new Date(Date.now() - min * 60000).toISOString();
async function run(over: Record<string, unknown> = {}): Promise<string> {
	const id = uuidv7();
	const [a] = await s.write([{ collection: 'runs', id, base_rev: 0, record: { id, by: ids.person, beer_id: ids.beer, format_id: ids.can, format_lot_id: ids.lot, line_id: ids.c6, started_at: ago(300), status: 'going', sample_every_min: 30, ...over } }]);
	expect(a.status, JSON.stringify(a.problem)).toBe('created');
	return id;
}
async function sample(run_id: string, min: number, over: Record<string, unknown> = {}): Promise<void> {
	const id = uuidv7(Date.now() - min * 60000);
	const [a] = await s.write([{ collection: 'samples', id, base_rev: 0, record: { id, by: ids.person, run_id, kind: 'shaken', head: 2, station: 1, set_no: 1, taken_at: ago(min), raw: {}, inputs: { temperature_c: 3.8, temperature_at: ago(min), gross_g: 371.9, do_ppb: 45 }, ...over } }]);
	expect(a.status, JSON.stringify(a.problem)).toBe('created');
}
interface Kept { samples: { head?: number; kind: string; raw: Record<string, string>; inputs: Record<string, number | string>; result?: { tpo_ppb: number; path: string; computed_by: string } }[] }
const last = async (r: string) => (await s.get<Kept>(`/runs/${r}/view`)).samples.at(-1)!;
const result = (p: Page) => p.getByTestId('result');

test('a temperature older than three hours is asked for, and may be confirmed', async ({ browser }) => {
	const r = await run();
	await sample(r, 190);
	const c = await browser.newContext(DESK);
	await asPerson(c, ids.person);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(`${s.url}/runs/${r}/sample`);
	await synced(page);
	await expect(page.getByText(/3 h 1\d min old: read again/)).toBeVisible();
	await page.getByLabel('Gross weight, g').fill('371.9');
	await page.getByLabel('Shaken DO, ppb').fill('46');
	await expect(page.getByText('For TPO: temperature.')).toBeVisible();
	await page.getByRole('button', { name: 'Read again: still 3.8 °C' }).click();
	await expect(result(page)).toContainText('98.2');
	await page.getByRole('button', { name: 'Save', exact: true }).click();
	await expect(page.getByRole('button', { name: /^Undo/ })).toBeVisible();
	await synced(page);
	const x = await last(r);
	expect(x.head).toBe(3);
	expect(Date.now() - Date.parse(x.inputs.temperature_at as string)).toBeLessThan(60000);
	expect(x.result!.tpo_ppb).toBeCloseTo(98.2, 0);
	clean(w);
	await c.close();
});

test('an unshaken package has no TPO, and its head stays for the shaken one', async ({ browser }) => {
	const r = await run();
	await sample(r, 20);
	const c = await browser.newContext(DESK);
	await asPerson(c, ids.person);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(`${s.url}/runs/${r}/sample`);
	await synced(page);
	await page.getByRole('radio', { name: 'Unshaken DO' }).check();
	await page.getByLabel('Unshaken DO, ppb').fill('43');
	await expect(page.getByText('No TPO from an unshaken package')).toBeVisible();
	await page.getByRole('button', { name: 'Save', exact: true }).click();
	await expect(page.getByRole('button', { name: /^Undo/ })).toBeVisible();
	await synced(page);
	const x = await last(r);
	expect([x.kind, x.head, x.result]).toEqual(['unshaken', 3, undefined]);
	await expect(page.getByRole('spinbutton', { name: 'Head' })).toHaveValue('3');
	clean(w);
	await c.close();
});

test('a person who reads °F and ppm, a bottle by its fill height, by keyboard alone', async ({ browser }) => {
	const lot = uuidv7();
	await s.write([{ collection: 'format_lots', id: lot, base_rev: 0, record: { id: lot, format_id: ids.bottle, name: 'Mould 7', from: '2026-01-01', capacity_ml: 346, capacity_sd_ml: 1.4, capacity_source: 'lot', tare_g: 204.2, tare_sd_g: 3, neck_gap_mm: 62, neck_headspace_ml: 15.6, neck_ml_per_mm: 0.24 } }]);
	const r = await run({ format_id: ids.bottle, format_lot_id: lot, line_id: ids.b16 });
	const c = await browser.newContext(DESK);
	await asPerson(c, ids.person);
	await c.addInitScript(() => localStorage.setItem('ullage.units', JSON.stringify({ temperature: 'f', volume: 'floz', gravity: 'plato', oxygen: 'ppm' })));
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(`${s.url}/runs/${r}/sample`);
	await synced(page);
	await expect(page.getByLabel('Beer, °F')).toBeFocused();
	await page.keyboard.type('39.2'); // moves on by itself
	await expect(page.getByLabel('Gross weight, g')).toBeFocused();
	await page.keyboard.press('Enter'); // not weighed
	await expect(page.getByLabel('Rim to beer, mm')).toBeFocused();
	await page.keyboard.type('63.0');
	await page.getByLabel('Shaken DO, ppm').focus();
	await page.keyboard.type('0.024');
	await expect(result(page)).toContainText('TPO, calculated');
	await expect(result(page)).toContainText('fl oz');
	await page.keyboard.press('Enter');
	await expect(page.getByRole('button', { name: /^Undo/ })).toBeVisible();
	await synced(page);
	const x = await last(r);
	expect(x.inputs).toMatchObject({ temperature_c: 4, gap_mm: 63, do_ppb: 24 });
	expect(x.raw).toMatchObject({ temperature: '39.2 °F', gap: '63.0 mm', do: '0.024 ppm' });
	expect(x.result!.path).toBe('fill_height');
	clean(w);
	await c.close();
});

test('a stop and a restart at one press each; the next sample is due at once', async ({ browser }) => {
	const r = await run();
	await sample(r, 5);
	const c = await browser.newContext(DESK);
	await asPerson(c, ids.person);
	const page = await c.newPage();
	const w = watch(page);
	await page.goto(`${s.url}/runs/${r}`);
	await synced(page);
	await page.getByRole('button', { name: 'Line stopped' }).click();
	await page.getByRole('button', { name: 'Line restarted' }).click();
	await expect(page.getByText('first packages after the restart')).toBeVisible();
	await page.getByRole('button', { name: 'Hold the lot' }).click();
	await page.getByLabel('Why the lot is held').fill('Head 4 high twice');
	await page.getByRole('button', { name: 'Hold', exact: true }).click();
	await synced(page);
	await page.goto(s.url);
	await expect(page.getByText('Head 4 high twice')).toBeVisible();
	const ev = await s.get<{ events: { kind: string }[] }>(`/runs/${r}/view`);
	expect(ev.events.map((e) => e.kind).sort()).toEqual(['restart', 'stop']);
	clean(w);
	await c.close();
});
