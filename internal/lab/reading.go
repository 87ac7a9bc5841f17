package lab

import (
	"fmt"
	"slices"
)

// Points are the process points in the order in which liquid passes them. Those
// up to and with pitched_12h are wort, read in mg/L; a package's own readings
// are [Sample] records of its run.
var Points = []string{"wort_cooled", "wort_oxygenated", "pitched_12h", "fermentation_end",
	"dry_hop_before", "dry_hop_1h", "dry_hop_24h", "centrifuge_in", "centrifuge_out", "filter_in", "filter_out",
	"carbonation_before", "carbonation_after", "tank_before", "tank_after", "tank_rested", "tank_hold", "tank_gas",
	"line_start", "filler_inlet"}

// IsWort tells whether a point lies before the yeast has eaten the oxygen.
func IsWort(point string) bool {
	i := slices.Index(Points, point)
	return i >= 0 && i <= slices.Index(Points, "pitched_12h")
}

// EventPpb: from here on a reading after fermentation is a slip of the unit or
// an event, and the person says which.
const EventPpb = 1000

// Reading is one DO reading at a point of the process.
type Reading struct {
	Meta
	BatchID       string   `json:"batch_id" format:"uuid"`
	MoveID        string   `json:"move_id,omitempty" format:"uuid"`
	BrewID        string   `json:"brew_id,omitempty" format:"uuid"`
	Point         string   `json:"point" enum:"wort_cooled,wort_oxygenated,pitched_12h,fermentation_end,dry_hop_before,dry_hop_1h,dry_hop_24h,centrifuge_in,centrifuge_out,filter_in,filter_out,carbonation_before,carbonation_after,tank_before,tank_after,tank_rested,tank_hold,tank_gas,line_start,filler_inlet"`
	At            Time     `json:"at"`
	Raw           string   `json:"raw,omitempty" maxLength:"200" doc:"the reading exactly as typed, with its unit"`
	DOPpb         *float64 `json:"do_ppb,omitempty" doc:"always ppb (µg/L); wort typed in mg/L is converted"`
	MeterID       string   `json:"meter_id,omitempty" format:"uuid"`
	TemperatureC  *float64 `json:"temperature_c,omitempty"`
	PressureBar   *float64 `json:"pressure_bar,omitempty" doc:"where it was read, bar gauge"`
	FlowHLH       *float64 `json:"flow_hl_h,omitempty" doc:"flow of the beer while reading"`
	Tubing        string   `json:"tubing,omitempty" maxLength:"200" doc:"how the sample reached the meter"`
	StabilisedMin *float64 `json:"stabilised_min,omitempty" doc:"minutes the sample flowed before the value was taken"`
	VolumeMovedHL *float64 `json:"volume_moved_hl,omitempty" doc:"what the move had carried by then"`
	GasO2Pct      *float64 `json:"gas_o2_pct,omitempty" doc:"oxygen in the tank's gas space, % by volume"`
	Confirmed     string   `json:"confirmed,omitempty" enum:"event" doc:"a value of 1000 ppb or more after fermentation was challenged and is real"`
	Flags         []string `json:"flags,omitempty" enum:"bubbles,unsteady,first_runnings,doubtful,other"`
	Note          string   `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*Reading) Kind() Kind { return KindReadings }

// Refs points at the liquid, what was being done with it, and the meter.
func (r *Reading) Refs() []Ref {
	return []Ref{{"batch_id", KindBatches, r.BatchID, true}, {"move_id", KindMoves, r.MoveID, false},
		{"brew_id", KindBrews, r.BrewID, false}, {"meter_id", KindInstruments, r.MeterID, false}}
}

func (r *Reading) check(c *checker) {
	c.oneOf("point", r.Point, Points...)
	c.needTime("at", r.At)
	c.year("at", r.At)
	c.length("raw", r.Raw, maxName)
	c.within("do_ppb", r.DOPpb, 0, maxWortMgL*1000, "ppb")
	c.within("temperature_c", r.TemperatureC, -20, 100, "°C")
	c.within("pressure_bar", r.PressureBar, -1, 40, "bar (gauge)")
	c.within("flow_hl_h", r.FlowHLH, 0, 10000, "hL/h")
	c.length("tubing", r.Tubing, maxName)
	c.within("stabilised_min", r.StabilisedMin, 0, 1440, "min")
	c.within("volume_moved_hl", r.VolumeMovedHL, 0, 20000, "hL")
	c.within("gas_o2_pct", r.GasO2Pct, 0, 100, "% by volume")
	c.oneOf("confirmed", r.Confirmed, "", "event")
	c.count("flags", len(r.Flags), 0, 10)
	for _, f := range r.Flags {
		c.oneOf("flags", f, "bubbles", "unsteady", "first_runnings", "doubtful", "other")
	}
	c.text("note", r.Note)
	if r.DOPpb == nil && (r.Point != "tank_gas" || r.GasO2Pct == nil) {
		c.add("do_ppb", nil, "is missing", "give the reading; of a gas space, gas_o2_pct will do")
	}
	if r.GasO2Pct != nil && r.Point != "tank_gas" {
		c.add("gas_o2_pct", *r.GasO2Pct, "is of a gas space, not of "+r.Point, "choose the point tank_gas")
	}
	r.challenge(c)
}

// challenge refuses a value that is either a slip of the unit or an event, and
// offers both readings of it.
func (r *Reading) challenge(c *checker) {
	v := r.DOPpb
	if v == nil || *v < EventPpb || *v > maxWortMgL*1000 || IsWort(r.Point) || r.Confirmed == "event" || !slices.Contains(Points, r.Point) {
		return
	}
	c.add("do_ppb", *v, fmt.Sprintf("after fermentation this is %g ppb typed in another unit, or an event", *v/1000),
		fmt.Sprintf("send %g ppb, or %g ppb with confirmed: event", *v/1000, *v))
}

// CellarLimit is what a DO reading at a point, or the pick-up of a step, may be.
type CellarLimit struct {
	Meta
	What     string   `json:"what" enum:"point,step"`
	Point    string   `json:"point,omitempty" enum:"wort_cooled,wort_oxygenated,pitched_12h,fermentation_end,dry_hop_before,dry_hop_1h,dry_hop_24h,centrifuge_in,centrifuge_out,filter_in,filter_out,carbonation_before,carbonation_after,tank_before,tank_after,tank_rested,tank_hold,tank_gas,line_start,filler_inlet"`
	Step     string   `json:"step,omitempty" enum:"transfer,centrifuge,filter,carbonation,dry_hop,hold,line,filling,headspace,fermentation_end"`
	BeerID   string   `json:"beer_id,omitempty" format:"uuid" doc:"empty: every beer without a limit of its own"`
	GreenPpb *float64 `json:"green_ppb,omitempty" doc:"up to this is good; of a step, its budget"`
	RedPpb   *float64 `json:"red_ppb,omitempty" doc:"above this, act"`
	Note     string   `json:"note,omitempty" maxLength:"4000"`
}

// Steps are the ways in which oxygen gets in between two points.
var Steps = []string{"transfer", "centrifuge", "filter", "carbonation", "dry_hop", "hold", "line", "filling", "headspace", "fermentation_end"}

// Kind names the collection.
func (*CellarLimit) Kind() Kind { return KindCellarLimits }

// Refs points at the beer.
func (r *CellarLimit) Refs() []Ref { return []Ref{{"beer_id", KindBeers, r.BeerID, false}} }

func (r *CellarLimit) check(c *checker) {
	c.oneOf("what", r.What, "point", "step")
	switch r.What {
	case "point":
		c.oneOf("point", r.Point, Points...)
		if r.Step != "" {
			c.add("step", r.Step, "stands on the limit of a point", "leave it out")
		}
	case "step":
		c.oneOf("step", r.Step, Steps...)
		if r.Point != "" {
			c.add("point", r.Point, "stands on the budget of a step", "leave it out")
		}
	}
	c.within("green_ppb", r.GreenPpb, 0, maxWortMgL*1000, "ppb")
	c.within("red_ppb", r.RedPpb, 0, maxWortMgL*1000, "ppb")
	c.text("note", r.Note)
	if r.GreenPpb == nil && r.RedPpb == nil {
		c.add("green_ppb", nil, "is missing", "give a limit, or archive the record")
	}
	if r.GreenPpb != nil && r.RedPpb != nil && *r.RedPpb < *r.GreenPpb {
		c.add("red_ppb", *r.RedPpb, "is below green_ppb", "make red the higher of the two")
	}
}
