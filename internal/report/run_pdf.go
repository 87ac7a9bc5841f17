package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ullage/core/verdict"
	"ullage/internal/lab"
)

// runPDF is the report of a run: one page that says all, then the readings.
func runPDF(d *Data, size string, now time.Time) ([]byte, error) {
	j := *d.judgement()
	title := fmt.Sprintf("Run report %d", d.Run.Number)
	return paper(size, title, or(d.Brewery.Name), now.In(d.Zone), func(c *canvas) {
		c.banner(title+" · "+or(d.Beer.Name)+", "+or(d.Format.Name), d.headline(j))
		c.facts(2, d.runFacts())
		c.timeChart(d, 44)
		c.pair(d)
		c.judgementPart(d, j)
		c.recordPart(d)
		c.signature("reviewed by", "date", "retained samples, where")
		c.headTable(d)
		c.readingTable(d)
	})
}

// banner is the title of a paper and its one sentence.
func (c *canvas) banner(title, line string) {
	c.font(14, true)
	for _, l := range c.lines(title, c.w-2*margin) {
		c.y += pitch(14)
		c.at(margin, c.y-1.5, l)
	}
	c.para(line, 9.5, true)
	c.y += 1
}

// headline is the number that counts, in the order kind, value, interval,
// limit, judgement.
func (d *Data) headline(j Judgement) string {
	s := summarize(d.readings("shaken"))
	if s.n == 0 {
		return "No TPO is recorded. Lot: " + d.state() + "."
	}
	out := "Mean TPO, " + d.wayWord() + ": " + s.text()
	if l := d.limit("tpo"); l.MeanGreenPpb != nil {
		out += ", limit " + brief(l.MeanGreenPpb) + " ppb"
	}
	out += fmt.Sprintf("; highest %s ppb. Lot: %s", digits(s.high, s.high/20), d.state())
	if j.Proposal != "" {
		out += "; proposed: " + proposal(j)
	}
	return out + "."
}

// proposal in words; while the meter is not proven, with what it would be then.
func proposal(j Judgement) string {
	out := verdictWords[j.Proposal]
	failed := j.Meter.Before == verdict.Failed || j.Meter.After == verdict.Failed
	if j.ProvenMeter != j.Proposal && !failed {
		out += " (" + verdictWords[j.ProvenMeter] + " once the meter is proven before and after)"
	}
	return out
}

func (d *Data) runFacts() []fact {
	r := &d.Run
	tank, batch, lot := notRecorded, notRecorded, notRecorded
	if d.Tank != nil {
		tank = d.Tank.Name
	}
	if d.Batch != nil {
		batch = strings.TrimSuffix(d.Batch.Code+"; "+d.Batch.Note, "; ")
	}
	if d.Lot != nil {
		lot = d.Lot.Name
	}
	f := r.InForce
	made := notRecorded
	if n := d.packages(); n > 0 {
		made = fmt.Sprintf("about %.0f, %.1f hL (line speed × running time)", n, d.hectolitres())
	}
	end := "still going"
	if r.Status == "ended" {
		end = d.clock(r.EndedAt.Time)
	}
	facts := []fact{
		{"code on package", or(r.Code)}, {"line", fmt.Sprintf("%s, %d heads", or(d.Line.Name), d.Line.Heads)},
		{"first to last", d.moment(r.StartedAt.Time) + " to " + end}, {"packages", made},
		{"batch", batch}, {"tank", tank},
		{"beer", fmt.Sprintf("SG %s, %s", plain(f.SG, ""), co2Text(f.CO2Vol))}, {"format lot", lot},
		{"capacity", spreadText(f.CapacityML, f.CapacitySDML, "mL") + sourceText(f.CapacitySource)}, {"tare", spreadText(f.TareG, f.TareSDG, "g")},
		{"DO meter", meterText(d, d.Meter, d.Checks)}, {"method", d.methodText()},
		{"limits", limitText(d.limit("tpo"))}, {"inlet DO", summaryOr(d.readings("inlet"))},
		{"stops", d.stopText()}, {"reading time", d.delayText()},
		{"reading errors", d.errorText()},
	}
	if d.Direct != nil {
		facts = append(facts, fact{"direct TPO", meterText(d, d.Direct, d.DirectChecks)})
	}
	if f.StandIn != nil {
		facts = append(facts, fact{"stands in", f.StandIn.Text()})
	}
	return facts
}

// errorText says where the uncertainty of the readings comes from.
func (d *Data) errorText() string {
	in := d.Run.InForce.Instruments
	var known, usual []string
	for _, x := range []struct {
		what, unit string
		e          *lab.ErrorInForce
	}{{"DO meter", "ppb", in.DOMeter}, {"scale", "g", in.Scale}, {"thermometer", "°C", in.Thermometer}, {"direct TPO instrument", "ppb", in.TPOMeter}} {
		switch {
		case x.e == nil && x.what == "direct TPO instrument" && d.Direct == nil: // the run has none
		case x.e == nil:
			usual = append(usual, x.what)
		case x.e.URel != nil:
			known = append(known, fmt.Sprintf("%s ±%s %s and %s %%", x.e.Name, digits(value(x.e.UAbs), value(x.e.UAbs)), x.unit, significant(100*value(x.e.URel))))
		default:
			known = append(known, fmt.Sprintf("%s ±%s %s", x.e.Name, digits(value(x.e.UAbs), value(x.e.UAbs)), x.unit))
		}
	}
	var parts []string
	if len(known) > 0 {
		parts = append(parts, strings.Join(known, ", ")+" (standard uncertainty, from its record)")
	}
	if len(usual) > 0 {
		parts = append(parts, "usual uncertainty assumed: "+strings.Join(usual, ", "))
	}
	return strings.Join(parts, "; ")
}

func co2Text(v *float64) string {
	if v == nil {
		return "CO₂ " + notRecorded
	}
	return "CO₂ " + plain(v, "volumes")
}

func sourceText(s string) string {
	if s == "" {
		return ""
	}
	return ", from the " + s
}

func spreadText(v, sd *float64, unit string) string {
	if v == nil {
		return notRecorded
	}
	if sd == nil {
		return plain(v, unit) + ", spread " + notRecorded
	}
	return plain(v, unit) + ", standard deviation " + plain(sd, unit)
}

func summaryOr(x []float64) string { return summarize(x).text() }

func limitText(l lab.LimitInForce) string {
	if l.MeanGreenPpb == nil && l.SingleGreenPpb == nil && l.SingleRedPpb == nil {
		return notRecorded
	}
	return fmt.Sprintf("TPO, ppb: mean of a set %s; single package %s, red above %s", or(brief(l.MeanGreenPpb)), or(brief(l.SingleGreenPpb)), or(brief(l.SingleRedPpb)))
}

// meterText names a meter, its checks around the run and what they say.
func meterText(d *Data, m *lab.Instrument, checks []*lab.MeterCheck) string {
	if m == nil {
		return notRecorded
	}
	before, after := d.around(checks)
	text := func(m *lab.MeterCheck) string {
		if m == nil {
			return notRecorded
		}
		return m.Outcome + " " + d.moment(m.At.Time)
	}
	age := notRecorded
	if at := m.SensorReplacedAt; !at.IsZero() && !at.After(d.Run.StartedAt.Time) {
		age = fmt.Sprintf("%.0f days", d.Run.StartedAt.Sub(at.Time).Hours()/24)
	}
	out := fmt.Sprintf("%s; check before %s, after %s; cell age %s", m.Name, text(before), text(after), age)
	if len(checks) == 0 && !m.LastCheckedAt.IsZero() {
		out += "; checked " + d.moment(m.LastCheckedAt.Time) + ", outcome " + notRecorded
	}
	return out
}

// methodText says how TPO was found in this run.
func (d *Data) methodText() string {
	paths, shakes, tares := map[string]int{}, map[string]int{}, map[string]int{}
	var temps []float64
	for i := range d.Samples {
		s := &d.Samples[i]
		if s.SampleKind != "shaken" {
			continue
		}
		if s.Result != nil && s.Result.Path != "" {
			paths[pathWords(s.Result.Path)]++
		}
		if s.Inputs.ShakeMin != nil {
			shakes[brief(s.Inputs.ShakeMin)+" min"]++
		}
		if s.Inputs.TemperatureC != nil {
			temps = append(temps, *s.Inputs.TemperatureC)
		}
		if s.Inputs.GrossG != nil {
			tares[tareWord(s)+" tare"]++
		}
	}
	direct := d.directText()
	if len(temps) == 0 && direct != "" {
		return direct
	}
	if len(temps) == 0 {
		return "TPO calculated from shaken DO; no shaken package is recorded"
	}
	if direct != "" {
		direct = "; " + direct
	}
	return fmt.Sprintf("TPO calculated from shaken DO, shaken %s at %.1f to %.1f °C; headspace %s; %s",
		or(commonest(shakes)), slices.Min(temps), slices.Max(temps), or(commonest(paths)), or(commonest(tares))) + direct
}

func tareWord(s *lab.Sample) string {
	if s.TareSource == "own" || s.TareSource == "" && s.Inputs.TareG != nil {
		return "own"
	}
	return "lot"
}

func pathWords(p string) string {
	switch p {
	case "fill_height":
		return "by fill height"
	case "assumed":
		return "from an assumed fill"
	}
	return p
}

// commonest joins the words by how often they stand, the most frequent first.
func commonest(m map[string]int) string {
	var words []string
	for w := range m {
		words = append(words, w)
	}
	slices.SortFunc(words, func(a, b string) int {
		if m[a] != m[b] {
			return m[b] - m[a]
		}
		return strings.Compare(a, b)
	})
	return strings.Join(words, ", ")
}

func (d *Data) stopText() string {
	list := d.stops()
	if len(list) == 0 {
		return "none recorded"
	}
	var total time.Duration
	var parts []string
	for _, s := range list {
		to := s.to
		if to.IsZero() {
			to = d.ends()
		}
		total += to.Sub(s.from)
		parts = append(parts, strings.TrimSuffix(fmt.Sprintf("%s %.0f min: %s", d.clock(s.from), to.Sub(s.from).Minutes(), s.why), ": "))
	}
	return fmt.Sprintf("%d, %.0f min in all; %s", len(list), total.Minutes(), strings.Join(parts, "; "))
}

func (d *Data) delayText() string {
	x := d.delays()
	if len(x) == 0 {
		return notRecorded
	}
	late := 0
	for _, v := range x {
		if v > d.lateLimit().Minutes() {
			late++
		}
	}
	return fmt.Sprintf("closing to reading %.0f to %.0f min; %d of %d later than %.0f min", slices.Min(x), slices.Max(x), late, len(x), d.lateLimit().Minutes())
}

// pair puts heads and split side by side.
func (c *canvas) pair(d *Data) {
	const h = 52.0
	c.room(h)
	half := (c.w - 2*margin - 4) * 0.58
	c.headChart(d, d.heads(), margin, c.y, half, h)
	c.splitChart(d.split(), margin+half+4, c.y, c.w-2*margin-half-4, h)
	c.y += h + 1
}

func (c *canvas) judgementPart(d *Data, j Judgement) {
	c.heading("Judgement")
	if j.Why != "" {
		c.para("No proposal: "+j.Why+".", normal, false)
		return
	}
	text := "Proposed: " + proposal(j) + "."
	if j.Probability != nil {
		text += fmt.Sprintf(" Probability that it is wrong (%s): %s.", j.Wrong, percent(*j.Probability))
	} else if j.Wrong != "" {
		text += " " + sentence(strings.ReplaceAll(j.Wrong, "_", " "))
	}
	if j.Rules.FromDefault {
		text += " No limit is recorded: judged by starting points of common practice."
	}
	c.para(text, normal, true)
	for _, r := range j.Reasons {
		sign := "✓ "
		if !r.Passed {
			sign = "✗ "
		}
		c.para(sign+r.Text, normal, false)
	}
	for i, x := range j.Causes {
		if i == 0 {
			c.para("Causes found, largest first:", normal, true)
		}
		where := x.Where
		if !x.From.IsZero() && (x.Kind == "step" || x.Kind == "drift" || strings.Contains(where, "T")) {
			where = d.clock(x.From)
		}
		c.para(fmt.Sprintf("%d. %s, %s: %s ppb (95 %%: %s to %s), %d packages. %s Next: %s", i+1, causeName(x.Kind), where,
			digits(x.PPB, math.Max(1, (x.High95-x.Low95)/4)), digits(x.Low95, math.Max(1, (x.High95-x.Low95)/4)), digits(x.High95, math.Max(1, (x.High95-x.Low95)/4)),
			x.Packages, sentence(x.Evidence), sentence(x.NextTest)), normal, false)
	}
	if len(j.Causes) == 0 {
		c.para("Causes: nothing found beyond the ordinary scatter.", normal, false)
	}
	for i, h := range j.Held {
		if i == 0 {
			c.para("Smallest spans to hold:", normal, true)
		}
		c.para(d.spanText(h.From, h.To, h.Head, h.Packages, h.Pallets)+" "+sentence(h.Why)+" Freed by "+sentence(h.FreedBy), normal, false)
	}
	for _, a := range j.Aside {
		c.para("Set aside: reading of "+d.clock(a.At)+", "+sentence(a.Why), normal, false)
	}
}

func (d *Data) spanText(from, to time.Time, head string, packages, pallets *int) string {
	out := d.clock(from) + " to " + d.clock(to) + ", all heads"
	if head != "" {
		out = d.clock(from) + " to " + d.clock(to) + ", head " + head
	}
	if packages != nil {
		out += ", " + strconv.Itoa(*packages) + " packages"
	}
	if pallets != nil {
		out += " on " + strconv.Itoa(*pallets) + " pallets"
	}
	return out + "."
}

func percent(p float64) string {
	switch {
	case p < 0.001:
		return "< 0.1 %"
	case p > 0.999:
		return "> 99.9 %"
	}
	return fmt.Sprintf("%.1f %%", 100*p)
}

func upper(s string) string {
	r := []rune(s)
	if len(r) == 0 {
		return s
	}
	return strings.ToUpper(string(r[0])) + string(r[1:])
}

// sentence begins with a capital and ends with one stop.
func sentence(s string) string {
	if strings.HasSuffix(s, "?") {
		return upper(s)
	}
	return strings.TrimSuffix(upper(s), ".") + "."
}
