package stats

import (
	"fmt"
	"math"
	"slices"
)

// Nature is what the caller knows of the data before looking at them.
type Nature string

const (
	// Symmetric data scatter alike above and below: temperatures, weights.
	Symmetric Nature = "symmetric"
	// Positive data cannot fall below 0 and have a long upper tail:
	// concentrations, times, counts of traces.
	Positive Nature = "positive"
)

// Scale is where the computation was done.
type Scale string

const (
	Linear Scale = "linear"
	Log    Scale = "log"
)

// ScaleChoice is the scale the package took, and why.
type ScaleChoice struct {
	Scale  Scale  `json:"scale"`
	Reason string `json:"reason"`
}

// ChooseScale picks the scale for data of a stated nature. The data only decide
// whether a logarithm is possible at all; an empty nature counts as Symmetric.
func ChooseScale(x []float64, nature Nature) ScaleChoice {
	if nature != Positive {
		return ScaleChoice{Linear, "stated to be symmetric: worked on the values themselves"}
	}
	for i, v := range x {
		if v <= 0 {
			return ScaleChoice{Linear, fmt.Sprintf("stated to be positive, but value %d is %s and has no logarithm: "+
				"worked on the values themselves; enter a reading below the floor as such", i+1, number(v))}
		}
	}
	return ScaleChoice{Log, "stated to be positive and skewed: worked on logarithms, shown in the unit of the values"}
}

func (s Scale) forward(v float64) float64 {
	if s == Log {
		return math.Log(v)
	}
	return v
}

func (s Scale) back(v float64) float64 {
	if s == Log {
		return math.Exp(v)
	}
	return v
}

func (s Scale) forwardAll(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = s.forward(v)
	}
	return out
}

// meanSS is the mean and the sum of squares about it. The first value is taken
// off before both passes, so that many equal leading digits do no harm (eq. S6).
func meanSS(x []float64) (mean, ss float64) {
	if len(x) == 0 {
		return math.NaN(), math.NaN()
	}
	n := float64(len(x))
	var shift float64
	for _, v := range x {
		shift += v - x[0]
	}
	shift /= n
	var dev float64
	for _, v := range x {
		d := v - x[0] - shift
		ss += d * d
		dev += d
	}
	return x[0] + shift, math.Max(0, ss-dev*dev/n)
}

func meanSDOf(x []float64) (mean, sd float64) {
	m, ss := meanSS(x)
	return m, math.Sqrt(ss / float64(len(x)-1))
}

func median(x []float64) float64 { return medianSorted(slices.Sorted(slices.Values(x))) }

func medianSorted(s []float64) float64 {
	n := len(s)
	if n == 0 {
		return math.NaN()
	}
	if n%2 == 1 {
		return s[n/2]
	}
	return s[n/2-1]/2 + s[n/2]/2
}

// Summary describes a sample. MAD is the median absolute deviation, unscaled.
type Summary struct {
	N      int     `json:"n"`
	Mean   float64 `json:"mean"`
	SD     float64 `json:"sd"`
	Min    float64 `json:"min"`
	Median float64 `json:"median"`
	Max    float64 `json:"max"`
	MAD    float64 `json:"mad"`
}

// Summarize needs two values.
func Summarize(x []float64) (Summary, error) {
	if err := checkValues("x", x, 2); err != nil {
		return Summary{}, err
	}
	m, sd := meanSDOf(x)
	med := median(x)
	dev := make([]float64, len(x))
	for i, v := range x {
		dev[i] = math.Abs(v - med)
	}
	return Summary{N: len(x), Mean: m, SD: sd, Min: slices.Min(x), Median: med, Max: slices.Max(x), MAD: median(dev)}, nil
}

// Interval is a range that holds the truth with the confidence Level.
type Interval struct {
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	Level float64 `json:"level"`
}

// MeanEstimate is a mean with its two-sided interval and its one-sided bounds,
// each at the level asked for.
type MeanEstimate struct {
	ScaleChoice
	N          int      `json:"n"`
	Mean       float64  `json:"mean"`
	Interval   Interval `json:"interval"`
	LowerBound float64  `json:"lower_bound"`
	UpperBound float64  `json:"upper_bound"`
	// Centre is the geometric mean on the log scale, else the mean; its
	// interval is exact for normal values of the scale.
	Centre         float64  `json:"centre"`
	CentreInterval Interval `json:"centre_interval"`
	Method         string   `json:"method"`
}

// Mean estimates a mean at level 0 < level < 1 from at least two values: by
// Student's t (eq. S7), or for positive data the arithmetic mean of a lognormal
// by Zou's limits (eq. S8), which stay close to Land's exact ones.
func Mean(x []float64, nature Nature, level float64) (MeanEstimate, error) {
	if err := checkValues("x", x, 2); err != nil {
		return MeanEstimate{}, err
	}
	if err := checkProbability("level", level); err != nil {
		return MeanEstimate{}, err
	}
	choice := ChooseScale(x, nature)
	m, sd := meanSDOf(choice.Scale.forwardAll(x))
	n := float64(len(x))
	back := choice.Scale.back
	half := StudentTQuantile((1+level)/2, n-1) * sd / math.Sqrt(n)
	side := StudentTQuantile(level, n-1) * sd / math.Sqrt(n)
	e := MeanEstimate{ScaleChoice: choice, N: len(x), Centre: back(m),
		CentreInterval: Interval{back(m - half), back(m + half), level}}
	if choice.Scale == Linear {
		e.Mean, e.Interval = e.Centre, e.CentreInterval
		e.LowerBound, e.UpperBound = m-side, m+side
		e.Method = "Student t"
		return e, nil
	}
	e.Mean = math.Exp(m + sd*sd/2)
	e.Interval.Level = level
	e.Interval.Low, e.Interval.High = zouLimits(m, sd, n, (1-level)/2)
	e.LowerBound, e.UpperBound = zouLimits(m, sd, n, 1-level)
	e.Method = "lognormal mean, limits of Zou, Taleban and Huo"
	return e, checkResult(e.Mean, e.Interval.Low, e.Interval.High, e.UpperBound, e.CentreInterval.High)
}

// zouLimits are the lower and the upper bound of a lognormal mean, each missed
// with probability tail (eq. S8).
func zouLimits(m, sd, n, tail float64) (low, high float64) {
	z2 := math.Pow(NormalQuantile(1-tail), 2)
	half := sd * sd / 2
	ss := (n - 1) * sd * sd / 2
	down := half - ss/chi2Quantile(1-tail, n-1)
	up := ss/chi2Quantile(tail, n-1) - half
	low = math.Exp(m + half - math.Sqrt(z2*sd*sd/n+down*down))
	high = math.Exp(m + half + math.Sqrt(z2*sd*sd/n+up*up))
	return low, high
}
