package verdict

import (
	"cmp"
	"slices"
	"time"
)

// MeterCheck is one verification of a DO meter on record. Offset is what it read
// too high, ppb, with its standard uncertainty. Against says what it was held
// against (zero, air, other, meter, response); empty when not said.
type MeterCheck struct {
	At      time.Time `json:"at"`
	Outcome Check     `json:"outcome"`
	Against string    `json:"against,omitempty"`
	Offset  float64   `json:"offset_ppb,omitempty"`
	OffsetU float64   `json:"offset_u_ppb,omitempty"`
}

// proves tells that passing proves the meter. Its time of response, or agreement
// with another meter, can only cast doubt.
func (c *MeterCheck) proves() bool { return c.Against != "response" && c.Against != "meter" }

// usualCheckDays is how long a check is good for where nobody says: a week is
// common practice.
const usualCheckDays = 7

// MeterOf finds what the checks on record say of a meter whose first and last
// reading of a run are given. A check before counts as long as it is good for,
// everyDays (0: a week); so does the first one after. A check that failed while
// the run went on counts as the one after. A check against one thing does not
// mend what failed against another. The offset is that of a failed check.
func MeterOf(checks []MeterCheck, everyDays float64, first, last time.Time) Meter {
	if everyDays <= 0 {
		everyDays = usualCheckDays
	}
	good := time.Duration(everyDays * 24 * float64(time.Hour))
	checks = slices.Clone(checks)
	slices.SortStableFunc(checks, func(a, b MeterCheck) int {
		return cmp.Or(cmp.Compare(a.Against, b.Against), a.At.Compare(b.At))
	})
	var m Meter
	for from := 0; from < len(checks); {
		to := from + 1
		for to < len(checks) && checks[to].Against == checks[from].Against {
			to++
		}
		one := meterAgainst(checks[from:to], good, first, last)
		if one.After == Failed && one.Offset != 0 || m.Offset == 0 && m.OffsetU == 0 {
			m.Offset, m.OffsetU = one.Offset, one.OffsetU
		}
		proves := checks[from].proves()
		m.Before, m.After = worse(m.Before, one.Before, proves), worse(m.After, one.After, proves)
		from = to
	}
	return m
}

// worse joins the outcomes of checks against different things.
func worse(a, b Check, proves bool) Check {
	if a == Failed || b == Failed {
		return Failed
	}
	if b == Passed && proves {
		return Passed
	}
	return a
}

// meterAgainst is MeterOf of the checks against one thing, in the order of time.
func meterAgainst(checks []MeterCheck, good time.Duration, first, last time.Time) Meter {
	var m Meter
	for _, c := range checks {
		switch {
		case !c.At.After(first):
			m.Before = ""
			if c.Outcome == Failed || first.Sub(c.At) <= good { // it failed until it passes
				m.Before = c.Outcome
			}
		case c.At.Before(last):
			if c.Outcome == Failed {
				m.After, m.Offset, m.OffsetU = Failed, c.Offset, c.OffsetU
			}
		case m.After == "" && c.At.Sub(last) <= good:
			m.After = c.Outcome
			if c.Outcome == Failed {
				m.Offset, m.OffsetU = c.Offset, c.OffsetU
			}
		}
	}
	return m
}
