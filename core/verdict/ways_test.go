package verdict

import (
	"math"
	"strings"
	"testing"
	"time"
)

// directRun has n packages, the first read directly, every one of them proven by
// its own instrument.
func directRun(n, direct int) Input {
	in := Input{Meter: Meter{Before: Passed, After: Passed, URel: 0.02}, DirectMeter: &Meter{Before: Passed, After: Passed, URel: 0.01}}
	for i := range n {
		at := time.Date(2026, 3, 2, 7, i, 0, 0, time.UTC)
		s := Sample{Taken: at.Add(time.Minute), Closed: at, TPO: 100 + float64(i%5), U: 3, Shaken: new(float64), Factor: 2.5}
		*s.Shaken = s.TPO / 2.5
		if i < direct {
			s.Direct, s.Beside, s.Factor = true, s.TPO+4, 0
		}
		in.Samples = append(in.Samples, s)
	}
	return in
}

// What is read directly needs its own instrument proven, not the DO meter.
func TestMeterOfDirectReadings(t *testing.T) {
	for _, c := range []struct {
		name          string
		direct        int
		meter, other  Meter
		passes        bool
		says, saysNot string
	}{
		{"all direct, DO meter unknown", 10, Meter{}, Meter{Before: Passed, After: Passed}, true, "direct TPO instrument was proven", "nothing says"},
		{"all direct, instrument unknown", 10, Meter{Before: Passed, After: Passed}, Meter{}, false, "nothing says that the direct TPO instrument", ""},
		{"all calculated, instrument failed", 0, Meter{Before: Passed, After: Passed}, Meter{Before: Passed, After: Failed}, true, "the meter was proven", "direct"},
		{"both, DO meter failed", 5, Meter{Before: Passed, After: Failed}, Meter{Before: Passed, After: Passed}, false, "the meter failed", "direct"},
		{"both, both proven", 5, Meter{Before: Passed, After: Passed}, Meter{Before: Passed, After: Passed}, true, "the meter was proven before and after the run; the direct TPO instrument was proven", ""},
		{"both, neither", 5, Meter{Before: Passed}, Meter{After: Passed}, false, "the meter is not proven after the run: check it before anything is released; the direct TPO instrument was not proven before", ""},
	} {
		in := directRun(10, c.direct)
		in.Meter, in.DirectMeter = c.meter, &c.other
		j, err := Judge(in)
		if err != nil {
			t.Fatal(err)
		}
		text := j.Reasons[1].Text
		if j.MeterProven() != c.passes || !strings.Contains(text, c.says) || c.saysNot != "" && strings.Contains(text, c.saysNot) {
			t.Errorf("%s: %v, %q", c.name, j.MeterProven(), text)
		}
		if (j.Verdict == Hold) == c.passes || j.WithMeter != Release {
			t.Errorf("%s: %s, with a proven meter %s", c.name, j.Verdict, j.WithMeter)
		}
	}
}

// An offset of the instrument goes into what it read, with factor 1, and an
// offset of the DO meter into what was calculated from it only.
func TestOffsetOfDirectReadings(t *testing.T) {
	in := directRun(10, 4)
	in.Meter.Offset, in.DirectMeter.Offset = 2, -3
	j, err := Judge(in)
	if err != nil {
		t.Fatal(err)
	}
	got := map[float64]Cause{}
	for _, c := range j.Causes {
		if c.Kind == KindMeter {
			got[c.PPB] = c
		}
	}
	if len(got) != 2 || math.Abs(got[5].RunMean-3) > 1e-9 || got[5].Packages != 6 || math.Abs(got[-3].RunMean+1.2) > 1e-9 || got[-3].Packages != 4 {
		t.Errorf("%+v", got)
	}
	in.DirectMeter = &Meter{Before: Passed, After: Passed}
	for i := range in.Samples {
		in.Samples[i].Direct, in.Samples[i].Factor = true, 0
	}
	if j, err = Judge(in); err != nil || len(j.Causes) != 0 {
		t.Errorf("the DO meter's offset reaches direct readings: %+v, %v", j.Causes, err)
	}
}

func TestWays(t *testing.T) {
	r, err := JudgeRun(directRun(10, 4))
	if err != nil {
		t.Fatal(err)
	}
	w := r.Ways
	if w == nil || w.Direct != 4 || w.Calculated != 6 || w.Pairs != 4 || math.Abs(*w.Difference-4) > 1e-9 || len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "the direct one counts") {
		t.Errorf("%+v, %q", w, r.Notes)
	}
	// Two instruments are independent: their shared parts join by squares.
	in := directRun(10, 4)
	if got, want := newRun(&in, DefaultRules()).shared(), math.Hypot(0.6*0.02, 0.4*0.01); math.Abs(got-want) > 1e-12 {
		t.Errorf("shared %g, want %g", got, want)
	}
	in = directRun(10, 0)
	before := fingerprint(Input{Samples: in.Samples, Meter: in.Meter})
	in.DirectMeter = nil
	if r, err = JudgeRun(in); err != nil || r.Ways != nil || r.Notes != nil || r.InputHash != before {
		t.Errorf("all calculated: %+v %q %s %s %v", r.Ways, r.Notes, r.InputHash, before, err)
	}
}
