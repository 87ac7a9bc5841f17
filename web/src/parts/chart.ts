// The run's chart: TPO over time, limits and events written on it. Loaded only
// when a chart is opened.
import { sig } from '#core/units.ts';
import { CustomChart, ScatterChart } from 'echarts/charts';
import { AriaComponent, DataZoomComponent, GridComponent, MarkLineComponent, TooltipComponent } from 'echarts/components';
import * as core from 'echarts/core';
import { CanvasRenderer } from 'echarts/renderers';
import type { EChartsCoreOption } from 'echarts/core';

core.use([ScatterChart, CustomChart, GridComponent, TooltipComponent, MarkLineComponent, DataZoomComponent, AriaComponent, CanvasRenderer]);
export { core };

export interface Point { t: number; v: number; low?: number; high?: number; kind: 'shaken' | 'unshaken' | 'inlet'; /** TPO read directly, not calculated. */ direct?: boolean; word: 'within' | 'watch' | 'over' | 'none'; text: () => string }
export interface Mark { t: number; name: string }
export interface Look { ink: string; ink2: string; line: string; surface: string; oxy: string; within: string; watch: string; over: string; beer: string; gas: string; font: string }

const SYMBOL = { within: 'circle', watch: 'triangle', over: 'rect', none: 'emptyCircle' } as const;

/** Reads the colours as they stand in the page's theme; variables do not resolve by themselves. */
export function look(el: HTMLElement): Look {
	const probe = document.createElement('i');
	el.append(probe);
	const c = (name: string) => {
		probe.style.color = `var(--${name})`;
		return getComputedStyle(probe).color;
	};
	const out = { ink: c('ink'), ink2: c('ink-2'), line: c('line'), surface: c('surface'), oxy: c('oxy'), within: c('within'), watch: c('watch'), over: c('over'), beer: c('beer-ink'), gas: c('gas-ink'), font: getComputedStyle(el).fontFamily };
	probe.remove();
	return out;
}

const hm = (t: number) => new Date(t).toLocaleTimeString('en-GB', { hour: '2-digit', minute: '2-digit' });

interface Api { value(i: number): number; coord(p: number[]): number[]; style(o: object): object }
function whisker(k: Look) {
	return (_: unknown, api: Api) => {
		const lo = api.coord([api.value(0), api.value(2)]), hi = api.coord([api.value(0), api.value(3)]);
		const style = { stroke: k.oxy, lineWidth: 1.5, opacity: 0.7 };
		return { type: 'group', children: [{ type: 'line', shape: { x1: lo[0], y1: lo[1], x2: hi[0], y2: hi[1] }, style }, ...[lo, hi].map((p) => ({ type: 'line', shape: { x1: p[0] - 4, y1: p[1], x2: p[0] + 4, y2: p[1] }, style }))] };
	};
}

function limitLines(k: Look, unit: string, scale: number, green?: number, red?: number) {
	return [
		green !== undefined && { yAxis: green * scale, lineStyle: { color: k.ink2, type: 'dashed' }, label: { formatter: `aim ${green * scale} ${unit}`, color: k.ink2 } },
		red !== undefined && { yAxis: red * scale, lineStyle: { color: k.over, type: 'solid', width: 2 }, label: { formatter: `limit ${red * scale} ${unit}`, color: k.over } }
	].filter((x) => !!x);
}

export interface Options { points: Point[]; marks: Mark[]; green?: number; red?: number; unit: string; scale: number; log: boolean; kinds: Point['kind'][]; k: Look; still: boolean; width: number }

/** Lifts each event's label to the first of four levels where it is free; a label without room is left to the list of events. */
export function levels(marks: Mark[], x: (t: number) => number): (number | undefined)[] {
	const until = [-Infinity, -Infinity, -Infinity, -Infinity];
	const order = marks.map((m, i) => ({ m, i })).sort((a, b) => a.m.t - b.m.t);
	const out: (number | undefined)[] = marks.map(() => undefined);
	for (const { m, i } of order) {
		const half = (m.name.length + 6) * 3.7;
		const at = until.findIndex((u) => x(m.t) - half > u);
		if (at < 0) continue;
		out[i] = at;
		until[at] = x(m.t) + half;
	}
	return out;
}

export function option(o: Options): EChartsCoreOption {
	const { k, scale } = o;
	const of = (kind: Point['kind']) => o.points.map((p, i) => ({ p, i })).filter((x) => x.p.kind === kind && o.kinds.includes(kind));
	const datum = ({ p, i }: { p: Point; i: number }) => ({ value: [p.t, p.v * scale], i });
	const shaken = of('shaken');
	const mark = (p: Point) => (p.word === 'within' || p.word === 'none' ? k.oxy : k[p.word]);
	const t0 = Math.min(...o.points.map((p) => p.t), ...o.marks.map((m) => m.t)), t1 = Math.max(...o.points.map((p) => p.t), ...o.marks.map((m) => m.t));
	const pad = Math.max((t1 - t0) * 0.02, 60000);
	const narrow = o.width < 600;
	const right = narrow ? 64 : 96;
	const high = levels(o.marks, (t) => ((t - t0 + pad) / (t1 - t0 + 2 * pad)) * (o.width - 56 - right));
	const max = Math.max(10, ...o.points.filter((p) => o.kinds.includes(p.kind)).map((p) => p.high ?? p.v), (o.red ?? 0) * 1.1) * scale;
	return {
		animation: !o.still && o.points.length < 500, textStyle: { fontFamily: k.font, color: k.ink }, backgroundColor: 'transparent',
		grid: { left: 48, right, top: 28 + 14 * (1 + Math.max(0, ...high.map((h) => h ?? 0))), bottom: 40 },
		xAxis: { type: 'time', axisLabel: { color: k.ink2, fontSize: 13, hideOverlap: true }, axisLine: { lineStyle: { color: k.ink2 } }, splitLine: { show: false }, min: t0 - pad, max: t1 + pad },
		yAxis: { type: o.log ? 'log' : 'value', min: o.log ? undefined : 0, max: o.log ? undefined : max, name: `${o.unit}${o.log ? ', log axis' : ''}`, nameTextStyle: { color: k.ink2, fontSize: 13 }, axisLabel: { color: k.ink2, fontSize: 13, formatter: (v: number) => sig(v) }, splitLine: { lineStyle: { color: k.line } } },
		tooltip: { trigger: 'item', confine: true, backgroundColor: k.surface, borderColor: k.ink2, textStyle: { color: k.ink, fontSize: 14 }, formatter: (x: { data: { i: number } }) => o.points[x.data.i]?.text().replaceAll('\n', '<br>') ?? '' },
		dataZoom: [{ type: 'inside', zoomOnMouseWheel: 'ctrl' }],
		series: [
			{ name: 'interval', type: 'custom', renderItem: whisker(k), silent: true, z: 2, data: shaken.length > 400 ? [] : shaken.filter((x) => x.p.low !== undefined).map(({ p }) => [p.t, p.v * scale, p.low! * scale, p.high! * scale]) },
			{
				name: 'TPO', type: 'scatter', z: 3, symbolSize: o.points.length > 1000 ? 5 : 12,
				data: shaken.map((x) => ({ ...datum(x), symbol: SYMBOL[x.p.word], itemStyle: { color: x.p.direct ? k.surface : mark(x.p), borderColor: mark(x.p), borderWidth: x.p.direct ? 3 : 0 } })),
				markLine: {
					symbol: 'none', silent: true, animation: false, label: { fontSize: 13, fontFamily: k.font },
					data: [...limitLines(k, narrow ? '' : o.unit, scale, o.green, o.red), ...o.marks.map((m, i) => ({ xAxis: m.t, lineStyle: { color: k.ink, type: 'dotted', width: 1.5 }, label: { show: high[i] !== undefined, formatter: `${m.name} ${hm(m.t)}`, color: k.ink, position: 'end', rotate: 0, distance: 4 + 14 * (high[i] ?? 0) } }))]
				}
			},
			{ name: 'Unshaken DO', type: 'scatter', z: 3, symbol: 'diamond', symbolSize: 11, data: of('unshaken').map(datum), itemStyle: { color: 'transparent', borderColor: k.beer, borderWidth: 2 } },
			{ name: 'Inlet DO', type: 'scatter', z: 3, symbol: 'path://M0,-5L0,5M-5,0L5,0', symbolSize: 11, data: of('inlet').map(datum), itemStyle: { color: k.gas, borderColor: k.gas, borderWidth: 2 } }
		]
	};
}
