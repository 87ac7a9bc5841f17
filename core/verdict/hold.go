package verdict

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// holds are the smallest spans that findings against the limits ask for: from
// the last good package before to the first good one after, of that head, or of
// all heads where the set mean is red.
func (r *run) holds(sets [][]int) []HeldSpan {
	var out []HeldSpan
	red := make([]bool, len(sets))
	for k, set := range sets {
		red[k] = r.describe(set).Mean > r.rules.MeanRed
	}
	for k := 0; k < len(sets); k++ {
		if !red[k] {
			continue
		}
		last := k
		for j := k + 1; j < len(sets); j++ { // red again before a good set: one span
			if red[j] {
				last = j
			} else if r.goodSet(sets[j]) {
				break
			}
		}
		out = append(out, r.commonSpan(sets, k, last))
		k = last
	}
	for _, i := range r.order {
		if math.IsNaN(r.use[2][i]) || r.inside(i, out) {
			continue
		}
		switch r.state[i] {
		case confirmedAbove, openAbove:
			out = append(out, r.headSpan(i))
		}
	}
	slices.SortStableFunc(out, func(a, b HeldSpan) int { return a.From.Compare(b.From) })
	if out == nil {
		out = []HeldSpan{}
	}
	return out
}

func (r *run) goodSet(set []int) bool {
	for _, i := range set {
		if r.late[i] > 0 {
			return false
		}
	}
	s := r.describe(set)
	return s.Mean <= r.rules.MeanGreen && s.Max <= r.rules.SingleRed
}

func (r *run) commonSpan(sets [][]int, first, last int) HeldSpan {
	h := HeldSpan{From: r.time(math.Min(0, r.first)), To: r.time(r.end), Open: true}
	for k := first - 1; k >= 0; k-- {
		if r.goodSet(sets[k]) {
			h.From = r.describe(sets[k]).To
			break
		}
	}
	for k := last + 1; k < len(sets); k++ {
		if r.goodSet(sets[k]) {
			h.To, h.Open = r.describe(sets[k]).From, false
			break
		}
	}
	s := r.describe(sets[first])
	h.Why = fmt.Sprintf("set mean %s ppb at %s, red above %s", number(s.Mean), clock(s.From), number(r.rules.MeanRed))
	h.FreedBy = fmt.Sprintf("sets from inside the span, one from each tenth of it, each with a mean at or below %s ppb", number(r.rules.MeanGreen))
	return r.counted(h)
}

// headSpan holds one head around a high package: up to the good packages of
// that head on both sides.
func (r *run) headSpan(i int) HeldSpan {
	s := &r.in.Samples[i]
	h := HeldSpan{From: r.time(math.Min(0, r.first)), To: r.time(r.end), Open: true, Head: s.Head}
	at := slices.Index(r.order, i)
	good := func(k int) bool {
		return r.in.Samples[k].Head == s.Head && r.goodSingle(k)
	}
	for k := at - 1; k >= 0; k-- {
		if good(r.order[k]) {
			h.From = r.in.Samples[r.order[k]].at()
			break
		}
	}
	for k := at + 1; k < len(r.order); k++ {
		if good(r.order[k]) {
			h.To, h.Open = r.in.Samples[r.order[k]].at(), false
			break
		}
	}
	state := "neither confirmed nor refuted"
	if r.state[i] == confirmedAbove {
		state = "confirmed"
	}
	h.Why = fmt.Sprintf("package of %s%s at %s ppb, limit %s, %s", clock(s.at()), onHead(s.Head), number(r.use[2][i]), number(r.rules.SingleRed), state)
	h.FreedBy = fmt.Sprintf("%d packages%s from the span by their code, each at or below %s ppb", max(r.rules.RetestCount, 2), onHead(s.Head), number(r.rules.SingleGreen))
	return r.counted(h)
}

// counted adds running time and packages; the line makes none while stopped.
func (r *run) counted(h HeldSpan) HeldSpan {
	h.Minutes = r.running(h.From, h.To)
	l := r.in.Line
	if l.PerMinute <= 0 {
		return h
	}
	n := h.Minutes * l.PerMinute
	if h.Head != "" {
		heads := l.Heads
		if heads < 1 {
			heads = r.headCount()
		}
		n /= float64(max(heads, 1))
	}
	count := int(math.Ceil(n - 1e-9))
	h.Packages = &count
	if l.PerPallet > 0 {
		// Packages of one head lie on every pallet of the span.
		pallets := int(math.Ceil(h.Minutes*l.PerMinute/float64(l.PerPallet) - 1e-9))
		h.Pallets = &pallets
	}
	return h
}

func (r *run) headCount() int {
	seen := map[string]bool{}
	for i := range r.in.Samples {
		if h := r.in.Samples[i].Head; h != "" {
			seen[h] = true
		}
	}
	return len(seen)
}

// running is the time between two moments less the stops in it, in minutes.
func (r *run) running(from, to time.Time) float64 {
	a, b := r.minutes(from), r.minutes(to)
	sum := math.Max(0, b-a)
	stopped := math.NaN()
	for _, e := range r.events {
		switch e.kind {
		case Stop:
			if math.IsNaN(stopped) {
				stopped = e.at
			}
		case Restart:
			if !math.IsNaN(stopped) {
				sum -= math.Max(0, math.Min(b, e.at)-math.Max(a, stopped))
				stopped = math.NaN()
			}
		}
	}
	return math.Max(0, sum)
}
