// Stand-in: a run measured by the calculated method because the instrument that
// reads TPO directly is down. An agreement study in force must cover it; the
// server decides by the same rules (internal/lab/study_rules.go).
import type { Run, Study } from '#api/records.ts';
import { day } from './units.ts';

export interface Cover { study?: Study; why: string }
function lacks(s: Study, format_id: string, do_meter_id: string | undefined, at: string): string {
	if (!s.in_force_from) return 'it is not in force';
	if (Date.parse(s.in_force_from) > Date.parse(at)) return `it is in force from ${day(s.in_force_from)} on`;
	if (!s.format_ids?.includes(format_id)) return 'it was made with other packages';
	if (s.do_meter_id && s.do_meter_id !== do_meter_id) return 'it was made with another DO meter';
	return '';
}
/** The newest agreement study in force that covers a run, or why none does. */
export function covering(studies: Study[], format_id: string, do_meter_id: string | undefined, at: string): Cover {
	let study: Study | undefined, why = 'no agreement study is in force';
	for (const s of studies.filter((x) => x.kind === 'agreement' && x.in_force_from)) {
		const no = lacks(s, format_id, do_meter_id, at);
		if (no) why = `"${s.name}" does not cover this run: ${no}`;
		else if (!study || s.in_force_from! > study.in_force_from!) study = s;
	}
	return study ? { study, why: '' } : { why };
}
/** In a few words, for lists. */
export const standInWord = (r: Run): string => (r.stand_in ? 'stands in for a direct reading' : r.measured_by === 'direct' ? 'read directly' : '');
