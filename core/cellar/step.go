package cellar

import (
	"math"
	"slices"

	"ullage/core/uncertainty"
	"ullage/core/way"
)

// difference is what a read place holds beyond what flowed into it (eq. 40).
type difference struct {
	value, variance, before float64
	meters                  []string
}

func (n *network) difference(k int) difference {
	v, s := &n.Places[n.read[k]], &n.sources[k]
	e := way.Estimate{Value: -s.Dosed}
	e.Add(1, &v.Estimate)
	d := difference{before: s.Dosed}
	for _, p := range s.Parts {
		u := &n.Places[p.From]
		e.Add(-p.Share, &u.Estimate)
		d.before += p.Share * u.Value
		for m := range u.Load {
			d.meters = way.Union(d.meters, []string{m})
		}
	}
	for m := range v.Load {
		d.meters = way.Union(d.meters, []string{m})
	}
	slices.Sort(d.meters)
	d.value, d.variance = e.Value, e.Variance()
	return d
}

// steps books the difference of every read place to what lies before it.
func (n *network) steps() ([]Step, []Blend) {
	steps, blends := []Step{}, []Blend{}
	for k, i := range n.read {
		s := &n.sources[k]
		if len(s.Parts) == 0 {
			continue
		}
		st := n.step(k)
		steps = append(steps, st)
		if len(s.Parts) > 1 {
			read := n.Places[i].Value
			blends = append(blends, Blend{Node: st.To, Parts: st.Parts, Mixed: read - st.Delta - s.Dosed, Read: &read})
		}
	}
	return steps, blends
}

func (n *network) step(k int) Step {
	v, s, d := &n.Places[n.read[k]], &n.sources[k], n.difference(k)
	main := s.Parts[0]
	for _, p := range s.Parts {
		if p.Share > main.Share {
			main = p
		}
	}
	from := &n.Places[main.From]
	st := Step{ID: "step@" + v.ID, From: from.ID, To: v.ID, Covers: s.Ops, Batch: v.Batch, Run: v.Run, Delta: d.value, Dosed: s.Dosed}
	if len(s.Moves) > 0 {
		st.Move = s.Moves[len(s.Moves)-1]
	}
	if len(s.Parts) > 1 {
		for _, p := range s.Parts {
			u := &n.Places[p.From]
			st.Parts = append(st.Parts, Part{u.ID, u.Batch, p.Volume, p.Share, u.Value})
		}
	}
	if len(st.Covers) == 0 {
		st.Covers = []string{way.StepHold}
	}
	st.Kind = kindOf(st.Covers)
	st.U = math.Sqrt(d.variance)
	half := uncertainty.Normal95 * st.U
	st.Low95, st.High95 = d.value-half, d.value+half
	st.Resolved = math.Abs(d.value) > half
	if !v.At.IsZero() && !from.At.IsZero() {
		h := v.At.Sub(from.At).Hours()
		st.Hours = &h
	}
	n.size(&st, v, from)
	st.Budget, st.BudgetFrom = n.budget(&st)
	n.judge(&st, v, &d)
	return st
}

// kindOf is the step that the budget is of: a move has one for all on its way.
func kindOf(covers []string) string {
	for _, k := range []string{way.StepFermentation, way.StepDryHop, way.StepTransfer} {
		if slices.Contains(covers, k) {
			return k
		}
	}
	return covers[len(covers)-1]
}

// size gives grams and the equivalent leak.
func (n *network) size(st *Step, v, from *way.Place) {
	if v.Volume > 0 {
		g := way.Grams(st.Delta, v.Volume)
		st.Grams = &g
	}
	if st.Consumed || st.Delta <= 0 {
		return
	}
	st.FlowHLH = n.flow(st, v)
	if st.FlowHLH > 0 {
		q := leakBetween(v, from, st.Delta, st.FlowHLH)
		st.AirMLMin = &q
	} else if st.Kind == way.StepHold && st.Hours != nil && *st.Hours > 0.05 && v.Volume > 0 {
		q := way.AirLeak(st.Delta, v.Volume / *st.Hours)
		st.AirMLMin = &q
	}
}

// leakBetween is the air of a pickup at a flow; where both sides were read at
// several flows, the mean of each pair's own.
func leakBetween(v, from *way.Place, delta, flow float64) float64 {
	sum, n := 0.0, 0.0
	for _, r := range v.Readings {
		if b := nearestIn(from.Readings, r); b != nil && r.FlowHLH > 0 && b.FlowHLH > 0 {
			sum += way.AirLeak(r.DO-b.DO, r.FlowHLH)
			n++
		}
	}
	if n < 2 || n < float64(len(v.Readings)) || sum <= 0 {
		return way.AirLeak(delta, flow)
	}
	return sum / n
}

// flow of a step: as read, else that of the move, else its volume over its time.
func (n *network) flow(st *Step, v *way.Place) float64 {
	if v.Flow > 0 {
		return v.Flow
	}
	for i := range n.In.Moves {
		if m := &n.In.Moves[i]; m.ID == st.Move && slices.Contains(st.Covers, kindOf([]string{st.Kind})) {
			return m.Flow()
		}
	}
	return 0
}

// budget adds up those of the steps covered. That of a move holds centrifuge and
// filter, and is no less than what they may bring by themselves. The first hour
// of a dry hop has the limit of that point.
func (n *network) budget(st *Step) (*float64, string) {
	sum, from, any := 0.0, "own", false
	whole, move := slices.Contains(st.Covers, way.StepTransfer), 0.0
	for _, k := range st.Covers {
		ppb, ok := 0.0, false
		if b, own := n.budgets[k]; own {
			ppb, ok = b.PPB, true
		} else if i := slices.IndexFunc(defaultBudgets, func(b way.Budget) bool { return b.Step == k }); i >= 0 {
			ppb, ok, from = defaultBudgets[i].PPB, true, "starting point"
		}
		any = any || ok
		if whole && (k == way.StepTransfer || k == way.StepCentrifuge || k == way.StepFilter) {
			move = max(move, ppb)
		} else {
			sum += ppb
		}
	}
	sum += move
	if len(st.Covers) == 1 && st.Kind == way.StepDryHop {
		if i := slices.IndexFunc(n.Places, func(v way.Place) bool { return v.ID == st.To && v.Point == way.DryHop1h }); i >= 0 {
			sum, from = defaultLimits[1].Green, "starting point"
			for _, l := range n.In.Limits {
				if l.Point == way.DryHop1h {
					sum, from = l.Green, "own"
				}
			}
		}
	}
	if !any || slices.Contains(st.Covers, way.StepFermentation) || slices.Contains(st.Covers, way.StepOxygenation) {
		return nil, ""
	}
	return &sum, from
}

var defaultBudgets = way.DefaultBudgets()

// totals are moves from their first reading to their last.
func (n *network) totals() []MoveTotal {
	out := []MoveTotal{}
	for i := range n.In.Moves {
		m := &n.In.Moves[i]
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
func (n *network) total(m *way.Move) (MoveTotal, bool) {
	end := -1
	for k, i := range n.read {
		v := &n.Places[i]
		if slices.Contains(n.sources[k].Moves, m.ID) && (v.Batch == m.To || v.Move == m.ID) && v.Run == "" {
			end = k
			if v.Batch == m.To {
				break
			}
		}
	}
	if end < 0 || len(n.sources[end].Parts) == 0 {
		return MoveTotal{}, false
	}
	// Walk back along the move to where it left the giving tank.
	v := &n.Places[n.read[end]]
	e := way.Estimate{Value: -n.sources[end].Dosed}
	e.Add(1, &v.Estimate)
	t := MoveTotal{Move: m.ID, To: v.ID}
	main, giving, covers := 0.0, v, []string{way.StepTransfer}
	var back func(k int, share float64)
	back = func(k int, share float64) {
		covers = way.Union(covers, n.sources[k].Ops)
		for _, p := range n.sources[k].Parts {
			u := &n.Places[p.From]
			if u.Move == m.ID && u.Point != way.TankBefore && len(n.sources[n.of[p.From]].Parts) > 0 {
				e.Value -= share * p.Share * n.sources[n.of[p.From]].Dosed
				back(n.of[p.From], share*p.Share)
				continue
			}
			e.Add(-share*p.Share, &u.Estimate)
			if share*p.Share > main {
				main, t.From, giving = share*p.Share, u.ID, u
			}
		}
	}
	back(end, 1)
	half := uncertainty.Normal95 * math.Sqrt(e.Variance())
	t.Delta, t.Low95, t.High95, t.Resolved = e.Value, e.Value-half, e.Value+half, math.Abs(e.Value) > half
	volume := n.VolumeOf(m)
	if v.Volume > volume && v.Batch == m.To {
		volume = v.Volume // the pickup is that of all it holds
	}
	if volume > 0 {
		g := way.Grams(t.Delta, volume)
		t.Grams = &g
	}
	if q := m.Flow(); q > 0 && t.Delta > 0 {
		a := leakBetween(v, giving, t.Delta, q)
		t.AirMLMin = &a
	}
	st := Step{Covers: covers, Kind: way.StepTransfer}
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
