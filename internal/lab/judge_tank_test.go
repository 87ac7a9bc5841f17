package lab

import (
	"math"
	"testing"
	"time"

	"ullage/core/verdict"
)

// The parts of a run's split are its mean TPO, with the tank from the cellar's
// readings: the last before the start and those in the run, no others.
func TestTankInTheSplit(t *testing.T) {
	start := time.Date(2026, 11, 5, 8, 0, 0, 0, time.UTC)
	at := func(min int) Time { return At(start.Add(time.Duration(min) * time.Minute)) }
	d := &RunRecords{Run: &Run{Meta: Meta{ID: "r"}, BatchID: "k", StartedAt: at(0), EndedAt: at(120), Status: "ended"}}
	for i, v := range []struct {
		kind string
		min  int
		do   float64
	}{{"inlet", 2, 29}, {"unshaken", 10, 48}, {"shaken", 11, 46}, {"shaken", 40, 44}, {"inlet", 70, 31}, {"unshaken", 72, 52}} {
		s := &Sample{Meta: Meta{ID: string(rune('a' + i))}, RunID: "r", SampleKind: v.kind, TakenAt: at(v.min), ClosedAt: at(v.min - 1), Inputs: Inputs{DOPpb: Num(v.do)}}
		if v.kind == "shaken" {
			s.Result = &Result{TPOPpb: Num(2.4 * v.do), TPOUPpb: Num(4), BeerML: Num(355), Path: "weighed"}
		}
		if v.kind == "inlet" {
			s.ClosedAt = Time{}
		}
		d.Samples = append(d.Samples, s)
	}
	reading := func(id, batch, point string, min int, do float64) *Reading {
		return &Reading{Meta: Meta{ID: id}, BatchID: batch, Point: point, At: at(min), DOPpb: Num(do)}
	}
	without := d.Input()
	d.Readings = []*Reading{reading("1", "k", "tank_rested", -26*60, 90), reading("2", "k", "tank_rested", -40, 24), reading("3", "k", "tank_after", -900, 70),
		reading("4", "k", "tank_hold", 60, 26), reading("5", "k", "tank_hold", 200, 80), reading("6", "z", "tank_hold", 60, 80), reading("7", "k", "line_start", -5, 33)}
	in := d.Input()
	j, err := verdict.JudgeRun(in)
	if err != nil {
		t.Fatal(err)
	}
	s := j.Split
	// Inlet less tank: at 2 min 29 - (24 + 2 × 42/100), at 70 min 31 - 26, ten
	// minutes after its last reading.
	if line := (29 - 24.84 + 31 - 26) / 2; s.Tank == nil || math.Abs(*s.Line-line) > 1e-9 || math.Abs(*s.Tank-(30-line)) > 1e-9 {
		t.Fatalf("split %+v, want a line of %v ppb", s, line)
	}
	if sum := *s.Tank + *s.Line + *s.LiquidPickup + *s.Headspace; math.Abs(sum-s.TPO) > 1e-9 {
		t.Errorf("the parts add up to %v of %v ppb", sum, s.TPO)
	}
	if in.Samples[0].Tank == nil || in.Samples[4].Tank == nil || *in.Samples[4].Tank != 26 || in.Samples[1].Tank != nil {
		t.Errorf("the tank does not stand beside the inlet: %+v", in.Samples)
	}
	if len(in.Samples) != len(without.Samples) {
		t.Errorf("%d samples, without the tank %d", len(in.Samples), len(without.Samples))
	}
	d.Events = []*Event{{EventKind: "tank_change", At: at(50)}}
	// From the change on the next tank is drawn: only the inlet of 2 min is left,
	// half an hour after the reading before the start.
	if j, err = verdict.JudgeRun(d.Input()); err != nil || math.Abs(*j.Split.Line-5) > 1e-9 {
		t.Errorf("line %v, %v; want 29 - 24", *j.Split.Line, err)
	}
	d.Events = nil
	d.Readings = append(d.Readings, reading("8", "k", "filler_inlet", 30, 33), reading("9", "k", "filler_inlet", -30, 60))
	if j, err = verdict.JudgeRun(d.Input()); err != nil || *j.Split.Inlet != 31 {
		t.Errorf("inlet %v, %v; want 31 with the cellar's reading in the run", *j.Split.Inlet, err)
	}
}
