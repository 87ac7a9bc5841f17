package verdict

import (
	"math"
	"slices"

	"ullage/core/stats"
)

// Split of the mean TPO. Where rows without TPO carry the unshaken or inlet
// reading, all readings of a kind count.
func (r *run) split() *Split {
	mean := func(c int) *float64 {
		var sum, n float64
		for _, v := range r.use[c] {
			if !math.IsNaN(v) {
				sum += v
				n++
			}
		}
		if n == 0 {
			return nil
		}
		sum /= n
		return &sum
	}
	total := mean(2)
	if total == nil {
		return nil
	}
	minus := func(a, b *float64) *float64 {
		if a == nil || b == nil {
			return nil
		}
		d := *a - *b
		return &d
	}
	var tank *float64
	var sum, n float64
	for i := range r.in.Samples {
		if v := r.in.Samples[i].Tank; v != nil {
			sum += *v
			n++
		}
	}
	if n > 0 {
		sum /= n
		tank = &sum
	}
	inlet, unshaken := mean(0), mean(1)
	line := minus(inlet, tank)
	if d, ok := r.pairedLine(); ok && inlet != nil {
		t := *inlet - d
		tank, line = &t, &d
	}
	return &Split{TPO: *total, Tank: tank, Inlet: inlet, Line: line, Unshaken: unshaken,
		LiquidPickup: minus(unshaken, inlet), Headspace: minus(total, unshaken)}
}

// pairedLine is the mean pick-up of the line over the rows that have the tank and
// the inlet: so a tank that drifts, read at other times than the inlet, is not
// taken for the line.
func (r *run) pairedLine() (mean float64, ok bool) {
	n := 0.0
	for i := range r.in.Samples {
		s := &r.in.Samples[i]
		if v := r.use[0][i]; s.Tank != nil && !math.IsNaN(v) {
			mean += v - *s.Tank
			n++
		}
	}
	if n == 0 {
		return 0, false
	}
	return mean / n, true
}

// headMeans compares the heads after the causes in time are taken out. A head
// is outside when it lies off the median head by more than scatter and the
// ordinary spread between heads allow, at 5 % for all heads together (Šidák,
// eq. J8). The median, because one bad head must not push the others outside.
func (r *run) headMeans(m *fit) []HeadMean {
	if m == nil || len(m.f.heads) == 0 {
		return []HeadMean{}
	}
	f, s := m.f, m.solve()
	adjusted := make([][]float64, len(f.heads))
	top := make([]float64, len(f.heads))
	for i, h := range f.head {
		if h < 0 {
			continue
		}
		v := f.y[i]
		for j, t := range m.terms {
			if t.head == "" && t.kind != KindLowFill {
				v -= s.beta[j+1] * t.x[i]
			}
		}
		adjusted[h] = append(adjusted[h], math.Exp(v))
		top[h] = math.Max(top[h], math.Exp(f.y[i]))
	}
	out := make([]HeadMean, 0, len(adjusted))
	means := make([]float64, len(adjusted))
	for h, x := range adjusted {
		means[h] = logMean(x)
	}
	middle, k := medianOf(means), float64(len(adjusted))
	critical := stats.StudentTQuantile(1-(1-math.Pow(0.95, 1/k))/2, math.Max(1, s.nu))
	for h, x := range adjusted {
		mean := means[h]
		half := quantile95(math.Max(1, s.nu)) * s.sd / math.Sqrt(float64(len(x)))
		e := HeadMean{Head: f.heads[h], N: len(x), Mean: math.Exp(mean), Low95: math.Exp(mean - half), High95: bounded(math.Exp(mean + half)), Max: top[h], Ratio: 1}
		if rest := others(adjusted, h); len(rest) > 0 {
			e.Ratio = math.Exp(mean - logMean(rest))
		}
		n := float64(len(x))
		// Beside its own scatter that of a median of the others, π/2 times a mean's.
		off := (mean - middle) / math.Hypot(s.sd*math.Sqrt(1/n+math.Pi/2/math.Max(1, float64(f.n)-n)), r.rules.HeadSpread)
		switch {
		case k < 3: // which of two is off cannot be told
		case off > critical:
			e.Outside = "above"
		case off < -critical:
			e.Outside = "below"
		}
		out = append(out, e)
	}
	slices.SortFunc(out, func(a, b HeadMean) int { return natural(a.Head, b.Head) })
	return out
}

func others(groups [][]float64, h int) []float64 {
	var out []float64
	for k, g := range groups {
		if k != h {
			out = append(out, g...)
		}
	}
	return out
}

func logMean(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += math.Log(v)
	}
	return s / float64(len(x))
}

// sets groups the packages that were closed together: a new set begins after a
// pause of eight minutes, or twenty minutes after its first package.
func (r *run) sets() [][]int {
	const pause, longest = 8, 20
	var out [][]int
	first, last := math.Inf(-1), math.Inf(-1)
	for _, i := range r.order {
		if math.IsNaN(r.use[2][i]) {
			continue
		}
		at := r.minutes(r.in.Samples[i].at())
		if at-last > pause || at-first > longest || len(out) == 0 {
			out = append(out, nil)
			first = at
		}
		out[len(out)-1] = append(out[len(out)-1], i)
		last = at
	}
	return out
}

func (r *run) describe(set []int) Set {
	s := Set{From: r.in.Samples[set[0]].at(), To: r.in.Samples[set[len(set)-1]].at(), N: len(set)}
	for _, i := range set {
		s.Mean += r.use[2][i] / float64(len(set))
		s.Max = math.Max(s.Max, r.use[2][i])
	}
	return s
}
