// What every page must be: clean under axe in light and dark, no target below
// 44 px, no wider than the screen.
import { AxeBuilder } from '@axe-core/playwright';
import { expect, type Page } from '@playwright/test';

const TAGS = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
const TARGETS = 'button, a.btn, nav a, summary, input:not([type=checkbox]):not([type=radio]):not([type=file]), select';

/** What is wrong with the page, each line beginning with its name. Waits
 * until the page has its heading. Leaves it in light. */
export async function faults(page: Page, name: string): Promise<string[]> {
	await expect(page.locator('h1:visible'), `${name}: no heading`).toBeVisible({ timeout: 20000 });
	const found: string[] = [];
	const axe = async (light: string, b: AxeBuilder) => {
		for (const v of (await b.analyze()).violations) found.push(`${light}: ${v.id}: ${v.nodes.slice(0, 3).map((n) => n.target.join(' ')).join(' | ')}: ${v.help}`);
	};
	await page.emulateMedia({ colorScheme: 'dark' });
	await axe('dark', new AxeBuilder({ page }).withRules(['color-contrast'])); // the one rule that sees colours
	await page.emulateMedia({ colorScheme: 'light' });
	await axe('light', new AxeBuilder({ page }).withTags(TAGS));
	const { small, wide } = await page.evaluate((targets) => ({
		small: [...document.querySelectorAll<HTMLElement>(targets)]
			.filter((e) => e.checkVisibility() && !e.closest('.tile, .step'))
			.map((e) => ({ e, h: e.getBoundingClientRect().height })).filter((x) => x.h < 43.5 && x.h > 1)
			.map((x) => `${x.e.tagName} "${x.e.textContent?.trim().slice(0, 20)}" ${x.h}`),
		wide: document.documentElement.scrollWidth - document.documentElement.clientWidth
	}), TARGETS);
	for (const x of new Set(small)) found.push(`target below 44 px: ${x}`);
	if (wide > 0) found.push(`${wide} px wider than the screen`);
	return found.map((f) => `${name}: ${f}`);
}

export async function fits(page: Page, name: string): Promise<void> {
	expect(await faults(page, name)).toEqual([]);
}
