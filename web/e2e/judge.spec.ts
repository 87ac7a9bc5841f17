// Judgement on the demo: the twelve scripted runs by their truth, the same answer
// made on the device without a network, a lot decided and signed, and the pages.
import { mkdirSync } from 'node:fs';
import { expect, test, type Browser, type Page } from '@playwright/test';
import { asPerson, clean, DESK, installed, PHONE, synced, watch } from './browser.ts';
import { demo } from './demo.ts';
import { faults } from './fits.ts';
import { seed } from './seed.ts';
import { Serve } from './serve.ts';

let s: Serve, person: string;
const runs: Record<string, string> = {};
interface Month { runs: { run_id: string; number: number; beer_id: string; causes: { kind: string }[] }[] }
interface Report { verdict: string; rule: string; input_hash: string; causes: { kind: string; where: string; ppb: number; evidence: string; next_test: string }[]; held: { head?: string }[]; set_aside: unknown[]; verdict_with_proven_meter: string; meter: { after?: string } }

/** The scripted runs are the newest but one, in the order of their days (internal/demo/scripts.go). */
const ORDER = ['R1', 'R2', 'R3', 'R4', 'R5', 'R6', 'R7', 'R8', 'R9', 'R10', 'R12', 'R11'];
/** Kinds of cause that the truth labels stand for, and the place where there is one. */
const TRUTH: Record<string, [string[], string?]> = {
	R1: [[]], R2: [[]], R3: [['startup']], R4: [['head'], '4'], R5: [['headspace']], R6: [['drift']], R7: [['step']], R8: [['restart']], R9: [['low_fill'], '11'], R10: [['late_reading', 'unit_slip']], R11: [['meter']], R12: [['head'], '2']
};

test.beforeAll(async () => {
	test.setTimeout(300000);
	s = await demo();
	const all = (await s.get<{ records: { id: string; number: number; tpo_meter_id?: string }[] }>('/runs?limit=1000')).records.sort((a, b) => a.number - b.number);
	all.slice(-13, -1).forEach((r, i) => (runs[ORDER[i]] = r.id));
	// One of the week in which TPO was read directly too.
	runs.both = all.find((r) => r.tpo_meter_id)!.id;
	person = (await s.get<{ records: { id: string }[] }>('/people')).records[0].id;
	mkdirSync('e2e/out/judge', { recursive: true });
});
test.afterAll(async () => s.end());

const judgement = (r: string) => s.get<Report>(`/runs/${runs[r]}/judgement`);

for (const [name, [kinds, where]] of Object.entries(TRUTH))
	test(`${name} is judged as its truth label says`, async () => {
		const j = await judgement(name);
		expect(j.causes.map((c) => c.kind).sort()).toEqual(kinds);
		if (where) expect(j.causes[0].where).toBe(where);
		for (const c of j.causes) expect(c.evidence && c.next_test, 'evidence and the next test').toBeTruthy();
		if (!kinds.length) expect([j.verdict, j.held.length]).toEqual(['release', 0]);
		if (name === 'R11') expect([j.verdict, j.rule, j.meter.after, j.verdict_with_proven_meter]).toEqual(['hold', 'meter_proven', 'failed', 'release']);
		if (name === 'R10') expect(j.set_aside.length).toBe(3);
	});

async function open(browser: Browser, view: object): Promise<[Page, ReturnType<typeof watch>]> {
	const c = await browser.newContext({ ...view, reducedMotion: 'reduce' });
	await asPerson(c, person);
	const page = await c.newPage();
	return [page, watch(page)];
}

test('the device judges without a network as the server does', async ({ browser }) => {
	test.setTimeout(300000);
	const [page, w] = await open(browser, PHONE);
	await page.goto(s.url);
	await synced(page);
	await installed(page);
	for (const r of ['R4', 'R8', 'R11', 'R12', 'both']) {
		await page.goto(`${s.url}/runs/${runs[r]}`);
		await synced(page);
		await expect(page.locator('h1')).toContainText('Run');
	}
	w.cut(true);
	await page.context().setOffline(true);
	for (const r of ['R4', 'R8', 'R11', 'R12', 'both']) {
		const j = await judgement(r);
		await page.goto(`${s.url}/runs/${runs[r]}/judgement`);
		await expect(page.getByText('judged on this device')).toBeVisible({ timeout: 20000 });
		// The hash is of every reading, event, limit, rule and check; then the words follow.
		await expect(page.getByText(j.input_hash)).toBeVisible();
		for (const c of j.causes) await expect(page.getByText(c.next_test)).toBeVisible();
		if (r === 'both') await expect(page.getByTestId('ways')).toContainText('5 packages have both figures, and the direct one counts');
	}
	clean(w);
	await page.context().close();
});

test('a lot is decided and signed; nothing is released on an unproven meter', async ({ browser }) => {
	const [page, w] = await open(browser, DESK);
	await page.goto(`${s.url}/runs/${runs.R9}/judgement`);
	await synced(page);
	await expect(page.getByRole('heading', { name: 'Low fills, head 11' })).toBeVisible();
	await page.getByRole('link', { name: 'Decide on the lot' }).click();
	await page.getByRole('button', { name: 'Sign' }).click();
	await expect(page.getByRole('alert')).toContainText('Choose one');
	await page.getByLabel('Release with conditions').check();
	await page.getByLabel('Why').fill('Valve 11 fills low: its bottles sorted out');
	await page.getByRole('button', { name: 'Sign' }).click();
	await expect(page.getByRole('alert')).toContainText('On which condition'.toLowerCase());
	await page.getByLabel('On which condition').fill('Local and draught first');
	await page.getByRole('button', { name: 'Sign' }).click();
	await expect(page.getByRole('status').filter({ hasText: 'Released with conditions' })).toBeVisible();
	await synced(page);
	const d = (await s.get<{ records: Record<string, unknown>[] }>(`/decisions?run_id=${runs.R9}`)).records.at(-1)!;
	expect(d).toMatchObject({ decision: 'conditional', proposed: 'release', by: person, why: 'Valve 11 fills low: its bottles sorted out', input_hash: (await judgement('R9')).input_hash });
	const run = await s.get<{ hold: object }>(`/runs/${runs.R9}`);
	expect(run.hold).toMatchObject({ state: 'released' });

	await page.goto(`${s.url}/runs/${runs.R11}/lot`);
	await synced(page);
	await expect(page.getByText('the meter failed its check after the run')).toBeVisible();
	await expect(page.getByRole('radio', { name: /^Release\b(?! with)/ })).toBeDisabled();
	clean(w);
	await page.context().close();
});

test('a chart is read by keyboard, and a cause shows on it', async ({ browser }) => {
	const [page, w] = await open(browser, DESK);
	await page.goto(`${s.url}/runs/${runs.R8}/judgement`);
	await synced(page);
	const chart = page.getByRole('group', { name: /^Chart of \d+ packages/ });
	await chart.focus();
	await page.keyboard.press('ArrowRight');
	await expect(page.getByText(/^07:0\d, head 1: TPO \d+ ppb|^\d\d:\d\d, head \d: TPO/)).toBeVisible();
	await page.keyboard.press('End');
	await page.getByRole('link', { name: 'Show on the chart' }).first().click();
	await expect(page.getByText('shaded: After stops')).toBeVisible();
	clean(w);
	await page.context().close();
});

for (const [size, view] of [['phone', PHONE], ['desk', DESK]] as const)
	test(`pages are accessible and fit: ${size}`, async ({ browser }) => {
		test.setTimeout(300000);
		const line = (await s.get<{ records: { id: string; name: string }[] }>('/lines')).records[0].id;
		const month = new Date(Date.now() - 5 * 86400000).toISOString().slice(0, 7);
		const pages: Record<string, string> = {
			judgement: `/runs/${runs.R4}/judgement`, restarts: `/runs/${runs.R8}/judgement`, slips: `/runs/${runs.R10}/judgement`, kegs: `/runs/${runs.R12}/judgement`, lot: `/runs/${runs.R3}/lot`, 'lot-meter': `/runs/${runs.R11}/lot`,
			compare: '/compare', heads: `/compare?by=head&line_id=${line}`, beers: '/compare?by=beer', nothing: '/compare?by=run&to=2001-01-01', month: `/months/${month}`, 'month-empty': '/months/2001-01', checks: '/setup/meter_checks', rules: '/setup/rules/new'
		};
		const [page, w] = await open(browser, view);
		const found: string[] = [];
		for (const [name, path] of Object.entries(pages)) {
			await page.goto(s.url + path);
			await synced(page);
			await expect(page.locator('h1')).toBeVisible();
			await expect(page.getByText(/^(Judging|Reading the runs)/)).toHaveCount(0, { timeout: 15000 });
			found.push(...(await faults(page, name)));
			if (process.env.LOOK) await page.screenshot({ path: `e2e/out/judge/${name}-${size}.png`, fullPage: true });
		}
		expect(found).toEqual([]);
		clean(w);
		await page.context().close();
	});

test('a run without a reading says what to do', async ({ browser }) => {
	const e = await Serve.start();
	try {
		const ids = await seed(e, { run: true, samples: 0 });
		const [page, w] = await open(browser, PHONE);
		await page.goto(`${e.url}/runs/${ids.run}/judgement`);
		await synced(page);
		await expect(page.getByRole('heading', { name: 'Nothing to judge yet' })).toBeVisible();
		w.errors = w.errors.filter((x) => !x.includes('422')); // the server says so too
		clean(w);
		await page.context().close();
	} finally {
		await e.end();
	}
});
