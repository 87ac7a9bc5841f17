package verdict

import (
	"math"
	"slices"
)

// headFloors are the ordinary spread between heads as each head has to stand out
// from it: that of the rules, as if seen in eight heads, joined with what the
// other heads of the run show robustly, so that a bad head does not hide itself
// (eq. J4).
func (s *scanner) headFloors(m *fit) []float64 {
	const trust = 8
	prior := s.r.rules.HeadSpread
	out := make([]float64, len(s.own))
	means, noise := make([]float64, len(s.own)), make([]float64, len(s.own))
	for h, rows := range s.own {
		out[h], means[h] = prior, math.NaN()
		if len(rows) < 2 {
			continue
		}
		means[h] = 0
		for _, i := range rows {
			means[h] += m.r[i] / float64(len(rows))
		}
		noise[h] = m.sd() * m.sd() / float64(len(rows))
	}
	for h := range out {
		var rest []float64
		var apart float64
		for k, v := range means {
			if k != h && !math.IsNaN(v) {
				rest = append(rest, v)
				apart += noise[k]
			}
		}
		k := float64(len(rest))
		if k < 4 {
			continue
		}
		between := (trust*prior*prior + k*(spread2(rest)-apart/k)) / (trust + k)
		out[h] = math.Sqrt(math.Max(between, prior*prior))
	}
	return out
}

// spread2 is the variance about the median, of values pulled in to 2.5 robust
// standard deviations.
func spread2(x []float64) float64 {
	mid := medianOf(x)
	bound := 2.5 * spreadOf(x, mid)
	var sum float64
	for _, v := range x {
		d := math.Min(math.Abs(v-mid), bound)
		sum += d * d
	}
	return sum / float64(len(x)-1)
}

func (s *scanner) headAll(m *fit) *tally {
	var t tally
	if len(s.own) < 2 {
		return &t
	}
	for h, rows := range s.own {
		if len(rows) >= 2 {
			s.see(&t, m.group(rows, s.hf[h]), s.headBelow(h), place{of: h})
		}
	}
	return &t
}

// headSpans are spans of one head, by running sums over its own rows: those
// that reach an end of the run, and those inside it.
func (s *scanner) headSpans(m *fit) (from, inside *tally) {
	from, inside = new(tally), new(tally)
	if len(s.own) < 2 {
		return from, inside
	}
	for h, rows := range s.own {
		n := len(rows)
		if n < 4 {
			continue
		}
		sums := newSums(m, rows)
		below, at, floor := s.sumsBelow(h)
		cuts := boundaries(n)
		for i, a := range cuts {
			for _, b := range cuts[i+1:] {
				if b-a < 2 || b-a == n {
					continue
				}
				t := inside
				if a == 0 || b == n {
					t = from
				}
				var liquid mark
				if below != nil {
					liquid = below.mark(at(a), at(b), floor)
				}
				s.see(t, sums.mark(a, b, s.hf[h]), liquid, place{a: a, b: b, of: h})
			}
		}
	}
	return from, inside
}

// sums are running sums of the residuals and the basis over some rows.
type sums struct {
	m *fit
	r []float64
	q [][]float64
}

func newSums(m *fit, rows []int) *sums {
	over := func(col []float64) []float64 {
		out := make([]float64, len(rows)+1)
		for k, i := range rows {
			out[k+1] = out[k] + col[i]
		}
		return out
	}
	s := &sums{m: m, r: over(m.r)}
	for _, q := range m.q {
		s.q = append(s.q, over(q))
	}
	return s
}

// mark scores the indicator of the rows from a to b of them.
func (s *sums) mark(a, b int, floor float64) mark {
	if b <= a {
		return mark{}
	}
	full := float64(b - a)
	zz := full
	for _, q := range s.q {
		c := q[b] - q[a]
		zz -= c * c
	}
	return s.m.score(s.r[b]-s.r[a], zz, full, floor)
}

// sumsBelow are those of a head in the partner, with where each of the head's
// own rows stands among them.
func (s *scanner) sumsBelow(h int) (sum *sums, at func(k int) int, floor float64) {
	rows, floor := s.partner.headRows(s.f.heads[h])
	if len(rows) == 0 {
		return nil, nil, 0
	}
	own := s.own[h]
	return newSums(s.partner.m, rows), func(k int) int {
		switch k {
		case 0:
			return 0
		case len(own):
			return len(rows)
		}
		at, _ := slices.BinarySearch(rows, s.partner.row[own[k]])
		return at
	}, floor
}

func (s *scanner) stations(m *fit) *tally {
	var t tally
	if len(s.f.stationNames) < 2 {
		return &t
	}
	rows := make([][]int, len(s.f.stationNames))
	for i, k := range s.f.station {
		if k >= 0 {
			rows[k] = append(rows[k], i)
		}
	}
	for k := range rows {
		if len(rows[k]) >= 2 && !s.isHead(rows[k]) {
			s.see(&t, m.group(rows[k], stationFloor), s.stationBelow(s.f.stationNames[k]), place{of: k})
		}
	}
	return &t
}

// isHead tells that a station gets all packages of one head and no others, as on
// a line with a closer for each lane: then it is the head.
func (s *scanner) isHead(rows []int) bool {
	h := s.f.head[rows[0]]
	if h < 0 || len(s.own[h]) != len(rows) {
		return false
	}
	for _, i := range rows {
		if s.f.head[i] != h {
			return false
		}
	}
	return true
}

func (s *scanner) lowFills(m *fit) *tally {
	var t tally
	if rows := s.lowRows(); len(rows) >= 2 && len(rows) < s.f.n/2 {
		t.see(m.group(rows, stationFloor).z, place{})
	}
	return &t
}

func (s *scanner) lowRows() []int {
	var rows []int
	for i, low := range s.f.low {
		if low {
			rows = append(rows, i)
		}
	}
	return rows
}
