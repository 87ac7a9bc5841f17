package cellar_test

import (
	"math"
	"testing"

	"ullage/core/way"
)

// packaged is a tank read at 20 ppb before a run, and at what held says while it
// went on; the inlet's mean is 73, made of readings when the tank held 67.
func packaged(held ...way.Reading) way.Input {
	inlet, unshaken, tpo, tank := 73.0, 90.0, 150.0, 67.0
	in := way.Input{Batches: []way.Batch{{ID: "b", VolumeHL: 40, Vessel: "bright_tank"}},
		Runs: []way.Run{{ID: "r", Batch: "b", Started: after(0), Inlet: &inlet, InletU: 1, Unshaken: &unshaken, TPO: &tpo, Tank: &tank, TankUntil: after(310)}},
		Readings: []way.Reading{{ID: "rested", Batch: "b", Point: way.TankRested, At: after(-40), DO: 20, Meter: "M"},
			{ID: "start", Batch: "b", Point: way.LineStart, At: after(-6), DO: 22, Meter: "M"}}}
	for _, r := range held {
		r.Batch, r.Point, r.Meter = "b", way.TankHold, "M"
		in.Readings = append(in.Readings, r)
	}
	return in
}

// A tank that drifts while it is packaged is no pickup of the line: the split
// has the tank at the moments of the inlet, the rise is a step of its own, and
// the parts add up to the TPO.
func TestTankDriftsWhilePackaged(t *testing.T) {
	for _, c := range []struct {
		name             string
		held             []way.Reading
		tank, line, rise float64
		findings         int
	}{
		{"drifts", []way.Reading{{ID: "1", At: after(60), DO: 43}, {ID: "2", At: after(150), DO: 77}, {ID: "3", At: after(240), DO: 112}}, 67, 6, 47, 1},
		{"read once more", []way.Reading{{ID: "1", At: after(60), DO: 43}}, 67, 6, 47, 1},
		{"not read again, so the rise is the line's", nil, 20, 53, 0, 1},
		{"read again after it was changed", []way.Reading{{ID: "1", At: after(320), DO: 43}}, 20, 53, 0, 2},
	} {
		m := build(t, packaged(c.held...))
		p := m.Package[0]
		if *p.Tank != c.tank || *p.Line != c.line || math.Abs(*p.Tank+*p.Line+*p.Filler+*p.Headspace-*p.TPO) > 1e-9 || !p.Closure.Within || math.Abs(p.Closure.Residual) > 1e-9 {
			t.Errorf("%s: tank %v, line %v of %+v", c.name, *p.Tank, *p.Line, p)
		}
		rise, over := 0.0, map[string]bool{}
		for _, s := range m.Steps {
			if s.Kind == way.StepHold && s.Run == "r" {
				rise = s.Delta
			}
			if s.State == "over" && s.Batch == "b" {
				over[s.Kind] = true
			}
		}
		// 6 ± 5 ppb is over the line's 5, and no finding; 53 is one.
		if rise != c.rise || over[way.StepHold] != (len(c.held) > 0) || len(m.Diagnosis) != c.findings {
			t.Errorf("%s: rise %v, over %v, %d findings", c.name, rise, over, len(m.Diagnosis))
		}
		if len(m.Warnings) > 0 {
			t.Errorf("%s: %+v", c.name, m.Warnings)
		}
	}
}

// Readings of the inlet that were entered one by one are in the run's mean
// already: they are shown with it and weigh nothing more.
func TestInletMeanHoldsItsReadings(t *testing.T) {
	in := packaged(way.Reading{ID: "1", At: after(60), DO: 43})
	in.Readings = append(in.Readings, way.Reading{ID: "inlet", Batch: "b", Point: way.FillerInlet, At: after(280), DO: 130, Meter: "M"})
	m := build(t, in)
	if p := m.Package[0]; *p.Line != 6 {
		t.Errorf("line %v", *p.Line)
	}
	for _, n := range m.Nodes {
		if n.Point == way.FillerInlet && (*n.DO != 73 || len(n.Readings) != 2) {
			t.Errorf("%+v", n)
		}
	}
}

// The tank of one run is not that of the next from the same batch.
func TestTwoRunsFromATank(t *testing.T) {
	in := packaged(way.Reading{ID: "1", At: after(60), DO: 43}, way.Reading{ID: "2", At: after(360), DO: 70})
	second := in.Runs[0]
	inlet, tank := 80.0, 72.0
	second.ID, second.Started, second.TankUntil, second.Inlet, second.Tank = "r2", after(300), after(500), &inlet, &tank
	in.Runs[0].TankUntil = after(320)
	in.Runs = append(in.Runs, second)
	m := build(t, in)
	if p := m.Package[1]; *p.Tank != 72 || *p.Line != 8 || *m.Package[0].Line != 6 {
		t.Errorf("%+v", m.Package)
	}
}
