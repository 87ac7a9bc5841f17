import { defineConfig } from '@playwright/test';
import { CHROMIUM } from './e2e/browser.ts';

// No retries: a test that passes now and then is a bug of the app or of the test.
export default defineConfig({
	testDir: 'e2e', testMatch: '*.spec.ts', outputDir: 'e2e/out/results', workers: 2, retries: 0, timeout: 90000, reporter: 'line',
	expect: { timeout: 8000 }, use: { actionTimeout: 10000, navigationTimeout: 15000, launchOptions: CHROMIUM, trace: 'off' }
});
