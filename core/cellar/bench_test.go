package cellar_test

import (
	"math/rand/v2"
	"strconv"
	"testing"

	"ullage/core/cellar"
	"ullage/core/way"
)

// large is a batch with 200 readings: five tanks one after the other, with a
// centrifuge or a filter between, each point read again and again.
func large() way.Input {
	r := rand.New(rand.NewPCG(7, 7))
	in := way.Input{Focus: "t4", Runs: []way.Run{{ID: "run", Batch: "t4", Started: after(6000)}}}
	v := 1100.0
	in.Runs[0].TPO = &v
	n := 0
	read := func(batch, move, point string, at, do float64) {
		for k := range 8 {
			in.Readings = append(in.Readings, way.Reading{ID: strconv.Itoa(n), Batch: batch, Move: move, Point: point, At: after(at + float64(k)), DO: do + 3*r.NormFloat64(), Meter: "M" + strconv.Itoa(k%2), FlowHLH: float64(60 - 30*(k%2))})
			n++
		}
	}
	for i := range 5 {
		id := "t" + strconv.Itoa(i)
		in.Batches = append(in.Batches, way.Batch{ID: id, VolumeHL: 60, Vessel: "bright_tank"})
		start := 1000 * float64(i)
		read(id, "", way.TankHold, start+100, 10+20*float64(i))
		if i == 4 {
			break
		}
		m := "m" + strconv.Itoa(i)
		in.Moves = append(in.Moves, way.Move{ID: m, From: id, To: "t" + strconv.Itoa(i+1), VolumeHL: 60, FlowHLH: 60, Via: []string{"filter"}, Started: after(start + 500)})
		for k, point := range []string{way.TankBefore, way.FilterIn, way.FilterOut, way.CarbonateBefore, way.TankAfter} {
			read(id, m, point, start+500+10*float64(k), 15+20*float64(i)+float64(k))
		}
	}
	return in
}

func BenchmarkMap200(b *testing.B) {
	in := large()
	if len(in.Readings) != 200 {
		b.Fatalf("%d readings", len(in.Readings))
	}
	for b.Loop() {
		if _, err := cellar.Build(in); err != nil {
			b.Fatal(err)
		}
	}
}
