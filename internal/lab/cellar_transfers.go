package lab

import (
	"context"
	"math"
	"slices"
	"strings"
	"time"

	"ullage/core/cellar"
	"ullage/core/stats"
	"ullage/core/way"
)

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
	At         Time     `json:"at"`
	MoveID     string   `json:"move_id,omitempty"`
	BatchID    string   `json:"batch_id" doc:"batch to open: the one it went into"`
	Code       string   `json:"code"`
	FromCode   string   `json:"from_code,omitempty"`
	Beer       string   `json:"beer,omitempty"`
	FromTank   string   `json:"from_tank,omitempty"`
	Tank       string   `json:"tank,omitempty"`
	Way        string   `json:"way,omitempty" doc:"what it passed"`
	By         string   `json:"by,omitempty"`
	Purge      string   `json:"purge,omitempty"`
	FlowHLH    float64  `json:"flow_hl_h,omitempty"`
	VolumeHL   float64  `json:"volume_hl,omitempty"`
	DeltaPpb   float64  `json:"delta_ppb"`
	Low95Ppb   float64  `json:"low95_ppb"`
	High95Ppb  float64  `json:"high95_ppb"`
	Resolved   bool     `json:"resolved" doc:"told from the scatter of meters and sampling"`
	Grams      *float64 `json:"grams,omitempty"`
	AirMLMin   *float64 `json:"air_ml_min,omitempty" doc:"as a leak of air, mL/min at 20 °C"`
	BudgetPpb  *float64 `json:"budget_ppb,omitempty"`
	BudgetFrom string   `json:"budget_from,omitempty"`
	State      string   `json:"state" enum:"within,over,not_resolved,negative,no_budget"`
	Odd        bool     `json:"odd,omitempty" doc:"outside what the others of its beer and way let expect"`
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

// Transfers compares the steps of a kind between two days of the brewery's time
// zone, both included; empty ones bound nothing. The figures are those of the maps, made for one receiving batch at a
// time, without the runs: so a year is read in one go.
func (s *Service) Transfers(ctx context.Context, step string, from, to string) (TransferList, error) {
	if err := s.May(ctx, DoJudge); err != nil {
		return TransferList{}, err
	}
	out := TransferList{Step: step, From: from, To: to, Steps: []TransferStep{}, Summary: []TransferSummary{}}
	if !slices.Contains(TransferSteps, step) {
		return out, fault(Invalid, "step", step, "is no step that is compared", "use one of "+strings.Join(TransferSteps, ", "))
	}
	c := &checker{}
	c.date("from", from)
	c.date("to", to)
	if err := c.err(); err != nil {
		return out, err
	}
	b, err := s.cellarBook(ctx)
	if err != nil {
		return out, err
	}
	readings, err := s.readingsOfBatches(ctx, b)
	if err != nil {
		return out, err
	}
	zone := s.zone(ctx)
	inside := func(t Time) bool {
		day := t.In(zone).Format(time.DateOnly)
		return (from == "" || day >= from) && (to == "" || day <= to)
	}
	for _, x := range b.batches {
		if x.Archived || len(readings[x.ID]) == 0 {
			continue
		}
		out.Steps = append(out.Steps, b.stepsOf(x, step, readings, inside)...)
	}
	slices.SortFunc(out.Steps, func(p, q TransferStep) int { return byAt(p.At, q.At, p.BatchID+p.MoveID, q.BatchID+q.MoveID) })
	out.Summary = summarise(out.Steps)
	return out, nil
}

// readingsOfBatches reads all cellar readings, by batch.
func (s *Service) readingsOfBatches(ctx context.Context, b *cellarBook) (map[string][]way.Reading, error) {
	all, err := records[Reading](ctx, s, Query{Kind: KindReadings})
	if err != nil {
		return nil, err
	}
	out := map[string][]way.Reading{}
	for _, r := range all {
		out[r.BatchID] = append(out[r.BatchID], b.reading(r))
	}
	return out, nil
}

// stepsOf maps one batch with those it was filled from, and keeps the steps of
// the kind that happened to it.
func (b *cellarBook) stepsOf(x *Batch, step string, readings map[string][]way.Reading, inside func(Time) bool) []TransferStep {
	in := way.Input{Focus: x.ID, Batches: []way.Batch{b.batch(x)}}
	moves, at := map[string]*Move{}, x.MadeAt
	for _, m := range b.into[x.ID] {
		if m.FromBatchID == x.ID || m.FromBatchID == "" && step != "dry_hop" {
			continue
		}
		moves[m.ID] = m
		if from := b.batches[m.FromBatchID]; from != nil && !slices.ContainsFunc(in.Batches, func(c way.Batch) bool { return c.ID == from.ID }) {
			in.Batches = append(in.Batches, b.batch(from))
		}
		in.Moves = append(in.Moves, mapMove(m))
		if m.FromBatchID != "" {
			at = m.StartedAt
		}
	}
	if len(moves) == 0 && step != "hold" && step != "line" && step != "dry_hop" || !inside(at) {
		return nil
	}
	for _, c := range in.Batches {
		for _, r := range readings[c.ID] {
			own := c.ID == x.ID && (r.Move == "" || moves[r.Move] != nil)
			if r.Brew == "" && !IsWort(r.Point) && (own || c.ID != x.ID && moves[r.Move] != nil || c.ID != x.ID && r.Move == "" && r.Point == "fermentation_end") {
				in.Readings = append(in.Readings, r)
			}
		}
	}
	in.Limits, in.Budgets = b.limitsFor(x.BeerID)
	m, err := cellar.Build(in)
	if err != nil {
		return nil // the map of this batch says what is wrong with it
	}
	return b.pick(x, step, &m, moves, at)
}

func (b *cellarBook) pick(x *Batch, step string, m *cellar.Map, moves map[string]*Move, at Time) []TransferStep {
	var out []TransferStep
	if step == "transfer" {
		for _, t := range m.Moves {
			mv := moves[t.Move]
			if mv == nil {
				continue
			}
			row := b.row(x, mv, mv.StartedAt)
			row.DeltaPpb, row.Low95Ppb, row.High95Ppb, row.Resolved = t.Delta, t.Low95, t.High95, t.Resolved
			row.Grams, row.AirMLMin, row.BudgetPpb, row.State = t.Grams, t.AirMLMin, t.Budget, t.State
			out = append(out, row)
		}
		return out
	}
	for _, t := range m.Steps {
		if t.Kind != step || t.Batch != x.ID && moves[t.Move] == nil || step == "dry_hop" && t.Delta < 0 {
			continue
		}
		when := at
		for _, n := range m.Nodes {
			if n.ID == t.To && !n.At.IsZero() {
				when = At(n.At)
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

func (b *cellarBook) row(x *Batch, m *Move, at Time) TransferStep {
	row := TransferStep{At: at, BatchID: x.ID, Code: x.Code, VolumeHL: numOr(x.VolumeHL, 0)}
	if beer := b.beers[x.BeerID]; beer != nil {
		row.Beer = beer.Name
	}
	if t := b.tanks[x.TankID]; t != nil {
		row.Tank = t.Name
	}
	if m == nil {
		return row
	}
	row.MoveID, row.Way, row.By, row.Purge = m.ID, strings.Join(m.Via, ", "), b.person(m.By), m.Purge
	row.FlowHLH, row.VolumeHL = numOr(m.FlowHLH, 0), numOr(m.VolumeHL, row.VolumeHL)
	if from := b.batches[m.FromBatchID]; from != nil {
		row.FromCode = from.Code
		if t := b.tanks[from.TankID]; t != nil {
			row.FromTank = t.Name
		}
	}
	return row
}

// summarise groups the steps by beer and way, marks odd ones and finds trends.
func summarise(steps []TransferStep) []TransferSummary {
	groups := map[string][]*TransferStep{}
	for i := range steps {
		t := &steps[i]
		k := t.Beer + "\x00" + t.Way
		groups[k] = append(groups[k], t)
	}
	out := []TransferSummary{}
	for _, g := range groups {
		out = append(out, summaryOf(g))
	}
	slices.SortFunc(out, func(p, q TransferSummary) int {
		if p.MedianPpb != q.MedianPpb {
			if p.MedianPpb > q.MedianPpb {
				return -1
			}
			return 1
		}
		return strings.Compare(p.Beer+p.Way, q.Beer+q.Way)
	})
	return out
}

// leastTrend and leastOdd: fewer steps say nothing of a trend, or of what is usual.
const (
	leastTrend = 5
	leastOdd   = 4
)

func summaryOf(g []*TransferStep) TransferSummary {
	v := make([]float64, len(g))
	sum := TransferSummary{Beer: g[0].Beer, Way: g[0].Way, N: len(g)}
	for i, t := range g {
		v[i] = t.DeltaPpb
		if t.State == "over" {
			sum.Over++
		}
	}
	sum.MedianPpb, sum.LowPpb, sum.HighPpb = v[0], slices.Min(v), slices.Max(v)
	if d, err := stats.Summarize(v); err == nil {
		sum.MedianPpb = d.Median
		for _, t := range g {
			// Beside the scatter of the others, this one's own uncertainty.
			u := (t.High95Ppb - t.Low95Ppb) / 2 / 1.96
			t.Odd = len(g) >= leastOdd && math.Abs(t.DeltaPpb-d.Median) > 3*math.Hypot(1.4826*d.MAD, u)
		}
	}
	if len(g) < leastTrend {
		return sum
	}
	const month = 30.4375 * 24
	x := make([]float64, len(g))
	for i, t := range g {
		x[i] = t.At.Sub(g[0].At.Time).Hours() / month
	}
	fit, err := stats.Regress([][]float64{x}, v, 0.95)
	if err != nil { // all at one time
		return sum
	}
	slope := fit.Slopes[0]
	sum.PerMonth, sum.SlopeLow, sum.SlopeHigh, sum.Trend = &slope.Value, &slope.Interval.Low, &slope.Interval.High, "none"
	if slope.Interval.Low > 0 {
		sum.Trend = "rising"
	} else if slope.Interval.High < 0 {
		sum.Trend = "falling"
	}
	return sum
}
