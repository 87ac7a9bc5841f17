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
	g := m.excess(j, s)
	cov, nu := g.covariance(s)
	beta := s.beta[j+1]
	seen := beta / math.Hypot(math.Sqrt(s.cov[j+1][j+1]), t.floor)
	floor := t.floor
	if floor == timeFloor { // what is worth naming, not how well it is known
		floor = 0
	}
	floor *= math.Exp(-math.Max(0, beta) / 2) // as the scatter, see side
	se := math.Hypot(math.Sqrt(cov[j+1][j+1]), floor)
	full := g.at(s.beta)
	grad := make([]float64, len(s.beta))
	for k := range grad {
		grad[k] = (g.at(moved(s.beta, k, 1e-4)) - full) / 1e-4
	}
	slope := grad[j+1]
	variance := floor*floor*slope*slope + g.meanVariance(s.beta)
	for a := range grad {
		for b := range grad {
			variance += grad[a] * grad[b] * cov[a][b]
		}
	}
	widen := 1.0
	if own := math.Abs(slope) * se; own > 0 {
		widen = math.Max(0.5, math.Sqrt(math.Max(0, variance))/own)
	}
	z := beta / se
	mid, low, high := z, z-1.959964, z+1.959964
	if !t.nuisance && z > 0 {
		mid, low, high = afterSearch(z, math.Min(t.need*z/seen, z-0.3))
	}
	stretch := quantile95(nu) / 1.959964
	if t.kind == KindStep || t.kind == KindDrift {
		stretch *= 1.08 // which of the two it is was chosen too; found by simulation
	}
	at := func(score float64) float64 {
		return g.at(moved(s.beta, j+1, (mid+(score-mid)*stretch*widen)*se-beta))
	}
	e := effect{ppb: bounded(at(mid)), low: bounded(at(low)), high: bounded(at(high)), errors: math.Abs(seen), rows: g.count}
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
	m      *fit
	j      int
	beta   float64
	count  int
	least  float64 // a row with a smaller column is not counted
	drift  bool
	within side // rows with the term
	beyond side // rows without it
}

// side is the scatter on one side of a term: an excess that is even in ppb makes
// the logarithms of its rows scatter less.
type side struct {
	variance float64
	n        float64 // rows, a row in half counting half
	mean     float64 // mean of exp(residual): from the scale back to ppb
}

func (m *fit) excess(j int, s *solution) excess {
	t := &m.terms[j]
	g := excess{m: m, j: j, beta: s.beta[j+1], drift: t.kind == KindDrift, least: 0.5}
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
	g.within, g.beyond = m.side(t.x, s, g.beta, true, 1), m.side(t.x, s, g.beta, false, float64(len(m.q)-1))
	return g
}

// trust is how many rows' worth the expected scatter of a side counts: few rows
// tell little of their own.
const trust = 6

// side of a column. Rows with the term are expected to scatter between evenly in
// logarithms and evenly in ppb.
func (m *fit) side(x []float64, s *solution, beta float64, within bool, spent float64) side {
	var squares, mean, n float64
	for i, r := range m.r {
		w := share01(x[i])
		if !within {
			w = 1 - w
		}
		squares += w * r * r
		mean += w * math.Exp(r)
		n += w
	}
	if n < 1e-9 {
		return side{s.sd * s.sd, 0, s.mean}
	}
	expected := s.sd * s.sd
	if within {
		expected *= math.Exp(-math.Max(0, beta))
	}
	return side{(trust*expected + squares) / (trust + math.Max(0, n-spent)), n, mean / n}
}

func share01(x float64) float64 { return math.Min(math.Max(x, 0), 1) }

// covariance of the estimates with either side's own scatter (White 1980,
// Econometrica 48:817), and the degrees of freedom of the term's (Welch 1947).
func (g excess) covariance(s *solution) ([][]float64, float64) {
	m, p := g.m, len(s.beta)
	cols := make([][]float64, p)
	cols[0] = ones(m.f.n)
	if tau := g.byTau(); tau != nil {
		cols = append(cols, tau)
	}
	for k := range m.terms {
		cols[k+1] = m.terms[k].x
	}
	cols[g.j+1] = g.slopes()
	sums := products(cols)
	if len(cols) > p { // a time constant is not looked for far from those that are common
		const spread = 0.4 // of ln τ
		sums[p][p] += g.beyond.variance / spread / spread
	}
	inv := invert(sums)
	cov := square(len(cols))
	var in, out float64
	h := make([]float64, len(cols))
	for i := range m.f.n {
		w := share01(m.terms[g.j].x[i])
		v, u := w*g.within.variance, (1-w)*g.beyond.variance
		for k := range h {
			h[k] = 0
			for l := range cols {
				h[k] += inv[k][l] * cols[l][i]
			}
		}
		for k := range h {
			for l := range h {
				cov[k][l] += h[k] * h[l] * (v + u)
			}
		}
		in += h[g.j+1] * h[g.j+1] * v
		out += h[g.j+1] * h[g.j+1] * u
	}
	nuIn, nuOut := trust+math.Max(0, g.within.n-1), math.Max(1, trust+g.beyond.n-float64(p)+1)
	nu := (in + out) * (in + out) / (in*in/nuIn + out*out/nuOut)
	return cov, math.Max(1, nu)
}

// slopes are the derivative of the term by its size. The columns of decays and
// drifts bend with it, because they are even in ppb.
func (g excess) slopes() []float64 {
	t := &g.m.terms[g.j]
	if t.kind != KindDrift && t.kind != KindStartup && t.kind != KindRestart || math.Abs(g.beta) < 1e-6 {
		return t.x
	}
	out := make([]float64, len(t.x))
	for i, x := range t.x {
		out[i] = math.Exp(g.beta*(1-x)) * math.Expm1(g.beta*x) / math.Expm1(g.beta)
	}
	return out
}

// byTau is how a decay bends with its time constant, which is fitted too; nil
// for what has none.
func (g excess) byTau() []float64 {
	t := &g.m.terms[g.j]
	if t.tau <= 0 || math.Abs(g.beta) < 1e-6 {
		return nil
	}
	out := make([]float64, len(t.x))
	for i, x := range t.x {
		if share := math.Expm1(g.beta*x) / math.Expm1(g.beta); share > 1e-9 && share < 1 {
			out[i] = -share * math.Log(share) * math.Expm1(g.beta) / (1 + math.Expm1(g.beta)*share)
		}
	}
	return out
}

// meanVariance is what the means of exp(residual) add, ppb²: of normal residuals
// that mean is known to s⁴/2n.
func (g excess) meanVariance(beta []float64) float64 {
	var with, without, n float64
	for i, x := range g.m.terms[g.j].x {
		if g.touches(x) {
			a, b := g.row(beta, i, x)
			without, with, n = without+a, with+b, n+1
		}
	}
	if n == 0 {
		return 0
	}
	part := func(level float64, s side) float64 {
		return level * level / n / n * s.variance * s.variance / 2 / math.Max(1, s.n)
	}
	return part(with, g.within) + part(without, g.beyond)
}

func (g excess) touches(x float64) bool { return x >= g.least }

// row is a reading without the term and with so much of it: of a decay or a
// drift the share of its peak in ppb stays.
func (g excess) row(beta []float64, i int, x float64) (without, with float64) {
	v := beta[0]
	for k := range g.m.terms {
		if k != g.j {
			v += beta[k+1] * g.m.terms[k].x[i]
		}
	}
	without = math.Exp(v) * g.beyond.mean
	own := beta[g.j+1]
	grown := math.Exp(own * x)
	switch g.m.terms[g.j].kind {
	case KindDrift, KindStartup, KindRestart:
		if math.Abs(g.beta) > 1e-6 {
			grown = 1 + math.Expm1(own)*math.Expm1(g.beta*x)/math.Expm1(g.beta)
		}
	}
	// The side's own mean of exp(residual) comes with the effect.
	part := share01(x)
	if g.beta != 0 {
		part *= math.Min(math.Max(own/g.beta, 0), 2)
	}
	return without, without * grown * math.Pow(g.within.mean/g.beyond.mean, part)
}

func (g excess) at(beta []float64) float64 {
	var sum, n float64
	for i, x := range g.m.terms[g.j].x {
		if !g.drift && !g.touches(x) {
			continue
		}
		if g.drift { // the rise over the whole run, whatever else there is
			x = 1
		}
		without, with := g.row(beta, i, x)
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
			without, with := g.row(beta, i, x)
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
