package verdict

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestKinds: a fault well above the scatter is named by kind and place, in nine
// of ten runs at least.
func TestKinds(t *testing.T) {
	for _, x := range scenes() {
		if o := x.try(x.withEffect(7), 21, 30); o.named < 27 {
			t.Errorf("%s of 7 standard errors: named in %d of 30 runs", x.name, o.named)
		}
	}
}

// TestFewFalseAlarms allows 3.5 standard errors of the simulation above 5 %.
func TestFewFalseAlarms(t *testing.T) {
	const runs = 150
	for _, s := range normalRuns() {
		n := 0
		for i := range runs {
			in := s.run(rand.New(rand.NewPCG(8, uint64(i)))).Input
			if list, _ := newRun(&in, mustRules()).causes(); len(list) > 0 {
				n++
			}
		}
		if allowed := 0.05 + 3.5*math.Sqrt(0.05*0.95/runs); float64(n)/runs > allowed {
			t.Errorf("%d heads: a cause in %d of %d normal runs", s.line.heads, n, runs)
		}
	}
}

func first(t *testing.T, in Input) Cause {
	t.Helper()
	j := judged(t, in)
	if len(j.Causes) == 0 {
		t.Fatal("nothing found")
	}
	return j.Causes[0]
}

// TestHeadspaceOrLiquid: the same rise of TPO is told apart by unshaken DO.
func TestHeadspaceOrLiquid(t *testing.T) {
	s := sim{line: canLine, minutes: 200, every: 20, perSet: 4, pair: true, events: []Event{{GasChange, minute(99)}}}
	s.fault = func(at float64, _, _ int) (float64, float64, float64, float64) {
		if at > 99 {
			return 0, 0, 1, 3
		}
		return 0, 0, 1, 1
	}
	if c := first(t, s.run(rand.New(rand.NewPCG(1, 1))).Input); c.Kind != KindHeadspace || math.Abs(c.From.Sub(minute(99)).Minutes()) > 20 {
		t.Errorf("%+v", c)
	}
	s.fault = func(at float64, _, _ int) (float64, float64, float64, float64) { return 0, 100 * b2f(at > 99), 1, 1 }
	if c := first(t, s.run(rand.New(rand.NewPCG(1, 1))).Input); c.Kind != KindStep || c.Low95 > 100 || c.High95 < 100 {
		t.Errorf("%+v", c)
	}
	s.events[0].Kind = TankChange
	s.fault = func(at float64, _, _ int) (float64, float64, float64, float64) { return 60 * b2f(at > 99), 0, 1, 1 }
	if c := first(t, s.run(rand.New(rand.NewPCG(1, 1))).Input); c.Kind != KindTank {
		t.Errorf("%+v", c)
	}
	s.events = nil
	in := s.run(rand.New(rand.NewPCG(1, 1))).Input
	steady := 22.0
	for i := range in.Samples {
		in.Samples[i].Tank = &steady
	}
	if c := first(t, in); c.Kind != KindLine {
		t.Errorf("%+v", c)
	}
}

// TestLowFillHead: a head whose fills are low is named as that.
func TestLowFillHead(t *testing.T) {
	s := sim{line: bottleLine, minutes: 240, every: 20, perSet: 8}
	s.fault = func(_ float64, h, _ int) (float64, float64, float64, float64) {
		if h == 11 {
			return 0, 0, 1, 4
		}
		return 0, 0, 1, 1
	}
	in := s.run(rand.New(rand.NewPCG(2, 2))).Input
	if c := first(t, in); c.Kind != KindHead || c.Where != "11" {
		t.Errorf("%+v", c)
	}
	for i := range in.Samples {
		if in.Samples[i].Head == "11" {
			in.Samples[i].Beer -= 9
		}
	}
	if c := first(t, in); c.Kind != KindLowFill || c.Where != "11" {
		t.Errorf("%+v", c)
	}
}

// TestMeterInMidRun: a meter that jumps moves all kinds of reading alike, so TPO
// by the factor; oxygen in the beer would not.
func TestMeterInMidRun(t *testing.T) {
	s := sim{line: canLine, minutes: 300, every: 10, perSet: 4, pair: true}
	in := s.run(rand.New(rand.NewPCG(3, 3))).Input
	for i := range in.Samples {
		p := &in.Samples[i]
		if p.Closed.Before(minute(150)) {
			continue
		}
		for _, v := range []*float64{p.Shaken, p.Unshaken, p.Inlet} {
			if v != nil {
				*v += 25
			}
		}
		p.TPO = *p.Shaken * p.Factor
	}
	if c := first(t, in); c.Kind != KindMeter {
		t.Errorf("%+v", c)
	}
}

// TestMeterOffset found by a check is a cause in TPO, through the factor.
func TestMeterOffset(t *testing.T) {
	in := (sim{line: canLine, minutes: 200, every: 20, perSet: 3}).run(rand.New(rand.NewPCG(4, 4))).Input
	in.Meter = Meter{Before: Passed, After: Failed, Offset: 14, OffsetU: 1}
	c := first(t, in)
	if c.Kind != KindMeter || c.PPB < 14*2 || c.PPB > 14*2.4 || !(c.Low95 < c.PPB && c.PPB < c.High95) {
		t.Errorf("%+v", c)
	}
	if j := judged(t, in); j.Verdict != Hold || j.Rule != RuleMeter {
		t.Errorf("%s by %s", j.Verdict, j.Rule)
	}
}

// TestRecordErrors: slips of unit and late readings are named, kept out of the
// other causes, and never corrected silently.
func TestRecordErrors(t *testing.T) {
	in := (sim{line: canLine, minutes: 200, every: 20, perSet: 4}).run(rand.New(rand.NewPCG(6, 6))).Input
	for i := 20; i < 24; i++ {
		in.Samples[i].TPO /= 1000
	}
	for i := 8; i < 12; i++ {
		in.Samples[i].Taken, in.Samples[i].TPO = in.Samples[i].Closed.Add(210*time.Minute), in.Samples[i].TPO*0.6
	}
	j := judged(t, in)
	var kinds []string
	for _, c := range j.Causes {
		kinds = append(kinds, c.Kind)
		if c.Kind == KindLate && (c.PPB > -20 || c.Packages != 4) || c.Kind == KindUnitSlip && (c.PPB > -50 || c.Packages != 4) {
			t.Errorf("%+v", c)
		}
	}
	slices.Sort(kinds)
	if !slices.Equal(kinds, []string{KindLate, KindUnitSlip}) {
		t.Errorf("causes %v", kinds)
	}
	if len(j.Aside) != 4 || j.Readings != len(in.Samples)-4 {
		t.Errorf("%d set aside, %d used", len(j.Aside), j.Readings)
	}
}

// TestSplitAdds: the parts are the mean TPO.
func TestSplitAdds(t *testing.T) {
	in := (sim{line: canLine, minutes: 200, every: 20, perSet: 4, pair: true}).run(rand.New(rand.NewPCG(7, 7))).Input
	tank := 20.0
	in.Samples[0].Tank = &tank
	s := judged(t, in).Split
	if sum := *s.Tank + *s.Line + *s.LiquidPickup + *s.Headspace; math.Abs(sum-s.TPO) > 1e-9 {
		t.Errorf("%v, want %v", sum, s.TPO)
	}
	if math.Abs(*s.Inlet-25) > 2 || math.Abs(*s.LiquidPickup-18) > 8 || math.Abs(*s.Headspace-67) > 20 {
		t.Errorf("%+v", s)
	}
}

// TestJudgeHolds: whatever the readings, a judgement is finite and ordered, and
// an unverified meter never releases.
func TestJudgeHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawn(t)
		j, err := Judge(in)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := json.Marshal(j); err != nil {
			t.Fatal(err)
		}
		if j.Verdict == Release && (in.Meter.Before != Passed || in.Meter.After != Passed || in.Meter.Offset != 0) {
			t.Fatal("released on an unverified meter")
		}
		for _, c := range j.Causes {
			if !(c.Low95 <= c.PPB+1e-9 && c.PPB <= c.High95+1e-9) || c.Evidence == "" || c.NextTest == "" || c.Where == "" {
				t.Fatalf("%+v", c)
			}
		}
		for _, h := range j.Held {
			if h.To.Before(h.From) || h.Minutes < 0 {
				t.Fatalf("%+v", h)
			}
		}
		if p := j.ProbabilityWrong; p != nil && !(*p >= 0 && *p <= 1) {
			t.Fatal(*p)
		}
	})
}

func drawn(t *rapid.T) Input {
	n := rapid.IntRange(1, 40).Draw(t, "n")
	in := Input{Meter: Meter{Before: rapid.SampledFrom([]Check{"", Passed, Failed}).Draw(t, "before"), After: rapid.SampledFrom([]Check{"", Passed, Failed}).Draw(t, "after"),
		Offset: rapid.SampledFrom([]float64{0, 0, 5}).Draw(t, "offset")}}
	value := rapid.SampledFrom([]float64{0, 0.05, 1, 50, 100, 100, 100, 101, 250, 400, 1e5})
	maybe := func(name string) *float64 {
		if rapid.Bool().Draw(t, name) {
			return nil
		}
		v := value.Draw(t, name)
		return &v
	}
	for range n {
		at := minute(float64(rapid.IntRange(0, 300).Draw(t, "at")))
		s := Sample{Closed: at, Taken: at.Add(time.Duration(rapid.IntRange(0, 300).Draw(t, "delay")) * time.Minute), Head: rapid.SampledFrom([]string{"", "1", "2", "3"}).Draw(t, "head"),
			Station: rapid.SampledFrom([]string{"", "1", "2"}).Draw(t, "station"), TPO: value.Draw(t, "tpo"), Unshaken: maybe("unshaken"), Inlet: maybe("inlet"),
			Beer: rapid.SampledFrom([]float64{0, 340, 355, 356}).Draw(t, "beer"), FillKnown: true, Factor: 2}
		in.Samples = append(in.Samples, s)
	}
	for range rapid.IntRange(0, 5).Draw(t, "events") {
		in.Events = append(in.Events, Event{rapid.SampledFrom(EventKinds).Draw(t, "event"), minute(float64(rapid.IntRange(-50, 350).Draw(t, "when")))})
	}
	return in
}

// TestOrderAndUnit: the order of rows does not matter, nor does a time zone;
// readings and limits twice as large give causes twice as large.
func TestOrderAndUnit(t *testing.T) {
	s := scenes()[4].withEffect(8)
	in := s.run(rand.New(rand.NewPCG(11, 1))).Input
	in.Rules = DefaultRules()
	a := judged(t, in)
	if len(a.Causes) == 0 {
		t.Fatal("nothing found")
	}
	mixed := in
	mixed.Samples = slices.Clone(in.Samples)
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(mixed.Samples), func(i, j int) { mixed.Samples[i], mixed.Samples[j] = mixed.Samples[j], mixed.Samples[i] })
	for i := range mixed.Samples {
		mixed.Samples[i].Closed = mixed.Samples[i].Closed.In(time.FixedZone("", 7200))
	}
	b := judged(t, mixed)
	if len(b.Causes) != len(a.Causes) || math.Abs(b.Causes[0].PPB-a.Causes[0].PPB) > 1e-6 || b.Causes[0].Where != a.Causes[0].Where || b.Verdict != a.Verdict {
		t.Errorf("mixed: %+v, want %+v", b.Causes, a.Causes)
	}
	double := in
	double.Samples = slices.Clone(in.Samples)
	for i := range double.Samples {
		p := &double.Samples[i]
		p.TPO, p.U = 2*p.TPO, 2*p.U
		for _, v := range []**float64{&p.Unshaken, &p.Inlet, &p.Shaken} {
			if *v != nil {
				twice := 2 * **v
				*v = &twice
			}
		}
	}
	double.Rules = ForLimit(240, 500)
	c := judged(t, double)
	if len(c.Causes) != len(a.Causes) || math.Abs(c.Causes[0].PPB/a.Causes[0].PPB-2) > 1e-6 || c.Verdict != a.Verdict {
		t.Errorf("double: %+v, want %+v", c.Causes, a.Causes)
	}
}

// TestFewReadings: a run too short to tell has no cause, and says so.
func TestFewReadings(t *testing.T) {
	for n := 1; n < 8; n++ {
		j := judged(t, plain(6, good[:min(n, 6)]))
		if len(j.Causes) != 0 || j.Causes == nil || j.Held == nil || j.Heads == nil || j.Sets == nil || j.Aside == nil {
			t.Errorf("%d readings: %+v", n, j.Causes)
		}
	}
	same := plain(3, []float64{100, 100, 100}, []float64{100, 100, 100}, []float64{100, 100, 100})
	if j := judged(t, same); len(j.Causes) != 0 || j.Verdict != Release {
		t.Errorf("equal readings: %s %+v", j.Verdict, j.Causes)
	}
}

// TestMedian against a sort.
func TestMedian(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-3, 3), 1, 40).Draw(t, "x")
		if rapid.Bool().Draw(t, "ties") {
			for i := range x {
				x[i] = math.Round(x[i])
			}
		}
		s := slices.Sorted(slices.Values(x))
		if n := len(s); medianOf(x) != (s[(n-1)/2]+s[n/2])/2 {
			t.Fatalf("median of %v: %v", s, medianOf(x))
		}
	})
}
