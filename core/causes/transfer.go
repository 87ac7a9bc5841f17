package causes

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"ullage/core/quantity"
	"ullage/core/way"
)

// Test is a set of readings made to find a cause: before and after something at
// one flow or several, or of one place over time.
type Test struct {
	Where string // words: "filter"
	Step  string // step it is of, for the words
	Held  bool   // a vessel, not a flow
	Yeast bool   // that vessel holds yeast
	Rows  []TestRow
}

// TestRow is one moment of a test. One of In and Out may be absent.
type TestRow struct {
	At                time.Time
	Minutes           *float64 // instead of a time
	FlowHLH           float64
	In, Out           *float64
	InU, OutU         float64
	MeterIn, MeterOut string
}

// Tested is what a test says. Flow and Trace are absent where the rows hold none.
type Tested struct {
	Findings []Finding `json:"findings"` // none: nothing is resolved
	Flow     *FlowTest `json:"flow_test,omitempty"`
	Trace    *Trace    `json:"trace,omitempty"`
	Said     string    `json:"said"`
}

// Diagnose reads a test.
func Diagnose(t Test) Tested { return t.Read(Alpha) }

// Read reads a test at a share of false alarms of its own, as one of several.
func (t *Test) Read(level float64) Tested {
	out := Tested{Findings: []Finding{}}
	said := []string{}
	pairs, twoMeters := t.Pairs()
	least, most := FlowRange(pairs)
	varied := len(pairs) >= 2 && most >= 1.25*least
	if x, ok := t.exchanged(varied, level); ok {
		out.Findings, out.Said = append(out.Findings, x), x.Evidence
		return out
	}
	if varied && !t.Held {
		f := testFlows(pairs, level)
		out.Flow = &f
		said = append(said, f.Said)
		if f.Kind != FoundNothing {
			out.Findings = append(out.Findings, t.ofFlow(&f, twoMeters))
		}
	}
	points, flow, pickup := t.trace()
	if len(points) >= LeastTrace && (!varied || t.Held) {
		r := readTrace(points, flow, level)
		if pickup && r.Kind != FoundNothing {
			r.Said = "the pick-up " + r.Said
		}
		out.Trace = &r
		said = append(said, r.Said)
		if r.Kind != FoundNothing {
			out.Findings = append(out.Findings, t.ofTrace(&r))
		}
	} else if t.Held && len(points) >= 2 {
		f, text := t.ends(points, level)
		said = append(said, text)
		out.Findings = append(out.Findings, f...)
	} else if len(pairs) > 0 && !varied && !t.Held {
		f := testFlows(pairs, level)
		out.Flow = &f
		said = append(said, f.Said)
		if f.Kind != FoundNothing {
			out.Findings = append(out.Findings, t.ofFlow(&f, twoMeters))
		}
	}
	if out.Said = strings.Join(said, "; "); out.Said == "" {
		out.Said = "too few readings to say anything: both sides at two flows, or five of one point over time"
	}
	return out
}

// Pairs are the pickups of the rows with both sides and a flow. An adjustment
// that one meter has on both sides falls out; that of two is the same in every
// row, which looks like something dosed, and is said.
func (t *Test) Pairs() (list []FlowPoint, twoMeters bool) {
	for _, r := range t.Rows {
		if r.In == nil || r.Out == nil || r.FlowHLH <= 0 {
			continue
		}
		a, _ := way.Spread(&way.Reading{DO: *r.In, U: r.InU})
		b, _ := way.Spread(&way.Reading{DO: *r.Out, U: r.OutU})
		list = append(list, FlowPoint{r.FlowHLH, *r.Out - *r.In, math.Hypot(a, b)})
		twoMeters = twoMeters || r.MeterIn != r.MeterOut
	}
	return list, twoMeters
}

// FlowRange is the least and the most flow.
func FlowRange(list []FlowPoint) (least, most float64) {
	least = math.Inf(1)
	for _, p := range list {
		least, most = math.Min(least, p.FlowHLH), math.Max(most, p.FlowHLH)
	}
	return least, most
}

// trace is the pickup over time, or the reading after where nothing was read
// before, and the mean flow.
func (t *Test) trace() (list []TracePoint, flow float64, both bool) {
	rows := slices.Clone(t.Rows)
	slices.SortStableFunc(rows, func(a, b TestRow) int { return way.Earlier(a.At, b.At) })
	n := 0.0
	both = len(rows) > 0 && !slices.ContainsFunc(rows, func(r TestRow) bool { return r.In == nil })
	for _, r := range rows {
		if r.Out == nil || r.At.IsZero() && r.Minutes == nil {
			continue
		}
		u, _ := way.Spread(&way.Reading{DO: *r.Out, U: r.OutU})
		p := TracePoint{DO: *r.Out, U: u}
		if both {
			a, _ := way.Spread(&way.Reading{DO: *r.In, U: r.InU})
			p.DO, p.U = p.DO-*r.In, math.Hypot(u, a)
		}
		if r.Minutes != nil {
			p.Minutes = *r.Minutes
		} else {
			p.Minutes = r.At.Sub(rows[0].At).Minutes()
		}
		list = append(list, p)
		if r.FlowHLH > 0 {
			flow += r.FlowHLH
			n++
		}
	}
	slices.SortStableFunc(list, func(a, b TracePoint) int { return cmp.Compare(a.Minutes, b.Minutes) })
	if n > 0 {
		flow /= n
	}
	return list, flow, both
}

// Finding is one of this test, with the check of its kind.
func (t *Test) Finding(kind string, ppb float64, evidence string) Finding {
	return Finding{Kind: kind, Where: t.Where, PPB: ppb, Evidence: evidence, NextCheck: checkOf[kind]}
}

func (t *Test) ofFlow(f *FlowTest, twoMeters bool) Finding {
	x := t.Finding(f.Kind, f.PPB, fmt.Sprintf("%s; %d pairs, noise alone does this once in %s", f.Said, f.N, odds(f.P)))
	x.Fit = map[string]any{"n": f.N, "p": f.P, "chi2": f.Chi2, "next_best": f.Next, "next_chi2": f.NextChi2}
	switch f.Kind {
	case FoundLeak:
		x.Fit["grams_per_h"], x.Fit["air_ml_min"], x.Fit["low95"], x.Fit["high95"] = f.GramsPerH, f.AirMLMin, f.Low95, f.High95
	case FoundProportional:
		if twoMeters {
			x.Evidence += "; two meters read it, and an offset between them looks the same"
		}
	case FoundUnclear:
		if f.PPB < 0 {
			x.Kind, x.NextCheck = FoundOffset, checkOf[FoundOffset]
			x.Evidence += "; both sides exchanged would look the same"
		}
	}
	return x
}

func (t *Test) ofTrace(r *Trace) Finding {
	size := r.End - r.Start
	kind := map[string]string{"decay": FoundWashout, FoundStep: FoundStep, FoundRise: FoundRise, "fall": FoundWashout, FoundCycle: FoundCycle}[r.Kind]
	if t.Held && kind != FoundCycle {
		switch {
		case size > 0:
			kind = FoundTankGas
		case t.Yeast:
			kind = FoundConsumption
		default:
			kind = FoundOffset
		}
	}
	x := t.Finding(kind, size, fmt.Sprintf("%s; %d readings, noise alone does this once in %s", r.Said, r.N, odds(r.P)))
	x.Fit = map[string]any{"n": r.N, "p": r.P, "start_ppb": r.Start, "end_ppb": r.End}
	switch {
	case r.Tau > 0:
		x.Fit["tau_min"], x.Fit["tau_low_min"], x.Fit["tau_high_min"] = r.Tau, r.TauLow, r.TauHigh
		if r.VolumeHL > 0 {
			x.Fit["volume_hl"] = r.VolumeHL
		}
	case r.Period > 0:
		x.PPB = r.Swing
		x.Fit["period_min"], x.Fit["swing_ppb"], x.Fit["low95"], x.Fit["high95"] = r.Period, r.Swing, r.Low95, r.High95
		if r.PeriodLow > 0 {
			x.Fit["period_low_min"], x.Fit["period_high_min"] = r.PeriodLow, r.PeriodHigh
		}
	case r.PerHour != 0:
		x.Fit["ppb_per_h"], x.Fit["low95"], x.Fit["high95"] = r.PerHour, r.Low95, r.High95
	case r.At > 0:
		x.Fit["at_min"], x.Fit["low95"], x.Fit["high95"] = r.At, r.Low95, r.High95
	}
	if kind == FoundWashout {
		x.PPB = r.Start - r.End
	}
	if kind == FoundConsumption && r.Tau > 0 {
		x.Evidence += fmt.Sprintf("; half of it in %s h", quantity.Figure(r.Tau*math.Ln2/60))
	}
	return x
}

// ends compares the first and the last reading of a vessel.
func (t *Test) ends(points []TracePoint, level float64) ([]Finding, string) {
	a, b := points[0], points[len(points)-1]
	d, u := b.DO-a.DO, math.Hypot(a.U, b.U)
	hours := (b.Minutes - a.Minutes) / 60
	text := fmt.Sprintf("%s to %s ppb in %s h", quantity.Figure(a.DO), quantity.Figure(b.DO), quantity.Figure(hours))
	if math.Erfc(math.Abs(d)/u/math.Sqrt2) > level || hours <= 0 {
		return nil, text + " is inside the scatter: nothing resolved"
	}
	kind := FoundTankGas
	if d < 0 {
		if kind = FoundOffset; t.Yeast {
			kind = FoundConsumption
		}
	}
	f := t.Finding(kind, d, text)
	f.Fit = map[string]any{"n": len(points), "ppb_per_h": d / hours}
	if kind == FoundConsumption && b.DO > 0 {
		h := hours * math.Ln2 / math.Log(a.DO/b.DO)
		f.Fit["half_life_h"] = h
		f.Evidence += fmt.Sprintf("; half of it in %s h", quantity.Figure(h))
	} else if kind == FoundTankGas {
		f.Evidence += fmt.Sprintf("; %s ppb an hour", quantity.Signed(d/hours))
	}
	return []Finding{f}, text
}

// odds in words of one in so many.
func odds(p float64) string {
	if p < 1e-6 {
		return "a million or more"
	}
	return quantity.Figure(math.Round(1 / p))
}
