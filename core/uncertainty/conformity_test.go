package uncertainty_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"ullage/core/uncertainty"
)

func TestAbove(t *testing.T) {
	for _, c := range []struct{ value, u, dof, limit, want, tol float64 }{
		{100, 5, 0, 100, 0.5, 0},
		{100, 5, 0, 109.799819922700, 0.025, 1e-12},
		{100, 5, 0, 91.775731865242, 0.95, 1e-9},
		{100, 5, 4, 113.88, 0.025, 5e-5}, // Student's 2.776 at 4 degrees of freedom, any table
		{100, 5, 4, 100, 0.5, 1e-15},
		{101, 0, 0, 100, 1, 0}, {100, 0, 0, 100, 0, 0}, {99, 0, 0, 100, 0, 0},
	} {
		if got := uncertainty.Above(c.value, c.u, c.dof, c.limit); math.Abs(got-c.want) > c.tol {
			t.Errorf("%+v: got %v", c, got)
		}
	}
}

// A result at the guarded limit is above the limit with just the accepted risk.
func TestGuardedLimit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit, u := rapid.Float64Range(50, 500).Draw(t, "limit"), rapid.Float64Range(0.5, 30).Draw(t, "u")
		risk := rapid.Float64Range(0.001, 0.5).Draw(t, "risk")
		guarded := uncertainty.GuardedLimit(limit, u, risk)
		if got := uncertainty.Above(guarded, u, 0, limit); math.Abs(got-risk) > 1e-9 || guarded > limit {
			t.Errorf("at the guarded limit %v the risk is %v, want %v", guarded, got, risk)
		}
	})
	if got := uncertainty.GuardedLimit(100, 5, 0.05); math.Abs(got-(100-1.6448536269514722*5)) > 1e-9 {
		t.Errorf("got %v", got)
	}
}

// The Zener diode of JCGM 106:2012, 7.4 (its numbers from memory): 5.47 V with
// u = 0.05 V lies between 5.40 and 5.60 V with a probability of 0.919 − 0.005 = 0.914.
func TestConformanceProbability(t *testing.T) {
	below, above := 1-uncertainty.Above(5.47, 0.05, 0, 5.40), uncertainty.Above(5.47, 0.05, 0, 5.60)
	if p := 1 - below - above; math.Abs(p-0.914) > 1e-3 || math.Abs(below-0.081) > 5e-4 || math.Abs(above-0.005) > 5e-4 {
		t.Errorf("conformance %.4f, below %.4f, above %.4f", p, below, above)
	}
}
