package stats

import (
	"fmt"
	"math"
	"slices"
)

// Reading is a value, or with Below set the floor it lay below.
type Reading struct {
	Value float64 `json:"value"`
	Below bool    `json:"below"`
}

// CensoredMethod estimates a mean from data with readings below a floor.
type CensoredMethod string

const (
	KaplanMeier CensoredMethod = "kaplan_meier"  // no assumed distribution
	ROS         CensoredMethod = "ros"           // regression on order statistics, lognormal
	LognormalML CensoredMethod = "lognormal_mle" // maximum likelihood, lognormal
)

// CensoredResult estimates mean, standard deviation and median. Mu and Sigma are
// those of ln x (ROS and ML). ROS gives no interval; that of Kaplan–Meier is by
// Greenwood's variance and runs short where few readings are very skewed.
type CensoredResult struct {
	Method     CensoredMethod `json:"method"`
	Reason     string         `json:"reason"`
	N          int            `json:"n"`
	Below      int            `json:"below"`
	Mean       float64        `json:"mean"`
	SE         float64        `json:"se,omitempty"` // of the mean
	SD         float64        `json:"sd"`
	Median     float64        `json:"median"`
	Mu         float64        `json:"mu"`
	Sigma      float64        `json:"sigma"`
	Interval   *Interval      `json:"interval,omitempty"`
	UpperBound *float64       `json:"upper_bound,omitempty"`
}

// Censored estimates from readings above 0, some below a floor, one floor or
// several (eq. S34 to S36; Helsel 2012). An empty method lets the package choose
// by the share below: up to half Kaplan–Meier, above that ROS under 50 readings
// and ML from 50 on. It refuses more than 80 % below, and fewer than three
// readings above: then only that share can be stated. Half the floor is never
// put in place of a reading: it makes up data.
func Censored(x []Reading, method CensoredMethod, level float64) (CensoredResult, error) {
	if err := checkProbability("level", level); err != nil {
		return CensoredResult{}, err
	}
	below, err := checkReadings(x)
	if err != nil {
		return CensoredResult{}, err
	}
	r := CensoredResult{Method: method, Reason: "asked for", N: len(x), Below: below}
	if method == "" {
		r.Method, r.Reason = chooseCensored(len(x), below)
	}
	switch r.Method {
	case KaplanMeier:
		kaplanMeier(x, level, &r)
	case ROS:
		orderRegression(x, &r)
	case LognormalML:
		return r, lognormalML(x, level, &r)
	default:
		return CensoredResult{}, &Error{Field: "method", Value: string(method), Message: "unknown method",
			Mend: "use kaplan_meier, ros or lognormal_mle, or leave it out"}
	}
	return r, nil
}

func checkReadings(x []Reading) (below int, err error) {
	if len(x) < 3 {
		return 0, tooFew("x", len(x), 3)
	}
	spread := false
	var first *float64
	for i, v := range x {
		field := fmt.Sprintf("x[%d]", i)
		if !(v.Value > 0 && v.Value < 1e100) {
			return 0, refuse(field, v.Value, "must be above 0", "enter the floor and mark the reading as below it")
		}
		if v.Below {
			below++
			continue
		}
		if first == nil {
			first = &v.Value
		}
		spread = spread || v.Value != *first
	}
	if above := len(x) - below; above < 3 || float64(below) > 0.8*float64(len(x)) {
		return 0, &Error{Field: "x", Value: fmt.Sprintf("%d of %d", below, len(x)), Message: "too many readings below the floor for a mean",
			Mend: "state the share below the floor, or use a method with a lower floor"}
	}
	if !spread {
		return 0, noSpread("x", *first)
	}
	return below, nil
}

func chooseCensored(n, below int) (CensoredMethod, string) {
	share := float64(below) / float64(n)
	switch {
	case share <= 0.5:
		return KaplanMeier, "at most half lie below the floor"
	case n < 50:
		return ROS, "more than half lie below the floor, fewer than 50 readings"
	}
	return LognormalML, "more than half lie below the floor, 50 readings or more"
}

// kaplanMeier goes down the detected values: each takes its share of what is
// still left at or below it (eq. S34). A floor counts as below an equal value.
// What is left at the end stays at the smallest number, so that with a single
// floor the mean is an upper value.
func kaplanMeier(x []Reading, level float64, r *CensoredResult) {
	sorted := slices.Clone(x)
	slices.SortFunc(sorted, func(a, b Reading) int {
		if a.Value != b.Value {
			return map[bool]int{true: 1, false: -1}[a.Value > b.Value]
		}
		return map[bool]int{true: -1, false: 1}[a.Below]
	})
	left := 1.0
	var values, mass, risk []float64
	for i := len(sorted) - 1; i >= 0; i-- {
		if sorted[i].Below {
			continue
		}
		// Equal detects come one by one: the product is the same.
		m := left / float64(i+1)
		values, mass, risk = append(values, sorted[i].Value), append(mass, m), append(risk, float64(i+1))
		left -= m
	}
	values, mass = append(values, sorted[0].Value), append(mass, math.Max(0, left))
	for i, v := range values {
		r.Mean += mass[i] * v
	}
	r.meanLimits(math.Sqrt(greenwood(values, mass, risk)), level)
	var ss, above float64
	for i, v := range values {
		ss += mass[i] * (v - r.Mean) * (v - r.Mean)
	}
	r.SD = math.Sqrt(ss)
	for i, v := range values {
		r.Median = v
		if above += mass[i]; above >= 0.5-1e-12 {
			break
		}
	}
}

// greenwood is the variance of a Kaplan–Meier mean: for each detect, the mean
// distance down from it, squared, over r(r − 1) with r at or below it; with the
// factor m/(m − 1) of Kaplan and Meier (1958) for m detects.
func greenwood(values, mass, risk []float64) float64 {
	var v float64
	for i, r := range risk {
		if r < 2 {
			continue
		}
		var area float64
		for j := i + 1; j < len(values); j++ {
			area += mass[j] * (values[i] - values[j])
		}
		v += area * area / (r * (r - 1))
	}
	m := float64(len(risk))
	return v * m / (m - 1)
}

// meanLimits are Student limits about the mean.
func (r *CensoredResult) meanLimits(se, level float64) {
	df := float64(r.N - 1)
	half := StudentTQuantile((1+level)/2, df) * se
	upper := r.Mean + StudentTQuantile(level, df)*se
	r.SE, r.Interval, r.UpperBound = se, &Interval{r.Mean - half, r.Mean + half, level}, &upper
}

// orderRegression fits the logs of the detects to the normal quantiles of their
// plotting positions and fills the others from that line (eq. S35).
func orderRegression(x []Reading, r *CensoredResult) {
	q, logs, filled := plottingPositions(x)
	mq, sq := meanSS(q)
	ml, _ := meanSS(logs)
	var p float64
	for i := range q {
		p += (q[i] - mq) * (logs[i] - ml)
	}
	r.Sigma = p / sq
	r.Mu = ml - r.Sigma*mq
	var all []float64
	for _, l := range logs {
		all = append(all, math.Exp(l))
	}
	for _, f := range filled {
		all = append(all, math.Exp(r.Mu+r.Sigma*f))
	}
	r.Mean, r.SD = meanSDOf(all)
	r.Median = median(all)
}

// plottingPositions are those of Hirsch and Stedinger (1987): normal quantiles
// and logs of the detects, and normal quantiles of the readings below a floor.
func plottingPositions(x []Reading) (q, logs, filled []float64) {
	var detects, floors []float64
	for _, v := range x {
		if v.Below {
			floors = append(floors, v.Value)
		} else {
			detects = append(detects, v.Value)
		}
	}
	slices.Sort(detects)
	limits := slices.Compact(slices.Sorted(slices.Values(floors)))
	if len(limits) == 0 || detects[0] < limits[0] {
		limits = append([]float64{0}, limits...)
	}
	limits = append(limits, math.Inf(1))
	above := 0.0 // chance of reaching the next limit
	for j := len(limits) - 2; j >= 0; j-- {
		var in []float64
		var under, here int
		for _, d := range detects {
			if d >= limits[j] && d < limits[j+1] {
				in = append(in, d)
			} else if d < limits[j] {
				under++
			}
		}
		for _, f := range floors {
			if f <= limits[j] {
				under++
			}
			if f == limits[j] {
				here++
			}
		}
		reach := above
		if a := len(in); a > 0 {
			reach += float64(a) / float64(a+under) * (1 - above)
		}
		for i, d := range in {
			p := 1 - reach + (reach-above)*float64(i+1)/float64(len(in)+1)
			q, logs = append(q, NormalQuantile(p)), append(logs, math.Log(d))
		}
		for i := range here {
			filled = append(filled, NormalQuantile((1-reach)*float64(i+1)/float64(here+1)))
		}
		above = reach
	}
	return q, logs, filled
}
