package cellar_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"ullage/core/cellar"
	"ullage/core/way"
	"ullage/scripts/reference"
)

// sciPyReading is a reading as the script takes it.
type sciPyReading struct {
	DO    float64  `json:"do_ppb"`
	Meter string   `json:"meter"`
	From  [][2]any `json:"from"`
	Free  bool     `json:"free"`
}

// contradicting draws a way of two tanks into one, read by two meters, whose
// readings scatter more than they should.
func contradicting(r *rand.Rand) (way.Input, []sciPyReading) {
	v1, v2 := 20+60*r.Float64(), 20+60*r.Float64()
	in := way.Input{
		Batches: []way.Batch{{ID: "a", VolumeHL: v1, Vessel: "bright_tank"}, {ID: "b", VolumeHL: v2, Vessel: "fermenter"}, {ID: "c", Vessel: "bright_tank"}},
		Moves: []way.Move{{ID: "m1", Kind: "transfer", From: "a", To: "c", VolumeHL: v1, Via: []string{"filter"}, Started: after(100)},
			{ID: "m2", Kind: "blend", From: "b", To: "c", VolumeHL: v2, Started: after(200)}},
	}
	var list []sciPyReading
	add := func(batch, move, point string, minutes float64, free bool, from ...[2]any) int {
		do, meter := 60+8*r.NormFloat64(), "M"+strconv.Itoa(r.IntN(2)) // far from zero: the script does not hold a free step above it
		in.Readings = append(in.Readings, way.Reading{ID: strconv.Itoa(len(list)), Batch: batch, Move: move, Point: point, At: after(minutes), DO: do, Meter: meter})
		if from == nil {
			from = [][2]any{}
		}
		list = append(list, sciPyReading{do, meter, from, free})
		return len(list) - 1
	}
	a := add("a", "", way.TankRested, 0, false)
	a = add("a", "m1", way.TankBefore, 90, false, [2]any{a, 1.0})
	f := add("a", "m1", way.FilterIn, 101, false, [2]any{a, 1.0})
	f = add("a", "m1", way.FilterOut, 102, false, [2]any{f, 1.0})
	first := add("c", "m1", way.TankAfter, 150, false, [2]any{f, 1.0})
	b := add("b", "", way.FermentationEnd, 10, false)
	b = add("b", "m2", way.TankBefore, 190, true, [2]any{b, 1.0}) // held with yeast
	c := add("c", "m2", way.TankAfter, 260, false, [2]any{first, v1 / (v1 + v2)}, [2]any{b, v2 / (v1 + v2)})
	add("c", "", way.TankRested, 500, false, [2]any{c, 1.0})
	return in, list
}

func TestReconciliationSciPy(t *testing.T) {
	r := rand.New(rand.NewPCG(46, 1))
	var maps []cellar.Map
	var ways [][]sciPyReading
	for range 200 {
		in, way := contradicting(r)
		maps, ways = append(maps, build(t, in)), append(ways, way)
	}
	text, err := json.Marshal(ways)
	if err != nil {
		t.Fatal(err)
	}
	var ref []struct {
		Values []float64
		Chi2   float64
	}
	if err := json.Unmarshal(reference.Run(t, "reconcile_scipy.py", "scipy", text), &ref); err != nil {
		t.Fatal(err)
	}
	worst, needed := 0.0, 0
	for i, m := range maps {
		got := map[string]float64{}
		for _, n := range m.Nodes {
			got[n.Readings[0]] = *n.Reconciled
		}
		if m.Reconciliation.Needed {
			needed++
		}
		for k, want := range ref[i].Values {
			worst = math.Max(worst, math.Abs(got[strconv.Itoa(k)]-want))
		}
		if math.Abs(m.Reconciliation.Chi2-ref[i].Chi2) > 1e-6*(1+ref[i].Chi2) {
			t.Errorf("way %d: chi² %.9g, SciPy %.9g", i, m.Reconciliation.Chi2, ref[i].Chi2)
		}
	}
	t.Logf("%d of %d ways had to move; values within %.2g ppb of SciPy's", needed, len(maps), worst)
	if worst > 1e-6 {
		t.Errorf("values differ by %.3g ppb", worst)
	}
	if needed < 150 {
		t.Errorf("only %d of %d ways contradict: the test tests little", needed, len(maps))
	}
}
