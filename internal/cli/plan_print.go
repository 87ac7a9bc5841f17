package cli

import (
	"bytes"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"ullage/core/calc"
	plans "ullage/core/process"
)

// page is a plan printed for a person.
type page struct {
	bytes.Buffer
	cautions []plans.Caution
}

func (p *page) line(format string, args ...any) { fmt.Fprintf(&p.Buffer, format+"\n", args...) }

// after prints what every plan ends with.
func (p *page) after(a calc.Answer) {
	odd(&p.Buffer, a.Warnings)
	p.uncertainty(a)
	if len(a.Derivation) > 0 {
		p.line("\nDerivation (equations of docs/planners.md)")
		for _, s := range a.Derivation {
			p.line("  (%s) %s = %s\n       = %s\n       = %.6g %s   [%s]", s.Equation, s.Symbol, s.Formula, s.Numbers, s.Value, s.Unit, s.Source)
		}
	}
	if len(p.cautions) > 0 {
		p.line("\nCautions")
		for _, c := range p.cautions {
			p.wrap("  ! ", c.Text)
		}
	}
}

// uncertainty prints the figures that the inputs of --u move.
func (p *page) uncertainty(a calc.Answer) {
	head, entries := "\nWith the uncertainties of --u, 95 %", false
	for _, name := range slices.Sorted(maps.Keys(a.Uncertainty)) {
		r := a.Uncertainty[name]
		if r.U <= 1e-9*math.Abs(r.Value) || len(r.Budget) == 0 {
			continue
		}
		if head != "" {
			p.line("%s", head)
			head = ""
		}
		for _, b := range r.Budget {
			entries = entries || strings.Contains(b.Key, "[")
		}
		p.line("  %-26s %s, %s to %s; most from %s", name, figure(r.Value), figure(r.Low95), figure(r.High95), r.Budget[0].Key)
	}
	if entries {
		p.line("  Entries without a u- of their own are taken as exact; bands stay as they are.")
	}
}

// wrap prints a text in lines of 78 columns below a mark.
func (p *page) wrap(mark, text string) {
	const width = 78
	line := mark
	for _, word := range strings.Fields(text) {
		if len([]rune(line))+1+len([]rune(word)) > width && strings.TrimSpace(line) != strings.TrimSpace(mark) {
			p.line("%s", strings.TrimRight(line, " "))
			line = strings.Repeat(" ", len([]rune(mark)))
		}
		if !strings.HasSuffix(line, " ") {
			line += " "
		}
		line += word
	}
	p.line("%s", line)
}

// figure prints three significant digits, without an exponent.
func figure(v float64) string {
	if v == 0 || math.IsNaN(v) || math.Abs(v) < 1e-9 {
		return "0"
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	if digits <= 0 {
		unit := math.Pow(10, float64(-digits))
		return thousands(strconv.FormatFloat(math.Round(v/unit)*unit, 'f', 0, 64))
	}
	return strings.TrimRight(strings.TrimRight(strconv.FormatFloat(v, 'f', digits, 64), "0"), ".")
}

// span prints a range, or one figure where its ends agree.
func span(low, high float64) string {
	if low == high {
		return figure(low)
	}
	return figure(low) + "–" + figure(high)
}

// thousands puts a comma before the last three digits of long numbers.
func thousands(s string) string {
	if len(s) <= 4 {
		return s
	}
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// count is a figure with its unit, singular for one.
func count(v float64, unit string) string {
	text := figure(v)
	if text == "1" {
		unit = strings.TrimSuffix(unit, "s")
	}
	return text + " " + unit
}

// gauge draws a value on a scale of 20.
func gauge(v, full float64) string {
	n := 0
	if full > 0 && v > 0 {
		n = min(20, max(1, int(math.Round(20*v/full))))
	}
	return "|" + strings.Repeat("=", n) + strings.Repeat(".", 20-n) + "|"
}

// ppm of a gas, by volume.
func ppmv(v float64) string {
	if v >= 10000 {
		return figure(v/10000) + " % v/v"
	}
	return figure(v) + " ppm v/v"
}

func effort(cost, minutes *float64) string {
	text := ""
	if cost != nil {
		text += fmt.Sprintf(", cost %.2f", *cost)
	}
	if minutes != nil {
		text += fmt.Sprintf(", %s min of flow", figure(*minutes))
	}
	return text
}

func printPurge(p *page, r calc.PurgeResult) {
	p.cautions = r.Cautions
	if r.Planned > 0 {
		exact := ""
		if r.Unit == "cycles" {
			exact = fmt.Sprintf(" (%.2f, rounded up)", r.Exact)
		}
		p.line("Plan   %s%s", count(r.Amount, r.Unit), exact)
	}
	p.line("Left in the gas   %s O2, %s mg in %s L", ppmv(r.PPMV), figure(r.Milligrams), figure(r.Vessel))
	if len(r.Steps) > 1 {
		for i, s := range r.Steps {
			p.line("  %d %-12s %8s %-9s leaves %s", i+1, s.Method, figure(s.Amount), s.Unit, ppmv(s.PPMV))
		}
	}
	p.line("\nFor the beer")
	for _, f := range []struct {
		what string
		v    float64
	}{{"at most: all of it taken up", r.Upper}, {"all of the gas left above the beer", r.Headspace}, {"that gas and the beer at equilibrium", r.Equilibrium}, {"beer against such gas without end", r.Contact}} {
		p.line("  %-38s %s %9s ppb", f.what, gauge(f.v, r.Upper), figure(f.v))
	}
	p.line("  %-38s %22s %9s ppb, %s", "floor that the purge gas sets, at most", "", figure(r.Floor), ppmv(r.FloorPPMV))
	p.line("\nTakes   %s kg of gas, %s m³ (%s vessel volumes)%s", figure(r.Gas), figure(r.Released), figure(r.GasVolumes), effort(r.Cost, r.Minutes))
	if m := r.Mixing; m != nil {
		p.line("Mixing  perfectly mixed %s, %s ppb at most; calm (3 tanks in series) %s, %s ppb", ppmv(m.MixedPPMV), figure(m.MixedUpper), ppmv(m.CalmPPMV), figure(m.CalmUpper))
	}
	if r.RoomPPM != nil {
		p.line("Room    %s ppm CO2 on average if all stays and mixes; vent outdoors", figure(*r.RoomPPM))
	} else if r.RoomOxygenPct != nil {
		p.line("Room    %s %% oxygen on average if all stays and mixes; vent outdoors", figure(*r.RoomOxygenPct))
	}
	if q := r.Reading; q != nil {
		p.line("Read    %s, planned %s: %s", ppmv(q.PPMV), ppmv(q.Planned), q.Says)
		if q.Worth != nil && q.More != nil {
			p.line("        worth %s %s so far, %s to come", figure(*q.Worth), r.Unit, figure(*q.More))
		}
	}
	printOptions(p, r.Compare)
}

func printOptions(p *page, list []calc.PurgeOption) {
	if len(list) == 0 {
		return
	}
	most := 0.0
	for _, o := range list {
		most = math.Max(most, o.Gas)
	}
	p.line("\nThe same by each way alone, gas in kg")
	for _, o := range list {
		p.line("  %-36s %s %7s  %s%s", o.Label, gauge(o.Gas, most), figure(o.Gas), count(o.Amount, o.Unit), effort(o.Cost, o.Minutes))
	}
}

func printGas(p *page, r calc.GasResult) {
	p.cautions = r.Cautions
	p.line("Gas with %s O2, %s the guideline of %s (ISBT, beverage CO2)", ppmv(r.Oxygen), r.Word, ppmv(r.Guideline))
	p.line("  dissolved and kept, %s g/L   at most %s ppb; at the guideline %s ppb", figure(r.Grams), figure(r.Dissolved), figure(r.AtGuide))
	p.line("  each volume dissolved        %s ppb (%s µg O2 a gram)", figure(r.PerVolume), figure(r.PerGram))
	if r.Allowed != nil {
		p.line("  for the target               %s in the gas at most", ppmv(*r.Allowed))
	}
	p.line("  bubbled through and vented   %s ppb, the equilibrium at %s kPa absolute", figure(r.Contact), figure(r.Pressure))
	if r.Headspace != nil {
		p.line("  as gas above the beer        %s ppb if all is taken up", figure(*r.Headspace))
	}
}

func printStrip(p *page, r calc.StripResult) {
	p.cautions = r.Cautions
	p.line("DO after   %s ppb with %s volumes of gas a volume of beer", figure(r.DO), figure(r.PerBeer))
	p.line("  in practice %s to %s ppb; bubbles at equilibrium would need %s volumes", figure(r.Low), figure(r.High), figure(r.Theory))
	p.line("  no lower than %s ppb with this gas", figure(r.Floor))
	if r.Gas != nil {
		p.line("  %s kg of gas", figure(*r.Gas))
	}
}

func printAddition(p *page, r calc.AdditionResult) {
	p.cautions = r.Cautions
	p.line("DO after   %s to %s ppb, at most %s (before %s), in %s L", figure(r.Low), figure(r.High), figure(r.Upper), figure(r.Before), figure(r.Volume))
	for _, b := range r.Parts {
		band := figure(b.High)
		if b.Low != b.High {
			band = figure(b.Low) + " to " + figure(b.High)
		}
		p.line("  %-14s %s %s ppb, at most %s (%s mg O2: %s)%s", b.Name, gauge(b.Upper, r.Upper), band, figure(b.Upper), figure(b.Mg), b.Band, strings.TrimRight("; "+b.Note, "; "))
	}
	if r.Allowed != nil {
		p.line("  for the limit the liquids may hold %s ppb (air-saturated: %s)", figure(*r.Allowed), figure(r.Saturated))
	}
}

func printAir(p *page, r calc.PackageAirResult) {
	p.cautions = r.Cautions
	p.line("TPO   %s ppb with %s mL of air (one mL: %s ppb)", figure(r.TPO), figure(r.Air), figure(r.PerML))
	if r.Low != r.High {
		p.line("  as residue over caustic %s to %s ppb", figure(r.Low), figure(r.High))
	}
	if r.Allowed != nil {
		p.line("  the target allows %s mL of air", figure(*r.Allowed))
	}
	if r.AllowedShare != nil {
		p.line("  %s %% of the headspace: foam or gas must drive out %s %% of its air", figure(100**r.AllowedShare), strconv.FormatFloat(100**r.Drive, 'f', 2, 64))
	}
}

func printAfter(p *page, r calc.AfterResult) {
	p.line("After %s days   a meter finds %s ppb; the beer has taken %s of %s ppb supplied", figure(r.Days), figure(r.Present), figure(r.Consumed), figure(r.Supplied))
	if r.PresentLow < r.PresentHigh || r.SuppliedLow < r.SuppliedHigh {
		p.line("  by what is not known of ingress and uptake: a meter %s to %s ppb, supplied %s to %s ppb", figure(r.PresentLow), figure(r.PresentHigh), figure(r.SuppliedLow), figure(r.SuppliedHigh))
	}
	p.line("  ingress %s ppb a day", figure(r.IngressPPB))
	if r.SameAsTPO != nil {
		p.line("  as much as the TPO comes in within %s days", figure(*r.SameAsTPO))
	}
	p.line("  keeping %s to %s days, a guide and no promise (ageing %s times that at 20 °C)", figure(r.KeepLow), figure(r.KeepHigh), figure(r.Speed))
	if r.Allowed != nil {
		p.line("  for the days wanted the TPO may be %s ppb", figure(*r.Allowed))
	}
	p.line("\nClosures, same store")
	most := 0.0
	for _, c := range r.Closures {
		most = math.Max(most, c.KeepHigh)
	}
	for _, c := range r.Closures {
		p.line("  %-48s %s %s–%s d, %s ppb/d", c.Name, gauge(c.KeepHigh, most), figure(c.KeepLow), figure(c.KeepHigh), span(c.PPBLow, c.PPBHigh))
	}
	p.line("\nStores, same closure")
	most = r.Stores[0].KeepHigh
	for _, s := range r.Stores {
		p.line("  %2.0f °C %s %s–%s d", s.Temperature, gauge(s.KeepHigh, most), figure(s.KeepLow), figure(s.KeepHigh))
	}
	p.line("\nAssumed")
	for _, a := range r.Assumes {
		p.wrap("  - ", a)
	}
}

func printAge(p *page, r calc.AgeResult) {
	p.line("Age   %s days at %s °C (%s to %s over Q10 2 to 4.5); %s real days, hottest %s °C", figure(r.Days), figure(r.Reference), figure(r.Low), figure(r.High), figure(r.Real), figure(r.Hottest))
	if r.Used != nil {
		p.line("  %s of the code life used (%s to %s)", percent(*r.Used), percent(*r.UsedLow), percent(*r.UsedHigh))
	}
	p.line("  by the mnemonic of 3, 30, 300 days: %s used", percent(r.Mnemonic))
	if r.Read != nil {
		p.line("  %d of %d rows of the logger used", r.Read.Used, r.Read.Rows)
	}
	if len(r.Shares) <= 20 {
		for _, s := range r.Shares {
			p.line("  %8s d at %5.1f °C %s %s of the age", figure(s.Days), s.Temperature, gauge(s.Share, 1), percent(s.Share))
		}
	}
}

func printPriming(p *page, r calc.PrimingResult) {
	p.cautions = r.Cautions
	p.line("Sugar for the beer, which holds %.2f volumes already", r.Residual)
	for _, s := range r.Sugars {
		p.line("  %-20s %6.2f g/L %8.1f g", s.Name, s.PerL, s.Total)
	}
	p.line("Ends at %.2f volumes: %.2f bar gauge at 20 °C, %.2f at %s °C (usual limit of the package %.1f volumes)", r.Final, r.Gauge20, r.GaugeWarm, figure(r.Warm), r.Usual)
}

func printHome(p *page, r calc.HomeResult) {
	p.cautions = r.Cautions
	p.line("%s   headspace left as air: %s ppb (one mL of air: %s ppb); %s", r.Package, figure(r.Air), figure(r.PerML), r.Says)
	for _, l := range r.Levels {
		p.line("\n%-7s %s to %s ppb   %s", l.Key, figure(l.Low), figure(l.High), l.Title)
		for i, step := range l.Steps {
			p.wrap(fmt.Sprintf("  %d ", i+1), step)
		}
	}
	p.line("\nBesides")
	for _, a := range r.Advice {
		p.wrap("  - ", a)
	}
}

func printWort(p *page, r calc.WortResult) {
	p.cautions = r.Cautions
	printTarget(p, r.Target)
	if r.Trend != nil {
		p.line("Efficiency   %s", r.Trend.Sentence)
	}
	p.line("Gas   %s NL/min (0 °C, 1 atm), %s g O2 a minute", figure(r.Flow), figure(r.Grams))
	if r.FlowLow != nil {
		p.line("  %s to %s NL/min by the 95 %% interval of the efficiency learned", figure(*r.FlowLow), figure(*r.FlowHigh))
	}
	if r.OnAir != nil && r.Float == nil {
		p.line("  a float meter scaled for air shows %s NL/min for it", figure(*r.OnAir))
	}
	if r.Float != nil {
		p.line("  your float meter shows %s NL/min for it", figure(*r.Float))
	}
	if r.Total != nil {
		p.line("  %s NL for %s", figure(*r.Total), map[bool]string{true: "the brew", false: "the tank"}[len(r.Fills) == 0])
	}
	for i, f := range r.Fills {
		if f.Gassed {
			p.line("  brew %d, %s hL: %s ppb, %s NL/min, %s NL", i+1, figure(f.VolumeHL), figure(f.DO), figure(f.Flow), figure(f.Total))
		} else {
			p.line("  brew %d, %s hL: no gas", i+1, figure(f.VolumeHL))
		}
	}
	if r.Mixed != nil {
		p.line("  the tank comes to %s ppb by volume", figure(*r.Mixed))
	}
	if r.SecondNL != nil {
		p.line("  second dose %s NL, %s g O2: 12 to 18 h after pitching, not after 24 h", figure(*r.SecondNL), figure(*r.SecondGrams))
	}
	if r.Made != nil {
		p.line("  the flow that is set makes %s ppb", figure(*r.Made))
	}
	if r.Learned != nil {
		p.line("  the reading means an efficiency of %s", percent(*r.Learned))
	}
	p.line("  this wort holds %s to %s ppb in the tank under this gas, %s where it goes in", figure(r.TankLow), figure(r.TankHigh), figure(r.Ceiling))
}
