package cellar

import "slices"

// source is what a vertex is made of: read vertices with their shares, what
// additions brought, and the steps between.
type source struct {
	parts []link
	dosed float64
	ops   []string
	lost  float64 // share that nothing is known of
	moves []string
}

func (s *source) renormalise() {
	sum := 0.0
	for _, p := range s.parts {
		sum += p.share
	}
	for i := range s.parts {
		s.parts[i].share *= (sum + s.lost) / sum
	}
	s.lost = 0
}

// inflow collects what flows into a vertex, through those that were not read.
func (w *way) inflow(i int) source {
	v := &w.list[i]
	s := source{dosed: v.dosed, ops: slices.Clone(v.ops)}
	if v.move != "" {
		s.moves = []string{v.move}
	}
	for _, l := range v.in {
		if u := &w.list[l.from]; u.known {
			s.take(link{l.from, l.share, l.volume})
			continue
		} else if len(u.in) == 0 {
			s.lost += l.share
			continue
		}
		up := w.inflow(l.from)
		s.dosed += l.share * up.dosed
		s.lost += l.share * up.lost
		for _, p := range up.parts {
			s.take(link{p.from, l.share * p.share, p.volume})
		}
		s.ops = union(up.ops, s.ops)
		s.moves = union(up.moves, s.moves)
	}
	return s
}

func (s *source) take(l link) {
	for i := range s.parts {
		if s.parts[i].from == l.from {
			s.parts[i].share += l.share
			return
		}
	}
	s.parts = append(s.parts, l)
}

func union(a, b []string) []string {
	out := slices.Clone(a)
	for _, x := range b {
		if !slices.Contains(out, x) {
			out = append(out, x)
		}
	}
	return out
}
