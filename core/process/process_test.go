package process

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ullage/core/quantity"
)

// integrate sweeps n mixed tanks in series by small steps and gives their mean:
// the model itself, not its closed form.
func integrate(n int, volumes float64) float64 {
	const steps = 20000
	y := make([]float64, n)
	for i := range y {
		y[i] = 1
	}
	h := volumes * float64(n) / steps // turnovers of one tank
	slope := func(y, d []float64) {
		before := 0.0
		for i := range y {
			d[i] = before - y[i]
			before = y[i]
		}
	}
	d1, d2, mid := make([]float64, n), make([]float64, n), make([]float64, n)
	for range steps {
		slope(y, d1)
		for i := range y {
			mid[i] = y[i] + h/2*d1[i]
		}
		slope(mid, d2)
		for i := range y {
			y[i] += h * d2[i]
		}
	}
	sum := 0.0
	for _, v := range y {
		sum += v
	}
	return sum / float64(n)
}

func TestSweepAgainstIntegration(t *testing.T) {
	for _, n := range []int{1, 2, 3, 7, 20} {
		for _, v := range []float64{0.3, 1, 2, 3} {
			got, want := Step{Method: Sweep, Cells: n, Volumes: v}.Factor(), integrate(n, v)
			if math.Abs(got-want) > 1e-6 {
				t.Errorf("%d tanks, %g turnovers: %g, integrated %g", n, v, got, want)
			}
		}
	}
}

// Plug flow is the limit of many tanks, and no mixing needs less gas than it.
func TestSweepBetweenMixedAndPlug(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		v := rapid.Float64Range(0, 40).Draw(rt, "volumes")
		n := rapid.IntRange(1, MaxCells-1).Draw(rt, "cells")
		plug, few, more := swept(v, 0), swept(v, n), swept(v, n+1)
		if few > 1+1e-12 || more > few+1e-12 || plug > more+1e-12 || few > swept(v, 1)+1e-12 {
			rt.Fatalf("%g turnovers: plug %g, %d tanks %g, one more %g", v, plug, n, few, more)
		}
	})
}

func TestForIsTheInverse(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		f := math.Pow(10, rapid.Float64Range(-8, 0).Draw(rt, "log"))
		s := rapid.SampledFrom([]Step{{Method: Sweep, Cells: 1}, {Method: Sweep}, {Method: Sweep, Cells: 3}, {Method: Sweep, Cells: 100}, {Method: Pressure, Low: 100, High: 300}, {Method: Vacuum, Low: 10, High: 101}, {Method: Displacement}}).Draw(rt, "step")
		if got := s.For(f).Factor(); math.Abs(got/f-1) > 1e-6 && math.Abs(got-f) > 1e-12 {
			rt.Fatalf("%+v: %g wanted, %g", s, f, got)
		}
	})
}

// After against small steps of dC/dt = r − k C.
func TestAfterAgainstIntegration(t *testing.T) {
	const steps = 200000
	for _, k := range []float64{0, 0.01, 0.3} {
		c, h := 80.0, 100.0/steps
		for range steps {
			mid := c + h/2*(4-k*c)
			c += h * (4 - k*mid)
		}
		got := After(80, 4, k, 100)
		if math.Abs(float64(got.Present)-c) > 1e-6*c || got.Present+got.Consumed != got.Supplied {
			t.Errorf("k = %g: %+v, integrated %g", k, got, c)
		}
	}
}

func TestOxygenIsKept(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		beer, gas := quantity.Volume(rapid.Float64Range(1, 1e6).Draw(rt, "beer")), quantity.Volume(rapid.Float64Range(0, 1e6).Draw(rt, "gas"))
		m := quantity.OxygenMass(1000)
		if c := Shared(m, beer, gas, 4); float64(c) > float64(Spread(m, beer))*(1+1e-12) || c <= 0 {
			rt.Fatalf("shared %g, spread %g", c, Spread(m, beer))
		}
		if c := Blend(Part{beer, 10}, Part{gas, 50}).DO; c < 10-1e-9 || c > 50+1e-9 {
			rt.Fatalf("a blend of 10 and 50 ppb is %g", c)
		}
	})
}

// The 3, 30, 300 days, their implied lines, and what lies between.
func TestMnemonic(t *testing.T) {
	for _, c := range []struct{ days, f float64 }{{3, 90}, {30, 72}, {300, 38}, {30 / math.Sqrt(10), 81}, {30 * math.Sqrt(10), 55}} {
		if got := Mnemonic([]Stay{{c.days, quantity.Temperature((c.f - 32) / 1.8)}}); math.Abs(got-1) > 1e-12 {
			t.Errorf("%g days at %g °F use %g", c.days, c.f, got)
		}
	}
}

func TestCautionsOnceAndInOrder(t *testing.T) {
	got := Cautions(HazardVacuum, HazardCO2, HazardVacuum)
	if len(got) != 3 || got[0].Code != HazardCO2 || got[1].Code != HazardVacuum || got[2].Text != Standing {
		t.Errorf("%v", got)
	}
}

func TestLevelsGetBetter(t *testing.T) {
	for kind, list := range levels {
		if len(list) != 4 {
			t.Fatalf("%s has %d levels", kind, len(list))
		}
		for i, l := range list {
			if l.Low > l.High || l.PickupLow > l.PickupHigh || len(l.Steps) == 0 || l.Key != []string{"none", "good", "better", "best"}[i] {
				t.Errorf("%s %s", kind, l.Key)
			}
			if i > 0 && (l.PickupHigh > list[i-1].PickupHigh || l.Low > list[i-1].Low || l.High > list[i-1].High) {
				t.Errorf("%s: %s is no better than %s", kind, l.Key, list[i-1].Key)
			}
		}
	}
}

// The limits are quoted as published: CO2 of OSHA (29 CFR 1910.1000, table Z-1)
// and NIOSH (Pocket Guide; IDLH documentation, 1994), oxygen-enriched air of OSHA
// (29 CFR 1910.134). None is called more than a quotation.
func TestQuotedLimits(t *testing.T) {
	for hazard, says := range map[string][]string{
		HazardCO2:    {"5,000 ppm over a shift (OSHA PEL, NIOSH REL)", "30,000 ppm for 15 min (NIOSH)", "40,000 ppm IDLH", "Your local limits govern"},
		HazardOxygen: {"above 23.5 %"},
	} {
		text := Cautions(hazard)[0].Text
		for _, s := range says {
			if !strings.Contains(text, s) {
				t.Errorf("%s does not say %q: %s", hazard, s, text)
			}
		}
	}
}
