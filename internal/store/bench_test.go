package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ullage/internal/lab"
	"ullage/internal/store/storetest"
)

// sampleBody has the size of a real sample with its result.
var sampleBody = json.RawMessage(`{"note":"` + strings.Repeat("x", 900) + `"}`)

// BenchmarkDurableWrites: 50 clients, each writing one sample after the other.
// The aim on 2 cores is 2,000 writes/s with p99 under 20 ms.
func BenchmarkDurableWrites(b *testing.B) {
	b.Run("sqlite", func(b *testing.B) { st, _ := openTemp(b, SQLiteOptions{}); durable(b, st) })
	b.Run("postgres", func(b *testing.B) { durable(b, openPG(b, newDatabase(b))) })
}

func durable(b *testing.B, st lab.Store) {
	const clients = 50
	took := make([]time.Duration, b.N)
	var next atomic.Int64
	var wg sync.WaitGroup
	b.ResetTimer()
	start := time.Now()
	for range clients {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= b.N {
					return
				}
				r := storetest.Rev(lab.KindSamples, storetest.ID(b), 1, fmt.Sprint(i))
				r.Body, r.RunID = sampleBody, "0198c5b0-0000-7000-8000-000000000001"
				t0 := time.Now()
				if _, err := st.Append(context.Background(), []lab.Revision{r}); err != nil {
					b.Error(err)
					return
				}
				took[i] = time.Since(t0)
			}
		})
	}
	wg.Wait()
	total := time.Since(start)
	b.StopTimer()
	slices.Sort(took)
	b.ReportMetric(float64(b.N)/total.Seconds(), "writes/s")
	b.ReportMetric(float64(took[b.N/2].Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(took[b.N*99/100].Microseconds())/1000, "p99-ms")
}

// BenchmarkRunOf5000 reads all samples of a big run.
func BenchmarkRunOf5000(b *testing.B) {
	st, _ := openTemp(b, SQLiteOptions{})
	run := storetest.ID(b)
	var revs []lab.Revision
	for i := range 5000 {
		r := storetest.Rev(lab.KindSamples, storetest.ID(b), 1, fmt.Sprint(i))
		r.Body, r.RunID = sampleBody, run
		revs = append(revs, r)
	}
	if _, err := st.Append(b.Context(), revs); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		got, err := st.List(b.Context(), lab.Query{Kind: lab.KindSamples, RunID: run, Limit: 5000})
		if err != nil || len(got) != 5000 {
			b.Fatal(len(got), err)
		}
	}
}
