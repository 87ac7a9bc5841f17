package verdict

import (
	"slices"
	"time"
)

// MeterCheck is one verification of a DO meter on record. Offset is what it read
// too high, ppb, with its standard uncertainty.
type MeterCheck struct {
	At      time.Time `json:"at"`
	Outcome Check     `json:"outcome"`
	Offset  float64   `json:"offset_ppb,omitempty"`
	OffsetU float64   `json:"offset_u_ppb,omitempty"`
}

// usualCheckDays is how long a check is good for where nobody says: a week is
// common practice.
const usualCheckDays = 7

// MeterOf finds what the checks on record say of a meter whose first and last
// reading of a run are given. A check before counts as long as it is good for,
// everyDays (0: a week); so does the first one after. A check that failed while
// the run went on counts as the one after. The offset is that of a failed check.
func MeterOf(checks []MeterCheck, everyDays float64, first, last time.Time) Meter {
	if everyDays <= 0 {
		everyDays = usualCheckDays
	}
	good := time.Duration(everyDays * 24 * float64(time.Hour))
	checks = slices.Clone(checks)
	slices.SortStableFunc(checks, func(a, b MeterCheck) int { return a.At.Compare(b.At) })
	var m Meter
	for _, c := range checks {
		switch {
		case !c.At.After(first):
			m.Before = ""
			if first.Sub(c.At) <= good {
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
