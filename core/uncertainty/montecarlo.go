package uncertainty

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// block is the trials between two looks at the tolerance (JCGM 101, 7.9.4: at
// least 10,000).
const block = 10_000

// Options of a Monte Carlo propagation.
type Options struct {
	Seed     uint64 // the same seed gives the same result, with any Each
	Max      int    // trials at most; 0 means 1,000,000
	Fixed    bool   // run Max trials, stable or not
	Shortest bool   // the shortest 95 % interval (JCGM 101, 5.3.4), for a result cut off at a floor
	Digits   int    // significant digits of u that must be stable; 0 means 2

	// Each runs do(0) … do(n-1), in any order and at the same time if it likes;
	// nil runs them one after the other. It lets a caller with more than one
	// core use them.
	Each func(n int, do func(i int))
}

// MonteCarlo propagates distributions by JCGM 101 (eq. 35), adaptively: blocks
// of 10,000 trials until value, standard uncertainty and both 95 % limits are
// stable to the tolerance of 7.9.2, or Max is reached.
func MonteCarlo(p *Problem, o Options) Result {
	if o.Max <= 0 {
		o.Max = 1_000_000
	}
	if o.Digits <= 0 {
		o.Digits = 2
	}
	if o.Each == nil {
		o.Each = func(n int, do func(int)) {
			for i := range n {
				do(i)
			}
		}
	}
	plan := newPlan(p)
	blocks := max((o.Max+block-1)/block, 2)
	y := make([]float64, 0, block*4)
	var stats []blockStats
	stable := false
	for len(stats) < blocks && (o.Fixed || !stable) {
		more := 4
		if o.Fixed {
			more = blocks
		}
		more = min(more, blocks-len(stats))
		start := len(stats)
		y = append(y, make([]float64, more*block)...)
		stats = append(stats, make([]blockStats, more)...)
		o.Each(more, func(i int) {
			part := y[(start+i)*block : (start+i+1)*block]
			plan.draw(o.Seed, uint64(start+i), part)
			if !o.Fixed {
				stats[start+i] = summarise(part)
			} else {
				stats[start+i].mean, stats[start+i].sd = moments(part)
			}
		})
		stable = !o.Fixed && settled(stats, o.Digits)
	}
	r := collect(y, stats, stable)
	if o.Shortest {
		r.Low95, r.High95 = shortest(y)
	}
	return r
}

type blockStats struct{ mean, sd, low, high float64 }

// chunk is how many numbers are drawn at a stretch for each effect.
const chunk = 100

// draw fills y with trials of one block; block b of a seed is always the same.
func (p *plan) draw(seed, b uint64, y []float64) {
	r := newSource(seed, b)
	model := p.problem.NewModel()
	x := make([]float64, len(p.problem.Values))
	z := make([][chunk]float64, len(p.normal)+len(p.rectangular))
	normal, rectangular := z[:len(p.normal)], z[len(p.normal):]
	for ; len(y) >= chunk; y = y[chunk:] {
		for k := range normal {
			r.normals(normal[k][:])
		}
		for k := range rectangular {
			r.uniforms(rectangular[k][:])
		}
		for i := range chunk {
			copy(x, p.problem.Values)
			for k := range p.normal {
				for _, l := range p.normal[k] {
					x[l.Input] += l.SD * normal[k][i]
				}
			}
			for k, l := range p.rectangular {
				x[l.Input] += l.SD * (rectangular[k][i] - 0.5)
			}
			for _, e := range p.others {
				v := e.sample(r)
				for _, l := range e.On {
					x[l.Input] += l.SD * v
				}
			}
			y[i] = model(x)
			for again := 0; p.problem.Range && math.IsNaN(y[i]) && again < redraws; again++ {
				p.once(r, x)
				y[i] = model(x)
			}
		}
	}
}

// redraws bounds the trials spent on one that lies in the range of every input.
const redraws = 1000

// once draws all effects of a single trial.
func (p *plan) once(r *source, x []float64) {
	copy(x, p.problem.Values)
	for k := range p.normal {
		z := r.normal()
		for _, l := range p.normal[k] {
			x[l.Input] += l.SD * z
		}
	}
	for _, l := range p.rectangular {
		x[l.Input] += l.SD * (r.uniform() - 0.5)
	}
	for _, e := range p.others {
		v := e.sample(r)
		for _, l := range e.On {
			x[l.Input] += l.SD * v
		}
	}
}

// plan is a problem's effects sorted by shape for speed. Normal effects on the
// same one input are drawn as one, which their sum is.
type plan struct {
	problem     *Problem
	normal      [][]Loading
	rectangular []Loading // on one input; SD holds the whole width
	others      []*Effect
}

func newPlan(p *Problem) *plan {
	plan := &plan{problem: p}
	for i := range p.Effects {
		e := &p.Effects[i]
		switch {
		case e.Shape == Normal:
			plan.addNormal(e.On)
		case len(e.On) == 1 && e.Shape == Rectangular:
			plan.rectangular = append(plan.rectangular, Loading{e.On[0].Input, e.On[0].SD * math.Sqrt(12)})
		default:
			plan.others = append(plan.others, e)
		}
	}
	return plan
}

func (p *plan) addNormal(on []Loading) {
	for _, other := range p.normal {
		if len(on) == 1 && len(other) == 1 && on[0].Input == other[0].Input {
			other[0].SD = math.Hypot(other[0].SD, on[0].SD)
			return
		}
	}
	p.normal = append(p.normal, append([]Loading(nil), on...))
}

// sample draws with mean 0 and variance 1 (StudentT: scale 1, as JCGM 101
// 6.4.9 has it).
func (e *Effect) sample(r *source) float64 {
	switch e.Shape {
	case Rectangular:
		return math.Sqrt(3) * (2*r.uniform() - 1)
	case Triangular:
		return math.Sqrt(6) * (r.uniform() + r.uniform() - 1)
	case StudentT:
		if e.DoF > 0 {
			return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: e.DoF, Src: r}.Rand()
		}
	}
	return r.normal()
}

func moments(y []float64) (mean, sd float64) {
	for _, v := range y {
		mean += v
	}
	mean /= float64(len(y))
	for _, v := range y {
		sd += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sd / float64(len(y)-1))
}

func summarise(y []float64) (s blockStats) {
	s.mean, s.sd = moments(y)
	work := append([]float64(nil), y...)
	s.low, s.high = limits(work)
	return s
}

// settled applies 7.9.4: twice the standard deviation of the average over
// blocks of each summary is below the numerical tolerance.
func settled(stats []blockStats, digits int) bool {
	h := float64(len(stats))
	if h < 2 {
		return false
	}
	get := [4]func(blockStats) float64{
		func(s blockStats) float64 { return s.mean }, func(s blockStats) float64 { return s.sd },
		func(s blockStats) float64 { return s.low }, func(s blockStats) float64 { return s.high },
	}
	u := 0.0
	for _, s := range stats {
		u += s.sd / h
	}
	tolerance := Tolerance(u, digits)
	for _, of := range get {
		mean, sum := 0.0, 0.0
		for _, s := range stats {
			mean += of(s) / h
		}
		for _, s := range stats {
			sum += (of(s) - mean) * (of(s) - mean)
		}
		if 2*math.Sqrt(sum/(h*(h-1))) >= tolerance {
			return false
		}
	}
	return true
}

// Tolerance is the numerical tolerance δ of a standard uncertainty given to so
// many significant digits (JCGM 101, 7.9.2): half a unit of the last digit.
func Tolerance(u float64, digits int) float64 {
	if u <= 0 {
		return 0
	}
	l := math.Floor(math.Log10(u)) - float64(digits-1)
	return 0.5 * math.Pow(10, l)
}

// collect takes mean and deviation of all trials from the blocks, and the
// limits from the trials themselves.
func collect(y []float64, stats []blockStats, stable bool) Result {
	h, mean, square := float64(len(stats)), 0.0, 0.0
	for _, s := range stats {
		mean += s.mean / h
	}
	for _, s := range stats {
		square += s.sd*s.sd*(block-1) + block*(s.mean-mean)*(s.mean-mean)
	}
	r := Result{Value: mean, U: math.Sqrt(square / (h*block - 1)), Trials: len(y), Stable: stable}
	r.Low95, r.High95 = limits(y)
	return r
}

// shortest is the shortest interval that holds 95 % of y (JCGM 101, D.8). It sorts y.
func shortest(y []float64) (low, high float64) {
	slices.Sort(y)
	q := int(math.Round(0.95 * float64(len(y))))
	best := 0
	for i := range len(y) - q {
		if y[i+q]-y[i] < y[best+q]-y[best] {
			best = i
		}
	}
	return y[best], y[best+q]
}

// limits are the 2.5 % and 97.5 % order statistics (JCGM 101, 7.7.2, the
// probabilistically symmetric interval). It reorders y.
func limits(y []float64) (low, high float64) {
	n := len(y)
	a, b := int(math.Round(0.025*float64(n)))-1, int(math.Round(0.975*float64(n)))-1
	if n >= 4*block {
		if low, high, ok := limitsByWindow(y, a, b); ok {
			return low, high
		}
	}
	high = Select(y, b)
	low = Select(y[:b], a)
	return low, high
}

// limitsByWindow finds the values of rank a and b of many in one pass: the
// first block says between which values each must lie, and only what lies there
// is ordered. It is not ok where a rank falls outside.
func limitsByWindow(y []float64, a, b int) (low, high float64, ok bool) {
	first := append([]float64(nil), y[:block]...)
	at := func(share float64) float64 { return Select(first, int(share*block)) }
	low0, low1, high0, high1 := at(0.019), at(0.031), at(0.969), at(0.981)
	var lows, highs []float64
	below, above := 0, 0
	for _, v := range y {
		switch {
		case v > low1 && v < high0:
		case v < low0:
			below++
		case v <= low1:
			lows = append(lows, v)
		case v <= high1:
			highs = append(highs, v)
		default:
			above++
		}
	}
	a -= below
	b -= len(y) - above - len(highs)
	if a < 0 || a >= len(lows) || b < 0 || b >= len(highs) {
		return 0, 0, false
	}
	return Select(lows, a), Select(highs, b), true
}

// Select puts the value of rank k, from 0 to len(y)-1, in its place and returns
// it; none before it is larger (Hoare 1961). It panics on another k.
func Select(y []float64, k int) float64 {
	lo, hi := 0, len(y)-1
	for lo < hi {
		pivot := median(y[lo], y[(lo+hi)/2], y[hi])
		i, j := lo, hi
		for i <= j {
			for y[i] < pivot {
				i++
			}
			for pivot < y[j] {
				j--
			}
			if i <= j {
				y[i], y[j] = y[j], y[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return y[k]
		}
	}
	return y[k]
}

func median(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
