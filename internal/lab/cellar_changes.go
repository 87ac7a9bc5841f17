package lab

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
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
	ID     string `json:"id"`
	Code   string `json:"code"`
	MadeAt Time   `json:"made_at,omitzero"`
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

// comparedBatches are looked at, at most.
const comparedBatches = 6

// BatchChanges lists what changed against the last batches of the same beer in the
// same kind of vessel.
func (s *Service) BatchChanges(ctx context.Context, id string) (WhatChanged, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return WhatChanged{}, err
	}
	x, err := read[Batch](ctx, s.Store, KindBatches, id)
	if err != nil {
		return WhatChanged{}, err
	}
	b, err := s.cellarBook(ctx)
	if err != nil {
		return WhatChanged{}, err
	}
	out := WhatChanged{BatchID: id, Code: x.Code, Compared: []Compared{}, Changes: []ChangedThing{}}
	others := b.alike(x)
	runs, err := s.runsByBatch(ctx, append(others, x))
	if err != nil {
		return out, err
	}
	now, err := s.features(ctx, b, x, runs[x.ID])
	if err != nil {
		return out, err
	}
	var before []*features
	for _, o := range others {
		f, err := s.features(ctx, b, o, runs[o.ID])
		if err != nil {
			return out, err
		}
		if f.empty() {
			continue
		}
		before = append(before, f)
		out.Compared = append(out.Compared, Compared{o.ID, o.Code, o.MadeAt})
		if len(before) == comparedBatches {
			break
		}
	}
	switch {
	case now.empty():
		out.Why = "no move and no reading of this batch is on record"
		return out, nil
	case len(before) == 0:
		out.Why = "no earlier batch of this beer in such a vessel has a move or a reading on record"
		return out, nil
	}
	out.Changes = differences(now, before)
	return out, nil
}

// alike are earlier batches of the beer in the same kind of vessel, newest first.
func (b *cellarBook) alike(x *Batch) []*Batch {
	kind := func(o *Batch) string {
		if t := b.tanks[o.TankID]; t != nil {
			return t.TankKind
		}
		return ""
	}
	var out []*Batch
	for _, o := range b.batches {
		if o.ID == x.ID || o.Archived || o.BeerID != x.BeerID || kind(o) != kind(x) || o.MadeAt.IsZero() {
			continue
		}
		if x.MadeAt.IsZero() || o.MadeAt.Before(x.MadeAt.Time) {
			out = append(out, o)
		}
	}
	slices.SortFunc(out, func(p, q *Batch) int { return cmp.Or(-p.MadeAt.Compare(q.MadeAt.Time), strings.Compare(q.ID, p.ID)) })
	return out
}

// features of a batch: words and numbers by what and where.
type features struct {
	words   map[string][]string
	numbers map[string][]float64
	units   map[string]string
	floor   map[string]float64 // differences below it are not looked at
}

func (f *features) empty() bool { return len(f.words)+len(f.numbers) == 0 }

func (f *features) word(what, of, v string) {
	k := what + "/" + of
	if v != "" && !slices.Contains(f.words[k], v) {
		f.words[k] = append(f.words[k], v)
	}
}

func (f *features) number(what, of string, v *float64, unit string, floor float64) {
	if v == nil {
		return
	}
	k := what + "/" + of
	f.numbers[k] = append(f.numbers[k], *v)
	f.units[k], f.floor[k] = unit, floor
}

// runsByBatch are the runs that packaged some batches.
func (s *Service) runsByBatch(ctx context.Context, list []*Batch) (map[string][]*Run, error) {
	ids := make([]string, len(list))
	for i, x := range list {
		ids[i] = x.ID
	}
	runs, err := s.runsOf(ctx, ids)
	out := map[string][]*Run{}
	for _, r := range runs {
		out[r.BatchID] = append(out[r.BatchID], r)
	}
	return out, err
}

// features gathers how a batch was filled, read and packaged.
func (s *Service) features(ctx context.Context, b *cellarBook, x *Batch, runs []*Run) (*features, error) {
	f := &features{map[string][]string{}, map[string][]float64{}, map[string]string{}, map[string]float64{}}
	readings, err := records[Reading](ctx, s, Query{Kind: KindReadings, RunID: x.ID})
	if err != nil {
		return nil, err
	}
	for _, m := range b.into[x.ID] {
		f.ofMove(b, m)
	}
	for _, r := range readings {
		f.word("person", "readings", b.person(r.By))
		if m := b.meters[r.MeterID]; m != nil {
			f.word("meter", "", m.Name)
		}
		f.word("tubing", "", r.Tubing)
		f.number("oxygen", r.Point, r.DOPpb, "ppb", 3)
		f.number("temperature", r.Point, r.TemperatureC, "°C", 1)
		f.number("pressure", r.Point, r.PressureBar, "bar", 0.2)
	}
	brews, err := records[Brew](ctx, s, Query{Kind: KindBrews, RunID: x.ID})
	if err != nil {
		return nil, err
	}
	for _, r := range brews {
		f.word("person", "brew", b.person(r.By))
		f.word("yeast", "", strings.TrimSpace(r.Yeast+" "+r.YeastSource))
		f.word("gas", "", r.Gas)
		f.number("gas", "flow", r.GasFlowNLMin, "NL/min", 0.02)
		f.number("gas", "float", r.FloatReading, "L/min", 0.02)
		f.number("yeast", "pitch", r.PitchMillionML, "million/mL", 1)
	}
	if !f.empty() {
		if t := b.tanks[x.TankID]; t != nil {
			f.word("tank", "", t.Name)
		}
		f.number("volume", "", x.VolumeHL, "hL", 2)
		for _, r := range runs {
			events, err := records[Event](ctx, s, Query{Kind: KindEvents, RunID: r.ID})
			if err != nil {
				return nil, err
			}
			f.ofRun(r, events)
		}
	}
	return f, nil
}

// ofRun has the changes of gas while a run went, and the limits in force on it.
func (f *features) ofRun(r *Run, events []*Event) {
	gas := false
	for _, e := range events {
		if e.EventKind == "gas_change" && !e.Archived {
			gas = true
			f.word("gas", gasSupply, cmp.Or(strings.TrimSpace(e.Note), "changed"))
		}
	}
	if !gas {
		f.word("gas", gasSupply, "no change on record")
	}
	for _, l := range r.InForce.Limits {
		var parts []string
		for _, x := range []struct {
			name string
			ppb  *float64
		}{{"mean", l.MeanGreenPpb}, {"single", l.SingleGreenPpb}, {"red", l.SingleRedPpb}} {
			if x.ppb != nil {
				parts = append(parts, fmt.Sprintf("%s %.4g", x.name, *x.ppb))
			}
		}
		if len(parts) > 0 {
			f.word("limit", l.Quantity, strings.Join(parts, ", ")+" ppb")
		}
	}
}

// gasSupply is what a gas_change of a run is of.
const gasSupply = "supply while packaging"

func (f *features) ofMove(b *cellarBook, m *Move) {
	if a := m.Addition; a != nil {
		f.number("addition", a.What, a.AmountKg, "kg", 1)
		f.word("purge", a.What, m.Purge)
		f.word("person", a.What, b.person(m.By))
		return
	}
	f.word("person", "move", b.person(m.By))
	f.word("way", "", strings.Join(m.Via, ", "))
	f.word("purge", "", m.Purge)
	f.number("flow", "", m.FlowHLH, "hL/h", 2)
	f.number("hose", "length", m.HoseM, "m", 0.5)
	f.number("hose", "diameter", m.HoseMM, "mm", 0.5)
	if !m.EndedAt.IsZero() {
		f.number("duration", "", Num(m.EndedAt.Sub(m.StartedAt.Time).Minutes()), "min", 5)
	}
	if from := b.batches[m.FromBatchID]; from != nil {
		if t := b.tanks[from.TankID]; t != nil {
			f.word("from_tank", "", t.Name)
		}
	}
}

// person is the name behind a record's by.
func (b *cellarBook) person(by string) string {
	if p := b.people[by]; p != nil {
		return p.Name
	}
	return by
}

// differences lists every feature of now beside the others: what differs first,
// oxygen before the rest.
func differences(now *features, before []*features) []ChangedThing {
	out := []ChangedThing{}
	for k, words := range now.words {
		if c, ok := wordChange(k, words, before); ok {
			out = append(out, c)
		}
	}
	for k, v := range now.numbers {
		if c, ok := numberChange(k, mean(v), now.units[k], now.floor[k], before); ok {
			out = append(out, c)
		}
	}
	order := func(c ChangedThing) int {
		n := 0
		if !c.Differs {
			n += 2
		}
		if c.What != "oxygen" {
			n++
		}
		return n
	}
	slices.SortFunc(out, func(a, b ChangedThing) int {
		return cmp.Or(order(a)-order(b), slices.Index(Points, a.Of)-slices.Index(Points, b.Of), strings.Compare(a.What+a.Of, b.What+b.Of))
	})
	return out
}

func wordChange(k string, words []string, before []*features) (ChangedThing, bool) {
	what, of, _ := strings.Cut(k, "/")
	slices.Sort(words)
	c := ChangedThing{What: what, Of: of, Now: strings.Join(words, "; ")}
	seen := map[string]int{}
	for _, f := range before {
		if old := f.words[k]; len(old) > 0 {
			slices.Sort(old)
			seen[strings.Join(old, "; ")]++
			c.Batches++
		}
	}
	if c.Batches == 0 {
		return c, false
	}
	most := 0
	for text, n := range seen {
		if n > most || n == most && text < c.Before {
			most, c.Before = n, text
		}
	}
	// Tanks take turns: another one of the same kind is no change.
	c.Differs = seen[c.Now] == 0 && what != "tank" && what != "from_tank"
	return c, true
}

func numberChange(k string, now float64, unit string, floor float64, before []*features) (ChangedThing, bool) {
	what, of, _ := strings.Cut(k, "/")
	var old []float64
	for _, f := range before {
		if v := f.numbers[k]; len(v) > 0 {
			old = append(old, mean(v))
		}
	}
	if len(old) == 0 {
		return ChangedThing{}, false
	}
	usual := middle(old)
	off := make([]float64, len(old))
	for i, v := range old {
		off[i] = math.Abs(v - usual)
	}
	// The scatter of few batches is itself unsure: a tenth of the usual at least.
	scatter := max(1.4826*middle(off), 0.1*math.Abs(usual), floor)
	digits := func(v float64) string {
		if math.Abs(v) >= 1000 {
			return fmt.Sprintf("%.0f %s", v, unit)
		}
		return fmt.Sprintf("%.3g %s", v, unit)
	}
	return ChangedThing{What: what, Of: of, Now: digits(now), Before: digits(usual), Value: &now, Usual: &usual, Unit: unit,
		Differs: math.Abs(now-usual) > 3*scatter || len(old) == 1 && math.Abs(now-usual) > 2*scatter, Batches: len(old)}, true
}

// middle is the median.
func middle(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
