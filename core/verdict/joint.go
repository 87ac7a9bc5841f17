package verdict

import (
	"math"
	"slices"
)

// mark is a score with the standard error it is over, of ln reading.
type mark struct{ z, se float64 }

// partner is unshaken DO looked at beside TPO. Oxygen that came in with the
// liquid raises both by the same ppb: two scores of which each would pass for
// chance may be one cause together (eq. J9).
type partner struct {
	s   *scanner
	m   *fit
	own []term // what unshaken DO showed, by itself or when asked
	row []int  // of each row of TPO: the first one of unshaken DO not before it
	// Levels, ppb: the higher one is, the less an excess is on the log scale.
	level, levelTPO float64
}

// beside makes unshaken DO the partner of TPO; nil where it has too few readings.
func (s *scanner) beside(other *scanner, m *fit) {
	s.partner = nil
	if other == nil || m == nil || s.f.channel != packageTPO {
		return
	}
	p := &partner{s: other, own: m.terms, level: level(other.f), levelTPO: level(s.f)}
	p.row = make([]int, s.f.n+1)
	p.row[s.f.n] = other.f.n
	for k := 1; k < s.f.n; k++ {
		between := (s.f.at[k-1] + s.f.at[k]) / 2
		p.row[k], _ = slices.BinarySearch(other.f.at, max(between, s.f.at[k]-apart))
	}
	s.partner = p
}

func level(f *frame) float64 {
	var sum float64
	for _, y := range f.y {
		sum += y
	}
	return math.Exp(sum / float64(f.n))
}

// follow fits the partner with what it showed by itself, and with what the
// model of TPO holds: what is looked for must not be taken out of it.
func (p *partner) follow(m *fit) {
	var terms []term
	for _, t := range p.own {
		if t.family != famGiven || has(m.terms, t) {
			terms = append(terms, t)
		}
	}
	if p.m == nil || len(p.m.terms) != len(terms) {
		p.m = newFit(p.s.f, terms)
		p.s.hf = p.s.headFloors(p.m)
	}
}

// see enters a candidate by itself and, if the liquid has readings of it too,
// together with them.
func (s *scanner) see(t *tally, here, below mark, p place) {
	t.see(here.z, p)
	if below.se <= 0 || here.se <= 0 {
		return
	}
	p.here, p.below = here, below
	a, b := s.partner.weights(here, below)
	t.see(a*here.z+b*below.z, p)
}

// weights of the two scores for the same excess in ppb; their squares add to 1.
func (p *partner) weights(here, below mark) (a, b float64) {
	a, b = 1/(p.levelTPO*here.se), 1/(p.level*below.se)
	norm := math.Hypot(a, b)
	return a / norm, b / norm
}

// parted turns the need of a joint score into those of either channel, given
// what the other one read.
func (p *partner) parted(t *term) {
	a, b := p.weights(t.here, t.below)
	need := t.need
	t.z = t.here.z
	t.need = (need - b*t.below.z) / a
	t.needBelow = (need - a*t.here.z) / b
}

// spanBelow scores rows a to b of TPO in the partner.
func (s *scanner) spanBelow(a, b int, floor float64) mark {
	if s.partner == nil {
		return mark{}
	}
	c, d := s.partner.row[a], s.partner.row[b]
	if d <= c {
		return mark{}
	}
	return s.partner.m.span(c, d, floor)
}

// headBelow scores a head of TPO in the partner.
func (s *scanner) headBelow(h int) mark {
	rows, floor := s.partner.headRows(s.f.heads[h])
	if len(rows) == 0 {
		return mark{}
	}
	return s.partner.m.group(rows, floor)
}

// headRows of the partner, with the ordinary spread between heads.
func (p *partner) headRows(name string) ([]int, float64) {
	if p == nil {
		return nil, 0
	}
	k := slices.Index(p.s.f.heads, name)
	if k < 0 {
		return nil, 0
	}
	return p.s.own[k], p.s.hf[k]
}

// stationBelow scores a closing station of TPO in the partner.
func (s *scanner) stationBelow(name string) mark {
	rows := s.partner.stationRows(name)
	if len(rows) == 0 {
		return mark{}
	}
	return s.partner.m.group(rows, stationFloor)
}

// stationRows of the partner, of a station of TPO.
func (p *partner) stationRows(name string) []int {
	if p == nil {
		return nil
	}
	k := slices.Index(p.s.f.stationNames, name)
	if k < 0 {
		return nil
	}
	var rows []int
	for i, st := range p.s.f.station {
		if st == k {
			rows = append(rows, i)
		}
	}
	return rows
}
