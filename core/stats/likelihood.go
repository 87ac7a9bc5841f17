package stats

import "math"

// lognormalML maximises Σ ln f over the detects plus Σ ln Φ over the readings
// below a floor by Newton steps in μ and ln σ (eq. S36).
func lognormalML(x []Reading, level float64, r *CensoredResult) error {
	var start CensoredResult
	orderRegression(x, &start)
	mu, lnS := start.Mu, math.Log(math.Max(start.Sigma, 1e-6))
	now := tobit(x, mu, lnS)
	for range 100 {
		det := now.h11*now.h22 - now.h12*now.h12
		dm := -(now.h22*now.g1 - now.h12*now.g2) / det
		ds := -(now.h11*now.g2 - now.h12*now.g1) / det
		if !(det > 0 && now.h11 < 0) {
			// Not yet concave: climb along the gradient.
			scale := 1 / (math.Abs(now.h11) + math.Abs(now.h22) + math.Abs(now.h12))
			dm, ds = scale*now.g1, scale*now.g2
		}
		next, step := now, 1.0
		for ; step > 1e-10; step /= 2 {
			next = tobit(x, mu+step*dm, lnS+step*ds)
			if next.logL >= now.logL {
				break
			}
		}
		mu, lnS = mu+step*dm, lnS+step*ds
		moved := step * (math.Abs(dm) + math.Abs(ds))
		now = next
		if moved < 1e-12*(1+math.Abs(mu)) {
			break
		}
	}
	s := math.Exp(lnS)
	det := now.h11*now.h22 - now.h12*now.h12
	if !(det > 0) || !(s > 0 && s < 20) {
		return &Error{Field: "x", Message: "the lognormal fit does not settle", Mend: "use kaplan_meier"}
	}
	r.Mu, r.Sigma = mu, s
	r.Mean = math.Exp(mu + s*s/2)
	r.SD = r.Mean * math.Sqrt(math.Expm1(s*s))
	r.Median = math.Exp(mu)
	// Variance of μ + σ²/2 from the observed information; c = (1, σ²) in (μ, ln σ).
	v := (-now.h22 + 2*s*s*now.h12 - s*s*s*s*now.h11) / det
	se := math.Sqrt(v)
	r.SE = r.Mean * se
	z := NormalQuantile((1 + level) / 2)
	r.Interval = &Interval{r.Mean * math.Exp(-z*se), r.Mean * math.Exp(z*se), level}
	upper := r.Mean * math.Exp(NormalQuantile(level)*se)
	r.UpperBound = &upper
	return nil
}

// tobitState is the log-likelihood with gradient and Hessian in (μ, ln σ).
type tobitState struct{ logL, g1, g2, h11, h12, h22 float64 }

func tobit(x []Reading, mu, lnS float64) tobitState {
	var t tobitState
	s := math.Exp(lnS)
	for _, v := range x {
		z := (math.Log(v.Value) - mu) / s
		if !v.Below {
			t.logL += -z*z/2 - lnS - math.Log(v.Value) - math.Log(2*math.Pi)/2
			t.g1 += z / s
			t.g2 += z*z - 1
			t.h11 -= 1 / (s * s)
			t.h12 -= 2 * z / s
			t.h22 -= 2 * z * z
			continue
		}
		h := hazard(z)
		b := h * (z + h)
		t.logL += logNormalCDF(z)
		t.g1 -= h / s
		t.g2 -= h * z
		t.h11 -= b / (s * s)
		t.h12 += (h - z*b) / s
		t.h22 += h*z - z*z*b
	}
	return t
}

// hazard is φ(z)/Φ(z), safe far in the lower tail.
func hazard(z float64) float64 {
	if z > -20 {
		return normalPDF(z) / NormalCDF(z)
	}
	q := 1 / (z * z)
	return -z / (1 - q*(1-3*q*(1-5*q)))
}

func logNormalCDF(z float64) float64 {
	if z > -20 {
		return math.Log(NormalCDF(z))
	}
	return -z*z/2 - math.Log(2*math.Pi)/2 - math.Log(hazard(z))
}
