package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"ullage/core/calc"
	"ullage/core/quantity"
	"ullage/internal/lab"
)

func opened(t *testing.T, body []byte) *excelize.File {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	return f
}

// calculated runs the formula of a cell with excelize's own engine.
func calculated(t *testing.T, f *excelize.File, sheet, cell string) float64 {
	t.Helper()
	text, err := f.CalcCellValue(sheet, cell, excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatalf("%s!%s: %v", sheet, cell, err)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatalf("%s!%s gives %q", sheet, cell, text)
	}
	return v
}

// mixed has a package by each way: weighed with the lot's tare and with its own,
// by fill height, and from an assumed fill, from 0 to 35 °C.
func mixed() *Data {
	d := fixture(0)
	f := &d.Run.InForce
	f.NeckGapMM, f.NeckHeadspaceML, f.NeckMLPerMM = lab.Num(62), lab.Num(18), lab.Num(0.24)
	add := func(in lab.Inputs, source string) {
		s := lab.Sample{Meta: lab.Meta{ID: fmt.Sprint("m", len(d.Samples)), Rev: 1}, Head: len(d.Samples)%6 + 1, SampleKind: "shaken", TakenAt: lab.At(start.Add(9e9)), ClosedAt: lab.At(start), Inputs: in, TareSource: source}
		run := d.Run
		if in.GrossG == nil { // lab assumes a fill only where nothing of a weighing is known
			run.InForce.TareG = nil
		}
		result(&s, &run)
		d.Samples = append(d.Samples, s)
	}
	for _, t := range []float64{0, 4, 5.7, 20, 25.3, 35} {
		for _, c := range []float64{0.7, 44, 1200} {
			add(lab.Inputs{DOPpb: lab.Num(c), TemperatureC: lab.Num(t), GrossG: lab.Num(372.4)}, "lot")
			add(lab.Inputs{DOPpb: lab.Num(c), TemperatureC: lab.Num(t), GrossG: lab.Num(371.9), TareG: lab.Num(13.62)}, "own")
			add(lab.Inputs{DOPpb: lab.Num(c), TemperatureC: lab.Num(t), GapMM: lab.Num(64.5)}, "")
			add(lab.Inputs{DOPpb: lab.Num(c), TemperatureC: lab.Num(t)}, "")
		}
	}
	return d
}

// The formulas of the sheet give what core/calc gives, to 1e-9.
func TestFormulas(t *testing.T) {
	d := mixed()
	f := opened(t, must(runXLSX(d, moment)))
	ways := map[string]int{}
	worst := 0.0
	for i := range d.Samples {
		s := &d.Samples[i]
		in := &calc.TPOInput{Temperature: quantityOf[quantity.Temperature](s.Inputs.TemperatureC), ShakenDO: quantityOf[quantity.ShakenDO](s.Inputs.DOPpb),
			Gross: quantityOf[quantity.Mass](s.Inputs.GrossG), Tare: quantityOf[quantity.Mass](d.Run.InForce.TareG), Capacity: quantityOf[quantity.Volume](d.Run.InForce.CapacityML),
			SG: quantityOf[quantity.SpecificGravity](d.Run.InForce.SG), Nominal: quantityOf[quantity.Volume](d.Run.InForce.NominalML), Path: s.Result.Path, Uncertainty: "none", Package: "can"}
		if s.Inputs.TareG != nil {
			in.Tare = quantityOf[quantity.Mass](s.Inputs.TareG)
		}
		if s.Inputs.GrossG == nil {
			in.Tare = nil
		}
		if s.Inputs.GapMM != nil {
			in.Gap, in.NeckGap = quantityOf[quantity.Length](s.Inputs.GapMM), quantityOf[quantity.Length](d.Run.InForce.NeckGapMM)
			in.NeckHeadspace, in.NeckPerMM = quantityOf[quantity.Volume](d.Run.InForce.NeckHeadspaceML), quantityOf[quantity.VolumePerLength](d.Run.InForce.NeckMLPerMM)
		}
		want, err := calc.TPO(in)
		if err != nil {
			t.Fatal(err)
		}
		r := want.Result.(calc.TPOResult)
		ways[r.Path]++
		row := strconv.Itoa(i + 2)
		for col, w := range map[string]float64{"X": r.TPO, "T": r.PartitionRatio, "U": r.Beer, "V": r.Headspace, "P": r.BeerDensity, "W": r.TotalToDissolved} {
			got := calculated(t, f, sheetReadings, col+row)
			off := math.Abs(got/w - 1)
			worst = math.Max(worst, off)
			if off > 1e-9 {
				t.Errorf("%s%s (%s): %.12g in the sheet, %.12g in core/calc", col, row, r.Path, got, w)
			}
		}
		if got := calculated(t, f, sheetReadings, "AA"+row); math.Abs(got) > 0.00501 {
			t.Errorf("row %s: %g ppb off the recorded TPO, which is rounded to 0.01", row, got)
		}
	}
	t.Logf("%v, largest relative difference %.1e", ways, worst)
	if len(ways) != 3 {
		t.Errorf("ways tried: %v, want weighed, fill_height and assumed", ways)
	}
}

func quantityOf[Q ~float64](v *float64) *Q {
	if v == nil {
		return nil
	}
	q := Q(*v)
	return &q
}

// Changing an input in the sheet changes TPO there.
func TestFormulasAreLive(t *testing.T) {
	f := opened(t, must(runXLSX(fixture(6), moment)))
	before := calculated(t, f, sheetReadings, "X2")
	if err := f.SetCellFloat(sheetInForce, "B3", 374.5, -1, 64); err != nil {
		t.Fatal(err)
	}
	if after := calculated(t, f, sheetReadings, "X2"); after <= before*1.01 {
		t.Errorf("1 mL more capacity: TPO %g after %g, a larger headspace must hold more", after, before)
	}
}

func TestSummarySheet(t *testing.T) {
	d := fixture(30)
	f := opened(t, must(runXLSX(d, moment)))
	var sum, top, squares float64
	for _, v := range d.readings("shaken") {
		sum, top = sum+v, math.Max(top, v)
	}
	for _, v := range d.readings("shaken") {
		squares += (v - sum/30) * (v - sum/30)
	}
	for cell, want := range map[string]float64{"B2": 30, "B3": sum / 30, "B4": top, "B5": math.Sqrt(squares / 29), "B6": 0, "B7": summarize(d.readings("unshaken")).mean, "B8": 27} {
		if got := calculated(t, f, sheetSummary, cell); !near(got, want, 1e-4) { // recorded TPO is rounded to 0.01
			t.Errorf("Summary!%s = %g, want %g", cell, got, want)
		}
	}
	for i, h := range d.heads() {
		if got := calculated(t, f, sheetSummary, "C"+strconv.Itoa(15+i)); !near(got, h.tpo.mean, 1e-4) {
			t.Errorf("head %d: mean %g, want %g", h.head, got, h.tpo.mean)
		}
	}
}

func TestWorkbookOfFew(t *testing.T) {
	for _, n := range []int{0, 1, 500} {
		f := opened(t, must(runXLSX(fixture(n), moment)))
		rows, err := f.GetRows(sheetReadings)
		if err != nil || len(rows) != len(fixture(n).Samples)+1 {
			t.Errorf("%d packages: %d rows, %v", n, len(rows), err)
		}
	}
}

// Every column that holds a quantity says its unit.
func TestUnitsInHeaders(t *testing.T) {
	for _, h := range readingHeads {
		for _, q := range []string{"reading", "temperature", "gross", "tare", "height", "beer", "TPO", "pressure"} {
			if strings.HasPrefix(h, q) && !strings.Contains(h, ", ") {
				t.Errorf("column %q has no unit", h)
			}
		}
	}
	for _, h := range runColumns {
		for _, q := range []string{"do", "temperature", "gross", "beer_", "headspace", "tpo", "capacity", "gap", "shake"} {
			if h != "tpo_by" && strings.HasPrefix(h, q) && !strings.HasSuffix(h, "_ppb") && !strings.HasSuffix(h, "_c") && !strings.HasSuffix(h, "_g") && !strings.HasSuffix(h, "_ml") && !strings.HasSuffix(h, "_mm") && !strings.HasSuffix(h, "_min") {
				t.Errorf("column %q has no unit", h)
			}
		}
	}
}

var evil = []string{`=HYPERLINK("http://x","y")`, "+1+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "＝1"}

// Nothing that a person typed becomes a formula, in the workbook or the CSV.
func TestNoInjection(t *testing.T) {
	for _, text := range evil {
		d := fixture(3)
		d.Beer.Name, d.Format.Name, d.Line.Name, d.Run.Code, d.Run.Note, d.Lot.Name = text, text, text, text, text, text
		d.People["p1"] = text
		for i := range d.Samples {
			d.Samples[i].Note, d.Samples[i].Raw = text, map[string]string{"do": text, "gross": text}
		}
		for i := range d.Events {
			d.Events[i].Note = text
		}
		for _, body := range [][]byte{must(runXLSX(d, moment)), must(month(d).xlsx(moment))} {
			f := opened(t, body)
			for _, sheet := range f.GetSheetList() {
				rows, err := f.GetRows(sheet)
				if err != nil {
					t.Fatal(err)
				}
				for r, row := range rows {
					for c, v := range row {
						cell, _ := excelize.CoordinatesToCellName(c+1, r+1)
						formula, _ := f.GetCellFormula(sheet, cell)
						if strings.Contains(formula, "HYPERLINK") || strings.Contains(formula, "@SUM") {
							t.Errorf("%s!%s runs %q", sheet, cell, formula)
						}
						if formula == "" && v != "" && strings.ContainsAny(string([]rune(v)[0]), "=+-@\t\r＝") {
							if _, err := strconv.ParseFloat(v, 64); err != nil {
								t.Errorf("%s!%s begins like a formula: %q", sheet, cell, v)
							}
						}
					}
				}
			}
		}
		for _, body := range [][]byte{must(runCSV(d)), must(csvBytes(month(d).rows()))} {
			rows, err := csv.NewReader(bytes.NewReader(body)).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			for _, row := range rows {
				for _, v := range row {
					if v == text {
						t.Errorf("the CSV holds %q as it is", v)
					}
				}
			}
		}
	}
}

// The CSV gives back the raw inputs and the result of every sample.
func TestCSV(t *testing.T) {
	d := mixed()
	rows, err := csv.NewReader(bytes.NewReader(must(runCSV(d)))).ReadAll()
	if err != nil || len(rows) != len(d.Samples)+1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	at := map[string]int{}
	for i, n := range rows[0] {
		if at[n] = i; n == "" {
			t.Error("a column has no name")
		}
	}
	for i := range d.Samples {
		row := rows[i+1]
		for name, want := range map[string]*float64{"do_ppb": d.Samples[i].Inputs.DOPpb, "gross_g": d.Samples[i].Inputs.GrossG, "tpo_ppb": d.Samples[i].Result.TPOPpb, "temperature_c": d.Samples[i].Inputs.TemperatureC} {
			if row[at[name]] != brief(want) {
				t.Errorf("row %d: %s is %q, want %q", i, name, row[at[name]], brief(want))
			}
		}
	}
}
