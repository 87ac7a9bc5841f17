package calc

import (
	"ullage/core/quantity"
	"ullage/core/way"
)

// BatchMapInput is what is known of a batch and of those it came from and went
// to. Ids are the caller's.
type BatchMapInput struct {
	Focus    string              `json:"focus" help:"id of the batch to follow; all when not said"`
	Batches  Rows[MapBatchRow]   `json:"batches" need:"yes" help:"list of id, code, volume_hl, tank, vessel, yeast"`
	Brews    Rows[MapBrewRow]    `json:"brews" help:"knock-outs: list of id, batch, at, volume_hl, do_ppb"`
	Moves    Rows[MapMoveRow]    `json:"moves" help:"list of id, kind, from, to, started_at, ended_at, volume_hl, flow_hl_h, via, addition"`
	Readings Rows[MapReadingRow] `json:"readings" help:"list of id, batch, move, brew, run, point, at, do_ppb, u_ppb, meter, temperature_c, pressure_bar, flow_hl_h, volume_hl, gas_o2_fraction, confirmed"`
	Runs     Rows[MapRunRow]     `json:"runs" help:"list of id, batch, started_at, volume_hl, volume_from, ended_at, inlet_ppb, unshaken_ppb, tpo_ppb and their _u_ppb, tank_ppb, tank_until"`
	Budgets  only[[]way.Budget]  `json:"budgets" help:"pickup that a step may have: list of step, ppb; starting points when not said"`
	Limits   only[[]way.Limit]   `json:"limits" help:"list of point, green_ppb, red_ppb; starting points when not said"`
	Explain  bool                `json:"explain" help:"give the derivation"`
}

// MapBatchRow is one lot of liquid in one vessel.
type MapBatchRow struct {
	ID        label                   `json:"id" need:"yes" help:"its id"`
	Code      label                   `json:"code" help:"what people call it"`
	Volume    *quantity.Volume        `json:"volume_ml" help:"its volume"`
	Tank      label                   `json:"tank" help:"name of its vessel"`
	Vessel    string                  `json:"vessel" help:"fermenter, bright_tank or kettle_side"`
	Yeast     string                  `json:"yeast" help:"yes or no; from the vessel and its readings when not said"`
	Gas       *quantity.Volume        `json:"gas_ml" help:"gas space above it"`
	Headspace *quantity.GaugePressure `json:"headspace_kpa" help:"gauge pressure of that gas"`
}

// MapBrewRow is one knock-out.
type MapBrewRow struct {
	ID     label            `json:"id" need:"yes" help:"its id"`
	Code   label            `json:"code" help:"what people call it"`
	Batch  label            `json:"batch" need:"yes" help:"batch that it filled"`
	At     moment           `json:"at" help:"when"`
	Volume *quantity.Volume `json:"volume_ml" help:"wort of it"`
	DO     *quantity.DO     `json:"do_ppb" help:"DO read in the wort"`
}

// MapMoveRow is a move from one batch to another.
type MapMoveRow struct {
	ID       label               `json:"id" need:"yes" help:"its id"`
	Kind     string              `json:"kind" help:"transfer, blend, addition, recirculation or dump"`
	From     label               `json:"from" help:"batch it left; none for an addition"`
	To       label               `json:"to" help:"batch it went to"`
	Started  moment              `json:"started_at" help:"when it began"`
	Ended    moment              `json:"ended_at" help:"when it ended"`
	Volume   *quantity.Volume    `json:"volume_ml" help:"volume moved"`
	Flow     *quantity.Flow      `json:"flow_hl_h" help:"its flow"`
	Via      []string            `json:"via" help:"what it passed: centrifuge, filter, carbonation, hose, pump, heat_exchanger"`
	Addition only[*way.Addition] `json:"addition" help:"what, amount_kg, do_ppb, air_ml"`
}

// MapReadingRow is one reading of a meter.
type MapReadingRow struct {
	ID          label                   `json:"id" need:"yes" help:"its id"`
	Batch       label                   `json:"batch" help:"batch that was read"`
	Move        label                   `json:"move" help:"move during which"`
	Brew        label                   `json:"brew" help:"knock-out of which"`
	Run         label                   `json:"run" help:"packaging run of which"`
	Point       string                  `json:"point" need:"yes" help:"point of the way"`
	At          moment                  `json:"at" help:"when"`
	DO          *quantity.DO            `json:"do_ppb" help:"DO read"`
	U           *quantity.DO            `json:"u_ppb" help:"standard uncertainty of the meter; sampling is added"`
	Meter       label                   `json:"meter" help:"meter that read it"`
	Temperature *quantity.Temperature   `json:"temperature_c" help:"temperature of the beer"`
	Pressure    *quantity.GaugePressure `json:"pressure_kpa" help:"gauge pressure there"`
	Flow        *quantity.Flow          `json:"flow_hl_h" help:"flow then"`
	Volume      *quantity.Volume        `json:"volume_ml" help:"volume moved by then"`
	GasO2       *quantity.Fraction      `json:"gas_o2_fraction" help:"oxygen of a gas space"`
	Confirmed   string                  `json:"confirmed" help:"event where a value of 1000 ppb or more is meant"`
	First       bool                    `json:"first_runnings" help:"true where it did not go to the tank"`
}

// MapRunRow is the packaging of a batch.
type MapRunRow struct {
	ID        label                `json:"id" need:"yes" help:"its id"`
	Batch     label                `json:"batch" need:"yes" help:"batch that was packaged"`
	Started   moment               `json:"started_at" help:"when it began"`
	Volume    *quantity.Volume     `json:"volume_ml" help:"volume drawn from the batch"`
	From      string               `json:"volume_from" help:"packages or time where it was not measured but taken from them"`
	Ended     moment               `json:"ended_at" help:"when it ended"`
	Inlet     *quantity.DO         `json:"inlet_ppb" help:"mean DO at the filler inlet, single readings of it counted in"`
	InletU    *quantity.DO         `json:"inlet_u_ppb" help:"its standard uncertainty"`
	Unshaken  *quantity.UnshakenDO `json:"unshaken_ppb" help:"mean unshaken DO"`
	UnshakenU *quantity.UnshakenDO `json:"unshaken_u_ppb" help:"its standard uncertainty"`
	TPO       *quantity.TPO        `json:"tpo_ppb" help:"mean TPO"`
	TPOU      *quantity.TPO        `json:"tpo_u_ppb" help:"its standard uncertainty"`
	Tank      *quantity.DO         `json:"tank_ppb" help:"DO of the tank at the moments of the inlet readings"`
	Until     moment               `json:"tank_until" help:"when it stopped drawing from this batch"`
}

const mlPerHL = 1e5

func hl(v *quantity.Volume) float64 { return valueOr(v, 0) / mlPerHL }

func inBar(p *quantity.GaugePressure) *float64 {
	if p == nil {
		return nil
	}
	v := float64(*p) / 100
	return &v
}

// BatchMap draws the oxygen map of a batch.
func BatchMap(in *BatchMapInput) (Answer, error) {
	c := way.Input{Focus: in.Focus, Budgets: in.Budgets.is, Limits: in.Limits.is}
	for _, b := range in.Batches {
		c.Batches = append(c.Batches, way.Batch{ID: string(b.ID), Code: string(b.Code), VolumeHL: hl(b.Volume), Tank: string(b.Tank), Vessel: b.Vessel, Yeast: b.Yeast,
			GasHL: hl(b.Gas), HeadspaceBar: valueOr(b.Headspace, 0) / 100})
	}
	for _, b := range in.Brews {
		c.Brews = append(c.Brews, way.Brew{ID: string(b.ID), Code: string(b.Code), Batch: string(b.Batch), At: b.At.Time, VolumeHL: hl(b.Volume), DO: bare(b.DO)})
	}
	for _, m := range in.Moves {
		c.Moves = append(c.Moves, way.Move{ID: string(m.ID), Kind: m.Kind, From: string(m.From), To: string(m.To), Started: m.Started.Time, Ended: m.Ended.Time,
			VolumeHL: hl(m.Volume), FlowHLH: valueOr(m.Flow, 0), Via: m.Via, Addition: m.Addition.is})
	}
	for i, r := range in.Readings {
		if r.DO == nil && r.GasO2 == nil {
			return Answer{}, &quantity.Error{Field: cellarField("readings", i, "do_ppb"), Message: "is missing", Mend: "give the reading"}
		}
		c.Readings = append(c.Readings, r.reading())
	}
	for _, r := range in.Runs {
		c.Runs = append(c.Runs, way.Run{ID: string(r.ID), Batch: string(r.Batch), Started: r.Started.Time, VolumeHL: hl(r.Volume), VolumeFrom: r.From, Ended: r.Ended.Time, Inlet: bare(r.Inlet), InletU: valueOr(r.InletU, 0),
			Unshaken: bare(r.Unshaken), UnshakenU: valueOr(r.UnshakenU, 0), TPO: bare(r.TPO), TPOU: valueOr(r.TPOU, 0), Tank: bare(r.Tank), TankUntil: r.Until.Time})
	}
	return mapped(c, in.Explain)
}

func (r *MapReadingRow) reading() way.Reading {
	return way.Reading{ID: string(r.ID), Batch: string(r.Batch), Move: string(r.Move), Brew: string(r.Brew), Run: string(r.Run), Point: r.Point, At: r.At.Time,
		DO: valueOr(r.DO, 0), U: valueOr(r.U, 0), Meter: string(r.Meter), TemperatureC: bare(r.Temperature), PressureBar: inBar(r.Pressure),
		FlowHLH: valueOr(r.Flow, 0), VolumeHL: hl(r.Volume), GasO2: bare(r.GasO2), Confirmed: r.Confirmed, FirstRunnings: r.First}
}
