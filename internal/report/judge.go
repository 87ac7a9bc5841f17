package report

import (
	"cmp"
	"strconv"
	"time"

	"ullage/core/verdict"
	"ullage/internal/lab"
)

// Judgement is what a paper prints of a judgement.
type Judgement struct {
	Proposal    string // release, conditional, hold; empty: none can be made
	ProvenMeter string // the proposal if the meter were proven before and after
	Reasons     []verdict.Reason
	Wrong       string   // what would be wrong …
	Probability *float64 // … and how probable that is
	Bound       *float64 // upper 95 % bound of the mean TPO, ppb
	Causes      []verdict.Cause
	Held        []verdict.HeldSpan
	Aside       []verdict.Aside
	FromDefault bool   // judged by starting points, since no limit is recorded
	Why         string // why there is none
}

// judgement of the run, made once.
func (d *Data) judgement() *Judgement {
	if d.judged == nil {
		j := judge(d)
		d.judged = &j
	}
	return d.judged
}

// setAside tells a reading that the judgement keeps out of the figures.
func (d *Data) setAside(s *lab.Sample) bool {
	for _, a := range d.judgement().Aside {
		if a.ID == s.ID {
			return true
		}
	}
	return false
}

// judge asks core/verdict. The records hold when a meter was checked and what
// was noted, but no outcome, so no check counts as passed here.
func judge(d *Data) Judgement {
	in := verdict.Input{Rules: rulesOf(d), Line: verdict.Line{Heads: d.Line.Heads, PerMinute: value(d.Line.PackagesPerMin)}}
	if d.Meter != nil {
		in.Meter.URel = value(d.Meter.URel)
	}
	for i := range d.Samples {
		in.Samples = append(in.Samples, verdictSample(d, &d.Samples[i]))
	}
	for _, e := range d.Events {
		if e.EventKind != "note" {
			in.Events = append(in.Events, verdict.Event{Kind: e.EventKind, At: e.At.Time})
		}
	}
	if len(in.Samples) == 0 {
		return Judgement{Why: "no sample is recorded"}
	}
	j, err := verdict.Judge(in)
	if err != nil {
		return Judgement{Why: err.Error()}
	}
	return Judgement{Proposal: j.Verdict, ProvenMeter: j.WithMeter, Reasons: j.Reasons, Wrong: j.Wrong, Probability: j.ProbabilityWrong,
		Bound: j.Bound, Causes: j.Causes, Held: j.Held, Aside: j.Aside, FromDefault: j.Rules.FromDefault}
}

// rulesOf are the limits in force at the start of the run.
func rulesOf(d *Data) verdict.Rules {
	l := d.limit("tpo")
	r := verdict.ForLimit(value(l.MeanGreenPpb), value(l.SingleRedPpb))
	if l.SingleGreenPpb != nil {
		r.SingleGreen = min(*l.SingleGreenPpb, r.SingleRed)
		r.FromDefault = false
	}
	return r
}

func verdictSample(d *Data, s *lab.Sample) verdict.Sample {
	out := verdict.Sample{ID: s.ID, Taken: s.TakenAt.Time, Closed: s.ClosedAt.Time, Yeast: d.Run.InForce.YeastInPackage}
	if s.Head > 0 {
		out.Head = strconv.Itoa(s.Head)
	}
	if s.Station > 0 {
		out.Station = strconv.Itoa(s.Station)
	}
	switch s.SampleKind {
	case "inlet":
		out.Inlet = s.Inputs.DOPpb
	case "unshaken":
		out.Unshaken = s.Inputs.DOPpb
	default:
		out.Shaken = s.Inputs.DOPpb
		out.TPO, out.U = tpoOf(s)
		if s.Result != nil && s.Result.BeerML != nil {
			out.Beer, out.FillKnown = *s.Result.BeerML, s.Result.Path != "assumed"
		}
		if v := value(s.Inputs.DOPpb); v > 0 {
			out.Factor = out.TPO / v
		}
	}
	return out
}

func value(p *float64) float64 {
	if p == nil {
		return 0
	}
	return *p
}

// words of a verdict, as a person reads them.
var verdictWords = map[string]string{
	verdict.Release: "release", verdict.Conditional: "release with conditions", verdict.Hold: "hold",
	"none": "open", "": "open", "held": "on hold", "released": "released",
}

// causeWords name a cause for a table.
var causeWords = map[string]string{
	verdict.KindStartup: "start-up", verdict.KindRestart: "restart", verdict.KindDrift: "drift", verdict.KindStep: "step",
	verdict.KindHead: "one head", verdict.KindStation: "one closing station", verdict.KindHeadspace: "headspace, all heads",
	verdict.KindLowFill: "low fill", verdict.KindMeter: "meter", verdict.KindLate: "late reading", verdict.KindUnitSlip: "unit slip",
	verdict.KindTank: "tank", verdict.KindLine: "line before the filler",
}

func causeName(kind string) string { return cmp.Or(causeWords[kind], kind) }

// state of the lot by the person's last word.
func (d *Data) state() string { return verdictWords[d.Run.Hold.State] }

// lateLimit is the longest time from closing to reading that is not late.
func (d *Data) lateLimit() time.Duration {
	r := verdict.DefaultRules()
	m := r.LateMinutes
	if d.Run.InForce.YeastInPackage {
		m = r.YeastMinutes
	}
	return time.Duration(m) * time.Minute
}
