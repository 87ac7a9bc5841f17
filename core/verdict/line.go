package verdict

import (
	"fmt"
	"math"

	"ullage/core/uncertainty"
)

// line judges the last set: keep going, re-test or stop.
func (r *run) line(sets [][]int, m *fit) Decision {
	d := Decision{Verdict: Retest, Rule: RuleReadings}
	if len(sets) == 0 {
		d.Reasons = []Reason{reason(RuleReadings, false, "no TPO of a package to judge by: pull a set")}
		return d
	}
	last := sets[len(sets)-1]
	s := r.describe(last)
	mean := against(RuleSetMean, s.Mean, r.rules.MeanGreen, fmt.Sprintf("the set of %s: mean of %s %s ppb, limit %s, stop above %s",
		clock(s.From), plural(s.N, "package", "packages"), number(s.Mean), number(r.rules.MeanGreen), number(r.rules.MeanRed)))
	worst := below
	heads := ""
	for _, i := range last {
		if k := r.state[i]; k > worst {
			worst, heads = k, r.in.Samples[i].Head
		}
	}
	single := against(RuleSingles, s.Max, r.rules.SingleGreen, fmt.Sprintf("highest %s ppb, limit %s, red above %s", number(s.Max), number(r.rules.SingleGreen), number(r.rules.SingleRed)))
	switch {
	case s.Mean > r.rules.MeanRed:
		d.Verdict, d.Rule = StopLine, RuleSetMean
	case worst == confirmedAbove:
		d.Verdict, d.Rule = StopLine, RuleSingles
		single.Text += ", confirmed" + onHead(heads)
	case worst == openAbove:
		d.Rule = RuleSingles
		single.Text += fmt.Sprintf("; re-test%s %d times within %.0f min", onHead(heads), r.rules.RetestCount, r.rules.RetestMinutes)
	case !mean.Passed:
		d.Rule = RuleSetMean
		mean.Text += "; re-test, adjust, note it"
	case !single.Passed || worst == nearLimit:
		single.Passed = false
		d.Rule = RuleSingles
		single.Text += "; re-test" + onHead(heads)
	default:
		d.Verdict, d.Rule = KeepGoing, "all"
	}
	d.Reasons = []Reason{mean, single}
	r.lineRisk(&d, s, m)
	return d
}

func onHead(head string) string {
	if head == "" {
		return ""
	}
	return " of head " + head
}

// lineRisk takes the scatter of the whole run, which a set of a few packages
// cannot tell (eq. J2).
func (r *run) lineRisk(d *Decision, s Set, m *fit) {
	if m == nil || d.Verdict == Retest {
		return
	}
	sd := m.sd()
	u := math.Sqrt(sd*sd/float64(s.N) + r.shared()*r.shared())
	limit, want := r.rules.MeanRed, "above"
	p := uncertainty.Above(math.Log(s.Mean), u, m.nu, math.Log(limit))
	if d.Verdict == StopLine {
		if d.Rule == RuleSingles {
			return
		}
		limit, want = r.rules.MeanGreen, "at or below"
		p = 1 - uncertainty.Above(math.Log(s.Mean), u, m.nu, math.Log(limit))
	}
	d.ProbabilityWrong, d.Wrong = &p, fmt.Sprintf("the true mean now lies %s %s ppb", want, number(limit))
}
