package demo_test

import (
	"context"
	"encoding/json"
	"math"
	"testing"

	"ullage/core/calc"
	"ullage/internal/demo"
	"ullage/internal/lab"
)

func every[T any](t *testing.T, s *lab.Service, k lab.Kind) []*T {
	t.Helper()
	var out []*T
	for q := (lab.Query{Kind: k, Limit: lab.MaxPage}); ; {
		revs, err := s.Store.List(context.Background(), q)
		if err != nil {
			t.Fatal(err)
		}
		for _, rev := range revs {
			v := new(T)
			if err := json.Unmarshal(rev.Body, v); err != nil {
				t.Fatal(err)
			}
			out = append(out, v)
		}
		if len(revs) < q.Limit {
			return out
		}
		q.After = revs[len(revs)-1].ID
	}
}

func named(t *testing.T, s *lab.Service, name string) *lab.Instrument {
	t.Helper()
	for _, i := range every[lab.Instrument](t, s, lab.KindInstruments) {
		if i.Name == name {
			return i
		}
	}
	t.Fatalf("no instrument %q", name)
	return nil
}

// A year of checks shows the old cap drifting, its renewal, and a cell found
// fouled too late: two lots that were let go are opened again, a third was not,
// and none of them would be judged otherwise.
func TestChecksOfAYear(t *testing.T) {
	s, sum := fill(t, demo.Options{Seed: 1, Now: now})
	ctx := context.Background()
	h, err := s.InstrumentHistory(ctx, named(t, s, "DO meter 1").ID)
	if err != nil {
		t.Fatal(err)
	}
	zero := h.Series[0]
	if zero.Against != lab.AgainstZero || len(zero.Points) < 52 || len(h.Series) != 3 || len(h.SensorChanges) != 2 {
		t.Fatalf("%d series, %s with %d checks, %d sensors", len(h.Series), zero.Against, len(zero.Points), len(h.SensorChanges))
	}
	if span := zero.Points[len(zero.Points)-1].At.Sub(zero.Points[0].At.Time).Hours() / 24; span < 360 {
		t.Errorf("checks of %.0f days", span)
	}
	cap := h.SensorChanges[1].At
	for _, p := range zero.Points {
		age := cap.Sub(p.At.Time).Hours() / 24
		if failed := p.Outcome == "failed"; failed != (age >= 0 && age < 13.5*7) {
			t.Errorf("check of %v, %.0f days before the new cap: %s, off by %v", p.At, age, p.Outcome, *p.Off)
		}
	}

	meter2 := named(t, s, "DO meter 2")
	var failed *lab.MeterCheck
	for _, c := range every[lab.MeterCheck](t, s, lab.KindMeterChecks) {
		if c.InstrumentID == meter2.ID && c.Outcome == "failed" {
			if failed != nil {
				t.Errorf("a second failed check of DO meter 2, %v", c.At)
			}
			failed = c
		}
	}
	c, err := s.Consequences(ctx, failed.ID)
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Runs) != 3 || c.Reopened != 2 || c.Changing != 0 || math.Abs(*c.Found.OffsetPpb-4.6) > 1 {
		t.Errorf("%d runs in doubt, %d opened again, %d judged otherwise, offset %v", len(c.Runs), c.Reopened, c.Changing, *c.Found.OffsetPpb)
	}
	for _, r := range c.Runs {
		// Decided anew since: released again, and the word of then has no force.
		if r.Reopened && (r.Hold != "released" || r.Decision.Counts || r.MeanChange > -5 || r.MeanChange < -20) {
			t.Errorf("run %d: %+v, decision %+v", r.Number, r, r.Decision)
		}
	}

	// R11 was measured with the spare meter.
	for _, c := range every[lab.MeterCheck](t, s, lab.KindMeterChecks) {
		if c.InstrumentID == named(t, s, "DO meter 3").ID && c.Outcome == "failed" {
			got, err := s.Consequences(ctx, c.ID)
			if err != nil || len(got.Runs) != 1 || got.Runs[0].RunID != sum.Scripted["R11"] {
				t.Errorf("the spare meter puts in doubt: %+v, %v", got, err)
			}
		}
	}
}

// The studies find what the story is made of.
func TestStudies(t *testing.T) {
	s, sum := fill(t, demo.Options{Seed: 1, Now: now})
	lots := map[string]*lab.FormatLot{}
	for _, l := range every[lab.FormatLot](t, s, lab.KindFormatLots) {
		lots[l.ID] = l
	}
	n := map[string]int{}
	for _, x := range every[lab.Study](t, s, lab.KindStudies) {
		n[x.StudyKind]++
		if len(x.Result) == 0 {
			t.Errorf("%s: no result: %+v", x.Name, x.Warnings)
			continue
		}
		switch x.StudyKind {
		case lab.StudyAgreement:
			var a calc.AgreeResult
			if err := json.Unmarshal(x.Result, &a); err != nil {
				t.Fatal(err)
			}
			if a.N != 40 || a.Verdict != calc.MayStandIn {
				t.Errorf("agreement: %d pairs, %s: %s", a.N, a.Verdict, a.Sentence)
			}
		case lab.StudyTare, lab.StudyCapacity:
			p, err := s.Propose(context.Background(), x.ID)
			if err != nil || p.May {
				t.Errorf("%s: its lot has other numbers: %+v, %v", x.Name, p, err)
			}
		case "repeatability":
			var g struct{ Operators, Packages, Trials int }
			if err := json.Unmarshal(x.Result, &g); err != nil || g.Operators != 3 || g.Packages != 10 || g.Trials != 3 {
				t.Errorf("operators: %+v, %v", g, err)
			}
		}
	}
	want := map[string]int{"agreement": 1, "tare": 4, "capacity": 4, "repeatability": 1, "shake": 1, "delay": 1, "line": 1}
	for k, w := range want {
		if n[k] != w {
			t.Errorf("%d studies of %s, want %d", n[k], k, w)
		}
	}
	for _, r := range every[lab.Run](t, s, lab.KindRuns) {
		if (r.InForce.StandIn != nil) != (r.ID == sum.Scripted["R1"]) {
			t.Errorf("run %d stands in: %v", r.Number, r.InForce.StandIn)
		}
	}
	b, err := s.BuyNext(context.Background())
	if err != nil || len(b.Packages) < 5 || len(b.Result.Options) < 4 {
		t.Errorf("what to buy next: %v, %v", b, err)
	}
}
