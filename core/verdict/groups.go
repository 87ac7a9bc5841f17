package verdict

import (
	"math"
)

// headFloor is the ordinary spread between heads: that of the rules, as if seen
// in eight heads, joined with what the run shows robustly, so that one bad head
// does not hide itself (eq. J4).
func (s *scanner) headFloor(m *fit) float64 {
	const trust = 8
	prior := s.r.rules.HeadSpread
	var means []float64
	var noise float64
	for _, rows := range s.own {
		if len(rows) < 2 {
			continue
		}
		var sum float64
		for _, i := range rows {
			sum += m.r[i]
		}
		means = append(means, sum/float64(len(rows)))
		noise += m.sd() * m.sd() / float64(len(rows))
	}
	k := float64(len(means))
	if k < 5 {
		return prior
	}
	seen := spreadOf(means, medianOf(means))
	between := math.Max(0, seen*seen-noise/k)
	return math.Sqrt((trust*prior*prior + k*between) / (trust + k))
}

func (s *scanner) headAll(m *fit) *tally {
	var t tally
	if len(s.own) < 2 {
		return &t
	}
	for h, rows := range s.own {
		if len(rows) >= 2 {
			t.see(s.group(m, rows, s.hf), place{of: h})
		}
	}
	return &t
}

// group scores the indicator of some rows.
func (s *scanner) group(m *fit, rows []int, floor float64) float64 {
	full := float64(len(rows))
	zz, d := full, 0.0
	for _, i := range rows {
		d += m.r[i]
	}
	for _, q := range m.q {
		c := 0.0
		for _, i := range rows {
			c += q[i]
		}
		zz -= c * c
	}
	return m.score(d, zz, full, floor)
}

// headSpans are spans of one head, by running sums over its own rows: those
// that reach an end of the run, and those inside it.
func (s *scanner) headSpans(m *fit) (from, inside *tally) {
	from, inside = new(tally), new(tally)
	if len(s.own) < 2 {
		return from, inside
	}
	sums := make([][]float64, len(m.q)+1)
	for h, rows := range s.own {
		n := len(rows)
		if n < 4 {
			continue
		}
		for j := range sums {
			col := m.r
			if j > 0 {
				col = m.q[j-1]
			}
			sums[j] = append(sums[j][:0], 0)
			for k, i := range rows {
				sums[j] = append(sums[j], sums[j][k]+col[i])
			}
		}
		cuts := boundaries(n)
		for i, a := range cuts {
			for _, b := range cuts[i+1:] {
				if b-a < 2 || b-a == n {
					continue
				}
				full := float64(b - a)
				zz := full
				for _, q := range sums[1:] {
					c := q[b] - q[a]
					zz -= c * c
				}
				t := inside
				if a == 0 || b == n {
					t = from
				}
				t.see(m.score(sums[0][b]-sums[0][a], zz, full, s.hf), place{a: a, b: b, of: h})
			}
		}
	}
	return from, inside
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
			t.see(s.group(m, rows[k], stationFloor), place{of: k})
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
		t.see(s.group(m, rows, stationFloor), place{})
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
