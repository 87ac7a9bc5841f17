package report

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"ullage/core/causes"
	"ullage/core/cellar"
	"ullage/core/compare"
	"ullage/core/way"
	"ullage/internal/lab"
)

// wayFixture is a batch from wort to one run, with a filter over its budget.
func wayFixture(t *testing.T) *Batch {
	t.Helper()
	day := func(d, h int) time.Time { return time.Date(2026, 11, d, h, 0, 0, 0, time.UTC) }
	in := way.Input{Focus: "b",
		Batches: []way.Batch{{ID: "f", Code: "QL-26-F1", Tank: "FV21", Vessel: "fermenter", VolumeHL: 50}, {ID: "b", Code: "=QL-26-001", Tank: "BBT1", Vessel: "bright_tank", VolumeHL: 46}},
		Brews:   []way.Brew{{ID: "g", Code: "301", Batch: "f", At: day(1, 6), VolumeHL: 50, DO: lab.Num(9100)}},
		Moves:   []way.Move{{ID: "m", Kind: "transfer", From: "f", To: "b", Started: day(20, 13), Ended: day(20, 14), VolumeHL: 46, FlowHLH: 46, Via: []string{"filter"}}},
		Runs:    []way.Run{{ID: "r", Batch: "b", Started: day(21, 7), Inlet: lab.Num(60), InletU: 1, Unshaken: lab.Num(72), UnshakenU: 2, TPO: lab.Num(101), TPOU: 4}},
	}
	for _, r := range []way.Reading{
		{ID: "1", Batch: "f", Point: "fermentation_end", At: day(14, 8), DO: 3}, {ID: "2", Batch: "f", Move: "m", Point: "filter_in", At: day(20, 13), DO: 6},
		{ID: "3", Batch: "b", Move: "m", Point: "filter_out", At: day(20, 13), DO: 52, FlowHLH: 46}, {ID: "4", Batch: "b", Point: "tank_rested", At: day(21, 6), DO: 55},
	} {
		r.U, r.Meter = 1, "d"
		in.Readings = append(in.Readings, r)
	}
	m, err := cellar.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	d := &Batch{Brewery: lab.Brewery{Name: "Ostrelweir Brewhouse"}, Zone: time.UTC, Beer: lab.Beer{Name: "Quernlight"}, Tank: &lab.Tank{Name: "BBT1"},
		Batch: lab.Batch{Meta: lab.Meta{ID: "b"}, Code: "=QL-26-001", VolumeHL: lab.Num(46), MadeAt: lab.At(day(20, 13)), Status: "bright"},
		Way:   lab.BatchMap{Map: m, Input: in}, runs: map[string]lab.Run{"r": {Number: 7}}, nodes: map[string]*cellar.Node{}, meters: map[string]string{"d": "DO meter 2"},
		Changed: compare.WhatChanged{Compared: []compare.Compared{{Code: "QL-26-000"}}, Changes: []compare.ChangedThing{{What: "purge", Now: "none", Before: "tank swept with CO2", Differs: true, Batches: 1}}}}
	for i := range m.Nodes {
		d.nodes[m.Nodes[i].ID] = &m.Nodes[i]
	}
	return d
}

// The words of the paper, that they are the same twice, and what it says of a
// batch of which nothing is known.
func TestBatchPaper(t *testing.T) {
	d := wayFixture(t)
	body := must(batchPDF(d, A4, moment))
	if !bytes.Equal(body, must(batchPDF(wayFixture(t), A4, moment))) {
		t.Error("the paper is not the same twice")
	}
	got := strings.Join(pages(t, body), "--- page ---\n")
	file := filepath.Join("testdata", "batch.golden")
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want := string(must(os.ReadFile(file))); got != want {
		t.Errorf("differs from %s; look at the PDF, then run with -update:\n%s", file, got)
	}
	empty := &Batch{Zone: time.UTC, Batch: lab.Batch{Code: "X"}}
	text := strings.Join(pages(t, must(batchPDF(empty, Letter, moment))), "")
	if !strings.Contains(strings.ReplaceAll(text, "\n", " "), "Nothing was read of this batch yet") || strings.Contains(text, "NaN") {
		t.Error(text)
	}
}

// The workbook holds every reading as a number and no formula from a code.
func TestBatchWorkbook(t *testing.T) {
	d := wayFixture(t)
	body := must(batchXLSX(d, moment))
	f, err := excelize.OpenReader(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows := must(f.GetRows("Readings"))
	if len(rows) != 5 || rows[3][4] != "52" || rows[3][0] != "'=QL-26-001" {
		t.Errorf("%v", rows)
	}
	way := must(f.GetRows("Way"))
	over := false
	for _, r := range way[1:] {
		over = over || len(r) > 19 && r[11] == "filter" && r[19] == "over"
	}
	if !over {
		t.Errorf("the filter is not over its budget: %v", way)
	}
	// Pickup, grams and leak are formulas over the readings: those of the map, and
	// they follow a reading that is changed.
	for i, s := range d.Way.Map.Steps {
		row := strconv.Itoa(i + 2)
		if got := computedCell(t, f, "Steps", "H"+row); math.Abs(got-s.Delta) > 1e-3*(1+math.Abs(*d.nodes[s.To].DO)) {
			t.Errorf("step %d: pickup %v, the map has %v", i, got, s.Delta)
		}
		if got := must(f.CalcCellValue("Steps", "R"+row)); (got == "over") != (s.State == "over") {
			t.Errorf("step %d is %q in the sheet, %q in the map", i, got, s.State)
		}
		if s.AirMLMin != nil && s.FlowHLH > 0 && math.Abs(computedCell(t, f, "Steps", "P"+row)/(*s.AirMLMin)-1) > 1e-3 {
			t.Errorf("step %d: leak %v, the map has %v", i, computedCell(t, f, "Steps", "P"+row), *s.AirMLMin)
		}
	}
	if got := computedCell(t, f, "Packages", "F2"); math.Abs(got-101) > 0.01 || must(f.CalcCellValue("Packages", "J2")) != "yes" {
		t.Errorf("the parts of the TPO add up to %v", got)
	}
	before := computedCell(t, f, "Steps", "H4")
	if err := f.SetCellFloat("Way", "E5", 62, -1, 64); err != nil { // filter out was 52
		t.Fatal(err)
	}
	if got := computedCell(t, f, "Steps", "H4"); math.Abs(got-before-10) > 1e-9 {
		t.Errorf("a reading 10 ppb higher moves its step from %v to %v", before, got)
	}
	csv := string(must(d.file(Request{Format: CSV})))
	if !strings.Contains(csv, "'=QL-26-001") || len(strings.Split(strings.TrimSpace(csv), "\n")) != len(way) {
		t.Error(csv)
	}
}

func computedCell(t *testing.T, f *excelize.File, sheet, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(must(f.CalcCellValue(sheet, cell)), 64)
	if err != nil {
		t.Errorf("%s!%s: %v", sheet, cell, err)
	}
	return v
}

func TestEveryCauseHasWords(t *testing.T) {
	for _, k := range causes.Kinds {
		if findingWords[k] == "" {
			t.Errorf("%s has none", k)
		}
	}
}
