package compare

import (
	"math"
	"slices"
	"strings"

	"ullage/core/stats"
	"ullage/core/uncertainty"
)

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
			u := (t.High95Ppb - t.Low95Ppb) / 2 / uncertainty.Normal95
			t.Odd = len(g) >= leastOdd && math.Abs(t.DeltaPpb-d.Median) > 3*math.Hypot(1.4826*d.MAD, u)
		}
	}
	if len(g) < leastTrend {
		return sum
	}
	const month = 30.4375 * 24
	x := make([]float64, len(g))
	for i, t := range g {
		x[i] = t.At.Sub(g[0].At).Hours() / month
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
