package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"ullage/core/verdict"
	"ullage/internal/lab"
)

// lotPDF is the certificate of a lot, for a customer or an auditor: one page.
func lotPDF(d *Data, size string, now time.Time) ([]byte, error) {
	j := *d.judgement()
	title := "Oxygen certificate of a lot"
	return paper(size, title, or(d.Brewery.Name), now.In(d.Zone), func(c *canvas) {
		c.banner(title, or(d.Beer.Name)+", "+or(d.Format.Name)+", code "+or(d.Run.Code))
		c.stateBox(d)
		c.facts(1, d.lotFacts(j))
		c.timeChart(d, 48)
		c.heading("What the words mean")
		for _, s := range []string{
			"TPO, total package oxygen: all oxygen of the closed package, beer and headspace, per litre of its beer. 1 ppb = 1 µg/L. Calculated, it is found from the oxygen read after shaking to equilibrium (shaken DO), the temperature, and the volumes of beer and headspace; read directly, by an instrument that takes all the oxygen out of the package.",
			"The 95 % interval of the mean covers the scatter between the packages sampled; single results carry the uncertainty printed in the run report.",
			"These are limits of quality, agreed for freshness. They are no limits of food safety, and no promise of shelf life.",
		} {
			c.para(s, normal, false)
		}
		c.signature("for the brewery", "date")
	})
}

// stateBox says the decision, large, in a frame told apart without colour.
func (c *canvas) stateBox(d *Data) {
	text, width := "NO DECISION ON RECORD", 0.3
	switch d.word() {
	case verdict.Release:
		text = "RELEASED"
	case verdict.Conditional:
		text, width = "RELEASED WITH CONDITIONS", 0.7
	case verdict.Hold:
		text, width = "ON HOLD: NOT RELEASED", 1.2
	}
	why := "A person decides on a lot; nobody has recorded a decision."
	if x := d.decision(); x != nil {
		why = d.decisionText(*x)
	}
	if d.Run.Status == "going" {
		why = "The run is still going: interim figures. " + why
	}
	c.font(normal, false)
	lines := c.lines(why, c.w-2*margin-8)
	h := 9 + pitch(normal)*float64(len(lines))
	c.y += 2
	c.stroke(width, 0)
	c.pdf.Rect(margin, c.y, c.w-2*margin, h, "D")
	c.font(13, true)
	c.at(margin+4, c.y+6, text)
	c.font(normal, false)
	for i, l := range lines {
		c.at(margin+4, c.y+10+pitch(normal)*float64(i), l)
	}
	c.y += h + 3
}

// decisionText is one decision in a sentence, with what stays on hold.
func (d *Data) decisionText(x Decision) string {
	text := fmt.Sprintf("%s, %s by %s: %s", d.moment(x.At), stateWords[x.Word], d.person(x.By), or(x.Reason))
	if x.Condition != "" {
		text += ". Condition: " + x.Condition
	}
	for i, h := range x.Held {
		if i == 0 {
			text += ". On hold stay: "
		}
		text += strings.TrimSuffix(d.spanText(h.From.Time, h.To.Time, h.Head, h.Packages, nil), ".") + "; "
	}
	return strings.TrimSuffix(text, "; ")
}

// singlesText counts the packages above each limit of a single one on record.
func singlesText(tpo []float64, l lab.LimitInForce) string {
	var parts []string
	for _, x := range []struct {
		limit *float64
		name  string
	}{{l.SingleGreenPpb, ""}, {l.SingleRedPpb, ", red"}} {
		if x.limit == nil {
			continue
		}
		n := 0
		for _, v := range tpo {
			if v > *x.limit {
				n++
			}
		}
		parts = append(parts, fmt.Sprintf("%d of %d above %s ppb%s", n, len(tpo), brief(x.limit), x.name))
	}
	if len(parts) == 0 {
		return "no limit is recorded"
	}
	return strings.Join(parts, "; ")
}

func (d *Data) lotFacts(j Judgement) []fact {
	s := summarize(d.readings("shaken"))
	l := d.limit("tpo")
	high := notRecorded
	above := "no limit is recorded"
	if s.n > 0 {
		high = digits(s.high, s.high/20) + " ppb"
		above = singlesText(d.readings("shaken"), l)
	}
	bound := notRecorded
	if j.Bound != nil {
		bound = digits(*j.Bound, *j.Bound/20) + " ppb (with the meter's own uncertainty, which does not average out)"
	}
	proposed := "none: " + j.Why
	if j.Proposal != "" {
		proposed = proposal(j)
	}
	tank := notRecorded
	if d.Batch != nil {
		tank = d.Batch.Code
		if d.Tank != nil {
			tank += " from " + d.Tank.Name
		}
	}
	facts := []fact{
		{"lot", fmt.Sprintf("run %d on %s, packaged %s to %s", d.Run.Number, or(d.Line.Name), d.moment(d.Run.StartedAt.Time), d.clock(d.ends()))},
		{"batch", tank},
		{"mean TPO", d.wayWord() + ": " + s.text()},
		{"upper 95 % bound", bound},
		{"highest package", high},
		{"single packages", above},
		{"limits", limitText(l)},
		{"packages read", fmt.Sprintf("%d for TPO, %d unshaken; %d readings at the inlet", s.n, len(d.readings("unshaken")), len(d.readings("inlet")))},
		{"method", d.methodText() + standInText(d)},
		{"DO meter", meterText(d, d.Meter, d.Checks)},
		{"reading time", d.delayText()},
		{"proposed by rules", proposed},
	}
	if d.Direct != nil {
		facts = slices.Insert(facts, 11, fact{"direct TPO", meterText(d, d.Direct, d.DirectChecks)})
	}
	return facts
}

// standInText says that the figures stand in for direct ones.
func standInText(d *Data) string {
	if s := d.Run.InForce.StandIn; s != nil {
		return ". " + s.Text()
	}
	return ""
}
