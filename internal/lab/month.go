package lab

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"ullage/core/stats"
	"ullage/core/verdict"
)

// Month is a month's runs as they were judged, and what they cost.
type Month struct {
	Month  string       `json:"month"`
	Runs   []MonthRun   `json:"runs"`
	Beers  []MonthBeer  `json:"beers" doc:"by beer and format"`
	Pareto []MonthCause `json:"pareto" doc:"causes by the beer they touched, most first"`
	Totals MonthTotals  `json:"totals"`
}

// MonthTotals count runs by what a person decided, and beer in hL.
type MonthTotals struct {
	Runs        int     `json:"runs"`
	HL          float64 `json:"hl"`
	HeldHL      float64 `json:"held_hl" doc:"in the spans that the judgements ask to hold"`
	Released    int     `json:"released"`
	Conditional int     `json:"conditional"`
	Held        int     `json:"held"`
	Undecided   int     `json:"undecided"`
	Unjudged    int     `json:"unjudged" doc:"without a reading"`
}

// MonthRun is one run of a month.
type MonthRun struct {
	RunID     string          `json:"run_id"`
	Number    int             `json:"number"`
	BeerID    string          `json:"beer_id"`
	FormatID  string          `json:"format_id"`
	LineID    string          `json:"line_id"`
	StartedAt Time            `json:"started_at"`
	Readings  int             `json:"readings"`
	Mean      *float64        `json:"mean_tpo_ppb"`
	Bound     *float64        `json:"mean_upper95_ppb"`
	Max       *float64        `json:"max_tpo_ppb"`
	Green     float64         `json:"mean_green_ppb" doc:"limit it was judged by; 0 when it was not"`
	Proposed  string          `json:"proposed" enum:",release,conditional,hold"`
	WithMeter string          `json:"verdict_with_proven_meter" enum:",release,conditional,hold"`
	Rule      string          `json:"rule"`
	Decision  string          `json:"decision" enum:",release,conditional,hold"`
	HL        float64         `json:"hl"`
	HeldHL    float64         `json:"held_hl"`
	Causes    []MonthRunCause `json:"causes"`
	WhyNot    string          `json:"why_not,omitempty" doc:"why it could not be judged"`
}

// MonthRunCause is a cause in a run, with the beer it touched.
type MonthRunCause struct {
	Kind  string  `json:"kind"`
	Where string  `json:"where"`
	PPB   float64 `json:"ppb"`
	HL    float64 `json:"hl"`
}

// MonthBeer is a beer in a format over the month.
type MonthBeer struct {
	BeerID     string                  `json:"beer_id"`
	FormatID   string                  `json:"format_id"`
	Runs       int                     `json:"runs"`
	N          int                     `json:"n"`
	Mean       float64                 `json:"mean_tpo_ppb"`
	Max        float64                 `json:"max_tpo_ppb"`
	HL         float64                 `json:"hl"`
	Limit      float64                 `json:"limit_ppb" doc:"of a single package: what capability is against"`
	Capability *stats.CapabilityResult `json:"capability" doc:"null with too few packages"`
}

// MonthCause is a kind of cause over the month.
type MonthCause struct {
	Kind string  `json:"kind"`
	Runs int     `json:"runs"`
	HL   float64 `json:"hl"`
	PPB  float64 `json:"ppb" doc:"mean of its sizes"`
}

// Month judges every run that began in a month of the brewery's time zone, such
// as 2026-11.
func (s *Service) Month(ctx context.Context, month string) (Month, error) {
	m := Month{Month: month, Runs: []MonthRun{}, Beers: []MonthBeer{}, Pareto: []MonthCause{}}
	if err := s.May(ctx, DoJudge); err != nil {
		return m, err
	}
	first, err := time.Parse("2006-01", month)
	if err != nil {
		return m, fault(Invalid, "month", month, "is not a month", "write it like 2026-11")
	}
	last := first.AddDate(0, 1, -1).Format(time.DateOnly)
	runs, _, err := s.chosen(ctx, CompareQuery{By: "run", From: first.Format(time.DateOnly), To: last})
	if err != nil {
		return m, err
	}
	pooled := map[[2]string]*monthPool{}
	for _, run := range runs {
		d, err := s.RunRecords(ctx, run.ID)
		if err != nil {
			return m, err
		}
		decision, err := s.decided(ctx, run)
		if err != nil {
			return m, err
		}
		format, err := read[Format](ctx, s.Store, KindFormats, run.FormatID)
		if err != nil {
			return m, err
		}
		r := monthRun(d, decision, numOr(format.NominalML, 0)/1e5)
		m.Runs = append(m.Runs, r)
		k := [2]string{run.BeerID, run.FormatID}
		if pooled[k] == nil {
			pooled[k] = &monthPool{}
		}
		pooled[k].add(d, &r)
	}
	m.finish(pooled)
	return m, nil
}

// decided is the last word on a lot: the newest decision, or the state of the
// run where it was set without one.
func (s *Service) decided(ctx context.Context, run *Run) (string, error) {
	list, err := records[LotDecision](ctx, s, Query{Kind: KindDecisions, RunID: run.ID})
	if err != nil {
		return "", err
	}
	list = slices.DeleteFunc(list, func(d *LotDecision) bool { return run.Hold.reopens(d) })
	if len(list) > 0 {
		newest := slices.MaxFunc(list, func(a, b *LotDecision) int { return a.ServerAt.Compare(b.ServerAt.Time) })
		return newest.Decision, nil
	}
	switch run.Hold.State {
	case "held":
		return verdict.Hold, nil
	case "released":
		return verdict.Release, nil
	}
	return "", nil
}

func monthRun(d *RunRecords, decision string, hlEach float64) MonthRun {
	run := d.Run
	r := MonthRun{RunID: run.ID, Number: run.Number, BeerID: run.BeerID, FormatID: run.FormatID, LineID: run.LineID, StartedAt: run.StartedAt,
		Decision: decision, Causes: []MonthRunCause{}}
	rate := numOr(d.Line.PackagesPerMin, 0)
	end := run.EndedAt
	if end.IsZero() && len(d.Samples) > 0 {
		end = slices.MaxFunc(d.Samples, func(a, b *Sample) int { return a.TakenAt.Compare(b.TakenAt.Time) }).TakenAt
	}
	switch r.HL = d.running(run.StartedAt.Time, end.Time) * rate * hlEach; {
	case run.DrawnHL != nil:
		r.HL = *run.DrawnHL
	case run.Packages != nil && hlEach > 0:
		r.HL = *run.Packages * hlEach
	}
	in := d.Input()
	if len(in.Samples) == 0 {
		r.WhyNot = "no reading"
		return r
	}
	j, err := verdict.Judge(in)
	if err != nil {
		r.WhyNot = err.Error()
		return r
	}
	r.Readings, r.Mean, r.Bound, r.Max, r.Green = j.Readings, j.Mean, j.Bound, j.Max, j.Rules.MeanGreen
	r.Proposed, r.WithMeter, r.Rule = j.Verdict, j.WithMeter, j.Rule
	for _, h := range j.Held {
		if h.Packages != nil {
			r.HeldHL += float64(*h.Packages) * hlEach
		}
	}
	r.HeldHL = min(r.HeldHL, r.HL)
	for _, c := range j.Causes {
		hl := d.running(c.From, c.To) * rate * hlEach
		if ofHead := c.Kind == verdict.KindHead || c.Kind == verdict.KindLowFill && !strings.Contains(c.Where, "T"); ofHead && d.Line.Heads > 0 {
			hl /= float64(d.Line.Heads)
		}
		if c.Kind == verdict.KindStation && d.Line.Stations > 0 {
			hl /= float64(d.Line.Stations)
		}
		r.Causes = append(r.Causes, MonthRunCause{c.Kind, c.Where, c.PPB, min(hl, r.HL)})
	}
	return r
}

// running minutes between two moments, less the stops.
func (d *RunRecords) running(from, to time.Time) float64 {
	events := slices.Clone(d.Events)
	slices.SortStableFunc(events, func(a, b *Event) int { return a.At.Compare(b.At.Time) })
	sum := to.Sub(from)
	var stopped time.Time
	for _, e := range events {
		switch {
		case e.EventKind == verdict.Stop && stopped.IsZero():
			stopped = e.At.Time
		case e.EventKind == verdict.Restart && !stopped.IsZero():
			a, b := stopped, e.At.Time
			if a.Before(from) {
				a = from
			}
			if b.After(to) {
				b = to
			}
			if b.After(a) {
				sum -= b.Sub(a)
			}
			stopped = time.Time{}
		}
	}
	return max(0, sum.Minutes())
}

type monthPool struct {
	runs  int
	x     []float64
	hl    float64
	limit float64
}

func (p *monthPool) add(d *RunRecords, r *MonthRun) {
	p.runs++
	p.hl += r.HL
	kept, _ := withoutSlips(d.Samples)
	for _, s := range kept {
		if s.Result != nil && numOr(s.Result.TPOPpb, 0) > 0 {
			p.x = append(p.x, *s.Result.TPOPpb)
		}
	}
	for _, l := range d.Run.InForce.Limits {
		if l.Quantity == "tpo" {
			p.limit = cmp.Or(numOr(l.SingleRedPpb, 0), numOr(l.SingleGreenPpb, 0), p.limit)
		}
	}
}

func (m *Month) finish(pooled map[[2]string]*monthPool) {
	for k, p := range pooled {
		if len(p.x) == 0 {
			continue
		}
		b := MonthBeer{BeerID: k[0], FormatID: k[1], Runs: p.runs, N: len(p.x), Mean: meanOf(p.x), Max: slices.Max(p.x), HL: p.hl, Limit: p.limit}
		if p.limit > 0 {
			if c, err := stats.Capability(p.x, stats.Limits{Upper: &p.limit}, stats.CapabilityOptions{Nature: stats.Positive, Level: 0.95}); err == nil {
				b.Capability = &c
			}
		}
		m.Beers = append(m.Beers, b)
	}
	slices.SortFunc(m.Beers, func(a, b MonthBeer) int {
		return cmp.Or(cmp.Compare(b.HL, a.HL), cmp.Compare(a.BeerID+a.FormatID, b.BeerID+b.FormatID))
	})
	causes := map[string]*MonthCause{}
	for i := range m.Runs {
		r := &m.Runs[i]
		m.Totals.count(r)
		for _, c := range r.Causes {
			if causes[c.Kind] == nil {
				causes[c.Kind] = &MonthCause{Kind: c.Kind}
			}
			e := causes[c.Kind]
			e.PPB = (e.PPB*float64(e.Runs) + c.PPB) / float64(e.Runs+1)
			e.Runs++
			e.HL += c.HL
		}
	}
	for _, c := range causes {
		m.Pareto = append(m.Pareto, *c)
	}
	slices.SortFunc(m.Pareto, func(a, b MonthCause) int { return cmp.Or(cmp.Compare(b.HL, a.HL), cmp.Compare(a.Kind, b.Kind)) })
}

func (t *MonthTotals) count(r *MonthRun) {
	t.Runs++
	t.HL += r.HL
	t.HeldHL += r.HeldHL
	switch {
	case r.Decision == verdict.Release:
		t.Released++
	case r.Decision == verdict.Conditional:
		t.Conditional++
	case r.Decision == verdict.Hold:
		t.Held++
	default:
		t.Undecided++
	}
	if r.WhyNot != "" {
		t.Unjudged++
	}
}

// decodeName reads the name of any record that has one.
func decodeName(body json.RawMessage) (string, error) {
	var v struct{ Name, Code string }
	err := json.Unmarshal(body, &v)
	return cmp.Or(v.Name, v.Code), err
}
