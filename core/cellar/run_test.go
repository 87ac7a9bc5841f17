package cellar_test

import (
	"math"
	"slices"
	"strings"
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

// drawn is a bright tank of 40 hL with runs out of it.
func drawn(gas bool, runs ...way.Run) way.Input {
	inlet, tpo := 26.0, 90.0
	in := way.Input{Batches: []way.Batch{{ID: "b", Tank: "BBT2", VolumeHL: 40, GasHL: 4, HeadspaceBar: 1, Vessel: "bright_tank"}},
		Readings: []way.Reading{{ID: "rest", Batch: "b", Point: way.TankRested, At: after(-60), DO: 20, Meter: "M"}}}
	for i, r := range runs {
		r.ID, r.Batch, r.Started, r.Ended = string(rune('r'+i)), "b", after(float64(600*i)), after(float64(600*i+240))
		r.Inlet, r.TPO = &inlet, &tpo
		in.Runs = append(in.Runs, r)
	}
	if gas {
		share, cold := 0.001, 2.0
		in.Readings = append(in.Readings, way.Reading{ID: "gas", Batch: "b", Point: way.TankGasPoint, At: after(120), GasO2: &share, TemperatureC: &cold})
	}
	return in
}

// What runs draw counts as what moves take: measured or from packages; from the
// line's speed it is the most there can be, and contradicts nothing.
func TestRunsDrawTheTank(t *testing.T) {
	for _, c := range []struct {
		name string
		runs []way.Run
		want string
	}{
		{"two that fit", []way.Run{{VolumeHL: 20}, {VolumeHL: 19}}, ""},
		{"emptied twice", []way.Run{{VolumeHL: 38}, {VolumeHL: 39}}, "emptied_twice"},
		{"more than it held", []way.Run{{VolumeHL: 46}}, "volumes_differ"},
		{"packages, overfilled a little", []way.Run{{VolumeHL: 44, VolumeFrom: "packages"}}, ""},
		{"packages, far too many", []way.Run{{VolumeHL: 50, VolumeFrom: "packages"}}, "volumes_differ"},
		{"by time", []way.Run{{VolumeHL: 70, VolumeFrom: "time"}, {VolumeHL: 70, VolumeFrom: "time"}}, ""},
	} {
		m := build(t, drawn(false, c.runs...))
		got := ""
		for _, w := range m.Warnings {
			got = w.Code
		}
		if got != c.want {
			t.Errorf("%s: %q, want %q: %+v", c.name, got, c.want, m.Warnings)
		}
		said := slices.ContainsFunc(m.Assumptions, func(s string) bool { return strings.Contains(s, "not measured") })
		if said != (c.runs[0].VolumeFrom != "") {
			t.Errorf("%s: %q", c.name, m.Assumptions)
		}
	}
}

// A gas space grows as the tank is drawn down: half of a run of 36 hL, 18 hL, are
// out when the gas is read, so that 22 hL lie below it. The tank, read once, may
// have come to equilibrium with that gas at most: 0.001 × (201.325/101.325) × S(2 °C).
func TestTankDrawnDown(t *testing.T) {
	m := build(t, drawn(true, way.Run{VolumeHL: 36}))
	g := m.TankGas[0]
	if math.Abs(g.BeerHL-22) > 1e-9 || math.Abs(g.GasHL-22) > 1e-9 {
		t.Errorf("%+v", g)
	}
	s := m.Package[0].Steady
	if s == nil || s.DrawnHL != 36 || s.GasFrom != 4 || s.GasTo != 40 || s.Most == nil || math.Abs(*s.Most-g.Contact) > 1e-9 || *s.Most < 120 || *s.Most > 140 {
		t.Fatalf("%+v, contact %v", s, g.Contact)
	}
	if !slices.ContainsFunc(m.Assumptions, func(a string) bool { return strings.Contains(a, "at most") }) {
		t.Errorf("%q", m.Assumptions)
	}
	if m := build(t, drawn(false, way.Run{VolumeHL: 36})); m.Package[0].Steady == nil || m.Package[0].Steady.Most != nil {
		t.Errorf("without its gas: %+v", m.Package[0].Steady)
	}
	if m := build(t, drawn(false, way.Run{VolumeHL: 3})); m.Package[0].Steady != nil {
		t.Errorf("hardly drawn: %+v", m.Package[0].Steady)
	}
}
