package stats

import "math"

// EWMAOptions of an exponentially weighted moving average. Target is in the unit
// of the data, Sigma (of a plotted value) on the working scale; when nil they
// are estimated by Individuals.
type EWMAOptions struct {
	Nature Nature   `json:"nature"`
	Lambda float64  `json:"lambda"` // 0 < λ ≤ 1, weight of the newest value
	Width  float64  `json:"width"`  // L, half width of the limits in σ of the statistic
	Target *float64 `json:"target"`
	Sigma  *float64 `json:"sigma"`
	Steady bool     `json:"steady"` // asymptotic limits from the first point
}

// EWMAPoint is one step; all in the unit of the data.
type EWMAPoint struct {
	Value float64 `json:"value"`
	EWMA  float64 `json:"ewma"`
	Lower float64 `json:"lower"`
	Upper float64 `json:"upper"`
}

// EWMAChart lists the points beyond their limits in Signals.
type EWMAChart struct {
	ScaleChoice
	Target  float64     `json:"target"`
	Sigma   float64     `json:"sigma"`
	Points  []EWMAPoint `json:"points"`
	Signals []int       `json:"signals"`
}

// EWMA is the chart of eq. S12 (Roberts 1959; Lucas and Saccucci 1990).
func EWMA(x []float64, opt EWMAOptions) (EWMAChart, error) {
	if err := checkEWMA(opt.Lambda, opt.Width); err != nil {
		return EWMAChart{}, err
	}
	choice, target, sigma, err := targetAndSigma(x, opt.Nature, opt.Target, opt.Sigma)
	if err != nil {
		return EWMAChart{}, err
	}
	c := EWMAChart{ScaleChoice: choice, Target: choice.Scale.back(target), Sigma: sigma, Signals: []int{}}
	l := opt.Lambda
	z, fade := target, 1.0
	for i, v := range choice.Scale.forwardAll(x) {
		z = l*v + (1-l)*z
		fade *= (1 - l) * (1 - l)
		share := 1 - fade
		if opt.Steady {
			share = 1
		}
		half := opt.Width * sigma * math.Sqrt(l/(2-l)*share)
		p := EWMAPoint{x[i], choice.Scale.back(z), choice.Scale.back(target - half), choice.Scale.back(target + half)}
		if err := checkResult(p.Lower, p.Upper); err != nil {
			return EWMAChart{}, err
		}
		c.Points = append(c.Points, p)
		if math.Abs(z-target) > half {
			c.Signals = append(c.Signals, i)
		}
	}
	return c, nil
}

// targetAndSigma gives both on the working scale, estimated where not known.
func targetAndSigma(x []float64, nature Nature, target, sigma *float64) (ScaleChoice, float64, float64, error) {
	if target != nil && sigma != nil && len(x) == 1 {
		x = []float64{x[0], x[0]} // known standards judge a single value too
	}
	c, err := Individuals(x, ChartOptions{Nature: nature, Center: target, Sigma: sigma})
	if err != nil {
		return ScaleChoice{}, 0, 0, err
	}
	return c.ScaleChoice, c.Scale.forward(c.Center), c.Sigma, nil
}

func checkEWMA(lambda, width float64) error {
	if !(lambda > 0 && lambda <= 1) {
		return refuse("lambda", lambda, "out of range", "give a weight above 0, at most 1; 0.2 is common")
	}
	if !(width > 0 && width < 100) {
		return refuse("width", width, "out of range", "give a width in σ; 2.7 to 3 is common")
	}
	return nil
}

// EWMARunLength is the average number of points to a signal when the mean lies
// shift σ off target: two-sided, steady limits, started at the target. It solves
// Crowder's integral equation (eq. S13; Technometrics 29, 1987).
func EWMARunLength(lambda, width, shift float64) (float64, error) {
	if err := checkEWMA(lambda, width); err != nil {
		return 0, err
	}
	if err := checkFinite("shift", shift); err != nil {
		return 0, err
	}
	if lambda == 1 {
		arl := ShewhartRunLength(width, shift)
		return arl, tooLong(arl)
	}
	h := width * math.Sqrt(lambda/(2-lambda))
	kernel := func(u, y float64) float64 { return normalPDF((y-(1-lambda)*u)/lambda-shift) / lambda }
	q := legendre(runLengthNodes, -h, 0, h)
	l, ok := fredholm(q, kernel)
	if !ok {
		return 0, tooLong(math.Inf(1))
	}
	arl := 1.0
	for j, y := range q.x {
		arl += q.w[j] * l[j] * kernel(0, y)
	}
	return arl, tooLong(arl)
}

// tooLong refuses a run length that double precision cannot hold apart from
// infinity.
func tooLong(arl float64) error {
	if arl >= 1 && arl < 1e12 {
		return nil
	}
	return refuse("width", arl, "the run length is too long to compute", "use narrower limits")
}

const runLengthNodes = 32

// fredholm solves L(u) = 1 + ∫L(y)kernel(u, y)dy on the nodes.
func fredholm(q nodes, kernel func(u, y float64) float64) ([]float64, bool) {
	n := len(q.x)
	m, l := make([][]float64, n), make([]float64, n)
	for i, u := range q.x {
		m[i], l[i] = make([]float64, n), 1
		for j, y := range q.x {
			m[i][j] = -q.w[j] * kernel(u, y)
		}
		m[i][i]++
	}
	return l, solve(m, l)
}

// ShewhartRunLength is the average run length of single values against limits
// width σ off, at a shift of the mean by shift σ.
func ShewhartRunLength(width, shift float64) float64 {
	return 1 / (NormalCDF(-width-shift) + NormalCDF(-width+shift))
}
