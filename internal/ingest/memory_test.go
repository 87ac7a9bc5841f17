package ingest

import (
	"runtime"
	"strings"
	"testing"
)

// A large file is streamed: what stays in memory does not grow with it, beyond
// a few bytes a row to know repeated rows by.
func TestMemoryStaysFlat(t *testing.T) {
	if testing.Short() {
		t.Skip("reads 30 MB")
	}
	b := newBench(t)
	f := b.csv(strings.ReplaceAll(longLog(100_000), ",\n", ","+strings.Repeat("x", 240)+"\n"))
	m := b.proposed(f).Mapping
	k, err := f.inspect()
	if err != nil {
		t.Fatal(err)
	}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	r, err := prepare(bg, b.svc, &f, k, &m, "UTC")
	if err != nil {
		t.Fatal(err)
	}
	if err := f.each(k, r.m, 0, func(row rowText) error { r.tell(row, r.read(row)); return nil }); err != nil {
		t.Fatal(err)
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if kept := (int64(after.HeapAlloc) - int64(before.HeapAlloc)) >> 20; kept > 20 || r.out.Counts.Samples != 100_000 {
		t.Errorf("%d MB kept of a file of %d MB, %d samples", kept, k.size>>20, r.out.Counts.Samples)
	}
	runtime.KeepAlive(r)
}
