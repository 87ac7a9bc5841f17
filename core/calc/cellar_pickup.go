package calc

import (
	"errors"
	"strings"

	"ullage/core/causes"
	"ullage/core/quantity"
	"ullage/core/way"
)

// PickupInput is a list of readings along one way.
type PickupInput struct {
	Rows    Rows[PickupRow]    `json:"rows" need:"yes" help:"readings in the order of the way: point, do_ppb, and where known step, taken_at, volume_hl, flow_hl_h, temperature_c, meter, u_ppb"`
	Budgets only[[]way.Budget] `json:"budgets" help:"pickup that a step may have: list of step, ppb; starting points when not said"`
	Limits  only[[]way.Limit]  `json:"limits" help:"list of point, green_ppb, red_ppb; starting points when not said"`
	Explain bool               `json:"explain" help:"give the derivation"`
}

// PickupRow is one reading of the way.
type PickupRow struct {
	ID          label                 `json:"id" help:"its name; its place in the list when not said"`
	Step        label                 `json:"step" help:"your word for the step; a change of it begins a new move"`
	Point       string                `json:"point" need:"yes" help:"point of the way, such as fermentation_end, tank_before, centrifuge_in, tank_after, filler_inlet"`
	Taken       moment                `json:"taken_at" help:"when, like 2026-03-02T07:25:00+01:00"`
	DO          quantity.DO           `json:"do_ppb" need:"yes" help:"DO read; unshaken DO and TPO at those points"`
	U           *quantity.DO          `json:"u_ppb" help:"standard uncertainty of the meter; sampling is added"`
	Volume      *quantity.Volume      `json:"volume_ml" help:"volume there; rising within a step: moved by then"`
	Flow        *quantity.Flow        `json:"flow_hl_h" help:"flow then"`
	Temperature *quantity.Temperature `json:"temperature_c" help:"temperature then"`
	Meter       label                 `json:"meter" help:"meter that read it"`
}

// Pickup draws the map of a list of readings.
func Pickup(in *PickupInput) (Answer, error) {
	if len(in.Rows) == 0 {
		return Answer{}, tooFewRows(0, 1)
	}
	rows := make([]way.ChainRow, len(in.Rows))
	for i, r := range in.Rows {
		id := string(r.ID)
		if id == "" {
			id = format(float64(i+1), 0)
		}
		rows[i] = way.ChainRow{Step: string(r.Step), Reading: way.Reading{ID: id, Point: strings.ToLower(r.Point), At: r.Taken.Time, DO: float64(r.DO), U: valueOr(r.U, 0),
			FlowHLH: valueOr(r.Flow, 0), VolumeHL: hl(r.Volume), TemperatureC: bare(r.Temperature), Meter: string(r.Meter)}}
	}
	c := way.Chain(rows)
	c.Budgets, c.Limits = in.Budgets.is, in.Limits.is
	a, err := mapped(c, in.Explain)
	var e *quantity.Error
	if errors.As(err, &e) && strings.HasPrefix(e.Field, "readings[") {
		named := *e
		named.Field = "rows[" + strings.TrimPrefix(e.Field, "readings[")
		return a, &named
	}
	return a, err
}

// TransferTestInput is a test made to find a cause.
type TransferTestInput struct {
	Rows  Rows[TransferTestRow] `json:"rows" need:"yes" help:"moments: in_ppb and out_ppb at flow_hl_h, or out_ppb over after_min or at"`
	Where string                `json:"where" help:"what was tested, in words"`
	Held  bool                  `json:"held" help:"true for a vessel read over time, not a flow"`
	Yeast bool                  `json:"yeast" help:"true where that vessel holds yeast"`
}

// TransferTestRow is one moment.
type TransferTestRow struct {
	ID       label             `json:"id" help:"its name"`
	At       moment            `json:"at" help:"when, like 2026-03-02T07:25:00+01:00"`
	Minutes  *quantity.Minutes `json:"after_min" help:"or minutes after the start"`
	Flow     *quantity.Flow    `json:"flow_hl_h" help:"flow then"`
	In       *quantity.DO      `json:"in_ppb" help:"DO before"`
	Out      *quantity.DO      `json:"out_ppb" help:"DO after, or in the vessel"`
	InU      *quantity.DO      `json:"in_u_ppb" help:"standard uncertainty of the one"`
	OutU     *quantity.DO      `json:"out_u_ppb" help:"and of the other"`
	MeterIn  label             `json:"meter_in" help:"meter before"`
	MeterOut label             `json:"meter_out" help:"meter after"`
}

// TransferTest finds the cause that a test shows, or says that nothing is resolved.
func TransferTest(in *TransferTestInput) (Answer, error) {
	if len(in.Rows) == 0 {
		return Answer{}, tooFewRows(0, 2)
	}
	t := causes.Test{Where: in.Where, Held: in.Held, Yeast: in.Yeast}
	for i, r := range in.Rows {
		for _, c := range []struct {
			name string
			v    *quantity.DO
		}{{"in_ppb", r.In}, {"out_ppb", r.Out}, {"in_u_ppb", r.InU}, {"out_u_ppb", r.OutU}} {
			if c.v == nil {
				continue
			}
			if err := between(c.name, float64(*c.v), -20, 1e5, "check the unit"); err != nil {
				return Answer{}, inRow(i, err)
			}
		}
		if err := first(between("flow_hl_h", valueOr(r.Flow, 0), 0, 1e5, "check the unit"), between("after_min", valueOr(r.Minutes, 0), -1e6, 1e6, "check the unit"),
			between("in_u_ppb", valueOr(r.InU, 0), 0, 1e5, "leave it out to have it assumed"), between("out_u_ppb", valueOr(r.OutU, 0), 0, 1e5, "leave it out to have it assumed")); err != nil {
			return Answer{}, inRow(i, err)
		}
		t.Rows = append(t.Rows, causes.TestRow{At: r.At.Time, Minutes: bare(r.Minutes), FlowHLH: valueOr(r.Flow, 0), In: bare(r.In), Out: bare(r.Out),
			InU: valueOr(r.InU, 0), OutU: valueOr(r.OutU, 0), MeterIn: string(r.MeterIn), MeterOut: string(r.MeterOut)})
	}
	return Answer{Result: causes.Diagnose(t)}, nil
}
