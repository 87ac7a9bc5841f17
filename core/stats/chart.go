package stats

import (
	"fmt"
	"math"
)

// ChartOptions of Individuals, RangeChart and SDChart. The zero value estimates
// everything from the data, on the values themselves, with rule 1 alone.
type ChartOptions struct {
	Nature Nature `json:"nature"`
	// Center and Sigma, when known from before, replace the estimates. Center is
	// in the unit of the data, Sigma on the working scale (of single values).
	Center *float64 `json:"center"`
	Sigma  *float64 `json:"sigma"`
	// Robust takes the median moving range, so that a few faults do not widen
	// the limits. Individuals only.
	Robust bool      `json:"robust"`
	Rules  []RunRule `json:"rules"`
}

// ChartPoint is one plotted value with its limits in the unit of the data; Z is
// its distance from the centre in σ of the plotted statistic, on the working
// scale.
type ChartPoint struct {
	Value float64 `json:"value"`
	Lower float64 `json:"lower"`
	Upper float64 `json:"upper"`
	Z     float64 `json:"-"`
}

// Chart is a control chart. Sigma is that of a single value on the working
// scale. Spread is the chart of ranges or standard deviations, always on the
// working scale.
type Chart struct {
	ScaleChoice
	Center  float64      `json:"center"`
	Sigma   float64      `json:"sigma"`
	Points  []ChartPoint `json:"points"`
	Signals []Signal     `json:"signals"`
	Spread  *SpreadChart `json:"spread"`
	Method  string       `json:"method"`
	// Lag1 is the correlation of neighbouring values, and Caution a word on it
	// when it is too high for the limits to hold. Individuals only.
	Lag1    float64 `json:"lag1"`
	Caution string  `json:"caution,omitempty"`
}

// SpreadChart is the lower half of a chart: moving ranges, ranges or standard
// deviations. Only points beyond the limits signal: its distribution is skewed.
type SpreadChart struct {
	Center  float64      `json:"center"`
	First   int          `json:"first"` // index of the value that Points[0] belongs to
	Points  []ChartPoint `json:"points"`
	Signals []Signal     `json:"signals"`
}

// robustRange is the median of |x − y|/σ for two normal values.
var robustRange = math.Sqrt2 * 0.6744897501960817

// Individuals is the chart of single values with moving ranges of two (eq. S9).
// It needs two values. Neighbouring values must be independent: a trace of a
// fast sensor is not, and its limits would come out far too narrow.
func Individuals(x []float64, opt ChartOptions) (Chart, error) {
	if err := checkValues("x", x, 2); err != nil {
		return Chart{}, err
	}
	choice := ChooseScale(x, opt.Nature)
	y := choice.Scale.forwardAll(x)
	mr := make([]float64, len(y)-1)
	for i := range mr {
		mr[i] = math.Abs(y[i+1] - y[i])
	}
	d2, d3 := 2/math.Sqrt(math.Pi), math.Sqrt(2-4/math.Pi)
	mean, _ := meanSS(mr)
	sigma, method := mean/d2, "individuals, mean moving range/d2"
	if opt.Robust {
		sigma, method = median(mr)/robustRange, "individuals, median moving range"
	}
	center, _ := meanSS(y)
	c, err := newChart(choice, opt, center, sigma)
	if err != nil {
		return Chart{}, err
	}
	c.Method = method
	c.Lag1, c.Caution = neighbours(y)
	c.Spread = &SpreadChart{Center: d2 * c.Sigma, First: 1}
	for i := range y {
		c.add(x[i], y[i], 1)
	}
	for _, r := range mr {
		c.Spread.add(r, d2*c.Sigma, d3*c.Sigma)
	}
	return c, c.finish(opt)
}

// neighbours is the lag-1 autocorrelation, with a caution beyond two standard
// errors of independent values.
func neighbours(y []float64) (r float64, caution string) {
	m, ss := meanSS(y)
	if !(ss > 0) {
		return 0, ""
	}
	r = products(y[:len(y)-1], y[1:], m, m) / ss
	if len(y) >= 20 && r > 2/math.Sqrt(float64(len(y))) {
		caution = fmt.Sprintf("neighbouring values resemble each other (correlation %.2f): a shift or a drift, "+
			"or readings too close in time, whose limits come out too narrow", r)
	}
	return r, caution
}

// RangeChart is the chart of subgroup means and ranges (eq. S10). Subgroups of
// two values or more; sizes may differ, and limits then do too.
func RangeChart(groups [][]float64, opt ChartOptions) (Chart, error) {
	return subgroupChart(groups, opt, "means and ranges", rangeSpread)
}

// SDChart is the chart of subgroup means and standard deviations (eq. S11).
func SDChart(groups [][]float64, opt ChartOptions) (Chart, error) {
	return subgroupChart(groups, opt, "means and standard deviations", sdSpread)
}

// spreadRule gives a subgroup's statistic and how it relates to σ: its mean and
// sd in units of σ.
type spreadRule func(y []float64, k Constants) (value, mean, sd float64)

func rangeSpread(y []float64, k Constants) (value, mean, sd float64) {
	low, high := y[0], y[0]
	for _, v := range y {
		low, high = math.Min(low, v), math.Max(high, v)
	}
	return high - low, k.MeanRange, k.SDRange
}

func sdSpread(y []float64, k Constants) (value, mean, sd float64) {
	_, s := meanSDOf(y)
	return s, k.MeanSD, math.Sqrt(1 - k.MeanSD*k.MeanSD)
}

func subgroupChart(groups [][]float64, opt ChartOptions, method string, rule spreadRule) (Chart, error) {
	if len(groups) < 2 {
		return Chart{}, tooFew("groups", len(groups), 2)
	}
	var all []float64
	constants := map[int]Constants{}
	for i, g := range groups {
		if err := checkValues(fmt.Sprintf("groups[%d]", i), g, 2); err != nil {
			return Chart{}, err
		}
		all = append(all, g...)
		if _, ok := constants[len(g)]; !ok {
			k, err := ChartConstants(len(g))
			if err != nil {
				return Chart{}, err
			}
			constants[len(g)] = k
		}
	}
	choice := ChooseScale(all, opt.Nature)
	type row struct{ mean, spread, unit, sd float64 }
	rows := make([]row, len(groups))
	var num, den float64
	for i, g := range groups {
		y := choice.Scale.forwardAll(g)
		r := &rows[i]
		r.mean, _ = meanSS(y)
		r.spread, r.unit, r.sd = rule(y, constants[len(g)])
		// Weighted by precision; with equal sizes this is mean spread over d2 or c4.
		h := r.unit * r.unit / (r.sd * r.sd)
		num += h * r.spread / r.unit
		den += h
	}
	center, _ := meanSS(choice.Scale.forwardAll(all))
	c, err := newChart(choice, opt, center, num/den)
	if err != nil {
		return Chart{}, err
	}
	c.Method = method
	c.Spread = &SpreadChart{Center: rows[0].unit * c.Sigma}
	for i, r := range rows {
		c.add(choice.Scale.back(r.mean), r.mean, float64(len(groups[i])))
		c.Spread.add(r.spread, r.unit*c.Sigma, r.sd*c.Sigma)
	}
	return c, c.finish(opt)
}

// newChart takes known values over the estimates and refuses a chart without
// spread.
func newChart(choice ScaleChoice, opt ChartOptions, center, sigma float64) (Chart, error) {
	if opt.Center != nil {
		if err := checkFinite("center", *opt.Center); err != nil {
			return Chart{}, err
		}
		if choice.Scale == Log && *opt.Center <= 0 {
			return Chart{}, refuse("center", *opt.Center, "a centre on the log scale must be above 0", "give a positive centre")
		}
		center = choice.Scale.forward(*opt.Center)
	}
	if opt.Sigma != nil {
		if err := checkSigma("sigma", *opt.Sigma); err != nil {
			return Chart{}, err
		}
		if choice.Scale == Log && *opt.Sigma > 20 {
			return Chart{}, refuse("sigma", *opt.Sigma, "on the log scale σ is that of logarithms", "give a number such as 0.3, which is about 30 %")
		}
		sigma = *opt.Sigma
	}
	if !(sigma > 0) {
		return Chart{}, noSpread("x", choice.Scale.back(center))
	}
	return Chart{ScaleChoice: choice, Center: choice.Scale.back(center), Sigma: sigma}, nil
}

func (c *Chart) add(value, y, n float64) {
	center := c.Scale.forward(c.Center)
	s := c.Sigma / math.Sqrt(n)
	c.Points = append(c.Points, ChartPoint{value, c.Scale.back(center - 3*s), c.Scale.back(center + 3*s), (y - center) / s})
}

func (c *SpreadChart) add(value, center, sd float64) {
	c.Points = append(c.Points, ChartPoint{value, math.Max(0, center-3*sd), center + 3*sd, (value - center) / sd})
}

func (c *Chart) finish(opt ChartOptions) error {
	rules := opt.Rules
	if len(rules) == 0 {
		rules = []RunRule{{BeyondLimits, 1}}
	}
	var err error
	if c.Signals, err = FindSignals(zOf(c.Points), rules); err != nil {
		return err
	}
	if c.Spread.Signals, err = FindSignals(zOf(c.Spread.Points), []RunRule{{BeyondLimits, 1}}); err != nil {
		return err
	}
	for i := range c.Spread.Signals {
		c.Spread.Signals[i].Index += c.Spread.First
		c.Spread.Signals[i].From += c.Spread.First
	}
	return nil
}

func zOf(points []ChartPoint) []float64 {
	z := make([]float64, len(points))
	for i, p := range points {
		z[i] = p.Z
	}
	return z
}
