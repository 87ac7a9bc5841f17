package report

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"ullage/internal/lab"
)

// Sheets of the workbook of a run.
const (
	sheetReadings = "Readings"
	sheetInForce  = "In force"
	sheetSummary  = "Summary"
	sheetEvents   = "Events"
	sheetMethod   = "Method"
)

// Places of the numbers in force on their sheet.
const (
	cellTare, cellCapacity, cellSG = "$B$2", "$B$3", "$B$4"
	cellNominal, cellNeckGap       = "$B$5", "$B$6"
	cellNeckHead, cellNeckSlope    = "$B$7", "$B$8"
	cellAir, cellLimitMean         = "$B$9", "$B$10"
	cellLimitSingle, cellLimitRed  = "$B$11", "$B$12"
)

// runXLSX is the workbook of a run: raw inputs as numbers, and formulas that
// find TPO from them in the sheet itself (docs/method.md, the plain figure).
func runXLSX(d *Data, now time.Time) ([]byte, error) {
	b, err := newBook(sheetReadings, now)
	if err != nil {
		return nil, err
	}
	defer b.f.Close()
	for _, s := range []string{sheetInForce, sheetSummary, sheetEvents, sheetMethod} {
		_, err := b.f.NewSheet(s)
		b.keep(err)
	}
	b.inForce(d)
	b.readings(d)
	b.summary(d)
	b.events(d)
	b.method()
	return b.bytes()
}

func (b *book) inForce(d *Data) {
	f, l := d.Run.InForce, d.limit("tpo")
	b.header(sheetInForce, 1, []string{"in force at the start of the run", "value", "unit"}, 34)
	b.width(sheetInForce, "B", 60)
	air := 1.2
	for i, x := range []struct {
		name string
		v    *float64
		unit string
	}{{"tare of the lot", f.TareG, "g"}, {"capacity, brimful, closed", f.CapacityML, "mL"}, {"specific gravity 20/20 °C", f.SG, ""}, {"nominal volume", f.NominalML, "mL"},
		{"fill height with a known headspace", f.NeckGapMM, "mm"}, {"headspace at that height", f.NeckHeadspaceML, "mL"}, {"neck", f.NeckMLPerMM, "mL/mm"},
		{"density of the air about the balance", &air, "kg/m³"}, {"limit of the mean TPO", l.MeanGreenPpb, "ppb"}, {"limit of a single package", l.SingleGreenPpb, "ppb"},
		{"red limit of a single package", l.SingleRedPpb, "ppb"}, {"standard deviation of the tare", f.TareSDG, "g"}, {"standard deviation of the capacity", f.CapacitySDML, "mL"},
		{"carbonation", f.CO2Vol, "volumes of CO2"}, {"alcohol", f.ABVPct, "% by volume"}} {
		row := strconv.Itoa(i + 2)
		b.text(sheetInForce, "A"+row, x.name)
		b.number(sheetInForce, "B"+row, x.v)
		b.text(sheetInForce, "C"+row, x.unit)
		if x.v == nil {
			b.text(sheetInForce, "C"+row, notRecorded)
		}
	}
	facts := append([]fact{{"run", strconv.Itoa(d.Run.Number)}, {"beer", or(d.Beer.Name)}, {"format", or(d.Format.Name)}}, d.runFacts()...)
	for i, x := range facts {
		row := strconv.Itoa(i + 19)
		b.text(sheetInForce, "A"+row, x.label)
		b.text(sheetInForce, "B"+row, x.value)
	}
}

// readingHeads name the columns of the readings, A onwards, with their units.
var readingHeads = []string{"set", "closed", "read", "head", "station", "kind of reading", "reading, ppb", "temperature, °C", "gross, g", "own tare, g", "fill height, mm", "shaken, min", "way to the headspace",
	"tare used, g", "density of water, kg/m³", "density of beer, kg/m³", "ln C* (C* in mg/L)", "vapour pressure, atm", "real gas θ, per atm", "oxygen partition ratio K",
	"beer, mL", "headspace, mL", "total-to-dissolved ratio", "TPO, calculated here, ppb", "TPO as recorded, ppb", "u of TPO as recorded, ppb", "here − recorded, ppb", "by", "remarks",
	"typed reading", "typed temperature", "typed gross", "typed tare", "typed height", "1 in the summary, 0 set aside", "TPO in the summary, ppb", "direct TPO, ppb", "which TPO counts: calculated or direct", "typed direct TPO"}

func (b *book) readings(d *Data) {
	// In a fixed order: styles are numbered as they are made.
	for _, x := range [][]string{{"0.00", "O", "P", "U", "V", "X", "Y", "Z", "AA", "AJ", "AK"}, {"0.0000", "Q", "T", "W"}, {"0.000000", "R", "S"}} {
		style, err := b.f.NewStyle(&excelize.Style{CustomNumFmt: &x[0]})
		b.keep(err)
		for _, c := range x[1:] {
			b.keep(b.f.SetColStyle(sheetReadings, c, style))
		}
	}
	b.header(sheetReadings, 1, readingHeads, 12)
	b.fitWidth(sheetReadings)
	for columns, width := range map[string]float64{"A": 6, "B:C": 17, "D:E": 8, "AC": 40} {
		b.width(sheetReadings, columns, width)
	}
	for i := range d.Samples {
		b.reading(d, &d.Samples[i], i+2)
	}
}

func (b *book) reading(d *Data, s *lab.Sample, row int) {
	n := strconv.Itoa(row)
	put := func(col string, v *float64) { b.number(sheetReadings, col+n, v) }
	say := func(col, v string) { b.text(sheetReadings, col+n, v) }
	count := func(col string, v int) {
		if v > 0 {
			put(col, lab.Num(float64(v)))
		}
	}
	count("A", s.SetNo)
	if s.SampleKind != "inlet" {
		say("B", d.moment(s.ClosedAt.Time))
	}
	say("C", d.moment(s.TakenAt.Time))
	count("D", s.Head)
	count("E", s.Station)
	say("F", sampleWords[s.SampleKind])
	put("G", s.Inputs.DOPpb)
	put("H", s.Inputs.TemperatureC)
	put("I", s.Inputs.GrossG)
	if tareWord(s) == "own" {
		put("J", s.Inputs.TareG)
	}
	put("K", s.Inputs.GapMM)
	put("L", s.Inputs.ShakeMin)
	say("AB", d.person(s.By))
	say("AC", remarks(s))
	for i, field := range []string{"do_ppb", "temperature_c", "gross_g", "tare_g", "gap_mm"} {
		say([]string{"AD", "AE", "AF", "AG", "AH"}[i], rawOf(s, field))
	}
	put("AI", lab.Num(1))
	if d.setAside(s) {
		put("AI", lab.Num(0))
	}
	put("AK", s.Inputs.DirectPpb)
	say("AM", rawOf(s, "direct_ppb"))
	if v, _ := tpoOf(s); v > 0 {
		say("AL", cmp.Or(s.Result.TPOBy, lab.Calculated))
		b.formula(sheetReadings, "AJ"+n, strings.ReplaceAll(countedFormula, "#", n))
	}
	if r := s.ByMethod(lab.Calculated); r != nil && *r.TPOPpb > 0 {
		say("M", strings.ReplaceAll(r.Path, "_", " "))
		put("Y", r.TPOPpb)
		put("Z", r.TPOUPpb)
		for col, f := range readingFormulas {
			b.formula(sheetReadings, col+n, strings.ReplaceAll(f, "#", n))
		}
	}
}

// readingFormulas find TPO of row #. Equations of docs/method.md; constants and
// sources on the sheet Method.
var readingFormulas = map[string]string{
	"N": `IF(ISNUMBER(J#),J#,` + at0(cellTare) + `)`,
	"O": `999.97495*(1-(H#-3.983035)*(H#-3.983035)*(H#+301.797)/(522528.9*(H#+69.34881)))`,
	"P": at0(cellSG) + `*O#`,
	"Q": `-139.34411+157570.1/(H#+273.15)-66423080/(H#+273.15)^2+12438000000/(H#+273.15)^3-862194900000/(H#+273.15)^4`,
	"R": `EXP(11.8571-3840.7/(H#+273.15)-216961/(H#+273.15)^2)`,
	"S": `0.000975-0.00001426*H#+0.00000006436*H#*H#`,
	"T": `0.20946*101.325*31.9988*1000/8.314462618/(H#+273.15)*(1-R#)*(1-S#)/EXP(Q#)`,
	"U": `IF(M#="weighed",(I#-N#)*1000*(1-` + at0(cellAir) + `/8000)/(P#-` + at0(cellAir) + `),IF(M#="fill height",` +
		at0(cellCapacity) + `-` + at0(cellNeckHead) + `-(K#-` + at0(cellNeckGap) + `)*` + at0(cellNeckSlope) + `,` + at0(cellNominal) + `))`,
	"V":  at0(cellCapacity) + `-U#`,
	"W":  `1+T#*V#/U#`,
	"X":  `G#*W#`,
	"AA": `X#-Y#`,
}

// countedFormula is the TPO of row # that counts.
const countedFormula = `IF(AI#=1,IF(AL#="direct",AK#,X#),"")`

func at0(cell string) string { return "'" + sheetInForce + "'!" + cell }

func (b *book) summary(d *Data) {
	two := "0.00"
	style, err := b.f.NewStyle(&excelize.Style{CustomNumFmt: &two})
	b.keep(err)
	b.keep(b.f.SetColStyle(sheetSummary, "C:D", style))
	b.header(sheetSummary, 1, []string{"of the whole run", "value", "unit"}, 26)
	last := len(d.Samples) + 1
	if last < 2 {
		b.text(sheetSummary, "A2", "no reading is recorded")
		return
	}
	column := func(c string) string { return fmt.Sprintf("%s!$%s$2:$%s$%d", sheetReadings, c, c, last) }
	all, kind, value, in, head := column("AJ"), column("F"), column("G"), column("AI"), column("D")
	for i, x := range [][3]string{
		{"packages with TPO", "COUNT(" + all + ")", ""}, {"mean TPO", "IF(B2>0,AVERAGE(" + all + "),\"\")", "ppb"}, {"highest TPO", "IF(B2>0,MAX(" + all + "),\"\")", "ppb"},
		{"standard deviation of TPO", "IF(B2>1,STDEV(" + all + "),\"\")", "ppb"},
		{"packages above the red limit", "IF(ISNUMBER(" + at0(cellLimitRed) + "),COUNTIF(" + all + ",\">\"&" + at0(cellLimitRed) + "),\"\")", ""},
		{"mean unshaken DO", "IFERROR(AVERAGEIFS(" + value + "," + kind + ",\"unshaken DO\"," + in + ",1),\"\")", "ppb"},
		{"mean inlet DO", "IFERROR(AVERAGEIFS(" + value + "," + kind + ",\"inlet DO\"," + in + ",1),\"\")", "ppb"},
		{"headspace, TPO less unshaken DO", "IF(AND(ISNUMBER(B3),ISNUMBER(B7)),B3-B7,\"\")", "ppb"}, {"liquid at the filler, unshaken less inlet DO", "IF(AND(ISNUMBER(B7),ISNUMBER(B8)),B7-B8,\"\")", "ppb"},
		{"limit of the mean TPO", "IF(ISNUMBER(" + at0(cellLimitMean) + ")," + at0(cellLimitMean) + ",\"\")", "ppb"},
	} {
		row := strconv.Itoa(i + 2)
		b.text(sheetSummary, "A"+row, x[0])
		b.formula(sheetSummary, "B"+row, x[1])
		if x[2] == "ppb" {
			b.keep(b.f.SetCellStyle(sheetSummary, "B"+row, "B"+row, style))
		}
		b.text(sheetSummary, "C"+row, x[2])
	}
	b.text(sheetSummary, "A14", "head")
	b.text(sheetSummary, "B14", "packages with TPO")
	b.text(sheetSummary, "C14", "mean TPO, ppb")
	b.text(sheetSummary, "D14", "to the mean of all")
	b.keep(b.f.SetRowStyle(sheetSummary, 14, 14, b.bold))
	for i, h := range d.heads() {
		row := strconv.Itoa(i + 15)
		b.number(sheetSummary, "A"+row, lab.Num(float64(h.head)))
		b.formula(sheetSummary, "B"+row, fmt.Sprintf("COUNTIFS(%s,A%s,%s,\">0\")", head, row, all))
		b.formula(sheetSummary, "C"+row, fmt.Sprintf("IF(B%s>0,SUMIFS(%s,%s,A%s)/B%s,\"\")", row, all, head, row, row))
		b.formula(sheetSummary, "D"+row, fmt.Sprintf("IF(B%s>0,C%s/$B$3,\"\")", row, row))
	}
}

func (b *book) events(d *Data) {
	b.header(sheetEvents, 1, []string{"at", "what", "note", "by"}, 22)
	for i, e := range d.Events {
		cell := func(col int) string { s, _ := excelize.CoordinatesToCellName(col, i+2); return s }
		b.text(sheetEvents, cell(1), d.moment(e.At.Time))
		b.text(sheetEvents, cell(2), strings.ReplaceAll(e.EventKind, "_", " "))
		b.text(sheetEvents, cell(3), e.Note)
		b.text(sheetEvents, cell(4), d.person(e.By))
	}
}

func (b *book) method() {
	b.header(sheetMethod, 1, []string{"column of Readings", "equation", "source"}, 42)
	for i, x := range [][3]string{
		{"O density of water", "ρw = 999.97495 (1 − (t − 3.983035)² (t + 301.797)/(522528.9 (t + 69.34881)))", "Tanaka et al., Metrologia 38:301 (2001)"},
		{"P density of beer", "SG × ρw", "docs/method.md"},
		{"Q ln of the oxygen of air-saturated water", "polynomial in 1/T, mg/L at 1 atm", "Benson & Krause, Limnol. Oceanogr. 29:620 (1984)"},
		{"R vapour pressure, S real gas", "exp(11.8571 − 3840.70/T − 216961/T²) atm; θ with t in °C", "USGS OWQ memo 2011.03"},
		{"T oxygen partition ratio", "K = 0.20946 (1 − Pwv)(1 − θ) × 101325 × 31.9988/(R T)/C*", "docs/method.md; dry air 0.20946, R 8.314462618 J/(mol K)"},
		{"U beer, weighed", "(gross − tare)(1 − ρair/8000)/(ρbeer − ρair)", "OIML D 28"},
		{"V headspace", "capacity less beer; by fill height the beer is capacity less the known headspace less height difference × neck", "docs/method.md"},
		{"X TPO", "reading (shaken DO) × (1 + K × headspace/beer)", "docs/method.md; the plain figure, without corrections"},
		{"AK direct TPO", "read by an instrument that reads TPO directly; AL says which of the two counts", "docs/instruments.md"},
		{"Y, Z as recorded", "computed when the reading was entered, rounded to 0.01", "uncertainty: docs/method.md part 4"},
		{"1 ppb", "1 µg of oxygen per litre of beer", "docs/terms.md"},
		{"an apostrophe before a text", "the text begins like a formula; it is shown, not run", ""},
	} {
		row := strconv.Itoa(i + 2)
		b.text(sheetMethod, "A"+row, x[0])
		b.text(sheetMethod, "B"+row, x[1])
		b.text(sheetMethod, "C"+row, x[2])
	}
}
