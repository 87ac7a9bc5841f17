package uncertainty_test

import (
	"math"
	"sync"
	"testing"

	"ullage/core/uncertainty"
)

// additive is the sum of four inputs of mean 0: JCGM 101:2008, 9.2.
func additive(shape uncertainty.Shape, sd ...float64) *uncertainty.Problem {
	p := &uncertainty.Problem{Values: make([]float64, len(sd)), NewModel: sum(1, 1, 1, 1)}
	for i, s := range sd {
		p.Effects = append(p.Effects, uncertainty.Effect{Shape: shape, On: on(i, s)})
	}
	return p
}

// JCGM 101:2008, tables 2 to 4: standard uncertainty and 95 % limits of the
// additive model (three digits as printed there). The exact limits for four
// rectangles are ±2√3 (2 − (3/5)^¼).
func TestAdditiveModels(t *testing.T) {
	for _, c := range []struct {
		name           string
		p              *uncertainty.Problem
		u, limit, tolU float64
	}{
		{"normal", additive(uncertainty.Normal, 1, 1, 1, 1), 2.00, 3.92, 0.005},
		{"rectangular", additive(uncertainty.Rectangular, 1, 1, 1, 1), 2.00, 3.88, 0.005},
		{"one wide rectangle", additive(uncertainty.Rectangular, 1, 1, 1, 10), 10.1, 17.0, 0.05},
	} {
		r := uncertainty.MonteCarlo(c.p, uncertainty.Options{Seed: 11, Max: 1_000_000, Fixed: true})
		tol := 2.5 * c.tolU
		if math.Abs(r.U-c.u) > 2*c.tolU || math.Abs(r.Low95+c.limit) > tol || math.Abs(r.High95-c.limit) > tol || math.Abs(r.Value) > tol {
			t.Errorf("%s: %v ± %v, %v to %v; want u %v, ±%v", c.name, r.Value, r.U, r.Low95, r.High95, c.u, c.limit)
		}
		if r.Trials != 1_000_000 || r.K != 0 {
			t.Errorf("%s: %d trials, k %v", c.name, r.Trials, r.K)
		}
	}
	exact := 2 * math.Sqrt(3) * (2 - math.Pow(0.6, 0.25))
	if r := uncertainty.MonteCarlo(additive(uncertainty.Rectangular, 1, 1, 1, 1), uncertainty.Options{Seed: 5, Fixed: true}); math.Abs(r.High95-exact) > 0.01 {
		t.Errorf("97.5 %% of four rectangles: %v, want %v", r.High95, exact)
	}
}

// Each shape alone: standard deviation and 97.5 % point from its own formula.
func TestShapes(t *testing.T) {
	for _, c := range []struct {
		shape    uncertainty.Shape
		dof      float64
		sd, high float64
	}{
		{uncertainty.Normal, 0, 1, 1.959964},
		{uncertainty.Rectangular, 0, 1, 0.95 * math.Sqrt(3)},
		{uncertainty.Triangular, 0, 1, math.Sqrt(6) * (1 - math.Sqrt(0.05))},
		{uncertainty.StudentT, 5, math.Sqrt(5.0 / 3), 2.570582},
		{uncertainty.StudentT, 0, 1, 1.959964},
	} {
		p := uncertainty.Problem{Values: []float64{0}, NewModel: sum(1), Effects: []uncertainty.Effect{{Shape: c.shape, DoF: c.dof, On: on(0, 1)}}}
		r := uncertainty.MonteCarlo(&p, uncertainty.Options{Seed: 2, Max: 1_000_000, Fixed: true})
		if !near(r.U, c.sd, 0.005) || !near(r.High95, c.high, 0.006) || !near(r.Low95, -c.high, 0.006) {
			t.Errorf("shape %d: ± %v, %v to %v; want ± %v, ±%v", c.shape, r.U, r.Low95, r.High95, c.sd, c.high)
		}
	}
}

// The same seed gives the same result whoever runs the blocks, in any order.
func TestDeterministic(t *testing.T) {
	p := additive(uncertainty.Normal, 1, 2, 0.5, 1)
	p.Effects[1].Shape = uncertainty.Triangular
	p.NewModel = func() uncertainty.Model {
		last := 0.0 // a model keeps memory; each goroutine must get its own
		return func(x []float64) float64 { last = x[0]; return math.Exp(0.1*last) + x[1]*x[2] + x[3] }
	}
	for _, fixed := range []bool{true, false} {
		var first uncertainty.Result
		for i, each := range []func(int, func(int)){
			nil,
			func(n int, do func(int)) {
				for i := n - 1; i >= 0; i-- {
					do(i)
				}
			},
			func(n int, do func(int)) {
				var w sync.WaitGroup
				for i := range n {
					w.Go(func() { do(i) })
				}
				w.Wait()
			},
		} {
			r := uncertainty.MonteCarlo(p, uncertainty.Options{Seed: 9, Max: 200_000, Fixed: fixed, Each: each})
			r.Budget = nil
			if i == 0 {
				first = r
			} else if r.Value != first.Value || r.U != first.U || r.Low95 != first.Low95 || r.High95 != first.High95 || r.Trials != first.Trials {
				t.Errorf("fixed %v, runner %d: %+v, not %+v", fixed, i, r, first)
			}
		}
		if other := uncertainty.MonteCarlo(p, uncertainty.Options{Seed: 10, Max: 200_000, Fixed: fixed}); other.Value == first.Value {
			t.Error("another seed gives the same trials")
		}
	}
}

// The adaptive run stops when its limits are stable, and then they are right to
// about the tolerance; a run cut short says that it is not stable.
func TestAdaptive(t *testing.T) {
	p := additive(uncertainty.Normal, 1, 1, 1, 1)
	delta := uncertainty.Tolerance(2, 2)
	for seed := range uint64(5) {
		r := uncertainty.MonteCarlo(p, uncertainty.Options{Seed: seed, Max: 5_000_000})
		if !r.Stable || r.Trials >= 5_000_000 {
			t.Errorf("seed %d: stable %v after %d trials", seed, r.Stable, r.Trials)
		}
		if math.Abs(r.U-2) > delta || math.Abs(r.High95-3.92) > 2*delta || math.Abs(r.Low95+3.92) > 2*delta {
			t.Errorf("seed %d: ± %v, %v to %v after %d trials, tolerance %v", seed, r.U, r.Low95, r.High95, r.Trials, delta)
		}
	}
	// By the rule, twice the standard deviation of the averaged limit falls below
	// the tolerance: at u = 4 that is √(0.025·0.975)/φ(1.96)·4·2/√n < 0.05, n = 183,000.
	trials := 0
	for seed := range uint64(8) {
		trials += uncertainty.MonteCarlo(additive(uncertainty.Normal, 2, 2, 2, 2), uncertainty.Options{Seed: seed}).Trials / 8
	}
	if trials < 110_000 || trials > 260_000 {
		t.Errorf("u = 4 to two digits takes %d trials in the mean, expected about 183,000", trials)
	}
	two := uncertainty.MonteCarlo(p, uncertainty.Options{Max: 2_000_000, Digits: 2})
	three := uncertainty.MonteCarlo(p, uncertainty.Options{Max: 2_000_000, Digits: 3})
	if two.Trials >= three.Trials {
		t.Errorf("two digits take %d trials, three take %d", two.Trials, three.Trials)
	}
	if short := uncertainty.MonteCarlo(p, uncertainty.Options{Max: 20_000, Digits: 3}); short.Stable || short.Trials != 20_000 {
		t.Errorf("cut short: %+v", short)
	}
}

// The examples of JCGM 101:2008, 7.9.2: 0.000 35 g to two digits has half of
// 1e-5 g, 2 K to one digit half a kelvin.
func TestTolerance(t *testing.T) {
	for _, c := range []struct {
		u      float64
		digits int
		want   float64
	}{{0.00035, 2, 0.5e-5}, {2, 1, 0.5}, {2, 2, 0.05}, {35, 2, 0.5}, {0, 2, 0}} {
		if got := uncertainty.Tolerance(c.u, c.digits); !near(got, c.want, 1e-9) {
			t.Errorf("u %v to %d digits: %v, want %v", c.u, c.digits, got, c.want)
		}
	}
}

// First order and Monte Carlo agree within the tolerance of JCGM 101, 8, where
// the model is nearly linear, and Monte Carlo is skew where it is not.
func TestTwoMethodsAgree(t *testing.T) {
	p := uncertainty.Problem{Values: []float64{50, 18, 355}, NewModel: func() uncertainty.Model {
		return func(x []float64) float64 { return x[0] * (1 + 22.3*x[1]/x[2]) }
	}, Effects: []uncertainty.Effect{{On: on(0, 1)}, {On: on(1, 0.4)}, {On: on(2, 0.5)}}}
	g, m := uncertainty.GUM(&p), uncertainty.MonteCarlo(&p, uncertainty.Options{Fixed: true})
	delta := uncertainty.Tolerance(g.U, 2)
	if math.Abs(g.Low95-m.Low95) > delta || math.Abs(g.High95-m.High95) > delta {
		t.Errorf("first order %v to %v, Monte Carlo %v to %v", g.Low95, g.High95, m.Low95, m.High95)
	}
	skew := uncertainty.Problem{Values: []float64{1}, Effects: []uncertainty.Effect{{On: on(0, 0.2)}},
		NewModel: func() uncertainty.Model { return func(x []float64) float64 { return math.Exp(x[0]) } }}
	r := uncertainty.MonteCarlo(&skew, uncertainty.Options{Fixed: true})
	if !near(r.Value, math.Exp(1.02), 0.001) || !near(r.High95, math.Exp(1+0.2*1.959964), 0.003) || !near(r.Low95, math.Exp(1-0.2*1.959964), 0.003) {
		t.Errorf("log-normal: %+v", r)
	}
}

func BenchmarkMonteCarlo(b *testing.B) {
	p := additive(uncertainty.Normal, 1, 1, 1, 1)
	for b.Loop() {
		uncertainty.MonteCarlo(p, uncertainty.Options{Fixed: true})
	}
}
