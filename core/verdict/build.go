package verdict

import (
	"math"
)

// build makes the column of a candidate.
func (s *scanner) build(family string, p place) term {
	t := term{family: family, from: s.f.at[0], to: math.Inf(1), tau: p.tau, amp: p.amp, floor: timeFloor, here: p.here, below: p.below}
	switch family {
	case famStartup:
		t.kind, t.x, t.from = KindStartup, s.startupColumn(p), 0
	case famRestart:
		t.kind, t.x, t.from = KindRestart, s.restartColumn(p), s.restarts()[0]
	case famDrift:
		t.kind, t.x = KindDrift, s.driftColumn(p)
	case famStep, famWindow, famEvent:
		t.kind = KindStep
		s.between(&t, p.a, p.b)
		if family == famEvent {
			t.event, t.from = s.r.events[p.event].kind, s.r.events[p.event].at
		} else {
			t.event = s.eventAt(&t, p.a)
		}
	case famHead:
		t.kind, t.head, t.x, t.floor = KindHead, s.f.heads[p.of], s.indicator(s.own[p.of]), s.hf[p.of]
	case famHeadFrom, famHeadSpan:
		rows := s.own[p.of]
		t.kind, t.head, t.x, t.floor = KindHead, s.f.heads[p.of], s.indicator(rows[p.a:p.b]), s.hf[p.of]
		t.from, t.last = s.f.at[rows[p.a]], s.f.at[rows[p.b-1]]
		if p.b < len(rows) {
			t.to = s.f.at[rows[p.b]]
		}
	case famStation:
		t.kind, t.station, t.floor = KindStation, s.f.stationNames[p.of], stationFloor
		t.x = make([]float64, s.f.n)
		for i, k := range s.f.station {
			if k == p.of {
				t.x[i] = 1
			}
		}
	case famLowFill:
		t.kind, t.x, t.floor = KindLowFill, s.indicator(s.lowRows()), stationFloor
	}
	return t
}

func (s *scanner) indicator(rows []int) []float64 {
	x := make([]float64, s.f.n)
	for _, i := range rows {
		x[i] = 1
	}
	return x
}

func (s *scanner) between(t *term, a, b int) {
	t.x = make([]float64, s.f.n)
	for i := a; i < b; i++ {
		t.x[i] = 1
	}
	t.from, t.last = s.f.at[a], s.f.at[b-1]
	if b < s.f.n {
		t.to = s.f.at[b]
	}
}

// eventAt names an event between the last row of the old level and the first of
// the new one, give or take a set, and moves the start of the term to it.
func (s *scanner) eventAt(t *term, a int) string {
	if a == 0 {
		return ""
	}
	before := s.f.at[max(0, a-3)]
	for _, e := range s.r.events {
		if e.kind != Start && e.kind != End && e.kind != Stop && e.at >= before && e.at <= t.from+1 {
			t.from = e.at
			return e.kind
		}
	}
	return ""
}
