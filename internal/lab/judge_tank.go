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
)

// tankPoints are readings of the tank that a run draws from.
var tankPoints = []string{"tank_after", "tank_rested", "tank_hold"}

// TankReadings are those that a run's split stands on, in order of time: the
// last before its start, and all until its end or the first change of tank: from
// then on the beer is of another batch than the run names.
func TankReadings(run *Run, events []*Event, all []*Reading) []*Reading {
	end := run.EndedAt
	if !end.IsZero() {
		end = Time{end.Add(tankAfter)}
	}
	for _, e := range events {
		if e.EventKind == "tank_change" && !e.Archived && (end.IsZero() || e.At.Before(end.Time)) {
			end = e.At
		}
	}
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

// joinTank puts each tank DO on the sample of the run that was taken next to it,
// and adds the inlet readings that were entered in the cellar. It moves no time,
// because the run begins with its first sample. The browser does the same.
func (d *RunRecords) joinTank(in *verdict.Input) {
	if len(in.Samples) == 0 {
		return
	}
	for _, r := range d.Readings {
		inside := !r.At.Before(d.Run.StartedAt.Time) && (d.Run.EndedAt.IsZero() || !r.At.After(d.Run.EndedAt.Time))
		if r.Point == "filler_inlet" && r.DOPpb != nil && !r.Archived && r.BatchID == d.Run.BatchID && inside {
			in.Samples = append(in.Samples, verdict.Sample{ID: r.ID, Taken: r.At.Time, Inlet: r.DOPpb})
		}
	}
	for _, r := range TankReadings(d.Run, d.Events, d.Readings) {
		best := -1
		for i := range in.Samples {
			s := &in.Samples[i]
			if s.Tank == nil && (best < 0 || nearer(s, &in.Samples[best], r.At.Time)) {
				best = i
			}
		}
		if best >= 0 {
			in.Samples[best].Tank = r.DOPpb
		}
	}
}

// nearer tells that a belongs to a tank reading at t rather than b.
func nearer(a, b *verdict.Sample, t time.Time) bool {
	da, db := a.Taken.Sub(t).Abs(), b.Taken.Sub(t).Abs()
	if da == db {
		return a.Inlet != nil && b.Inlet == nil
	}
	return da < db
}
