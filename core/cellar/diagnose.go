package cellar

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"ullage/core/causes"
	"ullage/core/quantity"
	"ullage/core/way"
)

// diagnose names the causes that the readings of the map show, the largest
// first. What is over its budget, its interval too, and has no cause is named as
// that.
func (n *network) diagnose(m *Map) []causes.Finding {
	tests := n.tests()
	out := []causes.Finding{}
	for i := range tests {
		t := &tests[i]
		for _, f := range t.Read(causes.Alpha / float64(max(1, len(tests)))).Findings {
			f.Batch, f.Move = t.batch, t.move
			f.Step = stepTo(m, t.to)
			if f.Kind == causes.FoundTankGas {
				n.gasEvidence(m, &f)
			}
			out = append(out, f)
		}
	}
	for _, f := range n.exchanged(m, out) { // it says more than an offset does
		out = append(slices.DeleteFunc(out, func(o causes.Finding) bool { return o.Step == f.Step && o.Kind == causes.FoundOffset }), f)
	}
	out = append(out, n.twoMeters()...)
	for i := range m.Steps {
		out = append(out, n.ofStep(&m.Steps[i], out, len(m.Steps))...)
	}
	slices.SortStableFunc(out, func(a, b causes.Finding) int {
		if a, b := shown(a.Kind), shown(b.Kind); a != b {
			return a - b
		}
		return cmp.Compare(math.Abs(b.PPB), math.Abs(a.PPB))
	})
	return out
}

// shown is the order of findings: what has a cause, what has none, and last
// what yeast did with it.
func shown(kind string) int {
	switch kind {
	case causes.FoundConsumption:
		return 2
	case causes.FoundPickup, causes.FoundUnclear:
		return 1
	}
	return 0
}

func stepTo(m *Map, node string) string {
	if st := stepInto(m, node); st != nil {
		return st.ID
	}
	return ""
}

// mapTest is a test that the readings of a map hold.
type mapTest struct {
	causes.Test
	batch, move, to string // to: the node after
}

// tests collects flow tests of neighbouring points of a move, traces of a point
// in a move, and vessels over time.
func (n *network) tests() []mapTest {
	var out []mapTest
	for i := range n.Places {
		v := &n.Places[i]
		if !v.Known || v.Run != "" || way.IsWort(v.Point) {
			continue
		}
		if v.Move != "" {
			out = append(out, n.flowTests(i)...)
		}
	}
	for id := range n.Shown {
		out = append(out, n.heldTests(id)...)
	}
	slices.SortStableFunc(out, func(a, b mapTest) int {
		if a.to < b.to {
			return -1
		} else if a.to > b.to {
			return 1
		}
		return 0
	})
	return out
}

// flowTests pairs the readings of a point with those before it, nearest in time.
func (n *network) flowTests(i int) []mapTest {
	v := &n.Places[i]
	parts := n.Inflow(i).Parts
	t := mapTest{Test: causes.Test{Where: n.whereOf(v, parts)}, batch: v.Batch, move: v.Move, to: v.ID}
	var before *way.Place
	if len(parts) == 1 {
		before = &n.Places[parts[0].From]
	}
	for _, r := range v.All {
		row := causes.TestRow{At: r.At, FlowHLH: r.FlowHLH, Out: &r.DO, OutU: r.U, MeterOut: r.Meter}
		if row.FlowHLH <= 0 {
			if m := n.MoveByID(v.Move); m != nil {
				row.FlowHLH = m.Flow()
			}
		}
		if before != nil {
			if b := nearestIn(before.All, r); b != nil {
				row.In, row.InU, row.MeterIn = &b.DO, b.U, b.Meter
			}
		}
		t.Rows = append(t.Rows, row)
	}
	pairs, _ := t.Pairs()
	least, most := causes.FlowRange(pairs)
	if len(pairs) >= 2 && most >= 1.25*least || len(v.All) >= causes.LeastTrace {
		return []mapTest{t}
	}
	return nil
}

// whereOf says between which points.
func (n *network) whereOf(v *way.Place, parts []way.Link) string {
	if len(parts) == 1 {
		return way.PointWord(n.Places[parts[0].From].Point) + " → " + way.PointWord(v.Point)
	}
	return way.PointWord(v.Point)
}

// nearestIn is the reading before a step that belongs to one after it: of the
// same flow, within half an hour.
func nearestIn(list []*way.Reading, r *way.Reading) *way.Reading {
	var best *way.Reading
	gap := 30 * time.Minute
	for _, b := range list {
		if b.FlowHLH > 0 && r.FlowHLH > 0 && math.Abs(b.FlowHLH/r.FlowHLH-1) > 0.05 {
			continue
		}
		d := r.At.Sub(b.At).Abs()
		if b.At.IsZero() || r.At.IsZero() {
			d = 0
		}
		if d <= gap {
			if best == nil || d < gap {
				best = b
			}
			gap = d
		}
	}
	return best
}

// heldTests are the stays of a vessel over time, from the readings while it was
// held.
func (n *network) heldTests(batch string) (out []mapTest) {
	var rows []*way.Reading
	for i := range n.In.Readings {
		if r := &n.In.Readings[i]; r.Batch == batch && r.Point == way.TankHold && !r.At.IsZero() {
			rows = append(rows, r)
		}
	}
	way.ByTime(rows)
	for _, stay := range way.Stays(rows) {
		if len(stay) < 2 {
			continue
		}
		t := mapTest{Test: causes.Test{Where: n.In.Name(batch), Step: way.StepHold, Held: true, Yeast: n.YeastIn(batch)}, batch: batch}
		for _, r := range stay {
			t.Rows = append(t.Rows, causes.TestRow{At: r.At, Out: &r.DO, OutU: r.U, MeterOut: r.Meter})
		}
		last := stay[len(stay)-1]
		for i := range n.Places {
			if v := &n.Places[i]; v.Known && v.Batch == batch && v.Point == way.TankHold && slices.Contains(v.Readings, last) {
				t.to = v.ID
			}
		}
		out = append(out, t)
	}
	return out
}

// gasEvidence holds a rise of a tank against what was read in its gas.
func (n *network) gasEvidence(m *Map, f *causes.Finding) {
	for _, g := range m.TankGas {
		if g.Batch != f.Batch {
			continue
		}
		f.Evidence += fmt.Sprintf("; its gas holds %s %% oxygen, which beer follows up to %s ppb", quantity.Figure(g.Fraction*100), quantity.Figure(g.Contact))
	}
	for i := range n.In.Runs {
		if n.In.Runs[i].Batch == f.Batch {
			f.Evidence += "; the tank was being emptied, and its counter gas came in"
			return
		}
	}
}

// twoMeters finds places that two meters read apart at the same time.
func (n *network) twoMeters() []causes.Finding {
	out := []causes.Finding{}
	for i := range n.Places {
		v := &n.Places[i]
		for k, a := range v.Readings {
			for _, b := range v.Readings[k+1:] {
				if a.Meter == "" || b.Meter == "" || a.Meter == b.Meter || a.At.Sub(b.At).Abs() > 10*time.Minute || a.At.IsZero() || b.At.IsZero() {
					continue
				}
				oa, ca := way.Spread(a)
				ob, cb := way.Spread(b)
				if d, u := b.DO-a.DO, math.Sqrt(oa*oa+ca*ca+ob*ob+cb*cb); math.Abs(d) > 3*u {
					f := (&causes.Test{Where: way.PointWord(v.Point)}).Finding(causes.FoundMeter, d, fmt.Sprintf("%s read %s ppb and %s %s ppb within 10 min, %s standard uncertainties apart", a.Meter, quantity.Figure(a.DO), b.Meter, quantity.Figure(b.DO), quantity.Figure(math.Abs(d)/u)))
					f.Batch, f.Move = v.Batch, v.Move
					out = append(out, f)
				}
			}
		}
	}
	return out
}

// ofStep names what a step shows by itself, where no test named it before.
func (n *network) ofStep(st *Step, named []causes.Finding, steps int) []causes.Finding {
	for i := range named {
		if named[i].Step == st.ID {
			return nil
		}
	}
	t := causes.Test{Where: describe(st.Covers)}
	f := causes.Finding{}
	if math.Erfc(math.Abs(st.Delta)/st.U/math.Sqrt2)*float64(steps) > 0.05 {
		return nil // one of so many steps scatters as far
	}
	switch {
	case st.State == "over" && st.Kind == way.StepDryHop:
		f = t.Finding(causes.FoundDryHop, st.Delta, st.Reason)
		if dose := n.hopDose(st.Batch); dose > 0 {
			f.Evidence += fmt.Sprintf("; %s ppb for each g/L of hops: common practice finds 5 to 15 from a purged doser, 30 to 100 open", quantity.Figure(st.Delta/dose))
			f.Fit = map[string]any{"hops_g_l": dose, "ppb_per_g_l": st.Delta / dose}
		}
	case st.State == "over" && st.Low95 <= *st.Budget:
		return nil // the step says it itself
	case st.State == "over" && st.Kind == way.StepHold:
		t.Where = n.In.Name(st.Batch)
		f = t.Finding(causes.FoundTankGas, st.Delta, st.Reason)
	case st.State == "over":
		f = t.Finding(causes.FoundPickup, st.Delta, st.Reason)
		f.NextCheck = st.NextCheck
	case st.Consumed && st.Kind != way.StepFermentation:
		f = t.Finding(causes.FoundConsumption, st.Delta, st.Reason)
		if st.HalfLifeH != nil {
			f.Fit = map[string]any{"half_life_h": *st.HalfLifeH}
		}
	case st.State == "negative" && !st.Consumed:
		if may, _ := n.MayFall(st.Covers, st.Batch); may {
			return nil
		}
		f = t.Finding(causes.FoundOffset, st.Delta, st.Reason)
		f.NextCheck = st.NextCheck
	default:
		return nil
	}
	f.Step, f.Batch, f.Move = st.ID, st.Batch, st.Move
	return []causes.Finding{f}
}

// hopDose is g/L of the dry hops recorded for a batch.
func (n *network) hopDose(batch string) float64 {
	kg, volume := 0.0, 0.0
	for _, m := range n.In.Moves {
		if m.To == batch && m.Addition != nil && m.Addition.What == "dry_hop" {
			kg += m.Addition.AmountKG
		}
	}
	if b := n.In.BatchByID(batch); b != nil {
		volume = b.VolumeHL
	}
	if volume <= 0 {
		volume = n.Filled(batch)
	}
	if volume <= 0 {
		return 0
	}
	return kg * 1000 / (volume * way.LitresPerHL)
}
