package demo_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"ullage/internal/demo"
	"ullage/internal/lab"
	"ullage/internal/store"
)

// now is a Wednesday.
var now = time.Date(2026, 11, 25, 10, 20, 0, 0, time.UTC)

// fill builds the brewery in a database of its own.
func fill(t testing.TB, o demo.Options) (*lab.Service, demo.Summary) {
	t.Helper()
	ctx := context.Background()
	st, err := store.OpenSQLite(ctx, filepath.Join(t.TempDir(), "ullage.db"), store.SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	began := time.Now()
	sum, err := demo.Fill(ctx, st, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d runs, %d samples, %d events in %v", sum.Runs, sum.Samples, sum.Events, time.Since(began).Round(time.Millisecond))
	return &lab.Service{Store: st, Calc: lab.TPO, Now: func() time.Time { return o.Now }}, sum
}

// read only, of the default seed: filled once for all tests that change nothing.
var filled struct {
	once sync.Once
	s    *lab.Service
	sum  demo.Summary
	err  error
	dir  string
}

func told(t testing.TB) (*lab.Service, demo.Summary) {
	t.Helper()
	filled.once.Do(func() {
		ctx := context.Background()
		var st lab.Store
		if filled.dir, filled.err = os.MkdirTemp("", "demo-test-"); filled.err != nil {
			return
		}
		if st, filled.err = store.OpenSQLite(ctx, filepath.Join(filled.dir, "ullage.db"), store.SQLiteOptions{}); filled.err != nil {
			return
		}
		filled.sum, filled.err = demo.Fill(ctx, st, demo.Options{Seed: demo.DefaultSeed, Now: now})
		filled.s = &lab.Service{Store: st, Calc: lab.TPO, Now: func() time.Time { return now }}
	})
	if filled.err != nil {
		t.Fatal(filled.err)
	}
	return filled.s, filled.sum
}

func TestMain(m *testing.M) {
	code := m.Run()
	if filled.s != nil {
		_ = filled.s.Store.Close()
	}
	_ = os.RemoveAll(filled.dir)
	os.Exit(code)
}

func revisions(t testing.TB, s *lab.Service) []byte {
	t.Helper()
	files := map[string]*bytes.Buffer{}
	_, err := s.Export(context.Background(), func(name string) (io.Writer, error) {
		files[name] = &bytes.Buffer{}
		return files[name], nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return files[lab.RevisionsFile].Bytes()
}

func TestSameSeedAndMomentGiveTheSameContent(t *testing.T) {
	a, _ := fill(t, demo.Options{Seed: 1, Now: now})
	b, _ := fill(t, demo.Options{Seed: 1, Now: now})
	first := revisions(t, a)
	if !bytes.Equal(first, revisions(t, b)) {
		t.Error("two databases of the same seed and moment differ")
	}
	other, _ := fill(t, demo.Options{Seed: 2, Now: now})
	if bytes.Equal(first, revisions(t, other)) {
		t.Error("another seed gives the same content")
	}
}

func TestEveryRecordIsValidUnderTodaysRules(t *testing.T) {
	s, sum := fill(t, demo.Options{Seed: 1, Now: now})
	if sum.Samples > 6000 || sum.Samples < 3000 {
		t.Errorf("%d samples, want 3,000 to 6,000", sum.Samples)
	}
	if want := 26*5 + 12 + 1; sum.Runs != want {
		t.Errorf("%d runs, want %d", sum.Runs, want)
	}
	ctx := context.Background()
	n := map[lab.Kind]int{}
	for after := int64(0); ; {
		revs, err := s.Store.Changes(ctx, after, "", lab.MaxPage)
		if err != nil {
			t.Fatal(err)
		}
		for _, rev := range revs {
			after = rev.Seq
			n[rev.Kind]++
			r, err := lab.Decode(rev.Kind, rev.Body)
			if err == nil {
				err = lab.Check(r)
			}
			if err != nil {
				t.Fatalf("%s %s: %v", rev.Kind, rev.ID, err)
			}
			if rev.ServerAt.After(now) || rev.DeviceAt.After(rev.ServerAt.Time) {
				t.Errorf("%s %s: written %v on the device, %v on the server, now %v", rev.Kind, rev.ID, rev.DeviceAt, rev.ServerAt, now)
			}
			if smp, ok := r.(*lab.Sample); ok {
				checkSample(t, smp)
			}
		}
		if len(revs) < lab.MaxPage {
			break
		}
	}
	for _, k := range lab.Kinds() {
		// Nothing was imported here.
		if n[k] == 0 && k != "imports" {
			t.Errorf("no record in %s", k)
		}
	}
}

func checkSample(t *testing.T, s *lab.Sample) {
	t.Helper()
	if s.TakenAt.After(now) {
		t.Errorf("sample %s is taken at %v, after %v", s.ID, s.TakenAt, now)
	}
	if s.SampleKind != "shaken" {
		return
	}
	switch {
	case s.Result == nil || s.Result.ComputedBy != "server":
		t.Errorf("sample %s has no result of the server", s.ID)
	case s.Result.TPOPpb == nil:
		t.Errorf("sample %s has no TPO: %+v", s.ID, s.Result.Warnings)
	}
}

func TestToday(t *testing.T) {
	// A working day, a night after a weekend, and a summer noon elsewhere.
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []time.Time{now, time.Date(2026, 3, 2, 0, 10, 0, 0, time.UTC), time.Date(2026, 7, 12, 12, 0, 0, 0, berlin)} {
		s, sum := fill(t, demo.Options{Seed: 1, Now: at})
		today, err := s.Today(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if len(today.Runs) != 1 || id(t, today.Runs[0]) != sum.Going {
			t.Errorf("at %v: %d runs going on", at, len(today.Runs))
		}
		if len(today.Held) != 1 || id(t, today.Held[0]) != sum.Held {
			t.Errorf("at %v: %d lots on hold", at, len(today.Held))
		}
		due := map[string]int{}
		for _, d := range today.Due {
			due[d.What]++
		}
		// A balance overdue, a scale due tomorrow, and the meter that failed.
		if due["sample"] != 1 || due["temperature"] != 1 || due["meter_check"] != 3 {
			t.Errorf("at %v: due %v", at, due)
		}
		recent := 0
		for _, raw := range today.Results {
			var smp lab.Sample
			if err := json.Unmarshal(raw, &smp); err != nil {
				t.Fatal(err)
			}
			if smp.RunID == sum.Going && at.Sub(smp.TakenAt.Time) < time.Hour {
				recent++
			}
		}
		if recent < 3 {
			t.Errorf("at %v: %d results of the last hour", at, recent)
		}
	}
}

func id(t *testing.T, body json.RawMessage) string {
	t.Helper()
	var m lab.Meta
	if err := json.Unmarshal(body, &m); err != nil {
		t.Fatal(err)
	}
	return m.ID
}

func TestRefusesADatabaseThatHoldsRecords(t *testing.T) {
	s, _ := fill(t, demo.Options{Seed: 1, Now: now})
	_, err := demo.Fill(context.Background(), s.Store, demo.Options{Seed: 1, Now: now})
	if e, ok := errors.AsType[*lab.Error](err); !ok || e.Class != lab.Invalid {
		t.Errorf("filling it again gives %v", err)
	}
}

func BenchmarkFill(b *testing.B) {
	for b.Loop() {
		fill(b, demo.Options{Seed: 1, Now: now})
	}
}
