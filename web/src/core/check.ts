// A check of an instrument as it is typed: steps, the expected value before the
// reading, pass or fail at once, and the records it leaves. The judging is the
// core's (calculation check-meter).
import type { Against, Instrument, MeterCheck, Units } from '#api/records.ts';
import { run, type CalcError, type CalcWarning } from './client.ts';
import { limitOf, planned } from './instruments.ts';
import { parse } from './units.ts';

export interface Step { against: Against; title: string; how: string[]; caution?: string }
export const STEPS: Record<Against, Step> = {
	zero: { against: 'zero', title: 'Zero', how: ['Let zero gas (nitrogen or CO₂ with 10 ppm oxygen or less) flow slowly through the cell.', 'Wait five minutes, until the reading stands still.'], caution: 'Nitrogen and CO₂ displace air: vent outside or ventilate, with an alarm. Zero solution of sulphite and cobalt harms skin and lungs: gloves, eye protection, no drain; only for cells that bear it, and rinse well.' },
	air: { against: 'air', title: 'Air-saturated water', how: ['Bubble air through clean water of steady temperature for half an hour, or use the air mode of the meter.', 'Read temperature and barometer: the pressure here, not that of a weather report.'], caution: 'A glass beaker breaks: keep it from the edge and from wet floors.' },
	response: { against: 'response', title: 'Response time', how: ['From air, switch to deaerated beer, water or zero gas.', 'Count the seconds until the reading falls below 10 ppb.'] },
	meter: { against: 'meter', title: 'Another meter', how: ['Read one sample with both, one straight after the other, at the same flow.'] },
	mass: { against: 'mass', title: 'Reference mass', how: ['Set to zero. Put the reference mass in the middle of the pan; choose one near the weight of a package.', 'A second mass of about half the weight tells whether the error grows with the weight.', 'Lift large masses with two hands.'] },
	ice: { against: 'ice', title: 'Ice point', how: ['Fill an insulated cup with crushed ice from clean water, fill up with cold water, stir.', 'Put the tip into the middle, stir again, wait until it stands still: 0 °C.'], caution: 'A glass thermometer breaks: do not stir with it.' },
	reference: { against: 'reference', title: 'Reference instrument', how: ['Hold both in the same bath, or at the same height, until both stand still.'] },
	other: { against: 'other', title: 'Something else', how: ['Note what it was held against, and what both read.'] }
};
/** What was typed, by field. */
export interface CheckText { zero: string; zero_gas: string; temperature: string; pressure: string; altitude: string; air: string; response: string; first: string; second: string; other_id: string; mass: string; mass_ref: string; mass2: string; mass2_ref: string; mass3: string; mass3_ref: string; ice: string; reading: string; reference: string; against: string }
export const BLANK: CheckText = { zero: '', zero_gas: '', temperature: '', pressure: '', altitude: '', air: '', response: '', first: '', second: '', other_id: '', mass: '', mass_ref: '', mass2: '', mass2_ref: '', mass3: '', mass3_ref: '', ice: '', reading: '', reference: '', against: '' };

export interface Judged { name: string; read: number; expected: number | null; difference: number | null; limit: number | null; unit: string; passed: boolean | null }
export interface ScaleLine { n: number; offset: number; offset_u: number; slope_percent: number; slope_u_percent: number }
export interface CheckAnswer { /** Of a scale, from two reference masses on. */ scale?: ScaleLine; more: { expected: number; read: number; passed: boolean }[]; checks: Partial<Record<Against, Judged>>; expected?: { ppb: number; kpa: number }; sentence: string; slip_ppb: number; zero_error_ppb?: number; slope_percent?: number; warnings: CalcWarning[]; faults: Partial<Record<keyof CheckText, string>> }

/** A pressure with its unit: a bare number above 200 is hPa. */
export const pressure = (t: string): string => (/[a-z]/i.test(t) ? t : Number(t.replace(',', '.')) > 200 ? `${t.replace(',', '.')} hPa` : `${t.replace(',', '.')} kPa`);
type Kinds = Parameters<typeof parse>[1];
const FIELD: Record<string, [keyof CheckText, Kinds]> = {
	zero_do_ppb: ['zero', 'oxygen'], zero_gas_ppm: ['zero_gas', 'plain'], temperature_c: ['temperature', 'temperature'], altitude_m: ['altitude', 'plain'], air_do_ppb: ['air', 'oxygen'], response_s: ['response', 'plain'],
	first_do_ppb: ['first', 'oxygen'], second_do_ppb: ['second', 'oxygen'], scale_g: ['mass', 'mass'], scale_reference_g: ['mass_ref', 'mass']
};
const NAME: Record<string, Against> = { zero: 'zero', air: 'air', response: 'response', 'two meters': 'meter', scale: 'mass' };

interface Out { checks: Judged[]; scale_error?: ScaleLine; tpo_slip_ppb: number; sentence: string; correction?: { found_offset_ppb: number; found_slope_percent: number } }
/** Judges what is there so far. home: altitude where no barometer was read. */
export async function judgeCheck(i: Instrument, t: CheckText, home: number | undefined, u: Units): Promise<CheckAnswer> {
	const out: CheckAnswer = { checks: {}, sentence: '', slip_ppb: 0, warnings: [], faults: {}, more: [] };
	const input: Record<string, unknown> = {};
	for (const [field, [key, kind]] of Object.entries(FIELD)) {
		if (!t[key].trim()) continue;
		const p = parse(t[key], kind, u);
		if (p.error) out.faults[key] = p.error;
		else input[field] = p.value;
	}
	if (t.pressure.trim()) input.pressure_kpa = pressure(t.pressure.trim());
	// Beside a pressure, the altitude tells whether it was one reduced to sea level.
	if (input.altitude_m === undefined && home !== undefined) input.altitude_m = home;
	// A pair is judged once both halves are there.
	const whole = (a: string, b: string) => { if (input[a] === undefined || input[b] === undefined) { delete input[a]; delete input[b]; } };
	whole('first_do_ppb', 'second_do_ppb');
	whole('scale_g', 'scale_reference_g');
	if (input.scale_g !== undefined) {
		const more = masses(t, u, out);
		if (more.length) input.scale_more = more;
	}
	if (input.temperature_c !== undefined) await expectAir(input, out);
	else delete input.air_do_ppb;
	for (const [field, a] of [['zero_limit_ppb', 'zero'], ['air_limit_percent', 'air'], ['scale_limit_g', 'mass']] as const) {
		const l = a === 'air' ? planned(i, a).limit : limitOf(i, a);
		if (l !== undefined) input[field] = l;
	}
	if (input.response_s !== undefined && planned(i, 'response').limit) input.response_limit_s = planned(i, 'response').limit;
	await call(input, out, (n) => NAME[n]);
	if (t.ice.trim()) await pair(i, 'ice', t.ice, '0', 'ice', u, out);
	if (t.reading.trim() && t.reference.trim()) await pair(i, 'reference', t.reading, t.reference, 'reading', u, out);
	return out;
}
/** Further reference masses, of which both halves are there. */
function masses(t: CheckText, u: Units, out: CheckAnswer): { reference_g: number; read_g: number }[] {
	return ([['mass2', 'mass2_ref'], ['mass3', 'mass3_ref']] as const).flatMap(([read, ref]) => {
		if (!t[read].trim() || !t[ref].trim()) return [];
		const x = parse(t[read], 'mass', u), y = parse(t[ref], 'mass', u);
		if (x.error) out.faults[read] = x.error;
		if (y.error) out.faults[ref] = y.error;
		return x.value === undefined || y.value === undefined ? [] : [{ reference_g: y.value, read_g: x.value }];
	});
}
const said = (e: CalcError): string => `${e.value === undefined || e.value === '' ? '' : `${String(e.value)} `}${e.message}${e.mend ? `; ${e.mend}` : ''}`;
async function expectAir(input: Record<string, unknown>, out: CheckAnswer): Promise<void> {
	const a = await run<{ do_ppb: number; pressure_kpa: number }>('air-saturation', { temperature_c: input.temperature_c, ...(input.pressure_kpa !== undefined ? { pressure_kpa: input.pressure_kpa } : input.altitude_m !== undefined ? { altitude_m: input.altitude_m } : {}) });
	if (a.result) out.expected = { ppb: a.result.do_ppb, kpa: a.result.pressure_kpa };
	else if (a.error) {
		const key = a.error.field?.startsWith('pressure') ? 'pressure' : a.error.field?.startsWith('altitude') ? 'altitude' : 'temperature';
		out.faults[key] = said(a.error);
		for (const k of ['pressure_kpa', 'altitude_m', 'temperature_c', 'air_do_ppb']) delete input[k];
	}
}
async function call(input: Record<string, unknown>, out: CheckAnswer, name: (n: string) => Against | undefined): Promise<void> {
	if (!['zero_do_ppb', 'air_do_ppb', 'response_s', 'first_do_ppb', 'scale_g', 'thermometer_c', 'barometer_kpa'].some((k) => input[k] !== undefined)) return;
	const a = await run<Out>('check-meter', input);
	if (a.error) {
		const key = FIELD[a.error.field ?? '']?.[0] ?? (a.error.field?.startsWith('pressure') ? 'pressure' : 'reading');
		out.faults[key] = said(a.error);
		return;
	}
	for (const c of a.result!.checks) {
		const k = name(c.name);
		if (!k) continue;
		if (k === 'mass' && out.checks.mass) {
			out.more.push({ expected: c.expected ?? 0, read: c.read, passed: c.passed !== false });
			if (c.passed === false) out.checks.mass = { ...out.checks.mass, passed: false };
		} else out.checks[k] = c;
	}
	out.scale = a.result!.scale_error;
	out.sentence = a.result!.sentence;
	out.slip_ppb = a.result!.tpo_slip_ppb;
	out.zero_error_ppb = a.result!.correction?.found_offset_ppb;
	out.slope_percent = a.result!.correction?.found_slope_percent;
	out.warnings.push(...(a.warnings ?? []));
}
/** Thermometer and barometer against something: each check is a call of its own. */
async function pair(i: Instrument, a: 'ice' | 'reference', read: string, ref: string, key: keyof CheckText, u: Units, out: CheckAnswer): Promise<void> {
	if (i.kind === 'barometer') return call({ barometer_kpa: pressure(read), barometer_reference_kpa: pressure(ref), barometer_limit_kpa: limitOf(i, a) }, out, () => a);
	const x = parse(read, 'temperature', u), y = a === 'ice' ? { value: 0 as number | undefined, error: undefined } : parse(ref, 'temperature', u);
	if (x.error) out.faults[key] = x.error;
	if (y.error) out.faults.reference = y.error;
	if (x.value !== undefined && y.value !== undefined) await call({ thermometer_c: x.value, thermometer_reference_c: y.value, thermometer_limit_k: limitOf(i, a) }, out, () => a);
}
const TO: Record<string, MeterCheck['unit']> = { ppb: 'ppb', g: 'g', '°C': 'c', kPa: 'kpa', s: 's' };
const r2 = (x: number): number => Math.round(x * 100) / 100;
/** One record for each check that was read; the server fills offset, slope and their u. */
export function records(i: Instrument, t: CheckText, a: CheckAnswer, home: number | undefined, u: Units, more: Partial<MeterCheck>): Omit<MeterCheck, 'id' | 'rev'>[] {
	return (Object.entries(a.checks) as [Against, Judged][]).map(([against, c]) => {
		const air = against === 'air', water = parse(t.temperature, 'temperature', u).value;
		const altitude = parse(t.altitude, 'plain', u).value ?? home;
		return {
			instrument_id: i.id, at: new Date().toISOString(), against, read: c.read, unit: TO[c.unit], expected: c.expected === null ? undefined : r2(c.expected), limit: c.limit === null ? undefined : Number(c.limit.toFixed(4)), outcome: c.passed === false ? 'failed' : 'passed',
			...(air ? { temperature_c: water, ...(t.pressure.trim() && a.expected ? { pressure_kpa: a.expected.kpa } : { altitude_m: altitude }) } : {}), ...(against === 'mass' && a.more.length ? { more: a.more.map(({ expected, read }) => ({ expected, read })) } : {}), ...(against === 'zero' && t.zero_gas.trim() ? { zero_gas_ppm: parse(t.zero_gas, 'plain', u).value } : {}), ...(against === 'meter' || against === 'reference' ? { other_id: t.other_id || undefined } : {}), ...more
		} as Omit<MeterCheck, 'id' | 'rev'>;
	});
}
