package verdict

import (
	"math"

	"ullage/core/stats"
)

// effect is the size of a term in ppb, with its 95 % interval.
type effect struct {
	ppb, low, high float64
	runMean        float64
	errors         float64
	rows           int
}

// sizeOf is the mean excess of the rows that a term touches (eq. J6), back in
// ppb. The interval allows for the term having been searched for: the estimate
// and its limits are those of a score known to have passed the need (eq. J7).
func (m *fit) sizeOf(j int, s *solution) effect {
	t := &m.terms[j]
	beta, se := s.beta[j+1], math.Hypot(math.Sqrt(s.cov[j+1][j+1]), t.floor)
	nu := math.Max(1, s.nu)
	stretch := quantile95(nu) / 1.959964
	g := m.excess(j, s)
	full := g.at(s.beta)
	slope := (g.at(moved(s.beta, j+1, 1e-4)) - full) / 1e-4
	variance := t.floor * t.floor * slope * slope
	grad := make([]float64, len(s.beta))
	for k := range grad {
		grad[k] = (g.at(moved(s.beta, k, 1e-4)) - full) / 1e-4
	}
	for a := range grad {
		for b := range grad {
			variance += grad[a] * grad[b] * s.cov[a][b]
		}
	}
	widen := 1.0
	if own := math.Abs(slope) * se; own > 0 {
		widen = math.Max(0.5, math.Sqrt(math.Max(0, variance))/own)
	}
	z := beta / se
	mid, low, high := z, z-1.959964, z+1.959964
	if !t.nuisance && z > 0 {
		mid, low, high = afterSearch(z, math.Min(t.need, z-0.3))
	}
	at := func(score float64) float64 {
		return g.at(moved(s.beta, j+1, (mid+(score-mid)*stretch*widen)*se-beta))
	}
	e := effect{ppb: bounded(at(mid)), low: bounded(at(low)), high: bounded(at(high)), errors: math.Abs(z), rows: g.count}
	e.runMean = bounded(g.total(s.beta) / float64(m.f.n))
	return e
}

func moved(beta []float64, k int, by float64) []float64 {
	out := append([]float64(nil), beta...)
	out[k] += by
	return out
}

// excess of a term: what the fitted readings have above those without it.
type excess struct {
	m     *fit
	j     int
	mean  float64
	count int
	least float64 // a row with a smaller column is not counted
	drift bool
}

func (m *fit) excess(j int, s *solution) excess {
	t := &m.terms[j]
	g := excess{m: m, j: j, mean: s.mean, drift: t.kind == KindDrift, least: 0.5}
	switch {
	case t.nuisance:
		g.least = 1e-9
	case t.kind == KindStartup || t.kind == KindRestart:
		// A quarter of the excess at its peak, in ppb.
		g.least = math.Log1p(0.25*math.Expm1(math.Max(s.beta[j+1], 0.01))) / math.Max(s.beta[j+1], 0.01)
	}
	for _, x := range t.x {
		if g.touches(x) {
			g.count++
		}
	}
	return g
}

func (g excess) touches(x float64) bool { return x >= g.least }

func (g excess) row(beta []float64, i int) (without, with float64) {
	v := beta[0]
	for k := range g.m.terms {
		if k != g.j {
			v += beta[k+1] * g.m.terms[k].x[i]
		}
	}
	without = math.Exp(v) * g.mean
	return without, without * math.Exp(beta[g.j+1]*g.m.terms[g.j].x[i])
}

func (g excess) at(beta []float64) float64 {
	var sum, n float64
	for i, x := range g.m.terms[g.j].x {
		if !g.drift && !g.touches(x) {
			continue
		}
		without, with := g.row(beta, i)
		if g.drift { // the rise over the whole run, whatever else there is
			with = without * math.Exp(beta[g.j+1])
		}
		sum += with - without
		n++
	}
	if n == 0 {
		return 0
	}
	return sum / n
}

func (g excess) total(beta []float64) float64 {
	var sum float64
	for i, x := range g.m.terms[g.j].x {
		if x != 0 {
			without, with := g.row(beta, i)
			sum += with - without
		}
	}
	return sum
}

// afterSearch is the median-unbiased estimate and the 95 % limits of a normal
// score z that is only seen because it is above need (Zhong and Prentice 2008,
// Biostatistics 9:621; formula from memory, coverage simulated here).
func afterSearch(z, need float64) (mid, low, high float64) {
	at := func(p float64) float64 {
		// P(Z > z | Z > need) rises with the true score.
		lo, hi := z-12, z+4
		for range 60 {
			mu := (lo + hi) / 2
			if upper(z-mu)/upper(need-mu) < p {
				lo = mu
			} else {
				hi = mu
			}
		}
		return (lo + hi) / 2
	}
	low, high = at(0.025), at(0.975)
	return math.Min(math.Max(at(0.5), 0), math.Max(high, 0)), low, math.Max(high, 0)
}

func upper(x float64) float64 { return math.Max(stats.NormalCDF(-x), 1e-300) }
