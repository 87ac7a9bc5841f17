package calc

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"ullage/core/quantity"
	"ullage/core/stats"
)

// The verdicts of an agreement study.
const (
	MayStandIn  = "may stand in"
	NotYetShown = "not yet shown"
	Differs     = "differs"
)

// The shapes of a difference, and where each points.
const (
	ByOffset    = "offset"
	ByRatio     = "proportional"
	ByHeadspace = "headspace-dependent"
	ByScatter   = "scatter"
)

// Because is one shape of the difference: how much it is where it is largest,
// and where to look.
type Because struct {
	Kind string  `json:"kind"`
	PPB  float64 `json:"ppb"`
	Text string  `json:"text"`
	Look string  `json:"look"`
}

// end is the fitted difference at one end of a range, with its 95 % interval.
type end struct{ at, value, low, high float64 }

func (e end) beyond(margin float64) bool { return e.low > margin || e.high < -margin }

// judge puts the study in words. "Differs" is said only where an interval lies
// outside the margin, "may stand in" only where one lies inside.
func (a *agreement) judge() {
	o := &a.out
	need := a.in.MinPairs
	if need == 0 {
		need = agreePairs
	}
	ends, headspace := a.alongLevel(), a.alongHeadspace()
	leveled := slices.ContainsFunc(ends, func(e end) bool { return e.beyond(o.Margin) })
	filled := headspace != nil && headspace.beyond(o.Margin)
	mean := end{value: o.Bias, low: o.BiasLow95, high: o.BiasHigh95}
	scattered := o.WithinP < 0.05
	o.Because = []Because{}
	switch {
	case mean.beyond(o.Margin) || leveled || filled:
		o.Verdict = Differs
		a.shapes(ends, headspace, mean.beyond(o.Margin) || leveled)
	case scattered && a.known:
		o.Verdict = Differs
		o.Because = append(o.Because, Because{ByScatter, o.SD, fmt.Sprintf("single pairs scatter more than their stated uncertainties allow: %d of %d lie within", o.Within, o.N),
			"the stated uncertainties, the shaking, and whether each pair is of one package"})
	case o.Equivalent && o.N >= need && !scattered:
		o.Verdict = MayStandIn
	default:
		o.Verdict = NotYetShown
	}
	a.more(need)
	o.Sentence = a.sentence(need, scattered)
	a.rangeWarnings(ends)
}

// alongLevel is the difference that the Deming line gives at the lowest and the
// highest direct reading: bias + (slope − 1)(x − x̄).
func (a *agreement) alongLevel() []end {
	if a.deming == nil {
		return nil
	}
	n := float64(a.out.N)
	var mean float64
	for _, x := range a.direct {
		mean += x / n
	}
	seBias, t := a.out.SD/math.Sqrt(n), stats.StudentTQuantile(0.975, n-2)
	var list []end
	for _, x := range []float64{a.out.DirectLow, a.out.DirectHigh} {
		v := a.out.Bias + (a.deming.Slope-1)*(x-mean)
		half := t * math.Hypot(seBias, (x-mean)*a.deming.SlopeSE)
		list = append(list, end{x, v, v - half, v + half})
	}
	return list
}

// alongHeadspace is how much the difference changes from the smallest to the
// largest headspace: a wrong fill brings shaken DO × K × the slip in headspace
// over beer, so the differences are set against level × ratio, beside the level.
// Nil where the volumes are not known, do not vary, or nothing is shown.
func (a *agreement) alongHeadspace() *end {
	var levels, crossed, d, ratios []float64
	for i, p := range a.in.Rows {
		if p.Beer == nil || p.Headspace == nil {
			continue
		}
		ratios = append(ratios, float64(*p.Headspace)/float64(*p.Beer))
		levels, d = append(levels, a.out.Pairs[i].Mean), append(d, a.out.Pairs[i].Difference)
	}
	if len(d) < 8 {
		return nil
	}
	s, err := stats.Summarize(ratios)
	if err != nil || !(s.SD > 0.005*s.Mean) {
		return nil
	}
	var level float64
	for i, r := range ratios {
		crossed = append(crossed, levels[i]*(r-s.Mean))
		level += levels[i] / float64(len(levels))
	}
	r, err := stats.Regress([][]float64{levels, crossed}, d, 0.95)
	if err != nil || r.Slopes[1].P > headspaceRisk {
		return nil
	}
	c, span := r.Slopes[1], level*(s.Max-s.Min)
	return &end{s.Max, c.Value * span, c.Interval.Low * span, c.Interval.High * span}
}

// shapes names what the difference looks like, the largest first.
func (a *agreement) shapes(ends []end, headspace *end, byLevel bool) {
	o := &a.out
	if byLevel {
		steep := a.deming != nil && (a.deming.SlopeInterval.Low > 1 || a.deming.SlopeInterval.High < 1)
		if steep {
			worst := slices.MaxFunc(ends, func(x, y end) int { return cmp.Compare(math.Abs(x.value), math.Abs(y.value)) })
			o.Because = append(o.Because, Because{ByRatio, worst.value,
				fmt.Sprintf("it grows with the level: %s %% of the reading, %s ppb at %.0f ppb", signed(100*(a.deming.Slope-1)), signed(worst.value), worst.at),
				"the partition ratio's inputs: temperature of the package (its unit too), capacity of the format, slope of the meter in air"})
		}
		if !steep || a.deming.InterceptInterval.Low > 0 || a.deming.InterceptInterval.High < 0 {
			v := o.Bias
			text := fmt.Sprintf("it is an offset, alike at all levels: %s ppb", signed(v))
			if steep {
				v = a.deming.Intercept
				text = fmt.Sprintf("a part is an offset, alike at all levels: %s ppb", signed(v))
			}
			o.Because = append(o.Because, Because{ByOffset, v, text, "the zero of either meter, and the fill or tare in force (a constant slip in volume)"})
		}
	}
	if headspace == nil {
		return
	}
	h := Because{ByHeadspace, headspace.value,
		fmt.Sprintf("it goes with the headspace: %s ppb from the smallest to the largest", signed(headspace.value)),
		"the fill: weigh each package, or measure its fill height; check tare and capacity of the lot"}
	if len(o.Because) > 0 && math.Abs(o.Because[0].PPB) > math.Abs(h.PPB) {
		o.Because = append(o.Because, h)
	} else {
		o.Because = slices.Insert(o.Because, 0, h)
	}
}

// more is how many pairs would show equivalence, if mean and spread stay.
func (a *agreement) more(need int) {
	n, err := stats.PairsForEquivalence(a.out.Bias, a.out.SD, a.out.Margin, agreeAlpha, agreePower)
	if err != nil || n == 0 {
		return
	}
	n = max(n, need)
	left := max(0, n-a.out.N)
	a.out.PairsNeeded, a.out.PairsMore = &n, &left
}

func (a *agreement) sentence(need int, scattered bool) string {
	o := &a.out
	margin := strconv.FormatFloat(o.Margin, 'f', -1, 64)
	switch o.Verdict {
	case MayStandIn:
		return fmt.Sprintf("The calculated figure may stand in for the direct one between %.0f and %.0f ppb: the mean difference lies within ±%s ppb.", o.DirectLow, o.DirectHigh, margin)
	case Differs:
		text := fmt.Sprintf("The two differ, by %s ppb in the mean (95 %%: %s to %s)", signed(o.Bias), signed(o.BiasLow95), signed(o.BiasHigh95))
		if len(o.Because) > 0 {
			text += ", because " + o.Because[0].Text
		}
		return text + "."
	}
	switch {
	case o.Equivalent && scattered:
		return fmt.Sprintf("Not yet shown: the mean difference lies within ±%s ppb, but only %d of %d pairs do. Give the uncertainty of each figure, so that a pair is held against max(%s ppb, 2u).", margin, o.Within, o.N, margin)
	case o.Equivalent:
		return fmt.Sprintf("Not yet shown: the mean difference lies within ±%s ppb, but on %d pairs, and %d are asked for.", margin, o.N, need)
	case o.PairsMore == nil:
		return fmt.Sprintf("Not yet shown: the mean difference, %s ppb, lies at or beyond ±%s ppb, so more pairs of this kind would show a difference, if anything.", signed(o.Bias), margin)
	case *o.PairsMore == 0:
		return fmt.Sprintf("Not yet shown: the interval of the mean difference reaches beyond ±%s ppb; by its spread these pairs should do, so take a few more.", margin)
	}
	return fmt.Sprintf("Not yet shown: the interval of the mean difference reaches beyond ±%s ppb. With the same mean and spread, %d more pairs would show it (4 times in 5).", margin, *o.PairsMore)
}

func (a *agreement) rangeWarnings(ends []end) {
	o := &a.out
	if o.DirectHigh < 2*o.DirectLow {
		a.warn("narrow_range", "direct_ppb", fmt.Sprintf("%.0f to %.0f", o.DirectLow, o.DirectHigh), "the pairs cover a narrow range of TPO, and the verdict holds for it alone", "add pairs at lower and higher TPO, up to the limit you judge by")
	}
	if o.Verdict == MayStandIn {
		for _, e := range ends {
			if math.Abs(e.value) > o.Margin {
				a.warn("end_of_range", "direct_ppb", fmt.Sprintf("%.0f", e.at), fmt.Sprintf("at this end the line gives a difference of %s ppb, beyond the margin, though it may be chance", signed(e.value)), "add pairs there")
			}
		}
	}
	if d := a.differences(); len(d) >= 8 {
		if g, err := stats.Grubbs(d, stats.Symmetric, stats.EitherTail, 0.01); err == nil {
			for _, i := range g.Flagged {
				a.warn("far_pair", "rows", string(o.Pairs[i].ID), fmt.Sprintf("the difference of %s ppb lies far from the others; it was kept", signed(o.Pairs[i].Difference)), "check that both readings are of one package, and their units")
			}
		}
	}
}

func (a *agreement) differences() []float64 {
	d := make([]float64, len(a.out.Pairs))
	for i, p := range a.out.Pairs {
		d[i] = p.Difference
	}
	return d
}

// signed writes a difference with its sign; what rounds to nothing has none.
func signed(v float64) string {
	if math.Abs(v) < 0.05 {
		return "0.0"
	}
	return quantity.Minus(fmt.Sprintf("%+.1f", v))
}
