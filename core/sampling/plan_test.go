package sampling

import (
	"math"
	"strings"
	"testing"

	"ullage/core/stats"
)

func count(p Plan, kind string) map[int]int {
	out := map[int]int{}
	for _, s := range p.Sets {
		for _, x := range s.Pulls {
			if x.Kind == kind && s.Occasion != "extra" {
				out[x.Head]++
			}
		}
	}
	return out
}

func TestPlan(t *testing.T) {
	p := must(Make(Input{Heads: 6, Minutes: 240, Every: 30}))
	shaken := count(p, "shaken")
	for h := 1; h <= 6; h++ {
		if shaken[h] < 3 {
			t.Errorf("head %d is pulled %d times in four hours", h, shaken[h])
		}
	}
	if first := p.Sets[0]; first.Occasion != "start" || len(first.Pulls) != 1+6+3 {
		t.Errorf("start set: %+v, want the inlet, each head, three pairs", first)
	}
	last := -1.0
	opened := 0
	for _, s := range p.Sets {
		if !math.IsNaN(s.Minute) && s.Minute <= last {
			t.Errorf("a set at minute %g follows one at %g", s.Minute, last)
		}
		last = s.Minute
		if s.Occasion == "extra" {
			continue
		}
		for i, x := range s.Pulls {
			if x.Kind != "inlet" {
				opened++
			}
			if x.Kind == "unshaken" && (s.Pulls[i+1].Kind != "shaken" || s.Pulls[i+1].Head != x.Head) {
				t.Errorf("unshaken of head %d has no shaken package after it", x.Head)
			}
		}
	}
	if opened != p.Packages {
		t.Errorf("%d packages opened, %d said", opened, p.Packages)
	}
	want := must(stats.GroupPower(6, p.Least, math.Log(1.5)/0.3, 0.05))
	if p.Power != want || p.Needed != must(stats.GroupCount(6, math.Log(1.5)/0.3, 0.05, 0.9)) {
		t.Errorf("power %g, want %g; needed %d", p.Power, want, p.Needed)
	}
}

// A budget is kept, the heads stay in rotation, and too small a one is refused.
func TestPlanBudget(t *testing.T) {
	for _, heads := range []int{1, 2, 6, 12, 16, 40} {
		before := 0
		for _, budget := range []int{15, 20, 30, 40, 80, 0} {
			p, err := Make(Input{Heads: heads, Minutes: 480, Every: 20, Budget: budget})
			if err != nil {
				t.Errorf("%d heads, %d packages: %v", heads, budget, err)
				continue
			}
			if budget > 0 && p.Packages > budget {
				t.Errorf("%d heads: %d packages of %d allowed", heads, p.Packages, budget)
			}
			if p.Packages < before {
				t.Errorf("%d heads: a larger budget gives fewer packages, %d after %d", heads, p.Packages, before)
			}
			before = p.Packages
			n := count(p, "shaken")
			most := 0
			for h := 1; h <= heads; h++ {
				most = max(most, n[h])
			}
			if most-p.Least > 1 {
				t.Errorf("%d heads, %d packages: a head is pulled %d times, another %d", heads, budget, most, p.Least)
			}
		}
	}
	_, err := Make(Input{Heads: 6, Budget: 5})
	if err == nil || !strings.Contains(err.Error(), "start set of 9") {
		t.Errorf("5 packages: %v", err)
	}
}

// A larger fault, less scatter and more packages are seen more surely.
func TestPlanSees(t *testing.T) {
	power := func(in Input) float64 { in.Heads = 6; return must(Make(in)).Power }
	base := power(Input{Fault: 1.5, Scatter: 0.3})
	for name, other := range map[string]float64{"a larger fault": power(Input{Fault: 2, Scatter: 0.3}), "less scatter": power(Input{Fault: 1.5, Scatter: 0.2}),
		"more sets": power(Input{Fault: 1.5, Scatter: 0.3, Every: 10})} {
		if other <= base {
			t.Errorf("%s: power %g, not above %g", name, other, base)
		}
	}
	one := must(Make(Input{Heads: 1}))
	if one.Power != 0 || !strings.Contains(strings.Join(one.Advice, " "), "One head") {
		t.Errorf("one head: %+v", one.Advice)
	}
}

func TestPlanRefuses(t *testing.T) {
	for field, in := range map[string]Input{"heads": {Heads: 0}, "fault": {Heads: 6, Fault: 1}, "hours": {Heads: 6, Minutes: 5}, "scatter": {Heads: 6, Scatter: 3},
		"every": {Heads: 6, Every: 1}, "power": {Heads: 6, Power: 0.2}, "cans": {Heads: 6, Budget: -1}} {
		if _, err := Make(in); err == nil || !strings.HasPrefix(err.Error(), field+": ") {
			t.Errorf("%s: %v", field, err)
		}
	}
	if _, err := Make(Input{Heads: 6, Fault: math.NaN()}); err == nil {
		t.Error("a fault of NaN is taken")
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// TestFault: ppb and standard errors say the same as a ratio.
func TestFault(t *testing.T) {
	ratio := must(Make(Input{Heads: 6, Fault: 1.5}))
	ppb := must(Make(Input{Heads: 6, FaultPPB: 40, Level: 80}))
	errors := must(Make(Input{Heads: 6, FaultSE: math.Log(1.5) / 0.3 * math.Sqrt(float64(ratio.Least))}))
	if ppb.Power != ratio.Power || math.Abs(errors.Power-ratio.Power) > 1e-9 || math.Abs(errors.Input.Fault-1.5) > 1e-9 {
		t.Errorf("%g, by ppb %g, by standard errors %g", ratio.Power, ppb.Power, errors.Power)
	}
	if _, err := Make(Input{Heads: 6, FaultPPB: 40}); err == nil || !strings.HasPrefix(err.Error(), "level_ppb: ") {
		t.Errorf("ppb without a level: %v", err)
	}
}

// TestCurve begins at one minus the risk of a false alarm for a given head, falls,
// and passes through the plan's own power.
func TestCurve(t *testing.T) {
	p := must(Make(Input{Heads: 16, Every: 10, Minutes: 480, Fault: 1.6}))
	if p.Least < 2 || len(p.Curve) == 0 || p.Curve[0].Fault != 1 || p.Curve[0].Missed < 0.95 {
		t.Fatalf("%d of each head, %v", p.Least, p.Curve)
	}
	before, near := 1.0, math.Inf(1)
	for _, x := range p.Curve {
		if x.Missed > before+1e-9 {
			t.Errorf("at %g times the others missed with %g, after %g", x.Fault, x.Missed, before)
		}
		before = x.Missed
		near = min(near, math.Abs(x.Missed-(1-p.Power))+math.Abs(x.Fault-1.6))
	}
	if before > 0.01 || near > 0.25 {
		t.Errorf("ends at %g; nearest to the plan's own point %g", before, near)
	}
}
