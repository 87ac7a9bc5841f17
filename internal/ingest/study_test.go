package ingest

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

// A workbook with a title above its headings, columns in another order, another
// unit, a formula that failed and a row without its reading.
func TestStudyFromAWorkbook(t *testing.T) {
	book := excelize.NewFile()
	if _, err := book.NewSheet("Pairs"); err != nil {
		t.Fatal(err)
	}
	for i, row := range [][]any{
		{"Pairs of October"},
		{},
		{"Direct TPO", "Sample no", "Calc TPO (ppm)", "Headspace", "Who"},
		{52.0, "A1", 0.0503, 17.9, "KO"},
		{61.5, "A2", "#N/A", 18.1, "KO"},
		{nil, "A3", 0.0702, 18.0, "KO"},
		{80.0, "A4", 0.0812, "18,2", "TV"},
	} {
		if err := book.SetSheetRow("Pairs", fmt.Sprintf("A%d", i+1), &row); err != nil {
			t.Fatal(err)
		}
	}
	f := File{Path: filepath.Join(t.TempDir(), "pairs.xlsx"), Name: "pairs.xlsx"}
	if err := book.SaveAs(f.Path); err != nil {
		t.Fatal(err)
	}
	got, err := ReadStudy(f, "agreement", "Pairs", nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Rows) != 1 || len(got.Sheets) != 2 || len(got.Missing) != 0 || len(got.Faults) != 3 {
		t.Fatalf("rows %v, faults %+v, sheets %v, missing %v", got.Rows, got.Faults, got.Sheets, got.Missing)
	}
	r := got.Rows[0]
	if r["id"] != "A1" || r["direct_ppb"] != 52.0 || math.Abs(r["calculated_ppb"].(float64)-50.3) > 1e-9 || r["headspace_ml"] != 17.9 {
		t.Errorf("first row %v", r)
	}
	for i, want := range []struct {
		line  int
		field string
	}{{5, "calculated_ppb"}, {6, "direct_ppb"}, {7, "headspace_ml"}} {
		if x := got.Faults[i]; x.Line != want.line || x.Field != want.field || x.Message == "" || x.Mend == "" {
			t.Errorf("fault %d: %+v, want line %d, %s", i, x, want.line, want.field)
		}
	}
}

// Each kind of study knows its own headings, and those of the examples.
func TestStudyHeadings(t *testing.T) {
	for kind, file := range map[string]string{"agreement": "pairs", "tare": "tare", "capacity": "capacity", "neck": "neck", "shake": "shake", "delay": "delay", "line": "line", "repeatability": "operators"} {
		f := File{Path: filepath.Join("../../examples/studies", file+".csv"), Name: file + ".csv"}
		text, err := os.ReadFile(f.Path)
		if err != nil {
			t.Fatal(err)
		}
		got, err := ReadStudy(f, kind, "", nil)
		if err != nil || len(got.Faults) > 0 || len(got.Missing) > 0 || len(got.Rows) != strings.Count(string(text), "\n")-1 {
			t.Errorf("%s: %d rows, faults %v, missing %v, %v", kind, len(got.Rows), got.Faults, got.Missing, err)
		}
		if kind == "agreement" { // raw readings; docs/instruments.md prints the same bias
			var bias float64
			for _, r := range got.Rows {
				bias += (r["calculated_ppb"].(float64) - r["direct_ppb"].(float64)) / float64(len(got.Rows))
			}
			if math.Abs(bias+0.23) > 0.01 || got.Rows[0]["gross_g"] != nil || got.Rows[0]["headspace_ml"] == nil {
				t.Errorf("bias %.3f of calculated figures, first row %v", bias, got.Rows[0])
			}
		}
		for _, c := range got.Columns {
			if c.Field == "" || c.Guessed {
				t.Errorf("%s: column %+v", kind, c)
			}
		}
	}
}
