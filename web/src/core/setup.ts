// The set-up pages as data: which fields a record has, in which words, and why.
import type { Collection } from '#api/records.ts';
import { ENTERED, POINT, STATUS, STEP, TANK } from './cellar.ts';

export interface Field {
	key: string; label: string; type: 'text' | 'number' | 'select' | 'ref' | 'date' | 'datetime' | 'check' | 'area';
	unit?: string; hint?: string; options?: [string, string][]; ref?: Collection; required?: boolean; step?: string; group?: string; temperature?: boolean;
}
export interface Page { one: string; many: string; why: string; fields: Field[]; columns: string[]; title: string }
export type SetupCollection = Exclude<Collection, 'runs' | 'events' | 'samples' | 'studies' | 'decisions' | 'brews' | 'moves' | 'readings'>;

const name: Field = { key: 'name', label: 'Name', type: 'text', required: true };
const note: Field = { key: 'note', label: 'Note', type: 'area' };
const num = (key: string, label: string, unit: string, hint = '', step = 'any'): Field => ({ key, label, type: 'number', unit, hint, step });

export const SETUP: Record<SetupCollection, Page> = {
	brewery: {
		one: 'Brewery', many: 'Brewery', why: 'The place itself.', title: 'name', columns: ['altitude_m', 'time_zone'],
		fields: [name, num('altitude_m', 'Altitude', 'm', 'Sets the usual air pressure. Station pressure, not the sea-level value of a weather report.'), { key: 'time_zone', label: 'Time zone', type: 'text', hint: 'IANA name, such as Europe/Berlin' }]
	},
	people: {
		one: 'Person', many: 'People', why: 'Who takes samples and who reads them. Every record says who made it.', title: 'name', columns: ['initials', 'role'],
		fields: [name, { key: 'initials', label: 'Initials', type: 'text', hint: 'Shown beside samples' }, { key: 'role', label: 'Role', type: 'text', hint: 'Quality tech, packaging lead, brewer' },
			{ key: 'units.temperature', label: 'Temperature', type: 'select', options: [['c', '°C'], ['f', '°F']], group: 'Reads and types in' }, { key: 'units.oxygen', label: 'Oxygen', type: 'select', options: [['ppb', 'ppb (µg/L)'], ['ppm', 'ppm (mg/L)']], group: 'Reads and types in' },
			{ key: 'units.volume', label: 'Volume', type: 'select', options: [['ml', 'mL'], ['floz', 'fl oz (US)']], group: 'Reads and types in' }, { key: 'units.gravity', label: 'Gravity', type: 'select', options: [['sg', 'SG 20/20 °C'], ['plato', '°P']], group: 'Reads and types in' }]
	},
	beers: {
		one: 'Beer', many: 'Beers', why: 'Specific gravity turns grams into millilitres; yeast in the package means reading at once.', title: 'name', columns: ['style', 'sg', 'co2_vol'],
		fields: [name, { key: 'style', label: 'Style', type: 'text' }, num('sg', 'Specific gravity, 20/20 °C', '', 'Of the degassed beer, such as 1.0105; or its extract, such as 2.6 °P'), num('abv_pct', 'Alcohol', '% by volume'), num('co2_vol', 'Carbonation', 'volumes of CO₂'),
			{ key: 'yeast_in_package', label: 'Yeast in the package', type: 'check', hint: 'It takes up oxygen within minutes: read within 15 min (common practice).' }, note]
	},
	formats: {
		one: 'Package format', many: 'Package formats', why: 'The kind of package and what it nominally holds.', title: 'name', columns: ['kind', 'nominal_ml', 'closure'],
		fields: [name, { key: 'kind', label: 'Kind', type: 'select', options: [['can', 'Can'], ['bottle', 'Bottle'], ['keg', 'Keg']], required: true }, { ...num('nominal_ml', 'Nominal volume', 'mL'), required: true }, { key: 'closure', label: 'Closure', type: 'text', hint: 'Crown, end, spear' }, note]
	},
	format_lots: {
		one: 'Lot of packages', many: 'Lots: tare and capacity', why: 'Tare and capacity of a delivery, in force from its date. A new can or glass lot needs its own.', title: 'name', columns: ['format_id', 'from', 'tare_g', 'capacity_ml'],
		fields: [{ key: 'format_id', label: 'Format', type: 'ref', ref: 'formats', required: true }, { ...name, hint: 'Delivery, mould or lot number' }, { key: 'from', label: 'In force from', type: 'date', required: true },
			num('tare_g', 'Tare, mean', 'g', 'Empty package with its closure; ten of them (common practice)'), num('tare_sd_g', 'Tare, spread (SD)', 'g'), num('tare_n', 'Weighed', 'packages', '', '1'),
			num('capacity_ml', 'Capacity, mean', 'mL', 'Brimful with the closure on, from the water it holds; five of them (common practice). Glass breaks: gloves and eyes.'), num('capacity_sd_ml', 'Capacity, spread (SD)', 'mL'), num('capacity_n', 'Measured', 'packages', '', '1'),
			{ key: 'capacity_source', label: 'Capacity from', type: 'select', options: [['lot', 'Weighed packages of this lot'], ['drawing', 'The drawing']] },
			{ ...num('neck_gap_mm', 'Rim down to beer', 'mm', 'A known pair for bottles: this distance and the headspace at it'), group: 'Fill height in the neck (bottles)' }, { ...num('neck_headspace_ml', 'Headspace at it', 'mL'), group: 'Fill height in the neck (bottles)' }, { ...num('neck_ml_per_mm', 'Neck', 'mL per mm'), group: 'Fill height in the neck (bottles)' }, note]
	},
	limits: {
		one: 'Limit', many: 'Limits', why: 'What is good, and what stops the line. Yours, not a law.', title: 'beer_id', columns: ['format_id', 'quantity', 'single_green_ppb', 'single_red_ppb'],
		fields: [{ key: 'beer_id', label: 'Beer', type: 'ref', ref: 'beers', required: true }, { key: 'format_id', label: 'Format', type: 'ref', ref: 'formats', hint: 'Empty: every format without a limit of its own' },
			{ key: 'quantity', label: 'Of', type: 'select', options: [['tpo', 'TPO of a package'], ['do_inlet', 'DO at the filler inlet'], ['do_tank', 'DO in the tank']], required: true },
			num('single_green_ppb', 'One reading: aim', 'ppb'), num('single_red_ppb', 'One reading: limit', 'ppb', 'Above it, confirmed, the line stops'), num('mean_green_ppb', 'Mean of a set: aim', 'ppb'), note]
	},
	lines: {
		one: 'Filling line', many: 'Filling lines', why: 'Heads and closing stations, so that a bad one can be found.', title: 'name', columns: ['heads', 'stations', 'sample_every_min'],
		fields: [name, { ...num('heads', 'Filling heads, valves or lanes', '', '', '1'), required: true }, num('stations', 'Closing stations', '', '', '1'), num('packages_per_min', 'Speed', 'packages/min'), num('sample_every_min', 'A set every', 'min'), note]
	},
	instruments: {
		one: 'Instrument', many: 'Instruments', why: 'Kept with every run: each reading takes its uncertainty from here. Checks, drift and due dates stand on the instrument\'s own page.', title: 'name', columns: ['kind', 'check_every_days', 'last_checked_at'],
		fields: [name, { key: 'kind', label: 'Kind', type: 'select', options: [['do_meter', 'DO meter'], ['scale', 'Scale'], ['thermometer', 'Thermometer'], ['barometer', 'Barometer'], ['tpo_meter', 'Reads TPO directly']], required: true }, num('check_every_days', 'Checked every', 'days', 'Any check; single checks are planned on its page'), { key: 'last_checked_at', label: 'Last checked', type: 'datetime', hint: 'Before checks were kept here' },
			...[num('resolution', 'Smallest step shown', 'ppb, g, °C or kPa'), num('u_abs', 'Standard uncertainty, constant', 'ppb, g, °C or kPa', 'A printed "± 2" without more is 2 / √3 = 1.2'), num('u_rel', 'Standard uncertainty, proportional', 'fraction', '0.02 is 2 %'), num('u_drift', 'Standard uncertainty grown in 30 days', 'ppb, g, °C or kPa', 'Since the last passed check'), num('range_low', 'Reads from', 'ppb, g, °C or kPa'), num('range_high', 'Reads to', 'ppb, g, °C or kPa')].map((f) => ({ ...f, group: 'How good it is' })),
			...[{ key: 'sensor_replaced_at', label: 'Sensor, cap or membrane renewed', type: 'datetime' as const }, num('sensor_life_days', 'It usually lasts', 'days'), { key: 'purchase', label: 'Bought, and what the next one should be', type: 'area' as const }].map((f) => ({ ...f, group: 'Age' })), note]
	},
	meter_checks: {
		one: 'Check of an instrument', many: 'Checks of instruments', why: 'A lot is released on a meter that passed a check before and after the run. A failed one reopens what was read since the last pass.', title: 'instrument_id', columns: ['at', 'against', 'outcome', 'read', 'expected'],
		fields: [{ key: 'instrument_id', label: 'Instrument', type: 'ref', ref: 'instruments', required: true }, { key: 'at', label: 'When', type: 'datetime', required: true }, { key: 'outcome', label: 'Outcome', type: 'select', options: [['passed', 'Passed'], ['failed', 'Failed']], required: true },
			{ key: 'against', label: 'Against', type: 'select', options: [['zero', 'Zero gas'], ['air', 'Air, or air-saturated water'], ['response', 'Response time'], ['meter', 'Another meter'], ['mass', 'Reference mass'], ['ice', 'Ice point'], ['reference', 'Reference instrument'], ['other', 'Something else']] },
			num('read', 'Read', 'ppb, g, °C, kPa or s'), num('expected', 'Expected', 'ppb, g, °C or kPa'), num('limit', 'Limit', 'ppb, g, °C, kPa or s'), num('temperature_c', 'Water temperature', '°C'), num('pressure_kpa', 'Station pressure', 'kPa', 'As it is here, not reduced to sea level'),
			num('offset_ppb', 'DO meter: read too high by', 'ppb', 'Near zero. Purge gas displaces air: open doors and a CO₂ alarm.'), num('offset_u_ppb', 'Standard uncertainty of that', 'ppb'), num('slope_pct', 'DO meter: slope off by', '%'), { key: 'adjusted', label: 'Adjusted or serviced after it', type: 'check' }, { key: 'sensor_replaced', label: 'Sensor, cap or membrane renewed after it', type: 'check' }, note]
	},
	rules: {
		one: 'Rules', many: 'Rules of judgement', why: 'How the limits are applied. An empty field is at its starting point, which is common practice and not your specification.', title: 'beer_id', columns: ['format_id', 'mean_bound_ppb', 'min_readings', 'packages_per_pallet'],
		fields: [{ key: 'beer_id', label: 'Beer', type: 'ref', ref: 'beers', hint: 'Empty: every beer without rules of its own' }, { key: 'format_id', label: 'Format', type: 'ref', ref: 'formats', hint: 'Empty: every format' },
			num('mean_bound_ppb', 'Upper 95 % bound of the mean', 'ppb', 'Up to here; starting point 1.25 × the aim of the mean'), num('mean_red_ppb', 'Mean: stop above', 'ppb', 'Starting point 1.5 × the aim of the mean'),
			num('late_minutes', 'Read within', 'min', 'Of closing; starting point 120'), num('yeast_minutes', 'Read within, live yeast', 'min', 'Starting point 15'), num('retest_minutes', 'Re-test within', 'min', 'Starting point 30'), num('retest_count', 'Good re-tests that refute a high package', '', 'Starting point 2', '1'),
			num('min_readings', 'Packages needed for a lot', '', 'Starting point 5', '1'), num('risk', 'Risk of a single reading', 'share', 'Guard band (JCGM 106); starting point 0.05'), num('false_alarm', 'Causes named in normal runs', 'share', 'At most; starting point 0.05'), { key: 'tpo_by', label: 'Where a package was read both ways', type: 'select', options: [['direct', 'The direct TPO counts (starting point)'], ['calculated', 'The calculated TPO counts']], hint: 'From the next run on; a run keeps what was in force at its start' }, num('packages_per_pallet', 'Packages on a pallet', '', 'Counts the pallets of a held span', '1'), note]
	},
	tanks: {
		one: 'Tank', many: 'Tanks', why: 'The vessels of the cellar; top pressure and gas space count where their gas holds oxygen.', title: 'name', columns: ['kind', 'volume_hl'],
		fields: [name, { key: 'kind', label: 'Kind', type: 'select', options: Object.entries(TANK), required: true }, num('volume_hl', 'Volume', 'hL', 'Brimful: what is not beer is gas space'), num('headspace_bar', 'Top pressure', 'bar gauge', 'What it is kept at'), note]
	},
	batches: {
		one: 'Batch', many: 'Batches', why: 'One lot of liquid in one vessel. Beer moved to another vessel is a batch of its own, joined to this one by the move.', title: 'code', columns: ['beer_id', 'tank_id', 'volume_hl', 'status'],
		fields: [{ ...name, key: 'code', label: 'Code' }, { key: 'beer_id', label: 'Beer', type: 'ref', ref: 'beers', required: true }, { key: 'tank_id', label: 'Tank', type: 'ref', ref: 'tanks' }, num('volume_hl', 'Volume', 'hL'), { key: 'made_at', label: 'Since', type: 'datetime', hint: 'Knock-out, or when it began to fill' }, { key: 'status', label: 'Where it stands', type: 'select', options: Object.entries(STATUS) }, note]
	},
	cellar_limits: {
		one: 'Cellar limit', many: 'Cellar limits and budgets', why: 'Limits of DO at a point, and what a step may bring. Yours; what is not set here is a starting point from common practice.', title: 'what', columns: ['beer_id', 'green_ppb', 'red_ppb'],
		fields: [{ key: 'what', label: 'Of', type: 'select', options: [['point', 'A point: DO read there'], ['step', 'A step: what it brings']], required: true }, { key: 'point', label: 'Point', type: 'select', options: ENTERED.map((p) => [p, POINT[p]]), hint: 'For a point only' }, { key: 'step', label: 'Step', type: 'select', options: Object.entries(STEP), hint: 'For a step only' },
			{ key: 'beer_id', label: 'Beer', type: 'ref', ref: 'beers', hint: 'Empty: every beer without one of its own' }, num('green_ppb', 'Good up to; of a step its budget', 'ppb', 'Wort: 1 mg/L is 1000 ppb'), num('red_ppb', 'Act above', 'ppb'), note]
	}
};
export const ORDER = Object.keys(SETUP) as SetupCollection[];
export const isSetup = (c: string): c is SetupCollection => c in SETUP;

export const read = (o: Record<string, unknown>, key: string): unknown => key.split('.').reduce<unknown>((v, k) => (v as Record<string, unknown> | undefined)?.[k], o);
export function put(o: Record<string, unknown>, key: string, v: unknown): Record<string, unknown> {
	const [head, ...rest] = key.split('.');
	return { ...o, [head]: rest.length ? put((o[head] as Record<string, unknown>) ?? {}, rest.join('.'), v) : v };
}
