package cellar

import (
	"fmt"
	"slices"
	"time"

	"ullage/core/quantity"
)

// clocks finds readings whose times contradict the way.
func (w *way) clocks() {
	const slack = 10 * time.Minute // both sides of a step are read one after the other
	for i := range w.list {
		v := &w.list[i]
		if !v.known || v.at.IsZero() {
			continue
		}
		for _, p := range w.inflow(i).parts {
			u := &w.list[p.from]
			first := u.firstAt()
			if first.IsZero() || v.at.Add(slack).After(first) || u.run != "" && u.run == v.run {
				continue // the means of a run are of its start
			}
			w.warn("clock_order", v.rows[0], fmt.Sprintf("%s was read at %s, before %s at %s, which the beer passes first", PointWord(v.point), stamp(v.at), PointWord(u.point), stamp(first)),
				"check date and time of both; the map follows the points")
		}
	}
	for i := range w.in.Moves {
		if m := &w.in.Moves[i]; !m.Started.IsZero() && !m.Ended.IsZero() && m.Ended.Before(m.Started) {
			w.warn("clock_order", m.ID, fmt.Sprintf("a move ended at %s, before it began at %s", stamp(m.Ended), stamp(m.Started)), "check both times")
		}
	}
}

func (v *vertex) firstAt() time.Time {
	var at time.Time
	for _, r := range v.readings {
		if !r.At.IsZero() && (at.IsZero() || r.At.Before(at)) {
			at = r.At
		}
	}
	return at
}

func stamp(t time.Time) string { return t.Format("2006-01-02 15:04") }

// units asks about values that look like a slip of the unit.
func (w *way) units() {
	for i := range w.list {
		v := &w.list[i]
		for _, r := range v.readings {
			switch {
			case IsWort(v.point) && v.point == WortOxygenated && r.DO > 0 && r.DO < 50:
				w.warn("unit_slip", r.ID, fmt.Sprintf("wort at %s ppb: %s mg/L would be usual", quantity.Figure(r.DO), quantity.Figure(r.DO)), fmt.Sprintf("if the meter showed mg/L, write %s ppb", quantity.Figure(r.DO*1000)))
			case !IsWort(v.point) && r.DO >= EventPPB && r.Confirmed != "event" && !ofPackage(v.point):
				w.warn("unit_slip", r.ID, fmt.Sprintf("%s ppb after fermentation: a slip of the unit (%s ppb), or an event", quantity.Figure(r.DO), quantity.Figure(r.DO/1000)), "type it again, or confirm the event")
			}
		}
	}
	without := 0
	for i := range w.in.Readings {
		if w.in.Readings[i].U <= 0 {
			without++
		}
	}
	if without > 0 {
		w.assume("standard uncertainty of a reading: the larger of 1 ppb and 2 % for the meter, half of its variance common to all its readings, and 1.5 ppb for sampling")
	}
	if slices.ContainsFunc(w.in.Readings, func(r Reading) bool { return r.Meter == "" }) && slices.ContainsFunc(w.in.Readings, func(r Reading) bool { return r.Meter != "" }) {
		w.assume("readings without a meter: all made with one and the same")
	}
}
