package wort

import (
	"fmt"
	"math"
	"slices"
	"time"

	"ullage/core/quantity"
	"ullage/core/stats"
	"ullage/core/uncertainty"
)

// BrewEfficiency is the oxygen efficiency of one past brew.
type BrewEfficiency struct {
	ID         string
	At         time.Time
	Efficiency float64
	Cleaned    bool // stone or venturi was cleaned before it
}

// Prior of an efficiency that nothing is known of, and of its change from brew
// to brew: common practice puts stones in a line at 0.3 to 0.95.
const (
	priorEfficiency   = 0.55
	priorEfficiencySD = 0.2
	priorSlopeSD      = 0.02
	levelSD           = 0.05 // between cleanings
	leastScatter      = 0.02
)

// BrewTrend is what past brews say of the next.
type BrewTrend struct {
	N          int         `json:"n"`
	Points     []BrewPoint `json:"brews"`
	Mean       float64     `json:"mean_efficiency"`
	Slope      *float64    `json:"slope_pct_per_brew,omitempty"` // points of efficiency; below zero: fouling
	SlopeLow   *float64    `json:"slope_low95,omitempty"`
	SlopeHigh  *float64    `json:"slope_high95,omitempty"`
	Fouling    bool        `json:"fouling"` // the interval lies below zero
	Scatter    float64     `json:"scatter"` // SD of one brew about the line
	Since      int         `json:"brews_since_cleaning"`
	Next       float64     `json:"next_efficiency"` // shrunk proposal
	NextLow    float64     `json:"next_low95"`
	NextHigh   float64     `json:"next_high95"`
	Weight     float64     `json:"own_weight"` // of the brewery's own brews against the prior
	BrewsToLow *float64    `json:"brews_to_30_pct,omitempty"`
	Jump       string      `json:"jump_at,omitempty"` // a brew that looks as if cleaned before it, unmarked
	Sentence   string      `json:"sentence"`
}

// BrewPoint is one brew of the trend.
type BrewPoint struct {
	ID         string  `json:"id"`
	Since      int     `json:"since_cleaning"`
	Efficiency float64 `json:"efficiency"`
	Fitted     float64 `json:"fitted"`
	Odd        bool    `json:"odd"` // more than 3 scatters off the line
}

// TrendOf fits efficiency against brews since the last cleaning, in the order
// given (eq. 52), and shrinks level and slope to the prior by what they are
// known to. Without a brew it proposes the prior. cleaned says that the stone is
// clean for the next brew.
func TrendOf(brews []BrewEfficiency, cleaned bool) BrewTrend {
	t := BrewTrend{N: len(brews), Points: []BrewPoint{}, Scatter: 0.1, Next: priorEfficiency}
	if len(brews) == 0 {
		t.NextLow, t.NextHigh = priorEfficiency-uncertainty.Normal95*priorEfficiencySD, priorEfficiency+uncertainty.Normal95*priorEfficiencySD
		t.Sentence = "no past brew: 55 % is common practice for a stone in the line, and may be far off"
		return t
	}
	x, y := make([]float64, len(brews)), make([]float64, len(brews))
	since, segments := 0, 1
	for i, b := range brews {
		if b.Cleaned {
			if i > 0 {
				segments++
			}
			since = 0
		}
		x[i], y[i] = float64(since), b.Efficiency
		since++
	}
	if cleaned {
		since = 0
	}
	t.Since = since
	t.fit(x, y, float64(since), segments, brews)
	t.jump(y, brews)
	t.say()
	return t
}

// fit is the line, its intervals and the proposal.
func (t *BrewTrend) fit(x, y []float64, next float64, segments int, brews []BrewEfficiency) {
	n := float64(len(y))
	mx := 0.0
	for i := range y {
		mx += x[i] / n
		t.Mean += y[i] / n
	}
	slope, slopeSE := 0.0, priorSlopeSD
	own := 0.0
	if r, err := stats.Regress([][]float64{x}, y, 0.95); err == nil {
		c := r.Slopes[0]
		s, low, high := c.Value*100, c.Interval.Low*100, c.Interval.High*100
		t.Slope, t.SlopeLow, t.SlopeHigh = &s, &low, &high
		t.Fouling = high < 0
		t.Scatter = math.Max(leastScatter, r.SD)
		slopeSE = math.Max(c.SE, 1e-4)
		own = priorSlopeSD * priorSlopeSD / (priorSlopeSD*priorSlopeSD + slopeSE*slopeSE)
		slope = own * c.Value
	} else if len(y) > 1 {
		t.Scatter = math.Max(leastScatter, spreadOf(y, t.Mean))
	}
	seMean := t.Scatter / math.Sqrt(n)
	t.Weight = priorEfficiencySD * priorEfficiencySD / (priorEfficiencySD*priorEfficiencySD + seMean*seMean)
	level := priorEfficiency + t.Weight*(t.Mean-priorEfficiency)
	// What this cleaning left better or worse than the others.
	local, m := 0.0, 0.0
	for i := len(y) - 1; i >= 0; i-- {
		local += y[i] - level - slope*(x[i]-mx)
		if m++; brews[i].Cleaned {
			break
		}
	}
	if segments > 1 && next > 0 {
		local = local / m * m / (m + t.Scatter*t.Scatter/(levelSD*levelSD))
	} else {
		local = 0
	}
	at := func(k float64) float64 { return level + slope*(k-mx) }
	t.Next = math.Min(1, math.Max(0.02, at(next)+local))
	sd := math.Sqrt(t.Scatter*t.Scatter + t.Weight*seMean*seMean + own*math.Pow((next-mx)*slopeSE, 2))
	t.NextLow, t.NextHigh = math.Max(0, t.Next-uncertainty.Normal95*sd), math.Min(1, t.Next+uncertainty.Normal95*sd)
	for i := range y {
		f := at(x[i])
		t.Points = append(t.Points, BrewPoint{brews[i].ID, int(x[i]), y[i], f, math.Abs(y[i]-f) > 3*t.Scatter})
	}
	if t.Fouling && slope < 0 && t.Next > 0.3 {
		k := (t.Next - 0.3) / -slope
		t.BrewsToLow = &k
	}
}

func spreadOf(y []float64, mean float64) float64 {
	ss := 0.0
	for _, v := range y {
		ss += (v - mean) * (v - mean)
	}
	return math.Sqrt(ss / float64(len(y)-1))
}

// jump finds the brew after which efficiency stands far higher than before,
// where no cleaning is marked: five on each side or what there is, three at least.
func (t *BrewTrend) jump(y []float64, brews []BrewEfficiency) {
	if len(y) < 8 {
		return
	}
	var steps []float64
	for i := 1; i < len(y); i++ {
		if !brews[i].Cleaned {
			steps = append(steps, math.Abs(y[i]-y[i-1]))
		}
	}
	noise := math.Max(leastScatter, median(steps)*1.4826/math.Sqrt2)
	best := 0.0
	for i := 3; i+3 <= len(y); i++ {
		if brews[i].Cleaned {
			continue
		}
		from, to := i-1, i+1 // no further than a cleaning that is marked
		for from > max(0, i-5) && !brews[from].Cleaned {
			from--
		}
		for to < min(len(y), i+5) && !brews[to].Cleaned {
			to++
		}
		before, after := y[from:i], y[i:to]
		if len(before) < 3 || len(after) < 3 {
			continue
		}
		gain := (average(after) - average(before)) / (noise * math.Sqrt(1/float64(len(before))+1/float64(len(after))))
		if gain > 4.5 && gain > best && y[i]-y[i-1] > 3*noise {
			best, t.Jump = gain, brews[i].ID
		}
	}
}

func average(y []float64) float64 {
	sum := 0.0
	for _, v := range y {
		sum += v
	}
	return sum / float64(len(y))
}

func (t *BrewTrend) say() {
	t.Sentence = fmt.Sprintf("%s, %.0f %% on the mean; for the next one %.0f %% (%.0f to %.0f)", brews(t.N), 100*t.Mean, 100*t.Next, 100*t.NextLow, 100*t.NextHigh)
	switch {
	case t.Slope == nil:
		t.Sentence += "; too few for a trend"
	case t.Fouling:
		t.Sentence += quantity.Minus(fmt.Sprintf("; it falls by %.1f points a brew since cleaning (%.1f to %.1f): the stone fouls", -*t.Slope, -*t.SlopeHigh, -*t.SlopeLow))
		if t.BrewsToLow != nil {
			t.Sentence += fmt.Sprintf(", 30 %% in about %.0f brews", *t.BrewsToLow)
		}
	default:
		t.Sentence += quantity.Minus(fmt.Sprintf("; no trend is resolved (%+.1f points a brew, %+.1f to %+.1f)", *t.Slope, *t.SlopeLow, *t.SlopeHigh))
	}
	if t.Jump != "" {
		t.Sentence += "; at " + t.Jump + " it stepped up: mark the cleaning, and the trend begins there"
	}
}

func brews(n int) string {
	if n == 1 {
		return "1 brew"
	}
	return fmt.Sprintf("%d brews", n)
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(x))
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
