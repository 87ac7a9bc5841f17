package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"ullage/core/calc"
	"ullage/internal/lab"
)

// studied is a study of a kind with rows, as the server would hold it.
func studied(t *testing.T, kind string, rows []map[string]any) *StudyData {
	t.Helper()
	name := "study-" + kind
	if kind == lab.StudyAgreement {
		name = "agree"
	}
	input, err := json.Marshal(map[string]any{"rows": rows})
	if err != nil {
		t.Fatal(err)
	}
	d := &StudyData{Zone: time.UTC, By: "K. O.", Of: []string{"Can 355 mL"}, With: []string{"DO meter 1"},
		Study: lab.Study{StudyKind: kind, Name: "A study", At: lab.At(moment), Rows: rows, Method: name + "/1"}}
	a, err := calc.Do(name, input)
	if err != nil {
		d.Study.Warnings = []lab.Warning{{Field: "rows", Message: err.Error()}}
		return d
	}
	for _, w := range a.Warnings {
		d.Study.Warnings = append(d.Study.Warnings, lab.Warning{Field: w.Field, Value: w.Value, Message: w.Message, Mend: w.Mend})
	}
	if d.Study.Result, err = json.Marshal(a.Result); err != nil {
		t.Fatal(err)
	}
	if d.figures, err = figuresOf(d.Study.Result); err != nil {
		t.Fatal(err)
	}
	if kind == lab.StudyAgreement {
		r := a.Result.(calc.AgreeResult)
		d.agree = &r
	}
	return d
}

func pairsOf(n int, off float64) (rows []map[string]any) {
	for i := range n {
		x := 40 + 4*float64(i)
		rows = append(rows, map[string]any{"id": fmt.Sprint("P", i+1), "direct_ppb": x, "calculated_ppb": x + off + float64(i%5) - 2, "calculated_u_ppb": 3.0})
	}
	return rows
}

func TestStudyPaper(t *testing.T) {
	var tare, gauge, shake []map[string]any
	for i := range 12 {
		tare = append(tare, map[string]any{"lot": []string{"May", "June"}[i/6], "empty_g": 13.2 + 0.05*float64(i%6) + float64(i/6)})
		shake = append(shake, map[string]any{"shake_min": 0.5 + float64(i), "shaken_do_ppb": 50 - 20/float64(i+1)})
	}
	for i := range 24 {
		gauge = append(gauge, map[string]any{"package": fmt.Sprint(i / 6), "operator": []string{"KO", "TV", "MR"}[i%3], "reading": 40 + 8*float64(i/6) + float64(i%3) + 0.4*float64(i%2)})
	}
	for _, c := range []struct {
		kind string
		rows []map[string]any
		want []string
	}{
		{"agreement", pairsOf(40, 0), []string{"may stand in", "bias +0.0", "limit +2.", "Readings (40)", "P40", "mean of both", "deming slope", "concordance"}},
		{"agreement", pairsOf(14, 14), []string{"differs", "Because: it is an offset", "Look at the zero of either meter"}},
		{"agreement", pairsOf(2, 0), []string{"No result yet", "Readings (2)"}},
		{"tare", tare, []string{"Empty weights", "Asked about: lot June", "mean 14.3", "tare, g"}},
		{"shake", shake, []string{"Time of shaking", "99 % of the way", "equilibrium, ppb"}},
		{"repeatability", gauge, []string{"Repeatability", "KO", "gauge sd", "set of neighbours"}},
	} {
		d := studied(t, c.kind, c.rows)
		for _, size := range []string{A4, Letter} {
			all := strings.Join(pages(t, must(d.pdf(size, moment))), "\n")
			for _, w := range c.want {
				if !strings.Contains(all, w) {
					t.Errorf("%s on %s: no %q in\n%s", c.kind, size, w, all)
				}
			}
		}
	}
}

// The workbook's differences are formulas over the pairs.
func TestStudyWorkbook(t *testing.T) {
	d := studied(t, "agreement", pairsOf(12, 3))
	f := opened(t, must(d.xlsx(moment)))
	defer f.Close()
	if v := calculated(t, f, "Readings", "E2"); !near(v, 1, 1e-9) {
		t.Errorf("first difference %v, want 1", v)
	}
	if v, err := f.GetCellValue("Result", "B3"); err != nil || !strings.HasPrefix(v, "The calculated figure may stand in") {
		t.Errorf("sentence %q, %v", v, err)
	}
	if rows := must(csv.NewReader(bytes.NewReader(must(d.file(Request{Format: CSV})))).ReadAll()); len(rows) != 13 || rows[0][1] != "calculated_ppb" {
		t.Errorf("CSV: %v", rows[:1])
	}
}

func TestInstrumentPaper(t *testing.T) {
	d := &InstrumentYear{Zone: time.UTC, Year: 2026, From: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)}
	d.History = lab.History{Instrument: lab.Instrument{Name: "DO meter 1", InstrumentKind: lab.DOMeter}, Now: lab.At(moment), SensorChanges: []lab.SensorChange{{At: lab.At(d.From.AddDate(0, 6, 0))}}}
	s := lab.CheckSeries{Against: lab.AgainstZero, Unit: "ppb", Limit: lab.Num(3), Drift: &lab.Drift{Per30Days: 0.5, Low95: 0.2, High95: 0.8, N: 6, From: lab.At(d.From)}}
	for m := range 12 {
		p := lab.CheckPoint{At: lab.At(d.From.AddDate(0, m, 3)), Off: lab.Num(float64(m) / 2), Outcome: "passed"}
		if m > 6 {
			p.Outcome = "failed"
		}
		s.Points = append(s.Points, p)
	}
	d.History.Series = []lab.CheckSeries{s}
	d.History.Due = []lab.CheckDue{{Against: lab.AgainstZero, At: lab.At(moment.AddDate(0, 0, -1)), EveryDays: 7, Why: "zero is late"}}
	all := strings.Join(pages(t, must(d.pdf(A4, moment))), "\n")
	for _, w := range []string{"DO meter 1, 2026", "12 checks in 2026, 5 of them failed. Overdue: zero is late.", "sensor renewed", "limit", "drift since 2026-01-01: +0.50 ppb in 30 days", "overdue"} {
		if !strings.Contains(all, w) {
			t.Errorf("no %q in\n%s", w, all)
		}
	}
	empty := &InstrumentYear{Zone: time.UTC, Year: 2020, From: d.From, To: d.To, History: lab.History{Instrument: d.History.Instrument, Now: lab.At(moment)}}
	if all := strings.Join(pages(t, must(empty.pdf(Letter, moment))), "\n"); !strings.Contains(all, "No check is recorded in 2020.") {
		t.Errorf("a year without checks: %s", all)
	}
}

// A run that stands in says by which study, and where its uncertainty comes from.
func TestStandInIsSaid(t *testing.T) {
	d := fixture(12)
	d.Run.InForce.StandIn = &lab.StandIn{Name: "Cans, spring", At: lab.At(moment), N: 40, BiasPpb: -0.6, LoaLowPpb: -5.5, LoaHighPpb: 4.4, MarginPpb: 5, LowestPpb: 40, HighestPpb: 159}
	d.Run.InForce.Instruments.DOMeter = &lab.ErrorInForce{Name: "DO meter 1", UAbs: lab.Num(0.67), URel: lab.Num(0.02)}
	for name, make := range map[string]func() ([]byte, error){"run": func() ([]byte, error) { return runPDF(d, A4, moment) }, "lot": func() ([]byte, error) { return lotPDF(d, A4, moment) }} {
		all := strings.Join(strings.Fields(strings.Join(pages(t, must(make())), " ")), " ")
		for _, w := range []string{"stands in for the direct reading", "40 pairs, 40 to 159 ppb", "-5.5 to +4.4 ppb"} {
			if !strings.Contains(all, w) {
				t.Errorf("%s: no %q in\n%s", name, w, all)
			}
		}
	}
	if got := d.errorText(); !strings.Contains(got, "DO meter 1 ±0.67 ppb and 2 %") || !strings.Contains(got, "usual uncertainty assumed: scale, thermometer") {
		t.Error(got)
	}
}
