package way

import (
	"fmt"
	"slices"
	"time"

	"ullage/core/quantity"
)

// clocks finds readings whose times contradict the way.
func (w *Way) clocks() {
	const slack = 10 * time.Minute // both sides of a step are read one after the other
	for i := range w.Places {
		v := &w.Places[i]
		if !v.Known || v.At.IsZero() {
			continue
		}
		for _, p := range w.Inflow(i).Parts {
			u := &w.Places[p.From]
			first := u.firstAt()
			if first.IsZero() || v.At.Add(slack).After(first) || u.Run != "" && u.Run == v.Run {
				continue // the means of a run are of its start
			}
			w.warn("clock_order", v.Rows[0], fmt.Sprintf("%s was read at %s, before %s at %s, which the beer passes first", PointWord(v.Point), stamp(v.At), PointWord(u.Point), stamp(first)),
				"check date and time of both; the map follows the points")
		}
	}
	for i := range w.In.Moves {
		if m := &w.In.Moves[i]; !m.Started.IsZero() && !m.Ended.IsZero() && m.Ended.Before(m.Started) {
			w.warn("clock_order", m.ID, fmt.Sprintf("a move ended at %s, before it began at %s", stamp(m.Ended), stamp(m.Started)), "check both times")
		}
	}
}

func (v *Place) firstAt() time.Time {
	var at time.Time
	for _, r := range v.Readings {
		if !r.At.IsZero() && (at.IsZero() || r.At.Before(at)) {
			at = r.At
		}
	}
	return at
}

func stamp(t time.Time) string { return t.Format("2006-01-02 15:04") }

// units asks about values that look like a slip of the unit.
func (w *Way) units() {
	for i := range w.Places {
		v := &w.Places[i]
		for _, r := range v.Readings {
			switch {
			case IsWort(v.Point) && v.Point == WortOxygenated && r.DO > 0 && r.DO < 50:
				w.warn("unit_slip", r.ID, fmt.Sprintf("wort at %s ppb: %s mg/L would be usual", quantity.Figure(r.DO), quantity.Figure(r.DO)), fmt.Sprintf("if the meter showed mg/L, write %s ppb", quantity.Figure(r.DO*1000)))
			case !IsWort(v.Point) && r.DO >= EventPPB && r.Confirmed != "event" && !ofPackage(v.Point):
				w.warn("unit_slip", r.ID, fmt.Sprintf("%s ppb after fermentation: a slip of the unit (%s ppb), or an event", quantity.Figure(r.DO), quantity.Figure(r.DO/1000)), "type it again, or confirm the event")
			}
		}
	}
	without := 0
	for i := range w.In.Readings {
		if w.In.Readings[i].U <= 0 {
			without++
		}
	}
	if without > 0 {
		w.Assume("standard uncertainty of a reading: the larger of 1 ppb and 2 % for the meter, half of its variance common to all its readings, and 1.5 ppb for sampling")
	}
	if slices.ContainsFunc(w.In.Readings, func(r Reading) bool { return r.Meter == "" }) && slices.ContainsFunc(w.In.Readings, func(r Reading) bool { return r.Meter != "" }) {
		w.Assume("readings without a meter: all made with one and the same")
	}
}
