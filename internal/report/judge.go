package report

import (
	"cmp"
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
	Rules       verdict.Rules
	Meter       verdict.Meter
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

// judge asks core/verdict, from the same input as the pages of the app.
func judge(d *Data) Judgement {
	records := lab.RunRecords{Run: &d.Run, Line: &d.Line, Meter: d.Meter, Checks: d.Checks, Direct: d.Direct, DirectChecks: d.DirectChecks, Rules: d.Rules, Readings: d.Readings}
	for i := range d.Samples {
		records.Samples = append(records.Samples, &d.Samples[i])
	}
	records.Events = d.eventList()
	in := records.Input()
	if len(in.Samples) == 0 {
		return Judgement{Why: "no reading is recorded", Rules: verdict.DefaultRules()}
	}
	j, err := verdict.Judge(in)
	if err != nil {
		return Judgement{Why: err.Error(), Rules: verdict.DefaultRules()}
	}
	return Judgement{Proposal: j.Verdict, ProvenMeter: j.WithMeter, Reasons: j.Reasons, Wrong: j.Wrong, Probability: j.ProbabilityWrong,
		Bound: j.Bound, Causes: j.Causes, Held: j.Held, Aside: j.Aside, Rules: j.Rules, Meter: in.Meter}
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
}

// causeWords name a cause for a table.
var causeWords = map[string]string{
	verdict.KindStartup: "start-up", verdict.KindRestart: "restart", verdict.KindDrift: "drift", verdict.KindStep: "step",
	verdict.KindHead: "one head", verdict.KindStation: "one closing station", verdict.KindHeadspace: "headspace, all heads",
	verdict.KindLowFill: "low fill", verdict.KindMeter: "meter", verdict.KindLate: "late reading", verdict.KindUnitSlip: "unit slip",
	verdict.KindTank: "tank", verdict.KindLine: "line before the filler",
}

func causeName(kind string) string { return cmp.Or(causeWords[kind], kind) }

// stateWords name what a person decided.
var stateWords = map[string]string{"": "no decision", verdict.Release: "released", verdict.Conditional: "released with conditions", verdict.Hold: "on hold"}

// decision is the word that counts, nil without one: the newest record of a
// decision, or a hold set on the run after it. A run set to released has no
// condition with it, so it does not go before a recorded decision.
func (d *Data) decision() *Decision {
	var best *Decision
	for i := range d.Decisions {
		x := &d.Decisions[i]
		if best == nil || best.ofRun || !x.ofRun || x.Word == verdict.Hold {
			best = x
		}
	}
	return best
}

func (d *Data) word() string { return deref(d.decision()).Word }

// state of the lot by the person's last word.
func (d *Data) state() string { return stateWords[d.word()] }

// lateLimit is the longest time from closing to reading that is not late.
func (d *Data) lateLimit() time.Duration {
	r := d.judgement().Rules
	m := r.LateMinutes
	if d.Run.InForce.YeastInPackage {
		m = min(m, r.YeastMinutes)
	}
	return time.Duration(m * float64(time.Minute))
}
