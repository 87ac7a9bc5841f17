// The studies as data: what each answers, what it costs, its steps, its columns.
// The calculations are those of the core; packages and minutes are common practice.
import type { StudyKind, Units } from '#api/records.ts';
import { unitOf } from './units.ts';
import type { Column } from './table.ts';

export interface Option { key: string; label: string; kind: Column['kind']; unit?: string; hint: string; usual?: string }
export interface StudyDef {
	kind: StudyKind; calc: string; title: string; asks: string; packages: string; minutes: string; why: string;
	steps: string[]; caution?: string; columns: Column[]; options: Option[]; least: number; example: string; /** A row is begun, not finished, until one of these is whole. */ either?: string[][]; /** What it is of: a lot of packages, or the way one measures. */ of: 'lot' | 'way';
}
const text = (key: string, label: string, also: string[] = []): Column => ({ key, label, kind: 'text', also });
const USUAL: Option[] = [
	{ key: 'temperature_c', label: 'Temperature of a usual package', kind: 'temperature', hint: 'With the next ones: what the spread does to its TPO' },
	{ key: 'shaken_do_ppb', label: 'Its shaken DO', kind: 'oxygen', hint: '' },
	{ key: 'beer_ml', label: 'Its beer', kind: 'volume', hint: '' }
];

export const STUDIES: StudyDef[] = [
	{
		kind: 'tare', calc: 'study-tare', title: 'Empty weight', asks: 'What does the empty package weigh, and how far do packages scatter?', packages: '10 empty packages of a lot', minutes: '10', of: 'lot', least: 2, example: 'tare',
		why: 'The gross weight less this mean is the beer of every can of the lot. A gram too much is a millilitre of headspace too much.',
		steps: ['Take ten empty, dry packages from ten places of the delivery, with ends or crowns from the same delivery.', 'Let the scale warm up, set it to zero, and check it with a reference mass.', 'Weigh each with its closure, to 0.1 g or better. Type the lot beside it where there are several.'],
		columns: [text('lot', 'Lot', ['delivery', 'batch']), { key: 'empty_g', label: 'Empty weight', kind: 'mass', needed: true, also: ['tare', 'empty', 'weight'] }],
		options: [{ key: 'target_g', label: 'Mean to be known to ±', kind: 'mass', hint: '95 %', usual: '0.1' }, ...USUAL, { key: 'capacity_ml', label: 'Its capacity', kind: 'volume', hint: '' }]
	},
	{
		kind: 'capacity', calc: 'study-capacity', title: 'Capacity', asks: 'How much does the package hold to the brim, closed?', packages: '5 to 10 packages of a lot', minutes: '30', of: 'lot', least: 2, example: 'capacity',
		why: 'Headspace is capacity less beer. One millilitre matters more to TPO than any other weight or volume you measure.',
		steps: ['Weigh the dry package with its closure.', 'Fill it to the brim with water that has stood, without bubbles. Put the closure on and let the excess run. A can is filled through two holes in its base, under water, and sealed with thumb and tape.', 'Dry the outside, weigh again, and read the temperature of the water. The buoyancy of the air is taken off by the calculation.'],
		caution: 'Wet glass slips and cut cans have sharp edges: gloves, eye protection, hold it low over a tray.',
		columns: [text('lot', 'Lot or mould', ['lot', 'mould', 'delivery']), { key: 'empty_g', label: 'Empty weight', kind: 'mass', also: ['empty', 'dry'] }, { key: 'full_g', label: 'Full of water', kind: 'mass', also: ['full'] }, { key: 'capacity_water_g', label: 'Or: net water', kind: 'mass', also: ['water'], extra: true }, { key: 'water_temperature_c', label: 'Water temperature', kind: 'temperature', needed: true, also: ['temperature'] }],
		either: [['empty_g', 'full_g'], ['capacity_water_g']],
		options: [{ key: 'target_ml', label: 'Mean to be known to ±', kind: 'volume', hint: '95 %', usual: '0.3' }, ...USUAL]
	},
	{
		kind: 'neck', calc: 'study-neck', title: 'Fill height of a bottle', asks: 'How much headspace does a fill height tell of?', packages: '1 bottle, 6 to 10 heights', minutes: '20', of: 'lot', least: 3, example: 'neck',
		why: 'A height in the narrow neck tells the headspace of a bottle better than its weight does, because glass scatters by grams.',
		steps: ['Stand the bottle level, fill it with water to about the usual height, and measure from the rim down to the water.', 'Weigh, fill up to the brim with the closure on, weigh again: the difference fills the headspace (0.998 g/mL).', 'Repeat at six heights or more, from the lowest to the highest fill you meet.'],
		caution: 'Glass breaks: gloves, eye protection, and never a chipped bottle.',
		columns: [{ key: 'gap_mm', label: 'Rim down to liquid', kind: 'length', needed: true, also: ['gap', 'height', 'fill height'] }, { key: 'headspace_ml', label: 'Headspace there', kind: 'volume', also: ['headspace'] }, { key: 'to_brim_g', label: 'Or: water to the brim', kind: 'mass', also: ['to brim'], extra: true }], either: [['headspace_ml'], ['to_brim_g']], options: []
	},
	{
		kind: 'shake', calc: 'study-shake', title: 'Shaking time', asks: 'How long must a package be shaken, and what is left at five minutes?', packages: '18 neighbours of one head', minutes: '60', of: 'way', least: 4, example: 'shake',
		why: 'Shaken DO is read as if beer and headspace stood in equilibrium. What the shaking leaves undone is missing, or too much, in every TPO.',
		steps: ['Pull eighteen packages one after another from one head.', 'Shake three each for 0.5, 1, 2, 3, 5 and 8 minutes, in shuffled order, as you always shake. The beer must not warm by more than 2 °C.', 'Let each stand half a minute, read it, and type the minutes and the reading.'],
		caution: 'Shaken packages are under pressure: let the foam settle, shield while piercing, never pierce a warm or bulged one.',
		columns: [{ key: 'shake_min', label: 'Shaken for', kind: 'minutes', needed: true, also: ['minutes', 'time'] }, { key: 'shaken_do_ppb', label: 'Shaken DO', kind: 'oxygen', needed: true, also: ['reading', 'do'] }],
		options: [{ key: 'routine_min', label: 'You shake for', kind: 'minutes', hint: '', usual: '5' }, { key: 'unshaken_do_ppb', label: 'Unshaken DO', kind: 'oxygen', hint: 'Of a neighbour, where it is known; fitted when empty' }]
	},
	{
		kind: 'delay', calc: 'study-delay', title: 'Delay', asks: 'How fast does the beer take up its oxygen, and how soon must it be read?', packages: '10 neighbours of one head', minutes: '120', of: 'way', least: 4, example: 'delay',
		why: 'Oxygen that has reacted is gone from the reading and not from the beer. A late low value proves nothing.',
		steps: ['Pull ten packages one after another from one head and note the minute of closing.', 'Keep them at one temperature. Read two each after 5, 15, 30, 60 and 120 minutes, in shuffled order.', 'Type the minutes from closing to reading, and TPO.'],
		caution: 'Shaken packages are under pressure: shield while piercing.',
		columns: [{ key: 'delay_min', label: 'Closing to reading', kind: 'minutes', needed: true, also: ['delay', 'minutes'] }, { key: 'tpo_ppb', label: 'TPO', kind: 'oxygen', also: ['tpo calculated'] }, { key: 'shaken_do_ppb', label: 'Or: shaken DO', kind: 'oxygen', also: ['shaken do'], extra: true }, { key: 'temperature_c', label: 'Stood at', kind: 'temperature', also: ['temperature'] }],
		either: [['tpo_ppb'], ['shaken_do_ppb']],
		options: [{ key: 'loss_percent', label: 'Loss still accepted', kind: 'plain', unit: '%', hint: '', usual: '5' }]
	},
	{
		kind: 'line', calc: 'study-line', title: 'Sample line', asks: 'How much oxygen comes in through the sample line?', packages: 'no package, 8 readings of one beer', minutes: '25', of: 'way', least: 4, example: 'line',
		why: 'Tubing and fittings let in the same oxygen each minute, whatever flows. At half the flow it adds twice as much to the reading.',
		steps: ['Read one beer, from a tank or a keg, whose oxygen does not change meanwhile.', 'Set three or more flows, from the slowest to the fastest the meter takes, in shuffled order. Wait until the reading stands still.', 'Type flow and reading. Come back to the first flow at the end.'],
		caution: 'Push gas displaces air in a small room: ventilate, and mind the CO₂ alarm.',
		columns: [{ key: 'flow_ml_min', label: 'Flow', kind: 'plain', unit: 'mL/min', needed: true, also: ['flow ml/min'] }, { key: 'do_ppb', label: 'DO read', kind: 'oxygen', needed: true, also: ['do', 'reading'] }],
		options: [{ key: 'routine_flow_ml_min', label: 'The flow you read at', kind: 'plain', unit: 'mL/min', hint: '', usual: '150' }]
	},
	{
		kind: 'repeatability', calc: 'study-repeatability', title: 'Operators', asks: 'How far do two readings of one package lie apart, by one person and by two?', packages: '90 packages: 10 sets, 3 people, 3 each', minutes: '240', of: 'way', least: 8, example: 'operators',
		why: 'A difference smaller than this means nothing. A large part between people says: look at how each shakes, flushes and waits.',
		steps: ['Pull sets of neighbours of one head: a set stands for one package, because a reading uses a package up. Choose sets of low and high oxygen.', 'Every person reads every set equally often, twice or more, in shuffled order and without seeing the other readings.', 'Type set, person and reading, in one unit throughout.'],
		caution: 'Shaken packages are under pressure: shield while piercing.',
		columns: [text('package', 'Package or set', ['set', 'part', 'sample']), text('operator', 'Operator', ['person', 'by']), { key: 'reading', label: 'Reading', kind: 'plain', unit: 'ppb', needed: true, also: ['tpo', 'shaken do', 'value'] }].map((c) => ({ ...c, needed: true })) as Column[],
		options: [{ key: 'pool_above_p', label: 'Interaction pooled when its p is above', kind: 'plain', unit: '', hint: '0.05 is used too', usual: '0.25' }]
	}
];
export const AGREEMENT: StudyDef = {
	kind: 'agreement', calc: 'agree', title: 'Agreement with a direct reading', asks: 'May the calculated TPO stand in for the direct one?', packages: '20 to 40 pairs; 10 at least', minutes: '15 min a pair', of: 'way', least: 4, example: 'pairs',
	why: 'A pair is one package read both ways, or two neighbours of one head. Over the whole range you meet, or the answer holds for a part of it only.',
	steps: ['Choose packages over the range of oxygen and headspace you meet, some low, some high.', 'Read both ways: the calculated figure with its weights and shaken DO, the direct one by the other instrument, within minutes.', 'Type, paste or drop the pairs. Raw columns do as well: shaken DO, temperature, weights, gravity, and TPO is calculated first.'],
	caution: 'Shaken packages are under pressure: shield while piercing.',
	columns: [
		text('id', 'Pair', ['pair', 'name', 'sample', 'package']), { key: 'calculated_ppb', label: 'TPO, calculated', kind: 'oxygen', also: ['calculated', 'calculated tpo', 'calc', 'calc tpo', 'tpo calc', 'tpo'] }, { key: 'direct_ppb', label: 'TPO, direct', kind: 'oxygen', needed: true, also: ['direct', 'direct tpo'] },
		{ key: 'calculated_u_ppb', label: 'u of calculated', kind: 'oxygen', also: ['u calculated', 'tpo_u_ppb'], extra: true }, { key: 'direct_u_ppb', label: 'u of direct', kind: 'oxygen', also: ['u direct'], extra: true }, { key: 'beer_ml', label: 'Beer', kind: 'volume', extra: true }, { key: 'headspace_ml', label: 'Headspace', kind: 'volume', extra: true }
	],
	either: [['calculated_ppb'], ['shaken_do_ppb', 'temperature_c', 'sg']],
	options: [
		{ key: 'margin_ppb', label: 'Margin', kind: 'oxygen', hint: 'For the mean, and at least for a pair. Common practice', usual: '5' }, { key: 'min_pairs', label: 'Pairs before it may stand in', kind: 'plain', unit: '', hint: 'Common practice', usual: '10' },
		{ key: 'error_ratio', label: 'Ratio of error variances', kind: 'plain', unit: '', hint: 'Deming line: calculated over direct', usual: '1' }
	]
};
/** Raw columns of a package, from which a pair's calculated TPO is made. */
const RAW: Column[] = [
	{ key: 'temperature_c', label: 'Temperature', kind: 'temperature' }, { key: 'gross_g', label: 'Gross weight', kind: 'mass', also: ['gross'] }, { key: 'tare_g', label: 'Tare', kind: 'mass' }, { key: 'capacity_ml', label: 'Capacity', kind: 'volume' },
	{ key: 'sg', label: 'Gravity', kind: 'plain', unit: 'SG', also: ['specific gravity'] }, { key: 'shaken_do_ppb', label: 'Shaken DO', kind: 'oxygen', also: ['shaken do'] },
	{ key: 'tare_sd_g', label: 'Tare, spread', kind: 'mass' }, { key: 'capacity_sd_ml', label: 'Capacity, spread', kind: 'volume' },
	{ key: 'gap_mm', label: 'Rim to beer', kind: 'length' }, { key: 'neck_gap_mm', label: 'A known distance', kind: 'length' }, { key: 'neck_headspace_ml', label: 'Headspace at it', kind: 'volume' }, { key: 'neck_ml_per_mm', label: 'Neck', kind: 'plain', unit: 'mL/mm' }
];
AGREEMENT.columns.push(...RAW.map((c) => ({ ...c, extra: true })));
/** Fields of the calculation `tpo` among the columns of a pair. */
export const RAW_KEYS = RAW.map((c) => c.key);
export const studyOf = (kind: string): StudyDef | undefined => (kind === 'agreement' ? AGREEMENT : STUDIES.find((s) => s.kind === kind));

/** The unit a column is typed in by this person. */
export const shown = (c: { kind: Column['kind']; unit?: string }, u: Units): string => (c.kind === 'text' || c.kind === 'plain' ? (c.unit ?? '') : unitOf(c.kind, u));
