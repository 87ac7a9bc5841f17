package stats

import "math"

// Coefficient of a regression. P is two-sided, of none.
type Coefficient struct {
	Value    float64  `json:"value"`
	SE       float64  `json:"se"`
	Interval Interval `json:"interval"`
	P        float64  `json:"p"`
}

// Regression is y by a constant and some columns. Centre is y at the mean of
// every column, which is the mean of y; Slopes are in the order of the columns.
type Regression struct {
	N      int           `json:"n"`
	DF     int           `json:"df"`
	Centre Coefficient   `json:"centre"`
	Slopes []Coefficient `json:"slopes"`
	SD     float64       `json:"sd"`
}

// Regress fits by ordinary least squares (eq. S47). It refuses columns that
// hold the same thing twice, and fewer rows than columns + 2.
func Regress(columns [][]float64, y []float64, level float64) (Regression, error) {
	p := len(columns)
	if err := checkValues("y", y, p+2); err != nil {
		return Regression{}, err
	}
	if err := checkProbability("level", level); err != nil {
		return Regression{}, err
	}
	means, size := make([]float64, p), make([]float64, p)
	my, _ := meanSS(y)
	m, v := make([][]float64, p), make([]float64, p)
	for j, c := range columns {
		if err := checkPairs(c, y, p+2); err != nil {
			return Regression{}, err
		}
		var ss float64
		if means[j], ss = meanSS(c); !(ss > 0) {
			return Regression{}, noSpread("columns", means[j])
		}
		size[j] = math.Sqrt(ss)
	}
	for j := range columns {
		m[j] = make([]float64, p)
		for k := range columns {
			m[j][k] = products(columns[j], columns[k], means[j], means[k]) / size[j] / size[k]
		}
		v[j] = products(columns[j], y, means[j], my) / size[j]
	}
	inverse, ok := inverted(m)
	if !ok {
		return Regression{}, refuse("columns", float64(p), "two columns say the same thing", "leave one out")
	}
	b := make([]float64, p)
	for j := range b {
		for k := range v {
			b[j] += inverse[j][k] * v[k]
		}
		b[j] /= size[j]
	}
	var rss float64
	for i := range y {
		e := y[i] - my
		for j, c := range columns {
			e -= b[j] * (c[i] - means[j])
		}
		rss += e * e
	}
	r := Regression{N: len(y), DF: len(y) - p - 1}
	r.SD = math.Sqrt(rss / float64(r.DF))
	r.Centre = r.coefficient(my, r.SD/math.Sqrt(float64(r.N)), level)
	for j := range b {
		r.Slopes = append(r.Slopes, r.coefficient(b[j], r.SD*math.Sqrt(math.Max(0, inverse[j][j]))/size[j], level))
	}
	return r, checkResult(r.SD)
}

func (r *Regression) coefficient(v, se, level float64) Coefficient {
	half := StudentTQuantile((1+level)/2, float64(r.DF)) * se
	c := Coefficient{v, se, Interval{v - half, v + half, level}, 1}
	if se > 0 {
		c.P = 2 * StudentTCDF(-math.Abs(v/se), float64(r.DF))
	} else if v != 0 {
		c.P = 0
	}
	return c
}

// inverted is the inverse of a correlation matrix; false when it is singular
// for all practical purposes.
func inverted(m [][]float64) ([][]float64, bool) {
	n := len(m)
	inverse := make([][]float64, n)
	for j := range n {
		work, unit := make([][]float64, n), make([]float64, n)
		for i := range n {
			work[i] = append([]float64{}, m[i]...)
		}
		unit[j] = 1
		if !solve(work, unit) || !(math.Abs(unit[j]) < 1e10) {
			return nil, false
		}
		inverse[j] = unit
	}
	return inverse, true
}

// PairsForEquivalence is the smallest number of pairs with which two one-sided
// tests at alpha (eq. S39) find a mean difference within ±margin with
// probability power, if the differences have this mean and standard deviation
// (eq. S48, noncentral t). 0 where no number does: the mean is not inside.
func PairsForEquivalence(mean, sd, margin, alpha, power float64) (int, error) {
	if err := checkFinite("mean", mean); err != nil {
		return 0, err
	}
	if err := checkSigma("sd", sd); err != nil {
		return 0, err
	}
	if err := checkSigma("margin", margin); err != nil {
		return 0, err
	}
	if err := checkInside("alpha", alpha, 1e-12, 0.5); err != nil {
		return 0, err
	}
	if err := checkProbability("power", power); err != nil {
		return 0, err
	}
	const most = 1 << 20
	enough := func(n int) bool { return equivalencePower(mean, sd, margin, alpha, n) >= power }
	if !(math.Abs(mean) < margin) || !enough(most) {
		return 0, nil
	}
	high := 2
	for !enough(high) {
		high *= 2
	}
	low := high / 2
	for high-low > 1 {
		if mid := (low + high) / 2; enough(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high, nil
}

func equivalencePower(mean, sd, margin, alpha float64, n int) float64 {
	df, root := float64(n-1), math.Sqrt(float64(n))/sd
	t := StudentTQuantile(1-alpha, df)
	above := 1 - NoncentralTCDF(t, df, (mean+margin)*root)
	below := NoncentralTCDF(-t, df, (mean-margin)*root)
	return math.Max(0, above+below-1)
}

// SDInterval is the interval of the standard deviation of normal values, found
// as s with df degrees of freedom (chi-squared). Both ends are s where it is 0.
func SDInterval(s, df, level float64) (low, high float64) {
	if !(s > 0) || !(df > 0) {
		return s, s
	}
	return s * math.Sqrt(df/chi2Quantile((1+level)/2, df)), s * math.Sqrt(df/chi2Quantile((1-level)/2, df))
}
