package stats

import (
	"math"
	"strconv"
)

// Constants are the factors of control charts for subgroups of N normal values
// (eq. S2 to S5; ISO 7870-2, ASTM MNL 7).
type Constants struct {
	N         int     `json:"n"`
	MeanRange float64 `json:"d2"` // E[range]/σ
	SDRange   float64 `json:"d3"` // sd of the range/σ
	MeanSD    float64 `json:"c4"` // E[s]/σ
	A         float64 `json:"A"`
	A2        float64 `json:"A2"`
	A3        float64 `json:"A3"`
	B3        float64 `json:"B3"`
	B4        float64 `json:"B4"`
	D3        float64 `json:"D3"`
	D4        float64 `json:"D4"`
	E2        float64 `json:"E2"` // 3/d2: individuals with moving ranges of N
}

// ChartConstants integrates the factors for subgroups of n, 2 ≤ n ≤ 1000.
func ChartConstants(n int) (Constants, error) {
	if n < 2 || n > 1000 {
		return Constants{}, &Error{Field: "n", Value: strconv.Itoa(n),
			Message: "no chart constants for this subgroup size", Mend: "use subgroups of 2 to 1000 values"}
	}
	d2, d3 := rangeMoments(n)
	c4 := meanSD(float64(n))
	root := math.Sqrt(float64(n))
	b := 3 * math.Sqrt(math.Max(0, 1-c4*c4)) / c4
	return Constants{
		N: n, MeanRange: d2, SDRange: d3, MeanSD: c4,
		A: 3 / root, A2: 3 / (d2 * root), A3: 3 / (c4 * root),
		B3: math.Max(0, 1-b), B4: 1 + b,
		D3: math.Max(0, 1-3*d3/d2), D4: 1 + 3*d3/d2,
		E2: 3 / d2,
	}, nil
}

// meanSD is c4(n) = √(2/(n−1)) Γ(n/2)/Γ((n−1)/2) (eq. S4).
func meanSD(n float64) float64 {
	a, _ := math.Lgamma(n / 2)
	b, _ := math.Lgamma((n - 1) / 2)
	return math.Sqrt(2/(n-1)) * math.Exp(a-b)
}

// rangeMoments is mean and standard deviation of the range W of n standard
// normals: E[W] = ∫P(W>w)dw, E[W²] = 2∫w·P(W>w)dw with
// P(W≤w) = n∫φ(x)[Φ(x+w) − Φ(x)]ⁿ⁻¹dx (eq. S2, S3).
func rangeMoments(n int) (mean, sd float64) {
	outer := legendre(24, 0, 1.5, 3, 4.5, 6, 8, 12, 17)
	min := legendre(20, -9, -6, -4.5, -3, -1.5, 0, 2, 5, 9)
	var m1, m2 float64
	for i, w := range outer.x {
		p := float64(n) * min.integrate(func(x float64) float64 {
			return normalPDF(x) * math.Pow(NormalCDF(x+w)-NormalCDF(x), float64(n-1))
		})
		m1 += outer.w[i] * (1 - p)
		m2 += outer.w[i] * 2 * w * (1 - p)
	}
	return m1, math.Sqrt(m2 - m1*m1)
}
