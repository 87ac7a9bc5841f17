package stats

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// nodes are abscissae and weights of one quadrature.
type nodes struct{ x, w []float64 }

// legendre gives an n-point Gauss–Legendre rule on each panel between
// successive breaks. Breaks that do not rise are skipped.
func legendre(n int, breaks ...float64) nodes {
	ref := nodes{make([]float64, n), make([]float64, n)}
	quad.Legendre{}.FixedLocations(ref.x, ref.w, -1, 1)
	var out nodes
	for i := 1; i < len(breaks); i++ {
		a, b := breaks[i-1], breaks[i]
		if !(a < b) {
			continue
		}
		mid, half := (a+b)/2, (b-a)/2
		for j := range ref.x {
			out.x = append(out.x, mid+half*ref.x[j])
			out.w = append(out.w, half*ref.w[j])
		}
	}
	return out
}

func (q nodes) integrate(f func(float64) float64) float64 {
	var s float64
	for i, x := range q.x {
		s += q.w[i] * f(x)
	}
	return s
}

// root finds a zero of f between a and b, where f changes sign, by Brent's
// method (Brent 1973, ch. 4). NaN when f does not change sign.
func root(f func(float64) float64, a, b, tol float64) float64 {
	fa, fb := f(a), f(b)
	if !(fa*fb <= 0) {
		return math.NaN()
	}
	c, fc, d, e := a, fa, b-a, b-a
	for range 200 {
		if (fb > 0) == (fc > 0) {
			c, fc = a, fa
			d = b - a
			e = d
		}
		if math.Abs(fc) < math.Abs(fb) {
			a, b, c = b, c, b
			fa, fb, fc = fb, fc, fb
		}
		step := 2*2.3e-16*math.Abs(b) + tol/2
		m := (c - b) / 2
		if math.Abs(m) <= step || fb == 0 {
			return b
		}
		if math.Abs(e) < step || math.Abs(fa) <= math.Abs(fb) {
			d, e = m, m
		} else if p, q := interpolate(a, b, c, fa, fb, fc, m); 2*p < math.Min(3*m*q-math.Abs(step*q), math.Abs(e*q)) {
			e, d = d, p/q
		} else {
			d, e = m, m
		}
		a, fa = b, fb
		if math.Abs(d) > step {
			b += d
		} else {
			b += math.Copysign(step, m)
		}
		fb = f(b)
	}
	return b
}

// interpolate gives Brent's secant or inverse quadratic step p/q with p ≥ 0.
func interpolate(a, b, c, fa, fb, fc, m float64) (p, q float64) {
	s := fb / fa
	if a == c {
		p, q = 2*m*s, 1-s
	} else {
		r, t := fb/fc, fa/fc
		p = s * (2*m*t*(t-r) - (b-a)*(r-1))
		q = (t - 1) * (r - 1) * (s - 1)
	}
	if p > 0 {
		q = -q
	}
	return math.Abs(p), q
}

// rootFrom widens [start−step, start+step] until the rising function f changes
// sign, then finds the zero. NaN when none is found.
func rootFrom(f func(float64) float64, start, step, tol float64) float64 {
	a, b := start-step, start+step
	for i := 0; i < 60 && f(a) > 0; i++ {
		b = a
		step *= 2
		a -= step
	}
	for i := 0; i < 60 && f(b) < 0; i++ {
		a = b
		step *= 2
		b += step
	}
	return root(f, a, b, tol)
}

// minimum finds the smallest value of a function of one variable on [a, b] by
// golden section. The function must have one valley there.
func minimum(f func(float64) float64, a, b float64) float64 {
	g := (math.Sqrt(5) - 1) / 2
	c, d := b-g*(b-a), a+g*(b-a)
	fc, fd := f(c), f(d)
	for i := 0; i < 100 && b-a > 1e-10*(1+math.Abs(a)+math.Abs(b)); i++ {
		if fc < fd {
			b, d, fd = d, c, fc
			c = b - g*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + g*(b-a)
			fd = f(d)
		}
	}
	return (a + b) / 2
}

// solve solves the dense system m·x = y by elimination with row exchange; m and
// y are overwritten. False when m is singular.
func solve(m [][]float64, y []float64) bool {
	n := len(y)
	for i := range n {
		p := i
		for r := i + 1; r < n; r++ {
			if math.Abs(m[r][i]) > math.Abs(m[p][i]) {
				p = r
			}
		}
		if m[p][i] == 0 || math.IsNaN(m[p][i]) {
			return false
		}
		m[i], m[p] = m[p], m[i]
		y[i], y[p] = y[p], y[i]
		for r := i + 1; r < n; r++ {
			k := m[r][i] / m[i][i]
			for c := i; c < n; c++ {
				m[r][c] -= k * m[i][c]
			}
			y[r] -= k * y[i]
		}
	}
	for i := n - 1; i >= 0; i-- {
		for c := i + 1; c < n; c++ {
			y[i] -= m[i][c] * y[c]
		}
		y[i] /= m[i][i]
	}
	return true
}
