package stats

import (
	"math"
	"slices"
	"strconv"
)

// Line is y = Intercept + Slope·x between two methods, with intervals. SE are 0
// where the method gives none.
type Line struct {
	N                 int      `json:"n"`
	Intercept         float64  `json:"intercept"`
	Slope             float64  `json:"slope"`
	InterceptInterval Interval `json:"intercept_interval"`
	SlopeInterval     Interval `json:"slope_interval"`
	InterceptSE       float64  `json:"intercept_se,omitempty"`
	SlopeSE           float64  `json:"slope_se,omitempty"`
	// InterceptJoined is that of Passing and Bablok with the scatter of the median
	// joined (eq. S41a); zero for other lines.
	InterceptJoined Interval `json:"intercept_joined,omitzero"`
	Method          string   `json:"method"`
}

// Deming fits a line when both methods err (eq. S40; Linnet 1990): ratio is the
// error variance of y over that of x. Standard errors by the jackknife. It
// needs four pairs.
func Deming(x, y []float64, ratio, level float64) (Line, error) {
	if err := checkPairs(x, y, 4); err != nil {
		return Line{}, err
	}
	if err := checkInside("ratio", ratio, 0, 1e12); err != nil {
		return Line{}, err
	}
	if err := checkProbability("level", level); err != nil {
		return Line{}, err
	}
	a, b, ok := deming(x, y, ratio)
	if !ok {
		return Line{}, refuse("x, y", ratio, "no line: the pairs do not vary together", "take pairs over a wider range")
	}
	n := len(x)
	pa, pb := make([]float64, n), make([]float64, n)
	lx, ly := make([]float64, n-1), make([]float64, n-1)
	for i := range n {
		copy(lx, x[:i])
		copy(lx[i:], x[i+1:])
		copy(ly, y[:i])
		copy(ly[i:], y[i+1:])
		ai, bi, ok := deming(lx, ly, ratio)
		if !ok {
			return Line{}, refuse("x, y", x[i], "the line hangs on one pair", "take pairs over a wider range")
		}
		pa[i] = float64(n)*a - float64(n-1)*ai
		pb[i] = float64(n)*b - float64(n-1)*bi
	}
	_, sa := meanSDOf(pa)
	_, sb := meanSDOf(pb)
	root := math.Sqrt(float64(n))
	t := StudentTQuantile((1+level)/2, float64(n-2))
	l := Line{N: n, Intercept: a, Slope: b, InterceptSE: sa / root, SlopeSE: sb / root, Method: "Deming, jackknife"}
	l.InterceptInterval = Interval{a - t*l.InterceptSE, a + t*l.InterceptSE, level}
	l.SlopeInterval = Interval{b - t*l.SlopeSE, b + t*l.SlopeSE, level}
	return l, nil
}

func deming(x, y []float64, ratio float64) (a, b float64, ok bool) {
	mx, u := meanSS(x)
	my, q := meanSS(y)
	p := products(x, y, mx, my)
	if p == 0 {
		return 0, 0, false
	}
	e := q - ratio*u
	h := math.Hypot(e, 2*p*math.Sqrt(ratio))
	// The same root in two forms: each avoids cancellation on its side.
	if e >= 0 {
		b = (e + h) / (2 * p)
	} else {
		b = 2 * ratio * p / (h - e)
	}
	return my - b*mx, b, true
}

// PassingBablok fits a line by the shifted median of all pairwise slopes (eq.
// S41; Passing and Bablok 1983). It assumes a positive linear relation and needs
// no distribution. From 4 to 3000 pairs.
func PassingBablok(x, y []float64, level float64) (Line, error) {
	if err := checkPairs(x, y, 4); err != nil {
		return Line{}, err
	}
	if len(x) > 3000 {
		return Line{}, &Error{Field: "x", Value: strconv.Itoa(len(x)), Message: "too many pairs", Mend: "use at most 3000"}
	}
	if err := checkProbability("level", level); err != nil {
		return Line{}, err
	}
	slopes, shift := pairwiseSlopes(x, y)
	size, n := len(slopes), float64(len(x))
	c := NormalQuantile((1+level)/2) * math.Sqrt(n*(n-1)*(2*n+5)/18)
	m1 := int(math.Round((float64(size) - c) / 2))
	m2 := size - m1 + 1
	at := func(i int) float64 { // 1-based rank, shifted
		if i < 1 || i > size {
			return math.NaN()
		}
		return slopes[i-1]
	}
	b := at((size+1)/2 + shift)
	if size%2 == 0 {
		b = (at(size/2+shift) + at(size/2+1+shift)) / 2
	}
	low, high := at(m1+shift), at(m2+shift)
	if m1 < 1 || !isFinite(b) || !isFinite(low) || !isFinite(high) {
		return Line{}, refuse("x, y", float64(size), "too few usable slopes for an interval", "take more pairs over a wider range")
	}
	offset := func(b float64) float64 {
		d := make([]float64, len(x))
		for i := range x {
			d[i] = y[i] - b*x[i]
		}
		return median(d)
	}
	l := Line{N: len(x), Intercept: offset(b), Slope: b, Method: "Passing–Bablok",
		InterceptInterval: Interval{offset(high), offset(low), level}, SlopeInterval: Interval{low, high, level}}
	l.InterceptJoined = joined(x, y, &l)
	return l, nil
}

// joined widens the published interval of the intercept, which carries the
// uncertainty of the slope alone, by that of the median (eq. S41a): the interval
// of the median residual by order statistics, joined by squares on each side.
func joined(x, y []float64, l *Line) Interval {
	d := make([]float64, len(x))
	for i := range x {
		d[i] = y[i] - l.Slope*x[i]
	}
	slices.Sort(d)
	n, level := float64(len(d)), l.InterceptInterval.Level
	k := max(0, int(math.Floor(n/2-NormalQuantile((1+level)/2)*math.Sqrt(n)/2)))
	in := l.InterceptInterval
	return Interval{l.Intercept - math.Hypot(l.Intercept-in.Low, l.Intercept-d[k]), l.Intercept + math.Hypot(in.High-l.Intercept, d[len(d)-1-k]-l.Intercept), level}
}

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// pairwiseSlopes gives the sorted slopes without 0/0 and −1, and how many lie
// below −1. Decimal readings tie only up to rounding, hence the tolerances.
func pairwiseSlopes(x, y []float64) (slopes []float64, shift int) {
	tx := 1e-12 * math.Max(math.Abs(slices.Max(x)), math.Abs(slices.Min(x)))
	ty := 1e-12 * math.Max(math.Abs(slices.Max(y)), math.Abs(slices.Min(y)))
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			dx, dy := x[j]-x[i], y[j]-y[i]
			var s float64
			switch zeroX, zeroY := math.Abs(dx) <= tx, math.Abs(dy) <= ty; {
			case zeroX && zeroY:
				continue
			case zeroX:
				s = math.Inf(1)
				if dy < 0 {
					s = math.Inf(-1)
				}
			case zeroY:
				s = 0
			default:
				s = dy / dx
			}
			if math.Abs(dx+dy) <= tx+ty { // a slope of −1
				continue
			}
			if s < -1 {
				shift++
			}
			slopes = append(slopes, s)
		}
	}
	slices.Sort(slopes)
	return slopes, shift
}
