package verdict

import (
	"math"
	"slices"
)

// decay is ln(1 + a·exp(−t/τ)) over its value at 0: what a surge that falls
// exponentially in ppb looks like on the log scale.
func decay(since, tau, amp float64) float64 {
	if since < 0 || since > 12*tau {
		return 0
	}
	return math.Log1p(amp*math.Exp(-since/tau)) / math.Log1p(amp)
}

// shape is a candidate column that does not change while the fit does.
type shape struct {
	place
	x     []float64
	below []float64 // in the partner
}

// look scores shapes, which are made once.
func (s *scanner) look(m *fit, shapes *[]shape, taus, amps []float64, column func(*scanner, place) []float64) *tally {
	if *shapes == nil {
		for _, tau := range taus {
			for _, amp := range amps {
				p := place{of: -1, tau: tau, amp: amp}
				next := shape{p, column(s, p), nil}
				if s.partner != nil {
					next.below = column(s.partner.s, p)
				}
				*shapes = append(*shapes, next)
			}
		}
	}
	var t tally
	for _, c := range *shapes {
		var below mark
		if s.partner != nil && c.below != nil {
			below = s.partner.m.column(c.below, timeFloor)
		}
		s.see(&t, m.column(c.x, timeFloor), below, c.place)
	}
	return &t
}

func (s *scanner) startup(m *fit) *tally {
	return s.look(m, &s.startups, []float64{2, 4, 8, 16, 32}, []float64{0.5, 2, 8}, (*scanner).startupColumn)
}

func (s *scanner) startupColumn(p place) []float64 {
	x := make([]float64, s.f.n)
	for i, at := range s.f.at {
		x[i] = decay(math.Max(at, 0), p.tau, p.amp)
	}
	return x
}

// restarts are the moments from which packages may have suffered: after each
// restart, or after a stop without one.
func (s *scanner) restarts() []float64 {
	var out []float64
	stopped := math.NaN()
	for _, e := range s.r.events {
		switch e.kind {
		case Stop:
			if !math.IsNaN(stopped) {
				out = append(out, stopped)
			}
			stopped = e.at
		case Restart:
			out = append(out, e.at)
			stopped = math.NaN()
		}
	}
	if !math.IsNaN(stopped) {
		out = append(out, stopped)
	}
	return out
}

func (s *scanner) restart(m *fit) *tally {
	if len(s.restarts()) == 0 {
		return &tally{}
	}
	return s.look(m, &s.afterStops, []float64{0.7, 2, 5}, []float64{1, 4}, (*scanner).restartColumn)
}

func (s *scanner) restartColumn(p place) []float64 {
	x := make([]float64, s.f.n)
	for _, from := range s.restarts() {
		first, _ := slices.BinarySearch(s.f.at, from)
		for i := first; i < s.f.n && s.f.at[i] < from+8*p.tau; i++ {
			x[i] = math.Max(x[i], decay(s.f.at[i]-from, p.tau, p.amp))
		}
	}
	return x
}

func (s *scanner) drift(m *fit) *tally {
	if s.f.n < 6 || s.f.at[s.f.n-1] <= s.f.at[0] {
		return &tally{}
	}
	return s.look(m, &s.drifts, []float64{0}, []float64{0.01, 1, 4}, (*scanner).driftColumn)
}

// driftColumn is ln(1 + a·t) over its last value: a rise that is even in ppb, to
// 1 + a times the level of the run's first reading, on the log scale.
func (s *scanner) driftColumn(p place) []float64 {
	x := make([]float64, s.f.n)
	first, last := s.r.first, s.r.last
	for i, at := range s.f.at {
		x[i] = math.Log1p(p.amp*(at-first)/(last-first)) / math.Log1p(p.amp)
	}
	return x
}
