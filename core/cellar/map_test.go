package cellar_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"ullage/core/cellar"
	"ullage/core/quantity"
	"ullage/core/way"
)

// ppbs are readings of one meter along one way.
func ppbs(points ...any) (list []way.ChainRow) {
	for i := 0; i < len(points); i += 2 {
		list = append(list, way.ChainRow{Reading: way.Reading{ID: fmt.Sprint(i/2 + 1), Point: points[i].(string), DO: float64(points[i+1].(int)), Meter: "M1"}})
	}
	return list
}

func TestStates(t *testing.T) {
	for _, c := range []struct {
		name, state, says, next string
		rows                    []way.ChainRow
		meter                   string // of the last reading
		consumed                bool
	}{
		{"inside the scatter", "not_resolved", "not resolved, which is not zero; at most 6.6 ppb, within its 12", "", ppbs("tank_before", 20, "tank_after", 22), "M1", false},
		{"unresolved against a small budget", "not_resolved", "not resolved", "read both sides within 5 min with one meter, 10 times each", ppbs("tank_rested", 20, "tank_hold", 22), "M1", false},
		{"within", "within", "+8.0 ± 4.6 ppb, within its 12; the interval reaches above", "", ppbs("tank_before", 20, "tank_after", 28), "M1", false},
		{"over", "over", "+30.0 ± 4.6 ppb, over its 10", "sealing water", ppbs("centrifuge_in", 5, "centrifuge_out", 35), "M1", false},
		{"over, and no reading separates it", "over", "over its 25", "no reading separates line to the filler + filling", ppbs("tank_rested", 20, "unshaken", 70), "M1", false},
		{"yeast", "negative", "taken up by yeast", "what brought it in", ppbs("dry_hop_1h", 190, "dry_hop_24h", 35), "M1", true},
		{"fermentation", "negative", "as it should be", "", ppbs("wort_oxygenated", 9500, "fermentation_end", 4), "M1", true},
		{"stripping", "negative", "stripped by CO2", "one meter", ppbs("carbonation_before", 60, "carbonation_after", 30), "M1", false},
		{"mislabelled", "negative", "mislabelled", "check point and time", ppbs("filter_in", 60, "filter_out", 20), "M1", false},
		{"two meters", "negative", "two meters read it (M1, M2)", "swap them", ppbs("filter_in", 60, "filter_out", 20), "M2", false},
	} {
		c.rows[len(c.rows)-1].Meter = c.meter
		m := build(t, way.Chain(c.rows))
		s := m.Steps[len(m.Steps)-1]
		if s.State != c.state || !strings.Contains(s.Reason, c.says) || !strings.Contains(s.NextCheck, c.next) || s.Consumed != c.consumed {
			t.Errorf("%s: %s, %q, next %q, consumed %v", c.name, s.State, s.Reason, s.NextCheck, s.Consumed)
		}
		if (s.State == "not_resolved") == s.Resolved {
			t.Errorf("%s: resolved %v in state %s", c.name, s.Resolved, s.State)
		}
	}
}

// An offset that one meter has everywhere falls out of a step; between two
// meters it does not (eq. 40): u² = 2 × (0.5 + 2.25), and 2 × 3.25.
func TestSharedMeter(t *testing.T) {
	for meter, want := range map[string]float64{"M1": math.Sqrt(5.5), "M2": math.Sqrt(6.5)} {
		rows := ppbs("tank_before", 20, "tank_after", 30)
		rows[1].Meter = meter
		if s := build(t, way.Chain(rows)).Steps[0]; math.Abs(s.U-want) > 1e-12 {
			t.Errorf("%s: u %v, want %v", meter, s.U, want)
		}
	}
}

// A chain that contradicts itself: 30, 50, 22, 33 of equal weight. By hand: the
// pools 50 and 22 meet at 36, and 33 joins them at 35.
func TestReconciledByHand(t *testing.T) {
	rows := ppbs("tank_before", 30, "tank_after", 50, "tank_rested", 22, "filler_inlet", 33)
	m := build(t, way.Chain(rows))
	want := []float64{30, 35, 35, 35}
	for i, n := range m.Nodes {
		if math.Abs(*n.Reconciled-want[i]) > 1e-9 {
			t.Errorf("%s: %v, want %v", n.ID, *n.Reconciled, want[i])
		}
	}
	// own u² 0.5 + 2.25 each; the meter's part moves none of them against another
	r := m.Reconciliation
	chi := (15*15 + 13*13 + 2*2) / 2.75
	if !r.Needed || r.Consistent || r.MovedMost != "2" || r.DF != 2 || math.Abs(r.Chi2-chi) > 1e-9*chi {
		t.Errorf("%+v, want chi² %v", r, chi)
	}
}

func TestPackageSplit(t *testing.T) {
	m := build(t, way.Chain(ppbs("tank_rested", 26, "filler_inlet", 33, "unshaken", 49, "tpo", 104)))
	p := m.Package[0]
	if *p.Tank != 26 || *p.Line != 7 || *p.Filler != 16 || *p.Headspace != 55 || *p.TPO != 104 || !m.Closure.Within || math.Abs(m.Closure.Residual) > 1e-9 {
		t.Errorf("%+v, closure %+v", p, m.Closure)
	}
	// TPO read below unshaken DO: the parts cannot be negative, and the sum does not close.
	m = build(t, way.Chain(ppbs("tank_rested", 26, "filler_inlet", 33, "unshaken", 90, "tpo", 60)))
	if m.Closure.Within || m.Closure.Residual >= 0 || m.Reconciliation.Consistent {
		t.Errorf("closure %+v, %+v", m.Closure, m.Reconciliation)
	}
}

// Two brews of 25 and 50 hL with 9 and 6 mg/L are 7 mg/L in the tank, and yeast
// takes them up.
func TestBrewsMeet(t *testing.T) {
	nine, six := 9000.0, 6000.0
	m := build(t, way.Input{Batches: []way.Batch{{ID: "fv", VolumeHL: 75}},
		Brews:    []way.Brew{{ID: "1", Batch: "fv", At: after(0), VolumeHL: 25, DO: &nine}, {ID: "2", Batch: "fv", At: after(200), VolumeHL: 50, DO: &six}},
		Readings: []way.Reading{{ID: "end", Batch: "fv", Point: way.FermentationEnd, At: after(9000), DO: 4}}})
	s := m.Steps[0]
	if len(m.Blends) != 1 || math.Abs(m.Blends[0].Mixed-7000) > 1e-9 || math.Abs(s.Delta-(4-7000)) > 1e-9 || !s.Consumed || len(m.Blends[0].Parts) != 2 {
		t.Errorf("blend %+v, step %+v", m.Blends, s)
	}
}

// A closed tank by hand: 40 hL without oxygen below 4 hL of gas at 200 kPa with
// 1 % oxygen at 1 °C. S = 68.29 mg/(L atm), so the beer would come to 0.01 ×
// 1.974 × 68.29 = 1.348 mg/L if the gas were never used up; the gas holds 20.80
// × 1.348 × 400 L = 11.2 g, which is 2.80 mg/L if all dissolved, and 2.80 / (1 +
// 20.80 × 4/40) = 0.91 mg/L once both have come to rest.
func TestGasSpace(t *testing.T) {
	eq, contact, grams := cellar.GasSpace(0, 40, 4, 0.01, 200, 1)
	if math.Abs(contact-1348) > 1 || math.Abs(grams-11.22) > 0.01 || math.Abs(eq-910.6) > 1 {
		t.Errorf("equilibrium %v, contact %v ppb, %v g", eq, contact, grams)
	}
	if kept := way.Grams(eq, 40) + grams*eq/contact; math.Abs(kept-grams) > 1e-9 {
		t.Errorf("%v g of %v", kept, grams)
	}
}

func TestLeakArithmetic(t *testing.T) {
	if g := way.Grams(22, 120); math.Abs(g-0.264) > 1e-12 {
		t.Errorf("22 ppb in 120 hL: %v g", g)
	}
	if q := way.AirLeak(22, 120) * 60 / 1000; math.Abs(q-0.948) > 0.001 {
		t.Errorf("22 ppb at 120 hL/h: %v L of air an hour", q)
	}
	if q := way.AirLeak(20, 60); math.Abs(q-7.18) > 0.01 {
		t.Errorf("20 ppb at 60 hL/h: %v mL a minute", q)
	}
}

// What cannot be is refused with its place and a mend.
func TestRefusals(t *testing.T) {
	two := []way.Batch{{ID: "a"}, {ID: "b"}}
	reading := func(r way.Reading) []way.Reading {
		r.ID = "r"
		return []way.Reading{r}
	}
	for _, c := range []struct {
		field, says string
		in          way.Input
	}{
		{"moves", `"a → b → a" goes in a circle`, way.Input{Batches: two, Moves: []way.Move{{ID: "1", From: "a", To: "b"}, {ID: "2", From: "b", To: "a"}}}},
		{"focus", "is no batch given", way.Input{Focus: "x", Batches: two}},
		{"batches[1].id", "given twice", way.Input{Batches: []way.Batch{{ID: "a"}, {ID: "a"}}}},
		{"moves[0].to", "is no batch given", way.Input{Batches: two, Moves: []way.Move{{ID: "1", From: "a", To: "c"}}}},
		{"moves[0].volume_hl", "below 0", way.Input{Batches: two, Moves: []way.Move{{ID: "1", From: "a", To: "b", VolumeHL: -1}}}},
		{"moves[0].from", "is missing", way.Input{Batches: two, Moves: []way.Move{{ID: "1"}}}},
		{"readings[0].point", "is no point", way.Input{Batches: two, Readings: reading(way.Reading{Batch: "a", Point: "cellar door"})}},
		{"readings[0].batch", "is missing", way.Input{Batches: two, Readings: reading(way.Reading{Point: way.TankHold})}},
		{"readings[0].move", "is no move", way.Input{Batches: two, Readings: reading(way.Reading{Batch: "a", Move: "9", Point: way.TankAfter})}},
		{"readings[0].do_ppb", "outside", way.Input{Batches: two, Readings: reading(way.Reading{Batch: "a", Point: way.TankHold, DO: math.NaN()})}},
		{"readings[0].u_ppb", "no standard uncertainty", way.Input{Batches: two, Readings: reading(way.Reading{Batch: "a", Point: way.TankHold, U: -1})}},
		{"batches[0].yeast", "is not yes or no", way.Input{Batches: []way.Batch{{ID: "a", Yeast: "lager"}}}},
	} {
		_, err := cellar.Build(c.in)
		var e *quantity.Error
		if !errors.As(err, &e) || e.Field != c.field || !strings.Contains(e.Error(), c.says) || e.Mend == "" {
			t.Errorf("%s: %v", c.field, err)
		}
	}
}

// What is unlikely is computed, and asked about.
func TestDoubts(t *testing.T) {
	warned := func(in way.Input, code string) string {
		t.Helper()
		for _, w := range build(t, in).Warnings {
			if w.Code == code {
				return w.Message
			}
		}
		t.Errorf("no warning %s", code)
		return ""
	}
	in := twoTanks()
	in.Moves = append(in.Moves, way.Move{ID: "again", Kind: "transfer", From: "fv", To: "bbt", VolumeHL: 55, FlowHLH: 60, Started: after(300)})
	if s := warned(in, "emptied_twice"); !strings.Contains(s, "held 60 hL and 115 hL left it") {
		t.Error(s)
	}
	in = twoTanks()
	in.Batches[1].VolumeHL = 40
	warned(in, "volumes_differ")
	in = twoTanks()
	in.Readings = []way.Reading{{ID: "1", Batch: "fv", Move: "m", Point: way.TankBefore, At: after(90), DO: 5}, {ID: "2", Batch: "bbt", Move: "m", Point: way.TankAfter, At: after(30), DO: 15}}
	if s := warned(in, "clock_order"); !strings.Contains(s, "08:30") {
		t.Error(s)
	}
	in = twoTanks()
	in.Readings = []way.Reading{{ID: "1", Batch: "fv", Point: way.FermentationEnd, DO: 4100}}
	if s := warned(in, "unit_slip"); !strings.Contains(s, "4100 ppb after fermentation: a slip of the unit (4.1 ppb)") {
		t.Error(s)
	}
	in.Readings[0].Confirmed = "event"
	if m := build(t, in); len(m.Warnings) > 0 {
		t.Errorf("%+v", m.Warnings)
	}
	in.Readings = []way.Reading{{ID: "1", Batch: "fv", Point: way.WortOxygenated, DO: 9.5}}
	if s := warned(in, "unit_slip"); !strings.Contains(s, "9.5 mg/L") {
		t.Error(s)
	}
	// A blend without volumes, a stream without a reading: assumed, and said.
	m := build(t, way.Input{Batches: []way.Batch{{ID: "a"}, {ID: "b"}, {ID: "c"}, {ID: "d"}},
		Moves:    []way.Move{{ID: "1", From: "a", To: "d", Started: after(1)}, {ID: "2", From: "b", To: "d", Started: after(2)}, {ID: "3", From: "c", To: "d", Started: after(3)}},
		Readings: []way.Reading{{ID: "1", Batch: "a", Point: way.TankRested, At: after(0), DO: 10}, {ID: "2", Batch: "d", Point: way.TankRested, At: after(60), DO: 20}}})
	said := strings.Join(m.Assumptions, "; ")
	if !strings.Contains(said, "taken as equal parts") || !strings.Contains(said, "taken as that of the rest") || m.Steps[0].Delta != 10 {
		t.Errorf("%q, %+v", said, m.Steps)
	}
}

// No reading at all is a map without steps, not an error.
func TestEmpty(t *testing.T) {
	m := build(t, twoTanks())
	if len(m.Nodes) != 2 || m.Nodes[0].DO != nil || len(m.Steps)+len(m.Diagnosis) != 0 {
		t.Errorf("%+v", m)
	}
}
