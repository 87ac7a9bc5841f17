package verdict

import (
	"slices"
)

// steps up to the end, or down from the start: at each row.
func (s *scanner) steps(m *fit) *tally {
	var t tally
	for k := 3; k <= s.f.n-3; k++ {
		if s.f.at[k] == s.f.at[k-1] {
			continue
		}
		x, y := m.span(k, s.f.n, timeFloor), s.spanBelow(k, s.f.n, timeFloor)
		s.see(&t, x, y, place{a: k, b: s.f.n})
		s.see(&t, mark{-x.z, x.se}, mark{-y.z, y.se}, place{a: 0, b: k})
	}
	return &t
}

// boundaries are rows at which a span may begin or end, few enough for pairs.
func boundaries(n int) []int {
	step := max(1, (n+maxBoundaries-1)/maxBoundaries)
	var out []int
	for k := 0; k < n; k += step {
		out = append(out, k)
	}
	return append(out, n)
}

// windows that begin and end within the run.
func (s *scanner) windows(m *fit) *tally {
	var t tally
	cuts := boundaries(s.f.n)
	for i, a := range cuts {
		for _, b := range cuts[i+1:] {
			if a >= 3 && b <= s.f.n-3 && b-a >= 3 {
				s.see(&t, m.span(a, b, timeFloor), s.spanBelow(a, b, timeFloor), place{a: a, b: b})
			}
		}
	}
	return &t
}

// eventSteps begin at an event and last to the next of its kind or the end.
func (s *scanner) eventSteps(m *fit) *tally {
	var t tally
	for i, e := range s.r.events {
		if e.kind != TankChange && e.kind != GasChange && e.kind != Adjustment {
			continue
		}
		a, _ := slices.BinarySearch(s.f.at, e.at)
		if a < 2 || a > s.f.n-2 {
			continue
		}
		s.see(&t, m.span(a, s.f.n, timeFloor), s.spanBelow(a, s.f.n, timeFloor), place{a: a, b: s.f.n, event: i})
		for _, later := range s.r.events[i+1:] {
			if later.kind == TankChange || later.kind == GasChange || later.kind == Adjustment {
				if b, _ := slices.BinarySearch(s.f.at, later.at); b-a >= 2 && b <= s.f.n-2 {
					s.see(&t, m.span(a, b, timeFloor), s.spanBelow(a, b, timeFloor), place{a: a, b: b, event: i})
				}
				break
			}
		}
	}
	return &t
}
