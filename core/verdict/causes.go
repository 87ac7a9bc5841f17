package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// share of the allowed false alarms that each channel may spend.
var share = [3]float64{0.05, 0.1, 0.85}

// found is a cause before it is put into words.
type found struct {
	term
	effect
	channel  int
	also     []string // other channels that show it
	headside bool     // in the headspace: unshaken DO does not show it
	said     string   // extra evidence
}

// causes of a run: each channel is fitted in the order of the beer, and what
// one shows is offered to the others; then once more, so that they agree.
func (r *run) causes() (list []found, fits [3]*fit) {
	var scanners [3]*scanner
	for c := range scanners {
		if f := r.frame(c); f.n >= 6 {
			scanners[c] = newScanner(r, f)
		}
	}
	for range 2 {
		for c, s := range scanners {
			if s == nil {
				continue
			}
			alpha := r.rules.FalseAlarm * share[c]
			if c == 2 && scanners[0] == nil && scanners[1] == nil {
				alpha = r.rules.FalseAlarm
			}
			s.beside(scanners[1], fits[1])
			fits[c] = choose(s, shown(fits, c), alpha)
		}
	}
	agree(scanners, &fits)
	for c, m := range fits {
		if m == nil {
			continue
		}
		s := m.solve()
		for j := range m.terms {
			x := found{term: m.terms[j], effect: m.sizeOf(j, &s), channel: c}
			switch {
			case !x.nuisance:
				list = r.join(list, x)
			case c == 2 || fits[2] == nil:
				list = append(list, x)
			}
		}
	}
	for i := range list {
		r.classify(&list[i], fits)
	}
	return merged(list), fits
}

// merged adds up what came out as one cause in two terms: the low fills of a
// head, and the rest of that head.
func merged(list []found) []found {
	var out []found
	for _, x := range list {
		i := slices.IndexFunc(out, func(o found) bool { return o.kind == KindLowFill && x.kind == o.kind && x.head == o.head })
		if i < 0 {
			out = append(out, x)
			continue
		}
		o := &out[i]
		o.ppb, o.low, o.high, o.runMean = o.ppb+x.ppb, o.low+x.low, o.high+x.high, o.runMean+x.runMean
		o.rows, o.errors, o.said = max(o.rows, x.rows), math.Max(o.errors, x.errors), cmp.Or(o.said, x.said)
		o.from, o.to = math.Min(o.from, x.from), math.Max(o.to, x.to)
	}
	return out
}

// agree looks for one change in time that two channels took for different
// things, a step in one and a drift in the other, say. The channel whose fit
// loses less takes the other's term, unless it speaks clearly against it.
func agree(scanners [3]*scanner, fits *[3]*fit) {
	const clearly = 6 // −2 ln of a likelihood ratio of 1:20
	for c := 2; c > 0; c-- {
		for d := c - 1; d >= 0; d-- {
			if fits[c] == nil || fits[d] == nil {
				continue
			}
			i, j := unlike(fits[c].terms, fits[d].terms), unlike(fits[d].terms, fits[c].terms)
			if i < 0 || j < 0 {
				continue
			}
			here, lossHere := scanners[c].swap(fits[c], i, fits[d].terms[j])
			there, lossThere := scanners[d].swap(fits[d], j, fits[c].terms[i])
			switch {
			case math.Min(lossHere, lossThere) > clearly:
			case lossHere <= lossThere:
				fits[c] = here
			default:
				fits[d] = there
			}
		}
	}
}

// unlike is the first change in time of a that b has nothing like; -1 if none.
func unlike(a, b []term) int {
	for i := range a {
		t := &a[i]
		if t.nuisance || t.kind != KindStep && t.kind != KindDrift && t.kind != KindStartup {
			continue
		}
		if !slices.ContainsFunc(b, func(o term) bool { return o.kind == t.kind && (o.kind != KindStep || math.Abs(o.from-t.from) < 20) }) {
			return i
		}
	}
	return -1
}

// swap puts another channel's term in the place of one; the loss is the rise of
// −2 ln likelihood.
func (s *scanner) swap(m *fit, i int, g term) (*fit, float64) {
	rest := append(append([]term(nil), m.terms[:i]...), m.terms[i+1:]...)
	t, ok := s.again(newFit(s.f, rest), g)
	if !ok || t.z < givenScore {
		return m, math.Inf(1)
	}
	t.need = m.terms[i].need
	other := s.with(rest, t, 0, 0)
	return other, (other.rss - m.rss) / (m.sd() * m.sd())
}

// shown are the terms that the other channels found by themselves.
func shown(fits [3]*fit, but int) []term {
	var out []term
	for c, m := range fits {
		if m == nil || c == but {
			continue
		}
		for _, t := range m.terms {
			if !t.nuisance && t.family != famGiven && !has(out, t) {
				out = append(out, t)
			}
		}
	}
	return out
}

// join puts the same cause seen in two channels together. The size is that of
// the package's TPO, or the one of the narrower interval where the two agree.
func (r *run) join(list []found, x found) []found {
	for i := range list {
		old := &list[i]
		if old.nuisance || old.channel == x.channel || slices.Contains(old.also, channelName(x.channel)) || !r.alike(&old.term, &x.term) {
			continue
		}
		old.also = append(old.also, channelName(old.channel))
		agree := math.Abs(x.ppb-old.ppb) < 3*math.Hypot(x.high-x.low, old.high-old.low)/(2*1.96)
		lasting := x.kind == KindStep || x.kind == KindDrift || x.kind == KindHead
		if !(lasting && agree && old.high-old.low < x.high-x.low) {
			x.also, x.errors = old.also, math.Max(x.errors, old.errors)
			x.event, x.from = cmp.Or(x.event, old.event), old.from
			*old = x
		} else {
			old.also = append(old.also[:len(old.also)-1], channelName(x.channel))
			old.rows, old.runMean, old.errors = x.rows, x.runMean, math.Max(x.errors, old.errors)
		}
		return list
	}
	return append(list, x)
}

// alike tells whether two terms of different channels are one cause.
func (r *run) alike(a, b *term) bool {
	if a.kind != b.kind || a.head != b.head || a.station != b.station {
		return false
	}
	if a.kind == KindStep || a.kind == KindHead {
		near := math.Max(20, 0.15*r.end)
		return math.Abs(a.from-b.from) <= near || a.from < b.to && b.from < a.to && a.head != ""
	}
	return true
}

// classify names a step or a head by what the other channels say.
func (r *run) classify(x *found, fits [3]*fit) {
	switch x.kind {
	case KindLowFill:
		x.head = r.headOfLowFills()
	case KindHead:
		if d, t := r.fillOf(x); t < -3 && d < -0.008*r.fillMid {
			x.kind = KindLowFill
			x.said = fmt.Sprintf("its fills lie %s mL below the others", number(-d))
		} else if r.unchangedBelow(x, fits) {
			x.headside = true
		}
	case KindStep:
		inInlet := x.channel == 0 || slices.Contains(x.also, inletDO) || r.movedIn(x, fits)
		switch {
		case x.channel == 2 && len(x.also) == 0 && r.unchangedBelow(x, fits):
			x.kind, x.headside = KindHeadspace, true
		case x.event != TankChange && x.event != GasChange && r.likeMeter(x, fits):
			x.kind = KindMeter
		case x.event == TankChange && inInlet:
			x.kind = KindTank
		case inInlet && r.tankSteady(x):
			x.kind = KindLine
		}
	}
}

// fillOf is the mean fill of the packages that a head's term touches against
// the others, in mL and in its standard errors.
func (r *run) fillOf(x *found) (d, t float64) {
	var own, other []float64
	for i := range r.in.Samples {
		s := &r.in.Samples[i]
		if !s.FillKnown || s.Beer <= 0 {
			continue
		}
		at := r.minutes(s.at())
		if s.Head == x.head && at >= x.from && at < x.to {
			own = append(own, s.Beer)
		} else if s.Head != x.head {
			other = append(other, s.Beer)
		}
	}
	if len(own) < 2 || len(other) < 3 {
		return 0, 0
	}
	mid := medianOf(other)
	sd := math.Max(spreadOf(other, mid), 0.001*mid)
	d = medianOf(own) - mid
	return d, d / (1.25 * sd * math.Sqrt(1/float64(len(own))+1/float64(len(other))))
}

func (r *run) headOfLowFills() string {
	count, all := map[string]int{}, 0
	best := ""
	for i, low := range r.lowFill {
		if h := r.in.Samples[i].Head; low {
			count[h]++
			all++
			if count[h] > count[best] || best == "" {
				best = h
			}
		}
	}
	if 10*count[best] >= 7*all {
		return best
	}
	return ""
}

// contrast is the excess of a term's span in a channel, in ppb, with its
// standard error; ok is false where that channel has too few readings in or out.
func (r *run) contrast(x *found, c int, m *fit) (ppb, se float64, ok bool) {
	var terms []term
	if m != nil {
		for _, t := range m.terms { // without the same cause
			if !r.alike(&t, &x.term) {
				terms = append(terms, t)
			}
		}
	} else if m = newFit(r.frame(c), nil); m.f.n < 4 {
		return 0, 0, false
	}
	f := m.f
	col := make([]float64, f.n)
	in := 0
	for i, at := range f.at {
		if x.holds(at) && (x.head == "" || f.head[i] >= 0 && f.heads[f.head[i]] == x.head) {
			col[i] = 1
			in++
		}
	}
	if in < 2 || f.n-in < 2 {
		return 0, 0, false
	}
	t := x.term
	t.x, t.nuisance, t.floor = col, true, 0
	wider := newFit(f, append(terms, t))
	if len(wider.q) != len(wider.terms)+1 {
		return 0, 0, false
	}
	s := wider.solve()
	e := wider.sizeOf(len(wider.terms)-1, &s)
	return e.ppb, (e.high - e.low) / (2 * quantile95(math.Max(1, s.nu))), true
}

// unchangedBelow tells whether unshaken DO shows at most half of the excess.
func (r *run) unchangedBelow(x *found, fits [3]*fit) bool {
	d, se, ok := r.contrast(x, 1, fits[1])
	return ok && d+1.645*se < 0.5*x.ppb
}

// movedIn tells whether the inlet shows the excess: clearly above nothing, and at
// least half of it.
func (r *run) movedIn(x *found, fits [3]*fit) bool {
	d, se, ok := r.contrast(x, 0, fits[0])
	return ok && d > 1.645*se && d > 0.5*x.ppb
}

// likeMeter tells a shift of the meter in mid-run: every kind of reading moves
// by the same amount, so that TPO moves by the factor from shaken DO to TPO.
func (r *run) likeMeter(x *found, fits [3]*fit) bool {
	inlet, seInlet, ok := r.contrast(x, 0, fits[0])
	total, seTotal, both := r.contrast(x, 2, fits[2])
	k := r.factor()
	if !ok || !both || k < 1.5 {
		return false
	}
	off := func(scale float64) float64 { return math.Abs(total-scale*inlet) / math.Hypot(seTotal, scale*seInlet) }
	return inlet > 3*seInlet && off(1) > 2.5 && off(k) < 1.5
}

func (r *run) factor() float64 {
	var list []float64
	for i := range r.in.Samples {
		if k := r.in.Samples[i].Factor; k > 0 {
			list = append(list, k)
		}
	}
	return medianOf(list)
}

// tankSteady tells that readings in the tank exist and did not follow.
func (r *run) tankSteady(x *found) bool {
	var in, out []float64
	for i := range r.in.Samples {
		s := &r.in.Samples[i]
		if s.Tank == nil {
			continue
		}
		if at := r.minutes(s.at()); at >= x.from && at < x.to {
			in = append(in, *s.Tank)
		} else {
			out = append(out, *s.Tank)
		}
	}
	return len(in) > 0 && len(out) > 0 && medianOf(in)-medianOf(out) < 0.3*x.ppb
}
