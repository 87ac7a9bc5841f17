package cli

import (
	"context"
	"encoding/json"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"ullage/core/verdict"
	"ullage/internal/api"
	"ullage/internal/demo"
	"ullage/internal/lab"
	"ullage/internal/store"
)

// lotOf is what the judgement of each scripted run proposes with the checks of
// the meters on record, and where it is held.
var lotOf = map[string]struct{ verdict, rule string }{
	"R1": {"release", "all"}, "R2": {"release", "all"}, "R3": {"hold", "no_single_above"}, "R4": {"release", "all"}, "R5": {"hold", "no_single_above"},
	"R6": {"hold", "no_single_above"}, "R7": {"release", "all"}, "R8": {"hold", "no_single_above"}, "R9": {"release", "all"}, "R10": {"hold", "read_in_time"},
	"R11": {"hold", "meter_proven"}, "R12": {"hold", "enough_readings"},
}

// TestScriptedRunsByAPI asks a server over the demo for its judgements: cause,
// place and verdict are those of the truth.
func TestScriptedRunsByAPI(t *testing.T) {
	ctx := context.Background()
	st, err := store.OpenSQLite(ctx, filepath.Join(t.TempDir(), "ullage.db"), store.SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	now := time.Date(2026, 11, 25, 10, 20, 0, 0, time.UTC)
	sum, err := demo.Fill(ctx, st, demo.Options{Seed: 1, Now: now})
	if err != nil {
		t.Fatal(err)
	}
	server := &api.Server{Lab: &lab.Service{Store: st, Calc: lab.TPO, Now: func() time.Time { return now }}, Calc: calcTable{}}
	h := server.Handler()
	get := func(path string, into any) {
		t.Helper()
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "/api/v1/"+path, nil))
		if w.Code != 200 {
			t.Fatalf("%s: %d %s", path, w.Code, w.Body)
		}
		if err := json.Unmarshal(w.Body.Bytes(), into); err != nil {
			t.Fatal(err)
		}
	}
	for _, truth := range demo.Truths() {
		t.Run(truth.Run, func(t *testing.T) {
			var j verdict.Report
			began := time.Now()
			get("runs/"+sum.Scripted[truth.Run]+"/judgement", &j)
			t.Logf("%s, %s in %v; chart hits %d, held %d", j.Verdict, j.Rule, time.Since(began).Round(time.Millisecond), hits(j.Chart), len(j.Held))
			if want := lotOf[truth.Run]; j.Verdict != want.verdict || j.Rule != want.rule {
				t.Errorf("%s: %s by %s, want %s by %s", truth.Text, j.Verdict, j.Rule, want.verdict, want.rule)
			}
			var kinds []string
			for _, c := range j.Causes {
				kinds = append(kinds, c.Kind)
			}
			want := slices.Sorted(slices.Values(wantedCauses[truth.Run]))
			if got := slices.Sorted(slices.Values(kinds)); !slices.Equal(got, want) {
				t.Errorf("%s: causes %v, want %v", truth.Text, got, want)
			}
			if place := wantedPlace[truth.Run]; place != "" && (len(j.Causes) == 0 || j.Causes[0].Where != place) {
				t.Errorf("%s: %v, want at %s", truth.Text, j.Causes, place)
			}
			if truth.Run == "R11" && (j.Meter.After != verdict.Failed || j.Meter.Offset != 14) {
				t.Errorf("meter %+v", j.Meter)
			}
		})
	}
	var m lab.Month
	began := time.Now()
	get("months/2026-11", &m)
	t.Logf("month in %v: %+v, pareto %+v", time.Since(began).Round(time.Millisecond), m.Totals, m.Pareto)
	if m.Totals.Runs < 15 || m.Totals.HL < 100 || len(m.Pareto) < 5 || len(m.Beers) < 5 {
		t.Errorf("month: %+v, %d causes, %d beers", m.Totals, len(m.Pareto), len(m.Beers))
	}
	var c lab.Comparison
	began = time.Now()
	get("compare?by=run", &c)
	t.Logf("%d runs compared in %v", len(c.Groups), time.Since(began).Round(time.Millisecond))
	if len(c.Groups) < 100 || c.Chart == nil {
		t.Errorf("%d groups, chart %v", len(c.Groups), c.Chart)
	}
}

func hits(c *verdict.RunChart) int {
	if c == nil {
		return 0
	}
	return len(c.Hits)
}
