// The records of the lab as they travel: snake_case, quantities in the unit of
// the suffix. Shapes only; rules live on the server, drawing in parts/.

export interface Rec {
	id: string;
	rev: number;
	by?: string;
	device_id?: string;
	device_at?: string;
	server_at?: string;
	reason?: string;
	archived?: boolean;
	clock_skew_s?: number;
	[field: string]: unknown;
}

export interface Units {
	temperature: 'c' | 'f';
	volume: 'ml' | 'floz';
	gravity: 'sg' | 'plato';
	oxygen: 'ppb' | 'ppm';
}

/** The one brewery record of a database has this id. */
export const BREWERY_ID = '00000000-0000-7000-8000-000000000001';
export interface Brewery extends Rec { name: string; altitude_m?: number; time_zone?: string }
export interface Person extends Rec { name: string; initials?: string; role?: string; units?: Units }
export interface Beer extends Rec {
	name: string; style?: string; sg?: number; abv_pct?: number; co2_vol?: number;
	yeast_in_package?: boolean; note?: string;
}
export type PackageKind = 'can' | 'bottle' | 'keg';
export interface Format extends Rec { name: string; kind: PackageKind; nominal_ml: number; closure?: string; note?: string }
export interface FormatLot extends Rec {
	format_id: string; name: string; from?: string; capacity_ml: number; capacity_sd_ml?: number;
	capacity_n?: number; capacity_source?: 'lot' | 'drawing'; tare_g?: number; tare_sd_g?: number; tare_n?: number;
	neck_gap_mm?: number; neck_headspace_ml?: number; neck_ml_per_mm?: number;
}
export interface Limit extends Rec {
	beer_id: string; format_id?: string; quantity: 'tpo' | 'do_inlet' | 'do_tank';
	mean_green_ppb?: number; single_green_ppb?: number; single_red_ppb?: number; note?: string;
}
export interface Line extends Rec { name: string; heads?: number; stations?: number; packages_per_min?: number; sample_every_min?: number }
export interface Instrument extends Rec {
	name: string; kind: 'do_meter' | 'scale' | 'thermometer' | 'barometer' | 'tpo_meter'; range_low?: number; range_high?: number; resolution?: number; u_abs?: number; u_rel?: number; u_drift?: number;
	sensor_replaced_at?: string; sensor_life_days?: number; purchase?: string; check_every_days?: number; checks?: CheckPlan[]; last_checked_at?: string; note?: string;
}
/** How one check of an instrument is judged, and how often it is due. */
export interface CheckPlan { against: Against; limit?: number; every_days?: number }
export type Against = 'zero' | 'air' | 'response' | 'meter' | 'mass' | 'ice' | 'reference' | 'other';
export interface Tank extends Rec { name: string; kind: 'kettle_side' | 'fermenter' | 'bright_tank'; volume_hl?: number; headspace_bar?: number }
export type BatchStatus = 'fermenting' | 'maturing' | 'bright' | 'empty';
/** One lot of liquid in one vessel. */
export interface Batch extends Rec { code: string; beer_id?: string; tank_id?: string; volume_hl?: number; made_at?: string; status?: BatchStatus; note?: string }

/** What applied when the run began; later edits of the set-up do not reach back. */
export interface InForce {
	tare_g?: number; tare_sd_g?: number; capacity_ml?: number; capacity_sd_ml?: number; capacity_source?: string;
	package?: PackageKind; nominal_ml?: number; sg?: number; co2_vol?: number; abv_pct?: number; yeast_in_package?: boolean;
	neck_gap_mm?: number; neck_headspace_ml?: number; neck_ml_per_mm?: number;
	/** Which TPO counts where a package has both; empty: the direct one. */
	tpo_by?: 'direct' | 'calculated';
	limits?: LimitInForce[]; instruments?: { do_meter?: ErrorInForce; scale?: ErrorInForce; thermometer?: ErrorInForce; tpo_meter?: ErrorInForce }; stand_in?: StandIn;
}
export interface LimitInForce { quantity: Limit['quantity']; mean_green_ppb?: number; single_green_ppb?: number; single_red_ppb?: number }
export const limitOf = (f: InForce | undefined, q: Limit['quantity']): LimitInForce | undefined => f?.limits?.find((l) => l.quantity === q);
/** Standard uncertainty of an instrument as it stood: the root of u_abs² + (u_rel × reading)². */
export interface ErrorInForce { id: string; name: string; u_abs?: number; u_rel?: number }
/** The agreement study by which calculated figures stand in for direct ones. */
export interface StandIn {
	study_id: string; name: string; at: string; n: number; bias_ppb: number; bias_low95_ppb: number; bias_high95_ppb: number; loa_low_ppb: number; loa_high_ppb: number;
	margin_ppb: number; lowest_ppb: number; highest_ppb: number; in_force_from: string;
}
export interface PlannedPull { kind: SampleKind; head?: number }
export interface PlannedSet { occasion: 'start' | 'steady' | 'end'; minute: number; pulls: PlannedPull[] }
/** As the calculation sampling-plan made it; kept, so that a run that goes on keeps its plan. */
export interface SamplingPlan { heads: number; minutes: number; every_min: number; fault: number; scatter: number; cans?: number; miss_risk?: number; false_alarm?: number; sets: PlannedSet[]; extra?: PlannedPull[] }
export interface Run extends Rec {
	number?: number; beer_id: string; format_id: string; format_lot_id?: string; line_id: string; batch_id?: string;
	code?: string; started_at: string; ended_at?: string; status: 'going' | 'ended'; do_meter_id?: string;
	scale_id?: string; thermometer_id?: string; tpo_meter_id?: string; in_force: InForce; sample_every_min?: number; plan?: SamplingPlan; note?: string;
	/** Packages filled, and beer drawn from the tank as measured; without them the map takes running time and the line's speed, and says so. */
	packages?: number; drawn_hl?: number;
	measured_by?: 'calculated' | 'direct'; stand_in?: boolean; stand_in_study_id?: string;
	/** check_id and reopened_at are the server's: a failed check opened the lot again, and decisions before count no more. */
	hold?: { state?: 'none' | 'held' | 'released'; reason?: string; check_id?: string; reopened_at?: string };
}
export type EventKind = 'start' | 'stop' | 'restart' | 'tank_change' | 'gas_change' | 'adjustment' | 'end' | 'note';
export interface RunEvent extends Rec { run_id: string; kind: EventKind; at: string; note?: string }

/** direct: a package whose TPO was read directly, and nothing else. */
export type SampleKind = 'shaken' | 'unshaken' | 'inlet' | 'direct';
export type Flag = 'foam' | 'dent' | 'low_fill' | 'bulged' | 'other';
export interface SampleInputs {
	temperature_c?: number; temperature_at?: string; gross_g?: number; tare_g?: number; gap_mm?: number;
	do_ppb?: number; shake_min?: number;
	/** TPO read directly; never a DO. */
	direct_ppb?: number;
}
export interface Warning { field: string; value?: unknown; message: string; mend?: string }
export interface SampleResult {
	/** Calculated, or read directly; empty: calculated. */
	tpo_by?: 'calculated' | 'direct';
	method: string; beer_ml?: number; headspace_ml?: number; tpo_ppb?: number; tpo_u_ppb?: number;
	tpo_low95_ppb?: number; tpo_high95_ppb?: number; path?: string; warnings?: Warning[];
	computed_at?: string; computed_by: 'device' | 'server';
}
export interface Sample extends Rec {
	run_id: string; set_no?: number; head?: number; station?: number; kind: SampleKind; closed_at?: string; taken_at: string;
	raw: Record<string, string>; inputs: SampleInputs; tare_source?: 'own' | 'lot'; flags?: Flag[]; note?: string;
	/** The TPO that counts; other_result is the one by the other method, where the package was read both ways. */
	result?: SampleResult | null; other_result?: SampleResult | null; results_before?: SampleResult[];
}

/** A verification of a DO meter. */
/** One check of any instrument; an empty outcome is found by the server from the reading. */
export interface MeterCheck extends Rec {
	instrument_id: string; at: string; outcome?: 'passed' | 'failed'; against?: Against; read?: number; expected?: number; more?: { expected: number; read: number }[]; limit?: number; unit?: 'ppb' | 'g' | 'c' | 'kpa' | 's'; u?: number;
	temperature_c?: number; pressure_kpa?: number; altitude_m?: number; zero_gas_ppm?: number; other_id?: string; offset_ppb?: number; offset_u_ppb?: number; slope_pct?: number; slope_u_pct?: number;
	adjusted?: boolean; sensor_replaced?: boolean; note?: string;
}
export type StudyKind = 'agreement' | 'tare' | 'capacity' | 'neck' | 'shake' | 'delay' | 'line' | 'repeatability';
/** Readings taken to learn about a method or a package, with what they show. In force from in_force_from on. */
export interface Study extends Rec {
	kind: StudyKind; name: string; at: string; format_ids?: string[]; format_lot_id?: string; beer_id?: string; line_id?: string;
	do_meter_id?: string; tpo_meter_id?: string; scale_id?: string; thermometer_id?: string;
	rows: Record<string, unknown>[]; settings?: Record<string, unknown>; source?: string; in_force_from?: string; note?: string;
	result?: Record<string, unknown>; warnings?: Warning[]; method?: string; computed_at?: string;
}
/** How limits are applied; an empty field is at its starting point. */
export interface RuleSet extends Rec {
	beer_id?: string; format_id?: string; mean_bound_ppb?: number; mean_red_ppb?: number; late_minutes?: number; yeast_minutes?: number; retest_minutes?: number;
	retest_count?: number; min_readings?: number; risk?: number; false_alarm?: number; tpo_by?: 'direct' | 'calculated'; packages_per_pallet?: number; note?: string;
}
export interface LotSpan { from: string; to: string; head?: string; packages?: number }
/** What a person decided; never revised. */
export interface LotDecision extends Rec {
	run_id: string; proposed: 'release' | 'conditional' | 'hold'; rule?: string; decision: 'release' | 'conditional' | 'hold'; condition?: string; held?: LotSpan[]; why: string; input_hash?: string; readings?: number;
}

/** One knock-out into a fermenter, with the oxygen it was given. */
export interface Brew extends Rec {
	code?: string; batch_id: string; at: string; volume_hl?: number; sg?: number; temperature_c?: number; minutes?: number; gas?: 'air' | 'oxygen'; target_mg_l?: number;
	carry_over_mg_l?: number; do_mg_l?: number; gas_flow_nl_min?: number; float_reading?: number; float_for?: 'air' | 'oxygen' | 'co2'; float_bar?: number; float_temperature_c?: number;
	line_bar?: number; yeast?: string; yeast_source?: 'repitch' | 'propagated' | 'dry'; generation?: number; pitch_million_ml?: number; second_dose?: boolean; stone_cleaned?: boolean; hours_to_drop?: number; note?: string;
}
export type MoveKind = 'transfer' | 'blend' | 'addition' | 'recirculation' | 'dump';
export type Via = 'centrifuge' | 'filter' | 'carbonation' | 'hose' | 'pump' | 'heat_exchanger';
export interface Addition { what?: 'deaerated_water' | 'dry_hop' | 'finings' | 'fruit' | 'yeast' | 'priming' | 'other'; amount_kg?: number; do_ppb?: number; air_ml?: number }
/** Liquid from one vessel to another, or something put in. */
export interface Move extends Rec {
	kind: MoveKind; from_batch_id?: string; to_batch_id?: string; started_at: string; ended_at?: string; volume_hl?: number; flow_hl_h?: number;
	via?: Via[]; hose_m?: number; hose_mm?: number; purge?: string; addition?: Addition; note?: string;
}
export type Point = 'wort_cooled' | 'wort_oxygenated' | 'pitched_12h' | 'fermentation_end' | 'dry_hop_before' | 'dry_hop_1h' | 'dry_hop_24h' | 'centrifuge_in' | 'centrifuge_out' | 'filter_in' | 'filter_out'
	| 'carbonation_before' | 'carbonation_after' | 'tank_before' | 'tank_after' | 'tank_rested' | 'tank_hold' | 'tank_gas' | 'line_start' | 'filler_inlet' | 'unshaken' | 'tpo';
/** One DO reading at a process point, always in ppb; raw is as typed. */
export interface Reading extends Rec {
	batch_id: string; move_id?: string; brew_id?: string; point: Point; at: string; raw?: string; do_ppb?: number; meter_id?: string; temperature_c?: number; pressure_bar?: number;
	flow_hl_h?: number; tubing?: string; stabilised_min?: number; volume_moved_hl?: number; gas_o2_pct?: number; confirmed?: string; flags?: string[]; note?: string;
}
export type StepKind = 'transfer' | 'centrifuge' | 'filter' | 'carbonation' | 'dry_hop' | 'hold' | 'line' | 'filling' | 'headspace' | 'fermentation_end';
/** Limit of a process point, or the budget of a step. */
export interface CellarLimit extends Rec { what: 'point' | 'step'; point?: Point; step?: StepKind; beer_id?: string; green_ppb?: number; red_ppb?: number; note?: string }

export interface Records {
	brewery: Brewery; people: Person; beers: Beer; formats: Format; format_lots: FormatLot; limits: Limit; lines: Line;
	instruments: Instrument; tanks: Tank; batches: Batch; runs: Run; events: RunEvent; samples: Sample;
	meter_checks: MeterCheck; studies: Study; rules: RuleSet; decisions: LotDecision; brews: Brew; moves: Move; readings: Reading; cellar_limits: CellarLimit;
}
export type Collection = keyof Records;
export const COLLECTIONS: Collection[] = [
	'brewery', 'people', 'beers', 'formats', 'format_lots', 'limits', 'lines', 'instruments', 'tanks', 'batches', 'runs', 'events', 'samples', 'meter_checks', 'studies', 'rules', 'decisions', 'brews', 'moves', 'readings', 'cellar_limits'
];

/** One write: the record as it should stand after revision base_rev. */
export interface Write { collection: Collection; id: string; base_rev: number; record: Rec }

/** RFC 9457, with the fields at fault and how to mend them. */
export interface Problem {
	type?: string; title: string; status: number; detail?: string;
	errors?: { location?: string; value?: unknown; message: string; mend?: string }[];
	current?: Rec;
}
