package stats

import (
	"math"
	"slices"
)

// Tail is the side on which a lone value may lie far.
type Tail string

const (
	EitherTail Tail = "either"
	UpperTail  Tail = "upper"
	LowerTail  Tail = "lower"
)

// OutlierTest is one value tested as the farthest. Flagged is a hint to look at
// the record: the value stays in the data.
type OutlierTest struct {
	Index     int     `json:"index"`
	Value     float64 `json:"value"`
	Statistic float64 `json:"statistic"` // distance from the mean in s
	Critical  float64 `json:"critical"`
	P         float64 `json:"p"`
	Flagged   bool    `json:"flagged"`
}

// OutlierResult of Grubbs or Outliers.
type OutlierResult struct {
	ScaleChoice
	Tests   []OutlierTest `json:"tests"`
	Flagged []int         `json:"flagged"` // indices in rising order
	Method  string        `json:"method"`
}

// Grubbs tests the farthest of at least three values at the risk alpha (eq. S32;
// ISO 5725-2). An empty tail counts as EitherTail.
func Grubbs(x []float64, nature Nature, tail Tail, alpha float64) (OutlierResult, error) {
	return outliers(x, nature, tail, alpha, 1, "Grubbs")
}

// Outliers tests up to limit values at once by the generalised ESD procedure
// (eq. S33; Rosner 1983), which finds several that hide each other from Grubbs.
// It is meant for 15 values or more, and refuses limit above a third of them.
func Outliers(x []float64, nature Nature, alpha float64, limit int) (OutlierResult, error) {
	if limit < 1 || limit > len(x)/3 {
		return OutlierResult{}, refuse("limit", float64(limit), "out of range", "look for 1 outlier or more, at most a third of the values")
	}
	return outliers(x, nature, EitherTail, alpha, limit, "generalised ESD")
}

func outliers(x []float64, nature Nature, tail Tail, alpha float64, limit int, method string) (OutlierResult, error) {
	if err := checkValues("x", x, 3); err != nil {
		return OutlierResult{}, err
	}
	if err := checkProbability("alpha", alpha); err != nil {
		return OutlierResult{}, err
	}
	if tail != UpperTail && tail != LowerTail {
		tail = EitherTail
	}
	r := OutlierResult{ScaleChoice: ChooseScale(x, nature), Flagged: []int{}, Method: method}
	y := r.Scale.forwardAll(x)
	left := make([]int, len(y))
	for i := range left {
		left[i] = i
	}
	last := -1
	for range limit {
		if len(left) < 3 {
			break
		}
		t, ok := farthest(y, left, tail, alpha)
		if !ok {
			if len(r.Tests) == 0 {
				return OutlierResult{}, noSpread("x", x[0])
			}
			break
		}
		t.Value = x[t.Index]
		if t.Flagged {
			last = len(r.Tests)
		}
		r.Tests = append(r.Tests, t)
		left = slices.DeleteFunc(left, func(i int) bool { return i == t.Index })
	}
	for i := 0; i <= last; i++ {
		r.Tests[i].Flagged = true
		r.Flagged = append(r.Flagged, r.Tests[i].Index)
	}
	slices.Sort(r.Flagged)
	return r, nil
}

// farthest tests the most distant of the values left.
func farthest(y []float64, left []int, tail Tail, alpha float64) (OutlierTest, bool) {
	v := make([]float64, len(left))
	for i, at := range left {
		v[i] = y[at]
	}
	m, s := meanSDOf(v)
	if !(s > 0) {
		return OutlierTest{}, false
	}
	best, index := math.Inf(-1), 0
	for i, u := range v {
		d := math.Abs(u - m)
		switch tail {
		case UpperTail:
			d = u - m
		case LowerTail:
			d = m - u
		}
		if d > best {
			best, index = d, left[i]
		}
	}
	n := float64(len(v))
	chances := n
	if tail == EitherTail {
		chances = 2 * n
	}
	t := OutlierTest{Index: index, Statistic: best / s, Critical: grubbsCritical(n, alpha/chances)}
	// The inverse of the critical value; no G exceeds (n−1)/√n.
	room := (n-1)*(n-1) - n*t.Statistic*t.Statistic
	if room > 0 {
		t.P = math.Min(1, chances*StudentTCDF(-t.Statistic*math.Sqrt(n*(n-2)/room), n-2))
	}
	t.Flagged = t.Statistic > t.Critical
	return t, true
}

// grubbsCritical is the value that one standardised distance exceeds with
// probability p.
func grubbsCritical(n, p float64) float64 {
	t := StudentTQuantile(1-p, n-2)
	return (n - 1) / math.Sqrt(n) * math.Sqrt(t*t/(n-2+t*t))
}

// ModifiedZ is 0.6745·(x − median)/MAD of each value (Iglewicz and Hoaglin 1993;
// beyond 3.5 is worth a look). It needs three values whose MAD is not 0.
func ModifiedZ(x []float64, nature Nature) ([]float64, error) {
	if err := checkValues("x", x, 3); err != nil {
		return nil, err
	}
	y := ChooseScale(x, nature).Scale.forwardAll(x)
	s, err := Summarize(y)
	if err != nil {
		return nil, err
	}
	if !(s.MAD > 0) {
		return nil, noSpread("x", s.Median)
	}
	for i := range y {
		y[i] = 0.6744897501960817 * (y[i] - s.Median) / s.MAD
	}
	return y, nil
}
