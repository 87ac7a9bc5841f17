package uncertainty

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// block is the trials between two looks at the tolerance (JCGM 101, 7.9.4: at
// least 10,000).
const block = 10_000

// Options of a Monte Carlo propagation.
type Options struct {
	Seed   uint64 // the same seed gives the same result, with any Each
	Max    int    // trials at most; 0 means 1,000,000
	Fixed  bool   // run Max trials, stable or not
	Digits int    // significant digits of u that must be stable; 0 means 2

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
			draw(p, o.Seed, uint64(start+i), part)
			if !o.Fixed {
				stats[start+i] = summarise(part)
			} else {
				stats[start+i].mean, stats[start+i].sd = moments(part)
			}
		})
		stable = !o.Fixed && settled(stats, o.Digits)
	}
	return collect(y, stats, stable)
}

type blockStats struct{ mean, sd, low, high float64 }

// draw fills y with trials of one block; block b of a seed is always the same.
func draw(p *Problem, seed, b uint64, y []float64) {
	r := rand.New(rand.NewPCG(seed, b))
	model := p.NewModel()
	x := make([]float64, len(p.Values))
	for i := range y {
		copy(x, p.Values)
		for e := range p.Effects {
			eff := &p.Effects[e]
			z := eff.sample(r)
			for _, l := range eff.On {
				x[l.Input] += l.SD * z
			}
		}
		y[i] = model(x)
	}
}

// sample draws with mean 0 and variance 1 (StudentT: scale 1, as JCGM 101
// 6.4.9 has it).
func (e *Effect) sample(r *rand.Rand) float64 {
	switch e.Shape {
	case Rectangular:
		return math.Sqrt(3) * (2*r.Float64() - 1)
	case Triangular:
		return math.Sqrt(6) * (r.Float64() + r.Float64() - 1)
	case StudentT:
		if e.DoF > 0 {
			return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: e.DoF, Src: r}.Rand()
		}
	}
	return r.NormFloat64()
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

// limits are the 2.5 % and 97.5 % order statistics (JCGM 101, 7.7.2, the
// probabilistically symmetric interval). It reorders y.
func limits(y []float64) (low, high float64) {
	n := len(y)
	a, b := int(math.Round(0.025*float64(n)))-1, int(math.Round(0.975*float64(n)))-1
	high = selectRank(y, b)
	low = selectRank(y[:b], a)
	return low, high
}

// selectRank puts the value of rank k in its place, smaller ones before it
// (Hoare's selection).
func selectRank(y []float64, k int) float64 {
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
