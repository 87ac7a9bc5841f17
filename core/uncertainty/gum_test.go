package uncertainty_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"ullage/core/uncertainty"
)

func near(got, want, relative float64) bool {
	return math.Abs(got-want) <= relative*math.Max(math.Abs(got), math.Abs(want))
}

// sum is y = Σ c x.
func sum(c ...float64) func() uncertainty.Model {
	return func() uncertainty.Model {
		return func(x []float64) (y float64) {
			for i, v := range x {
				y += c[i] * v
			}
			return y
		}
	}
}

func on(input int, sd float64) []uncertainty.Loading {
	return []uncertainty.Loading{{Input: input, SD: sd}}
}

// A linear model is propagated exactly, effects over several inputs included.
func TestGUMLinear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-100, 100)
		c := []float64{number.Draw(t, "c0"), number.Draw(t, "c1"), number.Draw(t, "c2")}
		p := uncertainty.Problem{Values: []float64{number.Draw(t, "x0"), number.Draw(t, "x1"), number.Draw(t, "x2")}, NewModel: sum(c...)}
		variance, value := 0.0, 0.0
		for i, x := range p.Values {
			value += c[i] * x
		}
		for range rapid.IntRange(1, 6).Draw(t, "effects") {
			var e uncertainty.Effect
			part := 0.0
			for input := range 3 {
				if rapid.Bool().Draw(t, "on") {
					sd := rapid.Float64Range(0.01, 10).Draw(t, "sd") * rapid.SampledFrom([]float64{-1, 1}).Draw(t, "sign")
					e.On = append(e.On, uncertainty.Loading{Input: input, SD: sd})
					part += c[input] * sd
				}
			}
			p.Effects = append(p.Effects, e)
			variance += part * part
		}
		before := append([]float64(nil), p.Values...)
		r := uncertainty.GUM(&p)
		if math.Abs(r.U-math.Sqrt(variance)) > 1e-8*(math.Sqrt(variance)+1) || r.Value != value || r.DoF != 0 {
			t.Errorf("got %v ± %v, want %v ± %v", r.Value, r.U, value, math.Sqrt(variance))
		}
		if math.Abs(r.High95-r.Low95-2*1.959963984540054*r.U) > 1e-9*r.U+1e-12*(1+math.Abs(value)) {
			t.Errorf("interval %v to %v", r.Low95, r.High95)
		}
		shares := 0.0
		for i, part := range r.Budget {
			shares += part.Share
			if i > 0 && part.Share > r.Budget[i-1].Share {
				t.Errorf("the budget is not in order: %v", r.Budget)
			}
		}
		if len(r.Budget) > 0 && math.Abs(shares-1) > 1e-6 {
			t.Errorf("shares add up to %v", shares)
		}
		for i, x := range p.Values {
			if x != before[i] {
				t.Error("the problem's values changed")
			}
		}
	})
}

// One scale behind two weights: in their difference its common error goes, in
// their sum it counts twice (JCGM 100, 5.2).
func TestSharedEffect(t *testing.T) {
	common := uncertainty.Effect{Key: "scale", On: []uncertainty.Loading{{Input: 0, SD: 3}, {Input: 1, SD: 3}}}
	p := uncertainty.Problem{Values: []float64{10, 4}, Effects: []uncertainty.Effect{common}, NewModel: sum(1, -1)}
	if r := uncertainty.GUM(&p); r.U > 1e-12 {
		t.Errorf("difference: u %v, want 0", r.U)
	}
	p.NewModel = sum(1, 1)
	if r := uncertainty.GUM(&p); !near(r.U, 6, 1e-12) {
		t.Errorf("sum: u %v, want 6", r.U)
	}
	// With a part of its own each: correlation r(x1, x2) = 9 / (9 + 16).
	p.Effects = append(p.Effects, uncertainty.Effect{On: on(0, 4)}, uncertainty.Effect{On: on(1, 4)})
	for _, sign := range []float64{1, -1} {
		p.NewModel = sum(1, sign)
		want := math.Sqrt(25 + 25 + sign*2*0.36*25)
		if r := uncertainty.GUM(&p); !near(r.U, want, 1e-10) {
			t.Errorf("sign %v: u %v, want %v", sign, r.U, want)
		}
		if r := uncertainty.MonteCarlo(&p, uncertainty.Options{Seed: 3, Max: 400_000, Fixed: true}); !near(r.U, want, 0.005) {
			t.Errorf("sign %v: Monte Carlo u %v, want %v", sign, r.U, want)
		}
	}
}

// The end-gauge calibration of JCGM 100:2008, H.1 (its numbers from memory):
// parts of 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2 degrees of freedom
// give u = 32 nm and 16.7 effective degrees of freedom. The factor for 95 % at
// 16.7 lies between those of 16 and 17 in its table G.2, 2.12 and 2.11.
func TestEndGauge(t *testing.T) {
	p := uncertainty.Problem{Values: make([]float64, 4), NewModel: sum(1, 1, 1, 1), Effects: []uncertainty.Effect{
		{Key: "standard", DoF: 18, On: on(0, 25)}, {Key: "difference", DoF: 25.6, On: on(1, 9.7)},
		{Key: "expansion", DoF: 50, On: on(2, 2.9)}, {Key: "temperature", DoF: 2, On: on(3, 16.6)},
	}}
	r := uncertainty.GUM(&p)
	if math.Round(r.U) != 32 || math.Abs(r.DoF-16.7) > 0.1 || r.K < 2.11 || r.K > 2.12 {
		t.Errorf("u %v, degrees of freedom %v, k %v", r.U, r.DoF, r.K)
	}
	p.Effects[3].DoF = math.Inf(1) // known exactly: as if 0
	infinite := uncertainty.GUM(&p)
	p.Effects[3].DoF = 0
	if zero := uncertainty.GUM(&p); zero.DoF != infinite.DoF {
		t.Errorf("degrees of freedom %v and %v", zero.DoF, infinite.DoF)
	}
}

// Student's factors of JCGM 100, table G.2 (95 %).
func TestCoverage(t *testing.T) {
	for dof, want := range map[float64]float64{1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 10: 2.23, 20: 2.09, 50: 2.01, 100: 1.984} {
		p := uncertainty.Problem{Values: []float64{0}, NewModel: sum(1), Effects: []uncertainty.Effect{{DoF: dof, On: on(0, 1)}}}
		if r := uncertainty.GUM(&p); math.Abs(r.K-want) > 0.005 {
			t.Errorf("%v degrees of freedom: k %v, want %v", dof, r.K, want)
		}
	}
}

// A curved model: the sensitivities are those of the calculus.
func TestSensitivities(t *testing.T) {
	p := uncertainty.Problem{Values: []float64{3, 2}, Effects: []uncertainty.Effect{{On: on(0, 0.02)}, {On: on(1, 0.01)}},
		NewModel: func() uncertainty.Model { return func(x []float64) float64 { return x[0] * x[0] * math.Exp(-x[1]) } }}
	var f uncertainty.First
	f.Propagate(&p, p.NewModel())
	for i, want := range []float64{6 * math.Exp(-2), -9 * math.Exp(-2)} {
		if !near(f.Sensitivity[i], want, 1e-7) {
			t.Errorf("∂y/∂x%d %v, want %v", i, f.Sensitivity[i], want)
		}
	}
}

// At the end of an input's range the model answers on one side only.
func TestSensitivityAtTheEdge(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		p := uncertainty.Problem{Values: []float64{0}, Effects: []uncertainty.Effect{{On: on(0, 0.5)}}, NewModel: func() uncertainty.Model {
			return func(x []float64) float64 {
				if sign*x[0] < 0 {
					return math.NaN()
				}
				return 7 + 3*x[0]
			}
		}}
		if r := uncertainty.GUM(&p); !near(r.U, 1.5, 1e-12) || r.Value != 7 {
			t.Errorf("side %v: value %v, u %v, want 7 and 1.5", sign, r.Value, r.U)
		}
	}
}

func TestNothingUnknown(t *testing.T) {
	p := uncertainty.Problem{Values: []float64{7}, NewModel: sum(2)}
	if r := uncertainty.GUM(&p); r.U != 0 || r.Value != 14 || r.Low95 != 14 || r.High95 != 14 || len(r.Budget) != 0 {
		t.Errorf("%+v", r)
	}
	r := uncertainty.MonteCarlo(&p, uncertainty.Options{Max: 50_000})
	if r.U != 0 || r.Value != 14 || r.Low95 != 14 || r.High95 != 14 {
		t.Errorf("%+v", r)
	}
}
