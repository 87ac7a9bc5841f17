package report

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"ullage/internal/lab"
)

// recordPart lists decisions, events, deviations, fills and what changed.
func (c *canvas) recordPart(d *Data) {
	c.heading("On the record")
	if len(d.Decisions) == 0 {
		c.para("Decision on the lot: "+notRecorded+".", normal, false)
	}
	for _, x := range d.Decisions {
		c.para("Lot: "+d.decisionText(x), normal, false)
	}
	for _, e := range d.Events {
		if e.Note != "" || e.EventKind == "tank_change" || e.EventKind == "gas_change" || e.EventKind == "adjustment" {
			c.para(strings.TrimSuffix(d.clock(e.At.Time)+" "+strings.ReplaceAll(e.EventKind, "_", " ")+": "+e.Note, ": "), normal, false)
		}
	}
	before, after := d.around(d.Checks)
	for _, m := range []*lab.MeterCheck{before, after} {
		if m != nil {
			c.para(fmt.Sprintf("Meter check %s by %s: %s", d.moment(m.At.Time), d.person(m.By), checkText(m)), normal, false)
		}
	}
	for _, s := range d.deviations() {
		c.para(s, normal, false)
	}
	c.para("Fill: "+d.fillText()+". Seam or crown checks, gas lot, closure lot: "+notRecorded+".", normal, false)
	c.para("Since the run before of this beer and format: "+d.changes()+".", normal, false)
	if d.Run.Note != "" {
		c.para("Note: "+d.Run.Note, normal, false)
	}
}

// checkText says how a check of the meter came out.
func checkText(m *lab.MeterCheck) string {
	out := m.Outcome
	if m.Against != "" && m.Against != "other" {
		out += " against " + m.Against
	}
	if m.OffsetPpb != nil {
		out += ", " + brief(m.OffsetPpb) + " ppb off"
	}
	if m.Note != "" {
		out += "; " + m.Note
	}
	return out
}

// deviations are corrections, flags and notes of samples.
func (d *Data) deviations() (out []string) {
	flags := map[string]int{}
	for i := range d.Samples {
		s := &d.Samples[i]
		for _, f := range s.Flags {
			flags[strings.ReplaceAll(f, "_", " ")]++
		}
		if s.Rev > 1 && s.Reason != "" && len(out) < 12 {
			out = append(out, fmt.Sprintf("Correction: %s of %s%s, by %s: %s", sampleWords[s.SampleKind], d.clock(at(s)), onHead(s.Head), d.person(s.By), s.Reason))
		}
	}
	if len(flags) > 0 {
		var parts []string
		for f, n := range flags {
			parts = append(parts, f+" "+strconv.Itoa(n)+"×")
		}
		slices.Sort(parts)
		out = append(out, "Packages flagged: "+strings.Join(parts, ", "))
	}
	return out
}

func onHead(h int) string {
	if h == 0 {
		return ""
	}
	return ", head " + strconv.Itoa(h)
}

// sampleWords name the quantity that a kind of sample reads.
var sampleWords = map[string]string{"shaken": "shaken DO", "unshaken": "unshaken DO", "inlet": "inlet DO", lab.Direct: "direct TPO"}

// fillText sums up the measured fills and those below the nominal volume.
func (d *Data) fillText() string {
	var fills []float64
	for i := range d.Samples {
		if s := &d.Samples[i]; s.Result != nil && s.Result.BeerML != nil && s.Result.Path != "assumed" {
			fills = append(fills, *s.Result.BeerML)
		}
	}
	if len(fills) == 0 {
		return notRecorded
	}
	s := summarize(fills)
	out := fmt.Sprintf("mean %.1f mL, lowest %.1f, highest %.1f, n = %d", s.mean, s.low, s.high, s.n)
	if n := d.Run.InForce.NominalML; n != nil {
		low := 0
		for _, v := range fills {
			if v < 0.985**n {
				low++
			}
		}
		out += fmt.Sprintf("; %d more than 1.5 %% below the nominal %s mL", low, brief(n))
	}
	return out
}

// changes compares with the run of the same beer and format before.
func (d *Data) changes() string {
	p := d.Previous
	if p == nil {
		return "there is no such run on record"
	}
	var parts []string
	differ := func(what, was, is string) {
		if was != is {
			parts = append(parts, what+" "+or(was)+" → "+or(is))
		}
	}
	differ("line", p.Line.Name, d.Line.Name)
	differ("format lot", deref(p.Lot).Name, deref(d.Lot).Name)
	differ("meter", deref(p.Meter).Name, deref(d.Meter).Name)
	differ("tank", deref(p.Tank).Name, deref(d.Tank).Name)
	differ("SG", brief(p.Run.InForce.SG), brief(d.Run.InForce.SG))
	differ("CO₂", brief(p.Run.InForce.CO2Vol), brief(d.Run.InForce.CO2Vol))
	differ("limits", limitText(p.limit("tpo")), limitText(d.limit("tpo")))
	a, b := summarize(p.readings("shaken")), summarize(d.readings("shaken"))
	if a.n > 0 && b.n > 0 {
		parts = append(parts, fmt.Sprintf("mean TPO %s → %s ppb", digits(a.mean, 10), digits(b.mean, 10)))
	}
	if len(parts) == 0 {
		parts = []string{"nothing that is recorded"}
	}
	return fmt.Sprintf("run %d of %s: %s", p.Run.Number, d.day(p.Run.StartedAt.Time), strings.Join(parts, "; "))
}

func (c *canvas) headTable(d *Data) {
	rows := d.heads()
	if len(d.readings("shaken")) == 0 || len(rows) == 0 {
		return
	}
	c.heading("By head")
	cols := []column{{"head", 1, false, false}, {"n", 1, true, false}, {"mean TPO, ppb", 2, true, false}, {"highest TPO, ppb", 2, true, false},
		{"to the mean of all", 2, true, false}, {"decision lines, ppb", 2.6, true, false}, {"outside", 1.6, false, false}, {"unshaken DO, mean, ppb (n)", 2.8, true, false}}
	var out [][]string
	for _, r := range rows {
		row := []string{strconv.Itoa(r.head), strconv.Itoa(r.tpo.n), "", "", "", "", r.outside, ""}
		if r.tpo.n > 0 {
			row[2], row[3], row[4] = digits(r.tpo.mean, 10), digits(r.tpo.high, 10), fmt.Sprintf("%.2f", r.ratio)
		}
		if r.topLine > 0 {
			row[5] = digits(r.lowLine, 10) + " to " + digits(r.topLine, 10)
		}
		if r.unshaken.n > 0 {
			row[7] = fmt.Sprintf("%s (%d)", digits(r.unshaken.mean, 10), r.unshaken.n)
		}
		out = append(out, row)
	}
	c.table(cols, out, small+0.5, 0)
	c.para("Decision lines: analysis of means, overall risk 5 %, scale chosen by the data.", small, false)
}

// readingTable lists every reading with its raw inputs.
func (c *canvas) readingTable(d *Data) {
	if len(d.Samples) == 0 {
		return
	}
	c.heading("Every reading, as typed, and what follows from it")
	cols := []column{{"set", 0.9, true, false}, {"closed", 1.4, false, false}, {"read", 1.4, false, false}, {"head", 1.2, true, false}, {"stn", 0.8, true, false},
		{"kind of DO", 2.2, false, false}, {"read, ppb", 1.5, true, false}, {"°C", 1.1, true, false}, {"gross, g", 1.7, true, false}, {"tare, g", 1.5, true, false}, {"gap, mm", 1.2, true, false},
		{"shaken, min", 1.6, true, false}, {"beer, mL", 1.5, true, false}, {"headspace, mL", 2.3, true, false}, {"TPO, ppb", 1.4, true, false}, {"u, ppb", 1.1, true, false}, {"by", 2.2, false, false}, {"remarks", 4.2, false, false}}
	var rows [][]string
	for i := range d.Samples {
		rows = append(rows, d.readingRow(&d.Samples[i]))
	}
	c.table(cols, rows, 5.8, 0)
	c.para("1 ppb = 1 µg of oxygen per litre of beer. u: standard uncertainty of TPO. Tare in brackets is the lot's. d: TPO read directly, all other calculated. Kinds of DO are never one number: docs/terms.md.", small, false)
}

// typed gives the raw text of a field where it was kept, else the number.
func typed(s *lab.Sample, field string, v *float64) string {
	if t := rawOf(s, field); t != "" {
		return t
	}
	return brief(v)
}

// rawOf is what was typed into a field, under the name that the app and the
// import keep it by.
func rawOf(s *lab.Sample, field string) string {
	name, _, _ := strings.Cut(field, "_")
	return cmp.Or(s.Raw[name], s.Raw[field])
}

func (d *Data) readingRow(s *lab.Sample) []string {
	num := func(n int) string {
		if n == 0 {
			return ""
		}
		return strconv.Itoa(n)
	}
	tare := typed(s, "tare_g", s.Inputs.TareG)
	if tare == "" && s.Inputs.GrossG != nil && d.Run.InForce.TareG != nil {
		tare = "(" + brief(d.Run.InForce.TareG) + ")"
	}
	row := []string{num(s.SetNo), d.clock(s.ClosedAt.Time), d.clock(s.TakenAt.Time), num(s.Head), num(s.Station), strings.TrimSuffix(sampleWords[s.SampleKind], " DO"),
		typedReading(s), typed(s, "temperature_c", s.Inputs.TemperatureC), typed(s, "gross_g", s.Inputs.GrossG), tare,
		typed(s, "gap_mm", s.Inputs.GapMM), typed(s, "shake_min", s.Inputs.ShakeMin), "", "", "", "", d.person(s.By), remarks(s)}
	if r := s.Volumes(); r != nil {
		if r.BeerML != nil && r.HeadspaceML != nil {
			row[12], row[13] = fmt.Sprintf("%.1f", *r.BeerML), fmt.Sprintf("%.2f", *r.HeadspaceML)
		}
		if v, u := tpoOf(s); v > 0 {
			row[14], row[15] = digits(v, u), digits(u, u)
			if s.Result.IsDirect() {
				row[14] += " d"
			}
		}
	}
	return row
}

// typedReading is the reading of a sample: DO, or of a package read directly only
// its TPO.
func typedReading(s *lab.Sample) string {
	if s.SampleKind == lab.Direct {
		return typed(s, "direct_ppb", s.Inputs.DirectPpb)
	}
	return typed(s, "do_ppb", s.Inputs.DOPpb)
}

func remarks(s *lab.Sample) string {
	var parts []string
	if text := bothWays(s); text != "" {
		parts = append(parts, text)
	}
	for _, f := range s.Flags {
		parts = append(parts, strings.ReplaceAll(f, "_", " "))
	}
	if s.Result != nil && s.IsPackage() {
		if s.Result.TPOPpb == nil {
			parts = append(parts, "no TPO")
		}
		for _, w := range s.Result.Warnings {
			parts = append(parts, w.Message)
		}
	}
	if s.Rev > 1 && s.Reason != "" {
		parts = append(parts, "corrected: "+s.Reason)
	}
	if s.Note != "" {
		parts = append(parts, s.Note)
	}
	return strings.Join(parts, "; ")
}

// signature leaves room for names by hand.
func (c *canvas) signature(labels ...string) {
	c.room(18)
	c.y += 13
	w := (c.w - 2*margin) / float64(len(labels))
	for i, l := range labels {
		x := margin + float64(i)*w
		c.hair(x, c.y, x+w-6, c.y)
		c.font(small, false)
		c.at(x, c.y+3.2, l)
	}
	c.y += 5
}
