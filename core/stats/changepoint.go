package stats

import (
	"math"
	"slices"
	"strconv"
)

// ChangeOptions: a change must lower the sum of squares by Penalty·σ²·ln n
// (0 means 3), and every stretch holds at least MinLength points (0 means 3).
// Level is that of the intervals.
type ChangeOptions struct {
	Nature    Nature  `json:"nature"`
	Penalty   float64 `json:"penalty"`
	MinLength int     `json:"min_length"`
	Level     float64 `json:"level"`
}

// Stretch is a span of points of one level, From to To, both included.
type Stretch struct {
	From int     `json:"from"`
	To   int     `json:"to"`
	Mean float64 `json:"mean"` // geometric on the log scale
}

// Change is a step of the level. At is the first point of the new level.
type Change struct {
	At int `json:"at"`
	// Earliest and Latest hold the true first point with the level's confidence
	// (Bai 1997).
	Earliest int `json:"earliest"`
	Latest   int `json:"latest"`
	// Size is the step: a difference on the linear scale, a ratio on the log
	// scale. Its interval takes the place of the change as known.
	Size     float64  `json:"size"`
	Interval Interval `json:"interval"`
	// T is the step in its standard errors.
	T float64 `json:"t"`
}

// ChangeResult lists the stretches and the changes between them; no change is a
// result too. SD is the scatter within the stretches, on the working scale.
type ChangeResult struct {
	ScaleChoice
	Stretches []Stretch `json:"stretches"`
	Changes   []Change  `json:"changes"`
	SD        float64   `json:"sd"`
	RSS       float64   `json:"rss"`
	Penalty   float64   `json:"penalty"`
}

// ChangePoints finds the steps of a level in time order by penalised least
// squares (eq. S30; Killick, Fearnhead and Eckley 2012). It needs four values.
// A slow drift comes out as a flight of steps: look for a trend first.
func ChangePoints(x []float64, opt ChangeOptions) (ChangeResult, error) {
	if opt.Penalty == 0 {
		opt.Penalty = 3
	}
	if opt.MinLength == 0 {
		opt.MinLength = 3
	}
	if err := checkValues("x", x, 4); err != nil {
		return ChangeResult{}, err
	}
	if err := checkProbability("level", opt.Level); err != nil {
		return ChangeResult{}, err
	}
	if err := checkInside("penalty", opt.Penalty, 0, 1e6); err != nil {
		return ChangeResult{}, err
	}
	if opt.MinLength < 1 {
		return ChangeResult{}, &Error{Field: "min_length", Value: strconv.Itoa(opt.MinLength), Message: "a stretch needs a point", Mend: "give 1 or more"}
	}
	choice := ChooseScale(x, opt.Nature)
	y := choice.Scale.forwardAll(x)
	sigma := differenceSD(y)
	if !(sigma > 0) {
		return ChangeResult{}, noSpread("x", x[0])
	}
	penalty := opt.Penalty * math.Log(float64(len(y)))
	r := ChangeResult{ScaleChoice: choice, Penalty: opt.Penalty}
	r.describe(y, partition(y, sigma, penalty, opt.MinLength), opt.Level)
	for r.dropWeakest(penalty) {
		var starts []int
		for _, s := range r.Stretches[1:] {
			starts = append(starts, s.From)
		}
		r.describe(y, starts, opt.Level)
	}
	for i := range r.Stretches {
		r.Stretches[i].Mean = choice.Scale.back(r.Stretches[i].Mean)
	}
	for _, c := range r.Changes {
		if err := checkResult(c.Size, c.Interval.Low, c.Interval.High, c.T); err != nil {
			return ChangeResult{}, err
		}
	}
	return r, nil
}

// describe fills the result for stretches that begin at 0 and at starts.
func (r *ChangeResult) describe(y []float64, starts []int, level float64) {
	r.Stretches, r.Changes, r.RSS = nil, []Change{}, 0
	from := 0
	for _, end := range append(starts, len(y)) {
		m, ss := meanSS(y[from:end])
		r.Stretches = append(r.Stretches, Stretch{from, end - 1, m})
		r.RSS += ss
		from = end
	}
	df := math.Max(1, float64(len(y)-len(r.Stretches)))
	r.SD = math.Sqrt(r.RSS / df)
	for i := 1; i < len(r.Stretches); i++ {
		r.Changes = append(r.Changes, describeChange(r.Stretches[i-1], r.Stretches[i], r.SD, df, r.Scale, level))
	}
}

// dropWeakest joins the two stretches whose step is smallest in its standard
// errors, if it does not pass the penalty as a t test would have it. This holds
// false alarms down where few points make σ uncertain. It reports whether it
// joined any.
func (r *ChangeResult) dropWeakest(penalty float64) bool {
	if len(r.Changes) == 0 {
		return false
	}
	last := r.Stretches[len(r.Stretches)-1].To + 1
	df := math.Max(1, float64(last-len(r.Stretches)))
	weak := 0
	for i, c := range r.Changes {
		if math.Abs(c.T) < math.Abs(r.Changes[weak].T) {
			weak = i
		}
	}
	if math.Abs(r.Changes[weak].T) > -StudentTQuantile(NormalCDF(-math.Sqrt(penalty)), df) {
		return false
	}
	r.Stretches = slices.Delete(r.Stretches, weak+1, weak+2)
	return true
}

// differenceSD is σ from successive differences, which a step hardly touches: by
// their median absolute value, but never below half of what their root mean
// square says, so that coarse rounding cannot make it vanish.
func differenceSD(y []float64) float64 {
	d := make([]float64, len(y)-1)
	var ss float64
	for i := range d {
		d[i] = math.Abs(y[i+1] - y[i])
		ss += d[i] * d[i]
	}
	return math.Max(median(d)/robustRange, math.Sqrt(ss/float64(2*len(d)))/2)
}

// partition gives the first indices of the stretches after the first: the
// cheapest division where each stretch costs RSS/σ² + penalty. Starts that can
// never again be best are dropped: a start that loses to b does so only for
// ends at which b itself is allowed.
func partition(y []float64, sigma, penalty float64, minLength int) []int {
	n := len(y)
	center := median(y)
	sum, sq := make([]float64, n+1), make([]float64, n+1)
	for i, v := range y {
		z := (v - center) / sigma
		sum[i+1], sq[i+1] = sum[i]+z, sq[i]+z*z
	}
	share := make([]float64, n+1) // 1/length, to divide once
	for i := 1; i <= n; i++ {
		share[i] = 1 / float64(i)
	}
	best, from := make([]float64, n+1), make([]int, n+1)
	best[0] = -penalty
	type start struct {
		at, until int
		cost      float64 // up to the current end
	}
	var starts []start
	for b := 1; b <= n; b++ {
		best[b] = math.Inf(1)
		if b < minLength {
			continue
		}
		starts = append(starts, start{at: b - minLength, until: n + 1})
		for i := range starts {
			s := &starts[i]
			d := sum[b] - sum[s.at]
			s.cost = best[s.at] + sq[b] - sq[s.at] - d*d*share[b-s.at]
			if s.cost+penalty < best[b] {
				best[b], from[b] = s.cost+penalty, s.at
			}
		}
		kept := starts[:0]
		for _, s := range starts {
			if s.cost > best[b] {
				s.until = min(s.until, b+minLength)
			}
			if s.until > b+1 {
				kept = append(kept, s)
			}
		}
		starts = kept
	}
	var out []int
	for b := from[n]; b > 0; b = from[b] {
		out = append(out, b)
	}
	slices.Reverse(out)
	return out
}

func describeChange(a, b Stretch, sd, df float64, scale Scale, level float64) Change {
	na, nb := float64(a.To-a.From+1), float64(b.To-b.From+1)
	d := b.Mean - a.Mean
	se := sd * math.Sqrt(1/na+1/nb)
	half := StudentTQuantile((1+level)/2, df) * se
	c := Change{At: b.From, Size: scale.back(d), T: d / se,
		Interval: Interval{scale.back(d - half), scale.back(d + half), level}}
	reach := b.To - a.From
	if w := baiQuantile((1+level)/2) * sd * sd / (d * d); w < float64(reach) {
		reach = int(w) + 1
	}
	c.Earliest, c.Latest = max(a.From+1, b.From-reach), min(b.To, b.From+reach)
	return c
}

// baiQuantile is the p-quantile, p > ½, of where a two-sided Brownian motion
// with drift −|v|/2 is highest (eq. S31; Yao 1987, Bai 1997): 11.03 at 0.975.
func baiQuantile(p float64) float64 {
	g := func(x float64) float64 {
		r := math.Sqrt(x)
		return 1 + r/math.Sqrt(2*math.Pi)*math.Exp(-x/8) - (x+5)/2*NormalCDF(-r/2) + 1.5*math.Exp(x)*NormalCDF(-1.5*r)
	}
	return root(func(x float64) float64 { return g(x) - p }, 0, 200, 1e-9)
}
