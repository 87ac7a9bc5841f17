package cellar

import (
	"math"
	"slices"

	"ullage/core/uncertainty"
)

// difference is what a read vertex holds beyond what flowed into it (eq. 40).
type difference struct {
	value, variance, before float64
	meters                  []string
}

func (n *network) difference(k int) difference {
	v, s := &n.list[n.read[k]], &n.sources[k]
	e := estimate{value: -s.dosed}
	e.add(1, &v.estimate)
	d := difference{before: s.dosed}
	for _, p := range s.parts {
		u := &n.list[p.from]
		e.add(-p.share, &u.estimate)
		d.before += p.share * u.value
		for m := range u.load {
			d.meters = union(d.meters, []string{m})
		}
	}
	for m := range v.load {
		d.meters = union(d.meters, []string{m})
	}
	slices.Sort(d.meters)
	d.value, d.variance = e.value, e.variance()
	return d
}

// steps books the difference of every read vertex to what lies before it.
func (n *network) steps() ([]Step, []Blend) {
	steps, blends := []Step{}, []Blend{}
	for k, i := range n.read {
		s := &n.sources[k]
		if len(s.parts) == 0 {
			continue
		}
		st := n.step(k)
		steps = append(steps, st)
		if len(s.parts) > 1 {
			read := n.list[i].value
			blends = append(blends, Blend{Node: st.To, Parts: st.Parts, Mixed: read - st.Delta - s.dosed, Read: &read})
		}
	}
	return steps, blends
}

func (n *network) step(k int) Step {
	v, s, d := &n.list[n.read[k]], &n.sources[k], n.difference(k)
	main := s.parts[0]
	for _, p := range s.parts {
		if p.share > main.share {
			main = p
		}
	}
	from := &n.list[main.from]
	st := Step{ID: "step@" + v.id, From: from.id, To: v.id, Covers: s.ops, Batch: v.batch, Run: v.run, Delta: d.value, Dosed: s.dosed}
	if len(s.moves) > 0 {
		st.Move = s.moves[len(s.moves)-1]
	}
	if len(s.parts) > 1 {
		for _, p := range s.parts {
			u := &n.list[p.from]
			st.Parts = append(st.Parts, Part{u.id, u.batch, p.volume, p.share, u.value})
		}
	}
	if len(st.Covers) == 0 {
		st.Covers = []string{StepHold}
	}
	st.Kind = kindOf(st.Covers)
	st.U = math.Sqrt(d.variance)
	half := uncertainty.Normal95 * st.U
	st.Low95, st.High95 = d.value-half, d.value+half
	st.Resolved = math.Abs(d.value) > half
	if !v.at.IsZero() && !from.at.IsZero() {
		h := v.at.Sub(from.at).Hours()
		st.Hours = &h
	}
	n.size(&st, v, from)
	st.Budget, st.BudgetFrom = n.budget(&st)
	n.judge(&st, v, &d)
	return st
}

// kindOf is the step that the budget is of: a move has one for all on its way.
func kindOf(covers []string) string {
	for _, k := range []string{StepFermentation, StepDryHop, StepTransfer} {
		if slices.Contains(covers, k) {
			return k
		}
	}
	return covers[len(covers)-1]
}

// size gives grams and the equivalent leak.
func (n *network) size(st *Step, v, from *vertex) {
	if v.volume > 0 {
		g := Grams(st.Delta, v.volume)
		st.Grams = &g
	}
	if st.Consumed || st.Delta <= 0 {
		return
	}
	st.FlowHLH = n.flow(st, v)
	if st.FlowHLH > 0 {
		q := leakBetween(v, from, st.Delta, st.FlowHLH)
		st.AirMLMin = &q
	} else if st.Kind == StepHold && st.Hours != nil && *st.Hours > 0.05 && v.volume > 0 {
		q := AirLeak(st.Delta, v.volume / *st.Hours)
		st.AirMLMin = &q
	}
}

// leakBetween is the air of a pickup at a flow; where both sides were read at
// several flows, the mean of each pair's own.
func leakBetween(v, from *vertex, delta, flow float64) float64 {
	sum, n := 0.0, 0.0
	for _, r := range v.readings {
		if b := nearestIn(from.readings, r); b != nil && r.FlowHLH > 0 && b.FlowHLH > 0 {
			sum += AirLeak(r.DO-b.DO, r.FlowHLH)
			n++
		}
	}
	if n < 2 || n < float64(len(v.readings)) || sum <= 0 {
		return AirLeak(delta, flow)
	}
	return sum / n
}

// flow of a step: as read, else that of the move, else its volume over its time.
func (n *network) flow(st *Step, v *vertex) float64 {
	if v.flow > 0 {
		return v.flow
	}
	for i := range n.in.Moves {
		if m := &n.in.Moves[i]; m.ID == st.Move && slices.Contains(st.Covers, kindOf([]string{st.Kind})) {
			return m.flow()
		}
	}
	return 0
}

// budget adds up those of the steps covered. That of a move holds centrifuge and
// filter, and is no less than what they may bring by themselves. The first hour
// of a dry hop has the limit of that point.
func (n *network) budget(st *Step) (*float64, string) {
	sum, from, any := 0.0, "own", false
	whole, move := slices.Contains(st.Covers, StepTransfer), 0.0
	for _, k := range st.Covers {
		ppb, ok := 0.0, false
		if b, own := n.budgets[k]; own {
			ppb, ok = b.PPB, true
		} else if i := slices.IndexFunc(defaultBudgets, func(b Budget) bool { return b.Step == k }); i >= 0 {
			ppb, ok, from = defaultBudgets[i].PPB, true, "starting point"
		}
		any = any || ok
		if whole && (k == StepTransfer || k == StepCentrifuge || k == StepFilter) {
			move = max(move, ppb)
		} else {
			sum += ppb
		}
	}
	sum += move
	if len(st.Covers) == 1 && st.Kind == StepDryHop {
		if i := slices.IndexFunc(n.list, func(v vertex) bool { return v.id == st.To && v.point == DryHop1h }); i >= 0 {
			sum, from = defaultLimits[1].Green, "starting point"
			for _, l := range n.in.Limits {
				if l.Point == DryHop1h {
					sum, from = l.Green, "own"
				}
			}
		}
	}
	if !any || slices.Contains(st.Covers, StepFermentation) || slices.Contains(st.Covers, StepOxygenation) {
		return nil, ""
	}
	return &sum, from
}

var defaultBudgets = DefaultBudgets()

// totals are moves from their first reading to their last.
func (n *network) totals() []MoveTotal {
	out := []MoveTotal{}
	for i := range n.in.Moves {
		m := &n.in.Moves[i]
		if m.From == "" || m.To == "" {
			continue
		}
		if t, ok := n.total(m); ok {
			out = append(out, t)
		}
	}
	return out
}

// total takes the last reading before the pump and the first in the receiving
// vessel; where that one mixes with what was there, the blend is the baseline.
func (n *network) total(m *Move) (MoveTotal, bool) {
	end := -1
	for k, i := range n.read {
		v := &n.list[i]
		if slices.Contains(n.sources[k].moves, m.ID) && (v.batch == m.To || v.move == m.ID) && v.run == "" {
			end = k
			if v.batch == m.To {
				break
			}
		}
	}
	if end < 0 || len(n.sources[end].parts) == 0 {
		return MoveTotal{}, false
	}
	// Walk back along the move to where it left the giving tank.
	v := &n.list[n.read[end]]
	e := estimate{value: -n.sources[end].dosed}
	e.add(1, &v.estimate)
	t := MoveTotal{Move: m.ID, To: v.id}
	main, giving, covers := 0.0, v, []string{StepTransfer}
	var back func(k int, share float64)
	back = func(k int, share float64) {
		covers = union(covers, n.sources[k].ops)
		for _, p := range n.sources[k].parts {
			u := &n.list[p.from]
			if u.move == m.ID && u.point != TankBefore && len(n.sources[n.of[p.from]].parts) > 0 {
				e.value -= share * p.share * n.sources[n.of[p.from]].dosed
				back(n.of[p.from], share*p.share)
				continue
			}
			e.add(-share*p.share, &u.estimate)
			if share*p.share > main {
				main, t.From, giving = share*p.share, u.id, u
			}
		}
	}
	back(end, 1)
	half := uncertainty.Normal95 * math.Sqrt(e.variance())
	t.Delta, t.Low95, t.High95, t.Resolved = e.value, e.value-half, e.value+half, math.Abs(e.value) > half
	volume := n.volumeOf(m)
	if v.volume > volume && v.batch == m.To {
		volume = v.volume // the pickup is that of all it holds
	}
	if volume > 0 {
		g := Grams(t.Delta, volume)
		t.Grams = &g
	}
	if q := m.flow(); q > 0 && t.Delta > 0 {
		a := leakBetween(v, giving, t.Delta, q)
		t.AirMLMin = &a
	}
	st := Step{Covers: covers, Kind: StepTransfer}
	t.Budget, _ = n.budget(&st)
	t.State = stateOf(t.Delta, t.Resolved, t.Budget)
	return t, true
}

func stateOf(delta float64, resolved bool, budget *float64) string {
	switch {
	case !resolved:
		return "not_resolved"
	case delta < 0:
		return "negative"
	case budget == nil:
		return "no_budget"
	case delta > *budget:
		return "over"
	}
	return "within"
}
