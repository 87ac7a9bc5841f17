package way

import "cmp"

// OwnLimit is a limit of a point or the budget of a step that the brewery set: of
// one beer, or of all. A half left empty is the starting point's.
type OwnLimit struct {
	Beer  string   `json:"beer,omitempty"`  // id; empty: of all
	Point string   `json:"point,omitempty"` // this or step
	Step  string   `json:"step,omitempty"`
	Green *float64 `json:"green_ppb,omitempty"`
	Red   *float64 `json:"red_ppb,omitempty"`
}

// LimitsFor are those in force for a beer: its own before those of all, and of
// two alike the last. Points and steps without one have the starting points.
func LimitsFor(own []OwnLimit, beer string) ([]Limit, []Budget) {
	best := map[string]*OwnLimit{}
	for i := range own {
		l := &own[i]
		k := l.Point + "/" + l.Step
		if was := best[k]; (l.Beer == "" || l.Beer == beer) && (was == nil || l.Beer != "" || was.Beer == "") {
			best[k] = l
		}
	}
	var limits []Limit
	for _, p := range Points {
		if l := best[p+"/"]; l != nil {
			limits = append(limits, l.limit())
		}
	}
	var budgets []Budget
	for _, b := range DefaultBudgets() {
		if l := best["/"+b.Step]; l != nil {
			budgets = append(budgets, Budget{Step: b.Step, PPB: cmp.Or(orZero(l.Green), orZero(l.Red))})
		}
	}
	return limits, budgets
}

func (l *OwnLimit) limit() Limit {
	out := Limit{Point: l.Point}
	var start Limit
	for _, d := range DefaultLimits() {
		if d.Point == out.Point {
			start = d
		}
	}
	out.Green, out.Red = orZero(l.Green), orZero(l.Red)
	if l.Green == nil {
		out.Green = min(start.Green, out.Red)
	}
	if l.Red == nil {
		out.Red = max(start.Red, out.Green)
	}
	return out
}

func orZero(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}
