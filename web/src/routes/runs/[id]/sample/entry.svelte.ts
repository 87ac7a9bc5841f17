// One sample being typed: texts as typed, numbers made of them, the live result.
// Texts survive a reload; the id is minted when the form opens, so that a second
// tap on Save is the same record.
import { limitOf } from '#api/records.ts';
import type { Flag, Format, Instrument, Line, Run, Sample, SampleInputs, SampleKind, SampleResult, Units } from '#api/records.ts';
import { run as calc, type CalcWarning } from '#core/client.ts';
import { choose, directResult, isPackage } from '#core/direct.ts';
import { carriedTemperature, nextPlace, nextSet, TEMPERATURE_MAX_AGE_MIN } from '#core/line.ts';
import { nextPull } from '#core/sampling.ts';
import { missing, odd, tpoInput, type Odd, type TpoResult } from '#core/tpo.ts';
import { cToF, parse, unitOf } from '#core/units.ts';
import { uuidv7 } from '#offline/uuid.ts';

export type Key = 'temperature' | 'gross' | 'tare' | 'gap' | 'do' | 'shake' | 'direct';
export const KINDS: Record<Key, 'temperature' | 'mass' | 'length' | 'oxygen' | 'minutes'> = {
	temperature: 'temperature', gross: 'mass', tare: 'mass', gap: 'length', do: 'oxygen', shake: 'minutes', direct: 'oxygen'
};
const INPUT: Record<Key, keyof SampleInputs> = { temperature: 'temperature_c', gross: 'gross_g', tare: 'tare_g', gap: 'gap_mm', do: 'do_ppb', shake: 'shake_min', direct: 'direct_ppb' };

export interface Around { run: Run; line?: Line; format?: Format; samples: Sample[]; units: Units; meter?: Instrument; scale?: Instrument }
interface Draft { id: string; kind: SampleKind; text: Record<Key, string>; own: boolean; flags: Flag[]; note: string; closed_at: string; head?: number; station?: number }
const NONE: Record<Key, string> = { temperature: '', gross: '', tare: '', gap: '', do: '', shake: '', direct: '' };

export class Entry {
	id = $state('');
	kind = $state<SampleKind>('shaken');
	text = $state<Record<Key, string>>({ ...NONE });
	mended = $state<Partial<Record<Key, string>>>({});
	own = $state(false);
	flags = $state<Flag[]>([]);
	note = $state('');
	head = $state<number | undefined>();
	station = $state<number | undefined>();
	/** Why this head comes next, where it is not by rotation. */
	placeWhy = $state('');
	set_no = $state(1);
	closed_at = $state('');
	carried = $state<{ c?: number; at?: string }>({});
	accepted = $state<string[]>([]);
	result = $state.raw<TpoResult | undefined>();
	derivation = $state.raw<unknown[]>([]);
	warnings = $state.raw<CalcWarning[]>([]);
	calcError = $state('');
	original = $state.raw<Sample | undefined>();
	reason = $state('');
	private ran = 0;

	constructor(private around: () => Around) {}

	/** A new sample, with place by rotation and what the line carries on. */
	begin(now: number): void {
		const { run, line, samples } = this.around();
		this.original = undefined;
		this.id = uuidv7(now);
		const place = nextPlace(samples, line, limitOf(run?.in_force, 'tpo')?.single_red_ppb, this.planned(now));
		if (place.kind) this.kind = place.kind;
		// A run read directly asks for that; what was taken last stays chosen otherwise.
		if (run?.measured_by === 'direct' && this.kind === 'shaken') this.kind = 'direct';
		this.placeWhy = place.why ?? '';
		this.head = place.head;
		this.station = place.station;
		this.text = { ...NONE };
		this.mended = {};
		this.accepted = [];
		this.flags = [];
		this.note = '';
		this.closed_at = new Date(now).toISOString();
		this.clear();
		// A browser that was killed may bring back the draft of a sample already saved.
		const d = this.draft(run.id);
		if (d && !samples.some((s) => s.id === d.id)) Object.assign(this, { id: d.id, kind: d.kind, text: { ...NONE, ...d.text }, own: d.own, flags: d.flags, note: d.note, closed_at: d.closed_at, head: d.head, station: d.station });
		this.follow(now);
	}
	/** What the run's plan wants next. */
	private planned(now: number) {
		const { run, samples } = this.around();
		return run?.status === 'going' ? nextPull(run.plan, run.started_at, samples, now) : undefined;
	}
	/** Set number and carried temperature follow what arrives from other phones. */
	follow(now: number): void {
		const { run, line, samples } = this.around();
		if (this.original) return;
		this.set_no = this.planned(now)?.set ?? nextSet(samples, run.sample_every_min ?? line?.sample_every_min, now);
		this.carried = carriedTemperature(samples);
	}
	/** An existing sample, to be corrected by a new revision. */
	load(s: Sample): void {
		this.original = s;
		this.id = s.id;
		this.kind = s.kind;
		const u = this.around().units;
		const t: Record<Key, string> = { ...NONE };
		for (const k of Object.keys(INPUT) as Key[]) {
			const v = s.inputs[INPUT[k]];
			if (typeof v !== 'number') continue;
			t[k] = k === 'temperature' && u.temperature === 'f' ? String(Number(cToF(v).toFixed(2))) : (k === 'do' || k === 'direct') && u.oxygen === 'ppm' ? String(v / 1000) : String(v);
		}
		Object.assign(this, { text: t, mended: {}, own: s.tare_source === 'own', flags: [...(s.flags ?? [])], note: s.note ?? '', head: s.head, station: s.station, set_no: s.set_no ?? 1, closed_at: s.closed_at ?? '', accepted: Object.values(INPUT), reason: '' });
		this.clear();
	}

	keys(): Key[] {
		if (this.kind === 'direct') return ['direct'];
		if (this.kind !== 'shaken') return ['temperature', 'do'];
		const { run, format } = this.around();
		const out: Key[] = ['temperature', 'gross'];
		if (this.own) out.push('tare');
		if (format?.kind === 'bottle' && run.in_force.neck_ml_per_mm) out.push('gap');
		return [...out, 'do', ...(this.both ? ['direct' as Key] : [])];
	}
	/** This package may carry a direct reading beside its shaken DO. */
	get both(): boolean {
		return this.kind === 'shaken' && (!!this.around().run?.tpo_meter_id || !!this.text.direct);
	}
	/** Kinds of reading that are offered: the direct one where the run has the instrument. */
	kinds(): SampleKind[] {
		const run = this.around().run;
		return ['shaken', 'unshaken', 'inlet', ...(run?.tpo_meter_id || run?.measured_by === 'direct' || this.kind === 'direct' ? ['direct' as SampleKind] : [])];
	}
	/** The direct reading as a result of its own. */
	direct(now: Date): SampleResult | undefined {
		return isPackage(this) ? directResult(this.inputs(now.getTime()), this.around().run?.in_force, now.toISOString()) : undefined;
	}
	parsed(k: Key) {
		return parse(this.mended[k] ?? this.text[k], KINDS[k], this.around().units);
	}
	age_min(now: number): number | undefined {
		return this.carried.at ? (now - Date.parse(this.carried.at)) / 60000 : undefined;
	}
	stale(now: number): boolean {
		return !this.text.temperature && (this.age_min(now) ?? 0) > TEMPERATURE_MAX_AGE_MIN;
	}
	/** The carried temperature was read again and has not moved. */
	confirmTemperature(now: number): void {
		this.carried = { ...this.carried, at: new Date(now).toISOString() };
	}

	inputs(now: number): SampleInputs {
		const i: SampleInputs = {};
		for (const k of this.keys()) {
			const p = this.parsed(k);
			if (p.value !== undefined) (i as Record<string, number>)[INPUT[k]] = p.value;
		}
		if (this.text.shake && this.kind === 'shaken') i.shake_min = this.parsed('shake').value;
		if (i.temperature_c !== undefined) i.temperature_at = this.original && i.temperature_c === this.original.inputs.temperature_c ? this.original.inputs.temperature_at : new Date(now).toISOString();
		else if (this.kind !== 'direct' && !this.original && this.carried.c !== undefined && !this.stale(now) && !this.text.temperature) {
			i.temperature_c = this.carried.c;
			i.temperature_at = this.carried.at;
		}
		return i;
	}
	missing(now: number): string[] {
		return missing(this.kind, this.inputs(now), this.around().run.in_force, this.own);
	}
	odd(now: number): Odd[] {
		const a = this.around();
		const near = a.samples.filter((s) => s.kind === this.kind && s.id !== this.id && s.inputs.do_ppb).slice(-8).map((s) => s.inputs.do_ppb!);
		return odd(this.inputs(now), this.kind, a.run.in_force, a.format, near, a.meter).filter((o) => !this.accepted.includes(o.field));
	}
	mend(o: Odd, m: Odd['mends'][number]): void {
		if (m.apply === 'ok') {
			this.accepted = [...this.accepted, o.field];
			return;
		}
		const k = (Object.keys(INPUT) as Key[]).find((x) => INPUT[x] === o.field)!;
		const v = (m.apply as Record<string, number | undefined>)[o.field];
		if (v === undefined) this.type(k, '');
		else this.mended = { ...this.mended, [k]: k === 'temperature' ? `${v} °C` : `${v} ppb` };
		if (v !== undefined) this.accepted = [...this.accepted, o.field];
	}
	type(k: Key, s: string): void {
		this.text[k] = s;
		if (this.mended[k]) this.mended = { ...this.mended, [k]: undefined };
		this.accepted = this.accepted.filter((f) => f !== INPUT[k]);
	}

	private clear(): void {
		this.ran++;
		this.result = undefined;
		this.warnings = [];
		this.derivation = [];
		this.calcError = '';
	}
	/** Asks the core for the result of what is typed now; an older answer never overwrites a newer. */
	async compute(i: SampleInputs, own: boolean, closed_at: string): Promise<void> {
		const { run } = this.around();
		if (this.kind !== 'shaken' || missing('shaken', i, run.in_force, own).length) return this.clear();
		const mine = ++this.ran;
		const taken = this.original?.taken_at ?? new Date().toISOString();
		try {
			const a = await calc<TpoResult>('tpo', tpoInput(i, run.in_force, own, this.around().format?.kind, closed_at, taken));
			if (mine !== this.ran) return;
			this.result = a.result;
			this.warnings = a.warnings ?? [];
			this.derivation = a.derivation ?? [];
			this.calcError = a.error ? [a.error.message, a.error.mend].filter(Boolean).join('; ') : '';
		} catch (e) {
			if (mine !== this.ran) return;
			this.result = undefined;
			this.calcError = `The calculation core is not loaded: ${(e as Error).message}. The sample can be saved; the server computes it.`;
		}
	}

	/** The record to keep. Raw texts stay exactly as typed. */
	record(now: Date): Sample {
		const { run } = this.around();
		const u = this.around().units;
		const raw: Record<string, string> = { ...this.original?.raw };
		for (const k of [...this.keys(), 'shake' as Key]) {
			const t = this.text[k];
			if (!t) continue;
			// As typed; where no unit was typed, the one that stood beside the box.
			raw[k] = /[a-z°µ]/i.test(t) ? t : `${t} ${unitOf(KINDS[k], u)}`;
			if (this.mended[k]) raw[k + '_mended'] = this.mended[k]!;
		}
		const r = this.result;
		const calculated: SampleResult | undefined = r && {
			tpo_by: 'calculated', method: String(typeof r.method === 'string' ? r.method : 'tpo'), beer_ml: r.beer_ml, headspace_ml: r.headspace_ml, tpo_ppb: r.tpo_ppb, tpo_u_ppb: r.tpo_u_ppb,
			tpo_low95_ppb: r.tpo_low95_ppb, tpo_high95_ppb: r.tpo_high95_ppb, path: r.path,
			warnings: this.warnings.map((w) => ({ field: w.field, value: w.value, message: w.message, mend: w.mend })), computed_at: now.toISOString(), computed_by: 'device'
		};
		const inputs = this.inputs(now.getTime());
		const [result, other_result] = choose(this.kind === 'direct' ? undefined : calculated, this.direct(now), run.in_force.tpo_by);
		return {
			...this.original, id: this.id, rev: this.original?.rev ?? 0, run_id: run.id, set_no: this.set_no, kind: this.kind,
			head: this.kind === 'inlet' ? undefined : this.head, station: this.kind === 'inlet' ? undefined : this.station,
			closed_at: this.kind === 'inlet' || !this.closed_at ? undefined : this.closed_at, taken_at: this.original?.taken_at ?? now.toISOString(),
			raw, inputs, tare_source: this.kind === 'shaken' ? (this.own ? 'own' : 'lot') : undefined, flags: [...this.flags], note: this.note,
			result, other_result, results_before: this.original?.results_before, reason: this.original ? this.reason : undefined
		} as Sample;
	}

	private key = (run_id: string) => `ullage.draft.${run_id}`;
	private draft(run_id: string): Draft | undefined {
		try {
			return JSON.parse(localStorage.getItem(this.key(run_id)) ?? 'null') ?? undefined;
		} catch {
			return undefined;
		}
	}
	keepDraft(run_id: string): void {
		if (this.original) return;
		const typed = Object.values(this.text).some(Boolean) || this.note || this.flags.length;
		if (!typed) return localStorage.removeItem(this.key(run_id));
		const d: Draft = { id: this.id, kind: this.kind, text: $state.snapshot(this.text), own: this.own, flags: $state.snapshot(this.flags), note: this.note, closed_at: this.closed_at, head: this.head, station: this.station };
		localStorage.setItem(this.key(run_id), JSON.stringify(d));
	}
	dropDraft(run_id: string): void {
		localStorage.removeItem(this.key(run_id));
	}
}
