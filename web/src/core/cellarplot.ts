// The cellar's charts as data for parts/Plot.
import type { Units } from '#api/records.ts';
import { STATE, type StepState } from './cellarmap.ts';
import type { PlotModel } from './plot.ts';
import { day, fmt, oxygen } from './units.ts';
import type { WortTrend } from './wort.ts';

/** Efficiency from brew to brew: a stone that fouls runs downhill and jumps back once it is cleaned. */
export function wortPlot(t: WortTrend, label: (id: string) => string): PlotModel {
	const pct = (v: number) => 100 * v;
	const curves: PlotModel['curves'] = [];
	t.brews.forEach((b, i) => {
		if (i && b.since_cleaning > t.brews[i - 1].since_cleaning) curves.at(-1)!.at.push([i + 1, pct(b.fitted)]);
		else curves.push({ at: [[i + 1, pct(b.fitted)]], name: '', kind: 'fit' });
	});
	const every = Math.max(1, Math.ceil(t.brews.length / 8));
	const n = t.brews.length + 1;
	return {
		name: 'Efficiency of the gas', x: { name: 'brew', from: 0.5, to: n + 0.5, ticks: [...t.brews.map((b, i): [number, string] => [i + 1, label(b.id)]).filter((_, i) => i % every === 0 && n - i > every / 2 + 1), [n, 'next']] }, y: { name: 'gas that dissolved, %', from: 0 }, curves,
		marks: t.brews.flatMap((b, i) => (i > 0 && b.since_cleaning <= t.brews[i - 1].since_cleaning ? [{ x: i + 0.5, name: 'cleaned' }] : [])),
		points: [
			...t.brews.map((b, i) => ({ x: i + 1, y: pct(b.efficiency), word: b.odd ? ('watch' as const) : undefined, text: `Brew ${label(b.id)}: ${fmt(pct(b.efficiency), 0)} % of its gas dissolved, ${b.since_cleaning} brews since the stone was cleaned${b.odd ? '; far off the line' : ''}` })),
			{ x: n, y: pct(t.next_efficiency), low: pct(t.next_low95), high: pct(t.next_high95), shape: 3, text: `Next brew: ${fmt(pct(t.next_efficiency), 0)} % to expect (95 %: ${fmt(pct(t.next_low95), 0)} to ${fmt(pct(t.next_high95), 0)})` }
		],
		key: '● share of the gas that dissolved, ▲ far off the line, ◆ what the next brew may expect, with its 95 % interval · lines: fit between cleanings'
	};
}

export interface PlottedStep { at: string; code: string; from_tank?: string; delta_ppb: number; low95_ppb: number; high95_ppb: number; budget_ppb?: number; state: string; odd?: boolean }
/** What one kind of step brought, over months. */
export function pickupPlot(name: string, steps: PlottedStep[], u: Units): PlotModel {
	const k = u.oxygen === 'ppm' ? 0.001 : 1;
	const budgets = [...new Set(steps.map((s) => s.budget_ppb).filter((b) => b !== undefined))];
	const state = (s: PlottedStep) => STATE[s.state as StepState] ?? STATE.no_budget;
	// A step that nothing resolves may have an interval that hides all others.
	const top = Math.max(10, ...steps.map((s) => Math.max(s.delta_ppb, Math.min(s.high95_ppb, 2 * Math.abs(s.delta_ppb) + 20))), ...budgets), low = Math.min(0, ...steps.map((s) => Math.max(s.low95_ppb, -0.4 * top)));
	return {
		name, x: { name: 'when', time: true }, y: { name: `${u.oxygen}, brought by the step`, from: low * k, to: top * 1.05 * k },
		levels: budgets.length === 1 ? [{ y: budgets[0]! * k, name: `budget ${oxygen(budgets[0], u)}`, kind: 'aim' }] : [],
		points: steps.map((s) => ({ x: Date.parse(s.at), y: s.delta_ppb * k, low: s.low95_ppb * k, high: s.high95_ppb * k, word: state(s).word, text: `${day(s.at)}, ${s.code}${s.from_tank ? ` from ${s.from_tank}` : ''}: ${oxygen(s.delta_ppb, u)} ${u.oxygen} (95 %: ${oxygen(s.low95_ppb, u)} to ${oxygen(s.high95_ppb, u)}), ${state(s).text.toLowerCase()}${s.odd ? '; unlike the others of its kind' : ''}` })),
		key: '● within budget, pale ● not resolved by the meters or without a budget, ▲ less after than before, ■ over budget, each with its 95 % interval'
	};
}
