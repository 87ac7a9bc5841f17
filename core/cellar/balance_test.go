package cellar_test

import (
	"math"
	"slices"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"ullage/core/cellar"
	"ullage/core/way"
)

// brewery is vessels with what they really hold, filled and emptied layer by
// layer: splits, blends, additions, several brews into one tank.
type brewery struct {
	in      way.Input
	left    map[string]float64 // hL
	do      map[string]float64 // ppb, true
	brought map[string]float64 // reading → pickup beyond mixing
	minutes float64
	sources float64 // µg/L·hL that went in
}

func (b *brewery) tick() float64 { b.minutes += 10; return b.minutes }

func (b *brewery) read(batch, move, point string, pickup float64) {
	id := "r" + strconv.Itoa(len(b.in.Readings))
	b.in.Readings = append(b.in.Readings, way.Reading{ID: id, Batch: batch, Move: move, Point: point, At: after(b.tick()), DO: b.do[batch], Meter: "M"})
	b.brought[id] = pickup
}

// pour moves some hL, brings a pickup to the receiving vessel and reads it.
func (b *brewery) pour(t *rapid.T, from, to string, hl float64) {
	id := "m" + strconv.Itoa(len(b.in.Moves))
	b.in.Moves = append(b.in.Moves, way.Move{ID: id, Kind: "transfer", From: from, To: to, VolumeHL: hl, Started: after(b.tick())})
	mixed := (b.left[to]*b.do[to] + hl*b.do[from]) / (b.left[to] + hl)
	pickup := 0.0
	seen := rapid.Bool().Draw(t, "read")
	if seen {
		pickup = rapid.Float64Range(0, 80).Draw(t, "pickup")
	}
	b.left[from] -= hl
	b.left[to] += hl
	b.do[to] = mixed + pickup
	b.sources += pickup * b.left[to]
	if seen {
		b.read(to, id, way.TankAfter, pickup)
	}
}

func (b *brewery) add(t *rapid.T, to string) {
	hl, do, air := rapid.Float64Range(0.1, 5).Draw(t, "added"), rapid.Float64Range(0, 9000).Draw(t, "its DO"), rapid.Float64Range(0, 500).Draw(t, "air")
	b.in.Moves = append(b.in.Moves, way.Move{ID: "m" + strconv.Itoa(len(b.in.Moves)), Kind: way.KindAddition, To: to, VolumeHL: hl, Started: after(b.tick()), Addition: &way.Addition{What: "deaerated_water", DO: &do, AirML: air}})
	gas := air * 0.20946 * 101325 * 31.9988 / (8.314462618 * 293.15) / 100 // µg/L·hL
	b.do[to] = (b.left[to]*b.do[to] + hl*do + gas) / (b.left[to] + hl)
	b.left[to] += hl
	b.sources += hl*do + gas
}

func drawBrewery(t *rapid.T) *brewery {
	b := &brewery{left: map[string]float64{}, do: map[string]float64{}, brought: map[string]float64{}}
	vessel := func(vol float64, kind string) string {
		id := "v" + strconv.Itoa(len(b.in.Batches))
		b.in.Batches = append(b.in.Batches, way.Batch{ID: id, VolumeHL: vol, Vessel: kind})
		return id
	}
	var layer []string
	for range rapid.IntRange(1, 4).Draw(t, "sources") {
		vol := rapid.Float64Range(5, 200).Draw(t, "hL")
		id := vessel(vol, "bright_tank")
		b.left[id], b.do[id] = vol, rapid.Float64Range(0, 60).Draw(t, "ppb")
		b.sources += vol * b.do[id]
		b.read(id, "", way.TankRested, 0)
		layer = append(layer, id)
	}
	for range rapid.IntRange(1, 4).Draw(t, "layers") {
		var next []string
		for range rapid.IntRange(1, 3).Draw(t, "vessels") {
			to := vessel(0, "bright_tank")
			for _, from := range layer {
				if b.left[from] > 1 && rapid.Bool().Draw(t, "pour") {
					b.pour(t, from, to, b.left[from]*rapid.Float64Range(0.1, 0.9).Draw(t, "share"))
				}
			}
			if b.left[to] == 0 {
				continue
			}
			if rapid.IntRange(0, 3).Draw(t, "addition") == 0 {
				b.add(t, to)
			}
			b.read(to, "", way.TankRested, 0)
			next = append(next, to)
		}
		if len(next) == 0 {
			break
		}
		layer = append(layer, next...)
	}
	return b
}

// TestMassBalance: on random networks of tanks the map finds each pickup that
// was put in to 1e-9, what additions brought included, and the oxygen of all
// vessels is what went in.
func TestMassBalance(t *testing.T) {
	splits, blends := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		b := drawBrewery(t)
		m, err := cellar.Build(b.in)
		if err != nil {
			t.Fatal(err)
		}
		held := 0.0
		for id, hl := range b.left {
			held += hl * b.do[id]
		}
		if math.Abs(held-b.sources) > 1e-9*(1+held) {
			t.Fatalf("the test itself loses oxygen: %v of %v", held, b.sources)
		}
		nodes := map[string]*cellar.Node{}
		for i := range m.Nodes {
			nodes[m.Nodes[i].ID] = &m.Nodes[i]
		}
		leaving := map[string]int{}
		for _, s := range m.Steps {
			to := nodes[s.To]
			want := b.brought[to.Readings[0]]
			if math.Abs(s.Delta-want) > 1e-9*(1+*to.DO) {
				t.Fatalf("%s: pickup %v, put in %v", s.ID, s.Delta, want)
			}
			if leaving[s.From]++; leaving[s.From] > 1 {
				splits++
			}
			share := 0.0
			for _, p := range s.Parts {
				share += p.Share
			}
			if len(s.Parts) > 0 {
				blends++
			}
			added := slices.Contains(s.Covers, way.StepAddition) // its liquid is no part
			if len(s.Parts) > 0 && (share > 1+1e-9 || !added && share < 1-1e-9) {
				t.Fatalf("%s: shares add up to %v", s.ID, share)
			}
		}
		// Without contradictions nothing moves.
		if r := m.Reconciliation; r.Chi2 > 1e-9 {
			t.Fatalf("true readings were moved: %+v", r)
		}
	})
	t.Logf("%d splits, %d blends", splits, blends)
	if splits < 20 || blends < 20 {
		t.Errorf("only %d splits and %d blends were drawn", splits, blends)
	}
}

// The order in which records come does not matter.
func TestOrderOfRecords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBrewery(t)
		want, err := cellar.Build(b.in)
		if err != nil {
			t.Fatal(err)
		}
		in := b.in
		in.Readings = rapid.Permutation(in.Readings).Draw(t, "readings")
		in.Moves = rapid.Permutation(in.Moves).Draw(t, "moves")
		in.Batches = rapid.Permutation(in.Batches).Draw(t, "batches")
		got, err := cellar.Build(in)
		if err != nil {
			t.Fatal(err)
		}
		deltas := func(m cellar.Map) map[string]float64 {
			d := map[string]float64{}
			for _, s := range m.Steps {
				d[s.ID] = s.Delta
			}
			return d
		}
		g := deltas(got)
		for id, w := range deltas(want) {
			if math.Abs(g[id]-w) > 1e-9*(1+math.Abs(w)) {
				t.Fatalf("%s: %v and %v", id, g[id], w)
			}
		}
	})
}
