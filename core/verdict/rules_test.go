package verdict

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"ullage/core/quantity"
)

// plain is a run of sets: one row of TPO each, a minute apart, twenty minutes
// between sets, heads by turns.
func plain(heads int, sets ...[]float64) Input {
	in := Input{Meter: Meter{Before: Passed, After: Passed}}
	next := 0
	for k, set := range sets {
		for i, v := range set {
			at := minute(float64(20*k) + float64(i))
			in.Samples = append(in.Samples, Sample{Closed: at, Taken: at.Add(10 * time.Minute), Head: string(rune('1' + next%heads)), TPO: v, U: 0.02 * v})
			next++
		}
	}
	return in
}

func judged(t *testing.T, in Input) Judgement {
	t.Helper()
	j, err := Judge(in)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func rule(j Judgement, name string) Reason {
	for _, r := range j.Reasons {
		if r.Rule == name {
			return r
		}
	}
	return Reason{}
}

var good = []float64{100, 110, 95, 105, 90, 112}

func TestLot(t *testing.T) {
	high := []float64{150, 140, 155, 145, 150, 148}
	red := []float64{200, 190, 210, 195, 205, 198}
	late := plain(6, good, good)
	late.Samples[3].Taken = late.Samples[3].Closed.Add(3 * time.Hour)
	yeast := plain(6, good, good)
	yeast.Samples[3].Yeast, yeast.Samples[3].Taken = true, yeast.Samples[3].Closed.Add(20*time.Minute)
	unproven, half, failed, offset := plain(6, good, good), plain(6, good, good), plain(6, good, good), plain(6, good, good)
	unproven.Meter, half.Meter, failed.Meter.After, offset.Meter.Offset = Meter{}, Meter{Before: Passed}, Failed, 14
	slip := plain(6, good, good)
	slip.Samples[2].TPO = 0.095
	for _, c := range []struct {
		name          string
		in            Input
		verdict, rule string
	}{
		{"all in order", plain(6, good, good), Release, "all"},
		{"mean above its limit", plain(6, high, high), Conditional, RuleMean},
		{"mean red", plain(6, red, red), Hold, RuleMean},
		{"few readings", plain(6, []float64{100, 101}), Hold, RuleReadings},
		{"read late", late, Hold, RuleTime},
		{"yeast, read after 20 min", yeast, Hold, RuleTime},
		{"meter not said", unproven, Hold, RuleMeter},
		{"meter checked before only", half, Hold, RuleMeter},
		{"meter failed after", failed, Hold, RuleMeter},
		{"meter found off", offset, Hold, RuleMeter},
		{"typed in ppm", slip, Hold, RuleRecord},
		{"a single above, nothing said of it", plain(6, good, []float64{300, 100, 95, 105, 90, 112}), Hold, RuleSingle},
		{"the bound above its limit", plain(6, []float64{60, 170, 70, 150, 80, 140}), Conditional, RuleBound},
	} {
		t.Run(c.name, func(t *testing.T) {
			j := judged(t, c.in)
			if j.Verdict != c.verdict || j.Rule != c.rule {
				t.Errorf("%s by %s, want %s by %s: %+v", j.Verdict, j.Rule, c.verdict, c.rule, j.Reasons)
			}
			if j.Verdict == Release && j.ProbabilityWrong == nil {
				t.Error("no probability of being wrong")
			}
			if c.in.Meter.Before == Passed && c.in.Meter.After == Passed && c.in.Meter.Offset == 0 && j.WithMeter != j.Verdict {
				t.Errorf("with a proven meter %s, and it is proven", j.WithMeter)
			}
		})
	}
	if j := judged(t, unproven); j.WithMeter != Release {
		t.Errorf("with a proven meter: %s", j.WithMeter)
	}
}

// A high single is confirmed by another of its head, refuted by two good ones
// read in time, and open otherwise.
func TestSingles(t *testing.T) {
	base := func(more ...Sample) Input {
		in := plain(6, good, []float64{300, 100, 95, 105, 90, 112}, good)
		in.Samples = append(in.Samples, more...)
		return in
	}
	again := func(after, v float64, head string) Sample {
		at := minute(20 + after)
		return Sample{Closed: at, Taken: at.Add(5 * time.Minute), Head: head, TPO: v, U: 2}
	}
	late := again(6, 100, "1")
	late.Taken = late.Closed.Add(4 * time.Hour)
	for _, c := range []struct {
		name string
		in   Input
		want string // in the reason
		pass bool
	}{
		{"open", base(), "neither confirmed nor refuted", false},
		{"one good re-test", base(again(5, 100, "1")), "refuted by re-tests", true}, // the third set is another
		{"confirmed", base(again(5, 290, "1"), again(6, 100, "1")), "confirmed by another", false},
		{"good ones of another head", base(again(5, 100, "2"), again(6, 100, "2")), "neither", false},
		{"a late one proves nothing", base(late), "neither", false},
	} {
		r := rule(judged(t, c.in), RuleSingle)
		if r.Passed != c.pass || !strings.Contains(r.Text, c.want) {
			t.Errorf("%s: passed %v, %s", c.name, r.Passed, r.Text)
		}
	}
	// Within its uncertainty of the limit: said, and not held.
	in := base()
	in.Samples[6].TPO, in.Samples[6].U = 248, 4
	if r := rule(judged(t, in), RuleSingle); !r.Passed || !strings.Contains(r.Text, "within the uncertainty") {
		t.Errorf("near the limit: %+v", r)
	}
}

func TestLine(t *testing.T) {
	for _, c := range []struct {
		name string
		last []float64
		want string
		rule string
	}{
		{"green", good, KeepGoing, "all"},
		{"mean amber", []float64{140, 150, 145}, Retest, RuleSetMean},
		{"single amber", []float64{100, 200, 90, 95, 100, 90}, Retest, RuleSingles},
		{"single red, not confirmed", []float64{100, 300, 60, 65, 60, 70}, Retest, RuleSingles},
		{"mean red", []float64{200, 210, 190}, StopLine, RuleSetMean},
	} {
		if d := judged(t, plain(6, good, good, c.last)).Line; d.Verdict != c.want || d.Rule != c.rule {
			t.Errorf("%s: %s by %s, want %s by %s", c.name, d.Verdict, d.Rule, c.want, c.rule)
		}
	}
	in := plain(1, good, []float64{100, 60, 300, 310})
	if d := judged(t, in).Line; d.Verdict != StopLine || d.Rule != RuleSetMean && d.Rule != RuleSingles {
		t.Errorf("confirmed: %+v", d)
	}
}

// The held span of a head ends at its good packages on both sides, and the
// stopped minutes in it make no packages.
func TestHeldSpanOfAHead(t *testing.T) {
	in := plain(3, []float64{100, 105, 95}, []float64{100, 300, 95}, []float64{104, 320, 98}, []float64{101, 99, 97})
	in.Line = Line{Heads: 3, PerMinute: 30, PerPallet: 500}
	in.Events = []Event{{Stop, minute(25)}, {Restart, minute(31)}}
	j := judged(t, in)
	if len(j.Held) != 1 {
		t.Fatalf("%d spans: %+v", len(j.Held), j.Held)
	}
	h := j.Held[0]
	if h.Head != "2" || !h.From.Equal(minute(1)) || !h.To.Equal(minute(61)) || h.Open {
		t.Errorf("span %+v", h)
	}
	if h.Minutes != 54 || *h.Packages != 540 || *h.Pallets != 4 {
		t.Errorf("%v min, %d packages, %d pallets; want 54, 540, 4", h.Minutes, *h.Packages, *h.Pallets)
	}
	if j.Verdict != Hold || j.Rest != Release {
		t.Errorf("lot %s, rest %s", j.Verdict, j.Rest)
	}
}

func TestHeldSpanOfAllHeads(t *testing.T) {
	bad := []float64{220, 230, 210}
	in := plain(3, good[:3], bad, bad, good[:3], good[3:])
	in.Events = []Event{{Start, simStart}, {End, minute(90)}}
	j := judged(t, in)
	if len(j.Held) != 1 || j.Held[0].Head != "" || !j.Held[0].From.Equal(minute(2)) || !j.Held[0].To.Equal(minute(60)) {
		t.Fatalf("held %+v", j.Held)
	}
	if j.Held[0].Packages != nil {
		t.Error("packages counted without the speed of the line")
	}
	in.Samples = in.Samples[:9] // no good set after it
	if h := judged(t, in).Held[0]; !h.Open || !h.To.Equal(minute(90)) {
		t.Errorf("open span %+v", h)
	}
}

// The probability of being wrong about a release rises as the mean nears the
// bound, and with a meter whose error all readings share.
func TestProbabilityWrong(t *testing.T) {
	last := -1.0
	for _, scale := range []float64{0.8, 1, 1.1, 1.15} {
		x := make([]float64, len(good))
		for i, v := range good {
			x[i] = v * scale
		}
		j := judged(t, plain(6, x, x))
		if j.Verdict != Release || *j.ProbabilityWrong < last {
			t.Fatalf("scale %v: %s, %v after %v", scale, j.Verdict, j.ProbabilityWrong, last)
		}
		last = *j.ProbabilityWrong
	}
	in := plain(6, good, good)
	alone := *judged(t, in).Bound
	in.Meter.URel = 0.08
	if with := *judged(t, in).Bound; with <= alone {
		t.Errorf("bound %v with the meter's part, %v without", with, alone)
	}
}

func TestRefused(t *testing.T) {
	no := math.NaN()
	for _, c := range []struct {
		field string
		spoil func(*Input)
	}{
		{"samples", func(in *Input) { in.Samples = nil }},
		{"samples[1].taken_at", func(in *Input) { in.Samples[1].Closed, in.Samples[1].Taken = time.Time{}, time.Time{} }},
		{"samples[2].tpo_ppb", func(in *Input) { in.Samples[2].TPO = no }},
		{"samples[2].tpo_ppb", func(in *Input) { in.Samples[2].TPO = -3 }},
		{"samples[0].inlet_do_ppb", func(in *Input) { in.Samples[0].Inlet = &no }},
		{"meter", func(in *Input) { in.Meter.URel = -1 }},
		{"mean_bound_ppb", func(in *Input) { in.Rules = Rules{MeanGreen: 120, MeanBound: 100} }},
		{"single_green_ppb", func(in *Input) { in.Rules = Rules{SingleGreen: 300, SingleRed: 200} }},
		{"mean_green_ppb", func(in *Input) { in.Rules.MeanGreen = -1 }},
		{"risk", func(in *Input) { in.Rules.Risk = 0.7 }},
		{"false_alarm", func(in *Input) { in.Rules.FalseAlarm = 0.9 }},
	} {
		in := plain(6, good)
		c.spoil(&in)
		_, err := Judge(in)
		var e *quantity.Error
		if !errors.As(err, &e) || e.Field != c.field || e.Mend == "" {
			t.Errorf("%s: %v", c.field, err)
		}
	}
}

func TestForLimit(t *testing.T) {
	r := ForLimit(90, 0)
	if r.MeanGreen != 90 || r.MeanRed != 135 || r.SingleRed != 187.5 || r.FromDefault {
		t.Errorf("%+v", r)
	}
	if r := ForLimit(0, 0); !r.FromDefault || r != DefaultRules() {
		t.Errorf("%+v", r)
	}
	if r := ForLimit(90, 100); r.SingleRed != 100 || r.SingleGreen != 100 {
		t.Errorf("%+v", r)
	}
	if r, err := (Rules{}).complete(); err != nil || r != DefaultRules() {
		t.Errorf("%+v %v", r, err)
	}
}
