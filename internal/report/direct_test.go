package report

import (
	"bytes"
	"encoding/csv"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ullage/internal/lab"
)

// withDirect reads every third shaken package directly as well, and the next one
// only so.
func withDirect(d *Data) (both, only []int) {
	d.Direct = &lab.Instrument{Name: "Direct 1", InstrumentKind: lab.TPOMeter}
	k := 0
	for i := range d.Samples {
		s := &d.Samples[i]
		if s.SampleKind != "shaken" || s.Result == nil || s.Result.TPOPpb == nil {
			continue
		}
		v := *s.Result.TPOPpb - 4
		direct := &lab.Result{Method: "direct/1", TPOBy: lab.Direct, TPOPpb: lab.Num(v), TPOUPpb: lab.Num(2), TPOLow95Ppb: lab.Num(v - 4), TPOHigh95Ppb: lab.Num(v + 4)}
		switch k % 3 {
		case 0:
			s.Inputs.DirectPpb, s.Result, s.OtherResult = lab.Num(v), direct, s.Result
			both = append(both, i)
		case 1:
			s.SampleKind, s.Inputs, s.Result = lab.Direct, lab.Inputs{DirectPpb: lab.Num(v)}, direct
			only = append(only, i)
		}
		k++
	}
	return both, only
}

// Papers never show a direct reading as a calculated figure, nor the reverse.
func TestPapersOfDirectReadings(t *testing.T) {
	d := fixture(24)
	both, only := withDirect(d)
	if len(both) == 0 || len(only) == 0 {
		t.Fatal("no package was read directly")
	}
	var mean float64
	x := d.readings("shaken")
	for _, v := range x {
		mean += v / float64(len(x))
	}
	f := opened(t, must(runXLSX(d, moment)))
	if got := calculated(t, f, sheetSummary, "B3"); !near(got, mean, 1e-4) {
		t.Errorf("mean in the sheet %g, of the records %g", got, mean)
	}
	cell := func(col string, i int) string { return must(f.GetCellValue(sheetReadings, col+strconv.Itoa(i+2))) }
	for _, i := range both {
		if cell("AL", i) != "direct" || cell("AK", i) == "" || cell("M", i) == "" || calculated(t, f, sheetReadings, "X"+strconv.Itoa(i+2)) < 1 {
			t.Errorf("read both ways: %q %q %q", cell("AL", i), cell("AK", i), cell("M", i))
		}
	}
	for _, i := range only {
		if cell("AL", i) != "direct" || cell("X", i) != "" || cell("Y", i) != "" || cell("F", i) != "direct TPO" {
			t.Errorf("read directly only: %q, calculated %q, recorded %q, %q", cell("AL", i), cell("X", i), cell("Y", i), cell("F", i))
		}
	}
	rows := must(csv.NewReader(bytes.NewReader(must(runCSV(d)))).ReadAll())
	at := func(name string) int { return slices.Index(rows[0], name) }
	for _, i := range both {
		r := rows[i+1]
		if r[at("tpo_by")] != "direct" || r[at("direct_ppb")] != r[at("tpo_ppb")] || r[at("other_tpo_ppb")] == "" || r[at("beer_ml")] == "" || r[at("typed_do")] == "" {
			t.Errorf("CSV of a package read both ways: %q", r)
		}
	}
	for name, text := range map[string]string{"method": d.methodText(), "headline": d.headline(*d.judgement()), "row": strings.Join(d.readingRow(&d.Samples[both[0]]), "|")} {
		if !strings.Contains(text, "direct") {
			t.Errorf("%s says nothing of direct readings: %s", name, text)
		}
	}
	if text := d.methodText(); !strings.Contains(text, "read both ways, the direct reading counts: calculated − direct 4.0 ppb") {
		t.Errorf("method: %s", text)
	}
	for _, make := range []func(*Data) ([]byte, error){func(d *Data) ([]byte, error) { return runPDF(d, "", moment) }, func(d *Data) ([]byte, error) { return lotPDF(d, "", moment) }} {
		if pdf, err := make(d); err != nil || len(pdf) < 1000 {
			t.Errorf("%d bytes, %v", len(pdf), err)
		}
	}
}
