package verdict

import "math"

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
	// Seen in TPO and unshaken DO together: the score of each, and what that of
	// unshaken DO had to pass.
	here, below mark
	needBelow   float64
	floor       float64 // spread such an effect has by itself, of ln reading
}

// apart is how many minutes the readings of a set may lie from one another.
const apart = 6

// holds tells whether a row of another channel, read with the same sets some
// minutes before or after, lies in the span.
func (t *term) holds(at float64) bool {
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
	a, b        int // rows, b left out
	of          int // head, station or restart; -1: all
	tau, amp    float64
	event       int
	here, below mark // of a candidate seen in two channels
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
	if g > t.max-30 { // less than that is lost in rounding
		t.sum += math.Exp(g - t.max)
	}
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
	rarity        = 4     // how much likelier a step at a logged event is than one without
	timeFloor     = 0.015 // of ln reading: a change in time worth naming
	stationFloor  = 0.03
)

// scanner looks for the next term of a channel.
type scanner struct {
	r       *run
	f       *frame
	own     [][]int   // rows of each head
	given   []term    // what other channels showed
	hf      []float64 // spread that heads have by themselves, of ln reading
	partner *partner  // unshaken DO, of TPO; or nil

	startups, afterStops, drifts []shape
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

// weight of a family before the readings speak, 1 on average. Families that ask
// for the largest effect before they are seen, heads and stations, get more of
// the false alarms that are allowed, and those that are seen early less; found by
// simulation (eq. J5). A fault of all heads that comes and goes unlogged is rare.
func weight(family string) float64 {
	switch family {
	case famStartup, famRestart:
		return .4
	case famDrift, famEvent:
		return .7
	case famStep:
		return .5
	case famWindow:
		return .2
	case famHead:
		return 1.8
	case famHeadFrom:
		return 1.7
	case famHeadSpan:
		return .6
	case famStation:
		return 1.5
	}
	return 1
}

// families is how many there are when a run has events, heads, stations and low
// fills; each of them that a run lacks makes a false alarm less likely.
const families = 10

// best is the family of the most evidence given the fit, with its best place.
// Evidence counts from that of all families looked at (eq. J5).
func (s *scanner) best(m *fit) (term, float64) {
	if s.partner != nil {
		s.partner.follow(m)
	}
	var found term
	top, choice, active := math.Inf(-1), math.Inf(-1), 0
	take := func(family string, t *tally) {
		if t.n > 0 {
			active++
		}
		e := t.evidence()
		e += math.Log(weight(family))
		likely := e
		if family == famEvent {
			likely += math.Log(rarity)
		}
		if likely > choice {
			top, choice = e, likely
			found = s.build(family, t.at)
			found.z = t.z
		}
	}
	once := func(kind, family string, look func(*fit) *tally) { // twice would only bend the shape
		if !has(m.terms, term{kind: kind}) {
			take(family, look(m))
		}
	}
	once(KindStartup, famStartup, s.startup)
	once(KindRestart, famRestart, s.restart)
	once(KindDrift, famDrift, s.drift)
	take(famStep, s.steps(m))
	take(famWindow, s.windows(m))
	take(famEvent, s.eventSteps(m))
	if s.f.channel != inletDO {
		s.hf = s.headFloors(m)
		take(famHead, s.headAll(m))
		from, span := s.headSpans(m)
		take(famHeadFrom, from)
		take(famHeadSpan, span)
		take(famStation, s.stations(m))
		take(famLowFill, s.lowFills(m))
	}
	if t, e := s.givens(m); e > choice {
		top, found = e, t
		active++
	}
	return found, top + math.Log(families/float64(max(active, 1)))
}

// givens offers what other channels showed: few places, so that it costs little.
func (s *scanner) givens(m *fit) (term, float64) {
	var t tally
	var list []term
	for _, g := range s.given {
		if x, ok := s.again(m, g); ok && !has(m.terms, x) {
			t.see(x.z, place{of: len(list)})
			list = append(list, x)
		}
	}
	e := t.evidence()
	if math.IsInf(e, -1) {
		return term{}, e
	}
	return list[t.at.of], e
}
