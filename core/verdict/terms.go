package verdict

import (
	"math"
	"slices"
)

// term is one column of the model. Columns of spans are 0 and 1; those of
// decays begin at 1.
type term struct {
	family   string
	kind     string
	x        []float64
	head     string  // empty: all
	station  string  // empty: all
	from, to float64 // minutes; the span it acts in
	last     float64 // minutes; its last row
	event    string  // that it begins with
	tau      float64 // minutes, of a decay
	amp      float64 // of a decay or drift: its excess over the level without it
	nuisance bool    // not searched for: in the record
	z        float64 // score when it was taken
	need     float64 // score that it had to pass
	floor    float64 // spread such an effect has by itself, of ln reading
}

// holds tells whether a row of another channel, read with the same sets some
// minutes before or after, lies in the span.
func (t *term) holds(at float64) bool {
	const apart = 6
	from, to := t.from-apart, t.to
	if t.event != "" {
		from = t.from
	}
	if t.last > 0 && !math.IsInf(t.to, 1) {
		to = math.Min(t.to, t.last+apart)
	}
	return at >= from && at < to
}

// place is a candidate, small enough to keep by the thousand.
type place struct {
	a, b     int // rows, b left out
	of       int // head, station or restart; -1: all
	tau, amp float64
	event    int
}

// tally is the evidence for one family of candidates: the log of the mean of
// exp(z²/2) over them, which charges a family for its size, and the best one
// (eq. J5).
type tally struct {
	max, sum float64
	n        int
	z        float64
	at       place
}

func (t *tally) see(z float64, p place) {
	t.n++
	g := 0.0
	if z > 0 {
		g = z * z / 2
	}
	if t.n == 1 || z > t.z {
		t.z, t.at = z, p
	}
	if g > t.max {
		t.sum = t.sum*math.Exp(t.max-g) + 1
		t.max = g
		return
	}
	t.sum += math.Exp(g - t.max)
}

func (t *tally) evidence() float64 {
	if t.n == 0 || t.z <= 0 {
		return math.Inf(-1)
	}
	return t.max + math.Log(t.sum/float64(t.n))
}

// Families of candidates.
const (
	famStartup    = "startup"
	famRestart    = "restart"
	famDrift      = "drift"
	famStep       = "step"
	famWindow     = "window"
	famEvent      = "event"
	famHead       = "head"
	famHeadFrom   = "head from or until"
	famHeadSpan   = "head span"
	famStation    = "station"
	famLowFill    = "low fill"
	maxBoundaries = 48
	rarity        = 4     // a fault of all heads that comes and goes unlogged is rarer than others by this
	timeFloor     = 0.015 // of ln reading: a change in time worth naming
	stationFloor  = 0.03
)

// scanner looks for the next term of a channel.
type scanner struct {
	given []term // what other channels showed
	r     *run
	f     *frame
	own   [][]int // rows of each head
	hf    float64 // spread that heads have by themselves, of ln reading
}

func newScanner(r *run, f *frame) *scanner {
	s := &scanner{r: r, f: f, own: make([][]int, len(f.heads))}
	for i, h := range f.head {
		if h >= 0 {
			s.own[h] = append(s.own[h], i)
		}
	}
	return s
}

// families is how many there are when a run has events, heads, stations and low
// fills; each of them that a run lacks makes a false alarm less likely.
const families = 10

// best is the family of the most evidence given the fit, with its best place.
// Evidence counts from that of all families looked at (eq. J5).
func (s *scanner) best(m *fit) (term, float64) {
	var found term
	top, active := math.Inf(-1), 0
	take := func(family string, t *tally) {
		if t.n > 0 {
			active++
		}
		e := t.evidence()
		if family == famWindow {
			e -= math.Log(rarity)
		}
		if e > top {
			top = e
			found = s.build(family, t.at)
			found.z = t.z
		}
	}
	take(famStartup, s.startup(m))
	take(famRestart, s.restart(m))
	take(famDrift, s.drift(m))
	take(famStep, s.steps(m))
	take(famWindow, s.windows(m))
	take(famEvent, s.eventSteps(m))
	if s.f.channel != inletDO {
		s.hf = s.headFloor(m)
		take(famHead, s.headAll(m))
		from, span := s.headSpans(m)
		take(famHeadFrom, from)
		take(famHeadSpan, span)
		take(famStation, s.stations(m))
		take(famLowFill, s.lowFills(m))
	}
	t := s.givens(m, &found, &top)
	if t {
		active++
	}
	return found, top + math.Log(families/float64(max(active, 1)))
}

// givens offers what other channels showed: few places, so that it costs little.
func (s *scanner) givens(m *fit, found *term, top *float64) bool {
	var t tally
	var list []term
	for _, g := range s.given {
		if x, ok := s.again(m, g); ok {
			t.see(x.z, place{of: len(list)})
			list = append(list, x)
		}
	}
	if e := t.evidence(); e > *top {
		*top, *found = e, list[t.at.of]
	}
	return t.n > 0
}

// decay is ln(1 + a·exp(−t/τ)) over its value at 0: what a surge that falls
// exponentially in ppb looks like on the log scale.
func decay(since, tau, amp float64) float64 {
	if since < 0 {
		return 0
	}
	return math.Log1p(amp*math.Exp(-since/tau)) / math.Log1p(amp)
}

func (s *scanner) startup(m *fit) *tally {
	var t tally
	for _, tau := range []float64{2, 4, 8, 16, 32} {
		for _, amp := range []float64{0.5, 2, 8} {
			p := place{tau: tau, amp: amp}
			t.see(m.column(s.startupColumn(p), timeFloor), p)
		}
	}
	return &t
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
	var t tally
	list := s.restarts()
	if len(list) == 0 {
		return &t
	}
	for _, tau := range []float64{0.7, 2, 5} {
		for _, amp := range []float64{1, 4} {
			p := place{of: -1, tau: tau, amp: amp}
			t.see(m.column(s.restartColumn(p, list), timeFloor), p)
		}
	}
	return &t
}

func (s *scanner) restartColumn(p place, list []float64) []float64 {
	x := make([]float64, s.f.n)
	for _, from := range list {
		first, _ := slices.BinarySearch(s.f.at, from)
		for i := first; i < s.f.n && s.f.at[i] < from+8*p.tau; i++ {
			x[i] = math.Max(x[i], decay(s.f.at[i]-from, p.tau, p.amp))
		}
	}
	return x
}

func (s *scanner) drift(m *fit) *tally {
	var t tally
	if s.f.n >= 6 && s.f.at[s.f.n-1] > s.f.at[0] {
		for _, amp := range []float64{0.01, 1, 4} {
			t.see(m.column(s.driftColumn(amp), timeFloor), place{amp: amp})
		}
	}
	return &t
}

// driftColumn is ln(1 + a·t) over its last value: a rise that is even in ppb, to
// 1 + a times the first level, on the log scale.
func (s *scanner) driftColumn(amp float64) []float64 {
	x := make([]float64, s.f.n)
	first, last := s.r.first, s.r.last
	for i, at := range s.f.at {
		x[i] = math.Log1p(amp*(at-first)/(last-first)) / math.Log1p(amp)
	}
	return x
}

// steps up to the end, or down from the start: at each row.
func (s *scanner) steps(m *fit) *tally {
	var t tally
	for k := 3; k <= s.f.n-3; k++ {
		if s.f.at[k] == s.f.at[k-1] {
			continue
		}
		z := m.span(k, s.f.n, timeFloor)
		t.see(z, place{a: k, b: s.f.n})
		t.see(-z, place{a: 0, b: k})
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
				t.see(m.span(a, b, timeFloor), place{a: a, b: b})
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
		t.see(m.span(a, s.f.n, timeFloor), place{a: a, b: s.f.n, event: i})
		for _, later := range s.r.events[i+1:] {
			if later.kind == TankChange || later.kind == GasChange || later.kind == Adjustment {
				if b, _ := slices.BinarySearch(s.f.at, later.at); b-a >= 2 && b <= s.f.n-2 {
					t.see(m.span(a, b, timeFloor), place{a: a, b: b, event: i})
				}
				break
			}
		}
	}
	return &t
}

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

// build makes the column of a candidate.
func (s *scanner) build(family string, p place) term {
	t := term{family: family, from: s.f.at[0], to: math.Inf(1), tau: p.tau, amp: p.amp, floor: timeFloor}
	switch family {
	case famStartup:
		t.kind, t.x, t.from = KindStartup, s.startupColumn(p), 0
	case famRestart:
		list := s.restarts()
		t.kind, t.x, t.from = KindRestart, s.restartColumn(p, list), list[0]
	case famDrift:
		t.kind, t.x = KindDrift, s.driftColumn(p.amp)
	case famStep, famWindow, famEvent:
		t.kind = KindStep
		s.between(&t, p.a, p.b)
		if family == famEvent {
			t.event, t.from = s.r.events[p.event].kind, s.r.events[p.event].at
		} else {
			t.event = s.eventAt(&t, p.a)
		}
	case famHead:
		t.kind, t.head, t.x, t.floor = KindHead, s.f.heads[p.of], s.indicator(s.own[p.of]), s.hf
	case famHeadFrom, famHeadSpan:
		rows := s.own[p.of]
		t.kind, t.head, t.x, t.floor = KindHead, s.f.heads[p.of], s.indicator(rows[p.a:p.b]), s.hf
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
