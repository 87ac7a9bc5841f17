import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { COLLECTIONS } from '#api/records.ts';
import { gateOf, lacking, whoMay, type Needs } from './may.ts';

// As the server tells it to an account that only reads; internal/api's test shows that it does.
const READER: Needs = { 'write samples': ['line', 'enter', 'review'], 'write runs': ['enter', 'review'], 'write decisions': ['review'], accounts: ['administer'] };

describe('what an account may not do', () => {
	it('is what the server named, and nothing else', () => {
		expect(lacking(READER, 'write samples')).toEqual(['line', 'enter', 'review']);
		expect(lacking(READER, 'judge')).toBeUndefined();
	});
	it('is nothing where the server has no accounts, or was never reached', () => {
		for (const c of COLLECTIONS) expect(lacking(undefined, `write ${c}`)).toBeUndefined();
		expect(lacking({}, 'accounts')).toBeUndefined();
	});
	it('says who may, and never that a person is a device', () => {
		expect(whoMay('Entering', READER['write samples'])).toBe('Entering needs the role enter or review; ask who administers the accounts.');
		expect(whoMay('Signing a decision', READER['write decisions'])).toContain('the role review;');
	});
});

describe('pages that are one deed', () => {
	it.each([
		['/runs/new', 'write runs', '/runs'], ['/runs/0190/sample', 'write samples', '/runs/0190'], ['/runs/0190/judgement', 'judge', '/runs/0190'],
		['/cellar/reading', 'write readings', '/cellar'], ['/instruments/0190/check', 'write meter_checks', '/instruments/0190'], ['/setup/beers/new', 'write beers', '/setup/beers'], ['/import', 'import', '/setup'], ['/months/2026-05', 'judge', '/']
	])('%s takes %s', (path, what, back) => {
		expect(gateOf(path)).toMatchObject({ what, back });
		expect(gateOf(back)).toBeUndefined();
	});
	it('leave the pages of records and the calculators open', () => {
		for (const path of ['/', '/runs', '/runs/0190', '/runs/0190/plan', '/cellar', '/cellar/moves/0190', '/cellar/brews/0190', '/instruments', '/instruments/0190', '/instruments/0190/checks/0191', '/studies', '/studies/agreement', '/setup', '/setup/beers', '/setup/beers/0190', '/calc', '/plan', '/plan/purge', '/waiting', '/me', '/sign-in', '/accounts'])
			expect(gateOf(path), path).toBeUndefined();
	});
	it('are every page that makes a new record', () => {
		const routes = join(import.meta.dirname, '../routes');
		const pages = (d: string): string[] => readdirSync(d, { withFileTypes: true }).flatMap((f) => (f.isDirectory() ? pages(join(d, f.name)) : f.name === '+page.svelte' ? [d.slice(routes.length) || '/'] : []));
		const forms = pages(routes).filter((p) => /\/(new|sample|reading|check|import)$/.test(p));
		expect(forms.length).toBeGreaterThanOrEqual(5);
		for (const p of forms) expect(gateOf(p.replace('[id]', '0190')), p).toBeDefined();
	});
});
