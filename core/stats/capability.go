package stats

import "math"

// Limits of a specification; at least one of the two is set.
type Limits struct {
	Lower *float64 `json:"lower"`
	Upper *float64 `json:"upper"`
}

// Within is the short-term spread, as a chart estimates it, on the working
// scale, with its degrees of freedom.
type Within struct {
	Sigma float64 `json:"sigma"`
	DF    float64 `json:"df"`
}

// CapabilityOptions: Level of the intervals; Within, when given, adds the
// short-term index.
type CapabilityOptions struct {
	Nature Nature  `json:"nature"`
	Level  float64 `json:"level"`
	Within *Within `json:"within"`
}

// Index is a capability index with its two-sided interval and its one-sided
// lower bound, both at the level asked for.
type Index struct {
	Value      float64  `json:"value"`
	Interval   Interval `json:"interval"`
	LowerBound float64  `json:"lower_bound"`
	Method     string   `json:"method"`
}

// Side is what is known about one limit.
type Side struct {
	Limit float64 `json:"limit"`
	// Performance is the distance to the limit over 3 overall standard
	// deviations on the working scale: Ppu or Ppl.
	Performance Index `json:"performance"`
	// Percentile is the same by the percentiles of the fitted distribution in
	// the unit of the data (ISO 22514-2); equal to Performance when linear.
	Percentile Index `json:"percentile"`
	// Within is the short-term index, Cpu or Cpl; nil when no spread was given.
	Within *Index `json:"within,omitempty"`
	// Outside is the fitted share beyond the limit, with its interval.
	Outside         float64  `json:"outside"`
	OutsideInterval Interval `json:"outside_interval"`
}

// CapabilityResult judges a sample against limits. Ppk is the smaller of the
// sides' Performance. Pp is nil with one limit.
type CapabilityResult struct {
	ScaleChoice
	N       int     `json:"n"`
	Center  float64 `json:"center"` // mean, or geometric mean on the log scale
	SD      float64 `json:"sd"`     // overall, on the working scale
	Median  float64 `json:"median"` // of the fitted distribution
	P00135  float64 `json:"p00135"` // its 0.135 % point
	P99865  float64 `json:"p99865"` // its 99.865 % point
	Upper   *Side   `json:"upper,omitempty"`
	Lower   *Side   `json:"lower,omitempty"`
	Ppk     Index   `json:"ppk"`
	Pp      *Index  `json:"pp,omitempty"`
	Outside float64 `json:"outside"`
}

// Capability compares at least three values with one or two limits (eq. S17 to
// S20; ISO 22514-2). For positive data a lower limit must be above 0.
func Capability(x []float64, limits Limits, opt CapabilityOptions) (CapabilityResult, error) {
	if err := checkCapability(x, limits, opt); err != nil {
		return CapabilityResult{}, err
	}
	choice := ChooseScale(x, opt.Nature)
	m, s := meanSDOf(choice.Scale.forwardAll(x))
	if !(s > 0) {
		return CapabilityResult{}, noSpread("x", x[0])
	}
	back := choice.Scale.back
	r := CapabilityResult{ScaleChoice: choice, N: len(x), Center: back(m), SD: s,
		Median: back(m), P00135: back(m - 3*s), P99865: back(m + 3*s)}
	single := limits.Lower == nil || limits.Upper == nil
	for i, limit := range []*float64{limits.Lower, limits.Upper} {
		if limit == nil {
			continue
		}
		sign := float64(2*i - 1)
		if choice.Scale == Log && *limit <= 0 {
			return CapabilityResult{}, refuse("limits", *limit, "a limit on positive data must be above 0", "leave it out: the data cannot fall below it")
		}
		side := capabilitySide(r, *limit, sign, opt)
		if err := checkResult(side.Performance.Interval.Low, side.Performance.Interval.High, side.Percentile.Value, side.Percentile.Interval.Low, side.Percentile.Interval.High); err != nil {
			return CapabilityResult{}, err
		}
		r.Outside += side.Outside
		if i == 0 {
			r.Lower = &side
		} else {
			r.Upper = &side
		}
		if r.Ppk.Method == "" || side.Performance.Value < r.Ppk.Value {
			r.Ppk = side.Performance
		}
	}
	if !single {
		// Two limits share one estimate of spread, so the exact form does not hold.
		r.Ppk = bissell(r.Ppk.Value, float64(len(x)), float64(len(x)-1), opt.Level)
		pp := spreadIndex((choice.Scale.forward(*limits.Upper)-choice.Scale.forward(*limits.Lower))/(6*s), float64(len(x)-1), opt.Level)
		r.Pp = &pp
	}
	return r, nil
}

func checkCapability(x []float64, limits Limits, opt CapabilityOptions) error {
	if err := checkValues("x", x, 3); err != nil {
		return err
	}
	if err := checkProbability("level", opt.Level); err != nil {
		return err
	}
	if limits.Lower == nil && limits.Upper == nil {
		return &Error{Field: "limits", Message: "no limit given", Mend: "give an upper or a lower limit"}
	}
	for _, l := range []*float64{limits.Lower, limits.Upper} {
		if l != nil {
			if err := checkFinite("limits", *l); err != nil {
				return err
			}
		}
	}
	if limits.Lower != nil && limits.Upper != nil && *limits.Lower >= *limits.Upper {
		return refuse("limits.lower", *limits.Lower, "not below the upper limit", "exchange the limits")
	}
	if opt.Within != nil {
		if err := checkSigma("within.sigma", opt.Within.Sigma); err != nil {
			return err
		}
		return checkInside("within.df", opt.Within.DF, 0, 1e9)
	}
	return nil
}

func capabilitySide(r CapabilityResult, limit, sign float64, opt CapabilityOptions) Side {
	m, u := r.Scale.forward(r.Center), r.Scale.forward(limit)
	n := float64(r.N)
	c := sign * (u - m) / (3 * r.SD)
	side := Side{Limit: limit, Performance: exactIndex(c, n, opt.Level)}
	side.Outside = NormalCDF(-3 * c)
	in := side.Performance.Interval
	side.OutsideInterval = Interval{NormalCDF(-3 * in.High), NormalCDF(-3 * in.Low), opt.Level}
	side.Percentile = side.Performance
	if r.Scale == Log {
		side.Percentile = percentileIndex(u-m, r.SD, n, sign, opt.Level)
	}
	if opt.Within != nil {
		w := bissell(sign*(u-m)/(3*opt.Within.Sigma), n, opt.Within.DF, opt.Level)
		side.Within = &w
	}
	return side
}

// exactIndex is the interval of an index to one limit: 3√n·Ĉ follows the
// noncentral t with δ = 3√n·C (eq. S18).
func exactIndex(c, n, level float64) Index {
	k := 3 * math.Sqrt(n)
	at := func(p float64) float64 { return noncentrality(k*c, n-1, p) / k }
	return Index{c, Interval{at((1 + level) / 2), at((1 - level) / 2), level}, at(level), "exact, noncentral t"}
}

// bissell is the approximate interval of Bissell (1990), Applied Statistics
// 39:331 (eq. S19), with ν degrees of freedom for the spread.
func bissell(c, n, nu, level float64) Index {
	se := math.Sqrt(1/(9*n) + c*c/(2*nu))
	z := NormalQuantile((1 + level) / 2)
	return Index{c, Interval{c - z*se, c + z*se, level}, c - NormalQuantile(level)*se, "Bissell"}
}

// spreadIndex is the exact interval of Pp: only the spread is estimated.
func spreadIndex(c, nu, level float64) Index {
	at := func(p float64) float64 { return c * math.Sqrt(chi2Quantile(p, nu)/nu) }
	return Index{c, Interval{at((1 - level) / 2), at((1 + level) / 2), level}, at(1 - level), "exact, chi-squared"}
}

// percentileIndex is ISO 22514-2's index of a lognormal: the distance from the
// median to the limit over that to the 99.865 % (or 0.135 %) point, in the unit
// of the data (eq. S20). d is ln limit − mean of logs. Its interval joins the
// limits of mean and spread by squares (MOVER, Zou and Donner 2008), each side
// taken to the index by its slope.
func percentileIndex(d, s, n, sign, level float64) Index {
	f := func(shift, s float64) float64 { return math.Expm1(d-shift) / math.Expm1(sign*3*s) }
	value := f(0, s)
	bounds := func(tail float64) (low, high float64) {
		dm := StudentTQuantile(1-tail, n-1) * s / math.Sqrt(n)
		wide := s * math.Sqrt((n-1)/chi2Quantile(tail, n-1))
		slim := s * math.Sqrt((n-1)/chi2Quantile(1-tail, n-1))
		a1, a2 := f(dm, s)-value, f(-dm, s)-value
		b1, b2 := f(0, wide)-value, f(0, slim)-value
		low = value - math.Hypot(math.Min(0, math.Min(a1, a2)), math.Min(0, math.Min(b1, b2)))
		high = value + math.Hypot(math.Max(0, math.Max(a1, a2)), math.Max(0, math.Max(b1, b2)))
		return low, high
	}
	low, high := bounds((1 - level) / 2)
	bound, _ := bounds(1 - level)
	return Index{value, Interval{low, high, level}, bound, "lognormal percentiles, MOVER"}
}
