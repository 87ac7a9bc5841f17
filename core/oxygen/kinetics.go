package oxygen

import (
	"math"

	"ullage/core/quantity"
)

// ShakeFit is a first-order approach to equilibrium on shaking,
// C(τ) = C_∞ + (C_0 − C_∞) e^{−kτ} (eq. 31).
type ShakeFit struct {
	Initial, Equilibrium   quantity.ShakenDO // C_0, C_∞
	Rate                   float64           // k, per minute
	EquilibriumU, RateU    float64           // standard uncertainties; NaN with three points
	ResidualSD             float64           // ppb; NaN with three points
	To99                   quantity.Minutes  // time after which 1 % of the change is left
	AtFiveMinutes          float64           // C(5 min) − C_∞, ppb
	AtFiveMinutesOfReading quantity.Fraction // the same over C_∞
}

// FitShake fits a shake study by least squares: for each rate the other two
// are linear, so only the rate is searched, between 0.01 and 60 per minute. It
// needs three different times.
func FitShake(minutes []quantity.Minutes, read []quantity.ShakenDO) (ShakeFit, error) {
	if len(minutes) != len(read) || distinct(minutes) < 3 {
		return ShakeFit{}, &quantity.Error{Field: "minutes", Message: "holds fewer than three different times, or not one reading for each", Mend: "read at 1, 2, 3, 5 and 8 min for example"}
	}
	best := searchRate(minutes, read)
	sse, a, b := atRate(best, minutes, read)
	fit := ShakeFit{
		Initial: quantity.ShakenDO(a + b), Equilibrium: quantity.ShakenDO(a), Rate: best,
		To99: quantity.Minutes(math.Log(100) / best), AtFiveMinutes: b * math.Exp(-5*best),
		EquilibriumU: math.NaN(), RateU: math.NaN(), ResidualSD: math.NaN(),
	}
	fit.AtFiveMinutesOfReading = quantity.Fraction(fit.AtFiveMinutes / a)
	if free := len(minutes) - 3; free > 0 {
		fit.ResidualSD = math.Sqrt(sse / float64(free))
		fit.EquilibriumU, fit.RateU = shakeErrors(minutes, best, b, fit.ResidualSD)
	}
	return fit, nil
}

// searchRate scans the rate on a log grid and closes in by golden section.
func searchRate(minutes []quantity.Minutes, read []quantity.ShakenDO) float64 {
	const steps = 400
	lo, hi := math.Log(0.01), math.Log(60)
	at := func(i int) float64 { return lo + (hi-lo)*float64(i)/steps }
	best, bestSSE := 0, math.Inf(1)
	for i := range steps + 1 {
		if sse, _, _ := atRate(math.Exp(at(i)), minutes, read); sse < bestSSE {
			best, bestSSE = i, sse
		}
	}
	a, b := at(max(best-1, 0)), at(min(best+1, steps))
	golden := (math.Sqrt(5) - 1) / 2
	for range 80 {
		x1, x2 := b-golden*(b-a), a+golden*(b-a)
		s1, _, _ := atRate(math.Exp(x1), minutes, read)
		s2, _, _ := atRate(math.Exp(x2), minutes, read)
		if s1 < s2 {
			b = x2
		} else {
			a = x1
		}
	}
	return math.Exp((a + b) / 2)
}

// atRate is the linear fit C = a + b e^{−kτ} at a fixed rate, and its sum of squares.
func atRate(rate float64, minutes []quantity.Minutes, read []quantity.ShakenDO) (sse, a, b float64) {
	var n, sx, sy float64
	for i, m := range minutes {
		n++
		sx += math.Exp(-rate * float64(m))
		sy += float64(read[i])
	}
	var sxx, sxy float64
	for i, m := range minutes {
		x := math.Exp(-rate*float64(m)) - sx/n
		sxx += x * x
		sxy += x * (float64(read[i]) - sy/n)
	}
	if sxx < 1e-24 {
		return math.Inf(1), sy / n, 0
	}
	b = sxy / sxx
	a = (sy - b*sx) / n
	for i, m := range minutes {
		r := float64(read[i]) - a - b*math.Exp(-rate*float64(m))
		sse += r * r
	}
	return sse, a, b
}

// shakeErrors are the asymptotic standard errors of C_∞ and k.
func shakeErrors(minutes []quantity.Minutes, rate, b, sd float64) (equilibrium, r float64) {
	var h [3][3]float64 // normal matrix of the partials by C_∞, b and k
	for _, m := range minutes {
		e := math.Exp(-rate * float64(m))
		j := [3]float64{1, e, -b * float64(m) * e}
		for p := range j {
			for q := range j {
				h[p][q] += j[p] * j[q]
			}
		}
	}
	minor := func(p, q int) float64 { return h[p][p]*h[q][q] - h[p][q]*h[q][p] }
	det := h[0][0]*minor(1, 2) - h[0][1]*(h[1][0]*h[2][2]-h[1][2]*h[2][0]) + h[0][2]*(h[1][0]*h[2][1]-h[1][1]*h[2][0])
	return sd * math.Sqrt(minor(1, 2)/det), sd * math.Sqrt(minor(0, 1)/det)
}

func distinct(minutes []quantity.Minutes) int {
	seen := make(map[quantity.Minutes]bool, len(minutes))
	for _, m := range minutes {
		seen[m] = true
	}
	return len(seen)
}

// BeforeDelay is the oxygen a package held when it was closed, from what it
// holds a while later, for first-order uptake at a rate per hour found in a
// delay study (eq. 32), and its standard uncertainty from those of the later
// value and of the rate. It is shown beside the measured value, never in its place.
func BeforeDelay(later quantity.TPO, laterU float64, delay quantity.Minutes, ratePerHour, rateU float64) (closed quantity.TPO, u float64) {
	hours := float64(delay) / 60
	growth := math.Exp(ratePerHour * hours)
	closed = later * quantity.TPO(growth)
	return closed, math.Hypot(growth*laterU, float64(closed)*hours*rateU)
}
