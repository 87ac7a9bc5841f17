package stats

import (
	"math"
	"strconv"
)

// GroupMean is one group against the decision lines, in the unit of the data.
type GroupMean struct {
	N     int     `json:"n"`
	Mean  float64 `json:"mean"` // geometric on the log scale
	Lower float64 `json:"lower"`
	Upper float64 `json:"upper"`
	// Effect is the deviation from the grand mean: a difference on the linear
	// scale, a ratio on the log scale.
	Effect float64 `json:"effect"`
	// P is the chance of a deviation this large in any of the groups when all
	// are equal.
	P       float64 `json:"p"`
	Outside string  `json:"outside,omitempty"` // above, below or empty
}

// ANOMResult is the analysis of means. Critical is h, or the studentized maximum
// modulus when group sizes differ, which is slightly conservative.
type ANOMResult struct {
	ScaleChoice
	GrandMean float64     `json:"grand_mean"`
	SDWithin  float64     `json:"sd_within"`
	DF        int         `json:"df"`
	Critical  float64     `json:"critical"`
	Alpha     float64     `json:"alpha"`
	Groups    []GroupMean `json:"groups"`
	Method    string      `json:"method"`
}

// ANOM compares the mean of each group with the grand mean (eq. S28; Ott 1967,
// Nelson 1983) at the overall risk alpha of naming any group when all are equal.
// It needs two groups or more, of one value or more each, with one repeated.
func ANOM(groups [][]float64, nature Nature, alpha float64) (ANOMResult, error) {
	if err := checkOverallRisk(alpha); err != nil {
		return ANOMResult{}, err
	}
	var all []float64
	for _, g := range groups {
		all = append(all, g...)
	}
	choice := ChooseScale(all, nature)
	scaled := make([][]float64, len(groups))
	for i, g := range groups {
		scaled[i] = choice.Scale.forwardAll(g)
	}
	g, err := summarizeGroups(scaled)
	if err != nil {
		return ANOMResult{}, err
	}
	k, df := len(groups), g.total-g.k
	r := ANOMResult{ScaleChoice: choice, GrandMean: choice.Scale.back(g.grand),
		SDWithin: math.Sqrt(g.within / df), DF: int(df), Alpha: alpha}
	tail := func(h float64) float64 { return 1 - maxModulus(h, k, df) }
	r.Method = "unequal sizes: studentized maximum modulus, slightly conservative"
	if g.balanced() {
		tail = func(h float64) float64 { return 1 - maxDeviation(h, k, df) }
		r.Method = "equal sizes: exact h"
	}
	r.Critical = criticalValue(tail, alpha, g.k, df)
	for i, n := range g.n {
		se := r.SDWithin * math.Sqrt((g.total-n)/(g.total*n))
		d := g.mean[i] - g.grand
		m := GroupMean{N: int(n), Mean: choice.Scale.back(g.mean[i]), Effect: choice.Scale.back(d),
			Lower: choice.Scale.back(g.grand - r.Critical*se), Upper: choice.Scale.back(g.grand + r.Critical*se),
			P: math.Max(0, math.Min(1, tail(math.Abs(d)/se)))}
		if math.Abs(d) > r.Critical*se {
			m.Outside = sideOf(d)
		}
		if err := checkResult(m.Lower, m.Upper, m.Effect); err != nil {
			return ANOMResult{}, err
		}
		r.Groups = append(r.Groups, m)
	}
	return r, nil
}

// ANOMCritical is h(α; k, ν) for k ≥ 2 groups of equal size, ν > 0 degrees of
// freedom or +Inf (eq. S29).
func ANOMCritical(alpha float64, k int, nu float64) (float64, error) {
	if err := checkOverallRisk(alpha); err != nil {
		return 0, err
	}
	if k < 2 || k > 500 {
		return 0, &Error{Field: "k", Value: strconv.Itoa(k), Message: "out of range", Mend: "compare 2 to 500 groups"}
	}
	if !(nu >= 1) {
		return 0, refuse("nu", nu, "too few degrees of freedom", "repeat at least one group")
	}
	return criticalValue(func(h float64) float64 { return 1 - maxDeviation(h, k, nu) }, alpha, float64(k), nu), nil
}

// checkOverallRisk keeps alpha where the integrals, good to about 1e-10, tell it
// from 0.
func checkOverallRisk(alpha float64) error { return checkInside("alpha", alpha, 1e-6, 1-1e-6) }

// criticalValue starts at Šidák's t, which is close above the answer.
func criticalValue(tail func(float64) float64, alpha, k, nu float64) float64 {
	sidak := StudentTQuantile(1-(1-math.Pow(1-alpha, 1/k))/2, nu)
	return rootFrom(func(h float64) float64 { return alpha - tail(h) }, sidak*0.99, sidak*0.02, 1e-8)
}

// maxModulus is P(max |tᵢ| ≤ m) for k independent deviations that share one s:
// the studentized maximum modulus, ∫f(s)(2Φ(ms) − 1)ᵏds.
func maxModulus(m float64, k int, nu float64) float64 {
	if m <= 0 {
		return 0
	}
	return chiRule(nu, 20, 1.5/m, 4/m).integrate(func(s float64) float64 {
		return math.Pow(math.Erf(m*s/math.Sqrt2), float64(k))
	})
}

// maxDeviation is P(max |tᵢ| ≤ h) for the deviations of k means from their grand
// mean, whose correlations are −1/(k − 1).
func maxDeviation(h float64, k int, nu float64) float64 {
	if k == 2 {
		return 2*StudentTCDF(h, nu) - 1
	}
	scale := math.Sqrt(float64(k-1) / float64(k))
	if h <= 0 {
		return 0
	}
	// The box opens where h·s is 1.5 to 4: with few degrees of freedom that is a
	// small part of the range of s.
	return chiRule(nu, 20, 1.5/h, 4/h).integrate(func(s float64) float64 { return centredBox(h*s*scale, k) })
}

// centredBox is P(|Zᵢ − Z̄| ≤ c for all i) of k standard normals. Deviations and
// mean are independent, so it is the density at 0 of the sum of k normals cut at
// ±c, over that of the sum of k uncut ones. The sum has bounded support, so its
// density is a cosine series of the cut normal's transform, exact up to the
// terms left out (Poisson summation; eq. S29).
func centredBox(c float64, k int) float64 {
	n := float64(k)
	if c <= 0 {
		return 0
	}
	// Period of the series: beyond it the density of the sum is 0, or below 1e-16.
	period := math.Min(n*c*1.0000001, 9*math.Sqrt(n)+c)
	cut := math.Min(c, 9)
	z := legendre(32, 0, cut/2, cut)
	step := 2 * math.Pi / period
	now, turn, last := make([]float64, len(z.x)), make([]float64, len(z.x)), make([]float64, len(z.x))
	for i, x := range z.x {
		z.w[i] *= 2 * normalPDF(x)
		now[i], last[i], turn[i] = 1, math.Cos(step*x), 2*math.Cos(step*x)
	}
	var sum float64
	for m := 0; m < 60; m++ {
		var g float64
		for i := range now {
			g += z.w[i] * now[i]
			now[i], last[i] = turn[i]*now[i]-last[i], now[i]
		}
		term := math.Pow(g, n)
		if m > 0 {
			term *= 2
		}
		sum += term
		if m > 3 && math.Abs(term) < 1e-13*sum && math.Abs(g) < 0.5 {
			break
		}
	}
	return math.Min(1, math.Max(0, sum*step/(2*math.Pi)*math.Sqrt(2*math.Pi*n)))
}
