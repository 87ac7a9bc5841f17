package verdict

import (
	"math"
	"slices"
)

// maxTerms bounds a model: more causes than that in one run are one disorder.
const maxTerms = 7

// threshold of evidence for a term, so that a run without a fault gets one in
// at most the share alpha of cases. A ratio of likelihoods above 1/alpha is
// seen in a share alpha at most; the rest was found by simulation (eq. J5).
func threshold(alpha float64) float64 { return -math.Log(alpha) - 0.1 }

// choose finds the terms of a channel: forward by evidence, then each is taken
// out and the search repeated in its place until nothing changes. given are
// terms that another channel showed; they are kept only where they score here.
func choose(r *run, f *frame, given []term, alpha float64) *fit {
	s := newScanner(r, f)
	base := nuisances(f)
	need := threshold(alpha)
	kept := append([]term(nil), base...)
	for _, g := range given {
		if t, ok := s.again(newFit(f, kept), g); ok {
			kept = append(kept, t)
		}
	}
	m := s.refine(newFit(f, kept))
	for len(m.terms) < maxTerms+len(base) && f.n-len(m.terms) > 5 {
		t, e := s.best(m)
		if e < need {
			break
		}
		t.need = math.Sqrt(math.Max(0, t.z*t.z-2*(e-need)))
		m = s.refine(newFit(f, append(append([]term(nil), m.terms...), t)))
	}
	for range 2 {
		changed := false
		for j := len(m.terms) - 1; j >= len(base); j-- {
			if j >= len(m.terms) {
				continue
			}
			rest := append(append([]term(nil), m.terms[:j]...), m.terms[j+1:]...)
			without := newFit(f, rest)
			old := m.terms[j]
			t, e := s.best(without)
			t.need = math.Sqrt(math.Max(0, t.z*t.z-2*(e-need)))
			switch {
			case old.family == famGiven && e < need:
				continue
			case e < need:
				m, changed = without, true
			case !same(t, old) && old.family != famGiven:
				m, changed = s.refine(newFit(f, append(rest, t))), true
			}
		}
		if !changed {
			break
		}
	}
	return m
}

const (
	famGiven   = "given"
	givenScore = 1.645 // one-sided 5 %: one place, nothing searched for
)

// again makes a term that another channel showed for this one, if it scores
// above 1.645 there: it was found elsewhere, so nothing is searched for.
func (s *scanner) again(m *fit, g term) (term, bool) {
	t := g
	t.family, t.need = famGiven, givenScore
	t.x = make([]float64, s.f.n)
	switch g.kind {
	case KindDrift:
		if s.f.n < 2 || s.f.at[s.f.n-1] <= s.f.at[0] {
			return t, false
		}
		best := s.drift(m)
		t.x, t.amp = s.driftColumn(best.at.amp), best.at.amp
	case KindStartup:
		best := s.startup(m)
		t.x, t.tau, t.amp = s.startupColumn(best.at), best.at.tau, best.at.amp
	case KindRestart:
		list := s.restarts()
		best := s.restart(m)
		t.x, t.tau, t.amp = s.restartColumn(best.at, list), best.at.tau, best.at.amp
	case KindStep:
		for i, at := range s.f.at {
			if at >= g.from && at < g.to {
				t.x[i] = 1
			}
		}
	case KindHead:
		for i, at := range s.f.at {
			if h := s.f.head[i]; h >= 0 && s.f.heads[h] == g.head && at >= g.from && at < g.to {
				t.x[i] = 1
			}
		}
	default:
		return t, false
	}
	t.z = m.column(t.x, t.floor)
	return t, t.z > givenScore
}

func same(a, b term) bool {
	if a.kind == KindStartup || a.kind == KindRestart || a.kind == KindDrift {
		return a.kind == b.kind
	}
	return a.kind == b.kind && a.head == b.head && a.station == b.station && a.from == b.from && a.to == b.to
}

// refine makes the shape of decays and drifts agree with their size: even in
// ppb, not in logarithms, with the time constant of the smallest residual.
func (s *scanner) refine(m *fit) *fit {
	for j := range m.terms {
		if k := m.terms[j].kind; k != KindStartup && k != KindRestart && k != KindDrift {
			continue
		}
		for range 4 {
			beta := m.solve().beta[j+1]
			next := m.terms[j]
			next.amp = math.Min(math.Max(math.Expm1(beta), 0.05), 60)
			m = s.reshaped(m, j, next)
			for _, k := range []float64{0.8, 1.25} {
				if next.kind == KindDrift {
					break
				}
				tried := m.terms[j]
				tried.tau = math.Min(math.Max(tried.tau*k, 0.5), 60)
				if other := s.reshaped(m, j, tried); other.rss < m.rss {
					m = other
				}
			}
		}
	}
	return m
}

func (s *scanner) reshaped(m *fit, j int, t term) *fit {
	p := place{tau: t.tau, amp: t.amp}
	switch t.kind {
	case KindStartup:
		t.x = s.startupColumn(p)
	case KindRestart:
		t.x = s.restartColumn(p, s.restarts())
	case KindDrift:
		t.x = s.driftColumn(t.amp)
	}
	terms := append([]term(nil), m.terms...)
	terms[j] = t
	return newFit(s.f, terms)
}

// nuisances are columns that the record itself asks for: late readings.
func nuisances(f *frame) []term {
	if slices.Max(f.late) == 0 {
		return nil
	}
	return []term{{family: KindLate, kind: KindLate, x: f.late, from: f.at[0], to: math.Inf(1), nuisance: true}}
}
