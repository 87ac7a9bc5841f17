package lab

import "fmt"

// SamplingPlan of a run: what it was made for, and the packages to pull. The
// calculation sampling-plan makes it; it is kept as made, so that a run that goes
// on does not change under the hands of those who follow it.
type SamplingPlan struct {
	Heads      int           `json:"heads"`
	Minutes    float64       `json:"minutes" doc:"expected running time"`
	EveryMin   float64       `json:"every_min" doc:"minutes between sets in steady running"`
	Fault      float64       `json:"fault" doc:"TPO of a faulty head over that of the others"`
	Scatter    float64       `json:"scatter" doc:"standard deviation of ln TPO between packages of one head"`
	Cans       int           `json:"cans,omitempty" doc:"packages that may be opened; 0: no limit"`
	MissRisk   float64       `json:"miss_risk,omitempty" doc:"consumer's risk: wanted chance to miss the fault"`
	FalseAlarm float64       `json:"false_alarm,omitempty" doc:"producer's risk: chance to name a head in a normal run"`
	Sets       []PlannedSet  `json:"sets" maxItems:"400"`
	Extra      []PlannedPull `json:"extra,omitempty" maxItems:"400" doc:"after a stop of more than 5 min, a change or an adjustment"`
}

// PlannedSet is a group of packages pulled together.
type PlannedSet struct {
	Occasion string        `json:"occasion" enum:"start,steady,end"`
	Minute   float64       `json:"minute" doc:"after the start of the run"`
	Pulls    []PlannedPull `json:"pulls" maxItems:"900"`
}

// PlannedPull is one package, or one reading at the inlet.
type PlannedPull struct {
	Kind string `json:"kind" enum:"shaken,unshaken,inlet"`
	Head int    `json:"head,omitempty"`
}

func (p *SamplingPlan) check(c *checker) {
	if p == nil {
		return
	}
	within := func(field string, v, low, high float64, unit string) { c.within("plan."+field, &v, low, high, unit) }
	within("heads", float64(p.Heads), 1, 400, "heads")
	within("minutes", p.Minutes, 1, 1440, "min")
	within("every_min", p.EveryMin, 1, 1440, "min")
	within("fault", p.Fault, 1, 100, "times")
	within("scatter", p.Scatter, 0.001, 5, "of ln TPO")
	within("cans", float64(p.Cans), 0, 100000, "packages")
	within("miss_risk", p.MissRisk, 0, 0.5, "")
	within("false_alarm", p.FalseAlarm, 0, 0.5, "")
	if len(p.Sets) > 400 || len(p.Extra) > 400 {
		c.add("plan.sets", len(p.Sets), "are more than 400", "plan fewer sets")
		return
	}
	pull := func(field string, x PlannedPull) {
		c.oneOf(field+".kind", x.Kind, "shaken", "unshaken", "inlet")
		if x.Head < 0 || x.Head > p.Heads || (x.Kind == "inlet") != (x.Head == 0) {
			c.add(field+".head", x.Head, "is no head of this plan", "give 1 to the number of heads, and none at the inlet")
		}
	}
	last := -1.0
	for i, s := range p.Sets {
		field := fmt.Sprintf("plan.sets[%d]", i)
		c.oneOf(field+".occasion", s.Occasion, "start", "steady", "end")
		if !(s.Minute > last && s.Minute <= 1440) {
			c.add(field+".minute", s.Minute, "does not come after the set before", "order the sets by time, within a day")
		}
		last = s.Minute
		for j, x := range s.Pulls {
			pull(fmt.Sprintf("%s.pulls[%d]", field, j), x)
		}
	}
	for i, x := range p.Extra {
		pull(fmt.Sprintf("plan.extra[%d]", i), x)
	}
}
