// From a number and its limits to a word. The value is judged as it is recorded
// (rounded to 0.1 ppb), so that phone and server cannot disagree by a last bit.
import { limitOf, type InForce, type Sample } from '#api/records.ts';

export type Word = 'within' | 'watch' | 'over' | 'none';
export interface Judgement { word: Word; text: string; why: string }

export const TEXT: Record<Word, string> = { within: 'Within limit', watch: 'Watch', over: 'Over limit', none: 'No limit set' };

/** green: limit of a single package; red: the limit at which the line stops. ppb. */
export function judge(ppb: number | undefined, green?: number, red?: number, low?: number, high?: number): Judgement {
	if (ppb === undefined || !Number.isFinite(ppb)) return { word: 'none', text: 'No result', why: '' };
	if (green === undefined && red === undefined) return { word: 'none', text: TEXT.none, why: 'Set a limit for this beer under Set-up.' };
	const x = Math.round(ppb * 10) / 10;
	const g = green ?? red!;
	const r = red ?? green!;
	if (x > r) return { word: 'over', text: TEXT.over, why: low !== undefined && low < r ? 'The interval reaches below the limit: re-test the same head.' : 'Re-test the same head within 10 min.' };
	if (x > g) return { word: 'watch', text: TEXT.watch, why: 'Above the aim, below the limit: re-test the same head.' };
	if (high !== undefined && high > g) return { word: 'within', text: TEXT.within, why: 'The interval reaches above the aim.' };
	return { word: 'within', text: TEXT.within, why: '' };
}

export function judgeSample(s: Sample, f: InForce | undefined): Judgement {
	const l = limitOf(f, s.kind === 'inlet' ? 'do_inlet' : 'tpo');
	if (s.kind === 'inlet') return judge(s.inputs.do_ppb, l?.single_green_ppb, l?.single_red_ppb);
	if (s.kind === 'unshaken') return { word: 'none', text: 'Not judged', why: 'Limits are on TPO.' };
	return judge(s.result?.tpo_ppb, l?.single_green_ppb, l?.single_red_ppb, s.result?.tpo_low95_ppb, s.result?.tpo_high95_ppb);
}

/** A set's mean: above its aim is to watch; above what a single package may be, it is over. */
export function judgeMean(ppb: number | undefined, l?: { mean_green_ppb?: number; single_green_ppb?: number; single_red_ppb?: number }): Judgement | undefined {
	if (l?.mean_green_ppb === undefined) return undefined;
	const red = [l.single_green_ppb, l.single_red_ppb].find((x) => x !== undefined && x > l.mean_green_ppb!) ?? l.mean_green_ppb;
	return judge(ppb, l.mean_green_ppb, red);
}

export const KIND: Record<Sample['kind'], string> = { shaken: 'Shaken DO', unshaken: 'Unshaken DO', inlet: 'Inlet DO', direct: 'Direct TPO' };
export const FLAG: Record<string, string> = { foam: 'Foamed', dent: 'Dented', low_fill: 'Low fill', bulged: 'Bulged', other: 'Other' };
export const EVENT: Record<string, string> = {
	start: 'Start', stop: 'Stop', restart: 'Restart', tank_change: 'Tank change', gas_change: 'Gas change', adjustment: 'Adjustment', end: 'End', note: 'Note'
};
