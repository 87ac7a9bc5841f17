package lab

import "time"

// Run is one packaging run: one beer in one format on one line.
type Run struct {
	Meta
	Number         int           `json:"number,omitempty" readOnly:"true" doc:"short number for speech and labels; given by the server"`
	BeerID         string        `json:"beer_id" format:"uuid"`
	FormatID       string        `json:"format_id" format:"uuid"`
	FormatLotID    string        `json:"format_lot_id,omitempty" format:"uuid"`
	LineID         string        `json:"line_id" format:"uuid"`
	BatchID        string        `json:"batch_id,omitempty" format:"uuid"`
	Code           string        `json:"code,omitempty" maxLength:"200" doc:"the code printed on the package"`
	StartedAt      Time          `json:"started_at"`
	EndedAt        Time          `json:"ended_at,omitzero"`
	Status         string        `json:"status" enum:"going,ended"`
	DOMeterID      string        `json:"do_meter_id,omitempty" format:"uuid"`
	ScaleID        string        `json:"scale_id,omitempty" format:"uuid"`
	ThermometerID  string        `json:"thermometer_id,omitempty" format:"uuid"`
	TPOMeterID     string        `json:"tpo_meter_id,omitempty" format:"uuid" doc:"the instrument that reads TPO directly"`
	MeasuredBy     string        `json:"measured_by,omitempty" enum:"calculated,direct" doc:"how TPO was found; empty: calculated"`
	StandIn        bool          `json:"stand_in,omitempty" doc:"the calculated figure stands in for the direct instrument, by an agreement study in force"`
	StandInStudyID string        `json:"stand_in_study_id,omitempty" format:"uuid" doc:"that study; empty with stand_in: the server takes the newest that covers the run"`
	InForce        InForce       `json:"in_force,omitzero"`
	SampleEveryMin *float64      `json:"sample_every_min,omitempty"`
	Plan           *SamplingPlan `json:"plan,omitempty" doc:"which packages to pull and when"`
	Packages       *float64      `json:"packages,omitempty" doc:"packages filled; empty: taken from running time and the line's speed"`
	DrawnHL        *float64      `json:"drawn_hl,omitempty" doc:"beer drawn from the tank, as measured; empty: packages × nominal volume"`
	Note           string        `json:"note,omitempty" maxLength:"4000"`
	Hold           Hold          `json:"hold,omitzero"`
}

// InForce is the snapshot, taken at the start of a run, of everything its
// results depend on. Later changes of beer, lot or limit do not reach back.
// Fields a client leaves empty are filled by the server from the records.
type InForce struct {
	Package         string         `json:"package,omitempty" enum:"can,bottle,keg"`
	NominalML       *float64       `json:"nominal_ml,omitempty"`
	TareG           *float64       `json:"tare_g,omitempty"`
	TareSDG         *float64       `json:"tare_sd_g,omitempty"`
	CapacityML      *float64       `json:"capacity_ml,omitempty"`
	CapacitySDML    *float64       `json:"capacity_sd_ml,omitempty"`
	CapacitySource  string         `json:"capacity_source,omitempty" enum:"lot,drawing"`
	NeckGapMM       *float64       `json:"neck_gap_mm,omitempty"`
	NeckHeadspaceML *float64       `json:"neck_headspace_ml,omitempty"`
	NeckMLPerMM     *float64       `json:"neck_ml_per_mm,omitempty"`
	SG              *float64       `json:"sg,omitempty"`
	ABVPct          *float64       `json:"abv_pct,omitempty"`
	CO2Vol          *float64       `json:"co2_vol,omitempty"`
	YeastInPackage  bool           `json:"yeast_in_package,omitempty"`
	TPOBy           string         `json:"tpo_by,omitempty" enum:"direct,calculated" doc:"which TPO counts where a package has both; empty: the direct one"`
	Limits          []LimitInForce `json:"limits,omitzero" doc:"those in force at the start when left out; an empty list: none"`
	Instruments     ErrorsInForce  `json:"instruments,omitzero" doc:"what is known of the instruments at the start"`
	StandIn         *StandIn       `json:"stand_in,omitempty" readOnly:"true" doc:"the agreement study by which the figures stand in"`
}

// LimitInForce is the limit for one quantity, as it stood at the start.
type LimitInForce struct {
	Quantity       string   `json:"quantity" enum:"tpo,do_inlet,do_tank"`
	MeanGreenPpb   *float64 `json:"mean_green_ppb,omitempty"`
	SingleGreenPpb *float64 `json:"single_green_ppb,omitempty"`
	SingleRedPpb   *float64 `json:"single_red_ppb,omitempty"`
}

// Hold says whether the lot may leave.
type Hold struct {
	State  string `json:"state,omitempty" enum:"none,held,released"`
	Reason string `json:"reason,omitempty" maxLength:"2000"`
	// A check that failed opened the lot again: decisions before count no more.
	CheckID    string `json:"check_id,omitempty" format:"uuid" readOnly:"true" doc:"the failed check that opened the lot again"`
	ReopenedAt Time   `json:"reopened_at,omitzero" readOnly:"true" doc:"when; decisions before it count no more"`
}

// reopens tells that a check which failed after a decision took its force away.
func (h *Hold) reopens(d *LotDecision) bool {
	return !h.ReopenedAt.IsZero() && !d.ServerAt.After(h.ReopenedAt.Time)
}

// Kind names the collection.
func (*Run) Kind() Kind { return KindRuns }

// Refs points at what the run packages, with what, on what.
func (r *Run) Refs() []Ref {
	return []Ref{
		{"beer_id", KindBeers, r.BeerID, true}, {"format_id", KindFormats, r.FormatID, true},
		{"format_lot_id", KindFormatLots, r.FormatLotID, false}, {"line_id", KindLines, r.LineID, true},
		{"batch_id", KindBatches, r.BatchID, false}, {"do_meter_id", KindInstruments, r.DOMeterID, false},
		{"scale_id", KindInstruments, r.ScaleID, false}, {"thermometer_id", KindInstruments, r.ThermometerID, false},
		{"tpo_meter_id", KindInstruments, r.TPOMeterID, false}, {"stand_in_study_id", KindStudies, r.StandInStudyID, false},
	}
}

func (r *Run) check(c *checker) {
	c.needTime("started_at", r.StartedAt)
	c.year("started_at", r.StartedAt)
	c.year("ended_at", r.EndedAt)
	c.oneOf("status", r.Status, "going", "ended")
	if r.Status == "ended" && r.EndedAt.IsZero() {
		c.add("ended_at", nil, "is missing though the run has ended", "give the time of the last package")
	}
	if !r.EndedAt.IsZero() && r.EndedAt.Before(r.StartedAt.Time) {
		c.add("ended_at", r.EndedAt.Format(time.RFC3339), "is before started_at", "correct one of the two")
	}
	c.length("code", r.Code, maxName)
	c.text("note", r.Note)
	c.within("packages", r.Packages, 0, 1e8, "packages")
	c.within("drawn_hl", r.DrawnHL, 0, 20000, "hL")
	c.within("sample_every_min", r.SampleEveryMin, 0, 1440, "min")
	c.oneOf("hold.state", r.Hold.State, "", "none", "held", "released")
	c.length("hold.reason", r.Hold.Reason, 2000)
	c.oneOf("measured_by", r.MeasuredBy, "", "calculated", "direct")
	if r.StandIn && r.MeasuredBy == "direct" {
		c.add("stand_in", true, "a run read directly needs no stand-in", "choose measured by: calculated, or leave stand_in out")
	}
	if r.StandInStudyID != "" && !r.StandIn {
		c.add("stand_in_study_id", r.StandInStudyID, "is given, but the run is not marked as stand-in", "mark it, or leave the study out")
	}
	if (r.Hold.State == "held" || r.Hold.State == "released") && r.Hold.Reason == "" {
		c.add("hold.reason", nil, "is missing", "say why the lot is "+r.Hold.State)
	}
	r.InForce.check(c)
	r.Plan.check(c)
}

func (f *InForce) check(c *checker) {
	c.oneOf("in_force.package", f.Package, "", "can", "bottle", "keg")
	c.within("in_force.nominal_ml", f.NominalML, 10, 100000, "mL")
	c.within("in_force.tare_g", f.TareG, 0.1, 100000, "g")
	c.within("in_force.tare_sd_g", f.TareSDG, 0, 1000, "g")
	c.within("in_force.capacity_ml", f.CapacityML, 10, 100000, "mL")
	c.within("in_force.capacity_sd_ml", f.CapacitySDML, 0, 1000, "mL")
	c.oneOf("in_force.capacity_source", f.CapacitySource, "", "lot", "drawing")
	c.within("in_force.neck_gap_mm", f.NeckGapMM, 0, 500, "mm")
	c.within("in_force.neck_headspace_ml", f.NeckHeadspaceML, 0, 1000, "mL")
	c.within("in_force.neck_ml_per_mm", f.NeckMLPerMM, 0.01, 100, "mL/mm")
	c.within("in_force.sg", f.SG, 0.95, 1.2, "(20/20 °C)")
	c.within("in_force.abv_pct", f.ABVPct, 0, 30, "% by volume")
	c.within("in_force.co2_vol", f.CO2Vol, 0, 8, "volumes")
	c.oneOf("in_force.tpo_by", f.TPOBy, "", Direct, Calculated)
	f.Instruments.check(c)
	for _, l := range f.Limits {
		c.oneOf("in_force.limits.quantity", l.Quantity, "tpo", "do_inlet", "do_tank")
		c.within("in_force.limits.mean_green_ppb", l.MeanGreenPpb, 0, 50000, "ppb")
		c.within("in_force.limits.single_green_ppb", l.SingleGreenPpb, 0, 50000, "ppb")
		c.within("in_force.limits.single_red_ppb", l.SingleRedPpb, 0, 50000, "ppb")
	}
}

// Event is something that happened on the line during a run.
type Event struct {
	Meta
	RunID     string `json:"run_id" format:"uuid"`
	EventKind string `json:"kind" enum:"start,stop,restart,tank_change,gas_change,adjustment,end,note"`
	At        Time   `json:"at"`
	Note      string `json:"note,omitempty" maxLength:"4000"`
}

// Kind names the collection.
func (*Event) Kind() Kind { return KindEvents }

// Refs points at the run.
func (r *Event) Refs() []Ref { return []Ref{{"run_id", KindRuns, r.RunID, true}} }

func (r *Event) check(c *checker) {
	c.oneOf("kind", r.EventKind, "start", "stop", "restart", "tank_change", "gas_change", "adjustment", "end", "note")
	c.needTime("at", r.At)
	c.year("at", r.At)
	c.text("note", r.Note)
}
