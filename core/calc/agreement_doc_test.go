package calc_test

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"os"
	"runtime"
	"strings"
	"testing"

	"ullage/core/calc"
	"ullage/core/oxygen"
	"ullage/core/quantity"
)

var update = flag.Bool("update", false, "write the documents that tests make")

const agreementDoc = "../../docs/agreement.md"

// cell of the simulation: a lot, a way and a temperature.
type cell struct {
	l    *lot
	way  route
	cold bool
}

// TestAgreement makes docs/agreement.md and fails where it differs from the file.
func TestAgreement(t *testing.T) {
	results := map[cell][]outcome{}
	for i := range lots {
		for way := range routes {
			if way.openTo(&lots[i]) {
				results[cell{&lots[i], way, false}] = simulate(&lots[i], way, 20)
				results[cell{&lots[i], way, true}] = simulate(&lots[i], way, 4)
			}
		}
	}
	var doc bytes.Buffer
	fmt.Fprintf(&doc, agreementHead, simulated, simulationSeed)
	lotTable(&doc)
	doc.WriteString("\n## Up to which TPO 95 % agree\n\n")
	reachTable(&doc, results)
	doc.WriteString(agreementReach)
	limitTable(&doc, results)
	doc.WriteString(agreementLimits)
	for _, cold := range []bool{false, true} {
		shareTable(&doc, results, cold)
	}
	doc.WriteString(agreementSpread)
	spreadTable(&doc, results)
	doc.WriteString(agreementNotes)
	beerTable(t, &doc)
	doc.WriteString(agreementBeer)
	if *update {
		if err := os.WriteFile(agreementDoc, doc.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if runtime.GOARCH != "amd64" {
		t.Skip("the document holds the last digits of amd64")
	}
	have, err := os.ReadFile(agreementDoc)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := strings.Split(doc.String(), "\n"), strings.Split(string(have), "\n"); doc.String() != string(have) {
		for i := range min(len(got), len(want)) {
			if got[i] != want[i] {
				t.Fatalf("docs/agreement.md, line %d:\n%s\nthe simulation says\n%s\nread it again and run this test with -update", i+1, want[i], got[i])
			}
		}
		t.Fatalf("docs/agreement.md has %d lines, the simulation %d", len(want), len(got))
	}
}

// each calls do for every lot and way, in the order of the document.
func each(results map[cell][]outcome, do func(l *lot, way route, warm, cold []outcome)) {
	for i := range lots {
		for way := range routes {
			if warm, ok := results[cell{&lots[i], way, false}]; ok {
				do(&lots[i], way, warm, results[cell{&lots[i], way, true}])
			}
		}
	}
}

func lotTable(doc *bytes.Buffer) {
	doc.WriteString("| format | capacity, mL | fill, mL | spread of the fill, mL | empty with closure, g |\n|---|---|---|---|---|\n")
	for _, l := range lots {
		fmt.Fprintf(doc, "| %s | %.1f ± %.1f | %.1f | %.1f | %.1f ± %.2f |\n", l.name, l.capacity, l.capacitySD, l.fill, l.fillSD, l.tare, l.tareSD)
	}
}

// signed prints with a sign and one decimal, and no "-0.0".
func signed(v float64) string { return fmt.Sprintf("%+.1f", math.Round(v*10)/10+0) }

func reachTable(doc *bytes.Buffer, results map[cell][]outcome) {
	doc.WriteString("| format | headspace by | 20 °C, perfect direct | 20 °C, real direct | 4 °C, perfect direct | 4 °C, real direct |\n|---|---|---|---|---|---|\n")
	level := func(v float64) string {
		if v == 0 {
			return "–"
		}
		return fmt.Sprintf("%.0f", v)
	}
	each(results, func(l *lot, way route, warm, cold []outcome) {
		fmt.Fprintf(doc, "| %s | %s | %s | %s | %s | %s |\n", l.name, routeNames[way], level(upTo(warm, true)), level(upTo(warm, false)), level(upTo(cold, true)), level(upTo(cold, false)))
	})
}

var shownLevels = []float64{30, 60, 100, 200, 400}

func shareTable(doc *bytes.Buffer, results map[cell][]outcome, cold bool) {
	head, celsius := "| format | headspace by |", 20
	for _, level := range shownLevels {
		head += fmt.Sprintf(" %.0f ppb |", level)
	}
	if cold {
		celsius = 4
	}
	fmt.Fprintf(doc, "\nShaken and read at %d °C:\n\n%s\n|---|---|%s\n", celsius, head, strings.Repeat("---|", len(shownLevels)))
	each(results, func(l *lot, way route, warm, chilled []outcome) {
		list := warm
		if cold {
			list = chilled
		}
		row := fmt.Sprintf("| %s | %s |", l.name, routeNames[way])
		for _, level := range shownLevels {
			row += fmt.Sprintf(" %.0f / %.0f |", 100*share(list, level, true), 100*share(list, level, false))
		}
		fmt.Fprintln(doc, row)
	})
}

// limitTable splits the standard deviation of a difference at 60 ppb.
func limitTable(doc *bytes.Buffer, results map[cell][]outcome) {
	doc.WriteString("| format | headspace by | meter | shaking | volumes | temperature and K | direct reading | all |\n|---|---|---|---|---|---|---|---|\n")
	const tpo = 60.0
	each(results, func(l *lot, way route, warm, _ []outcome) {
		if l.name != "can 355" && l.name != "bottle 330" && l.name != "keg 30 L" {
			return
		}
		ratio := 1 + oxygen.PartitionRatio(20)*(l.capacity-l.fill)/l.fill
		perKelvin := oxygen.PartitionRatio(20.5)/oxygen.PartitionRatio(19.5) - 1
		_, sd, _ := spread(warm)
		parts := []float64{
			errMeter(tpo/ratio) * ratio, errShaking * tpo, sd * tpo,
			math.Hypot(perKelvin*errTemperature, errPartition) * (1 - 1/ratio) * tpo, errMeter(tpo),
		}
		row, all := fmt.Sprintf("| %s | %s |", l.name, routeNames[way]), 0.0
		for _, p := range parts {
			row += fmt.Sprintf(" %.1f |", p)
			all = math.Hypot(all, p)
		}
		fmt.Fprintf(doc, "%s %.1f |\n", row, all)
	})
}

// notesSD are the standard deviations of the design notes, % of TPO at 20 °C, by
// way: can 355, can 440 and 473, bottle 330, 355, 500.
var notesSD = [routes][]float64{
	{6.2, 6.3, 4.0, 3.5, 2.8}, {2.5, 2.6, 9.6, 9.1, 10.4}, {2.5, 2.5, 5.3, 5.1, 5.5}, {1.2, 1.0, 1.4, 1.2, 1.1}, {math.NaN(), math.NaN(), 1.2, 1.0, 0.9},
}

var notesColumn = map[string]int{"can 355": 0, "can 440": 1, "can 473": 1, "bottle 330": 2, "bottle 355": 3, "bottle 500": 4}

func spreadTable(doc *bytes.Buffer, results map[cell][]outcome) {
	doc.WriteString("| format | headspace by | mean error, % | SD, % | SD by the notes, % | refused, % | 95 % intervals that hold, 20 °C | 4 °C |\n|---|---|---|---|---|---|---|---|\n")
	each(results, func(l *lot, way route, warm, cold []outcome) {
		mean, sd, refused := spread(warm)
		trade := ""
		if column, ok := notesColumn[l.name]; ok {
			want := notesSD[way][column]
			trade = fmt.Sprintf("%.1f", want)
			if math.Abs(100*sd-want) > max(0.3, 0.1*want) {
				trade += ", differs"
			}
		}
		fmt.Fprintf(doc, "| %s | %s | %s | %.1f | %s | %.1f | %.1f %% | %.1f %% |\n", l.name, routeNames[way], signed(100*mean), 100*sd, trade, 100*refused, 100*coverage(warm), 100*coverage(cold))
	})
}

// beerTable compares the plain and the corrected figure with a truth that has
// the effects of beer and of CO2, errors of reading aside.
func beerTable(t *testing.T, doc *bytes.Buffer) {
	doc.WriteString("| format | temperature | plain figure reads | with all corrections |\n|---|---|---|---|\n")
	const sg, abv, co2, tpo = beerGravity, 5, 2.5, 100
	for _, name := range []string{"can 355", "bottle 500", "keg 30 L"} {
		for _, celsius := range []quantity.Temperature{20, 4} {
			var l lot
			for _, l = range lots {
				if l.name == name {
					break
				}
			}
			re, abw := oxygen.FinishedBeer(sg, abv)
			pressure, plain := oxygen.CO2Pressure(celsius, co2), oxygen.BeerDensity(sg, celsius)
			beta, k := oxygen.SolubilityInBeer(re, abv), oxygen.PartitionRatio(celsius)*oxygen.PressureFactor(celsius, pressure)
			density := float64(plain)*oxygen.Expansion(celsius, abw, quantity.Fraction(re/100)) + float64(oxygen.CO2DensityRise(celsius, co2, plain))
			gas := float64(oxygen.CO2GasDensity(celsius, pressure))
			net := ((density-gas)*l.fill + (gas-1.2)*l.capacity) / 1000 / (1 - 1.2/8000)
			in := &calc.TPOInput{
				Temperature: &celsius, ShakenDO: ptr(quantity.ShakenDO(tpo / (beta + k*(l.capacity-l.fill)/l.fill))), Gross: ptr(quantity.Mass(l.tare + net)), Tare: ptr(quantity.Mass(l.tare)),
				Capacity: ptr(quantity.Volume(l.capacity)), SG: ptr(quantity.SpecificGravity(sg)), ABV: ptr(quantity.Alcohol(abv)), CO2: ptr(quantity.Carbonation(co2)), Uncertainty: calc.None,
			}
			fmt.Fprintf(doc, "| %s | %.0f °C |", name, float64(celsius))
			for _, corrections := range [][]string{nil, {calc.CorrectCO2, calc.CorrectPressure, calc.CorrectExpansion, calc.CorrectBeer}} {
				in.Corrections = corrections
				var e calc.Evaluator
				var out calc.TPOResult
				if _, err := e.Evaluate(in, &out, nil); err != nil {
					t.Fatal(err)
				}
				fmt.Fprintf(doc, " %s ppb |", signed(out.TPO-tpo))
			}
			doc.WriteString("\n")
		}
	}
}
