package compare

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"ullage/core/quantity"
)

// WhatChanged is what differs between a batch and those of the same beer before it:
// the first place to look when its oxygen does.
type WhatChanged struct {
	BatchID  string         `json:"batch_id"`
	Code     string         `json:"code"`
	Compared []Compared     `json:"compared" doc:"earlier batches of this beer in the same kind of vessel, newest first"`
	Changes  []ChangedThing `json:"changes" doc:"what differs first"`
	Why      string         `json:"why,omitempty" doc:"why nothing can be compared"`
}

// Compared is a batch that this one is held against.
type Compared struct {
	ID     string    `json:"id"`
	Code   string    `json:"code"`
	MadeAt time.Time `json:"made_at,omitzero"`
}

// ChangedThing is one thing of a batch beside what it usually is.
type ChangedThing struct {
	What    string   `json:"what" enum:"person,meter,tank,from_tank,way,hose,purge,flow,duration,volume,temperature,pressure,addition,oxygen,tubing,yeast,gas,limit"`
	Of      string   `json:"of,omitempty" doc:"point, where it is of one; of a limit, its quantity"`
	Now     string   `json:"now"`
	Before  string   `json:"before" doc:"what it was in most of the others"`
	Value   *float64 `json:"value,omitempty"`
	Usual   *float64 `json:"usual,omitempty" doc:"median of the others"`
	Unit    string   `json:"unit,omitempty"`
	Differs bool     `json:"differs" doc:"not what it was in any of the others; of a number, outside their scatter"`
	Batches int      `json:"batches" doc:"how many of the others say something of it"`
}

// History is what is known of a batch and of those before it. Names of people,
// meters and tanks are the caller's words.
type History struct {
	Focus    string        `json:"focus"`
	Batches  []PastBatch   `json:"batches"`
	Moves    []PastMove    `json:"moves,omitempty"`
	Readings []PastReading `json:"readings,omitempty"`
	Brews    []PastBrew    `json:"brews,omitempty"`
	Runs     []PastRun     `json:"runs,omitempty"`
}

// PastBatch is a batch with what tells which others are alike.
type PastBatch struct {
	ID       string    `json:"id"`
	Code     string    `json:"code"`
	Beer     string    `json:"beer,omitempty"`   // id
	Vessel   string    `json:"vessel,omitempty"` // kind of its tank
	Tank     string    `json:"tank,omitempty"`
	VolumeHL *float64  `json:"volume_hl,omitempty"`
	MadeAt   time.Time `json:"made_at,omitzero"`
}

// PastMove is a move into a batch, or something added to it.
type PastMove struct {
	To       string    `json:"to"`
	FromTank string    `json:"from_tank,omitempty"`
	By       string    `json:"by,omitempty"`
	Via      []string  `json:"via,omitempty"`
	Purge    string    `json:"purge,omitempty"`
	FlowHLH  *float64  `json:"flow_hl_h,omitempty"`
	HoseM    *float64  `json:"hose_m,omitempty"`
	HoseMM   *float64  `json:"hose_mm,omitempty"`
	Started  time.Time `json:"started_at,omitzero"`
	Ended    time.Time `json:"ended_at,omitzero"`
	Added    string    `json:"added,omitempty"` // what was added; empty: a move
	AddedKG  *float64  `json:"added_kg,omitempty"`
}

// PastReading is a reading of a batch.
type PastReading struct {
	Batch        string   `json:"batch"`
	Point        string   `json:"point"`
	By           string   `json:"by,omitempty"`
	Meter        string   `json:"meter,omitempty"`
	Tubing       string   `json:"tubing,omitempty"`
	DO           *float64 `json:"do_ppb,omitempty"`
	TemperatureC *float64 `json:"temperature_c,omitempty"`
	PressureBar  *float64 `json:"pressure_bar,omitempty"`
}

// PastBrew is a knock-out into a batch.
type PastBrew struct {
	Batch        string   `json:"batch"`
	By           string   `json:"by,omitempty"`
	Yeast        string   `json:"yeast,omitempty"`
	Gas          string   `json:"gas,omitempty"`
	GasNLMin     *float64 `json:"gas_nl_min,omitempty"`
	FloatReading *float64 `json:"float_reading,omitempty"`
	PitchMillion *float64 `json:"pitch_million_ml,omitempty"`
}

// PastRun is the packaging of a batch. Without EventsKnown nothing is said of its
// gas.
type PastRun struct {
	Batch       string      `json:"batch"`
	EventsKnown bool        `json:"events_known,omitempty"`
	GasChanges  []string    `json:"gas_changes,omitempty"` // their notes
	Limits      []PastLimit `json:"limits,omitempty"`      // in force on it
}

// PastLimit is a limit of a quantity that was in force.
type PastLimit struct {
	Quantity string   `json:"quantity"`
	Mean     *float64 `json:"mean_ppb,omitempty"`
	Single   *float64 `json:"single_ppb,omitempty"`
	Red      *float64 `json:"red_ppb,omitempty"`
}

// MostCompared batches are looked at.
const MostCompared = 6

// gasSupply is what a change of gas of a run is of.
const gasSupply = "supply while packaging"

// Changed lists what changed against the last batches of the same beer in the
// same kind of vessel.
func Changed(h History) (WhatChanged, error) {
	x := h.focus()
	if x == nil {
		return WhatChanged{}, &quantity.Error{Field: "focus", Value: h.Focus, Message: "is no batch given", Mend: "give the batch too"}
	}
	out := WhatChanged{BatchID: x.ID, Code: x.Code, Compared: []Compared{}, Changes: []ChangedThing{}}
	now := h.features(x)
	var before []*features
	for _, o := range h.Alike() {
		f := h.features(o)
		if f.empty() {
			continue
		}
		before = append(before, f)
		out.Compared = append(out.Compared, Compared{o.ID, o.Code, o.MadeAt.UTC()})
		if len(before) == MostCompared {
			break
		}
	}
	switch {
	case now.empty():
		out.Why = "no move and no reading of this batch is on record"
	case len(before) == 0:
		out.Why = "no earlier batch of this beer in such a vessel has a move or a reading on record"
	default:
		out.Changes = differences(now, before)
	}
	return out, nil
}

func (h *History) focus() *PastBatch {
	at := slices.IndexFunc(h.Batches, func(b PastBatch) bool { return b.ID == h.Focus })
	if at < 0 {
		return nil
	}
	return &h.Batches[at]
}

// Alike are earlier batches of the focus's beer in the same kind of vessel, newest
// first.
func (h *History) Alike() []*PastBatch {
	x := h.focus()
	if x == nil {
		return nil
	}
	var out []*PastBatch
	for i := range h.Batches {
		o := &h.Batches[i]
		if o.ID != x.ID && o.Beer == x.Beer && o.Vessel == x.Vessel && !o.MadeAt.IsZero() && (x.MadeAt.IsZero() || o.MadeAt.Before(x.MadeAt)) {
			out = append(out, o)
		}
	}
	slices.SortFunc(out, func(p, q *PastBatch) int { return cmp.Or(-p.MadeAt.Compare(q.MadeAt), strings.Compare(q.ID, p.ID)) })
	return out
}

// features gathers how a batch was filled, read and packaged.
func (h *History) features(x *PastBatch) *features {
	f := newFeatures()
	for i := range h.Moves {
		if m := &h.Moves[i]; m.To == x.ID {
			f.ofMove(m)
		}
	}
	for i := range h.Readings {
		if r := &h.Readings[i]; r.Batch == x.ID {
			f.word("person", "readings", r.By)
			f.word("meter", "", r.Meter)
			f.word("tubing", "", r.Tubing)
			f.number("oxygen", r.Point, r.DO, "ppb", 3)
			f.number("temperature", r.Point, r.TemperatureC, "°C", 1)
			f.number("pressure", r.Point, r.PressureBar, "bar", 0.2)
		}
	}
	for i := range h.Brews {
		if r := &h.Brews[i]; r.Batch == x.ID {
			f.word("person", "brew", r.By)
			f.word("yeast", "", strings.TrimSpace(r.Yeast))
			f.word("gas", "", r.Gas)
			f.number("gas", "flow", r.GasNLMin, "NL/min", 0.02)
			f.number("gas", "float", r.FloatReading, "L/min", 0.02)
			f.number("yeast", "pitch", r.PitchMillion, "million/mL", 1)
		}
	}
	if f.empty() {
		return f
	}
	f.word("tank", "", x.Tank)
	f.number("volume", "", x.VolumeHL, "hL", 2)
	for i := range h.Runs {
		if r := &h.Runs[i]; r.Batch == x.ID {
			f.ofRun(r)
		}
	}
	return f
}

func (f *features) ofMove(m *PastMove) {
	if m.Added != "" {
		f.number("addition", m.Added, m.AddedKG, "kg", 1)
		f.word("purge", m.Added, m.Purge)
		f.word("person", m.Added, m.By)
		return
	}
	f.word("person", "move", m.By)
	f.word("way", "", strings.Join(m.Via, ", "))
	f.word("purge", "", m.Purge)
	f.number("flow", "", m.FlowHLH, "hL/h", 2)
	f.number("hose", "length", m.HoseM, "m", 0.5)
	f.number("hose", "diameter", m.HoseMM, "mm", 0.5)
	if !m.Ended.IsZero() {
		minutes := m.Ended.Sub(m.Started).Minutes()
		f.number("duration", "", &minutes, "min", 5)
	}
	f.word("from_tank", "", m.FromTank)
}

// ofRun has the changes of gas while a run went, and the limits in force on it.
func (f *features) ofRun(r *PastRun) {
	for _, note := range r.GasChanges {
		f.word("gas", gasSupply, cmp.Or(strings.TrimSpace(note), "changed"))
	}
	if r.EventsKnown && len(r.GasChanges) == 0 {
		f.word("gas", gasSupply, "no change on record")
	}
	for _, l := range r.Limits {
		var parts []string
		for _, x := range []struct {
			name string
			ppb  *float64
		}{{"mean", l.Mean}, {"single", l.Single}, {"red", l.Red}} {
			if x.ppb != nil {
				parts = append(parts, fmt.Sprintf("%s %.4g", x.name, *x.ppb))
			}
		}
		if len(parts) > 0 {
			f.word("limit", l.Quantity, strings.Join(parts, ", ")+" ppb")
		}
	}
}
