package cellar

import (
	"math"
	"ullage/core/way"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// constraint is Σ a_i c_i ≥ least over read places.
type constraint struct {
	at    []int
	a     []float64
	least float64
}

// constraints: no concentration is below zero, and no step where nothing takes
// oxygen up has a pickup below zero (eq. 45).
func (n *network) constraints() []constraint {
	var list []constraint
	for k, i := range n.read {
		s := &n.sources[k]
		list = append(list, constraint{[]int{k}, []float64{1}, 0})
		if may, _ := n.MayFall(s.Ops, n.Places[i].Batch); may || len(s.Parts) == 0 {
			continue
		}
		c := constraint{[]int{k}, []float64{1}, s.Dosed}
		for _, p := range s.Parts {
			c.at, c.a = append(c.at, n.of[p.From]), append(c.a, -p.Share)
		}
		list = append(list, c)
	}
	return list
}

// covariance of two read places.
func (n *network) covariance(k, l int) float64 {
	u, v := &n.Places[n.read[k]].Estimate, &n.Places[n.read[l]].Estimate
	if k == l {
		return u.Variance()
	}
	return u.Shared(v)
}

// reconcile gives the values nearest to the readings, in the metric of their
// covariance, that meet the constraints (eq. 46).
func (n *network) reconcile(r *Reconciliation) []float64 {
	r.Adjustments, r.Consistent, r.P = []Adjustment{}, true, 1
	list := n.constraints()
	y := make([]float64, len(n.read))
	sigma := mat.NewDense(max(1, len(y)), max(1, len(y)), nil)
	for k, i := range n.read {
		y[k] = n.Places[i].Value
		for l := range n.read {
			sigma.Set(k, l, n.covariance(k, l))
		}
	}
	values, chi2, active := nearest(y, sigma, list)
	if active == 0 {
		return values
	}
	r.Needed, r.Chi2, r.DF = true, chi2, active
	r.P = 1 - distuv.ChiSquared{K: float64(active)}.CDF(chi2)
	r.Consistent = r.P >= 0.05
	most := 0.0
	for k := range values {
		u := math.Sqrt(sigma.At(k, k))
		move := values[k] - y[k]
		if math.Abs(move) < 1e-9*(1+u) {
			continue
		}
		v := &n.Places[n.read[k]]
		a := Adjustment{Node: v.ID, Reading: far(v, move), PPB: move, InU: move / u}
		r.Adjustments = append(r.Adjustments, a)
		if math.Abs(a.InU) > most {
			most, r.MovedMost = math.Abs(a.InU), a.Reading
		}
	}
	return values
}

// far is the reading of a place that lies farthest against a move of it.
func far(v *way.Place, move float64) string {
	best, id := math.Inf(-1), ""
	for _, r := range v.Readings {
		if d := (v.Value - r.DO) * move; id == "" || d < best {
			best, id = d, r.ID
		}
		if d := (r.DO - v.Value) * -math.Copysign(1, move); d > best {
			best, id = d, r.ID
		}
	}
	return id
}

// nearest minimises (c − y)ᵀ Σ⁻¹ (c − y) under the constraints, by the dual: λ
// ≥ 0 minimises ½ λᵀGλ − λᵀg with G = B Σ Bᵀ, g = least − B y, and c = y + Σ Bᵀ
// λ. It gives the values, the sum of squares and how many constraints bind.
func nearest(y []float64, sigma *mat.Dense, list []constraint) ([]float64, float64, int) {
	n := len(list)
	c := append([]float64{}, y...)
	if len(y) == 0 {
		return c, 0, 0
	}
	// columns of Σ Bᵀ
	sb := make([][]float64, n)
	g := make([]float64, n)
	for j, con := range list {
		sb[j] = make([]float64, len(y))
		g[j] = con.least
		for q, k := range con.at {
			g[j] -= con.a[q] * y[k]
			for i := range y {
				sb[j][i] += con.a[q] * sigma.At(i, k)
			}
		}
	}
	gram := func(i, j int) float64 {
		sum := 0.0
		for q, k := range list[i].at {
			sum += list[i].a[q] * sb[j][k]
		}
		return sum
	}
	lambda := nonNegative(n, gram, g)
	chi2, active := 0.0, 0
	for j, l := range lambda {
		if l <= 0 {
			continue
		}
		active++
		chi2 += l * g[j] // = λᵀGλ where the constraints bind
		for i := range c {
			c[i] += l * sb[j][i]
		}
	}
	return c, math.Max(0, chi2), active
}

// nonNegative minimises ½ λᵀGλ − λᵀg over λ ≥ 0 by the active set of Lawson and
// Hanson (1974, ch. 23), written for the normal matrix.
func nonNegative(n int, gram func(i, j int) float64, g []float64) []float64 {
	lambda := make([]float64, n)
	var set []int
	in := make([]bool, n)
	barred := make([]bool, n) // would not stay: rounding
	for range 3*n + 10 {
		worst, at := 0.0, -1
		for j := range n {
			if in[j] || barred[j] {
				continue
			}
			slack := g[j]
			for _, i := range set {
				slack -= gram(j, i) * lambda[i]
			}
			if slack > 1e-10*(1+math.Abs(g[j])) && slack/math.Sqrt(gram(j, j)) > worst {
				worst, at = slack/math.Sqrt(gram(j, j)), j
			}
		}
		if at < 0 {
			break
		}
		set, in[at] = append(set, at), true
		if !settle(&set, in, lambda, gram, g) {
			barred[at] = true
		}
	}
	return lambda
}

// settle solves for the set and drops what would go below zero, until all of it
// is above. It is false where the set is singular, and the last one is put out.
func settle(set *[]int, in []bool, lambda []float64, gram func(i, j int) float64, g []float64) bool {
	for len(*set) > 0 {
		z, ok := solveFor(*set, gram, g)
		if !ok {
			last := (*set)[len(*set)-1]
			*set, in[last], lambda[last] = (*set)[:len(*set)-1], false, 0
			return false
		}
		step, drop := 1.0, -1
		for q, j := range *set {
			if z[q] <= 0 {
				if f := lambda[j] / (lambda[j] - z[q]); drop < 0 || f < step {
					step, drop = f, q
				}
			}
		}
		for q, j := range *set {
			lambda[j] += step * (z[q] - lambda[j])
		}
		if drop < 0 {
			return true
		}
		j := (*set)[drop]
		lambda[j], in[j] = 0, false
		*set = append((*set)[:drop], (*set)[drop+1:]...)
	}
	return true
}

func solveFor(set []int, gram func(i, j int) float64, g []float64) ([]float64, bool) {
	n := len(set)
	m, v := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for a, i := range set {
		v.SetVec(a, g[i])
		for b := a; b < n; b++ {
			m.SetSym(a, b, gram(i, set[b]))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(m) || chol.Cond() > 1e12 {
		return nil, false
	}
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, v); err != nil {
		return nil, false
	}
	return x.RawVector().Data, true
}
