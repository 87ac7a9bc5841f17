package stats

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// NormalCDF is Φ(x), the standard normal distribution function.
func NormalCDF(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// NormalQuantile is Φ⁻¹(p), 0 < p < 1; NaN outside.
func NormalQuantile(p float64) float64 {
	if !(p > 0 && p < 1) {
		return math.NaN()
	}
	return mathext.NormalQuantile(p)
}

func normalPDF(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }

// StudentTCDF is P(T ≤ t) with ν degrees of freedom, ν > 0 or +Inf.
func StudentTCDF(t, nu float64) float64 {
	switch {
	case math.IsNaN(t) || !(nu > 0):
		return math.NaN()
	case math.IsInf(nu, 1):
		return NormalCDF(t)
	case math.IsInf(t, 0):
		return (1 + math.Copysign(1, t)) / 2
	}
	// Near the centre ν/(ν+t²) rounds to 1, so the complement is used there.
	if t*t < nu {
		p := mathext.RegIncBeta(0.5, nu/2, t*t/(nu+t*t)) / 2
		return 0.5 + math.Copysign(p, t)
	}
	tail := mathext.RegIncBeta(nu/2, 0.5, nu/(nu+t*t)) / 2
	if t > 0 {
		return 1 - tail
	}
	return tail
}

// StudentTQuantile is the p-quantile of t with ν degrees of freedom; NaN when
// p is outside (0, 1) or ν ≤ 0.
func StudentTQuantile(p, nu float64) float64 {
	if !(p > 0 && p < 1) || !(nu > 0) {
		return math.NaN()
	}
	if math.IsInf(nu, 1) || p == 0.5 {
		return NormalQuantile(p)
	}
	tail := math.Min(p, 1-p)
	// On the log scale the lower tail is nearly straight, however far out.
	f := func(u float64) float64 { return math.Log(StudentTCDF(-math.Exp(u), nu)) - math.Log(tail) }
	u := -rootFrom(func(v float64) float64 { return f(-v) }, 0, 1, 1e-14)
	return math.Copysign(math.Exp(u), p-0.5)
}

// chi2CDF is P(χ²_ν ≤ x).
func chi2CDF(x, nu float64) float64 {
	if !(nu > 0) || math.IsNaN(x) {
		return math.NaN()
	}
	if x <= 0 {
		return 0
	}
	return mathext.GammaIncReg(nu/2, x/2)
}

func chi2Quantile(p, nu float64) float64 {
	if !(p > 0 && p < 1) || !(nu > 0) {
		return math.NaN()
	}
	// Wilson and Hilferty start, polished on ln x.
	c := 2 / (9 * nu)
	start := nu * math.Pow(math.Max(1-c+NormalQuantile(p)*math.Sqrt(c), 1e-3), 3)
	f := func(u float64) float64 { return chi2CDF(math.Exp(u), nu) - p }
	if p > 0.5 { // the small tail keeps its digits
		f = func(u float64) float64 { return (1 - p) - mathext.GammaIncRegComp(nu/2, math.Exp(u)/2) }
	}
	return math.Exp(rootFrom(f, math.Log(start), 0.05, 1e-14))
}

// fUpper is P(F > x) with ν₁, ν₂ degrees of freedom.
func fUpper(x, n1, n2 float64) float64 {
	if !(n1 > 0 && n2 > 0) || math.IsNaN(x) {
		return math.NaN()
	}
	if x <= 0 {
		return 1
	}
	return mathext.RegIncBeta(n2/2, n1/2, n2/(n2+n1*x))
}

func fQuantile(p, n1, n2 float64) float64 {
	if !(p > 0 && p < 1) || !(n1 > 0 && n2 > 0) {
		return math.NaN()
	}
	f := func(u float64) float64 { return (1 - p) - fUpper(math.Exp(u), n1, n2) }
	if p < 0.5 { // the small tail keeps its digits
		f = func(u float64) float64 { return fUpper(math.Exp(-u), n2, n1) - p }
	}
	return math.Exp(rootFrom(f, 0, 0.5, 1e-14))
}

// chiRule is a quadrature over the density of s = √(χ²_ν/ν), density included
// in the weights, with extra breaks where the integrand turns quickly.
func chiRule(nu float64, n int, extra ...float64) nodes {
	if math.IsInf(nu, 1) {
		return nodes{[]float64{1}, []float64{1}}
	}
	mode := math.Sqrt(math.Max(0, nu-1) / nu)
	// ln density falls at least as fast as −ν(s − mode)²/2: the ends lose e⁻⁴⁰.
	reach := math.Sqrt(80 / nu)
	low, high := math.Max(0, mode-reach), mode+reach
	breaks := []float64{low}
	for _, b := range append(extra, mode) {
		i := len(breaks)
		for i > 1 && breaks[i-1] > b {
			i--
		}
		if b > low && b < high {
			breaks = append(breaks[:i], append([]float64{b}, breaks[i:]...)...)
		}
	}
	q := legendre(n, append(breaks, high)...)
	lg, _ := math.Lgamma(nu / 2)
	c := math.Ln2 + nu/2*math.Log(nu/2) - lg
	for i, s := range q.x {
		q.w[i] *= math.Exp(c + (nu-1)*math.Log(s) - nu*s*s/2)
	}
	return q
}

// NoncentralTCDF is P(T ≤ t) of the noncentral t with ν degrees of freedom and
// noncentrality δ, by integrating Φ(t·s − δ) over s = √(χ²_ν/ν) (eq. S1). It has
// no limit on δ, unlike the usual series.
func NoncentralTCDF(t, nu, delta float64) float64 {
	if math.IsNaN(t) || math.IsNaN(delta) || math.IsInf(delta, 0) || !(nu > 0) {
		return math.NaN()
	}
	if math.IsInf(t, 0) {
		return (1 + math.Copysign(1, t)) / 2
	}
	var turns []float64
	if t != 0 {
		w := 7 / math.Abs(t)
		turns = []float64{delta/t - w, delta / t, delta/t + w}
	}
	return chiRule(nu, 40, turns...).integrate(func(s float64) float64 { return NormalCDF(t*s - delta) })
}

// NoncentralTQuantile is the p-quantile of the noncentral t; NaN when p is
// outside (0, 1).
func NoncentralTQuantile(p, nu, delta float64) float64 {
	if !(p > 0 && p < 1) || !(nu > 0) || math.IsNaN(delta) || math.IsInf(delta, 0) {
		return math.NaN()
	}
	f := func(t float64) float64 { return NoncentralTCDF(t, nu, delta) - p }
	step := 1 + math.Abs(delta)/math.Sqrt(nu)
	return rootFrom(f, delta, step, 1e-11*(1+math.Abs(delta)))
}

// noncentrality finds δ with P(T ≤ t; ν, δ) = p: the inversion behind exact
// intervals of standardised distances.
func noncentrality(t, nu, p float64) float64 {
	f := func(d float64) float64 { return p - NoncentralTCDF(t, nu, d) }
	return rootFrom(f, t, 1+math.Abs(t)/math.Sqrt(nu), 1e-11*(1+math.Abs(t)))
}

// unbiasedOutside is the minimum variance unbiased estimate of the share beyond
// a limit Q standard deviations off, from n normal values (eq. S24). With two
// values the beta law degenerates to a step.
func unbiasedOutside(quality, n float64) float64 {
	x := 0.5 - 0.5*quality*math.Sqrt(n)/(n-1)
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	case n <= 2:
		return 0.5
	}
	return mathext.RegIncBeta(n/2-1, n/2-1, x)
}
