package batch

import (
	"math"
	"strings"
	"testing"
	"time"

	"ullage/core/verdict"
)

const runHead = "id,taken_at,closed_at,head,station,event,temperature_c,gross_g,tare_g,capacity_ml,sg,shaken_do_ppb,unshaken_do_ppb,inlet_do_ppb,minutes_since_closing_min\n"

func readRun(t *testing.T, text string) Run {
	t.Helper()
	run, err := ReadRun(strings.NewReader(text), "run.csv", "", nil)
	if err != nil {
		t.Fatal(err)
	}
	return run
}

func TestReadRun(t *testing.T) {
	run := readRun(t, runHead+
		"a,2026-03-02T07:25:00+01:00,2026-03-02T06:15:00Z,4,2,,20,372.0,13.4,373.5,1.010,44,41,,\n"+
		"\n"+
		"b,2026-03-02T07:30:00+01:00,,,,,,,,,,,,24,\n"+
		",2026-03-02T07:31:00+01:00,,,,Stop,,,,,,,,,\n"+
		"c,2026-03-02T07:35:00+01:00,,\"5\",1,,20,372.0,13.4,373.5,1.010,46,,,12\n")
	if len(run.Faults) != 0 || run.Rows != 4 || len(run.Samples) != 3 || len(run.Events) != 1 {
		t.Fatalf("%+v", run)
	}
	a, b, c := run.Samples[0], run.Samples[1], run.Samples[2]
	if a.ID != "a" || a.Head != "4" || a.Station != "2" || math.Abs(a.TPO-110) > 3 || *a.Unshaken != 41 || a.U <= 0 || !a.FillKnown || math.Abs(a.TPO-44*a.Factor) > 1e-9 {
		t.Errorf("%+v", a)
	}
	if d := a.Taken.Sub(a.Closed); d != 10*time.Minute {
		t.Errorf("delay %v", d)
	}
	if b.TPO != 0 || *b.Inlet != 24 || b.Shaken != nil {
		t.Errorf("%+v", b)
	}
	if c.Head != "5" || c.Taken.Sub(c.Closed) != 12*time.Minute || c.Unshaken != nil {
		t.Errorf("%+v", c)
	}
	if e := run.Events[0]; e.Kind != verdict.Stop || e.At.UTC().Hour() != 6 {
		t.Errorf("%+v", e)
	}
	// The meter's 1 ppb (or 2 %) of 44 ppb is common to all packages.
	if math.Abs(run.MeterShare-1.0/44) > 0.003 {
		t.Errorf("meter's share %v", run.MeterShare)
	}
}

// A refused row leaves nothing behind for the next.
func TestReadRunForgetsRefusedRows(t *testing.T) {
	run := readRun(t, runHead+
		"a,2026-03-02T07:25:00Z,,4,,,20,372.0,13.4,373.5,1.010,44,41,,\n"+
		"b,2026-03-02T07:26:00Z,,4,,,20,372.0,13.4,373.5,1.010,4.4e,99,,\n"+
		"c,2026-03-02T07:27:00Z,,4,,,20,372.0,13.4,373.5,1.010,44,,,\n"+
		"d,2026-03-02T07:28:00Z,,4,,,20,372.0,13.4,373.5,1.010,44,-3,,\n"+
		"e,2026-03-02T07:29:00Z,,4,\n")
	if len(run.Samples) != 2 || len(run.Faults) != 3 {
		t.Fatalf("%+v", run)
	}
	if run.Samples[1].Unshaken != nil || run.Samples[1].ID != "c" {
		t.Errorf("%+v", run.Samples[1])
	}
	for i, line := range []int{3, 5, 6} {
		if f := run.Faults[i]; f.Line != line || f.Err.Message == "" || f.Err.Mend == "" {
			t.Errorf("%+v, want line %d", f, line)
		}
	}
}

func TestReadRunRefusesFiles(t *testing.T) {
	for text, want := range map[string]string{
		"":                                  "the file is empty",
		"head,shaken_do_ppb\n1,44\n":        "taken_at",
		"taken_at,taken_at,shaken_do_ppb\n": "is a column twice",
		"taken_at,event\n2026-03-02T07:25:00Z,start\n": "names no known column",
	} {
		_, err := ReadRun(strings.NewReader(text), "run.csv", "", nil)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
	notes := ""
	_, err := ReadRun(strings.NewReader("taken_at,shaken_do_ppb,mood,head\n"), "run.csv", "", func(s string) { notes += s })
	if err != nil || notes != "not used: mood" {
		t.Errorf("%q %v", notes, err)
	}
}

// FuzzReadRun: no file makes the reader fail, nor what it read the judgement.
func FuzzReadRun(f *testing.F) {
	f.Add(runHead + "a,2026-03-02T07:25:00+01:00,2026-03-02T06:15:00Z,4,2,,20,372.0,13.4,373.5,1.010,44,41,,\n")
	f.Add(runHead + ",2026-03-02T07:31:00Z,,,,stop,,,,,,,,,\n\"b\",2026-03-02 07:30:00Z,,,,,,,,,,,30,24,\n")
	f.Add("taken_at;inlet_do_ppm\n2026-03-02T07:31:00Z;0,04\n")
	f.Add("taken_at,closed_at,shaken_do_ppb\n0001-01-01T00:00:00Z,9999-12-31T23:59:59Z,\"4\n")
	f.Fuzz(func(t *testing.T, text string) {
		run, err := ReadRun(strings.NewReader(text), "run.csv", "", nil)
		if err != nil {
			return
		}
		if len(run.Samples)+len(run.Faults) > 2*run.Rows {
			t.Fatalf("%d rows, %d samples, %d faults", run.Rows, len(run.Samples), len(run.Faults))
		}
		for _, f := range run.Faults {
			if f.Err.Message == "" {
				t.Fatalf("%+v", f)
			}
		}
		if len(run.Samples) == 0 {
			return
		}
		in := verdict.Input{Samples: run.Samples, Events: run.Events, Meter: verdict.Meter{URel: run.MeterShare}}
		if _, err := verdict.Judge(in); err != nil {
			t.Fatal(err)
		}
	})
}

// A direct reading counts where a package has both, unless the caller says
// otherwise; alone it counts in any case.
func TestReadRunDirect(t *testing.T) {
	const text = `id,taken_at,temperature_c,shaken_do_ppb,gross_g,tare_g,capacity_ml,sg,direct_ppb,direct_u_ppb
a,2026-03-02T07:25:00Z,20,44,372.0,13.4,373.5,1.010,104,
b,2026-03-02T07:26:00Z,20,44,372.0,13.4,373.5,1.010,,
c,2026-03-02T07:27:00Z,,,,,,,0.0995 ppm,3
d,2026-03-02T07:28:00Z,,,,,,,-4,
`
	for by, want := range map[string]float64{"": 104, "direct": 104, "calculated": 108.5} {
		run, err := ReadRun(strings.NewReader(text), "run.csv", by, nil)
		if err != nil || len(run.Samples) != 3 || len(run.Faults) != 1 || run.Faults[0].Line != 5 {
			t.Fatalf("%q: %d samples, faults %v, %v", by, len(run.Samples), run.Faults, err)
		}
		a, b, c := run.Samples[0], run.Samples[1], run.Samples[2]
		if math.Abs(a.TPO-want) > 0.05 || a.Direct != (by != "calculated") || a.Beside == 0 || math.Abs(a.TPO+a.Beside-212.5) > 0.1 {
			t.Errorf("%q: both ways: %+v", by, a)
		}
		if a.Direct && (a.Factor != 0 || math.Abs(a.U-2.08) > 1e-9) {
			t.Errorf("a direct reading keeps factor %g, u %g", a.Factor, a.U)
		}
		if b.Direct || b.Beside != 0 || !c.Direct || math.Abs(c.TPO-99.5) > 1e-9 || c.U != 3 || c.Shaken != nil {
			t.Errorf("%q: one way: %+v, %+v", by, b, c)
		}
	}
	if run, err := ReadRun(strings.NewReader("taken_at,sg,direct_ppm\n2026-03-02T07:25:00Z,1.01,0.101\n"), "r", "", nil); err != nil || math.Abs(run.Samples[0].TPO-101) > 1e-9 {
		t.Errorf("a column in ppm: %+v, %v", run, err)
	}
}
