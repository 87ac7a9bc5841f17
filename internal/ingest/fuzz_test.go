package ingest

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"ullage/internal/lab"
)

// fuzzed reads whatever bytes as a log: it may refuse them, with a reason and a
// mend, and may not fail in another way. What it reads is true to lab's rules.
func fuzzed(t *testing.T, b *bench, f File) {
	p, err := Preview(bg, b.svc, f, nil, "UTC")
	if err != nil {
		if lab.ClassOf(err) != lab.Invalid {
			t.Fatalf("refused as %s: %v", lab.ClassOf(err), err)
		}
		return
	}
	c := p.Counts
	if c.Faulty > c.Rows || c.Rows < 0 || len(p.Rows) > shownRows || len(p.Faults) > shownFaults {
		t.Fatalf("%+v", c)
	}
	text, err := json.Marshal(p)
	if err != nil || !utf8.Valid(text) {
		t.Fatal(err)
	}
	for _, x := range p.Faults {
		if x.Row < 1 || x.Message == "" {
			t.Fatalf("%+v", x)
		}
	}
	m := b.sure(p)
	for i, q := range []string{"date", "time", "do", "gross", "temperature", "head"} {
		if i < len(m.Columns) && m.Target == samples && !has(&m, q) {
			f := fieldOf(samples, q)
			m.Columns[i].Field = q
			if f.units != nil {
				m.Columns[i].Unit = f.units[0]
			}
		}
	}
	m.BeerID, m.FormatID, m.LineID, m.SampleKind = b.beer, b.can, b.line, "shaken"
	if _, err := Preview(bg, b.svc, f, &m, ""); err != nil && lab.ClassOf(err) != lab.Invalid {
		t.Fatal(err)
	}
}

func FuzzCSV(f *testing.F) {
	for _, s := range []string{good, "", "\ufeffa;b\n1;2", strings.ReplaceAll(good, ",", "\t"), "a,\"b\n\"\"c\"\n\"x", "\xff\xfea\x00;\x00b\x00\n\x00", "Date,DO\n1.1.26,\xb5\n",
		"Format;Kind;Tare (g);From\nCan 355;can;13,4;1.1.2026\n", "date,do\n13/13/2026,1e999\n", "time,do\n25:61,1,2,3\n", strings.Repeat("\"", 500), "DO ppb\n" + strings.Repeat("9", 400)} {
		f.Add([]byte(s))
	}
	b := newBench(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		c := *b
		c.TB = t
		fuzzed(t, &c, c.file("log.csv", body))
	})
}

func FuzzXLSX(f *testing.F) {
	b := newBench(f)
	book := func(rows [][]any) []byte { return b.bytes(b.xlsx(rows)) }
	f.Add(book([][]any{{"Date", "Time", "DO (ppb)"}, {46300, 0.4, 44}, {"x", nil, "#N/A"}}))
	f.Add(book([][]any{{"a"}, {1e300, -1, true, "=1+1"}}))
	f.Add(b.bytes(b.zipped("xl/workbook.xml", []byte(`<workbook><sheets><sheet name="A" sheetId="1" r:id="rId1"/></sheets></workbook>`))))
	f.Add([]byte("PK\x03\x04"))
	f.Fuzz(func(t *testing.T, body []byte) {
		c := *b
		c.TB = t
		fuzzed(t, &c, c.file("log.xlsx", body))
	})
}

// FuzzSheet varies the text of the sheet inside a sound workbook: bytes changed
// in the zip rarely get past its checksums.
func FuzzSheet(f *testing.F) {
	b := newBench(f)
	f.Add(`<row r="1"><c r="A1" t="inlineStr"><is><t>DO (ppb)</t></is></c></row><row r="2"><c r="A2"><v>44</v></c></row>`)
	f.Add(`<row r="1048577"><c r="XFD1"><v>1</v></c></row><row r="0"/><row/><c/>`)
	f.Add(`<row r="-5"><c r="ZZZZ99" t="s"><v>99</v></c><c t="b"><v>x</v></c></row>`)
	f.Fuzz(func(t *testing.T, rows string) {
		c := *b
		c.TB = t
		fuzzed(t, &c, c.sheet(rows))
	})
}

func FuzzMoment(f *testing.F) {
	for _, s := range []string{"2026-11-05T09:40:00Z", "5.11.26 9:40", "Nov 5, 2026 9:40 pm", "20261105", "1/2/3", ":", "24:00", "Mon 5 Nov 2026"} {
		f.Add(s, "dmy")
	}
	f.Fuzz(func(t *testing.T, text, order string) {
		m, err := readMoment(text, order)
		if err == nil && (!m.hasDate && !m.hasClock || m.clock < 0 || m.clock >= 86400000 || m.hasDate && (m.date.month < 1 || m.date.month > 12 || m.date.day < 1 || m.date.day > 31)) {
			t.Errorf("%q is %+v", text, m)
		}
	})
}
