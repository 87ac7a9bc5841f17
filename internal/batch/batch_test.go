package batch

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"golang.org/x/text/encoding/unicode"

	"ullage/core/calc"
	"ullage/core/quantity"
)

const header = "id,temperature_c,gross_g,tare_g,capacity_ml,sg,shaken_do_ppb\n"

func run(t testing.TB, text string, j Job) (rows [][]string, faults []Fault, sum Summary) {
	t.Helper()
	var out bytes.Buffer
	j.Name, j.Format = "run.csv", CSV
	j.OnFault = func(f Fault) { faults = append(faults, f) }
	sum, err := j.Run(strings.NewReader(text), &out)
	if err != nil {
		t.Fatal(err)
	}
	rows, err = csv.NewReader(&out).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:], faults, sum
}

func TestRows(t *testing.T) {
	sg := quantity.SpecificGravity(1.01)
	good := "a,20,372.0,13.4,373.5,1.010,44\n"
	for _, test := range []struct {
		name, text string
		job        Job
		ids        string // of the results, in order
		faults     string // line:field of each
	}{
		{"plain", header + good + "b,4,372,13.4,373.5,1.010,50\n", Job{}, "a b", ""},
		{"no last line end", header + strings.TrimSuffix(good, "\n"), Job{}, "a", ""},
		{"CRLF and blank lines", "\r\n" + strings.ReplaceAll(header+good+"\n"+good, "\n", "\r\n"), Job{}, "a a", ""},
		{"a number that is none", header + good + "b,20,372,13.4,373.5,1.010,4.4e\nc,20,372,13.4,373.5,1.010,44\n", Job{}, "a c", "3:shaken_do_ppb"},
		{"a cell with its own unit", header + "a,68F,372g,13.4,373.5,2.56P,0.044ppm\n", Job{}, "a", ""},
		{"an empty cell that is needed", header + "a,,372,13.4,373.5,1.010,44\n", Job{}, "", "2:temperature_c"},
		{"a default fills empty cells", header + "a,20,372,13.4,373.5,,44\nb,20,372,13.4,373.5,1.02,44\nc,20,372,13.4,373.5,,44\n", Job{Defaults: calc.TPOInput{SG: &sg}}, "a b c", ""},
		{"too few cells", header + "a,20,372\n" + good, Job{}, "a", "2:line"},
		{"spreadsheet padding", header + "a,20,372.0,13.4,373.5,1.010,44,,\n", Job{}, "a", ""},
		{"decimal comma with semicolons", strings.ReplaceAll(header, ",", ";") + "a;20,0;372,0;13,4;373,5;1,010;44\n", Job{}, "a", ""},
		{"tabs", strings.ReplaceAll(header+good, ",", "\t"), Job{}, "a", ""},
		{"a quoted id with comma and quote", header + `"a, ""x""",20,372,13.4,373.5,1.010,44` + "\n", Job{}, `a, "x"`, ""},
		{"a quoted cell over two lines", "id,note," + header[3:] + "a,\"one\ntwo\",20,372,13.4,373.5,1.010,44\nb,x,20,372,13.4,373.5,1.010,4x\n", Job{}, "a", "4:shaken_do_ppb"},
		{"a quote never closed", header + `"a,20,372,13.4,373.5,1.010,44` + "\n" + good, Job{}, "a", "2:line"},
		{"a bare quote", header + `a"b,20,372,13.4,373.5,1.010,44` + "\n" + good, Job{}, "a", "2:line"},
		{"not UTF-8", header + "a\xe9,20,372,13.4,373.5,1.010,44\n" + good, Job{}, "a", "2:id"},
		{"NaN and infinity", header + "a,NaN,372,13.4,373.5,1.010,44\nb,20,Inf,13.4,373.5,1.010,44\nc,20,372,0x1p4,373.5,1.010,44\n", Job{}, "", "2:temperature_c 3:gross_g 4:tare_g"},
		{"the field is named as in the file", "id,temperature_f,gross_g,tare_g,capacity_ml,sg,shaken_do_ppb\na,400,372,13.4,373.5,1.010,44\n", Job{}, "", "2:temperature_f"},
		{"words and counts", "tare_source,tare_n,yeast_in_package," + header + "own,10,yes,a,20,372,13.4,373.5,1.010,44\nmine,10,no,b,20,372,13.4,373.5,1.010,44\nlot,x,no,c,20,372,13.4,373.5,1.010,44\nlot,9,perhaps,d,20,372,13.4,373.5,1.010,44\n", Job{}, "a", "3:tare_source 4:tare_n 5:yeast_in_package"},
		{"a line of a megabyte", header + strings.Repeat("x", 1<<20) + "\n" + good, Job{}, "a", "2:line"},
	} {
		t.Run(test.name, func(t *testing.T) {
			rows, faults, sum := run(t, test.text, test.job)
			var ids, wrong []string
			for _, r := range rows {
				ids = append(ids, r[idColumn])
			}
			for _, f := range faults {
				wrong = append(wrong, fmt.Sprintf("%d:%s", f.Line, f.Err.Field))
				if f.Err.Mend == "" || f.File != "run.csv" {
					t.Errorf("fault without a mend or a file: %v", f)
				}
			}
			if got := strings.Join(ids, " "); got != test.ids {
				t.Errorf("results of %q, want %q (%v)", got, test.ids, faults)
			}
			if got := strings.Join(wrong, " "); got != test.faults {
				t.Errorf("faults at %q, want %q (%v)", got, test.faults, faults)
			}
			if sum.Rows != len(rows)+len(faults) || sum.Faults != len(faults) {
				t.Errorf("counted %+v, saw %d and %d", sum, len(rows), len(faults))
			}
		})
	}
}

const idColumn = 0

func TestHeaders(t *testing.T) {
	for _, test := range []struct{ name, text, want string }{
		{"empty", "", "empty"},
		{"blank", "\n \n", "empty"},
		{"no header", "a,20,372.0,13.4,373.5,1.010,44\n", "names no known column"},
		{"one field twice", "temperature_c,temperature_f\n1,2\n", "says the same as column temperature_c"},
		{"no text at all", "\x00\x01\x02\n", "names no known column"},
		{"one endless line", strings.Repeat("x", 1<<20), "longer than 64 KiB"},
	} {
		_, err := Job{Name: "run.csv"}.Run(strings.NewReader(test.text), io.Discard)
		if err == nil || !strings.Contains(err.Error(), test.want) || !strings.Contains(err.Error(), "run.csv:") {
			t.Errorf("%s: %v, want %q", test.name, err, test.want)
		}
	}
}

func TestUnusedColumnsAreNamed(t *testing.T) {
	var notes []string
	run(t, "id,colour,"+header[3:]+"a,red,20,372,13.4,373.5,1.010,44\n", Job{OnNote: func(s string) { notes = append(notes, s) }})
	if len(notes) != 1 || !strings.Contains(notes[0], "colour") {
		t.Errorf("notes %q", notes)
	}
}

func TestUTF16(t *testing.T) {
	text, err := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().String(header + "ä,20,372,13.4,373.5,1.010,44\n")
	if err != nil {
		t.Fatal(err)
	}
	if rows, faults, _ := run(t, text, Job{}); len(rows) != 1 || rows[0][0] != "ä" {
		t.Errorf("rows %v, faults %v", rows, faults)
	}
	if rows, faults, _ := run(t, "\xef\xbb\xbf"+header+"a,20,372,13.4,373.5,1.010,44\n", Job{}); len(rows) != 1 {
		t.Errorf("with a byte order mark: rows %v, faults %v", rows, faults)
	}
}

// A file of many chunks gives the same rows, in order, with the right lines,
// whatever the number of workers.
func TestChunksAndWorkers(t *testing.T) {
	var text strings.Builder
	text.WriteString("id,note," + header[3:])
	line, wantFaults := 2, []int{}
	for i := range 30_000 {
		switch {
		case i%977 == 0:
			fmt.Fprintf(&text, "P%d,\"two\nlines\",20,372,13.4,373.5,1.010,44\n", i)
			line++
		case i%1009 == 0:
			fmt.Fprintf(&text, "P%d,x,20,13.4,372,373.5,1.010,44\n", i)
			wantFaults = append(wantFaults, line)
		default:
			fmt.Fprintf(&text, "P%d,x,20,372,13.4,373.5,1.010,%d\n", i, 30+i%40)
		}
		line++
	}
	one, faults, _ := run(t, text.String(), Job{Workers: 1})
	if len(faults) != len(wantFaults) {
		t.Fatalf("%d faults, want %d: %v", len(faults), len(wantFaults), faults[:min(3, len(faults))])
	}
	for i, f := range faults {
		if f.Line != wantFaults[i] {
			t.Errorf("fault at line %d, want %d", f.Line, wantFaults[i])
		}
	}
	many, _, _ := run(t, text.String(), Job{Workers: 4})
	if len(one) != 30_000-len(wantFaults) || fmt.Sprint(one) != fmt.Sprint(many) {
		t.Errorf("one worker gives %d rows, four give %d, or others", len(one), len(many))
	}
}

// A row's figures are those of core/calc.
func TestSameAsOnePackage(t *testing.T) {
	rows, _, _ := run(t, header+"a,20,372.0,13.4,373.5,1.010,44\n", Job{})
	answer, err := calc.Do("tpo", []byte(`{"temperature_c":20,"gross_g":372.0,"tare_g":13.4,"capacity_ml":373.5,"sg":1.010,"shaken_do_ppb":44}`))
	if err != nil {
		t.Fatal(err)
	}
	r := answer.Result.(calc.TPOResult)
	names := strings.Split(Columns, ",")
	for i, want := range []float64{0, r.Beer, r.Headspace, r.PartitionRatio, r.TPO, r.U, r.Low95, r.High95, r.Oxygen, r.HeadspaceShare} {
		if i == 0 {
			continue
		}
		var got float64
		if fmt.Sscan(rows[0][i], &got); math.Abs(got-want) > 6e-5 {
			t.Errorf("%s is %s, want %g", names[i], rows[0][i], want)
		}
	}
}

func TestJSONIsAnArray(t *testing.T) {
	for _, text := range []string{header, header + "a,20,372,13.4,373.5,1.010,x\n", header + "a,20,372,13.4,373.5,1.010,0.044\nb,20,372,13.4,373.5,1.010,44\n"} {
		var out bytes.Buffer
		sum, err := Job{Name: "x", Format: JSON, Workers: 2}.Run(strings.NewReader(text), &out)
		if err != nil {
			t.Fatal(err)
		}
		var list []map[string]any
		if err := json.Unmarshal(out.Bytes(), &list); err != nil || len(list) != sum.Rows-sum.Faults {
			t.Errorf("%q: %v, %s", text, err, out.String())
		}
	}
}

type fullDisk struct{ left int }

func (d *fullDisk) Write(p []byte) (int, error) {
	if len(p) > d.left {
		return 0, errors.New("no space left on device")
	}
	d.left -= len(p)
	return len(p), nil
}

func TestFullDisk(t *testing.T) {
	text := header + strings.Repeat("a,20,372.0,13.4,373.5,1.010,44\n", 60_000)
	_, err := Job{Name: "x", Format: CSV}.Run(strings.NewReader(text), &fullDisk{left: 1 << 20})
	if err == nil || !strings.Contains(err.Error(), "no space left") {
		t.Errorf("full disk: %v", err)
	}
}

type brokenFile struct{ io.Reader }

func (b brokenFile) Read(p []byte) (int, error) {
	n, err := b.Reader.Read(p)
	if err == io.EOF {
		err = errors.New("input/output error")
	}
	return n, err
}

func TestUnreadableFile(t *testing.T) {
	text := header + strings.Repeat("a,20,372.0,13.4,373.5,1.010,44\n", 20_000)
	_, err := Job{Name: "x", Format: CSV}.Run(brokenFile{strings.NewReader(text)}, io.Discard)
	if err == nil || !strings.Contains(err.Error(), "input/output error") {
		t.Errorf("unreadable file: %v", err)
	}
}

func TestFixed(t *testing.T) {
	for _, test := range []struct {
		v        float64
		decimals int
		want     string
	}{
		{0, 4, "0.0000"}, {1, 4, "1.0000"}, {-1.5, 2, "-1.50"}, {0.00004, 4, "0.0000"}, {0.00005, 4, "0.0001"},
		{123.45678, 4, "123.4568"}, {99.99999, 2, "100.00"}, {0.05, 1, "0.1"}, {1e300, 1, ""}, {12, 6, "12.000000"},
	} {
		got := string(fixed(nil, test.v, test.decimals))
		if test.want == "" {
			test.want = fmt.Sprintf("%.*f", test.decimals, test.v)
		}
		if got != test.want {
			t.Errorf("fixed(%g, %d) = %q, want %q", test.v, test.decimals, got, test.want)
		}
	}
}

// FuzzRun feeds any bytes: no panic, every row counted once, and what comes out
// is CSV with finite numbers.
func FuzzRun(f *testing.F) {
	for _, s := range []string{header + "a,20,372,13.4,373.5,1.010,44\n", header + "\"a\n,\n\"\"", "\xff\xfe" + header, "temperature_c;sg\n1,5;2\n", header + "a,1e999,-0,+.5,,\x00,9"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		var out bytes.Buffer
		faults := 0
		sum, err := Job{Name: "f", Format: CSV, Workers: 2, OnFault: func(Fault) { faults++ }}.Run(strings.NewReader(text), &out)
		if err != nil {
			return
		}
		if faults != sum.Faults {
			t.Fatalf("%d faults told, %d counted", faults, sum.Faults)
		}
		rows, err := csv.NewReader(&out).ReadAll()
		if err != nil || len(rows)-1 != sum.Rows-sum.Faults {
			t.Fatalf("%d rows out of %+v: %v", len(rows)-1, sum, err)
		}
		for _, r := range rows[1:] {
			if strings.Contains(strings.Join(r[1:10], ","), "N") || strings.Contains(strings.Join(r[1:10], ","), "Inf") {
				t.Fatalf("not finite: %v", r)
			}
		}
	})
}
