package lab

import (
	"strings"
	"testing"
)

// TestSamplingPlan: a plan that cannot be followed is refused by its field.
func TestSamplingPlan(t *testing.T) {
	good := func() *SamplingPlan {
		return &SamplingPlan{Heads: 6, Minutes: 240, EveryMin: 30, Fault: 1.5, Scatter: 0.3,
			Sets: []PlannedSet{{"start", 1, []PlannedPull{{"inlet", 0}, {"unshaken", 1}, {"shaken", 1}}}, {"end", 230, []PlannedPull{{"shaken", 6}}}}}
	}
	for field, spoil := range map[string]func(*SamplingPlan){
		"":                           func(*SamplingPlan) {},
		"plan.heads":                 func(p *SamplingPlan) { p.Heads = 401 },
		"plan.sets[1].minute":        func(p *SamplingPlan) { p.Sets[1].Minute = 1 },
		"plan.sets[0].pulls[2].head": func(p *SamplingPlan) { p.Sets[0].Pulls[2].Head = 7 },
		"plan.sets[0].pulls[0].head": func(p *SamplingPlan) { p.Sets[0].Pulls[0].Head = 1 },
		"plan.extra[0].kind":         func(p *SamplingPlan) { p.Extra = []PlannedPull{{"open", 1}} },
	} {
		p := good()
		spoil(p)
		var c checker
		p.check(&c)
		var got []string
		for _, f := range c.faults {
			got = append(got, f.Field)
		}
		if strings.Join(got, " ") != field {
			t.Errorf("%q: %v", field, c.faults)
		}
	}
}
