package report

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
	p := must(MakePlan(PlanInput{Heads: 6, Minutes: 240, Every: 30}))
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
			p, err := MakePlan(PlanInput{Heads: heads, Minutes: 480, Every: 20, Budget: budget})
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
	_, err := MakePlan(PlanInput{Heads: 6, Budget: 5})
	if err == nil || !strings.Contains(err.Error(), "start set of 9") {
		t.Errorf("5 packages: %v", err)
	}
}

// A larger fault, less scatter and more packages are seen more surely.
func TestPlanSees(t *testing.T) {
	power := func(in PlanInput) float64 { in.Heads = 6; return must(MakePlan(in)).Power }
	base := power(PlanInput{Fault: 1.5, Scatter: 0.3})
	for name, other := range map[string]float64{"a larger fault": power(PlanInput{Fault: 2, Scatter: 0.3}), "less scatter": power(PlanInput{Fault: 1.5, Scatter: 0.2}),
		"more sets": power(PlanInput{Fault: 1.5, Scatter: 0.3, Every: 10})} {
		if other <= base {
			t.Errorf("%s: power %g, not above %g", name, other, base)
		}
	}
	one := must(MakePlan(PlanInput{Heads: 1}))
	if one.Power != 0 || !strings.Contains(strings.Join(one.Advice, " "), "One head") {
		t.Errorf("one head: %+v", one.Advice)
	}
}

func TestPlanRefuses(t *testing.T) {
	for field, in := range map[string]PlanInput{"heads": {Heads: 0}, "fault": {Heads: 6, Fault: 1}, "hours": {Heads: 6, Minutes: 5}, "scatter": {Heads: 6, Scatter: 3},
		"every": {Heads: 6, Every: 1}, "power": {Heads: 6, Power: 0.2}, "cans": {Heads: 6, Budget: -1}} {
		if _, err := MakePlan(in); err == nil || !strings.HasPrefix(err.Error(), field+" ") {
			t.Errorf("%s: %v", field, err)
		}
	}
	if _, err := MakePlan(PlanInput{Heads: 6, Fault: math.NaN()}); err == nil {
		t.Error("a fault of NaN is taken")
	}
}
