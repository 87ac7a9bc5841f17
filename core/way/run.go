package way

import (
	"fmt"
	"slices"
	"time"

	"ullage/core/quantity"
)

// run follows a batch through the line into packages. held are the readings of
// the tank while it was packaged: the line begins at the tank of those moments,
// and what the tank did since it was read before is a step of its own.
func (w *Way) run(s *state, r *Run, held []*Reading) {
	if r.VolumeFrom == "time" && s.volume > 0 {
		r.VolumeHL = min(r.VolumeHL, s.volume) // a line's speed is its most
	}
	volume := r.VolumeHL
	if volume <= 0 {
		volume = w.In.BatchByID(r.Batch).VolumeHL
	}
	if s.at < 0 {
		s.at = w.add(Place{Batch: r.Batch, Volume: w.In.BatchByID(r.Batch).VolumeHL})
	}
	before := s.at
	if len(held) > 0 {
		v := Place{Batch: r.Batch, Run: r.ID, Point: TankHold, Volume: max(s.volume, volume), In: []Link{{before, 1, volume}}, Ops: []string{StepHold}}
		v.read(held)
		v.Value = *r.Tank
		s.at = w.add(v)
	}
	w.Tanks[r.ID] = s.at
	at := s.at
	for _, p := range []struct {
		point, op string
		value     *float64
		u         float64
	}{{LineStart, StepLine, nil, 0}, {FillerInlet, StepLine, r.Inlet, r.InletU}, {Unshaken, StepFilling, r.Unshaken, r.UnshakenU}, {TPO, StepHeadspace, r.TPO, r.TPOU}} {
		v := Place{Batch: r.Batch, Run: r.ID, Point: p.point, Volume: volume, In: []Link{{at, 1, volume}}, Ops: []string{p.op}, At: r.Started}
		rows := append(w.take("run "+r.ID+" "+p.point), w.nearest(r, p.point)...)
		if p.value != nil {
			rows = append(rows, &Reading{ID: r.ID + "/" + p.point, Run: r.ID, Batch: r.Batch, Point: p.point, At: r.Started, DO: *p.value, U: runU(*p.value, p.u), whole: true})
		}
		beside := p.point == LineStart && len(held) > 0
		if beside { // of one moment, the way is of the means
			v.Run, v.In[0].From = "", before
		}
		v.read(rows)
		if i := slices.IndexFunc(rows, func(r *Reading) bool { return r.whole }); i >= 0 && p.point == FillerInlet {
			v.Estimate = mean(rows[i : i+1]) // it holds the others
		}
		if beside && !v.Known {
			continue
		}
		if i := w.add(v); !beside {
			at = i
		}
	}
	s.volume = max(0, s.volume-r.VolumeHL)
	w.standsFor(r)
}

// standsFor says what was taken for a volume that was not measured.
func (w *Way) standsFor(r *Run) {
	of := map[string]string{"packages": "its packages × the nominal volume", "time": "its running time × the line's speed × the nominal volume, and no more than was left"}[r.VolumeFrom]
	if of != "" && r.VolumeHL > 0 {
		w.Assume(fmt.Sprintf("volume packaged from %s not measured: %s, %s hL", w.In.Name(r.Batch), of, quantity.Figure(r.VolumeHL)))
	}
}

// LeftAt is what is left of a batch at a moment, hL, by the moves and runs out of
// it (each drawn evenly over its time), and what the batch held. ok is false where
// a volume or a time is not known.
func (w *Way) LeftAt(id string, at time.Time) (left, held float64, ok bool) {
	held = w.In.BatchByID(id).VolumeHL
	left = held
	draw := func(hl float64, from, to time.Time) {
		switch {
		case hl <= 0 || from.IsZero():
			ok = false
		case !at.After(from):
		case to.After(at):
			left -= hl * float64(at.Sub(from)) / float64(to.Sub(from))
		default:
			left -= hl
		}
	}
	ok = held > 0 && !at.IsZero()
	for i := range w.In.Moves {
		if m := &w.In.Moves[i]; m.From == id && m.To != id {
			draw(w.VolumeOf(m), m.Started, m.Ended)
		}
	}
	for _, r := range w.In.Runs {
		if r.Batch == id {
			end := r.Ended
			if !r.TankUntil.IsZero() && (end.IsZero() || r.TankUntil.Before(end)) {
				end = r.TankUntil
			}
			draw(r.VolumeHL, r.Started, end)
		}
	}
	return max(0, left), held, ok
}

// whilePackaged takes the readings of the tank that a run was packaging, where
// it says what the tank held at the moments of its inlet readings.
func (w *Way) whilePackaged(r *Run) (held []*Reading) {
	if r.Tank == nil || r.Inlet == nil || r.Started.IsZero() {
		return nil
	}
	end := r.TankUntil
	for i := range w.In.Runs {
		if o := &w.In.Runs[i]; o.Batch == r.Batch && o.Started.After(r.Started) && (end.IsZero() || o.Started.Before(end)) {
			end = o.Started
		}
	}
	for _, point := range []string{TankRested, TankHold} {
		key := "batch " + r.Batch + " " + point
		var rest []*Reading
		for _, row := range w.groups[key] {
			if row.At.After(r.Started) && (end.IsZero() || !row.At.After(end)) {
				held = append(held, row)
			} else {
				rest = append(rest, row)
			}
		}
		w.groups[key] = rest
	}
	return held
}

// nearest are the readings of the line that no run is named for: the run that
// began last before them has them, or the only one.
func (w *Way) nearest(r *Run, point string) (rows []*Reading) {
	key := "batch " + r.Batch + " " + point
	var rest []*Reading
	for _, row := range w.groups[key] {
		if w.runAt(r.Batch, row.At) == r.ID {
			rows = append(rows, row)
		} else {
			rest = append(rest, row)
		}
	}
	w.groups[key] = rest
	return rows
}

func (w *Way) runAt(batch string, at time.Time) string {
	var best *Run
	for i := range w.In.Runs {
		r := &w.In.Runs[i]
		if r.Batch != batch {
			continue
		}
		const before = 30 * time.Minute
		if best == nil || !r.Started.IsZero() && !at.IsZero() && !r.Started.Add(-before).After(at) && r.Started.After(best.Started) {
			best = r
		}
	}
	if best == nil {
		return ""
	}
	return best.ID
}

// runU is the standard uncertainty of a run's mean where none is given.
func runU(v, u float64) float64 {
	if u > 0 {
		return u
	}
	return max(runPPB, runShare*v)
}
