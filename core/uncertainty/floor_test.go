package uncertainty_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"ullage/core/uncertainty"
)

// At the floor the interval is one-sided to 1.96 u, far above it the usual one;
// between, it holds 95 % of the distribution cut off there, and is the shortest.
func TestAboveFloor(t *testing.T) {
	r := uncertainty.Result{Value: 0, U: 2, K: 1.96, Low95: -3.92, High95: 3.92}.Above(0)
	if r.Low95 != 0 || math.Abs(r.High95-2*1.959963984540054) > 1e-9 || r.U != 2 || r.Value != 0 {
		t.Errorf("%+v", r)
	}
	far := uncertainty.Result{Value: 100, U: 2, K: 2, Low95: 96, High95: 104}
	if got := far.Above(0); got.Low95 != 96 || got.High95 != 104 || got.K != 2 {
		t.Errorf("%+v", got)
	}
	n := distuv.UnitNormal
	rapid.Check(t, func(t *rapid.T) {
		floor, u := rapid.Float64Range(-50, 50).Draw(t, "floor"), rapid.Float64Range(0.01, 20).Draw(t, "u")
		v := floor + u*rapid.Float64Range(-1, 8).Draw(t, "above")
		got := uncertainty.Result{Value: v, U: u, K: 1.959963984540054, Low95: v - 1.959963984540054*u, High95: v + 1.959963984540054*u}.Above(floor)
		whole := 1 - n.CDF((floor-v)/u)
		part := n.CDF((got.High95-v)/u) - n.CDF((got.Low95-v)/u)
		if got.Low95 < floor || got.Value < floor || got.High95 <= got.Low95 || math.Abs(part/whole-0.95) > 1e-6 {
			t.Fatalf("%v ± %v above %v: %+v holds %v", v, u, floor, got, part/whole)
		}
		// The shortest: ends of one density, or the low one at the floor with a higher.
		low, high := n.Prob((got.Low95-v)/u), n.Prob((got.High95-v)/u)
		if got.Low95 > floor && math.Abs(low-high) > 1e-6 || got.Low95 == floor && low < high-1e-6 {
			t.Fatalf("%v ± %v above %v: not the shortest, %+v", v, u, floor, got)
		}
	})
	few := uncertainty.Result{Value: 1, U: 1, DoF: 4, Low95: -1.8, High95: 3.8}.Above(0)
	if few.Low95 != 0 || few.High95 != 3.8 {
		t.Errorf("%+v", few)
	}
}

// Monte Carlo, which draws again what lies outside the range of an input, says
// the same where the model is straight.
func TestFloorByTrials(t *testing.T) {
	for _, v := range []float64{0, 1, 3, 6} {
		p := uncertainty.Problem{Range: true, Values: []float64{v}, Effects: []uncertainty.Effect{{On: on(0, 2)}}, NewModel: func() uncertainty.Model {
			return func(x []float64) float64 {
				if x[0] < 0 {
					return math.NaN()
				}
				return 3 * x[0]
			}
		}}
		want := uncertainty.Result{Value: 3 * v, U: 6}.Above(0)
		got := uncertainty.MonteCarlo(&p, uncertainty.Options{Seed: 7, Max: 400_000, Fixed: true, Shortest: true})
		if math.Abs(got.High95-want.High95) > 0.25 || math.Abs(got.Low95-want.Low95) > 0.25 || got.Low95 < 0 {
			t.Errorf("at %v: trials %v to %v, cut normal %v to %v", v, got.Low95, got.High95, want.Low95, want.High95)
		}
	}
}
