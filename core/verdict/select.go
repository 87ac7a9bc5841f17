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
func threshold(alpha float64) float64 { return -math.Log(alpha) - 0.15 }

// choose finds the terms of a channel: forward by evidence, then each is taken
// out and the search repeated in its place until nothing changes. given are
// terms that other channels showed: they compete without the charge of a search,
// and what of them is left at the end needs to pass one single test only.
func choose(s *scanner, given []term, alpha float64) *fit {
	f := s.f
	s.given = given
	base := nuisances(f)
	need := threshold(alpha)
	m := newFit(f, base)
	for len(m.terms) < maxTerms+len(base) && f.n-len(m.terms) > 5 {
		t, e := s.best(m)
		if e < need {
			break
		}
		m = s.with(m.terms, t, e, need)
	}
	for range 2 {
		changed := false
		for j := len(m.terms) - 1; j >= len(base); j-- {
			rest := append(append([]term(nil), m.terms[:j]...), m.terms[j+1:]...)
			without := newFit(f, rest)
			t, e := s.best(without)
			switch {
			case e < need:
				m, changed = without, true
			case !same(t, m.terms[j]):
				m, changed = s.with(rest, t, e, need), true
			}
		}
		if !changed {
			break
		}
	}
	for _, g := range given {
		if t, ok := s.again(m, g); ok && t.z > givenScore && len(m.terms) < maxTerms+len(base) && !has(m.terms, t) {
			m = s.with(m.terms, t, 0, 0)
		}
	}
	return m
}

func has(list []term, t term) bool {
	for i := range list {
		if same(list[i], t) {
			return true
		}
	}
	return false
}

// with adds a term; its need is the score at which the evidence would just have
// been enough.
func (s *scanner) with(terms []term, t term, evidence, need float64) *fit {
	if evidence > 0 {
		t.need = math.Sqrt(math.Max(0, t.z*t.z-2*(evidence-need)))
		if t.below.se > 0 && t.family != famGiven {
			s.partner.parted(&t)
		}
	}
	return s.refine(newFit(s.f, append(append([]term(nil), terms...), t)))
}

const (
	famGiven   = "given"
	givenScore = 1.645 // one-sided 5 %: one place, nothing searched for
)

// again makes a term that another channel showed for this one; false where it
// touches nothing here.
func (s *scanner) again(m *fit, g term) (term, bool) {
	t := g
	t.family, t.need = famGiven, givenScore
	if g.below.se > 0 && s.f.channel == unshakenDO {
		t.need = math.Max(t.need, g.needBelow)
	}
	t.here, t.below = mark{}, mark{}
	t.x = make([]float64, s.f.n)
	switch g.kind {
	case KindDrift:
		if s.drift(m).n == 0 {
			return t, false
		}
		p := s.drift(m).at
		t.x, t.amp = s.driftColumn(p), p.amp
	case KindStartup:
		p := s.startup(m).at
		t.x, t.tau, t.amp = s.startupColumn(p), p.tau, p.amp
	case KindRestart:
		p := s.restart(m).at
		t.x, t.tau, t.amp = s.restartColumn(p), p.tau, p.amp
	case KindStep:
		for i, at := range s.f.at {
			if g.holds(at) {
				t.x[i] = 1
			}
		}
	case KindHead:
		for i, at := range s.f.at {
			if h := s.f.head[i]; h >= 0 && s.f.heads[h] == g.head && g.holds(at) {
				t.x[i] = 1
			}
		}
	default:
		return t, false
	}
	t.z = m.column(t.x, t.floor).z
	return t, t.z > 0
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
		t.x = s.restartColumn(p)
	case KindDrift:
		t.x = s.driftColumn(p)
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
