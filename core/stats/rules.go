package stats

import (
	"fmt"
	"math"
)

// Rule is a pattern on a control chart, named by what it means.
type Rule string

const (
	BeyondLimits  Rule = "beyond_limits"    // one point beyond 3σ
	OneSide       Rule = "one_side"         // a run above, or below, the centre line
	SteadyTrend   Rule = "steady_trend"     // rising, or falling, point by point
	Alternating   Rule = "alternating"      // up and down by turns
	TwoOfThreeFar Rule = "two_of_three_far" // 2 of 3 beyond 2σ, same side
	FourOfFiveOff Rule = "four_of_five_off" // 4 of 5 beyond 1σ, same side
	HugsCentre    Rule = "hugs_centre"      // all within 1σ
	AvoidsCentre  Rule = "avoids_centre"    // none within 1σ, both sides present
)

// meanings are the words shown with a signal.
var meanings = map[Rule]string{
	BeyondLimits:  "outside the limits: a single special cause",
	OneSide:       "on one side of the centre line: the level has shifted",
	SteadyTrend:   "steadily rising or falling: a drift",
	Alternating:   "up and down by turns: two sources taken alternately, or over-adjustment",
	TwoOfThreeFar: "two of three far out on one side: a large shift begins",
	FourOfFiveOff: "four of five off centre on one side: a moderate shift",
	HugsCentre:    "too close to the centre: limits too wide, or sources mixed within a sample",
	AvoidsCentre:  "away from the centre on both sides: two levels mixed",
}

// Meaning says in words what a rule points at.
func (r Rule) Meaning() string { return meanings[r] }

// RunRule is a rule with the number of points that completes it. Length is
// ignored by the three rules whose name holds their count.
type RunRule struct {
	Rule   Rule `json:"rule"`
	Length int  `json:"length"`
}

// WesternElectric is the set of the Statistical Quality Control Handbook (1956):
// sensitive, about one false alarm in 92 points.
func WesternElectric() []RunRule {
	return []RunRule{{BeyondLimits, 1}, {TwoOfThreeFar, 3}, {FourOfFiveOff, 5}, {OneSide, 8}}
}

// Nelson is the set of eight tests of Nelson (1984).
func Nelson() []RunRule {
	return []RunRule{{BeyondLimits, 1}, {OneSide, 9}, {SteadyTrend, 6}, {Alternating, 14},
		{TwoOfThreeFar, 3}, {FourOfFiveOff, 5}, {HugsCentre, 15}, {AvoidsCentre, 8}}
}

// Signal is a completed pattern: its last point, its first, and the side.
type Signal struct {
	Rule    Rule   `json:"rule"`
	Index   int    `json:"index"`
	From    int    `json:"from"`
	Side    string `json:"side,omitempty"` // above, below, rising, falling or empty
	Meaning string `json:"meaning"`
}

// FindSignals applies rules to z = (value − centre)/σ. All inequalities are
// strict; a point on the centre line ends a run; a tie ends a trend and an
// alternation; the signal stands on the last point, which for the 2-of-3 and
// 4-of-5 rules must itself be in the zone, and those two may complete before 3
// or 5 points exist. NaN marks a missing point and ends
// every pattern. Signals come in order of index, then of rules.
func FindSignals(z []float64, rules []RunRule) ([]Signal, error) {
	for i, r := range rules {
		if meanings[r.Rule] == "" {
			return nil, &Error{Field: fmt.Sprintf("rules[%d]", i), Value: string(r.Rule),
				Message: "unknown rule", Mend: "use a rule of WesternElectric or Nelson"}
		}
		if n := r.points(); n < 1 {
			return nil, refuse(fmt.Sprintf("rules[%d].length", i), float64(n), "a pattern needs at least one point", "give its length")
		}
	}
	out := []Signal{}
	state := newRunState(z)
	for i := range z {
		state.step(i)
		for _, r := range rules {
			n := r.points()
			if side, hit := state.check(r.Rule, i, n); hit {
				out = append(out, Signal{r.Rule, i, max(0, i+1-n), side, r.Rule.Meaning()})
			}
		}
	}
	return out, nil
}

func (r RunRule) points() int {
	switch r.Rule {
	case BeyondLimits:
		return 1
	case TwoOfThreeFar:
		return 3
	case FourOfFiveOff:
		return 5
	}
	return r.Length
}

// runState counts, at the current point, how long each simple pattern has held.
type runState struct {
	z                                   []float64
	above, below, rise, fall, turns     int
	within, outside, outAbove, outBelow int // last index out above/below
	missing                             int // last index missing
}

func newRunState(z []float64) *runState {
	return &runState{z: z, outAbove: math.MinInt, outBelow: math.MinInt, missing: math.MinInt}
}

func count(n int, holds bool) int {
	if holds {
		return n + 1
	}
	return 0
}

func (s *runState) step(i int) {
	v := s.z[i]
	s.above = count(s.above, v > 0)
	s.below = count(s.below, v < 0)
	s.within = count(s.within, math.Abs(v) < 1)
	s.outside = count(s.outside, math.Abs(v) > 1)
	if v > 1 {
		s.outAbove = i
	}
	if v < -1 {
		s.outBelow = i
	}
	if math.IsNaN(v) {
		s.missing = i
	}
	d := math.NaN()
	if i > 0 {
		d = v - s.z[i-1]
	}
	s.rise = count(s.rise, d > 0)
	s.fall = count(s.fall, d < 0)
	switch {
	case d == 0 || math.IsNaN(d):
		s.turns = 0
	case i > 1 && d*(s.z[i-1]-s.z[i-2]) < 0:
		s.turns++
	default:
		s.turns = 1
	}
}

func (s *runState) check(r Rule, i, n int) (side string, hit bool) {
	v := s.z[i]
	switch r {
	case BeyondLimits:
		return sideOf(v), math.Abs(v) > 3
	case OneSide:
		return sideOf(v), max(s.above, s.below) >= n
	case SteadyTrend:
		if s.rise >= n-1 {
			return "rising", n > 1
		}
		return "falling", s.fall >= n-1
	case Alternating:
		return "", s.turns >= n-1
	case TwoOfThreeFar:
		return s.share(i, n, 2, 2)
	case FourOfFiveOff:
		return s.share(i, n, 4, 1)
	case HugsCentre:
		return "", s.within >= n
	case AvoidsCentre:
		return "", s.outside >= n && s.outAbove > i-n && s.outBelow > i-n
	}
	return "", false
}

// share tells whether need of the last n points lie beyond zone on the side of
// point i.
func (s *runState) share(i, n, need int, zone float64) (string, bool) {
	v := s.z[i]
	if !(math.Abs(v) > zone) || s.missing > i-n {
		return "", false
	}
	var k int
	for _, u := range s.z[max(0, i+1-n) : i+1] {
		if u*math.Copysign(1, v) > zone {
			k++
		}
	}
	return sideOf(v), k >= need
}

func sideOf(v float64) string {
	switch {
	case v > 0:
		return "above"
	case v < 0:
		return "below"
	}
	return ""
}
