package stats

import (
	"math"
	"strconv"
)

// AgreementLimit is one limit of agreement with two intervals: exact by the
// noncentral t (Carkeet 2015), and the usual approximate one (Bland and Altman
// 1999).
type AgreementLimit struct {
	Value       float64  `json:"value"`
	Interval    Interval `json:"interval"`
	Approximate Interval `json:"approximate"`
}

// AgreementResult compares paired readings, first minus second: differences on
// the linear scale, ratios on the log scale. Trend is the slope of the absolute
// difference from the bias on the mean of a pair, with its two-sided p: a small
// p says that the scatter changes with the level, and one pair of limits does
// not fit all.
type AgreementResult struct {
	ScaleChoice
	N            int            `json:"n"`
	Bias         float64        `json:"bias"`
	BiasInterval Interval       `json:"bias_interval"`
	SD           float64        `json:"sd"` // on the working scale
	Lower        AgreementLimit `json:"lower"`
	Upper        AgreementLimit `json:"upper"`
	Share        float64        `json:"share"`
	Trend        float64        `json:"trend"`
	TrendP       float64        `json:"trend_p"`
}

// checkPairs refuses lists of unequal length, too few pairs, and bad values.
func checkPairs(a, b []float64, need int) error {
	if len(a) != len(b) {
		return &Error{Field: "b", Value: strconv.Itoa(len(b)), Message: "not as many values as in a (" + strconv.Itoa(len(a)) + ")",
			Mend: "give pairs; leave out those with a reading missing"}
	}
	if err := checkValues("a", a, need); err != nil {
		return err
	}
	return checkValues("b", b, need)
}

// pairScale picks one scale for both lists and gives them on it.
func pairScale(a, b []float64, nature Nature) (ScaleChoice, []float64, []float64) {
	c := ChooseScale(append(append([]float64{}, a...), b...), nature)
	return c, c.Scale.forwardAll(a), c.Scale.forwardAll(b)
}

// Agreement gives the limits within which a share of differences is expected
// (eq. S37; Bland and Altman 1986, 1999), from at least three pairs.
func Agreement(a, b []float64, nature Nature, share, level float64) (AgreementResult, error) {
	if err := checkPairs(a, b, 3); err != nil {
		return AgreementResult{}, err
	}
	if err := checkProbability("share", share); err != nil {
		return AgreementResult{}, err
	}
	if err := checkProbability("level", level); err != nil {
		return AgreementResult{}, err
	}
	choice, x, y := pairScale(a, b, nature)
	d, mid := make([]float64, len(x)), make([]float64, len(x))
	for i := range x {
		d[i], mid[i] = x[i]-y[i], (x[i]+y[i])/2
	}
	m, s := meanSDOf(d)
	if !(s > 0) {
		return AgreementResult{}, noSpread("a − b", m)
	}
	n := float64(len(d))
	back, root := choice.Scale.back, math.Sqrt(n)
	t, z := StudentTQuantile((1+level)/2, n-1), NormalQuantile((1+share)/2)
	r := AgreementResult{ScaleChoice: choice, N: len(d), Bias: back(m), SD: s, Share: share,
		BiasInterval: Interval{back(m - t*s/root), back(m + t*s/root), level}}
	near := NoncentralTQuantile((1-level)/2, n-1, root*z) * s / root
	far := NoncentralTQuantile((1+level)/2, n-1, root*z) * s / root
	half := t * s * math.Sqrt(1/n+z*z/(2*(n-1)))
	limit := func(sign float64) AgreementLimit {
		v := m + sign*z*s
		low, high := m+near, m+far
		if sign < 0 {
			low, high = m-far, m-near
		}
		return AgreementLimit{back(v), Interval{back(low), back(high), level}, Interval{back(v - half), back(v + half), level}}
	}
	r.Lower, r.Upper = limit(-1), limit(1)
	for i := range d {
		d[i] = math.Abs(d[i] - m)
	}
	r.Trend, r.TrendP = slope(mid, d)
	return r, checkResult(r.Bias, r.BiasInterval.Low, r.BiasInterval.High, r.Lower.Interval.Low, r.Upper.Interval.High, r.Lower.Approximate.Low, r.Upper.Approximate.High)
}

// slope is the least squares slope of y on x and its two-sided p; both 0 and 1
// when x does not vary.
func slope(x, y []float64) (b, p float64) {
	mx, sxx := meanSS(x)
	my, syy := meanSS(y)
	if !(sxx > 0) {
		return 0, 1
	}
	b = products(x, y, mx, my) / sxx
	df := float64(len(x) - 2)
	se := math.Sqrt(math.Max(0, syy-b*b*sxx) / df / sxx)
	if !(se > 0) {
		return b, 0
	}
	return b, 2 * StudentTCDF(-math.Abs(b/se), df)
}

func products(x, y []float64, mx, my float64) float64 {
	var p float64
	for i := range x {
		p += (x[i] - mx) * (y[i] - my)
	}
	return p
}

// ConcordanceResult: Value is Lin's coefficient (moments with divisor n),
// Correlation times Accuracy.
type ConcordanceResult struct {
	N           int      `json:"n"`
	Value       float64  `json:"value"`
	Interval    Interval `json:"interval"`
	Correlation float64  `json:"correlation"`
	Accuracy    float64  `json:"accuracy"`
}

// Concordance is Lin's coefficient (1989) with the interval of his corrected
// standard error (2000) on Fisher's z (eq. S38), from at least four pairs.
func Concordance(a, b []float64, level float64) (ConcordanceResult, error) {
	if err := checkPairs(a, b, 4); err != nil {
		return ConcordanceResult{}, err
	}
	if err := checkProbability("level", level); err != nil {
		return ConcordanceResult{}, err
	}
	ma, sa := meanSS(a)
	mb, sb := meanSS(b)
	if !(sa > 0 && sb > 0) {
		return ConcordanceResult{}, noSpread("a or b", ma)
	}
	n := float64(len(a))
	p := products(a, b, ma, mb)
	r := ConcordanceResult{N: len(a), Value: 2 * p / (sa + sb + n*(ma-mb)*(ma-mb)), Correlation: p / math.Sqrt(sa*sb)}
	if r.Correlation == 0 {
		return ConcordanceResult{}, refuse("a, b", 0, "not correlated at all", "check the pairing")
	}
	r.Accuracy = r.Value / r.Correlation
	c, q := r.Value, r.Correlation
	if 1-c*c < 1e-15 {
		r.Interval = Interval{c, c, level}
		return r, nil
	}
	u2 := (ma - mb) * (ma - mb) / math.Sqrt(sa*sb/(n*n))
	v := (1-q*q)*c*c/((1-c*c)*q*q) + 2*c*c*c*(1-c)*u2/(q*(1-c*c)*(1-c*c)) - c*c*c*c*u2*u2/(2*q*q*(1-c*c)*(1-c*c))
	half := NormalQuantile((1+level)/2) * math.Sqrt(math.Max(0, v)/(n-2))
	r.Interval = Interval{math.Tanh(math.Atanh(c) - half), math.Tanh(math.Atanh(c) + half), level}
	return r, nil
}

// EquivalenceResult of two one-sided tests. P is the larger of the two;
// Interval is the one at 1 − 2α that must lie within the margins.
type EquivalenceResult struct {
	ScaleChoice
	N          int      `json:"n"`
	Difference float64  `json:"difference"` // a ratio on the log scale
	SE         float64  `json:"se"`         // on the working scale
	Interval   Interval `json:"interval"`
	PLower     float64  `json:"p_lower"`
	PUpper     float64  `json:"p_upper"`
	P          float64  `json:"p"`
	Equivalent bool     `json:"equivalent"`
}

// Equivalence tests whether the mean paired difference lies within the margins
// low and high (eq. S39; Schuirmann 1987); on the log scale these are ratios.
func Equivalence(a, b []float64, nature Nature, low, high, alpha float64) (EquivalenceResult, error) {
	if err := checkPairs(a, b, 2); err != nil {
		return EquivalenceResult{}, err
	}
	if err := checkInside("alpha", alpha, 1e-12, 0.5); err != nil {
		return EquivalenceResult{}, err
	}
	choice, x, y := pairScale(a, b, nature)
	if choice.Scale == Log && !(low > 0) {
		return EquivalenceResult{}, refuse("low", low, "a ratio must be above 0", "give the margin as a ratio, such as 0.9")
	}
	if !(low < high) || math.IsInf(high-low, 0) {
		return EquivalenceResult{}, refuse("low", low, "not below the upper margin", "give the margins low to high")
	}
	d := make([]float64, len(x))
	for i := range x {
		d[i] = x[i] - y[i]
	}
	m, s := meanSDOf(d)
	if !(s > 0) {
		return EquivalenceResult{}, noSpread("a − b", m)
	}
	n := float64(len(d))
	se, back := s/math.Sqrt(n), choice.Scale.back
	half := StudentTQuantile(1-alpha, n-1) * se
	r := EquivalenceResult{ScaleChoice: choice, N: len(d), Difference: back(m), SE: se,
		Interval: Interval{back(m - half), back(m + half), 1 - 2*alpha},
		PLower:   StudentTCDF(-(m-choice.Scale.forward(low))/se, n-1),
		PUpper:   StudentTCDF((m-choice.Scale.forward(high))/se, n-1)}
	r.P = math.Max(r.PLower, r.PUpper)
	r.Equivalent = r.P < alpha
	return r, checkResult(r.Difference, r.Interval.Low, r.Interval.High)
}
