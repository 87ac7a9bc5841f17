package verdict

import (
	"math"

	"ullage/core/stats"
)

// smallestSD keeps a run without scatter from making trifles significant: the
// meter itself does not repeat better (2 % of reading, common practice).
const smallestSD = 0.02

// clip bounds a residual in its standard deviations: a lone wild reading must
// not pass for a head or a step (eq. J3).
const clip = 2.5

// fit is a least squares model of a channel on the log scale, with an
// orthonormal basis of its columns and their running sums.
type fit struct {
	f     *frame
	terms []term
	q     [][]float64 // orthonormal columns; q[0] is the constant
	qsum  [][]float64 // running sums, qsum[j][i] = Σ q[j][:i]
	y     []float64   // ln of the readings, those far out clipped
	r     []float64   // residuals
	rsum  []float64
	rss   float64
	nu    float64 // degrees of freedom
}

// newFit fits the constant and the terms to y, clipping what lies far out.
func newFit(f *frame, terms []term) *fit {
	m := &fit{f: f, terms: terms}
	m.add(ones(f.n))
	for i := range terms {
		m.add(terms[i].x)
	}
	m.nu = math.Max(1, float64(f.n-len(m.q)))
	m.y = append([]float64(nil), f.y...)
	m.residuals()
	for range 3 {
		if !m.clipFar() {
			break
		}
		m.residuals()
	}
	m.rsum = runningSum(m.r)
	m.qsum = make([][]float64, len(m.q))
	for j := range m.q {
		m.qsum[j] = runningSum(m.q[j])
	}
	return m
}

func runningSum(x []float64) []float64 {
	s := make([]float64, len(x)+1)
	for i, v := range x {
		s[i+1] = s[i] + v
	}
	return s
}

// add takes a column into the basis, unless it adds nothing.
func (m *fit) add(x []float64) {
	z := append([]float64(nil), x...)
	for range 2 {
		for _, q := range m.q {
			d := dot(q, z)
			for i := range z {
				z[i] -= d * q[i]
			}
		}
	}
	norm := math.Sqrt(dot(z, z))
	if norm < 1e-6*math.Sqrt(dot(x, x))+1e-12 {
		return
	}
	for i := range z {
		z[i] /= norm
	}
	m.q = append(m.q, z)
}

func dot(a, b []float64) float64 {
	var s float64
	for i, v := range a {
		s += v * b[i]
	}
	return s
}

func (m *fit) residuals() {
	m.r = append(m.r[:0], m.y...)
	for _, q := range m.q {
		d := dot(q, m.r)
		for i := range m.r {
			m.r[i] -= d * q[i]
		}
	}
	m.rss = dot(m.r, m.r)
}

// clipFar pulls values whose residual is far out back to the bound and reports
// whether there were any. The spread is the robust one.
func (m *fit) clipFar() bool {
	if m.f.n < 6 {
		return false
	}
	s := max(spreadOf(m.r, 0), smallestSD, 0.8*math.Sqrt(m.rss/m.nu))
	found := false
	for i, r := range m.r {
		if a := math.Abs(r); a > clip*s*1.0001 {
			m.y[i] -= math.Copysign(a-clip*s, r)
			found = true
		}
	}
	return found
}

// sd is the scatter about the fit, on the log scale.
func (m *fit) sd() float64 { return math.Sqrt(m.rss/m.nu + smallestSD*smallestSD) }

// score is the effect of one more column with projection d = z·r and square
// zz = z·z on the residuals, as a standard normal deviate of the same tail
// probability; floor is the spread that such an effect has by itself (eq. J4).
func (m *fit) score(d, zz, full, floor float64) mark {
	if zz < 1e-6*full || zz < 1e-9 {
		return mark{}
	}
	nu := m.nu - 1
	if nu < 1 {
		return mark{}
	}
	b := d / zz
	s2 := math.Max(0, m.rss-d*d/zz)/nu + smallestSD*smallestSD
	se := math.Sqrt(s2/zz + floor*floor)
	return mark{normalScore(b/se, nu), se}
}

// normalScore turns t with ν degrees of freedom into z of nearly the same tail
// probability (Wallace 1959; within 1 % for ν above 3).
func normalScore(t, nu float64) float64 {
	k := (8*nu + 1) / (8*nu + 3)
	return math.Copysign(k*math.Sqrt(nu*math.Log1p(t*t/nu)), t)
}

// column scores a column given in full.
func (m *fit) column(x []float64, floor float64) mark {
	d, zz := dot(x, m.r), dot(x, x)
	full := zz
	for _, q := range m.q {
		c := dot(q, x)
		zz -= c * c
	}
	return m.score(d, zz, full, floor)
}

// span scores the indicator of rows from a to b, b left out, by running sums.
func (m *fit) span(a, b int, floor float64) mark {
	full := float64(b - a)
	zz := full
	for _, s := range m.qsum {
		c := s[b] - s[a]
		zz -= c * c
	}
	return m.score(m.rsum[b]-m.rsum[a], zz, full, floor)
}

// group scores the indicator of some rows.
func (m *fit) group(rows []int, floor float64) mark {
	full := float64(len(rows))
	zz, d := full, 0.0
	for _, i := range rows {
		d += m.r[i]
	}
	for _, q := range m.q {
		c := 0.0
		for _, i := range rows {
			c += q[i]
		}
		zz -= c * c
	}
	return m.score(d, zz, full, floor)
}

// solution is the least squares estimate of the terms with its covariance, by
// the normal equations of the few columns.
type solution struct {
	beta []float64 // beta[0] the constant
	cov  [][]float64
	sd   float64
	nu   float64
	fit  []float64 // of each row
	mean float64   // mean of exp(residual): from the scale back to ppb
}

func (m *fit) solve() solution {
	cols := [][]float64{ones(m.f.n)}
	for i := range m.terms {
		cols = append(cols, m.terms[i].x)
	}
	p := len(cols)
	inv := invert(products(cols))
	s := solution{beta: make([]float64, p), cov: inv, sd: m.sd(), nu: m.nu, fit: make([]float64, m.f.n)}
	for i := range p {
		for j := range p {
			s.beta[i] += inv[i][j] * dot(cols[j], m.y)
		}
	}
	for i := range p {
		for j := range p {
			s.cov[i][j] *= s.sd * s.sd
		}
	}
	for i := range s.fit {
		for j := range cols {
			s.fit[i] += s.beta[j] * cols[j][i]
		}
	}
	for _, r := range m.r {
		s.mean += math.Exp(r) / float64(m.f.n)
	}
	return s
}

func ones(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1
	}
	return x
}

func square(n int) [][]float64 {
	a := make([][]float64, n)
	for i := range a {
		a[i] = make([]float64, n)
	}
	return a
}

// products of columns with each other; a trifle on the diagonal keeps a column
// that adds nothing from spoiling the rest.
func products(cols [][]float64) [][]float64 {
	a := square(len(cols))
	for i := range cols {
		for j := range cols {
			a[i][j] = dot(cols[i], cols[j])
		}
		a[i][i] *= 1 + 1e-10
	}
	return a
}

// invert by Gauss–Jordan with row exchange; the matrices are small and regular.
func invert(a [][]float64) [][]float64 {
	n := len(a)
	inv := make([][]float64, n)
	for i := range inv {
		inv[i] = make([]float64, n)
		inv[i][i] = 1
	}
	for i := range n {
		p := i
		for r := i + 1; r < n; r++ {
			if math.Abs(a[r][i]) > math.Abs(a[p][i]) {
				p = r
			}
		}
		a[i], a[p], inv[i], inv[p] = a[p], a[i], inv[p], inv[i]
		d := a[i][i]
		for c := range n {
			a[i][c] /= d
			inv[i][c] /= d
		}
		for r := range n {
			if k := a[r][i]; r != i && k != 0 {
				for c := range n {
					a[r][c] -= k * a[i][c]
					inv[r][c] -= k * inv[i][c]
				}
			}
		}
	}
	return inv
}

// quantile95 is the two-sided 95 % point of t.
func quantile95(nu float64) float64 { return stats.StudentTQuantile(0.975, nu) }
