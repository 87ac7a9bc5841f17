// "The same at a terminal": for planners filled in at random, in any unit of each
// field, the command that the page prints gives the page's answer.
import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { inUnit, read, UNITS, type Kind } from '#core/measure.ts';
import { flagValue } from '#core/plancli.ts';
import { Filled, type Form, type Specs } from '#core/planform.ts';
import * as additions from './additions/additions.ts';
import * as after from './after/after.ts';
import * as age from './age/age.ts';
import * as air from './air/air.ts';
import * as gas from './gas/gas.ts';
import * as home from './home/home.ts';
import * as purge from './purge/purge.ts';
import * as wort from './wort/wort.ts';

interface Core { run(name: string, json: string): string }
const scope = globalThis as unknown as { Go: new () => { importObject: WebAssembly.Imports; run(i: WebAssembly.Instance): Promise<void> }; ullage?: Core };
const ROOT = resolve(import.meta.dirname, '../../../..');
let core: Core, dir: string, bin: string;
beforeAll(async () => {
	const at = (f: string) => join(ROOT, 'web/static', f);
	if (!existsSync(at('core.wasm'))) throw new Error('the calculation core is not built: make wasm');
	(0, eval)(readFileSync(at('wasm_exec.js'), 'utf8'));
	const go = new scope.Go();
	void go.run((await WebAssembly.instantiate(readFileSync(at('core.wasm')), go.importObject)).instance);
	for (let i = 0; i < 200 && !scope.ullage; i++) await new Promise((r) => setTimeout(r, 5));
	core = scope.ullage!;
	dir = mkdtempSync(join(tmpdir(), 'ullage-terminal-'));
	bin = join(dir, 'ullage');
	execFileSync('go', ['build', '-o', bin, './cmd/ullage'], { cwd: ROOT });
}, 240000);
afterAll(() => rmSync(dir, { recursive: true, force: true }));

/** The same draws every time. */
function draws(seed: number): () => number {
	let s = seed >>> 0;
	return () => {
		s = (Math.imul(s ^ (s >>> 15), 0x2c1b3c6d) + 0x6d2b79f5) >>> 0;
		s ^= s >>> 12;
		return (s >>> 0) / 4294967296;
	};
}
type Draw = () => number;
const pick = <T>(d: Draw, list: readonly T[]): T => list[Math.floor(d() * list.length) % list.length];
/** A text near another, in a unit of its kind, as a person may type it. */
function near(d: Draw, text: string, kind: Kind): string {
	const base = read(text, kind, UNITS[kind][0].name).base;
	if (base === undefined) return text;
	const unit = pick(d, UNITS[kind].filter((u) => u.scale > 0)).name, x = base * (0.8 + 0.4 * d());
	const n = kind === 'temperature' ? inUnit(base + 4 * d() - 2, kind, unit) : kind === 'plain' && Number.isInteger(base) ? String(base) : String(Number(inUnit(x, kind, unit, 6)));
	return `${n}${pick(d, [' ', ''])}${unit}`;
}
/** What to type into fields that start empty. */
const EMPTY: Partial<Record<Kind, string>> = { volume: '1 L', oxygen: '9 ppm', share: '3 %', altitude: '300 m', gauge: '0.5 bar', price: '0.4 /kg', room: '400 m³', flow: '0.5 NL/min', days: '60 days', plain: '4', co2: '0.1 vol', extract: '12 °P' };
const LEFT: Record<string, string[]> = { purge: ['works'] };
function filled(name: string, specs: Specs, words: Record<string, string>, d: Draw): Form {
	const text: Record<string, string> = { ...words };
	for (const [k, s] of Object.entries(specs)) text[k] = s.start ? near(d, s.start, s.kind) : d() < 0.4 && !LEFT[name]?.includes(k) ? near(d, EMPTY[s.kind] ?? '', s.kind) : '';
	return new Filled(specs, text);
}
const list = (l: Record<string, string>[]): string => JSON.stringify(l);

type Case = { name: string; calc: string; input: Record<string, unknown> | undefined; cli: string; files?: Record<string, string> };
const PLANNERS: Record<string, (d: Draw) => Case> = {
	purge: (d) => {
		const f = filled('purge', purge.SPECS, purge.WORDS, d);
		Object.assign(f.text, { method: pick(d, purge.METHODS)[0], aim: pick(d, ['target', 'residual', 'given']), size: pick(d, ['volume', 'dimensions']), gas: pick(d, ['co2', 'n2']), mixing: pick(d, ['0', '1', '3']), basis: pick(d, ['upper', 'headspace', 'equilibrium']) });
		f.text.fill = f.text.at = '';
		if (f.text.method === 'steps') f.text.steps = list([purge.made({ method: 'displacement', amount: near(d, '1 L', 'volume'), uamount: near(d, '0.2 L', 'volume') }), purge.made({ method: 'pressure', amount: pick(d, ['', '4']), high: near(d, '1 bar', 'gauge'), uhigh: near(d, '0.1 bar', 'gauge'), space: near(d, '2 L', 'volume') }), purge.made({ method: 'vacuum', amount: '1', high: near(d, '-0.5 bar', 'gauge') })]);
		return { name: 'purge', calc: 'purge', input: purge.input(f, 101.325), cli: purge.cli(f, 101.325) };
	},
	gas: (d) => {
		const f = filled('gas', gas.SPECS, gas.WORDS, d);
		Object.assign(f.text, { use: pick(d, ['bring', 'strip']), gas: pick(d, ['co2', 'n2']), aim: pick(d, ['target', 'given']) });
		return { name: 'gas', calc: gas.calculation(f), input: gas.input(f), cli: gas.cli(f) };
	},
	additions: (d) => {
		const f = filled('additions', additions.SPECS, additions.WORDS, d);
		f.text.parts = list([...additions.ADD.filter(() => d() < 0.5).map(([k]) => additions.made(k)), additions.made('hops')].map((p) => {
			const out: Record<string, string> = { ...p, holds: p.kind === 'hose' || p.kind === 'heel' ? pick(d, ['liquid', 'air']) : '' };
			for (const { k, kind } of additions.fields(p)) if (out[k]) {
				out[k] = near(d, out[k], kind);
				if (d() < 0.5 && k !== 'cycles') out[`u${k}`] = near(d, `${0.01 * read(out[k], kind, '').base!}`, kind).replace(/^-?0(?=\D|$)/, '1');
			}
			return out;
		}));
		return { name: 'additions', calc: 'addition', input: additions.input(f), cli: additions.cli(f) };
	},
	air: (d) => {
		const f = filled('air', air.SPECS, air.WORDS, d);
		f.text.how = pick(d, air.HOW)[0];
		f.text.driven = '99 %';
		return { name: 'air', calc: 'package-air', input: air.input(f), cli: air.cli(f) };
	},
	after: (d) => {
		const f = filled('after', after.SPECS, after.WORDS, d);
		Object.assign(f.text, { closure: pick(d, after.CLOSURES)[0], uptake: pick(d, after.UPTAKES)[0] });
		return { name: 'after', calc: 'after', input: after.input(f), cli: after.cli(f) };
	},
	age: (d) => {
		const f = filled('age', age.SPECS, age.WORDS, d);
		f.text.stays = list(Array.from({ length: 1 + Math.floor(3 * d()) }, () => age.made({ days: near(d, '14 days', 'days'), at: near(d, pick(d, ['20 °C', '4 °C', '-3 °C']), 'temperature'), udays: d() < 0.3 ? near(d, '1 days', 'days') : '', uat: d() < 0.5 ? near(d, '1 °C', 'kelvin') : '' })));
		return { name: 'age', calc: 'age', input: age.input(f), cli: age.cli(f) };
	},
	home: (d) => {
		const f = filled('home', home.SPECS, home.WORDS, d);
		Object.assign(f.text, { package: pick(d, ['keg', 'bottle', 'can']), glass: pick(d, ['bottle', 'heavy_bottle', 'flip_top', 'pet']), rest: near(d, '1 °P', 'extract') });
		return d() < 0.5 ? { name: 'home', calc: 'home', input: home.input(f), cli: home.cli(f) } : { name: 'priming', calc: 'priming', input: home.priming(f), cli: home.primingCli(f) };
	},
	wort: (d) => {
		const f = filled('wort', wort.SPECS, wort.WORDS, d);
		Object.assign(f.text, { gas: pick(d, ['oxygen', 'air']), by: pick(d, ['volume', 'flow']), aim: pick(d, ['typed', 'rules']), style: pick(d, ['ale', 'lager']), yeast: pick(d, ['repitch', 'propagated', 'dry']), tank: pick(d, ['one', 'several']), eff: pick(d, ['typed', 'brews', 'records']), flowIs: pick(d, ['true', 'float']), cleaned: pick(d, ['', 'yes']), float: pick(d, ['', 'air', 'oxygen', 'co2']), extract: pick(d, ['12 °P', '1.048', '18 °P']), generation: pick(d, ['', '1', '9']), pitch: pick(d, ['', '30']) });
		if (d() < 0.5) f.text.rules = list([{ ...wort.RULE, from: '0 °P', below: pick(d, ['30 °P', '1.100 SG']), low: near(d, '8 ppm', 'oxygen'), high: near(d, '14 ppm', 'oxygen'), source: 'our trial, "blue" yeast', note: pick(d, ['', 'a second dose, later']) }]);
		f.text.fills = list([wort.tankBrew({ volume: near(d, '25 hL', 'volume'), uvolume: near(d, '0.5 hL', 'volume') }), wort.tankBrew({ volume: near(d, '25 hL', 'volume'), gas: pick(d, ['yes', 'no']) })]);
		f.text.brews = list([1, 2, 3, 4].map((i) => wort.past({ id: `B ${i}`, do: near(d, '8 ppm', 'oxygen'), flow: near(d, f.text.gas === 'air' ? '3 NL/min' : '0.6 NL/min', 'flow'), cleaned: i === 3 ? 'yes' : '' })));
		const records = [1, 2, 3].map((i) => ({ id: `R${i}`, do_ppm: 8 + d(), carried_ppm: 0.5, wort_hl: 20, knockout_min: 40, gas: f.text.gas, float_reading_nl_min: f.text.gas === 'air' ? 3 : 0.5, float_for: 'air', float_gauge_bar: 1, stone_cleaned: i === 1 || undefined }));
		return { name: 'wort', calc: 'wort-oxygen', input: wort.input(f, records), cli: wort.cli(f), files: { 'brews.csv': wort.table(wort.brewRows(f, records) ?? []), 'rules.csv': wort.table(wort.ruleRows(f)) } };
	}
};

/** Value, u and limits of each figure; parts of a u that is nothing are noise. */
const figures = (u: unknown): unknown => Object.fromEntries(Object.entries((u ?? {}) as Record<string, { value: number; u: number; low95: number; high95: number }>).filter(([, v]) => v.u > 1e-9 * Math.abs(v.value)).map(([k, v]) => [k, [v.value, v.u, v.low95, v.high95]]));
/** Where two answers part, if anywhere: numbers to a part in a hundred million. */
function apart(a: unknown, b: unknown, at = ''): string {
	if (typeof a === 'number' && typeof b === 'number') return Math.abs(a - b) <= 1e-8 * Math.max(Math.abs(a), Math.abs(b)) + 1e-12 ? '' : `${at}: ${a} here, ${b} at the terminal`;
	if (a && b && typeof a === 'object' && typeof b === 'object') {
		for (const k of new Set([...Object.keys(a), ...Object.keys(b)])) {
			const d = apart((a as Record<string, unknown>)[k], (b as Record<string, unknown>)[k], `${at}.${k}`);
			if (d) return d;
		}
		return '';
	}
	return a === b ? '' : `${at}: ${JSON.stringify(a)} here, ${JSON.stringify(b)} at the terminal`;
}

describe('the same at a terminal', () => {
	for (const [name, make] of Object.entries(PLANNERS))
		it(name, () => {
			let answered = 0;
			for (let seed = 1; seed <= 10; seed++) {
				const c = make(draws(7919 * seed + name.length));
				expect(c.input, c.cli).toBeDefined();
				for (const [file, text] of Object.entries(c.files ?? {})) writeFileSync(join(dir, file), text);
				const here = JSON.parse(core.run(c.calc, JSON.stringify(c.input))) as { result?: Record<string, unknown>; uncertainty?: unknown; error?: { message: string } };
				const there = spawnSync('sh', ['-c', `${c.cli.replace(/^ullage/, `'${bin}'`)} --format json`], { cwd: dir, encoding: 'utf8' });
				if (here.error) {
					expect(there.status, `${c.cli}\n${here.error.message}`).not.toBe(0);
					continue;
				}
				expect(there.stderr, c.cli).not.toContain('mend');
				const answer = JSON.parse(there.stdout) as { result: Record<string, unknown>; uncertainty?: unknown };
				expect(apart(here.result, answer.result), `${c.cli}\n${JSON.stringify(c.input)}`).toBe('');
				expect(apart(figures(here.uncertainty), figures(answer.uncertainty)), `${c.cli}\n${JSON.stringify(c.input)}`).toBe('');
				answered++;
			}
			expect(answered, `${name}: too few inputs were answered to show anything`).toBeGreaterThan(5);
		}, 120000);
	it('prints what was typed, in its unit', () => {
		expect(flagValue('14 days', 'days')).toBe('14d');
		expect(flagValue('10 m', 'length')).toBe('10m');
		expect(flagValue('3 weeks', 'days')).toBe('3weeks');
		expect(flagValue('60 hL/h', 'wortflow')).toBe('60hL/h');
		expect(flagValue('68 °F', 'temperature')).toBe('68F');
		expect(flagValue('30 ppm v/v', 'share')).toBe('30ppm');
		expect(flagValue('1.048', 'extract')).toBe('1.048SG');
		expect(flagValue('0.4', 'price')).toBe('0.4/kg');
		expect(flagValue('14.7 psia', 'gauge', 100)).toMatch(/^0\.19\d*psi$/);
		expect(age.cli(new Filled(age.SPECS, { ...age.WORDS, reference: '4 °C', code: '', q10: '3', stays: '' }))).toBe('ullage plan age --stay 14d@20C --stay 2d@35C --stay 60d@4C --reference 4C --q10 3');
	});
});
