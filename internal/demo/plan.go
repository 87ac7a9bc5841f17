package demo

import (
	"cmp"
	"slices"
)

// script is one run: what is packaged, how the line behaves, who looks when.
// Times are minutes after the first good package.
type script struct {
	name               string
	beer, format, line string
	proc               process
	minutes, every     float64
	effect             func(t float64, head int) effect
	stops              []stop
	standing           bool // packages that stood open during a stop are kept
	beerC              func(t float64) float64
	happenings         []happening
	sets               []set        // beyond the plan
	slips              map[int]slip // by set number
	meter              string       // empty: the line's
	carryAfter         float64      // later sets carry the temperature on; 0: none does
	setHeads           int          // 0: the line's
	note               string
	standIn            bool // the lent TPO meter has gone back
	direct             bool // it is there: every third package is read directly too
}

type happening struct {
	at         float64
	kind, note string
}

// slip is a mistake of the person at the meter.
type slip int

const (
	noSlip   slip = iota
	late          // read warm, three and a half hours after closing
	inPpm         // read in ppm, typed as ppb
	column        // unshaken packages entered as shaken
	mistyped      // two digits of a weight exchanged, corrected soon after
)

// set is packages pulled together.
type set struct {
	at               float64
	shaken, unshaken []int // heads
	inlet, atOnce    bool
	note             string
}

// temperature of the beer at the filler, °C.
func (s *script) temperature(t float64) float64 {
	if s.beerC == nil {
		return 2
	}
	return s.beerC(t)
}

// plan is the sampling of a run: a start set, sets at an interval with heads by
// rotation, one after each restart, and one at the end (common practice).
func (s *script) plan(l plant, open bool) []set {
	heads := len(l.fill)
	keg := l.key == "K2"
	n := l.setHeads
	if s.setHeads > 0 {
		n = s.setHeads
	}
	next := 0
	pull := func(n int) []int {
		out := make([]int, n)
		for i := range out {
			out[i] = next%heads + 1
			next++
		}
		return out
	}
	pick := func(at float64, n int, inlet bool, note string) set {
		x := set{at: at, inlet: inlet, note: note}
		if keg {
			x.unshaken = []int{1, 2}
			return x
		}
		x.shaken = pull(n)
		x.unshaken = x.shaken[:1]
		return x
	}
	out := []set{pick(1, l.startHeads, true, "")}
	if s.setHeads == 0 && !keg {
		out[0].unshaken = out[0].shaken[:3]
	}
	for i := 1; float64(i)*s.every < s.minutes-15; i++ {
		if at := float64(i) * s.every; !s.stopped(at) {
			out = append(out, pick(at, n, i%3 == 0, ""))
		}
	}
	for _, x := range s.stops {
		if s.standing {
			all := pick(x.restart()+0.1, heads, false, "after the restart")
			all.atOnce, all.unshaken = true, nil
			out = append(out, all)
		}
		out = append(out, pick(x.restart()+8, n, false, "after the restart"))
	}
	if !open {
		out = append(out, pick(s.minutes-10, n, true, ""))
	}
	out = append(out, s.sets...)
	slices.SortStableFunc(out, func(a, b set) int { return cmp.Compare(a.at, b.at) })
	return out
}

// stopped tells whether the line stands at t, or has just restarted.
func (s *script) stopped(t float64) bool {
	for _, x := range s.stops {
		if t >= x.at-2 && t < x.restart()+20 {
			return true
		}
	}
	return false
}
