// Every unit of a field against the calculation core: text with the unit, read
// there, must give what the number read here gives.
import { existsSync, readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { inUnit, read, refused, start, understood, UNITS, type Kind } from './measure.ts';
import { DEFAULT_UNITS } from './units.ts';

interface Core { run(name: string, json: string): string }
const scope = globalThis as unknown as { Go: new () => { importObject: WebAssembly.Imports; run(i: WebAssembly.Instance): Promise<void> }; ullage?: Core };
let core: Core;
beforeAll(async () => {
	const at = (f: string) => new URL(`../../static/${f}`, import.meta.url);
	if (!existsSync(at('core.wasm'))) throw new Error('the calculation core is not built: make wasm');
	(0, eval)(readFileSync(at('wasm_exec.js'), 'utf8'));
	const go = new scope.Go();
	void go.run((await WebAssembly.instantiate(readFileSync(at('core.wasm')), go.importObject)).instance);
	for (let i = 0; i < 200 && !scope.ullage; i++) await new Promise((r) => setTimeout(r, 5));
	core = scope.ullage!;
}, 30000);

// Where a text of this kind goes, and a number of the answer that moves with it.
const WHERE: Partial<Record<Kind, [string, string, string, (o: Record<string, never>) => number, Record<string, unknown>, number]>> = {
	temperature: ['water', 'temperature', 'temperature_c', (o) => o['density_kg_m3'], {}, 10],
	volume: ['purge', 'vessel', 'vessel_ml', (o) => o['vessel_l'], { volumes: 1 }, 3],
	mass: ['addition', 'mass', 'mass_g', (o) => o['do_upper_ppb'], { beer_l: 100 }, 2],
	gauge: ['purge', 'high_gauge', 'high_gauge_kpa', (o) => o['oxygen_fraction'], { vessel_l: 100, method: 'pressure', cycles: 1 }, 1],
	oxygen: ['strip', 'do', 'do_ppb', (o) => o['do_after_ppb'], { temperature_c: 4, gas_per_beer: 0.1 }, 2],
	share: ['gas', 'oxygen', 'oxygen_fraction', (o) => o['oxygen_ppmv'], {}, 1e-3],
	length: ['purge', 'diameter', 'diameter_mm', (o) => o['vessel_l'], { volumes: 1, straight_mm: 1000 }, 12],
	co2: ['gas', 'co2', 'co2_vol', (o) => o['dissolved_ppb'], { oxygen_ppmv: 10 }, 2],
	extract: ['wort-oxygen', 'extract', 'extract_plato', (o) => o['ceiling_ppb'], { wort_l_min: 10, target_ppm: 8, efficiency_pct: 50, temperature_c: 12 }, 11],
	flow: ['purge', 'flow', 'flow_nl_min', (o) => o['minutes'], { vessel_l: 100, volumes: 1 }, 20],
	wortflow: ['wort-oxygen', 'wort_l_min', 'wort_l_min', (o) => o['gas_nl_min'], { target_ppm: 8, efficiency_pct: 50, temperature_c: 12 }, 20],
	room: ['purge', 'room', 'room_m3', (o) => o['room_average_ppm'], { vessel_l: 100, volumes: 1 }, 400],
	days: ['after', 'days', 'days', (o) => o['supplied_ppb'], { tpo_ppb: 1, beer_ml: 330, temperature_c: 12, ingress_ml_day: 0.001 }, 30],
	altitude: ['purge', 'altitude', 'altitude_m', (o) => o['station_kpa'], { vessel_l: 100, volumes: 1 }, 300],
	price: ['purge', 'price', 'price_per_kg', (o) => o['cost'], { vessel_l: 100, volumes: 1 }, 0.4],
	gasinbeer: ['gas', 'dissolved', 'dissolved_g_l', (o) => o['dissolved_ppb'], { oxygen_ppmv: 10, gas: 'n2' }, 0.02],
	ingress: ['after', 'ingress', 'ingress_ml_day', (o) => o['ingress_ppb_day'], { tpo_ppb: 1, beer_ml: 330, temperature_c: 12 }, 0.01],
	minutes: ['wort-oxygen', 'knockout', 'knockout_min', (o) => o['gas_nl_min'], { wort_hl: 10, target_ppm: 8, efficiency_pct: 50, temperature_c: 12 }, 2]
};

describe('units', () => {
	it.each(Object.entries(WHERE))('%s is read as the core reads it', (kind, [calc, stem, field, pick, rest, x]) => {
		for (const u of UNITS[kind as Kind]) {
			if (!(u.scale > 0)) continue; // a gravity, which the core reads
			const text = `${{ K: 280, '°F': 50, mbar: 500 }[u.name] ?? x} ${u.name}`;
			const r = read(text, kind as Kind, UNITS[kind as Kind][0].name);
			const ask = (name: string, value: unknown) => {
				const part = { kind: 'hops', [name]: value };
				const answer = JSON.parse(core.run(calc, JSON.stringify(calc === 'addition' ? { ...rest, additions: [part] } : { ...rest, [name]: value })));
				expect(answer.error, text).toBeUndefined();
				return pick(answer.result);
			};
			const there = ask(stem, text), here = ask(field, r.base);
			expect(here, text).not.toBe(0);
			expect(Math.abs(here / there - 1), text).toBeLessThan(1e-9);
		}
	});
	it('understands what the trade types', () => {
		expect(read('39.2 °F', 'temperature', '°C').base).toBeCloseTo(4, 9);
		expect(read('39.2F', 'temperature', '°C').base).toBeCloseTo(4, 9);
		expect(read('12 psi', 'gauge', 'bar').base).toBeCloseTo(82.737, 3);
		expect(read('14.7 psia', 'gauge', 'bar').base).toBeCloseTo(0.028, 3);
		expect(read('2 bara', 'gauge', 'bar', 97.7).base).toBeCloseTo(102.3, 9);
		expect(read('5 gal', 'volume', 'L').base).toBeCloseTo(18927.06, 2);
		expect(read('3 bbl', 'volume', 'hL').base).toBeCloseTo(352043.3, 1);
		expect(read('12 °P', 'extract', '°P').base).toBe(12);
		expect(read('12', 'extract', '°P').base).toBe(12);
		expect(read('1.048', 'extract', '°P')).toEqual({ sg: 1.048, number: 1.048, unit: 'SG', typed: true });
		expect(read('1.5', 'extract', '°P').base).toBe(1.5);
		expect(read('0,5', 'volume', 'L').base).toBe(500);
		expect(read('30', 'share', 'ppm v/v').base).toBeCloseTo(30e-6, 15);
		expect(read('0.1 %', 'share', 'ppm v/v').base).toBeCloseTo(1e-3, 15);
	});
	it('refuses and asks, and keeps an empty field empty', () => {
		expect(read('1,204', 'volume', 'L').error).toContain('two ways');
		expect(read('5 furlongs', 'volume', 'L').error).toContain('no unit');
		expect(read('about 5', 'volume', 'L').error).toContain('not a number');
		expect(read('', 'volume', 'L')).toEqual({ unit: 'L', typed: false });
	});
	it('says what it understood', () => {
		expect(understood(read('5 gal', 'volume', 'L'), 'volume')).toBe('= 18.9 L');
		expect(understood(read('39.2 °F', 'temperature', '°C'), 'temperature')).toBe('= 4 °C');
		expect(understood(read('1 bar', 'gauge', 'bar'), 'gauge')).toBe('= 14.5 psi, 2.01 bar absolute');
		expect(understood(read('50 hL', 'volume', 'L'), 'volume', DEFAULT_UNITS)).toBe('');
		expect(understood(read('3 bbl', 'volume', 'L'), 'volume', DEFAULT_UNITS)).toBe('= 3.52 hL');
		expect(understood(read('14.7 psia', 'gauge', 'bar'), 'gauge')).toContain('bar gauge at 1,013 hPa');
	});
	it('there and back is the same number, in every unit', () => {
		for (const [kind, list] of Object.entries(UNITS) as [Kind, typeof UNITS.volume][])
			for (const u of list) if (u.scale > 0) expect(Number(inUnit(read(`7.5 ${u.name}`, kind, u.name).base!, kind, u.name, 9)), `${kind} ${u.name}`).toBeCloseTo(7.5, 6);
	});
	it("starts in the person's units", () => {
		const us = { ...DEFAULT_UNITS, temperature: 'f' as const, volume: 'floz' as const };
		expect(start('20 °C', 'temperature', us)).toBe('68 °F');
		expect(start('50 hL', 'volume', us)).toBe('42.6 bbl');
		expect(start('1 bar', 'gauge', us)).toBe('14.5 psi');
		expect(start('50 hL', 'volume', DEFAULT_UNITS)).toBe('50 hL');
	});
	it('says a refusal in words, of a list with its entry', () => {
		expect(refused({ field: 'additions', value: '-1000', message: 'in entry 1, volume_ml mL is no volume of a vessel', mend: 'check the unit' })).toBe('Additions, no. 1: volume -1000 mL is no volume of a vessel; check the unit.');
		expect(refused({ field: 'pressure_kpa', value: '10', message: 'kPa absolute is outside 0 to 1' })).toBe('Pressure 10 kPa absolute is outside 0 to 1.');
		expect(refused({ field: 'u', message: 'reaches beyond the range of an input' })).toBe('Uncertainty reaches beyond the range of an input.');
	});
});
