package compare

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"ullage/core/cellar"
	"ullage/core/quantity"
	"ullage/core/way"
)

// Batch is a batch with what it is grouped by.
type Batch struct {
	way.Batch
	Beer     string    `json:"beer,omitempty"` // id; limits of a beer go by it
	BeerName string    `json:"beer_name,omitempty"`
	Made     time.Time `json:"made_at,omitzero"`
	Archived bool      `json:"archived,omitempty"` // still names where others came from
}

// Move is a move with what might explain what it brought.
type Move struct {
	way.Move
	By    string `json:"by,omitempty"`
	Purge string `json:"purge,omitempty"`
}

// Query asks for the steps of one kind.
type Query struct {
	Step     string
	From     time.Time // zero: no bound
	Until    time.Time // not included; zero: no bound
	Batches  []Batch
	Moves    []Move
	Readings []way.Reading
	Limits   []way.OwnLimit
}

// TransferList compares steps of one kind over months.
type TransferList struct {
	Step    string            `json:"step"`
	From    string            `json:"from,omitempty"`
	To      string            `json:"to,omitempty"`
	Steps   []TransferStep    `json:"steps" doc:"in order of time"`
	Summary []TransferSummary `json:"summary" doc:"one for each beer and way, the most pick-up first"`
}

// TransferStep is one step of a batch, with what might explain it.
type TransferStep struct {
	At         time.Time `json:"at"`
	MoveID     string    `json:"move_id,omitempty"`
	BatchID    string    `json:"batch_id" doc:"batch to open: the one it went into"`
	Code       string    `json:"code"`
	FromCode   string    `json:"from_code,omitempty"`
	Beer       string    `json:"beer,omitempty"`
	FromTank   string    `json:"from_tank,omitempty"`
	Tank       string    `json:"tank,omitempty"`
	Way        string    `json:"way,omitempty" doc:"what it passed"`
	By         string    `json:"by,omitempty"`
	Purge      string    `json:"purge,omitempty"`
	FlowHLH    float64   `json:"flow_hl_h,omitempty"`
	VolumeHL   float64   `json:"volume_hl,omitempty"`
	DeltaPpb   float64   `json:"delta_ppb"`
	Low95Ppb   float64   `json:"low95_ppb"`
	High95Ppb  float64   `json:"high95_ppb"`
	Resolved   bool      `json:"resolved" doc:"told from the scatter of meters and sampling"`
	Grams      *float64  `json:"grams,omitempty"`
	AirMLMin   *float64  `json:"air_ml_min,omitempty" doc:"as a leak of air, mL/min at 20 °C"`
	BudgetPpb  *float64  `json:"budget_ppb,omitempty"`
	BudgetFrom string    `json:"budget_from,omitempty"`
	State      string    `json:"state" enum:"within,over,not_resolved,negative,no_budget"`
	Odd        bool      `json:"odd,omitempty" doc:"outside what the others of its beer and way let expect"`
}

// TransferSummary is what the steps of one beer and way have in common.
type TransferSummary struct {
	Beer      string   `json:"beer"`
	Way       string   `json:"way,omitempty"`
	N         int      `json:"n"`
	MedianPpb float64  `json:"median_ppb"`
	LowPpb    float64  `json:"low_ppb" doc:"lowest"`
	HighPpb   float64  `json:"high_ppb" doc:"highest"`
	Over      int      `json:"over" doc:"above their budget"`
	PerMonth  *float64 `json:"ppb_per_month,omitempty" doc:"slope of a straight line; missing with fewer than five"`
	SlopeLow  *float64 `json:"low95_ppb_per_month,omitempty"`
	SlopeHigh *float64 `json:"high95_ppb_per_month,omitempty"`
	Trend     string   `json:"trend,omitempty" enum:"rising,falling,none"`
}

// TransferSteps are the kinds that can be compared.
var TransferSteps = []string{"transfer", "centrifuge", "filter", "carbonation", "dry_hop", "hold", "line"}

// book holds what was asked together.
type book struct {
	*Query
	batches  map[string]*Batch
	into     map[string][]*Move // by the batch they went into
	readings map[string][]way.Reading
}

// Transfers compares the steps of a kind. The figures are those of the maps, made
// for one receiving batch at a time, without the runs.
func Transfers(q Query) (TransferList, error) {
	out := TransferList{Step: q.Step, Steps: []TransferStep{}, Summary: []TransferSummary{}}
	if !slices.Contains(TransferSteps, q.Step) {
		return out, &quantity.Error{Field: "step", Value: q.Step, Message: "is no step that is compared", Mend: "use one of " + strings.Join(TransferSteps, ", ")}
	}
	b := &book{Query: &q, batches: map[string]*Batch{}, into: map[string][]*Move{}, readings: map[string][]way.Reading{}}
	for i := range q.Batches {
		b.batches[q.Batches[i].ID] = &q.Batches[i]
	}
	for i := range q.Moves {
		b.into[q.Moves[i].To] = append(b.into[q.Moves[i].To], &q.Moves[i])
	}
	for _, r := range q.Readings {
		if r.Brew == "" && !way.IsWort(r.Point) {
			b.readings[r.Batch] = append(b.readings[r.Batch], r)
		}
	}
	for i := range q.Batches {
		if q.Batches[i].Archived {
			continue
		}
		out.Steps = append(out.Steps, b.stepsOf(&q.Batches[i])...)
	}
	slices.SortFunc(out.Steps, func(x, y TransferStep) int {
		return cmp.Or(x.At.Compare(y.At), strings.Compare(x.BatchID+x.MoveID, y.BatchID+y.MoveID))
	})
	out.Summary = summarise(out.Steps)
	return out, nil
}

func (q *Query) holds(t time.Time) bool {
	return (q.From.IsZero() || !t.Before(q.From)) && (q.Until.IsZero() || t.Before(q.Until))
}

// stepsOf maps one batch with those it was filled from, and keeps the steps of
// the kind that happened to it.
func (b *book) stepsOf(x *Batch) []TransferStep {
	if len(b.readings[x.ID]) == 0 {
		return nil
	}
	in := way.Input{Focus: x.ID, Batches: []way.Batch{x.Batch}}
	moves, at := map[string]*Move{}, x.Made
	for _, m := range b.into[x.ID] {
		if m.From == x.ID || m.From == "" && b.Step != "dry_hop" {
			continue
		}
		moves[m.ID] = m
		if from := b.batches[m.From]; from != nil && !slices.ContainsFunc(in.Batches, func(c way.Batch) bool { return c.ID == from.ID }) {
			in.Batches = append(in.Batches, from.Batch)
		}
		in.Moves = append(in.Moves, m.Move)
		if m.From != "" {
			at = m.Started
		}
	}
	if len(moves) == 0 && b.Step != "hold" && b.Step != "line" && b.Step != "dry_hop" || !b.holds(at) {
		return nil
	}
	for _, c := range in.Batches {
		for _, r := range b.readings[c.ID] {
			own := c.ID == x.ID && (r.Move == "" || moves[r.Move] != nil)
			if own || c.ID != x.ID && moves[r.Move] != nil || c.ID != x.ID && r.Move == "" && r.Point == way.FermentationEnd {
				in.Readings = append(in.Readings, r)
			}
		}
	}
	in.Limits, in.Budgets = way.LimitsFor(b.Limits, x.Beer)
	m, err := cellar.Measure(in)
	if err != nil {
		return nil // the map of this batch says what is wrong with it
	}
	if b.Step == "transfer" {
		return b.whole(x, &m, moves)
	}
	return b.parts(x, &m, moves, at)
}

// whole are the moves from their first reading to their last.
func (b *book) whole(x *Batch, m *cellar.Map, moves map[string]*Move) (out []TransferStep) {
	for _, t := range m.Moves {
		mv := moves[t.Move]
		if mv == nil {
			continue
		}
		row := b.row(x, mv, mv.Started)
		row.DeltaPpb, row.Low95Ppb, row.High95Ppb, row.Resolved = t.Delta, t.Low95, t.High95, t.Resolved
		row.Grams, row.AirMLMin, row.BudgetPpb, row.State = t.Grams, t.AirMLMin, t.Budget, t.State
		out = append(out, row)
	}
	return out
}

// parts are the single steps.
func (b *book) parts(x *Batch, m *cellar.Map, moves map[string]*Move, at time.Time) (out []TransferStep) {
	for _, t := range m.Steps {
		if t.Kind != b.Step || t.Batch != x.ID && moves[t.Move] == nil || b.Step == "dry_hop" && t.Delta < 0 {
			continue
		}
		when := at
		for _, n := range m.Nodes {
			if n.ID == t.To && !n.At.IsZero() {
				when = n.At
			}
		}
		row := b.row(x, moves[t.Move], when)
		row.DeltaPpb, row.Low95Ppb, row.High95Ppb, row.Resolved = t.Delta, t.Low95, t.High95, t.Resolved
		row.Grams, row.AirMLMin, row.BudgetPpb, row.BudgetFrom, row.State = t.Grams, t.AirMLMin, t.Budget, t.BudgetFrom, t.State
		if t.FlowHLH > 0 {
			row.FlowHLH = t.FlowHLH
		}
		out = append(out, row)
	}
	return out
}

func (b *book) row(x *Batch, m *Move, at time.Time) TransferStep {
	row := TransferStep{At: at.UTC(), BatchID: x.ID, Code: x.Code, Beer: x.BeerName, Tank: x.Tank, VolumeHL: x.VolumeHL}
	if m == nil {
		return row
	}
	row.MoveID, row.Way, row.By, row.Purge, row.FlowHLH = m.ID, strings.Join(m.Via, ", "), m.By, m.Purge, m.FlowHLH
	if m.VolumeHL > 0 {
		row.VolumeHL = m.VolumeHL
	}
	if from := b.batches[m.From]; from != nil {
		row.FromCode, row.FromTank = from.Code, from.Tank
	}
	return row
}
