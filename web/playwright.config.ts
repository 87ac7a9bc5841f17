import { defineConfig } from '@playwright/test';
import { CHROMIUM } from './e2e/browser.ts';

// No retries at the desk: a test that passes now and then is a bug of the app or
// of the test. On a shared CI machine, one that a starved browser failed is run
// once more and listed as flaky.
export default defineConfig({
	testDir: 'e2e', testMatch: '*.spec.ts', outputDir: 'e2e/out/results', workers: 2, retries: process.env.CI ? 1 : 0, timeout: 120000, reporter: 'line',
	expect: { timeout: 15000 }, use: { actionTimeout: 20000, navigationTimeout: 30000, launchOptions: CHROMIUM, trace: 'off' }
});
