package lab

import (
	"slices"
	"strings"
	"time"

	"ullage/core/verdict"
)

// A tank is read before a run and while it runs. The last reading before the
// start counts within a day, so that one of yesterday's does not stand for
// today's beer.
const (
	tankBefore = 24 * time.Hour
	tankAfter  = 10 * time.Minute
	// tankFresh is how long the nearest of several readings of a tank speaks for
	// it. One that was read once is taken as steady.
	tankFresh = 45 * time.Minute
)

// tankPoints are readings of the tank that a run draws from.
var tankPoints = []string{"tank_after", "tank_rested", "tank_hold"}

// tankEnd is when a run stops drawing from the tank it names: its end, or the
// first change of tank. changed tells the latter; zero is not yet.
func tankEnd(run *Run, events []*Event) (end Time, changed bool) {
	if end = run.EndedAt; !end.IsZero() {
		end = Time{end.Add(tankAfter)}
	}
	for _, e := range events {
		if e.EventKind == "tank_change" && !e.Archived && (end.IsZero() || e.At.Before(end.Time)) {
			end, changed = e.At, true
		}
	}
	return end, changed
}

// TankReadings are those that a run's split stands on, in order of time: the
// last before its start, and all until its end or the first change of tank: from
// then on the beer is of another batch than the run names.
func TankReadings(run *Run, events []*Event, all []*Reading) []*Reading {
	end, _ := tankEnd(run, events)
	var before *Reading
	var out []*Reading
	for _, r := range all {
		if r.Archived || r.DOPpb == nil || r.BatchID != run.BatchID || !slices.Contains(tankPoints, r.Point) {
			continue
		}
		switch ago := run.StartedAt.Sub(r.At.Time); {
		case ago > tankBefore:
		case ago >= 0:
			if before == nil || r.At.After(before.At.Time) {
				before = r
			}
		case end.IsZero() || !r.At.After(end.Time):
			out = append(out, r)
		}
	}
	if before != nil {
		out = append(out, before)
	}
	slices.SortFunc(out, func(a, b *Reading) int { return byAt(a.At, b.At, a.ID, b.ID) })
	return out
}

func byAt(a, b Time, ida, idb string) int {
	if c := a.Compare(b.Time); c != 0 {
		return c
	}
	return strings.Compare(ida, idb)
}

// joinTank puts the tank's DO on the inlet samples of the run, between two of its
// readings on a straight line, so that the line's pick-up is of one moment even
// where the tank drifts; without an inlet sample, each on the sample next to it.
// It adds the inlet readings that were entered in the cellar, and moves no time,
// because the run begins with its first sample. The browser does the same.
func (d *RunRecords) joinTank(in *verdict.Input) {
	if len(in.Samples) == 0 {
		return
	}
	for _, r := range d.inletReadings() {
		in.Samples = append(in.Samples, verdict.Sample{ID: r.ID, Taken: r.At.Time, Inlet: r.DOPpb})
	}
	tank := TankReadings(d.Run, d.Events, d.Readings)
	if len(tank) == 0 {
		return
	}
	inlet := false
	for i := range in.Samples {
		s := &in.Samples[i]
		if s.Inlet == nil {
			continue
		}
		inlet = true
		if v, ok := TankAt(d.Run, d.Events, tank, s.Taken); ok {
			s.Tank = &v
		}
	}
	if inlet {
		return
	}
	for _, r := range tank {
		best := -1
		for i := range in.Samples {
			s := &in.Samples[i]
			if s.Tank == nil && (best < 0 || s.Taken.Sub(r.At.Time).Abs() < in.Samples[best].Taken.Sub(r.At.Time).Abs()) {
				best = i
			}
		}
		if best >= 0 {
			in.Samples[best].Tank = r.DOPpb
		}
	}
}

// inletReadings are those at the filler's inlet that were entered in the cellar,
// while the run went.
func (d *RunRecords) inletReadings() (out []*Reading) {
	for _, r := range d.Readings {
		inside := !r.At.Before(d.Run.StartedAt.Time) && (d.Run.EndedAt.IsZero() || !r.At.After(d.Run.EndedAt.Time))
		if r.Point == "filler_inlet" && r.DOPpb != nil && !r.Archived && r.BatchID == d.Run.BatchID && inside {
			out = append(out, r)
		}
	}
	return out
}

// TankAt is the tank's DO at a time, between two readings on a straight line, and
// for three quarters of an hour that of the nearest; the only reading there is
// speaks for all of the run. It is not known later, nor once the run draws from
// another tank.
func TankAt(run *Run, events []*Event, tank []*Reading, t time.Time) (float64, bool) {
	if end, changed := tankEnd(run, events); changed && t.After(end.Time) {
		return 0, false
	}
	var a, b *Reading
	for _, r := range tank {
		if r.At.After(t) {
			b = r
			break
		}
		a = r
	}
	switch {
	case a != nil && b != nil:
		share := float64(t.Sub(a.At.Time)) / float64(b.At.Sub(a.At.Time))
		return *a.DOPpb + (*b.DOPpb-*a.DOPpb)*share, true
	case len(tank) == 1:
		return *tank[0].DOPpb, true
	case a != nil && t.Sub(a.At.Time) <= tankFresh:
		return *a.DOPpb, true
	case b != nil && b.At.Sub(t) <= tankFresh:
		return *b.DOPpb, true
	}
	return 0, false
}
