package batch

import (
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
)

// BenchmarkRun is a file of a million packages with first-order uncertainty.
// The row rate is what counts: a million rows under 0.9 s on two cores.
func BenchmarkRun(b *testing.B) {
	const rows = 1_000_000
	text := manyRows(rows)
	b.ReportAllocs()
	for b.Loop() {
		sum, err := Job{Name: "bench", Format: CSV}.Run(strings.NewReader(text), io.Discard)
		if err != nil || sum.Rows != rows || sum.Faults != 0 {
			b.Fatal(sum, err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rows, "ns/row")
}

func manyRows(n int) string {
	r := rand.New(rand.NewPCG(1, 2))
	var s strings.Builder
	s.WriteString("id,temperature_c,gross_g,tare_g,capacity_ml,sg,shaken_do_ppb\n")
	for i := range n {
		fmt.Fprintf(&s, "P%d,%.1f,%.1f,13.4,373.5,1.010,%.1f\n", i, 2+20*r.Float64(), 372+1.5*r.NormFloat64(), 30+30*r.Float64())
	}
	return s.String()
}
