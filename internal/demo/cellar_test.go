package demo_test

import (
	"context"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"ullage/core/cellar"
	"ullage/core/compare"
	"ullage/core/verdict"
	"ullage/internal/demo"
	"ullage/internal/lab"
)

// loud are the causes that say: look here. Consumption and a step over its
// budget go beside them.
var loud = []string{"leak", "proportional", "suction", "washout", "dry_hop", "tank_gas", "step", "rise", "meter", "offset", "cycle", "exchanged"}

func loudOf(m *cellar.Map) (out []string) {
	kinds := map[string]string{}
	for _, s := range m.Steps {
		kinds[s.ID] = s.Kind
	}
	for _, f := range m.Diagnosis {
		if slices.Contains(loud, f.Kind) {
			out = append(out, f.Kind+" "+kinds[f.Step])
		}
	}
	return out
}

// The map of each story names its cause at its step, and no other; those of the
// ordinary batches name none.
func TestTheMapNamesTheStories(t *testing.T) {
	ctx := context.Background()
	for seed := uint64(1); seed <= 2; seed++ {
		s, sum := told(t)
		if seed != demo.DefaultSeed {
			s, sum = fill(t, demo.Options{Seed: seed, Now: now})
		}
		for _, truth := range demo.CellarTruths() {
			id := sum.Stories[truth.Story]
			m, err := s.BatchMap(ctx, id)
			if err != nil {
				t.Fatal(err)
			}
			if got, want := loudOf(&m.Map), []string{truth.Kind + " " + truth.Step}; !slices.Equal(got, want) {
				t.Errorf("seed %d, %s: %v, want %v (%s)", seed, truth.Story, got, want, truth.Text)
			}
		}
		if seed == demo.DefaultSeed {
			ordinary(t, s, sum)
		}
	}
}

// ordinary: R1's beer has nothing to say, R6's warms in its tank.
func ordinary(t *testing.T, s *lab.Service, sum demo.Summary) {
	t.Helper()
	for run, want := range map[string][]string{"R1": nil, "R2": nil, "R4": nil, "R5": nil, "R6": {"tank_gas hold"}} {
		var r lab.Run
		get(t, s, lab.KindRuns, sum.Scripted[run], &r)
		m, err := s.BatchMap(context.Background(), r.BatchID)
		if err != nil {
			t.Fatal(err)
		}
		if got := slices.Compact(loudOf(&m.Map)); !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", run, got, want)
		}
		if !slices.ContainsFunc(m.Map.Package, func(p cellar.Package) bool { return p.Run == r.ID }) {
			t.Errorf("%s: the map of its batch does not lead to it", run)
		}
	}
}

func get(t *testing.T, s *lab.Service, k lab.Kind, id string, into any) {
	t.Helper()
	text, err := s.Get(context.Background(), k, id)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatal(err)
	}
}

// Every run of the last weeks is reached from its batch, and its split has the
// tank and the line, which add up to its TPO.
func TestRunsAndTheirBatches(t *testing.T) {
	s, sum := told(t)
	runs := []string{sum.Going}
	for _, id := range sum.Scripted {
		runs = append(runs, id)
	}
	for _, id := range runs {
		var r lab.Run
		get(t, s, lab.KindRuns, id, &r)
		m, err := s.BatchMap(context.Background(), r.BatchID)
		if err != nil {
			t.Fatal(err)
		}
		brews, found := 0, false
		for _, n := range m.Map.Nodes {
			if n.Point == "wort_oxygenated" {
				brews++
			}
			found = found || n.Run == id
		}
		if brews < 2 || !found {
			t.Errorf("run %d: %d brews, run found %v", r.Number, brews, found)
		}
		for _, w := range m.Map.Warnings {
			t.Errorf("run %d: %+v", r.Number, w)
		}
		j, err := s.JudgeRun(context.Background(), id)
		if err != nil || j.Split == nil {
			continue // kegs have no TPO
		}
		if j.Split.Tank == nil || j.Split.Line == nil {
			t.Errorf("run %d: no tank in %+v", r.Number, j.Split)
		} else if sum := *j.Split.Tank + *j.Split.Line + *j.Split.LiquidPickup + *j.Split.Headspace; math.Abs(sum-j.Split.TPO) > 1e-9 {
			t.Errorf("run %d: the parts add up to %v of %v", r.Number, sum, j.Split.TPO)
		}
		agreeOnTheLine(t, &r, &m.Map, j.Split)
	}
}

// agreeOnTheLine: map and judgement take the tank at the same moments, so a tank
// that drifts, as in R6, is no pick-up of the line in either.
func agreeOnTheLine(t *testing.T, r *lab.Run, m *cellar.Map, s *verdict.Split) {
	t.Helper()
	for _, p := range m.Package {
		if p.Run != r.ID {
			continue
		}
		if p.Line == nil || p.Tank == nil || s.Line == nil {
			t.Errorf("run %d: no line in %+v", r.Number, p)
		} else if math.Abs(*p.Line-*s.Line) > 3 || math.Abs(*p.Tank-*s.Tank) > 3 {
			t.Errorf("run %d: tank %.1f and line %.1f in the map, %.1f and %.1f in the judgement", r.Number, *p.Tank, *p.Line, *s.Tank, *s.Line)
		}
		if p.Headspace != nil && math.Abs(*p.Tank+*p.Line+*p.Filler+*p.Headspace-*p.TPO) > 1e-9 {
			t.Errorf("run %d: %+v does not add up", r.Number, p)
		}
		return
	}
	t.Errorf("run %d is not in the map", r.Number)
}

// The stone fouls by 1.5 points a brew and is cleaned twice; the float meter
// shows more than flows.
func TestFortyBrews(t *testing.T) {
	s, sum := told(t)
	b, err := s.BrewTrend(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Brews) != 40 || sum.Brews != 40 || b.Trend.N != 40 {
		t.Fatalf("%d brews, %d in the trend", len(b.Brews), b.Trend.N)
	}
	if b.Trend.Slope == nil || math.Abs(*b.Trend.Slope+1.5) > 0.1 || !b.Trend.Fouling {
		t.Errorf("trend: %s; want -1.5 points a brew", b.Trend.Sentence)
	}
	cleaned := 0
	for _, r := range b.Brews {
		if r.Cleaned {
			cleaned++
		}
		if *r.Efficiency < 0.42 || *r.Efficiency > 0.75 || math.Abs(*r.FlowNLMin/0.71-0.951) > 0.001 {
			t.Errorf("brew %s: efficiency %.3f, true flow %.3f of 0.71 shown", r.Code, *r.Efficiency, *r.FlowNLMin)
		}
	}
	if cleaned != 2 {
		t.Errorf("cleaned %d times", cleaned)
	}
}

// The board has every tank, what is in it and what is due; the list of changes
// names the first runnings of the filter; T1 is odd among the transfers.
func TestCellarPages(t *testing.T) {
	ctx := context.Background()
	s, sum := told(t)
	board, err := s.CellarBoard(ctx)
	if err != nil {
		t.Fatal(err)
	}
	full, due := 0, 0
	for _, x := range board.Tanks {
		if x.Batch != nil {
			full++
			due += len(x.Due)
			if x.Last == nil || x.Beer == "" || x.AgeDays == nil {
				t.Errorf("%s: %+v", x.Tank.Name, x)
			}
		}
	}
	if len(board.Tanks) != 15 || full != 4 || due < 3 {
		t.Errorf("%d tanks, %d full, %d readings due", len(board.Tanks), full, due)
	}
	list, err := s.Transfers(ctx, "centrifuge", "", "")
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range list.Steps {
		if x.Odd != (x.BatchID == sum.Stories["T1"]) {
			t.Errorf("%s, %.1f ppb: odd %v", x.Code, x.DeltaPpb, x.Odd)
		}
	}
	changes, err := s.BatchChanges(ctx, sum.Stories["T3"])
	if err != nil {
		t.Fatal(err)
	}
	if len(changes.Compared) < 3 || len(changes.Changes) == 0 || !changes.Changes[0].Differs {
		t.Fatalf("%+v", changes)
	}
	purge := slices.IndexFunc(changes.Changes, func(c compare.ChangedThing) bool { return c.What == "purge" && c.Differs })
	if purge < 0 || !strings.Contains(changes.Changes[purge].Now, "opened") {
		t.Errorf("the opened doser is not in %+v", changes.Changes)
	}
	// A packaged batch is held against the gas and the limits of those before it.
	compared := map[string]bool{}
	for _, id := range sum.Scripted {
		var r lab.Run
		get(t, s, lab.KindRuns, id, &r)
		if changes, err = s.BatchChanges(ctx, r.BatchID); err != nil {
			t.Fatal(err)
		}
		for _, c := range changes.Changes {
			if c.What == "limit" || c.What == "gas" && c.Of != "" {
				compared[c.What+" "+c.Of] = true
			}
		}
	}
	if !compared["limit tpo"] || !compared["gas supply while packaging"] {
		t.Errorf("compared: %v", compared)
	}
}
