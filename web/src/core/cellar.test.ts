import { describe, expect, it } from 'vitest';
import type { Batch, Brew, CellarLimit, Instrument, Move, Reading, Run, RunEvent, Sample, Tank } from '#api/records.ts';
import { boundOf, judgeReading, nextPoints, parseAt, pointsOf, shownAt, slip, suggest, type Around } from './cellar.ts';
import { ends, scaleOf, wantsLog, way } from './cellarflow.ts';
import { connected, filled, mapInput, meterU, runMean, stateOf, type Lab, type MapStep, type OxygenMap } from './cellarmap.ts';
import { pickupPlot, wortPlot } from './cellarplot.ts';
import { drawn } from './tankdo.ts';
import { DEFAULT_UNITS, mass } from './units.ts';
import { trendRows, type WortTrend } from './wort.ts';

const U = DEFAULT_UNITS, H = 3600000, NOW = Date.parse('2026-03-02T12:00:00Z');
const at = (h: number) => new Date(NOW + h * H).toISOString();
const batch = (id: string, over: object = {}) => ({ id, rev: 1, code: id, ...over }) as Batch;
const move = (id: string, from: string | undefined, to: string | undefined, over: object = {}) => ({ id, rev: 1, kind: 'transfer', from_batch_id: from, to_batch_id: to, started_at: at(-5), ended_at: at(-4), ...over }) as Move;
const reading = (id: string, batch_id: string, point: string, h: number, do_ppb: number, over: object = {}) => ({ id, rev: 1, batch_id, point, at: at(h), do_ppb, ...over }) as Reading;

describe('a value and its unit', () => {
	it('is mg/L in wort and the person\'s own unit after it', () => {
		expect(parseAt('8.9', 'wort_oxygenated', U).value).toBe(8900);
		expect(parseAt('8900 ppb', 'wort_oxygenated', U).value).toBe(8900);
		expect(parseAt('31', 'centrifuge_out', U).value).toBe(31);
		expect(parseAt('0.031', 'centrifuge_out', { ...U, oxygen: 'ppm' }).value).toBe(31);
		expect(parseAt('0.4 %', 'tank_gas', U).value).toBe(0.4);
		expect(shownAt(8900, 'wort_oxygenated', U)).toBe('8.9 mg/L');
		expect(shownAt(31, 'centrifuge_out', U)).toBe('31 ppb');
	});
	it('of ppm size after fermentation is challenged with both readings', () => {
		expect(slip('tank_after', 4100)).toEqual({ text: '4.1 ppm after fermentation? Readings here are usually ppb.', mends: [{ label: '4.1 ppb', ppb: 4.1, event: false }, { label: 'Yes, 4,100 ppb', ppb: 4100, event: true }] });
		expect(slip('tank_after', 1000)).toBeDefined();
		expect(slip('tank_after', 999.9)).toBeUndefined();
		expect(slip('wort_oxygenated', 8900)).toBeUndefined();
		expect(slip('pitched_12h', 4100)).toBeUndefined();
		expect(slip('wort_oxygenated', 8.9e6)?.mends[0]).toEqual({ label: '8.9 mg/L', ppb: 8900, event: false });
	});
	it('shows small masses in mg', () => {
		expect([mass(0.124), mass(8.24), mass(82), mass(-0.0009)]).toEqual(['124 mg', '8.2 g', '82 g', '\u22120.9 mg']);
	});
});

describe('limits', () => {
	const own = [{ id: 'l', what: 'point', point: 'tank_hold', red_ppb: 20 }, { id: 'm', what: 'point', point: 'tank_hold', beer_id: 'x', green_ppb: 5, red_ppb: 9 }] as unknown as CellarLimit[];
	it('are the beer\'s, then the brewery\'s, then the starting point', () => {
		expect(boundOf(own, 'tank_hold', 'x')).toEqual({ green: 5, red: 9, start: false });
		expect(boundOf(own, 'tank_hold', 'y')).toEqual({ green: 20, red: 20, start: false });
		expect(boundOf([], 'tank_hold', 'y')).toEqual({ green: 30, red: 50, start: true });
		expect(filled(own[0])).toEqual({ green_ppb: 20, red_ppb: 20 });
	});
	it('judge beer by a ceiling and wort by a band', () => {
		const b = boundOf([], 'tank_hold');
		expect([20, 40, 60].map((do_ppb) => judgeReading({ point: 'tank_hold', do_ppb }, b).word)).toEqual(['within', 'watch', 'over']);
		expect([5000, 9000, 25000].map((do_ppb) => judgeReading({ point: 'wort_oxygenated', do_ppb }, boundOf([], 'wort_oxygenated')).word)).toEqual(['watch', 'within', 'watch']);
	});
});

describe('what is due', () => {
	const fv = { id: 't', kind: 'fermenter', name: 'FV' } as Tank;
	const around = (over: Partial<Around>): Around => ({ batch: batch('a', { status: 'maturing' }), tank: fv, moves: [], brews: [], readings: [], ...over });
	it('follows a move that is going on, in the order of the way', () => {
		const m = move('m', 'a', 'b', { started_at: at(-0.2), ended_at: undefined, via: ['centrifuge', 'carbonation'] });
		expect(pointsOf(m, 'a')).toEqual(['tank_before', 'centrifuge_in', 'centrifuge_out', 'carbonation_before', 'carbonation_after', 'tank_after']);
		expect(suggest(around({ moves: [m] }), NOW).first).toMatchObject({ point: 'tank_before', move_id: 'm' });
		expect(suggest(around({ moves: [m], readings: [reading('r', 'a', 'tank_before', -0.1, 8)] }), NOW).first.point).toBe('centrifuge_in');
	});
	it('asks for dry hop at one hour and a day, and for yeast at twelve', () => {
		const hop = move('h', undefined, 'a', { kind: 'addition', addition: { what: 'dry_hop' }, started_at: at(-2) });
		expect(nextPoints(around({ moves: [hop] }), NOW).slice(0, 2).map((n) => [n.point, (n.at - NOW) / H])).toEqual([['dry_hop_1h', -1], ['dry_hop_24h', 22]]);
		const brew = { id: 'w', batch_id: 'a', at: at(-3) } as Brew;
		expect(nextPoints(around({ batch: batch('a', { status: 'fermenting' }), brews: [brew] }), NOW)[0]).toMatchObject({ point: 'pitched_12h', at: NOW + 9 * H });
	});
	it('asks nothing of a tank that is being filled but what the move asks', () => {
		const m = move('m', 'b', 'a', { ended_at: undefined });
		expect(nextPoints(around({ batch: batch('a', { status: 'bright' }), moves: [m], readings: [reading('r', 'a', 'tank_hold', -30, 8)] }), NOW)).toEqual([]);
	});
});

describe('input of the map', () => {
	const lab: Lab = {
		batches: ['f', 'f2', 'b', 'c', 'z'].map((id) => batch(id, { tank_id: id === 'b' ? 'T' : undefined, volume_hl: 40 })), tanks: [{ id: 'T', rev: 1, name: 'BBT', kind: 'bright_tank', volume_hl: 50, headspace_bar: 0.8 } as Tank],
		moves: [move('1', 'f', 'b', { volume_hl: 20 }), move('2', 'f2', 'b', { kind: 'blend', volume_hl: 20 }), move('3', 'f', 'c'), move('4', 'z', 'z', { kind: 'recirculation' })], brews: [{ id: 'w', rev: 1, batch_id: 'f', at: at(-300), do_mg_l: 8.8 } as Brew],
		readings: [reading('r1', 'f', 'tank_before', -5, 9, { meter_id: 'M', move_id: '1' }), reading('r2', 'z', 'tank_hold', -5, 9), reading('r3', 'b', 'tank_gas', -3, 0, { do_ppb: undefined, gas_o2_pct: 0.4 })],
		runs: [{ id: 'run', rev: 1, batch_id: 'b', started_at: at(-1), do_meter_id: 'M' } as Run], limits: [{ id: 'l', rev: 1, what: 'step', step: 'centrifuge', green_ppb: 6 } as CellarLimit], beers: [], instruments: [{ id: 'M', rev: 1, name: 'M', kind: 'do_meter', u_abs: 1, u_rel: 0.02, resolution: 1 } as Instrument],
		samples: () => [20, 24, 22, 21000].map((v, i) => ({ id: String(i), kind: 'inlet', inputs: { do_ppb: v } }) as unknown as Sample), events: () => []
	};
	it('follows what flowed in and on, and names where a part went', () => {
		expect([...connected(lab.moves, 'f2')].sort()).toEqual(['b', 'f', 'f2']);
		const i = mapInput(lab, 'f2') as { batches: { id: string }[]; moves: { id: string }[]; readings: Record<string, unknown>[]; runs: Record<string, number>[]; brews: Record<string, unknown>[]; budgets: unknown };
		expect(i.batches.map((b) => b.id)).toEqual(['f', 'f2', 'b', 'c']);
		expect(i.batches[2]).toMatchObject({ tank: 'BBT', vessel: 'bright_tank', gas_hl: 10, headspace_bar: 0.8 });
		expect(i.moves.map((m) => m.id)).toEqual(['1', '2', '3']);
		expect(i.readings.map((r) => r.id)).toEqual(['r1', 'r3']);
		expect(i.readings[1]).toMatchObject({ gas_o2_fraction: 0.004 });
		expect(i.brews[0].do_ppb).toBe(8800);
		expect(i.budgets).toEqual([{ step: 'centrifuge', ppb: 6 }]);
		// The mean of the three that are in one unit.
		expect(i.runs[0].inlet_ppb).toBe(22);
	});
	it('takes the tank at the moments of the inlet, as the judgement does', () => {
		const inlet = (id: string, h: number, do_ppb: number) => ({ id, kind: 'inlet', taken_at: at(h), inputs: { do_ppb } }) as unknown as Sample;
		const drifting: Lab = {
			...lab, runs: [{ ...lab.runs[0], ended_at: at(3) } as Run], samples: () => [inlet('1', -0.5, 30), inlet('2', 0, 40), inlet('3', 2.9, 900), inlet('4', 0, 40000)], events: () => [{ id: 'e', rev: 1, run_id: 'run', kind: 'tank_change', at: at(2.5) } as RunEvent],
			readings: [reading('t1', 'b', 'tank_rested', -2, 10), reading('t2', 'b', 'tank_hold', 0, 36), reading('t3', 'b', 'tank_hold', 2, 70), reading('i', 'b', 'filler_inlet', 1, 57), reading('z', 'b', 'tank_hold', 2.6, 5)]
		};
		const r = (mapInput(drifting, 'b') as { runs: Record<string, unknown>[] }).runs[0];
		// Of 30, 40 and 57 the tank held 29.5, 36 and 53: a line of 2.83 ppb. The next tank's inlet has none.
		expect(r.inlet_ppb).toBe((30 + 40 + 57 + 900) / 4);
		expect(r.tank_ppb).toBeCloseTo((30 + 40 + 57 + 900) / 4 - (0.5 + 4 + 4) / 3, 12);
		expect(r.tank_until).toBe(at(2.5));
		expect((mapInput({ ...drifting, readings: [] }, 'b') as { runs: Record<string, unknown>[] }).runs[0]).not.toHaveProperty('tank_ppb');
	});
	it('takes what a run drew: as measured, by its packages, by its time; until its tank was changed', () => {
		const run = (over: object) => ({ id: 'run', rev: 1, started_at: at(0), ended_at: at(4), in_force: { nominal_ml: 500 }, ...over }) as Run, line = { packages_per_min: 50 };
		const ev = (kind: string, h: number) => ({ id: kind + h, rev: 1, run_id: 'run', kind, at: at(h) }) as RunEvent;
		expect(drawn(run({ drawn_hl: 30, packages: 1 }), [])).toEqual({ volume_hl: 30 });
		expect(drawn(run({ packages: 6000 }), [])).toEqual({ volume_hl: 30, volume_from: 'packages' });
		expect(drawn(run({}), [], line)).toEqual({ volume_hl: 60, volume_from: 'time' });
		expect(drawn(run({}), [ev('stop', 1), ev('restart', 2)], line)).toEqual({ volume_hl: 45, volume_from: 'time' });
		expect(drawn(run({ drawn_hl: 30 }), [ev('tank_change', 2)])).toEqual({ volume_hl: 15 });
		expect(drawn(run({ ended_at: undefined }), [], line)).toEqual({});
	});
	it('takes the meter\'s uncertainty from its record', () => {
		expect(meterU(lab.instruments[0], 100)).toBeCloseTo(Math.sqrt(1 + 1 / 12 + 4), 12);
		expect(meterU(undefined, 100)).toBeUndefined();
		expect(runMean([20, 24, 22], () => 2).u).toBeCloseTo(Math.sqrt(4 / 3 + 2), 12);
	});
});

describe('the way that is drawn', () => {
	const node = (id: string, b: string, do_ppb?: number, over: object = {}) => ({ id, batch: b, point: 'tank_hold', do_ppb, ...over });
	const step = (id: string, from: string, to: string, over: object = {}) => ({ id, from, to, kind: 'transfer', delta_ppb: 1, u_ppb: 1, low95_ppb: 0, high95_ppb: 2, resolved: false, consumed: false, state: 'not_resolved', reason: '', ...over }) as MapStep;
	const map = {
		nodes: [node('w', 'f', 8800, { point: 'wort_oxygenated' }), node('a', 'f', 10), node('a2', 'f2', 12), node('b', 'b', 30), node('side', 'b', 29), node('c', 'c'), node('p', 'b', 110, { point: 'tpo', run: 'run' })],
		steps: [step('1', 'w', 'a', { consumed: true }), step('2', 'a', 'b', { parts: [{ from: 'a', batch: 'f', share: 0.5, do_ppb: 10 }, { from: 'a2', batch: 'f2', share: 0.5, do_ppb: 12 }] }), step('3', 'b', 'p'), step('4', 'b', 'side', { batch: 'b' }), step('5', 'a', 'c', { batch: 'c' })]
	} as unknown as OxygenMap;
	it('ends in the package and holds what joins and leaves', () => {
		expect(ends(map, 'b').map((n) => n.id)).toEqual(['p']);
		expect(ends(map, 'f').map((n) => n.id)).toEqual(['p', 'c']);
		const w = way(map, 'p');
		expect(w.map((r) => r.node.id)).toEqual(['w', 'a', 'b', 'p']);
		expect(w[2].joins.map((j) => j.from)).toEqual(['a2']);
		expect(w[1].leaves.map((l) => l.to)).toEqual(['c']);
		expect(w.map((r) => r.newBatch)).toEqual([true, false, true, false]);
	});
	it('is as wide as its oxygen; wort is off a linear scale and on a log one', () => {
		const w = way(map, 'p'), lin = scaleOf(w, false), log = scaleOf(w, true);
		expect(lin.w(30) / lin.w(10)).toBeCloseTo(3, 12);
		expect([lin.off(8800), lin.w(8800), log.off(8800), log.w(8800)]).toEqual([true, 1, false, 1]);
		expect(lin.w(-3)).toBe(0);
		expect(wantsLog(w)).toBe(false);
	});
	it('goes round in no circle', () => {
		const loop = { nodes: [node('a', 'x', 1), node('b', 'x', 2)], steps: [step('1', 'a', 'b'), step('2', 'b', 'a')] } as unknown as OxygenMap;
		expect(way(loop, 'b').map((r) => r.node.id)).toEqual(['a', 'b']);
	});
	it('says of a step what it is: taken up, not resolved, over', () => {
		expect(stateOf(step('1', 'a', 'b', { consumed: true, state: 'negative' })).text).toBe('Taken up');
		expect(stateOf(step('1', 'a', 'b')).text).toBe('Not resolved');
		expect(stateOf(step('1', 'a', 'b', { state: 'over' })).word).toBe('over');
	});
});

describe('wort and steps over time', () => {
	it('sends brews oldest first; a float reading only where the true flow is not known', () => {
		const brew = (id: string, h: number, over: object) => ({ id, rev: 1, code: id, batch_id: 'b', at: at(h), volume_hl: 25, minutes: 40, do_mg_l: 9, float_reading: 0.7, float_for: 'air', float_bar: 0, ...over }) as Brew;
		const rows = trendRows([brew('new', -1, { gas_flow_nl_min: 0.67 }), brew('old', -50, { stone_cleaned: true })]);
		expect(rows.map((r) => r.id)).toEqual(['old', 'new']);
		expect(rows[0]).toMatchObject({ do_ppm: 9, wort_hl: 25, knockout_min: 40, float_reading_nl_min: 0.7, float_for: 'air', float_gauge_bar: 0, stone_cleaned: true });
		expect(rows[1].gas_nl_min).toBe(0.67);
		expect(rows[1].float_reading_nl_min).toBeUndefined();
	});
	it('draws a line between cleanings, and the next brew with its interval', () => {
		const t = { n: 4, brews: [0, 1, 0, 1].map((since_cleaning, i) => ({ id: `b${i}`, since_cleaning, efficiency: 0.6, fitted: 0.6, odd: i === 3 })), next_efficiency: 0.58, next_low95: 0.5, next_high95: 0.66 } as WortTrend;
		const m = wortPlot(t, (id) => id);
		expect(m.curves?.map((c) => c.at.length)).toEqual([2, 2]);
		expect(m.marks).toEqual([{ x: 2.5, name: 'cleaned' }]);
		expect(m.points.map((p) => p.word)).toEqual([undefined, undefined, undefined, 'watch', undefined]);
		expect([m.points[4].y, m.points[4].low, m.points[4].high].map((v) => v!.toFixed(6))).toEqual(['58.000000', '50.000000', '66.000000']);
	});
	it('tells over, not resolved and less by shape; one budget is a line', () => {
		const step = (state: string, delta_ppb: number) => ({ at: at(-1), code: 'x', delta_ppb, low95_ppb: delta_ppb - 4, high95_ppb: delta_ppb + 4, budget_ppb: 12, state });
		const m = pickupPlot('Transfer', [step('over', 20), step('not_resolved', 2), step('negative', -9), step('within', 8)], U);
		expect(m.points.map((p) => p.word)).toEqual(['over', 'none', 'watch', 'within']);
		expect(m.levels).toEqual([{ y: 12, name: 'budget 12', kind: 'aim' }]);
		expect(pickupPlot('T', [step('over', 20)], { ...U, oxygen: 'ppm' }).points[0].y).toBeCloseTo(0.02, 12);
	});
});
