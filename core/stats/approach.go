package stats

import "math"

// ApproachResult is a first-order approach to an end value,
// C(t) = Equilibrium + (Initial − Equilibrium) e^(−Rate·t). Standard errors and
// intervals are asymptotic, 0 wide where the fit has no spare point (DF 0).
type ApproachResult struct {
	N                   int      `json:"n"`
	DF                  int      `json:"df"`
	Equilibrium         float64  `json:"equilibrium"`
	EquilibriumSE       float64  `json:"equilibrium_se"`
	EquilibriumInterval Interval `json:"equilibrium_interval"`
	Initial             float64  `json:"initial"`
	InitialSE           float64  `json:"initial_se"` // 0 where it was given
	Rate                float64  `json:"rate"`
	RateSE              float64  `json:"rate_se"`
	RateInterval        Interval `json:"rate_interval"`
	SD                  float64  `json:"sd"` // about the curve
	RSS                 float64  `json:"rss"`
	Reach               float64  `json:"reach"`    // Rate × the longest time: below 1 the end is a guess
	AtBound             bool     `json:"at_bound"` // no approach was found: the rate ran to the end of its range
	cov                 [3][3]float64
	t                   float64
}

// approach is the data of one fit.
type approach struct {
	t, y    []float64
	initial *float64
}

// Approach fits the curve by least squares (eq. S46): at a fixed rate the rest
// is linear, so the rate alone is searched on a log grid, closed in by golden
// section and polished by Gauss–Newton steps in all parameters. Times are 0 or
// more, three different ones at least; two where the initial value is given
// (nil: it is fitted too).
func Approach(t, y []float64, initial *float64, level float64) (ApproachResult, error) {
	if err := checkPairs(t, y, 3); err != nil {
		return ApproachResult{}, err
	}
	if err := checkProbability("level", level); err != nil {
		return ApproachResult{}, err
	}
	parameters := 3
	if initial != nil {
		parameters = 2
		if err := checkFinite("initial", *initial); err != nil {
			return ApproachResult{}, err
		}
	}
	times, longest, shortest := map[float64]bool{}, 0.0, math.Inf(1)
	for _, v := range t {
		if v < 0 {
			return ApproachResult{}, refuse("t", v, "a time below 0", "count from the start")
		}
		times[v] = true
		if v > 0 {
			longest, shortest = math.Max(longest, v), math.Min(shortest, v)
		}
	}
	if len(times) < parameters || longest == 0 {
		return ApproachResult{}, tooFew("t", len(times), parameters)
	}
	a := approach{t, y, initial}
	low, high := math.Log(1e-3/longest), math.Log(30/shortest)
	lnRate := a.search(low, high)
	r := ApproachResult{N: len(t), DF: len(t) - parameters, Rate: math.Exp(lnRate)}
	r.RSS, r.Equilibrium, r.Initial = a.at(r.Rate)
	r.AtBound = lnRate-low < 1e-3*(high-low) || high-lnRate < 1e-3*(high-low)
	if !r.AtBound {
		a.polish(&r)
	}
	r.Reach = r.Rate * longest
	a.errors(&r, level)
	return r, checkResult(r.Equilibrium, r.Initial, r.RSS, r.RateSE, r.EquilibriumSE, r.InitialSE)
}

// at solves the linear part at a fixed rate.
func (a *approach) at(rate float64) (rss, equilibrium, initial float64) {
	if a.initial != nil {
		var gg, gy float64
		for i, t := range a.t {
			g := -math.Expm1(-rate * t)
			gg += g * g
			gy += g * (a.y[i] - *a.initial)
		}
		initial = *a.initial
		if equilibrium = initial; gg > 0 {
			equilibrium += gy / gg
		}
	} else {
		e := make([]float64, len(a.t))
		for i, t := range a.t {
			e[i] = math.Exp(-rate * t)
		}
		me, see := meanSS(e)
		my, _ := meanSS(a.y)
		if !(see > 1e-24) {
			return math.Inf(1), my, my
		}
		b := products(e, a.y, me, my) / see
		equilibrium = my - b*me
		initial = equilibrium + b
	}
	for i, t := range a.t {
		d := a.y[i] - equilibrium - (initial-equilibrium)*math.Exp(-rate*t)
		rss += d * d
	}
	return rss, equilibrium, initial
}

// search finds ln rate of the least sum of squares.
func (a *approach) search(low, high float64) float64 {
	const steps = 400
	place := func(i int) float64 { return low + (high-low)*float64(i)/steps }
	cost := func(x float64) float64 { rss, _, _ := a.at(math.Exp(x)); return rss }
	best, least := 0, math.Inf(1)
	for i := range steps + 1 {
		if v := cost(place(i)); v < least {
			best, least = i, v
		}
	}
	from, to := place(max(best-1, 0)), place(min(best+1, steps))
	golden := (math.Sqrt(5) - 1) / 2
	for range 60 {
		x1, x2 := to-golden*(to-from), from+golden*(to-from)
		if cost(x1) < cost(x2) {
			to = x2
		} else {
			from = x1
		}
	}
	return (from + to) / 2
}

// normal is JᵀJ and Jᵀr with columns of unit length; size holds their lengths.
// The order is equilibrium, rate, initial.
func (a *approach) normal(r *ApproachResult) (m [][]float64, v []float64, size []float64) {
	p := 3
	if a.initial != nil {
		p = 2
	}
	rows := make([][3]float64, len(a.t))
	size = make([]float64, p)
	for i, t := range a.t {
		e := math.Exp(-r.Rate * t)
		rows[i] = [3]float64{1 - e, (r.Equilibrium - r.Initial) * t * e, e}
		for j := range p {
			size[j] += rows[i][j] * rows[i][j]
		}
	}
	m, v = make([][]float64, p), make([]float64, p)
	for j := range p {
		size[j] = math.Sqrt(size[j])
		m[j] = make([]float64, p)
	}
	for i, t := range a.t {
		res := a.y[i] - r.Equilibrium - (r.Initial-r.Equilibrium)*math.Exp(-r.Rate*t)
		for j := range p {
			v[j] += rows[i][j] / size[j] * res
			for k := range p {
				m[j][k] += rows[i][j] / size[j] * rows[i][k] / size[k]
			}
		}
	}
	return m, v, size
}

// polish takes Gauss–Newton steps while they do not make the fit worse.
func (a *approach) polish(r *ApproachResult) {
	for range 30 {
		m, v, size := a.normal(r)
		if !solve(m, v) {
			return
		}
		next := r.Rate + v[1]/size[1]
		if !(next > 0) || math.IsInf(next, 0) {
			return
		}
		rss, equilibrium, initial := a.at(next)
		if !(rss <= r.RSS*(1+1e-12)) {
			return
		}
		moved := math.Abs(next/r.Rate - 1)
		r.Rate, r.RSS, r.Equilibrium, r.Initial = next, rss, equilibrium, initial
		if moved < 1e-14 {
			return
		}
	}
}

func (a *approach) errors(r *ApproachResult, level float64) {
	r.EquilibriumInterval, r.RateInterval = Interval{r.Equilibrium, r.Equilibrium, level}, Interval{r.Rate, r.Rate, level}
	if r.DF < 1 || r.AtBound {
		return
	}
	r.SD = math.Sqrt(r.RSS / float64(r.DF))
	_, _, size := a.normal(r)
	for j := range size {
		m, v, _ := a.normal(r)
		for k := range v {
			v[k] = 0
		}
		v[j] = 1
		if !solve(m, v) {
			return
		}
		for k := range v {
			r.cov[j][k] = r.SD * r.SD * v[k] / size[j] / size[k]
		}
	}
	r.EquilibriumSE, r.RateSE, r.InitialSE = math.Sqrt(r.cov[0][0]), math.Sqrt(r.cov[1][1]), math.Sqrt(r.cov[2][2])
	r.t = StudentTQuantile((1+level)/2, float64(r.DF))
	half := func(v, se float64) Interval { return Interval{v - r.t*se, v + r.t*se, level} }
	r.EquilibriumInterval, r.RateInterval = half(r.Equilibrium, r.EquilibriumSE), half(r.Rate, r.RateSE)
}

// Left is what the curve still lacks of its end value at time t, C(t) − C(∞),
// with its interval at the level of the fit, by the propagation of the fit's
// covariances.
func (r *ApproachResult) Left(t float64) (float64, Interval) {
	e := math.Exp(-r.Rate * t)
	left := (r.Initial - r.Equilibrium) * e
	g := [3]float64{-e, -t * left, e}
	var v float64
	for j := range g {
		for k := range g {
			v += g[j] * g[k] * r.cov[j][k]
		}
	}
	if left == 0 {
		return 0, Interval{0, 0, r.RateInterval.Level}
	}
	// It keeps its sign and is skewed: the interval is symmetric in its logarithm.
	far := math.Exp(r.t * math.Sqrt(math.Max(0, v)) / math.Abs(left))
	low, high := left/far, left*far
	return left, Interval{math.Min(low, high), math.Max(low, high), r.RateInterval.Level}
}
