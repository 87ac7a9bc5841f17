package way

import "slices"

// Source is what a place is made of: places that were read, with their shares, what
// additions brought, and the steps between.
type Source struct {
	Parts []Link
	Dosed float64
	Ops   []string
	Lost  float64 // share that nothing is known of
	Moves []string
}

// Renormalise takes what nothing is known of as the rest is.
func (s *Source) Renormalise() {
	sum := 0.0
	for _, p := range s.Parts {
		sum += p.Share
	}
	for i := range s.Parts {
		s.Parts[i].Share *= (sum + s.Lost) / sum
	}
	s.Lost = 0
}

// Inflow collects what flows into a place, through those that were not read.
func (w *Way) Inflow(i int) Source {
	v := &w.Places[i]
	s := Source{Dosed: v.Dosed, Ops: slices.Clone(v.Ops)}
	if v.Move != "" {
		s.Moves = []string{v.Move}
	}
	for _, l := range v.In {
		if u := &w.Places[l.From]; u.Known {
			s.take(Link{l.From, l.Share, l.Volume})
			continue
		} else if len(u.In) == 0 {
			s.Lost += l.Share
			continue
		}
		up := w.Inflow(l.From)
		s.Dosed += l.Share * up.Dosed
		s.Lost += l.Share * up.Lost
		for _, p := range up.Parts {
			s.take(Link{p.From, l.Share * p.Share, p.Volume})
		}
		s.Ops = Union(up.Ops, s.Ops)
		s.Moves = Union(up.Moves, s.Moves)
	}
	return s
}

func (s *Source) take(l Link) {
	for i := range s.Parts {
		if s.Parts[i].From == l.From {
			s.Parts[i].Share += l.Share
			return
		}
	}
	s.Parts = append(s.Parts, l)
}

// Union of two lists, in their order.
func Union(a, b []string) []string {
	out := slices.Clone(a)
	for _, x := range b {
		if !slices.Contains(out, x) {
			out = append(out, x)
		}
	}
	return out
}
