// axe on every page, phone and desk, light and dark; and targets of 44 px.
import AxeBuilder from '@axe-core/playwright';
import { expect, test } from '@playwright/test';
import { asPerson, clean, DESK, PHONE, synced, watch } from './browser.ts';
import { seed, type Seed } from './seed.ts';
import { Serve } from './serve.ts';

let s: Serve, ids: Seed;
test.beforeAll(async () => {
	s = await Serve.start();
	ids = await seed(s, { run: true, samples: 12 });
});
test.afterAll(async () => s.end());

const pages = (): [string, string][] => [
	['today', '/'], ['runs', '/runs'], ['start a run', '/runs/new'], ['run', `/runs/${ids.run}`], ['sample', `/runs/${ids.run}/sample`], ['calculator', '/calc'], ['set-up', '/setup'],
	...['brewery', 'people', 'beers', 'formats', 'format_lots', 'limits', 'lines', 'instruments', 'tanks', 'batches'].map((c): [string, string] => [c, `/setup/${c}`]),
	['a beer', `/setup/beers/${ids.beer}`], ['a new lot', '/setup/format_lots/new'], ['this device', '/me'], ['waiting', '/waiting'], ['import', '/import'], ['no such page', '/nowhere']
];

for (const [size, view] of [['phone', PHONE], ['desk', DESK]] as const)
	for (const scheme of ['light', 'dark'] as const)
		test(`${size}, ${scheme}`, async ({ browser }) => {
			test.setTimeout(180000);
			const c = await browser.newContext({ ...view, colorScheme: scheme, reducedMotion: 'reduce' });
			await asPerson(c, ids.person);
			const page = await c.newPage();
			const w = watch(page);
			const found: string[] = [];
			for (const [name, path] of pages()) {
				await page.goto(s.url + path);
				await synced(page);
				await expect(page.locator('h1')).toBeVisible();
				if (name === 'sample') {
					await page.getByLabel('Gross weight, g').fill('490.0');
					await page.getByLabel('Shaken DO, ppb').fill('4100');
					await expect(page.getByTestId('odd').first()).toBeVisible();
				}
				if (name === 'run') await expect(page.locator('canvas').first()).toBeVisible();
				const r = await new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']).analyze();
				for (const v of r.violations) found.push(`${name}: ${v.id}: ${v.nodes.slice(0, 3).map((n) => n.target.join(' ')).join(' | ')}: ${v.help}`);
				const small = await page.evaluate(() => [...document.querySelectorAll<HTMLElement>('button, a.btn, nav a, input:not([type=checkbox]):not([type=radio]), select')].filter((e) => e.checkVisibility() && e.closest('.step') === null).map((e) => ({ e, r: e.getBoundingClientRect() })).filter((x) => x.r.height < 43.5 && x.r.height > 1 && !x.e.closest('.tile')).map((x) => `${x.e.tagName} "${x.e.textContent?.trim().slice(0, 20)}" ${x.r.height}`));
				for (const x of small) found.push(`${name}: target below 44 px: ${x}`);
				const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
				if (wide > 0) found.push(`${name}: ${wide} px wider than the screen`);
			}
			expect(found).toEqual([]);
			clean(w);
			await c.close();
		});
