package causes

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"ullage/core/quantity"
	"ullage/core/stats"
	"ullage/core/uncertainty"
	"ullage/core/way"
)

// TracePoint is one reading of a point in time.
type TracePoint struct {
	Minutes, DO, U float64
}

// Trace is what readings of one point over time say (eq. 49).
type Trace struct {
	Kind       string  `json:"kind"` // decay, cycle, step, rise, fall or nothing
	N          int     `json:"n"`
	P          float64 `json:"p"`                 // that noise alone does this, the search counted in
	Start      float64 `json:"start_ppb"`         // at the first reading, by the fit
	End        float64 `json:"end_ppb"`           // what it settles at, or the last reading's by the fit
	Tau        float64 `json:"tau_min,omitempty"` // of a decay
	TauLow     float64 `json:"tau_low_min,omitempty"`
	TauHigh    float64 `json:"tau_high_min,omitempty"`
	At         float64 `json:"at_min,omitempty"` // of a step
	PerHour    float64 `json:"ppb_per_h,omitempty"`
	Low95      float64 `json:"low95,omitempty"` // of ppb_per_h, of the step, or of the swing
	High95     float64 `json:"high95,omitempty"`
	Period     float64 `json:"period_min,omitempty"` // of a cycle
	PeriodLow  float64 `json:"period_low_min,omitempty"`
	PeriodHigh float64 `json:"period_high_min,omitempty"`
	Swing      float64 `json:"swing_ppb,omitempty"` // of a cycle, from its middle to its top
	VolumeHL   float64 `json:"volume_hl,omitempty"` // of the vessel that is washed out: time constant × flow
	Said       string  `json:"said"`
}

// LeastTrace is how many readings make a trace.
const LeastTrace = 5

// shapeOfTime is one shape fitted.
type shapeOfTime struct {
	kind   string
	params int
	places float64 // how many were looked at
	chi2   float64
	p      float64
	fill   func(t *Trace)
}

// ReadTrace compares a level with a decay, a cycle, a step and a straight line. Each is
// held against the scatter about itself and no less than the uncertainties
// given; what searching costs is counted in. Times are minutes from any start;
// flow, hL/h, turns a decay into the volume that is washed out (0: not known).
func ReadTrace(points []TracePoint, flow float64) Trace { return readTrace(points, flow, Alpha) }

func readTrace(points []TracePoint, flow, level float64) Trace {
	n := len(points)
	t := Trace{Kind: FoundNothing, N: n, P: 1}
	if n < LeastTrace {
		t.Said = fmt.Sprintf("%d readings: a trace needs %d", n, LeastTrace)
		return t
	}
	x, y, w := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, p := range points {
		x[i], y[i], w[i] = p.Minutes-points[0].Minutes, p.DO, 1/(p.U*p.U)
	}
	if x[n-1] <= 0 {
		t.Said = "all readings are of one time"
		return t
	}
	mean, chi0 := weightedMean(y, w, 0, n)
	t.Start, t.End = mean, mean
	shapes := []shapeOfTime{line(x, y, w), stepIn(x, y, w)}
	for _, more := range []func(x, y, w []float64) (shapeOfTime, bool){decay, cycle} {
		if s, ok := more(x, y, w); ok {
			shapes = append(shapes, s)
		}
	}
	best := -1
	for i := range shapes {
		s := &shapes[i]
		s.p = math.Min(1, s.places*significance(chi0, s.chi2, n, s.params))
		if s.p < level/float64(max(3, len(shapes))) && (best < 0 || s.score(n) < shapes[best].score(n)) {
			best = i
		}
	}
	if best < 0 {
		t.Said = fmt.Sprintf("%d readings about %s ppb, no shape in time: nothing resolved", n, quantity.Figure(mean))
		return t
	}
	s := &shapes[best]
	t.Kind, t.P = s.kind, s.p
	s.fill(&t)
	t.say(flow)
	return t
}

// score is a Schwarz criterion with the scatter known from below.
func (s *shapeOfTime) score(n int) float64 {
	df := float64(n - s.params)
	return float64(n)*math.Log(math.Max(s.chi2, df*0.5)) + float64(s.params)*math.Log(float64(n))
}

// significance of a shape against a level: by χ² where the scatter about it is
// no more than the uncertainties say, else by F.
func significance(chi0, chi1 float64, n, params int) float64 {
	k, df := float64(params-1), float64(n-params)
	gain := math.Max(0, chi0-chi1)
	if chi1 <= df {
		return 1 - distuv.ChiSquared{K: k}.CDF(gain)
	}
	return 1 - distuv.F{D1: k, D2: df}.CDF(gain/k/(chi1/df))
}

func weightedMean(y, w []float64, from, to int) (mean, chi2 float64) {
	sum := 0.0
	for i := from; i < to; i++ {
		mean += w[i] * y[i]
		sum += w[i]
	}
	mean /= sum
	for i := from; i < to; i++ {
		chi2 += w[i] * (y[i] - mean) * (y[i] - mean)
	}
	return mean, chi2
}

// line is a steady rise or fall.
func line(x, y, w []float64) shapeOfTime {
	var sw, sx, sy, sxx, sxy float64
	for i := range x {
		sw += w[i]
		sx += w[i] * x[i]
		sy += w[i] * y[i]
	}
	mx, my := sx/sw, sy/sw
	for i := range x {
		sxx += w[i] * (x[i] - mx) * (x[i] - mx)
		sxy += w[i] * (x[i] - mx) * (y[i] - my)
	}
	b := sxy / sxx
	s := shapeOfTime{kind: FoundRise, params: 2, places: 1}
	if b < 0 {
		s.kind = "fall"
	}
	for i := range x {
		s.chi2 += w[i] * math.Pow(y[i]-my-b*(x[i]-mx), 2)
	}
	scale := math.Max(1, s.chi2/float64(len(x)-2))
	half := uncertainty.Normal95 * math.Sqrt(scale/sxx) * 60
	s.fill = func(t *Trace) {
		t.Start, t.End = my+b*(x[0]-mx), my+b*(x[len(x)-1]-mx)
		t.PerHour, t.Low95, t.High95 = b*60, b*60-half, b*60+half
	}
	return s
}

// stepIn is a level that changes once, two readings on each side at least.
func stepIn(x, y, w []float64) shapeOfTime {
	n := len(x)
	s := shapeOfTime{kind: FoundStep, params: 3, places: float64(n - 3), chi2: math.Inf(1)}
	for k := 2; k <= n-2; k++ {
		m1, c1 := weightedMean(y, w, 0, k)
		m2, c2 := weightedMean(y, w, k, n)
		if c := c1 + c2; c < s.chi2 {
			s.chi2 = c
			at := (x[k-1] + x[k]) / 2
			var w1, w2 float64
			for i := range w {
				if i < k {
					w1 += w[i]
				} else {
					w2 += w[i]
				}
			}
			half := uncertainty.Normal95 * math.Sqrt((1/w1+1/w2)*math.Max(1, c/float64(n-3)))
			s.fill = func(t *Trace) {
				t.Start, t.End, t.At, t.Low95, t.High95 = m1, m2, at, m2-m1-half, m2-m1+half
			}
		}
	}
	return s
}

// decay is an exponential approach to an end, seen for 1.5 time constants at
// least and from its beginning. stats.Approach finds the rate for equal weights;
// from there it is closed in with the weights given.
func decay(x, y, w []float64) (shapeOfTime, bool) {
	fit, err := stats.Approach(x, y, nil, 0.95)
	if err != nil || fit.AtBound {
		return shapeOfTime{}, false
	}
	low, high := math.Log(fit.Rate)-1.5, math.Log(fit.Rate)+1.5
	golden := (math.Sqrt(5) - 1) / 2
	at := func(ln float64) float64 { _, _, c := ending(x, y, w, math.Exp(ln)); return c }
	for range 50 {
		if a, b := high-golden*(high-low), low+golden*(high-low); at(a) < at(b) {
			high = b
		} else {
			low = a
		}
	}
	ln := (low + high) / 2
	rate := math.Exp(ln)
	end, start, chi2 := ending(x, y, w, rate)
	if rate*x[len(x)-1] < 1.5 || start <= end || end < -20 {
		return shapeOfTime{}, false
	}
	s := shapeOfTime{kind: "decay", params: 4, places: 3, chi2: chi2} // the rate is searched: one more than its parameters
	if len(x) <= s.params {
		s.params = 3
	}
	// The curvature of χ² in ln rate, the others at their best, is its precision.
	const h = 0.02
	curve := (at(ln+h) - 2*chi2 + at(ln-h)) / (h * h)
	se := math.Inf(1)
	if curve > 0 {
		se = math.Sqrt(2 / curve * math.Max(1, chi2/float64(max(1, len(x)-3))))
	}
	s.fill = func(t *Trace) {
		t.Start, t.End, t.Tau = start, end, 1/rate
		if se < 2 {
			t.TauLow, t.TauHigh = math.Exp(-uncertainty.Normal95*se)/rate, math.Exp(uncertainty.Normal95*se)/rate
		}
	}
	return s, true
}

// ending is the weighted fit of the end and the start at a rate.
func ending(x, y, w []float64, rate float64) (end, start, chi2 float64) {
	var sw, se, sy, see, sey float64
	for i := range x {
		e := math.Exp(-rate * x[i])
		sw += w[i]
		se += w[i] * e
		sy += w[i] * y[i]
	}
	me, my := se/sw, sy/sw
	for i := range x {
		e := math.Exp(-rate*x[i]) - me
		see += w[i] * e * e
		sey += w[i] * e * (y[i] - my)
	}
	a := 0.0
	if see > 0 {
		a = sey / see
	}
	end = my - a*me
	for i := range x {
		chi2 += w[i] * math.Pow(y[i]-end-a*math.Exp(-rate*x[i]), 2)
	}
	return end, end + a, chi2
}

func (t *Trace) say(flow float64) {
	switch t.Kind {
	case "decay":
		t.Said = fmt.Sprintf("falls from %s to %s ppb with a time constant of %s min", quantity.Figure(t.Start), quantity.Figure(math.Max(0, t.End)), quantity.Figure(t.Tau))
		if flow > 0 {
			t.VolumeHL = t.Tau / 60 * flow
			t.Said += fmt.Sprintf("; at %s hL/h that is %s L washed out", quantity.Figure(flow), quantity.Figure(t.VolumeHL*way.LitresPerHL))
		}
	case FoundCycle:
		t.Said = fmt.Sprintf("swings by ±%s ppb about %s, once in %s min", quantity.Figure(t.Swing), quantity.Figure(t.Start), quantity.Figure(t.Period))
	case FoundStep:
		t.Said = fmt.Sprintf("steps from %s to %s ppb at %s min", quantity.Figure(t.Start), quantity.Figure(t.End), quantity.Figure(t.At))
	default:
		t.Said = fmt.Sprintf("%s by %s ppb an hour, %s to %s ppb", map[string]string{FoundRise: "rises", "fall": "falls"}[t.Kind], quantity.Figure(math.Abs(t.PerHour)), quantity.Figure(t.Start), quantity.Figure(t.End))
	}
}
