package batch

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"ullage/core/calc"
	"ullage/core/quantity"
)

type pair struct {
	ID     word          `json:"id" help:"name"`
	Direct *quantity.TPO `json:"direct_ppb" need:"yes" help:"TPO read directly"`
}

type word string

// tableOf reads pairs and says what came of each row.
func tableOf(text string) (rows []string, t Table, notes []string, err error) {
	t, err = ReadTable(strings.NewReader(text), "f.csv", func(n string) { notes = append(notes, n) }, func(p *pair, in *calc.TPOInput) error {
		if *p.Direct < 0 {
			return &quantity.Error{Field: "direct_ppb", Value: "x", Message: "is below zero", Mend: "look"}
		}
		shaken := math.NaN()
		if in.ShakenDO != nil {
			shaken = float64(*in.ShakenDO)
		}
		rows = append(rows, fmt.Sprintf("%s %.6g %.6g %s", p.ID, float64(*p.Direct), shaken, in.Package))
		return nil
	})
	return rows, t, notes, err
}

func TestReadTable(t *testing.T) {
	for _, c := range []struct {
		name, text, rows, faults string
	}{
		{"plain", "id,direct_ppb\nA-1,60\n\nb,61.5\n", "A-1 60 NaN |b 61.5 NaN ", ""},
		{"both structs", "id,direct_ppm,shaken_do_ppb,package\na,0.06,30,CAN\n", "a 60 30 can", ""},
		{"semicolon, decimal comma, BOM, CRLF", "\ufeffid;direct_ppb\r\na;60,5\r\n", "a 60.5 NaN ", ""},
		{"quotes", "id,direct_ppb\n\"a, \"\"b\"\"\",60\n", `a, "b" 60 NaN `, ""},
		{"unit in the cell", "direct_ppb\n0.06 ppm\n", " 60 NaN ", ""},
		{"bad rows among good", "id,direct_ppb\na,60\nb,x\nc\nd,\ne,-1\nf,61\n", "a 60 NaN |f 61 NaN ", "3 direct_ppb|4 line|5 direct_ppb|6 direct_ppb"},
		{"the header's own name", "id,direct_ppm\na,-1\n", "", "2 direct_ppm"},
		{"an open quote", "id,direct_ppb\na,60\n\"b,61\nc,62\n", "a 60 NaN |c 62 NaN ", "3 line"},
		{"lines of quoted cells", "id,direct_ppb\n\"a\nb\",60\nc,x\n", "a\nb 60 NaN ", "4 direct_ppb"},
		{"not UTF-8", "id,direct_ppb\na\xff,60\n", "", "2 line"},
	} {
		rows, table, _, err := tableOf(c.text)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		var faults []string
		for _, f := range table.Faults {
			faults = append(faults, fmt.Sprint(f.Line, " ", f.Err.Field))
			if f.Err.Mend == "" {
				t.Errorf("%s: %v has no mend", c.name, f)
			}
		}
		if got := strings.Join(rows, "|"); got != c.rows {
			t.Errorf("%s: rows %q, want %q", c.name, got, c.rows)
		}
		if got := strings.Join(faults, "|"); got != c.faults {
			t.Errorf("%s: faults %q, want %q", c.name, got, c.faults)
		}
		if table.Rows != len(rows)+len(faults) || len(table.Lines) != len(rows) {
			t.Errorf("%s: %d rows counted, %d lines", c.name, table.Rows, len(table.Lines))
		}
	}
}

func TestReadTableRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"":                             "empty",
		"foo,bar\n1,2\n":               "names no known column",
		"id,shaken_do_ppb\n1,2\n":      "direct_ppb: is no column",
		"direct_ppb,direct_ppm\n1,2\n": "says the same as column direct_ppb",
		strings.Repeat("x", 70_000):    "longer than 64 KiB",
	} {
		_, _, _, err := tableOf(text)
		var f Fault
		if !errors.As(err, &f) || !strings.Contains(err.Error(), says) || f.Err.Mend == "" {
			t.Errorf("%.20q: %v, want %q", text, err, says)
		}
	}
	_, _, notes, err := tableOf("id,direct_ppb,foam\n1,60,2\n")
	if err != nil || len(notes) != 1 || notes[0] != "not used: foam" {
		t.Errorf("%v %v", notes, err)
	}
	_, table, _, err := tableOf("direct_ppb\n" + strings.Repeat("60\n", MaxTable+5))
	if err == nil || !strings.Contains(err.Error(), "more than 20000") || table.Rows > MaxTable+1 {
		t.Errorf("%d rows, %v", table.Rows, err)
	}
}

// FuzzReadTable: any bytes give rows, faults with field and mend, or one error;
// never a panic, never a row that is not in the file.
func FuzzReadTable(f *testing.F) {
	for _, text := range []string{
		"id,direct_ppb\nA-1,60\nb,61.5\n", "id;direct_ppb\na;60,5\n", "\xff\xfei\x00d\x00", "direct_ppb\n\"6\n0\"\n", "id\tdirect_ppb\n1\t2\n",
		"direct_ppb,shaken_do_ppb,package,yeast_in_package,tare_n\n1,2,can,yes,3\n1,2,can,maybe,x\n", "direct_ppb\nNaN\n0x10\n1e400\n\"\n",
		"direct_ppb,gap_mm,u,corrections\n1,2,3,4\n",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		good := 0
		table, err := ReadTable(bytes.NewReader(text), "f.csv", nil, func(p *pair, in *calc.TPOInput) error {
			if p.Direct == nil || math.IsNaN(float64(*p.Direct)) {
				t.Fatalf("%q: a row without the reading it needs", text)
			}
			good++
			return nil
		})
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error that says nothing")
			}
			return
		}
		for _, fault := range table.Faults {
			if fault.Err.Message == "" || fault.Err.Mend == "" || fault.Err.Field == "" || fault.Line < 2 {
				t.Fatalf("%q: %#v", text, fault.Err)
			}
		}
		if table.Rows != good+len(table.Faults) || table.Rows > bytes.Count(text, []byte("\n"))+1 && !bytes.HasPrefix(text, []byte("\xff")) && !bytes.HasPrefix(text, []byte("\xfe")) {
			t.Fatalf("%q: %d rows, %d good, %d faults", text, table.Rows, good, len(table.Faults))
		}
	})
}
