// A study's answer as figures and a picture. The numbers are the core's; here
// they get their words, digits and place on a chart.
import type { StudyKind, Units } from '#api/records.ts';
import { curve, type PlotModel, type PlotPoint } from './plot.ts';
import { decimalsFor, fmt, sig } from './units.ts';

export interface Fig { name: string; value: string; unit: string; low?: string; high?: string; note?: string }
export interface View { figures: Fig[]; plot?: PlotModel; table?: { heads: string[]; rows: (string | number)[][] }; more?: { name: string; heads: string[]; rows: (string | number)[][] } }
type R = Record<string, unknown>;
type Typed = Record<string, number | string>[];
const n = (r: R, k: string): number | undefined => (typeof r[k] === 'number' ? (r[k] as number) : undefined);
/** Digits by the width of the interval where there is one. */
function fig(name: string, v: number | undefined, unit: string, low?: number, high?: number, digits?: number, note?: string): Fig {
	const d = digits ?? (low !== undefined && high !== undefined ? decimalsFor((high - low) / 4) : 1);
	const f = (x: number | undefined) => (x === undefined ? '–' : fmt(x, d));
	return { name, value: f(v), unit, low: low === undefined ? undefined : f(low), high: high === undefined ? undefined : f(high), note };
}
/** Oxygen in the person's unit. */
const oxy = (u: Units) => ({ f: u.oxygen === 'ppm' ? 0.001 : 1, unit: u.oxygen });
const three = (v?: number) => (v === undefined ? '' : sig(v));
const names = (rows: Typed, key: string): string[] => [...new Set(rows.map((r) => String(r[key] ?? '')))];

interface Lot { lot: string; n: number; mean: number; sd: number; change: number }
function weights(r: R, rows: Typed, what: 'tare' | 'capacity'): View {
	const unit = what === 'tare' ? 'g' : 'mL', mean = n(r, what === 'tare' ? 'tare_g' : 'capacity_ml')!, sd = n(r, what === 'tare' ? 'tare_sd_g' : 'capacity_sd_ml')!;
	const each = what === 'tare' ? rows.map((x) => Number(x.empty_g)) : (r.each_ml as number[]);
	const lots = names(rows, 'lot'), list = (r.lots as Lot[]) ?? [], d = decimalsFor(sd / 3);
	const points: PlotPoint[] = each.map((y, i) => ({ x: i + 1, y, shape: lots.indexOf(String(rows[i].lot ?? '')) % 4, text: `${rows[i].lot ? `${rows[i].lot}, ` : ''}package ${i + 1}: ${fmt(y, d)} ${unit}` }));
	const figures = [
		fig(what === 'tare' ? 'Tare, mean' : 'Capacity, mean', mean, unit, n(r, 'mean_low95'), n(r, 'mean_high95')), fig('Spread of single packages (SD)', sd, unit, n(r, 'sd_low95'), n(r, 'sd_high95')),
		{ name: 'To know the mean as asked', value: String(n(r, 'needed') ?? '–'), unit: 'in all', note: n(r, 'more') ? `${n(r, 'more')} more` : 'enough' }
	];
	if (n(r, 'tpo_spread_ppb') !== undefined) figures.push(fig('What the spread does to TPO (SD)', n(r, 'tpo_spread_ppb'), 'ppb'));
	return {
		figures,
		plot: {
			name: what === 'tare' ? 'Empty weights in the order weighed' : 'Capacities in the order measured', x: { name: 'package', whole: true }, y: { name: unit }, points,
			bands: [{ from: mean - 1.96 * sd, to: mean + 1.96 * sd, kind: 'own' }], levels: [{ y: mean, name: `mean ${fmt(mean, d)} ${unit}`, kind: 'mean' }, { y: mean + 1.96 * sd, name: `+1.96 SD`, kind: 'soft' }, { y: mean - 1.96 * sd, name: `−1.96 SD`, kind: 'soft' }],
			key: lots.length > 1 ? lots.map((l, i) => `${'●■▲◆'[i % 4]} ${l || 'no lot'}`).join(' · ') + (r.lot_drift ? ' · the last lot is in force alone' : '') : 'Pale band: 95 % of packages'
		},
		table: { heads: ['package', 'lot', unit], rows: each.map((y, i) => [i + 1, String(rows[i].lot ?? ''), y]) },
		more: list.length > 1 ? { name: 'Lots', heads: ['lot', 'packages', `mean, ${unit}`, `SD, ${unit}`, `change, ${unit}`], rows: list.map((l) => [l.lot, l.n, l.mean, l.sd, l.change]) } : undefined
	};
}
function neck(r: R, rows: Typed): View {
	const per = n(r, 'neck_ml_per_mm')!, g0 = n(r, 'neck_gap_mm')!, h0 = n(r, 'neck_headspace_ml')!;
	const at = rows.map((x) => ({ gap: Number(x.gap_mm), ml: x.headspace_ml === undefined ? Number(x.to_brim_g) / 0.998 : Number(x.headspace_ml) }));
	const gaps = at.map((p) => p.gap);
	return {
		figures: [fig('Neck', per, 'mL per mm', n(r, 'neck_ml_per_mm_low95'), n(r, 'neck_ml_per_mm_high95')), fig(`Headspace at ${fmt(g0, 1)} mm`, h0, 'mL', n(r, 'neck_headspace_ml_low95'), n(r, 'neck_headspace_ml_high95')), fig('One height tells it to (SD)', n(r, 'residual_sd_ml'), 'mL', undefined, undefined, 2)],
		plot: { name: 'Headspace against fill height', x: { name: 'rim down to liquid, mm' }, y: { name: 'headspace, mL' }, points: at.map((p) => ({ x: p.gap, y: p.ml, text: `${fmt(p.gap, 1)} mm: ${fmt(p.ml, 2)} mL, line ${fmt(h0 + per * (p.gap - g0), 2)} mL` })), curves: [{ at: curve((x) => h0 + per * (x - g0), Math.min(...gaps), Math.max(...gaps), 2), name: `${fmt(per, 3)} mL per mm`, kind: 'fit' }] },
		table: { heads: ['gap, mm', 'headspace, mL'], rows: at.map((p) => [p.gap, p.ml]) }
	};
}
function shake(r: R, rows: Typed, u: Units): View {
	const o = oxy(u), end = n(r, 'equilibrium_ppb')!, from = n(r, 'initial_ppb')!, k = n(r, 'rate_per_min')!, routine = n(r, 'routine_min')!;
	const t = rows.map((x) => Number(x.shake_min)), top = Math.max(...t, routine);
	const f = (x: number) => (end + (from - end) * Math.exp(-k * x)) * o.f;
	return {
		figures: [fig('99 % of the way', n(r, 'minutes_to_99_percent'), 'min', n(r, 'minutes_to_99_percent_low95'), n(r, 'minutes_to_99_percent_high95'), 1), fig('Left at five minutes', n(r, 'error_at_5_min_ppb')! * o.f, o.unit, mul(n(r, 'error_at_5_min_ppb_low95'), o.f), mul(n(r, 'error_at_5_min_ppb_high95'), o.f)), fig('Enough, within 5 % or 3 ppb', n(r, 'minutes_enough'), 'min', undefined, undefined, 1, 'common practice'), fig('At the end', end * o.f, o.unit, mul(n(r, 'equilibrium_ppb_low95'), o.f), mul(n(r, 'equilibrium_ppb_high95'), o.f))],
		plot: { name: 'Shaken DO against shaking time', x: { name: 'shaken for, min', from: 0 }, y: { name: `shaken DO, ${o.unit}` }, points: rows.map((x) => ({ x: Number(x.shake_min), y: Number(x.shaken_do_ppb) * o.f, text: `${x.shake_min} min: ${three(Number(x.shaken_do_ppb) * o.f)} ${o.unit}, fit ${three(f(Number(x.shake_min)))}` })), curves: [{ at: curve(f, 0, top * 1.05), name: '', kind: 'fit' }], levels: [{ y: end * o.f, name: `end ${three(end * o.f)} ${o.unit}`, kind: 'mean' }], marks: [{ x: routine, name: `yours, ${fmt(routine, routine % 1 ? 1 : 0)} min` }] },
		table: { heads: ['shaken for, min', `shaken DO, ${o.unit}`, `fit, ${o.unit}`], rows: rows.map((x) => [Number(x.shake_min), Number(x.shaken_do_ppb) * o.f, f(Number(x.shake_min))]) }
	};
}
const mul = (v: number | undefined, f: number) => (v === undefined ? undefined : v * f);
function delay(r: R, rows: Typed, u: Units): View {
	const o = oxy(u), rate = n(r, 'rate_per_h')!, y0 = n(r, 'at_closing_ppb')!, key = String(r.reading), allowed = n(r, 'minutes_allowed');
	const f = (min: number) => y0 * Math.exp((-rate * min) / 60) * o.f;
	const word = key === 'tpo_ppb' ? 'TPO' : 'shaken DO', last = Math.max(...rows.map((x) => Number(x.delay_min)));
	return {
		figures: [fig('Read within', allowed, 'min', undefined, undefined, 0, 'by the faster end of the interval'), fig('Uptake', rate, 'per hour', n(r, 'rate_per_h_low95'), n(r, 'rate_per_h_high95')), fig('Gone after ten minutes', n(r, 'lost_in_10_min_percent'), '%'), fig(`${word === 'TPO' ? 'TPO' : 'Shaken DO'} at closing`, y0 * o.f, o.unit, mul(n(r, 'at_closing_ppb_low95'), o.f), mul(n(r, 'at_closing_ppb_high95'), o.f))],
		plot: { name: `${word === 'TPO' ? 'TPO' : 'Shaken DO'} against delay`, x: { name: 'closing to reading, min', from: 0 }, y: { name: `${word}, ${o.unit}` }, points: rows.map((x) => ({ x: Number(x.delay_min), y: Number(x[key]) * o.f, text: `${x.delay_min} min: ${three(Number(x[key]) * o.f)} ${o.unit}, fit ${three(f(Number(x.delay_min)))}` })), curves: [{ at: curve(f, 0, last), name: 'first-order uptake', kind: 'fit' }], marks: allowed !== undefined && allowed < last * 1.2 ? [{ x: allowed, name: `read within ${fmt(allowed, 0)} min` }] : [] },
		table: { heads: ['delay, min', `${word}, ${o.unit}`, `fit, ${o.unit}`], rows: rows.map((x) => [Number(x.delay_min), Number(x[key]) * o.f, f(Number(x.delay_min))]) }
	};
}
function line(r: R, rows: Typed, u: Units): View {
	const o = oxy(u), q = n(r, 'ingress_ug_min')!, y0 = n(r, 'do_without_line_ppb')!, routine = n(r, 'routine_flow_ml_min')!;
	const f = (flow: number) => (y0 + (1000 * q) / flow) * o.f;
	const flows = rows.map((x) => Number(x.flow_ml_min)), lo = Math.min(...flows, routine), hi = Math.max(...flows, routine);
	return {
		figures: [fig('Adds at your flow', n(r, 'adds_at_routine_flow_ppb')! * o.f, o.unit), fig('Lets in', q, 'µg/min', n(r, 'ingress_ug_min_low95'), n(r, 'ingress_ug_min_high95')), fig('DO without the line', y0 * o.f, o.unit, mul(n(r, 'do_without_line_ppb_low95'), o.f), mul(n(r, 'do_without_line_ppb_high95'), o.f))],
		plot: { name: 'DO against flow', x: { name: 'flow, mL/min' }, y: { name: `DO read, ${o.unit}` }, points: rows.map((x) => ({ x: Number(x.flow_ml_min), y: Number(x.do_ppb) * o.f, text: `${x.flow_ml_min} mL/min: ${three(Number(x.do_ppb) * o.f)} ${o.unit}, fit ${three(f(Number(x.flow_ml_min)))}` })), curves: [{ at: curve(f, lo, hi), name: '', kind: 'fit' }], levels: [{ y: y0 * o.f, name: `without it ${three(y0 * o.f)} ${o.unit}`, kind: 'mean' }], marks: [{ x: routine, name: `yours, ${fmt(routine, 0)} mL/min` }] },
		table: { heads: ['flow, mL/min', `DO read, ${o.unit}`, `fit, ${o.unit}`], rows: rows.map((x) => [Number(x.flow_ml_min), Number(x.do_ppb) * o.f, f(Number(x.flow_ml_min))]) }
	};
}
interface Source { ss: number; df: number; ms: number; f: number; p: number }
function gauge(r: R, rows: Typed): View {
	const sets = names(rows, 'package'), people = names(rows, 'operator');
	const mean = new Map(sets.map((s) => [s, rows.filter((x) => String(x.package) === s).reduce((a, x, _, l) => a + Number(x.reading) / l.length, 0)]));
	const means = (r.operator_means as { operator: string; mean: number; bias: number; n: number }[]) ?? [];
	const row = (name: string, k: string): (string | number)[] => { const s = r[k] as Source; return [name, s.df, s.ss, s.ms, s.f || '', s.p === 1 && !s.f ? '' : s.p < 0.0001 ? 'under 0.0001' : s.p]; };
	return {
		figures: [fig('Reading’s share of the spread', n(r, 'gauge_share_percent'), '%', undefined, undefined, 1, `${String(r.band)}: below 10 good, to 30 usable (AIAG)`), fig('Same operator again (SD)', n(r, 'repeatability_sd'), 'ppb', undefined, undefined, 2), fig('Between operators (SD)', n(r, 'reproducibility_sd'), 'ppb', undefined, undefined, 2), fig('Two readings differ by more once in twenty', n(r, 'reproducibility_limit'), 'ppb')],
		plot: {
			name: 'Readings less the mean of their set', x: { name: 'package or set', ticks: sets.length <= 14 ? sets.map((s, i) => [i + 1, s.replace(/^\D+/, '') || s] as [number, string]) : undefined, from: 0.4, to: sets.length + 0.6 }, y: { name: 'reading less mean of the set' },
			points: rows.map((x) => { const s = sets.indexOf(String(x.package)), o = people.indexOf(String(x.operator)), d = Number(x.reading) - mean.get(String(x.package))!; return { x: s + 1 + ((o + 0.5) / people.length - 0.5) * 0.6, y: d, shape: o % 4, text: `${x.package}, ${x.operator}: ${x.reading}, ${d > 0 ? '+' : ''}${fmt(d, 2)} from the mean` }; }),
			levels: means.slice(0, 8).map((m) => ({ y: m.bias, name: `${m.operator} ${m.bias > 0 ? '+' : ''}${fmt(m.bias, 2)}`, kind: 'soft' })), key: people.map((p, i) => `${'●■▲◆'[i % 4]} ${p}`).join(' · ') + ' · dotted: mean of each operator'
		},
		table: { heads: ['package', 'operator', 'reading'], rows: rows.map((x) => [String(x.package), String(x.operator), Number(x.reading)]) },
		more: { name: `Analysis of variance, ${String(r.model)}`, heads: ['source', 'df', 'sum of squares', 'mean square', 'F', 'p'], rows: [row('package', 'anova_package'), row('operator', 'anova_operator'), row('interaction', 'anova_interaction'), row('repeatability', 'anova_repeatability')] }
	};
}
/** Figures and picture of an answer; r is the calculation's result, rows what was sent. */
export function viewOf(kind: StudyKind, r: R, rows: Typed, u: Units): View {
	switch (kind) {
		case 'tare': case 'capacity': return weights(r, rows, kind);
		case 'neck': return neck(r, rows);
		case 'shake': return shake(r, rows, u);
		case 'delay': return delay(r, rows, u);
		case 'line': return line(r, rows, u);
		case 'repeatability': return gauge(r, rows);
		default: return { figures: [] };
	}
}
