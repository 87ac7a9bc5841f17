package report

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"ullage/internal/lab"
)

var (
	start  = time.Date(2026, 11, 5, 6, 30, 0, 0, time.UTC)
	moment = time.Date(2026, 11, 5, 15, 0, 0, 0, time.UTC)
)

// fixture is a run of n shaken cans on six heads, every third after an unshaken
// one of its head, in the invented brewery. The values are drawn from a
// fixed seed: they are no evidence about any plant.
func fixture(n int) *Data {
	heads := 6
	d := &Data{
		Brewery: lab.Brewery{Name: "Ostrelweir Brewhouse"}, Zone: time.UTC,
		Beer: lab.Beer{Name: "Vellumrook"}, Format: lab.Format{Name: "Can 355 mL", PackageKind: "can"},
		Line:   lab.Line{Name: "C6", Heads: heads, PackagesPerMin: lab.Num(30), SampleEveryMin: lab.Num(30)},
		Lot:    &lab.FormatLot{Name: "lot 2"},
		Batch:  &lab.Batch{Code: "VR-26-001"},
		Tank:   &lab.Tank{Name: "BBT1"},
		Meter:  &lab.Instrument{Name: "DO meter 1", URel: lab.Num(0.02)},
		People: map[string]string{"p1": "K. O."},
		Run: lab.Run{Meta: lab.Meta{ID: "r"}, Number: 7, Code: "26309 C6", StartedAt: lab.At(start), EndedAt: lab.At(start.Add(4 * time.Hour)), Status: "ended",
			InForce: lab.InForce{Package: "can", NominalML: lab.Num(355), TareG: lab.Num(13.4), TareSDG: lab.Num(0.12), CapacityML: lab.Num(373.5), CapacitySDML: lab.Num(0.7),
				CapacitySource: "lot", SG: lab.Num(1.010), CO2Vol: lab.Num(2.45),
				Limits: []lab.LimitInForce{{Quantity: "tpo", MeanGreenPpb: lab.Num(120), SingleGreenPpb: lab.Num(180), SingleRedPpb: lab.Num(250)}}}},
		Checks:    []*lab.MeterCheck{check(-2, "passed", 0), check(5, "passed", 1)},
		Decisions: []Decision{{Word: "release", Reason: "within the limits", By: "p1", At: start.Add(6 * time.Hour)}},
	}
	for i, e := range []string{"start", "stop", "restart", "end"} {
		d.Events = append(d.Events, lab.Event{Meta: lab.Meta{ID: fmt.Sprint("e", i)}, EventKind: e, At: lab.At(start.Add([]time.Duration{0, 95, 101, 240}[i] * time.Minute))})
	}
	r := rand.New(rand.NewPCG(5, 7))
	for i := range n {
		do := math.Round(46 * math.Exp(0.2*r.NormFloat64()))
		at := start.Add(time.Duration(float64(i) * 239 / float64(max(n, 2)) * float64(time.Minute)))
		s := lab.Sample{Meta: lab.Meta{ID: fmt.Sprintf("s%04d", i), Rev: 1, By: "p1"}, RunID: "r", SetNo: i/6 + 1, Head: i%heads + 1, Station: i%2 + 1, SampleKind: "shaken",
			ClosedAt: lab.At(at), TakenAt: lab.At(at.Add(9 * time.Minute)), Raw: map[string]string{"do": fmt.Sprint(do)},
			Inputs: lab.Inputs{DOPpb: lab.Num(do), TemperatureC: lab.Num(5 + float64(i%5)/2), GrossG: lab.Num(math.Round(3724+12*r.NormFloat64()) / 10), ShakeMin: lab.Num(5)}}
		if i%3 == 0 {
			u := s
			u.ID, u.SampleKind, u.Inputs = fmt.Sprintf("u%04d", i), "unshaken", lab.Inputs{DOPpb: lab.Num(math.Round(42 * math.Exp(0.15*r.NormFloat64())))}
			u.Raw = nil
			d.Samples = append(d.Samples, u)
		}
		result(&s, &d.Run)
		d.Samples = append(d.Samples, s)
	}
	if n > 3 {
		d.Samples = append(d.Samples, lab.Sample{Meta: lab.Meta{ID: "i1", Rev: 1, By: "p1"}, SetNo: 1, SampleKind: "inlet", TakenAt: lab.At(start.Add(time.Minute)), Inputs: lab.Inputs{DOPpb: lab.Num(27)}})
	}
	d.order()
	return d
}

// check of the meter, hours after the start.
func check(hours float64, outcome string, offset float64) *lab.MeterCheck {
	return &lab.MeterCheck{Meta: lab.Meta{By: "p1"}, At: lab.At(start.Add(time.Duration(hours * float64(time.Hour)))), Outcome: outcome, Against: "zero", OffsetPpb: lab.Num(offset)}
}

// result computes as the service does.
func result(s *lab.Sample, run *lab.Run) {
	r, err := lab.TPO(s, run)
	if err != nil {
		panic(err)
	}
	s.Result = &r
}

var stream = regexp.MustCompile(`(?s)stream\n(.*?)\nendstream`)
var shown = regexp.MustCompile(`(?s)BT [-\d. ]+ Td \((.*?)\) Tj ET`)

// pages are the words of a PDF by page, in the order of drawing. It reads what
// this package writes, not PDF at large.
func pages(t *testing.T, pdf []byte) (out []string) {
	t.Helper()
	for _, m := range stream.FindAllSubmatch(pdf, -1) {
		z, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue
		}
		text, err := io.ReadAll(z)
		if err != nil || !bytes.Contains(text, []byte("BT ")) {
			continue
		}
		var lines []string
		for _, x := range shown.FindAllSubmatch(text, -1) {
			lines = append(lines, decoded(x[1]))
		}
		if len(lines) > 0 {
			out = append(out, strings.Join(lines, "\n")+"\n")
		}
	}
	if len(out) == 0 {
		t.Fatal("no page with text was found")
	}
	return out
}

// decoded undoes the escapes of a PDF string of UTF-16.
func decoded(b []byte) string {
	var raw []byte
	for i := 0; i < len(b); i++ {
		if b[i] == '\\' && i+1 < len(b) {
			i++
			switch b[i] {
			case 'r':
				raw = append(raw, '\r')
				continue
			}
		}
		raw = append(raw, b[i])
	}
	var units []uint16
	for i := 0; i+1 < len(raw); i += 2 {
		units = append(units, uint16(raw[i])<<8|uint16(raw[i+1]))
	}
	return string(utf16.Decode(units))
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func near(a, b, tolerance float64) bool {
	return math.Abs(a-b) <= tolerance*math.Max(1, math.Abs(b))
}
