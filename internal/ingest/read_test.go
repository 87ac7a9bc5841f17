package ingest

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"

	"ullage/internal/lab"
)

func utf16of(text string, big bool) []byte {
	out := []byte{0xff, 0xfe}
	if big {
		out = []byte{0xfe, 0xff}
	}
	for _, u := range utf16.Encode([]rune(text)) {
		if big {
			out = append(out, byte(u>>8), byte(u))
		} else {
			out = append(out, byte(u), byte(u>>8))
		}
	}
	return out
}

type shape struct {
	name string
	file File
	says string // an assumption
}

// Each of these is the same log of two samples, 44 and 47.5 ppb at 3.8 °C.
func shapes(b *bench) []shape {
	german := "Datum;Uhrzeit;Charge;Bier;Gebinde;Linie;Ventil;Shaken DO (ppb);Temperatur (°C);Brutto (g)\r\n" +
		"05.10.2026;09:40;V118;Vellumrook;Can 355;C6;1;44,0;3,8;371,9\r\n06.10.2026;09:44;V119;Vellumrook;Can 355;C6;2;47,5;3,8;1.372,4\r\n"
	german = strings.Replace(german, "1.372,4", "372,4", 1)
	cells := strings.NewReplacer(";", "\t").Replace(german)
	latin := strings.NewReplacer("°", "\xb0").Replace(german)
	english := "Date,Time,Lot,Beer,Format,Line,Head,Shaken DO (ppb),Temp (°F),Gross (oz)\n" +
		"2026-10-05,9:40 AM,V118,Vellumrook,Can 355,C6,1,44,38.84,13.1184\n2026-10-06,9:44 AM,V119,Vellumrook,Can 355,C6,#2,47.5,38.84,13.136\n"
	quoted := `"Date","Time","Lot","Beer","Format","Line","Head","Shaken DO (mg/L)","Temp, °C","Gross, kg"` + "\n" +
		`"5 Oct 2026","09:40","V118","Vellumrook","Can 355","C6","1","0.044","3.8","0.3719"` + "\n\n" +
		`"Oct 6, 2026","09:44","V119","  vellumrook ","can  355","C6","2","0.0475","3.8","0.3724"` + "\n"
	titled := "DO log 2026,,,,,,,,\n,,,,,,,,\n" + strings.Replace(english, "°F", "°F", 1)
	units := "Date,Time,Lot,Beer,Format,Line,Head,Shaken DO,Temp,Gross\n" +
		"2026-10-05,09:40,V118,Vellumrook,Can 355,C6,1,44 ppb,3.8 °C,371.9 g\n2026-10-06,09:44,V119,Vellumrook,Can 355,C6,2,0.0475 mg/L,38.84 °F,0.3724 kg\n"
	book := b.xlsx([][]any{{"Date", "Time", "Lot", "Beer", "Format", "Line", "Head", "Shaken DO (ppb)", "Temp (°C)", "Gross (g)"},
		{46300, 580.0 / 1440, "V118", "Vellumrook", "Can 355", "C6", 1, 44, 3.8, 371.9}, {46301, 584.0 / 1440, "V119", "Vellumrook", "Can 355", "C6", 2, 47.5, 3.8, 372.4}})
	epoch4 := b.xlsx([][]any{{"Date", "Lot", "Beer", "Format", "Line", "Head", "Shaken DO (ppb)", "Temp (°C)", "Gross (g)"},
		{46300 - 1462 + 580.0/1440, "V118", "Vellumrook", "Can 355", "C6", 1, 44, 3.8, 371.9}, {46301 - 1462 + 584.0/1440, "V119", "Vellumrook", "Can 355", "C6", 2, 47.5, 3.8, 372.4}},
		func(x *excelize.File) {
			yes := true
			if err := x.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes}); err != nil {
				b.Fatal(err)
			}
		})
	return []shape{
		{"comma", b.csv(strings.Replace(english, "#2", "2", 1)), ""},
		{"head with #", b.csv(english), ""},
		{"semicolon, decimal comma", b.csv(german), ""},
		{"tab", b.csv(cells), ""},
		{"byte order mark", b.csv("\ufeff" + german), ""},
		{"UTF-16 little", b.file("l.csv", utf16of(german, false)), ""},
		{"UTF-16 big", b.file("l.csv", utf16of(german, true)), ""},
		{"UTF-16 without a mark", b.file("l.csv", utf16of(german, false)[2:]), "UTF-16"},
		{"Windows-1252", b.file("l.csv", []byte(latin)), "Windows-1252"},
		{"all quoted, months named, mg/L, kg", b.csv(quoted), ""},
		{"title rows", b.csv(titled), ""},
		{"units in the cells", b.csv(units), ""},
		{"old line ends at the file's end", b.csv(strings.TrimSpace(german)), ""},
		{"XLSX", book, ""},
		{"XLSX, days from 1904, date and clock in one", epoch4, ""},
	}
}

func TestEveryShapeReadsTheSame(t *testing.T) {
	b := newBench(t)
	for _, c := range shapes(b) {
		t.Run(c.name, func(t *testing.T) {
			p := b.proposed(c.file)
			if p.Counts.Samples != 2 || p.Counts.Faulty != 0 || p.Counts.Odd != 0 {
				t.Fatalf("%+v\n%s", p.Counts, faultText(p.Faults))
			}
			for _, q := range p.Questions {
				if q.ID != "time_zone" {
					t.Errorf("asks %+v", q)
				}
			}
			if said := strings.Join(p.Assumptions, "\n"); c.says != "" && !strings.Contains(said, c.says) || c.says == "" && strings.Contains(said, "is read as") {
				t.Errorf("assumes %q, want %q", said, c.says)
			}
			read := drafts(t, b, c.file, b.sure(p))
			for i, want := range []struct {
				do, g float64
				at    string
			}{{44, 371.9, "2026-10-05T09:40:00Z"}, {47.5, 372.4, "2026-10-06T09:44:00Z"}} {
				s := read[i]
				if near(*s.Inputs.DOPpb, want.do, 1e-9) && near(*s.Inputs.TemperatureC, 3.8, 1e-9) && near(*s.Inputs.GrossG, want.g, 0.02) && s.Head == i+1 &&
					s.TakenAt.Format("2006-01-02T15:04:05Z07:00") == want.at {
					continue
				}
				t.Errorf("sample %d: %g ppb, %g °C, %g g, head %d, at %s", i, *s.Inputs.DOPpb, *s.Inputs.TemperatureC, *s.Inputs.GrossG, s.Head, s.TakenAt)
			}
		})
	}
}

func near(a, b, tol float64) bool { return a-b <= tol && b-a <= tol }

// drafts reads the samples of a file.
func drafts(t *testing.T, b *bench, f File, m lab.ImportMapping) (list []*lab.Sample) {
	t.Helper()
	k, err := f.inspect()
	if err != nil {
		t.Fatal(err)
	}
	r, err := prepare(bg, b.svc, &f, k, &m, "UTC")
	if err != nil {
		t.Fatal(err)
	}
	err = f.each(k, r.m, 0, func(row rowText) error {
		list = append(list, r.read(row).samples...)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// What a file leaves open is asked, and never taken silently.
func TestAsks(t *testing.T) {
	b := newBench(t)
	row := func(head, cells string) string {
		return "Date,Time,Lot,Beer,Format,Line," + head + "\n2026-10-05,09:40,V118,Vellumrook,Can 355,C6," + cells + "\n2026-10-05,09:44,V118,Vellumrook,Can 355,C6," + cells + "\n"
	}
	for _, c := range []struct{ name, text, id, proposed, why string }{
		{"ppm under a header that says ppb", row("Shaken DO (ppb)", "0.048"), "unit:6:do_shaken", "ppm", "the header says ppb, but a typical value is 0.048"},
		{"no unit, looks like ppb", row("Shaken DO", "48"), "unit:6:do_shaken", "ppb", "no unit is named; a typical value of 48 is usual in ppb"},
		{"no unit, looks like ppm", row("Shaken DO", "0.12"), "unit:6:do_shaken", "ppm", "usual in ppm"},
		{"no unit, looks like neither", row("Shaken DO", "4.1"), "unit:6:do_shaken", "ppb", "unusual in every unit"},
		{"no unit, °F by its look", row("Shaken DO (ppb),Temp", "48,39"), "unit:7:temperature", "°F", "usual in °F"},
		{"°F under °C", row("Shaken DO (ppb),Temp (°C)", "48,39"), "unit:7:temperature", "°F", "the header says °C"},
		{"no unit, plato by its look", row("Shaken DO (ppb),Gravity", "48,2.6"), "unit:7:sg", "°P", "usual in °P"},
		{"ounces or kilograms", row("Shaken DO (ppb),Gross", "48,13.1"), "unit:7:gross", "kg", "kg and in oz"},
		{"which DO", row("DO (ppb)", "48"), "sample_kind", "shaken", "three different numbers"},
		{"whose tare", row("Shaken DO (ppb),Tare (g)", "48,13.4"), "tare_source", "lot", ""},
		{"order of day and month", strings.ReplaceAll(row("Shaken DO (ppb)", "48"), "2026-10-05", "05/10/2026"), "date_order", "dmy", ""},
		{"decimal or thousands", strings.ReplaceAll(strings.ReplaceAll(row("TPO (ppb)", "1,204"), ",", ";"), "1;204", "1,204"), "decimal", ",", "two ways"},
		{"no beer", strings.ReplaceAll(row("Shaken DO (ppb)", "48"), "Beer", "Sky"), "beer", "", "no column says it"},
		{"no reading", row("Sky", "48"), "column:do", "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := b.csv(c.text)
			p := b.proposed(f)
			var found bool
			for _, q := range p.Questions {
				if q.ID == c.id {
					found = true
					if q.Proposed != c.proposed || !strings.Contains(q.Why, c.why) {
						t.Errorf("proposes %q because %q, want %q because %q", q.Proposed, q.Why, c.proposed, c.why)
					}
				}
			}
			if !found {
				t.Fatalf("not asked: %+v", p.Questions)
			}
			if _, err := Import(bg, b.svc, f, p.Mapping, nil); err == nil || !strings.Contains(err.Error(), "a question is open") {
				t.Errorf("written with an open question: %v", err)
			}
		})
	}
}

// Each broken row is a fault of its own, with row, value and mend; the others
// are read.
func TestFaultsOfRows(t *testing.T) {
	b := newBench(t)
	head := "Date;Time;Closed;Lot;Beer;Format;Line;Head;Shaken DO (ppb);Temp (°C);Gross (g);Note\n"
	ok := "2026-10-05;09:40;09:31;V118;Vellumrook;Can 355;C6;%d;44;3.8;371.9;\n"
	for _, c := range []struct {
		name, row, value, message string
		odd                       bool
	}{
		{"words for a number", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;high;3.8;371.9;", "high", "is not a number", false},
		{"below detection", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;<5;3.8;371.9;", "<5", "above or below", false},
		{"spreadsheet error", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;#DIV/0!;3.8;371.9;", "#DIV/0!", "error of the spreadsheet", false},
		{"decimal comma in a file of points", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;44,5;3.8;371.9;", "44,5", "another decimal mark", false},
		{"no day of the calendar", "2026-02-30;09:50;;V118;Vellumrook;Can 355;C6;1;44;3.8;371.9;", "2026-02-30", "no day of the calendar", false},
		{"the future", "2027-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;44;3.8;371.9;", "", "lies in the future", false},
		{"before there were logs", "0026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;44;3.8;371.9;", "09:50", "cannot be right", false},
		{"no clock", "2026-10-05;soon;;V118;Vellumrook;Can 355;C6;1;44;3.8;371.9;", "soon", "is not a date or a time", false},
		{"unknown beer", "2026-10-05;09:50;;V118;Dapplewick;Can 355;C6;1;44;3.8;371.9;", "Dapplewick", "stands for no beer yet", false},
		{"head of letters", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;four;44;3.8;371.9;", "four", "not a whole number", false},
		{"no reading", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;n/a;3.8;371.9;", "", "holds no reading", false},
		{"a cell too many", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;44;3.8;371.9;;x", "x", "has 13 cells where the header has 12", false},
		{"a quote left open", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;44;3.8;371.9;\"stuck", "", "quote is out of place or not closed", false},
		{"a quote out of place", "2026-10-05;09:50;;V118;Vellumrook;\"Can\" 355;C6;1;44;3.8;371.9;", "", "quote is out of place", false},
		{"hotter than water", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;44;380;371.9;", "380", "cannot be outside -20 to 100", false},
		{"ppm in a ppb column", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;0.085;3.8;371.9;", "0.085", "is unusual", true},
		{"°F in a °C column", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;44;39;371.9;", "39", "is unusual", true},
		{"the same again", "2026-10-05;09:40;09:31;V118;Vellumrook;Can 355;C6;1;44;3.8;371.9;", "", "is the same as row 2", true},
		{"a zero byte", "2026-10-05;09:50;;V118;Vellumrook;Can 355;C6;1;44;3.8;371.9;\x00", "", "zero byte", false},
		{"a line of 70 kB", "2026-10-05;09:50;;" + strings.Repeat("V", 70_000) + ";Vellumrook;Can 355;C6;1;44;3.8;371.9;", "", "longer than 64 KiB", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := head
			for i := range 5 {
				text += fmt.Sprintf(ok, i+1)
			}
			p := b.proposed(b.csv(text + c.row + "\n" + fmt.Sprintf(ok, 6)))
			wantRows, faulty := 7, 1
			if c.odd {
				faulty = 0
			}
			if p.Counts.Rows != wantRows || p.Counts.Faulty != faulty {
				t.Errorf("%+v\n%s", p.Counts, faultText(p.Faults))
			}
			for _, f := range p.Faults {
				if f.Row == 7 && f.File == "log.csv" && strings.Contains(f.Message, c.message) && f.Odd == c.odd && (c.value == "" || f.Value == c.value) && strings.Contains(f.Mend, mends[c.name]) && f.Mend != "" {
					return
				}
			}
			t.Errorf("no such fault:\n%s", faultText(p.Faults))
		})
	}
}

// mends that name the likely slip.
var mends = map[string]string{"ppm in a ppb column": "is it in ppm?", "°F in a °C column": "is it in °F?"}

// Files that are no log are refused with what they are and the way out.
func TestRefusesFiles(t *testing.T) {
	b := newBench(t)
	zipBomb := b.bomb()
	for _, c := range []struct {
		name string
		file File
		says string
	}{
		{"empty", b.csv(""), "is empty"},
		{"blank", b.csv("\n\n ,,\n"), "no row with anything in it"},
		{"old workbook", b.file("a.xls", []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and more")), "old binary kind"},
		{"PDF", b.file("a.csv", []byte("%PDF-1.7 ...")), "is a PDF"},
		{"a picture", b.file("a.csv", []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x01\x00\x00\x00\x01\x00\x08\x06\x00\x00\x00")), "is not text"},
		{"web page", b.csv("<!DOCTYPE html><html>"), "is a web page"},
		{"zip of something else", b.zipped("readme.txt", []byte("hello")), "zip file without a workbook"},
		{"cut workbook", b.file("a.xlsx", []byte("PK\x03\x04 and then nothing")), "damaged workbook"},
		{"zip bomb", zipBomb, "unpacks into more"},
		{"text called a workbook", b.file("a.xlsx", []byte(good)), "is called a workbook and is text"},
		{"a workbook called text", b.file("a.csv", b.bytes(b.sheet(oneRow))), "is called text and is a workbook"},
		{"a log called a program", b.file("a.exe", []byte(good)), "has an ending that no log has"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Preview(bg, b.svc, c.file, nil, "")
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want %q", err, c.says)
			}
			if e, ok := err.(*lab.Error); ok && e.Faults[0].Mend == "" {
				t.Error("no mend")
			}
		})
	}
}

const oneRow = `<row r="1"><c r="A1" t="inlineStr"><is><t>DO (ppb)</t></is></c></row><row r="2"><c r="A2"><v>44</v></c></row>`

// Names without an ending, and those of the trade's spreadsheets, are read.
func TestEndings(t *testing.T) {
	b := newBench(t)
	for _, f := range []File{b.file("log", []byte(good)), b.file("log.CSV", []byte(good)), b.file("log.txt", []byte(good)), b.file("log.xlsm", b.bytes(b.sheet(oneRow)))} {
		if _, err := f.inspect(); err != nil {
			t.Errorf("%s: %v", f.Name, err)
		}
	}
}

// Entities of a workbook's XML are not followed, and do not grow.
func TestXMLEntities(t *testing.T) {
	b := newBench(t)
	secret := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(secret, []byte("7654321"), 0o600); err != nil {
		t.Fatal(err)
	}
	grow := `<!ENTITY a0 "9">`
	for i := 1; i < 30; i++ {
		grow += fmt.Sprintf(`<!ENTITY a%d "&a%d;&a%d;">`, i, i-1, i-1)
	}
	for what, c := range map[string][2]string{"a file": {`<!ENTITY x SYSTEM "file://` + secret + `">`, "&x;"}, "growing": {grow, "&a29;"}} {
		rows := `<row r="1"><c r="A1" t="inlineStr"><is><t>DO (ppb)</t></is></c></row><row r="2"><c r="A2" t="inlineStr"><is><t>` + c[1] + `</t></is></c></row>`
		f := b.declared("<!DOCTYPE worksheet ["+c[0]+"]>", rows)
		p, err := Preview(bg, b.svc, f, nil, "")
		text, _ := json.Marshal(p)
		if strings.Contains(string(text), "7654321") || len(text) > 100_000 {
			t.Errorf("%s: %v %.300s", what, err, text)
		}
	}
}
