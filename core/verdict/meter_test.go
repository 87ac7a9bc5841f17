package verdict

import (
	"testing"
	"time"
)

func TestMeterOf(t *testing.T) {
	first := time.Date(2026, 3, 4, 7, 0, 0, 0, time.UTC)
	last := first.Add(3 * time.Hour)
	at := func(hours float64, o Check, offset float64) MeterCheck {
		return MeterCheck{At: first.Add(time.Duration(hours * float64(time.Hour))), Outcome: o, Offset: offset}
	}
	against := func(what string, c MeterCheck) MeterCheck { c.Against = what; return c }
	for _, c := range []struct {
		name   string
		checks []MeterCheck
		days   float64
		want   Meter
	}{
		{"none", nil, 0, Meter{}},
		{"both", []MeterCheck{at(-1, Passed, 0), at(20, Passed, 0)}, 0, Meter{Before: Passed, After: Passed}},
		{"the newest before counts, in any order", []MeterCheck{at(-1, Failed, 9), at(-30, Passed, 0)}, 0, Meter{Before: Failed}},
		{"too old", []MeterCheck{at(-8*24, Passed, 0)}, 0, Meter{}},
		{"not too old for this meter", []MeterCheck{at(-8*24, Passed, 0)}, 14, Meter{Before: Passed}},
		{"failed after, with its offset", []MeterCheck{at(-1, Passed, 0), at(20, Failed, 14), at(30, Passed, 0)}, 0, Meter{Before: Passed, After: Failed, Offset: 14}},
		{"failed in between", []MeterCheck{at(-1, Passed, 0), at(2, Failed, 5), at(20, Passed, 0)}, 0, Meter{Before: Passed, After: Failed, Offset: 5}},
		{"passed in between says nothing of the end", []MeterCheck{at(-1, Passed, 0), at(2, Passed, 0)}, 0, Meter{Before: Passed}},
		{"failed long ago and not mended", []MeterCheck{at(-30*24, Failed, 5)}, 0, Meter{Before: Failed}},
		{"a pass in zero gas mends no failure in air", []MeterCheck{against("air", at(-2, Failed, 0)), against("zero", at(-1, Passed, 0)), against("zero", at(20, Passed, 0))}, 0, Meter{Before: Failed, After: Passed}},
		{"until it passes in air", []MeterCheck{against("air", at(-2, Failed, 0)), against("air", at(-1.5, Passed, 0)), against("zero", at(-1, Passed, 0)), against("zero", at(20, Failed, 4))}, 0, Meter{Before: Passed, After: Failed, Offset: 4}},
		{"a fast meter is not proven by its speed", []MeterCheck{against("response", at(-2, Passed, 0)), against("meter", at(20, Passed, 0))}, 0, Meter{}},
		{"a slow one is in doubt", []MeterCheck{against("response", at(-2, Failed, 0)), against("zero", at(-1, Passed, 0))}, 0, Meter{Before: Failed}},
		{"too late after", []MeterCheck{at(24*10, Passed, 0)}, 0, Meter{}},
	} {
		if got := MeterOf(c.checks, c.days, first, last); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}
