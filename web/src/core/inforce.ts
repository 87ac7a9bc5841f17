// Where a study's answer goes: the record of the study, and for a lot of packages
// the figures of the lot. The same fields as the server proposes.
import type { FormatLot, Study } from '#api/records.ts';
import type { StudyDef } from './studies.ts';
import type { Studied } from './studyrows.ts';

type R = Record<string, unknown>;
/** Figures of the lot under a study's answer; undefined where the study is of no lot. */
export function lotFields(def: StudyDef, r: R): Partial<FormatLot> | undefined {
	const n = (k: string): number | undefined => (typeof r[k] === 'number' ? Number((r[k] as number).toPrecision(6)) : undefined);
	switch (def.kind) {
		case 'tare': return { tare_g: n('tare_g'), tare_sd_g: n('tare_sd_g'), tare_n: n('n') };
		case 'capacity': return { capacity_ml: n('capacity_ml'), capacity_sd_ml: n('capacity_sd_ml'), capacity_n: n('n'), capacity_source: 'lot' };
		case 'neck': return { neck_gap_mm: n('neck_gap_mm'), neck_headspace_ml: n('neck_headspace_ml'), neck_ml_per_mm: n('neck_ml_per_mm') };
		default: return undefined;
	}
}
const WORD: Record<string, string> = {
	tare_g: 'Tare, g', tare_sd_g: 'Tare, spread, g', tare_n: 'Weighed', capacity_ml: 'Capacity, mL', capacity_sd_ml: 'Capacity, spread, mL', capacity_n: 'Measured', capacity_source: 'Capacity from',
	neck_gap_mm: 'Rim down to beer, mm', neck_headspace_ml: 'Headspace at it, mL', neck_ml_per_mm: 'Neck, mL per mm'
};
export interface Change { name: string; from: string; to: string }
/** A spread is known to a few per cent at best: half a per cent of it is no change. */
const alike = (k: string, from: unknown, to: unknown): boolean => k.includes('_sd_') && typeof from === 'number' && typeof to === 'number' && Math.abs(to - from) <= 0.005 * from;
/** What putting it in force changes in the lot. */
export const changes = (lot: FormatLot | undefined, next: Partial<FormatLot>): Change[] =>
	Object.entries(next).filter(([k, v]) => v !== undefined && !alike(k, lot?.[k], v)).map(([k, v]) => ({ name: WORD[k] ?? k, from: lot?.[k] === undefined ? 'not set' : String(lot[k]), to: String(v) })).filter((c) => c.from !== c.to);

/** The record of a study; what is read-only is the server's. */
export function studyRecord(def: StudyDef, id: string, rev: number, at: string, name: string, done: Studied, source: string, before: Partial<Study> = {}): Study {
	return { ...before, id, rev, kind: def.kind, name: name.trim() || def.title, at, rows: done.rows, settings: done.settings, source: source.slice(0, 200), result: undefined, warnings: undefined, method: undefined, computed_at: undefined };
}
/** Most rows that a record holds. */
export const MAX_KEPT = 2000;
