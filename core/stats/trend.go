package stats

import "math"

// TrendResult is a least squares line through y over x. On the log scale Slope
// is the change of ln y per unit of x, and Fitted values are back in the unit.
type TrendResult struct {
	ScaleChoice
	N                  int      `json:"n"`
	Slope              float64  `json:"slope"`
	SlopeSE            float64  `json:"slope_se"`
	SlopeInterval      Interval `json:"slope_interval"`
	Intercept          float64  `json:"intercept"` // at x = 0, on the working scale
	InterceptSE        float64  `json:"intercept_se"`
	Correlation        float64  `json:"correlation"` // of slope and intercept
	SD                 float64  `json:"sd"`          // about the line, on the working scale
	P                  float64  `json:"p"`           // two-sided, of no slope
	First              float64  `json:"first"`       // the line at the smallest x
	Last               float64  `json:"last"`        // the line at the largest x
	DurbinWatson       float64  `json:"durbin_watson"`
	meanX, sxx, center float64
}

// Trend fits a straight line by least squares (eq. S43) to at least three pairs
// with two different x. Durbin–Watson lies near 2 when neighbours in the order
// given are independent; well below 1.5 the standard errors are too small.
func Trend(x, y []float64, nature Nature, level float64) (TrendResult, error) {
	if err := checkPairs(x, y, 3); err != nil {
		return TrendResult{}, err
	}
	if err := checkProbability("level", level); err != nil {
		return TrendResult{}, err
	}
	r := TrendResult{ScaleChoice: ChooseScale(y, nature), N: len(x)}
	v := r.Scale.forwardAll(y)
	n, df := float64(len(x)), float64(len(x)-2)
	var syy float64
	r.meanX, r.sxx = meanSS(x)
	r.center, syy = meanSS(v)
	if !(r.sxx > 0) {
		return TrendResult{}, noSpread("x", r.meanX)
	}
	if !(syy > 0) {
		return TrendResult{}, noSpread("y", y[0])
	}
	r.Slope = products(x, v, r.meanX, r.center) / r.sxx
	r.Intercept = r.center - r.Slope*r.meanX
	low, high := math.Inf(1), math.Inf(-1)
	var rss, jumps, before float64
	for i := range x {
		e := v[i] - r.center - r.Slope*(x[i]-r.meanX)
		rss += e * e
		if i > 0 {
			jumps += (e - before) * (e - before)
		}
		before = e
		low, high = math.Min(low, x[i]), math.Max(high, x[i])
	}
	// A line through all points leaves only rounding.
	if rss <= 1e-24*syy {
		return TrendResult{}, refuse("y", r.Slope, "all points lie on one line, so there is no scatter to judge by", "record more digits")
	}
	r.SD = math.Sqrt(rss / df)
	r.SlopeSE = r.SD / math.Sqrt(r.sxx)
	spread := r.sxx/n + r.meanX*r.meanX
	r.InterceptSE = r.SlopeSE * math.Sqrt(spread)
	r.Correlation = -r.meanX / math.Sqrt(spread)
	half := StudentTQuantile((1+level)/2, df) * r.SlopeSE
	r.SlopeInterval = Interval{r.Slope - half, r.Slope + half, level}
	r.P = 2 * StudentTCDF(-math.Abs(r.Slope/r.SlopeSE), df)
	r.DurbinWatson = jumps / rss
	r.First, r.Last = r.at(low), r.at(high)
	return r, checkResult(r.First, r.Last)
}

// at is the line at x, in the unit of the data.
func (r TrendResult) at(x float64) float64 {
	return r.Scale.back(r.center + r.Slope*(x-r.meanX))
}

// Predict is the line at x with the interval of the mean there, in the unit of
// the data.
func (r TrendResult) Predict(x, level float64) (float64, Interval, error) {
	if err := checkFinite("x", x); err != nil {
		return 0, Interval{}, err
	}
	if err := checkProbability("level", level); err != nil {
		return 0, Interval{}, err
	}
	n := float64(r.N)
	se := r.SD * math.Sqrt(1/n+(x-r.meanX)*(x-r.meanX)/r.sxx)
	half := StudentTQuantile((1+level)/2, n-2) * se
	v := r.center + r.Slope*(x-r.meanX)
	in := Interval{r.Scale.back(v - half), r.Scale.back(v + half), level}
	return r.at(x), in, checkResult(in.Low, in.High)
}
