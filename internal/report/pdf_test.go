package report

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"ullage/core/sampling"
	"ullage/internal/lab"
)

var update = flag.Bool("update", false, "write the golden files anew")

func papers(d *Data, size string) map[string]func() ([]byte, error) {
	blank := func() ([]byte, error) { return sheetPDF(d, must(d.plan(sampling.Input{})), true, size, moment) }
	return map[string]func() ([]byte, error){
		"run":    func() ([]byte, error) { return runPDF(d, size, moment) },
		"lot":    func() ([]byte, error) { return lotPDF(d, size, moment) },
		"blank":  blank,
		"filled": func() ([]byte, error) { return sheetPDF(d, must(d.plan(sampling.Input{})), false, size, moment) },
		"month":  func() ([]byte, error) { return month(d).pdf(size, moment) },
	}
}

func month(runs ...*Data) *Month {
	m := &Month{Brewery: runs[0].Brewery, Zone: time.UTC, Name: "2026-11", From: time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)}
	for _, d := range runs {
		m.Runs = append(m.Runs, monthRun{d, summarize(d.readings("shaken")), *d.judgement(), d.hectolitres()})
		m.Costs.Totals = lab.MonthTotals{Runs: 1, HL: d.hectolitres(), Released: 1}
		m.Costs.Pareto = []lab.MonthCause{{Kind: "head", Runs: 2, HL: 3.5, PPB: 41}, {Kind: "drift", Runs: 1, HL: 1, PPB: 12}}
	}
	return m
}

// The words of every paper of a fixed run, page by page.
func TestGolden(t *testing.T) {
	for name, make := range papers(fixture(12), A4) {
		got := strings.Join(pages(t, must(make())), "--- page ---\n")
		file := filepath.Join("testdata", name+".golden")
		if *update {
			if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want := string(must(os.ReadFile(file)))
		if got != want {
			t.Errorf("%s differs from %s; look at the PDF, then run with -update:\n%s", name, file, got)
		}
	}
}

// The same records at the same moment give the same bytes.
func TestSameBytes(t *testing.T) {
	for _, size := range []string{A4, Letter} {
		a, b := papers(fixture(12), size), papers(fixture(12), size)
		for name := range a {
			if !bytes.Equal(must(a[name]()), must(b[name]())) {
				t.Errorf("%s on %s is not the same twice", name, size)
			}
		}
	}
	first := must(runXLSX(fixture(12), moment))
	for range 8 { // an order of a map shows in some of them
		if !bytes.Equal(first, must(runXLSX(fixture(12), moment))) {
			t.Fatal("the workbook is not the same twice")
		}
	}
	later := must(runPDF(fixture(12), A4, moment.Add(time.Minute)))
	if bytes.Equal(later, must(runPDF(fixture(12), A4, moment))) {
		t.Error("another moment is not printed")
	}
}

var mediaBox = regexp.MustCompile(`/MediaBox \[0 0 ([\d.]+ [\d.]+)\]`)

func TestPaperSizes(t *testing.T) {
	for size, want := range map[string]string{A4: "595.28 841.89", Letter: "612.00 792.00"} {
		for name, make := range papers(fixture(12), size) {
			m := mediaBox.FindSubmatch(must(make()))
			if m == nil || string(m[1]) != want {
				t.Errorf("%s on %s: media box %q, want %s", name, size, m, want)
			}
		}
	}
	if _, err := runPDF(fixture(1), "a3", moment); err == nil || !strings.Contains(err.Error(), "a4 or letter") {
		t.Errorf("a3: %v", err)
	}
}

// What the words of a paper must say, by how many packages were read.
func TestFewAndMany(t *testing.T) {
	for _, c := range []struct {
		n    int
		says []string
		not  []string
	}{
		{0, []string{"No TPO is recorded", "no reading is recorded yet", "No proposal: no reading is recorded"}, []string{"By head", "NaN", "Inf"}},
		{1, []string{"one reading", "1 reading of TPO"}, []string{"NaN", "Inf"}},
		{500, []string{"n = 500", "500 readings of TPO"}, []string{"NaN", "Inf"}},
	} {
		d := fixture(c.n)
		if c.n == 0 {
			d.Decisions = nil
		}
		began := time.Now()
		all := pages(t, must(runPDF(d, A4, moment)))
		text := strings.Join(all, "")
		for _, s := range c.says {
			if !strings.Contains(strings.ReplaceAll(text, "\n", " "), s) {
				t.Errorf("%d packages: %q is not said", c.n, s)
			}
		}
		for _, s := range c.not {
			if strings.Contains(text, s) {
				t.Errorf("%d packages: %q is said", c.n, s)
			}
		}
		t.Logf("%d packages: %d pages, %v", c.n, len(all), time.Since(began).Round(time.Millisecond))
		if last := all[len(all)-1]; !strings.Contains(last, "page "+strconv.Itoa(len(all))+" of "+strconv.Itoa(len(all))) {
			t.Errorf("%d packages: the last page does not say that it is the last", c.n)
		}
		for name, make := range papers(d, Letter) {
			if _, err := make(); err != nil {
				t.Errorf("%d packages, %s: %v", c.n, name, err)
			}
		}
	}
}

// A run sheet, a certificate and the plan each fit one page.
func TestOnePage(t *testing.T) {
	for _, size := range []string{A4, Letter} {
		d := fixture(12)
		for name, make := range papers(d, size) {
			if n := len(pages(t, must(make()))); n != 1 && name != "run" {
				t.Errorf("%s on %s takes %d pages", name, size, n)
			}
		}
		if first := pages(t, must(runPDF(d, size, moment)))[0]; !strings.Contains(first, "Judgement") {
			t.Errorf("the first page of a run report on %s holds no judgement", size)
		}
	}
}

// Long names wrap or are cut with a sign; letters the font has are printed,
// others are named as missing, and nothing runs off the paper.
func TestNames(t *testing.T) {
	d := fixture(12)
	d.Beer.Name = strings.Repeat("Überlängliches Doppelbockbier ", 6)
	d.Brewery.Name = "Острельвир Ζυθοποιία Wiñbräu 醸造所"
	d.Format.Name = strings.Repeat("X", 200)
	d.Run.Code = "line\nbreak\ttab \u202eevil"
	d.Samples[3].Note = strings.Repeat("ñandú ≤ ± µ ° CO₂ ", 30)
	d.People["p1"] = "עברית 日本語 العربية"
	for name, make := range papers(d, A4) {
		text := strings.Join(pages(t, must(make())), "")
		if !strings.Contains(text, "Острельвир Ζυθοποιία Wiñbräu") {
			t.Errorf("%s: Cyrillic, Greek and Latin letters are not printed", name)
		}
		if strings.ContainsAny(text, "醸עא日ا\u202e\t") {
			t.Errorf("%s: letters without a glyph are printed", name)
		}
		if !strings.Contains(text, "□") || !strings.Contains(text, "□ stands for") {
			t.Errorf("%s: missing letters are not named", name)
		}
	}
	if text := strings.Join(pages(t, must(runPDF(d, A4, moment))), ""); !strings.Contains(text, "≤ ± µ ° CO₂") {
		t.Error("the signs of the trade are not printed")
	}
}

// Every word stays within the margins.
func TestWithinMargins(t *testing.T) {
	c, err := newCanvas(A4, "t", "f", moment, 1)
	if err != nil {
		t.Fatal(err)
	}
	c.newPage()
	c.font(normal, false)
	for _, s := range []string{"", "a", strings.Repeat("W", 300), strings.Repeat("word ", 80), "日" + strings.Repeat("日", 200)} {
		for _, l := range c.lines(s, 40) {
			if w := c.width(l); w > 40 {
				t.Errorf("%q is %.1f mm wide, 40 asked", l, w)
			}
		}
		if w := c.width(c.fit(s, 30)); w > 30 {
			t.Errorf("%.20q is cut to %.1f mm, 30 asked", s, w)
		}
		if joined := strings.Join(c.lines(s, 40), ""); strings.ReplaceAll(joined, " ", "") != strings.ReplaceAll(s, " ", "") {
			t.Errorf("%.20q loses letters when wrapped", s)
		}
	}
}

// A state of the lot is said in words, and a hold stands in the title of its
// box. The newest word counts, and what stays on hold is named.
func TestStates(t *testing.T) {
	for word, says := range map[string]string{"hold": "ON HOLD: NOT RELEASED", "release": "RELEASED", "conditional": "RELEASED WITH CONDITIONS", "": "NO DECISION ON RECORD"} {
		d := fixture(12)
		d.Decisions = append(d.Decisions, Decision{Word: word, Condition: "local only", At: start.Add(9 * time.Hour),
			Held: []lab.LotSpan{{From: lab.At(start), To: lab.At(start.Add(time.Hour)), Head: "4"}}})
		if word == "" {
			d.Decisions = nil
		}
		text := pages(t, must(lotPDF(d, A4, moment)))[0]
		if !strings.Contains(text, "\n"+says+"\n") {
			t.Errorf("word %q: %q is not said", word, says)
		}
		if word != "" && !strings.Contains(strings.ReplaceAll(text, "\n", " "), "Condition: local only. On hold stay: 06:30 to 07:30, head 4") {
			t.Errorf("word %q: the span that stays on hold is not named", word)
		}
	}
	d := fixture(12)
	d.Decisions = []Decision{{Word: "conditional", Condition: "local only"}, {Word: "release", ofRun: true}}
	if d.word() != "conditional" {
		t.Errorf("a run set to released takes the condition away: %q", d.word())
	}
	d.Decisions = append(d.Decisions, Decision{Word: "hold", ofRun: true})
	if d.word() != "hold" {
		t.Errorf("a later hold on the run does not count: %q", d.word())
	}
	going := fixture(12)
	going.Run.Status, going.Run.EndedAt = "going", lab.Time{}
	if text := pages(t, must(lotPDF(going, A4, moment)))[0]; !strings.Contains(text, "interim") {
		t.Error("a run that is going is not called interim")
	}
}

// Nothing is proposed for release on a meter that is not proven.
func TestMeter(t *testing.T) {
	for name, c := range map[string]struct {
		checks   []*lab.MeterCheck
		proposal string
		says     string
	}{
		"proven":       {[]*lab.MeterCheck{check(-2, "passed", 0), check(5, "passed", 1)}, "release", "check before passed 2026-11-05 04:30"},
		"no check":     {nil, "hold", "check before not recorded, after not recorded"},
		"failed after": {[]*lab.MeterCheck{check(-2, "passed", 0), check(5, "failed", 14)}, "hold", "failed against zero, 14 ppb off"},
		"none after":   {[]*lab.MeterCheck{check(-2, "passed", 0)}, "hold", "after not recorded"},
	} {
		d := fixture(60)
		d.Checks = c.checks
		if got := d.judgement().Proposal; got != c.proposal {
			t.Errorf("%s: %s is proposed, want %s", name, got, c.proposal)
		}
		if text := strings.ReplaceAll(strings.Join(pages(t, must(runPDF(d, A4, moment))), " "), "\n", " "); !strings.Contains(text, c.says) {
			t.Errorf("%s: %q is not said", name, c.says)
		}
		if once := strings.Contains(proposal(*d.judgement()), "once the meter is proven"); once != (name == "no check" || name == "none after") {
			t.Errorf("%s: %q; only a check that is missing can still be made good", name, proposal(*d.judgement()))
		}
	}
}

// A unit slip stays out of the mean, out of the chart, and in the list.
func TestUnitSlip(t *testing.T) {
	d := fixture(24)
	before := summarize(d.readings("shaken"))
	for i := range d.Samples {
		if s := &d.Samples[i]; s.SampleKind == "shaken" {
			s.Inputs.DOPpb, s.Raw = lab.Num(*s.Inputs.DOPpb/1000), map[string]string{"do": "0.046"}
			result(s, &d.Run)
			break
		}
	}
	d.judged = nil
	after := summarize(d.readings("shaken"))
	if after.n != before.n-1 || after.low < before.low*0.9 {
		t.Errorf("with a slip: %+v, before %+v", after, before)
	}
	book := opened(t, must(runXLSX(d, moment)))
	if n, mean := calculated(t, book, sheetSummary, "B2"), calculated(t, book, sheetSummary, "B3"); int(n) != after.n || !near(mean, after.mean, 1e-4) {
		t.Errorf("the workbook counts %g packages, mean %g; the report %d, %g", n, mean, after.n, after.mean)
	}
	text := strings.Join(pages(t, must(runPDF(d, A4, moment))), "\n")
	for _, s := range []string{"1 set aside, not drawn", "0.046", "Set aside"} {
		if !strings.Contains(text, s) {
			t.Errorf("%q is not said", s)
		}
	}
}

// TestSinglesText: a single limit without a red one is a limit all the same.
func TestSinglesText(t *testing.T) {
	green, red := 205.0, 260.0
	tpo := []float64{90, 210, 300}
	for _, x := range []struct {
		limits lab.LimitInForce
		want   string
	}{
		{lab.LimitInForce{}, "no limit is recorded"},
		{lab.LimitInForce{SingleGreenPpb: &red}, "1 of 3 above 260 ppb"},
		{lab.LimitInForce{SingleGreenPpb: &green, SingleRedPpb: &red}, "2 of 3 above 205 ppb; 1 of 3 above 260 ppb, red"},
	} {
		if got := singlesText(tpo, x.limits); got != x.want {
			t.Errorf("%q, want %q", got, x.want)
		}
	}
}
