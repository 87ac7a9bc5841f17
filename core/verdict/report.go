package verdict

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"slices"
	"time"

	"ullage/core/stats"
)

// Report is a judgement with the chart that shows it and what it was judged
// from, so that a decision can name both.
type Report struct {
	Judgement
	Meter Meter `json:"meter"` // as judged
	// DirectMeter is the instrument that read TPO directly; nil where none did.
	DirectMeter *Meter `json:"direct_meter,omitempty"`
	// InputHash names the input: the same readings, events, limits, rules and
	// meter checks give the same, whatever their order.
	InputHash string    `json:"input_hash"`
	Chart     *RunChart `json:"chart"` // nil with fewer than four packages
	// Notes say what the reader must know of the method, such as that the figures
	// stand in for direct ones.
	Notes []string `json:"notes,omitempty"`
}

// RunChart is the chart of single packages in the order of closing: limits of
// the run's own ordinary scatter, on the log scale, and the run rules that were
// hit. Limits of the specification are in the judgement's rules.
type RunChart struct {
	Center float64      `json:"center_ppb"`
	Lower  float64      `json:"lower_ppb"`
	Upper  float64      `json:"upper_ppb"`
	Points []ChartPoint `json:"points"`
	Hits   []RuleHit    `json:"hits"`
	Scale  string       `json:"scale"`
	Method string       `json:"method"`
}

// ChartPoint is one package on the chart.
type ChartPoint struct {
	ID   string    `json:"id,omitempty"`
	At   time.Time `json:"at"`
	Head string    `json:"head,omitempty"`
	TPO  float64   `json:"tpo_ppb"`
	// Direct: read directly, not calculated from shaken DO.
	Direct bool `json:"direct,omitempty"`
}

// RuleHit is a run rule that was hit, over a stretch of points.
type RuleHit struct {
	Rule    string    `json:"rule"`
	Side    string    `json:"side,omitempty"`
	Meaning string    `json:"meaning"`
	From    time.Time `json:"from"`
	To      time.Time `json:"to"`
	Points  int       `json:"points"`
	First   int       `json:"first"` // index of its first point
}

// JudgeRun judges a run and adds its chart.
func JudgeRun(in Input) (Report, error) {
	hash := fingerprint(in)
	j, err := Judge(in)
	if err != nil {
		return Report{}, err
	}
	out := Report{Judgement: j, Meter: in.Meter, DirectMeter: in.DirectMeter, InputHash: hash, Chart: chart(&in, j.Rules)}
	if j.Ways != nil {
		out.Notes = append(out.Notes, j.Ways.Sentence+".")
	}
	return out, nil
}

// MeterProven tells that every instrument whose TPO is used was proven before
// and after the run.
func (j *Judgement) MeterProven() bool {
	for _, r := range j.Reasons {
		if r.Rule == RuleMeter {
			return r.Passed
		}
	}
	return false
}

// runRules are those with few false alarms in a run of some thirty packages:
// the zones of two and one standard deviations would cry in one run of four.
func runRules() []stats.RunRule {
	return []stats.RunRule{{Rule: stats.BeyondLimits, Length: 1}, {Rule: stats.OneSide, Length: 9}, {Rule: stats.SteadyTrend, Length: 6}}
}

func fingerprint(in Input) string {
	in.Samples, in.Events = slices.Clone(in.Samples), slices.Clone(in.Events)
	for i := range in.Samples {
		s := &in.Samples[i]
		s.Taken, s.Closed = s.Taken.UTC(), s.Closed.UTC()
	}
	for i := range in.Events {
		in.Events[i].At = in.Events[i].At.UTC()
	}
	slices.SortStableFunc(in.Samples, func(a, b Sample) int {
		return cmp.Or(a.at().Compare(b.at()), a.Taken.Compare(b.Taken), cmp.Compare(a.ID, b.ID), cmp.Compare(a.Head, b.Head), cmp.Compare(a.TPO, b.TPO))
	})
	slices.SortStableFunc(in.Events, func(a, b Event) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Kind, b.Kind)) })
	text, err := json.Marshal(in)
	if err != nil { // a number that is not finite: Judge refuses it
		return ""
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:8])
}

func chart(in *Input, rules Rules) *RunChart {
	r := newRun(in, rules)
	var x []float64
	c := &RunChart{Hits: []RuleHit{}}
	for _, i := range r.order {
		if v := r.use[2][i]; !math.IsNaN(v) {
			s := &in.Samples[i]
			x = append(x, v)
			c.Points = append(c.Points, ChartPoint{ID: s.ID, At: s.at(), Head: s.Head, TPO: v, Direct: s.Direct})
		}
	}
	if len(x) < 4 {
		return nil
	}
	found, err := stats.Individuals(x, stats.ChartOptions{Nature: stats.Positive, Rules: runRules()})
	if err != nil {
		return nil
	}
	c.Center, c.Lower, c.Upper = found.Center, found.Points[0].Lower, found.Points[0].Upper
	c.Scale, c.Method = string(found.Scale), found.Method
	for _, s := range found.Signals {
		h := RuleHit{Rule: string(s.Rule), Side: s.Side, Meaning: s.Meaning, From: c.Points[s.From].At, To: c.Points[s.Index].At, Points: s.Index - s.From + 1, First: s.From}
		// A pattern that goes on completes again with every point: one hit.
		if n := len(c.Hits) - 1; n >= 0 {
			if k := slices.IndexFunc(c.Hits, func(o RuleHit) bool {
				return o.Rule == h.Rule && o.Side == h.Side && o.First+o.Points >= h.First && h.Rule != string(stats.BeyondLimits)
			}); k >= 0 {
				c.Hits[k].To, c.Hits[k].Points = h.To, s.Index-c.Hits[k].First+1
				continue
			}
		}
		c.Hits = append(c.Hits, h)
	}
	return c
}
