package causes

import (
	"math"
	"slices"

	"ullage/core/uncertainty"
)

// A cycle is looked for in so many readings at least, seen so often and read so
// often in each of its turns; faster ones would be guessed from their alias.
const (
	leastCycle  = 8
	leastTurns  = 2.0
	leastInTurn = 2.5
)

// cycle is a level with a swing of one period, found by least squares over a grid
// of frequencies, five to the natural step (Lomb 1976, with a free mean).
func cycle(x, y, w []float64) (shapeOfTime, bool) {
	n := len(x)
	if n < leastCycle {
		return shapeOfTime{}, false
	}
	span, gap := x[n-1], middleGap(x)
	low, high := leastTurns/span, 1/(leastInTurn*gap)
	if gap <= 0 || high <= low {
		return shapeOfTime{}, false
	}
	step := math.Max(0.2/span, (high-low)/2000)
	best, chi2 := 0.0, math.Inf(1)
	at := func(f float64) float64 { _, c := swing(x, y, w, f); return c }
	for f := low; f <= high; f += step {
		if c := at(f); c < chi2 {
			best, chi2 = f, c
		}
	}
	a, b := math.Max(low, best-step), math.Min(high, best+step)
	for range 40 {
		third := (b - a) / 3
		if at(a+third) < at(b-third) {
			b -= third
		} else {
			a += third
		}
	}
	f := (a + b) / 2
	fit, chi2 := swing(x, y, w, f)
	if math.IsInf(chi2, 1) {
		return shapeOfTime{}, false
	}
	// Twice the natural frequencies: those of the grid between them find more.
	s := shapeOfTime{kind: FoundCycle, params: 4, places: math.Max(1, 2*(high-low)*span), chi2: chi2}
	scale := math.Max(1, chi2/float64(n-s.params))
	half := uncertainty.Normal95 * math.Sqrt(scale*fit.variance)
	h := 0.05 / span // the curvature of χ² in the frequency is its precision
	curve := (at(f+h) - 2*chi2 + at(f-h)) / (h * h)
	s.fill = func(t *Trace) {
		t.Start, t.End = fit.mean, fit.mean
		t.Period, t.Swing, t.Low95, t.High95 = 1/f, fit.swing, fit.swing-half, fit.swing+half
		if se := math.Sqrt(2 / curve * scale); curve > 0 && uncertainty.Normal95*se < f/2 {
			t.PeriodLow, t.PeriodHigh = 1/(f+uncertainty.Normal95*se), 1/(f-uncertainty.Normal95*se)
		}
	}
	return s, true
}

func middleGap(x []float64) float64 {
	gaps := make([]float64, 0, len(x))
	for i := 1; i < len(x); i++ {
		if d := x[i] - x[i-1]; d > 0 {
			gaps = append(gaps, d)
		}
	}
	if len(gaps) == 0 {
		return 0
	}
	slices.Sort(gaps)
	return gaps[len(gaps)/2]
}

// swung is a level and the swing about it, from the middle to the top.
type swung struct{ mean, swing, variance float64 }

// swing is the weighted fit of level and swing at a frequency. The level falls
// out of the equations, which leaves two.
func swing(x, y, w []float64, f float64) (swung, float64) {
	var sw, sc, ss, sy, scc, scs, sss, scy, ssy, syy float64
	for i := range x {
		sin, cos := math.Sincos(2 * math.Pi * f * x[i])
		k := w[i]
		sw += k
		sc += k * cos
		ss += k * sin
		sy += k * y[i]
		scc += k * cos * cos
		scs += k * cos * sin
		sss += k * sin * sin
		scy += k * cos * y[i]
		ssy += k * sin * y[i]
	}
	mean := sy / sw
	for i := range x {
		syy += w[i] * (y[i] - mean) * (y[i] - mean)
	}
	cc, cs, s2 := scc-sc*sc/sw, scs-sc*ss/sw, sss-ss*ss/sw
	cy, sny := scy-sc*mean, ssy-ss*mean
	det := cc*s2 - cs*cs
	if det < 1e-6*sw*sw {
		return swung{}, math.Inf(1) // these times do not tell the phase
	}
	a, b := (cy*s2-sny*cs)/det, (sny*cc-cy*cs)/det
	out := swung{mean: mean - (a*sc+b*ss)/sw, swing: math.Hypot(a, b)}
	if out.swing > 0 {
		p, q := a/out.swing, b/out.swing
		out.variance = (p*p*s2 - 2*p*q*cs + q*q*cc) / det
	}
	return out, math.Max(0, syy-a*cy-b*sny)
}
