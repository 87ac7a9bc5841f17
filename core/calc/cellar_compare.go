package calc

import (
	"ullage/core/compare"
	"ullage/core/way"
)

// TransfersInput is batches with what was read of them, and the step to compare.
type TransfersInput struct {
	Step     string                `json:"step" need:"yes" help:"transfer, centrifuge, filter, carbonation, dry_hop, hold or line"`
	From     moment                `json:"from" help:"steps from then on; all when not said"`
	Until    moment                `json:"until" help:"and before then"`
	Batches  only[[]compare.Batch] `json:"batches" need:"yes" help:"list of id, code, volume_hl, tank, vessel, yeast, gas_hl, headspace_bar, beer, beer_name, made_at, archived"`
	Moves    only[[]compare.Move]  `json:"moves" help:"list of id, kind, from, to, started_at, ended_at, volume_hl, flow_hl_h, via, addition, by, purge"`
	Readings only[[]way.Reading]   `json:"readings" help:"list of id, batch, move, brew, point, at, do_ppb, u_ppb, meter, flow_hl_h, volume_hl, confirmed, first_runnings"`
	Limits   only[[]way.OwnLimit]  `json:"limits" help:"your own limits and budgets: list of point or step, beer, green_ppb, red_ppb; starting points when not said"`
}

// Transfers compares the steps of one kind.
func Transfers(in *TransfersInput) (Answer, error) {
	l, err := compare.Transfers(compare.Query{Step: in.Step, From: in.From.Time, Until: in.Until.Time, Batches: in.Batches.is, Moves: in.Moves.is, Readings: in.Readings.is, Limits: in.Limits.is})
	return Answer{Result: l}, err
}

// WhatChangedInput is what is known of a batch and of those before it.
type WhatChangedInput struct {
	Focus    string                      `json:"focus" need:"yes" help:"id of the batch"`
	Batches  only[[]compare.PastBatch]   `json:"batches" need:"yes" help:"list of id, code, beer, vessel, tank, volume_hl, made_at"`
	Moves    only[[]compare.PastMove]    `json:"moves" help:"into them: list of to, from_tank, by, via, purge, flow_hl_h, hose_m, hose_mm, started_at, ended_at, added, added_kg"`
	Readings only[[]compare.PastReading] `json:"readings" help:"list of batch, point, by, meter, tubing, do_ppb, temperature_c, pressure_bar"`
	Brews    only[[]compare.PastBrew]    `json:"brews" help:"list of batch, by, yeast, gas, gas_nl_min, float_reading, pitch_million_ml"`
	Runs     only[[]compare.PastRun]     `json:"runs" help:"list of batch, events_known, gas_changes (notes), limits (quantity, mean_ppb, single_ppb, red_ppb)"`
}

// WhatChanged holds a batch against the last ones of its beer in such a vessel.
func WhatChanged(in *WhatChangedInput) (Answer, error) {
	c, err := compare.Changed(compare.History{Focus: in.Focus, Batches: in.Batches.is, Moves: in.Moves.is, Readings: in.Readings.is, Brews: in.Brews.is, Runs: in.Runs.is})
	return Answer{Result: c}, err
}
