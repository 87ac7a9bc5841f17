package way

import (
	"slices"
	"time"
)

// Kinds of a move.
const (
	KindTransfer      = "transfer"
	KindBlend         = "blend"
	KindAddition      = "addition"
	KindRecirculation = "recirculation"
	KindDump          = "dump"
)

// stages of a move, in order: the point, and the step that leads to it.
var stages = []struct{ point, op, unit string }{
	{CentrifugeIn, StepTransfer, StepCentrifuge}, {CentrifugeOut, StepCentrifuge, StepCentrifuge},
	{FilterIn, StepTransfer, StepFilter}, {FilterOut, StepFilter, StepFilter},
	{CarbonateBefore, StepTransfer, StepCarbonation}, {CarbonateAfter, StepCarbonation, StepCarbonation},
}

// depart follows a move from the giving tank to before the receiving one.
func (w *Way) depart(s *state, m *Move) {
	if s.at < 0 {
		s.at = w.add(Place{Batch: m.From, Volume: w.In.BatchByID(m.From).VolumeHL})
	}
	volume := w.VolumeOf(m)
	if rows := w.take("move " + m.ID + " " + TankBefore); len(rows) > 0 {
		v := Place{Batch: m.From, Move: m.ID, Point: TankBefore, Volume: s.volume, In: []Link{{s.at, 1, s.volume}}}
		v.read(rows)
		from := &w.Places[s.at]
		switch {
		case s.wort:
			v.Ops = []string{StepFermentation}
		case from.Point == DryHopBefore:
			v.Ops = []string{StepDryHop}
		default:
			v.Ops = []string{StepHold}
		}
		s.at, s.wort = w.add(v), false
	}
	at, ops := s.at, []string(nil)
	if s.wort {
		ops = append(ops, StepFermentation)
	} else if from := &w.Places[s.at]; from.Point != TankBefore && from.Point != "" && !from.At.IsZero() && m.Started.Sub(from.At) > longHold {
		ops = append(ops, StepHold)
	}
	units := slices.Clone(m.Via)
	for _, stage := range stages {
		if len(w.groups["move "+m.ID+" "+stage.point]) > 0 {
			units = append(units, stage.unit)
		}
	}
	for _, stage := range stages {
		if !slices.Contains(units, stage.unit) {
			continue
		}
		rows := w.take("move " + m.ID + " " + stage.point)
		v := Place{Batch: m.From, Move: m.ID, Point: stage.point, Volume: volume, In: []Link{{at, 1, volume}}, Ops: append(ops, stage.op)}
		v.read(rows)
		at, ops = w.add(v), nil
	}
	w.arriving[m.ID] = at
	if len(ops) > 0 { // nothing on the way took them
		at = w.add(Place{Batch: m.From, Move: m.ID, Volume: volume, In: []Link{{at, 1, volume}}, Ops: ops})
		w.arriving[m.ID] = at
	}
	if m.From != m.To {
		s.volume = max(0, s.volume-volume)
	}
}

// loop brings a recirculation back to its own vessel.
func (w *Way) loop(s *state, m *Move) {
	s.at = w.arriving[m.ID]
	if rows := w.take("move " + m.ID + " " + TankAfter); len(rows) > 0 {
		w.place(s, m.To, TankAfter, rows)
		w.Places[s.at].Move = m.ID
		w.Places[s.at].Ops = []string{StepTransfer}
	}
}

// arrive mixes a move into the receiving vessel (eq. 42).
func (w *Way) arrive(s *state, m *Move) {
	comes, ok := w.arriving[m.ID]
	if !ok {
		return
	}
	volume := w.VolumeOf(m)
	v := Place{Batch: m.To, Move: m.ID, At: later(m.Started, m.Ended), Ops: []string{StepTransfer}, In: []Link{{comes, 1, volume}}}
	if s.at >= 0 {
		if s.volume <= 0 {
			s.volume = w.heel(m.To)
		}
		v.In = w.mix(s, comes, volume, w.In.Name(m.To))
	}
	s.volume += volume
	v.Volume = s.volume
	if rows := w.take("move " + m.ID + " " + TankAfter); len(rows) > 0 {
		v.Point = TankAfter
		v.read(rows)
	}
	s.at, s.wort = w.add(v), false
}

// heel is what a vessel held before the moves into it: what is left of its
// recorded volume.
func (w *Way) heel(id string) float64 {
	v := w.In.BatchByID(id).VolumeHL
	for i := range w.In.Moves {
		if m := &w.In.Moves[i]; m.To == id && m.From != id {
			v -= w.VolumeOf(m)
		}
	}
	return max(0, v)
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// VolumeOf is the volume of a move, or what stands for it.
func (w *Way) VolumeOf(m *Move) float64 {
	if m.VolumeHL > 0 {
		return m.VolumeHL
	}
	if h := m.Ended.Sub(m.Started).Hours(); m.FlowHLH > 0 && h > 0 && !m.Started.IsZero() {
		w.Assume("volume of the move into " + w.In.Name(m.To) + " taken from its flow and time")
		return m.FlowHLH * h
	}
	into := 0
	for _, o := range w.In.Moves {
		if o.To == m.To && o.From != "" {
			into++
		}
	}
	if b := w.In.BatchByID(m.To); b != nil && into == 1 && b.VolumeHL > 0 {
		w.Assume("volume of the move into " + w.In.Name(m.To) + " taken as the volume of that batch")
		return b.VolumeHL
	}
	return 0
}

// locate holds together the readings of one place: it finds the move of a
// reading that names none.
func (w *Way) locate(r *Reading) string {
	switch {
	case r.Run != "":
		return "run " + r.Run + " " + r.Point
	case r.Brew != "" && IsWort(r.Point):
		return "brew " + r.Brew + " " + r.Point
	}
	if m := w.moveOf(r); m != nil {
		return "move " + m.ID + " " + r.Point
	}
	batch := r.Batch
	if batch == "" {
		for i := range w.In.Moves {
			if m := &w.In.Moves[i]; m.ID == r.Move {
				if batch = m.To; batch == "" {
					batch = m.From
				}
			}
		}
	}
	return "batch " + batch + " " + r.Point
}

// moveOf is the move a reading belongs to: the one it names, else the one of
// its batch that began last before it.
func (w *Way) moveOf(r *Reading) *Move {
	leaving := r.Point == TankBefore
	for _, stage := range stages {
		leaving = leaving || stage.point == r.Point && stage.unit != StepCarbonation
	}
	inMove := leaving || r.Point == TankAfter || slices.ContainsFunc(stages, func(s struct{ point, op, unit string }) bool { return s.point == r.Point })
	if !inMove {
		return nil
	}
	var best *Move
	for i := range w.In.Moves {
		m := &w.In.Moves[i]
		if m.From == "" || m.Kind == KindAddition {
			continue
		}
		if m.ID == r.Move {
			return m
		}
		mine := leaving && m.From == r.Batch || r.Point == TankAfter && m.To == r.Batch
		if r.Move != "" || !mine {
			continue
		}
		const early = time.Hour // read just before the pump starts
		if best == nil || !r.At.IsZero() && !m.Started.IsZero() && !m.Started.Add(-early).After(r.At) && m.Started.After(best.Started) {
			best = m
		}
	}
	return best
}

// MoveByID is a move given, or nil.
func (w *Way) MoveByID(id string) *Move {
	for i := range w.In.Moves {
		if w.In.Moves[i].ID == id {
			return &w.In.Moves[i]
		}
	}
	return nil
}

// Flow of a move, hL/h: as said, else its volume over its time; 0 where it is
// not known.
func (m *Move) Flow() float64 {
	if m.FlowHLH > 0 {
		return m.FlowHLH
	}
	if d := m.Ended.Sub(m.Started); !m.Started.IsZero() && d > time.Minute && m.VolumeHL > 0 {
		return m.VolumeHL / d.Hours()
	}
	return 0
}
