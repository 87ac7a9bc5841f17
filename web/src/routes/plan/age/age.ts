// The fields of a temperature history, and the input of the calculation from them.
import { command, flagValue } from '#core/plancli.ts';
import { entry, listOf, pairs, unread, type Entry, type Form, type Specs } from '#core/planform.ts';

export interface Fault { line: number; value?: string; message: string; mend: string }
export interface Result { equivalent_days: number; low_days: number; high_days: number; reference_c: number; real_days: number; hottest_c: number; mnemonic_used: number; mean_speed: number; code_used?: number; code_used_low?: number; code_used_high?: number; shares: { days: number; temperature_c: number; share: number }[] | null; course: { days: number; cold_c: number; hot_c: number; age_days: number; low_days: number; high_days: number }[]; read?: { rows: number; used: number; refused: number; from?: string; to?: string; unit: string; faults?: Fault[] } }
/** A stay; u… are standard uncertainties. */
export interface Stay extends Record<string, string> { days: string; at: string; udays: string; uat: string }
export const made = (s: Partial<Stay>): Stay => ({ days: '', at: '', udays: '', uat: '', ...s }) as Stay;
const START = [made({ days: '14 days', at: '20 °C' }), made({ days: '2 days', at: '35 °C' }), made({ days: '60 days', at: '4 °C' })];
const OF_STAY: Entry[] = [['days', 'days', 'days', 'days'], ['at', 'temperature', 'temperature_c', 'temperature']];
export const stays = (text: string): Stay[] => listOf(text, made({}), START, 60);
export const SPECS: Specs = { reference: { kind: 'temperature', flag: '--reference', label: 'As if all along at', field: 'reference_c', start: '4 °C' }, code: { kind: 'days', flag: '--code', label: 'Code life at that temperature', field: 'code_days', start: '120 days', hint: 'Gives the share used' }, q10: { kind: 'plain', flag: '--q10', label: 'Ageing with 10 K more, ×', field: 'q10', start: '3', hint: 'Published: 2 to 4.5; the band shows both' } };
export const WORDS = { from: 'typed', stays: '', order: '' };
const KEYS = ['reference', 'code', 'q10'];
/** A logger's file as it was chosen; it stays on the page. */
export interface File { name: string; text: string }
export function input(f: Form, file?: File): Record<string, unknown> | undefined {
	const t = f.text, list = stays(t.stays);
	if (f.fault(KEYS)) return undefined;
	if (t.from === 'logger') return file ? { ...f.input(KEYS), logger: file.text, ...(t.order ? { date_order: t.order } : {}), explain: true } : undefined;
	return list.some((s) => !s.days.trim() || !s.at.trim() || unread(s, OF_STAY)) ? undefined : { ...f.input(KEYS), history: list.map((s) => entry(s, OF_STAY)), explain: true };
}
/** 14d@20C, with its standard uncertainties behind a colon. */
function stay(s: Stay): string | undefined {
	const days = flagValue(s.days, 'days'), at = flagValue(s.at, 'temperature');
	if (days === undefined || at === undefined) return undefined;
	const u = pairs(s, OF_STAY).filter((x) => x.startsWith('u-'));
	return `${days}@${at}${u.length ? `:${u.join(',')}` : ''}`;
}
export const cli = (f: Form, file?: File): string => command('age', [...(f.text.from === 'logger' ? [['--logger', file?.name], ['--date-order', f.text.order || undefined]] as [string, string | undefined][] : stays(f.text.stays).map((s): [string, string | undefined] => ['--stay', stay(s)])), ...f.flags(KEYS)]);
