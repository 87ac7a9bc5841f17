package verdict

import (
	"fmt"
	"math"

	"ullage/core/stats"
	"ullage/core/uncertainty"
)

// Names of the rules, in the order in which they are looked at.
const (
	RuleReadings = "enough_readings"
	RuleMeter    = "meter_proven"
	RuleTime     = "read_in_time"
	RuleRecord   = "record_in_order"
	RuleSingle   = "no_single_above"
	RuleMean     = "mean_below"
	RuleBound    = "mean_bound_below"
	RuleSetMean  = "set_mean"
	RuleSingles  = "set_singles"
)

// lot judges the packages outside the spans left out.
func (r *run) lot(out []HeldSpan) Decision {
	l := r.lotNumbers(out)
	d := Decision{Verdict: Release, Rule: "all"}
	d.Reasons = append(d.Reasons, r.enough(l), r.meter(), r.inTime(), r.inOrder(), r.singles(l))
	d.Reasons = append(d.Reasons, r.means(l)...)
	for _, reason := range d.Reasons {
		if reason.Passed || d.Verdict == Hold {
			continue
		}
		switch {
		case reason.Rule == RuleMean && l.mean <= r.rules.MeanRed, reason.Rule == RuleBound && l.bound <= r.rules.MeanRed:
			if d.Verdict == Release {
				d.Verdict, d.Rule = Conditional, reason.Rule
			}
		default:
			d.Verdict, d.Rule = Hold, reason.Rule
		}
	}
	r.lotRisk(&d, l)
	return d
}

// lotFigures are what the lot is judged by.
type lotFigures struct {
	n           int
	mean, bound float64
	log, sd     float64 // of ln TPO
	shared      float64 // relative, does not average out
	used        []int
}

func (r *run) lotNumbers(out []HeldSpan) lotFigures {
	l := lotFigures{mean: math.NaN(), bound: math.NaN(), shared: r.shared()}
	var x []float64
	for _, i := range r.order {
		if v := r.use[2][i]; !math.IsNaN(v) && !r.inside(i, out) {
			x = append(x, v)
			l.used = append(l.used, i)
			l.mean = 0
		}
	}
	l.n = len(x)
	for _, v := range x {
		l.mean += v / float64(len(x))
	}
	if l.n < 2 {
		return l
	}
	l.log = logMean(x)
	for _, v := range x {
		l.sd += (math.Log(v) - l.log) * (math.Log(v) - l.log) / float64(l.n-1)
	}
	l.sd = math.Sqrt(l.sd)
	l.bound = math.Inf(1) // they scatter too much for a bound
	if e, err := stats.Mean(x, stats.Positive, 0.95); err == nil {
		l.bound = math.Max(e.UpperBound*l.mean/e.Mean, l.mean)
	}
	// The meter's own part is common to all readings: it joins by squares (eq. J1).
	l.bound = l.mean + math.Hypot(l.bound-l.mean, 1.645*l.shared*l.mean)
	return l
}

func (r *run) inside(i int, out []HeldSpan) bool {
	s := &r.in.Samples[i]
	for _, h := range out {
		if (h.Head == "" || h.Head == s.Head) && !s.at().Before(h.From) && !s.at().After(h.To) {
			return true
		}
	}
	return false
}

func reason(rule string, passed bool, text string) Reason {
	return Reason{Rule: rule, Passed: passed, Text: text}
}

func against(rule string, value, limit float64, text string) Reason {
	out := Reason{Rule: rule, Passed: value <= limit, Text: text, Limit: &limit}
	if finite(value) {
		out.Value = &value
	}
	return out
}

func (r *run) enough(l lotFigures) Reason {
	if l.n == 0 {
		return reason(RuleReadings, false, "no TPO of a package to judge by")
	}
	return reason(RuleReadings, l.n >= r.rules.MinReadings, fmt.Sprintf("%s of TPO, at least %d wanted", plural(l.n, "reading", "readings"), r.rules.MinReadings))
}

func (r *run) inTime() Reason {
	late, unknown, all := 0, 0, 0
	for i := range r.in.Samples {
		if s := &r.in.Samples[i]; s.TPO > 0 {
			all++
			if s.Closed.IsZero() || s.Taken.IsZero() {
				unknown++
			} else if r.late[i] > 0 {
				late++
			}
		}
	}
	limit := fmt.Sprintf("%.0f min of closing", r.rules.LateMinutes)
	switch {
	case late > 0:
		return reason(RuleTime, false, fmt.Sprintf("%s later than %s: oxygen was consumed, so they say nothing good of the lot", plural(late, "package was read", "packages were read"), limit))
	case unknown == all:
		return reason(RuleTime, true, "taken on trust: the time from closing to reading is not known (closed_at); a late reading is too low")
	case unknown > 0:
		return reason(RuleTime, true, fmt.Sprintf("the time from closing to reading is not known of %s; of the others all were read within %s", plural(unknown, "package", "packages"), limit))
	}
	return reason(RuleTime, true, "all packages were read within "+limit)
}

func (r *run) inOrder() Reason {
	if n := len(r.slips); n > 0 {
		return reason(RuleRecord, false, fmt.Sprintf("%s in another unit; correct the record, with the reason", plural(n, "reading looks typed", "readings look typed")))
	}
	return reason(RuleRecord, true, "no reading looks typed in another unit")
}

// singles looks for a package above the single limit. With the limit guarded
// by its uncertainty (JCGM 106, 8.3.2) it must be clearly below.
func (r *run) singles(l lotFigures) Reason {
	limit := r.rules.SingleRed
	confirmed, open, near, top := 0, 0, 0, 0.0
	for _, i := range l.used {
		v := r.use[2][i]
		top = math.Max(top, v)
		switch r.state[i] {
		case confirmedAbove:
			confirmed++
		case openAbove:
			open++
		case nearLimit:
			near++
		}
	}
	text := fmt.Sprintf("highest package %s ppb, limit of a single one %s", number(top), number(limit))
	out := against(RuleSingle, top, limit, text)
	switch {
	case l.n == 0:
		out.Passed, out.Value, out.Text = false, nil, "no package to judge by"
	case confirmed > 0:
		out.Passed = false
		out.Text += fmt.Sprintf("; %s by another of the same head", plural(confirmed, "one above it is confirmed", "above it are confirmed"))
	case open > 0:
		out.Passed = false
		out.Text += fmt.Sprintf("; %s: re-test the head %d times", plural(open, "one above it is neither confirmed nor refuted", "above it are neither confirmed nor refuted"), r.rules.RetestCount)
	default:
		out.Passed = true
		if top > limit {
			out.Text += "; each above it was refuted by re-tests of its head"
		} else if near > 0 {
			out.Text += fmt.Sprintf("; %s within the uncertainty of the limit", plural(near, "lies", "lie"))
		}
	}
	return out
}

// How a single package stands to its limit.
const (
	below = iota
	nearLimit
	refutedAbove
	openAbove
	confirmedAbove
)

// judgeSingles says of each package how it stands to the single limit: above it,
// it is confirmed by another of its head above it within the time for re-tests,
// refuted by enough good ones read in time.
func (r *run) judgeSingles() {
	r.state = make([]int, len(r.in.Samples))
	for k, i := range r.order {
		v := r.use[2][i]
		switch {
		case math.IsNaN(v):
		case v > r.rules.SingleRed:
			r.state[i] = r.highSingle(k)
		case v > uncertainty.GuardedLimit(r.rules.SingleRed, r.in.Samples[i].U, r.rules.Risk):
			r.state[i] = nearLimit
		}
	}
}

func (r *run) highSingle(k int) int {
	s := &r.in.Samples[r.order[k]]
	good := 0
	for _, way := range []int{-1, 1} {
		for j := k + way; j >= 0 && j < len(r.order); j += way {
			i := r.order[j]
			o := &r.in.Samples[i]
			if math.Abs(o.at().Sub(s.at()).Minutes()) > r.rules.RetestMinutes {
				break
			}
			if o.Head != s.Head || math.IsNaN(r.use[2][i]) {
				continue
			}
			if r.use[2][i] > r.rules.SingleRed {
				return confirmedAbove
			}
			if way > 0 && r.goodSingle(i) {
				good++
			}
		}
	}
	if good >= r.rules.RetestCount {
		return refutedAbove
	}
	return openAbove
}

// goodSingle: a late reading proves nothing good, its oxygen is partly consumed.
func (r *run) goodSingle(i int) bool {
	return r.use[2][i] <= r.rules.SingleGreen && r.late[i] == 0 // NaN is not good
}

func (r *run) means(l lotFigures) []Reason {
	mean := against(RuleMean, l.mean, r.rules.MeanGreen, "no mean: no readings")
	bound := against(RuleBound, l.bound, r.rules.MeanBound, "no bound: too few readings")
	if l.n > 0 {
		mean.Text = fmt.Sprintf("mean %s ppb, limit %s", number(l.mean), number(r.rules.MeanGreen))
	}
	switch {
	case math.IsInf(l.bound, 1):
		bound.Text = "the readings scatter too much for an upper bound of their mean"
	case l.n > 1:
		bound.Text = fmt.Sprintf("upper 95 %% bound of the mean %s ppb, limit %s", number(l.bound), number(r.rules.MeanBound))
	}
	return []Reason{mean, bound}
}

// lotRisk is the probability that the true mean lies where the decision would
// be wrong.
func (r *run) lotRisk(d *Decision, l lotFigures) {
	if l.n < 2 {
		return
	}
	above := func(limit float64) float64 {
		// Normal on the log scale about the lognormal mean, by Cox's variance (eq. J2).
		v := l.sd*l.sd/float64(l.n) + math.Pow(l.sd, 4)/(2*float64(l.n-1)) + l.shared*l.shared
		return uncertainty.Above(math.Log(l.mean), math.Sqrt(math.Max(v, 1e-12)), float64(l.n-1), math.Log(limit))
	}
	var p float64
	switch d.Verdict {
	case Release:
		p, d.Wrong = above(r.rules.MeanBound), fmt.Sprintf("the true mean lies above %s ppb", number(r.rules.MeanBound))
	case Conditional:
		p, d.Wrong = above(r.rules.MeanRed), fmt.Sprintf("the true mean lies above %s ppb", number(r.rules.MeanRed))
	default:
		if d.Rule != RuleMean && d.Rule != RuleBound {
			d.Wrong = "not a matter of chance: the rule " + d.Rule + " holds it"
			return
		}
		p, d.Wrong = 1-above(r.rules.MeanGreen), fmt.Sprintf("the true mean lies at or below %s ppb", number(r.rules.MeanGreen))
	}
	d.ProbabilityWrong = &p
}
