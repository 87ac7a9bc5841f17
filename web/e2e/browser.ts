// Chromium as the machine has it, quiet on the network; and a page on which any
// console error fails the test.
import { expect, type BrowserContext, type Page } from '@playwright/test';

export const CHROMIUM = {
	executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
	args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync']
};
export const PHONE = { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true, deviceScaleFactor: 2 };
export const DESK = { viewport: { width: 1280, height: 860 } };

/** Collects console errors and page errors. Failed requests are expected only while a test cuts the network. */
export function watch(page: Page): { errors: string[]; cut(on: boolean): void } {
	const out = { errors: [] as string[], off: false, cut(on: boolean) { this.off = on; } };
	page.on('console', (m) => {
		if (m.type() !== 'error') return;
		if (out.off && /ERR_INTERNET_DISCONNECTED|ERR_CONNECTION_REFUSED|ERR_NETWORK|Failed to load resource/.test(m.text())) return;
		out.errors.push(`${m.text()} (${m.location().url})`);
	});
	page.on('pageerror', (e) => out.errors.push(String(e)));
	return out;
}
export const clean = (w: { errors: string[] }) => expect(w.errors, 'console errors').toEqual([]);

/** Waits until the shell says that everything has been sent. */
export async function synced(page: Page): Promise<void> {
	await expect(page.getByTestId('net')).toContainText('Online', { timeout: 20000 });
	await expect(page.getByTestId('waiting')).toHaveText('0 waiting', { timeout: 20000 });
}
/** Waits until the service worker holds the shell, so that the next page may come without a network. */
export async function installed(page: Page): Promise<void> {
	await page.waitForFunction(async () => {
		const r = await navigator.serviceWorker.ready;
		return r.active?.state === 'activated' && (await caches.keys()).length > 0 && !!(await caches.match('/core.wasm'));
	}, undefined, { timeout: 30000 });
}
export async function asPerson(context: BrowserContext, id: string): Promise<void> {
	await context.addInitScript((p) => localStorage.setItem('ullage.me', localStorage.getItem('ullage.me') ?? p), id);
}
