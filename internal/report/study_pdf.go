package report

import (
	"fmt"
	"math"
	"strings"
	"time"

	"ullage/core/calc"
	"ullage/core/quantity"
)

func (d *StudyData) pdf(size string, now time.Time) ([]byte, error) {
	title := "Study: " + d.Study.Name
	return paper(size, title, or(d.Brewery.Name), now.In(d.Zone), func(c *canvas) {
		head := studyTitles[d.Study.StudyKind]
		if d.agree != nil {
			head += ": " + d.agree.Verdict
		}
		c.banner(head, d.sentence())
		c.facts(2, []fact{{"study", d.Study.Name}, {"done", d.Study.At.In(d.Zone).Format("2006-01-02") + ", by " + d.By}, {"of", or(strings.Join(d.Of, ", "))}, {"with", or(strings.Join(d.With, ", "))},
			{"in force", d.inForce()}, {"method", or(d.Study.Method)}})
		if d.agree != nil {
			c.agreement(d.agree)
		} else {
			c.studyChart(d)
		}
		c.studyFigures(d)
		for _, w := range d.Study.Warnings {
			text := "Asked about: " + strings.TrimSpace(w.Field+" "+fmtValue(w.Value)) + ": " + w.Message
			if w.Mend != "" {
				text += "; " + w.Mend
			}
			c.para(text, normal, false)
		}
		if d.Study.Note != "" {
			c.para("Note: "+d.Study.Note, normal, false)
		}
		if d.Study.Source != "" {
			c.para("Rows from "+d.Study.Source, small, false)
		}
		c.studyRows(d)
		c.signatures()
	})
}

func fmtValue(v any) string {
	if v == nil {
		return ""
	}
	return fmt.Sprint(v)
}

// signatures are two lines to sign on.
func (c *canvas) signatures() {
	c.room(14)
	c.y += 10
	half := (c.w - 2*margin - 10) / 2
	for i, who := range []string{"done by, date", "put in force by, date"} {
		x := margin + float64(i)*(half+10)
		c.hair(x, c.y, x+half, c.y)
		c.font(small, false)
		c.at(x, c.y+3, who)
	}
	c.y += 5
}

// agreement draws the differences with their limits, and the lines.
func (c *canvas) agreement(a *calc.AgreeResult) {
	for _, b := range a.Because {
		c.para(fmt.Sprintf("Because: %s. Look at %s.", b.Text, b.Look), normal, false)
	}
	const h = 82
	c.room(h + 8)
	half := (c.w - 2*margin - 4) / 2
	c.differencePlot(a, margin, c.y, half, h)
	c.identityPlot(a, margin+half+4, c.y, half, h)
	c.y += h
	c.para(fmt.Sprintf("A difference is calculated − direct. Grey: 95 %% intervals of the bias and of each limit of agreement; dotted: the margin of ±%s ppb. ● within its own limit, max(margin, 2u); ○ outside it. Lines: ─ Deming, ┄ Passing–Bablok, · · identity.", trim(a.Margin)), small, false)
}

func trim(v float64) string { return significant(v) }

func (c *canvas) differencePlot(a *calc.AgreeResult, x, y, w, h float64) {
	var xs, ys, outX, outY []float64
	for _, p := range a.Pairs {
		if p.Within {
			xs, ys = append(xs, p.Mean), append(ys, p.Difference)
		} else {
			outX, outY = append(outX, p.Mean), append(outY, p.Difference)
		}
	}
	must := append(append(append([]float64{}, ys...), outY...), a.LoaLowLow, a.LoaHighHigh, a.Margin, -a.Margin)
	f := plotFrame(x, y, w, h, append(append([]float64{}, xs...), outX...), must)
	c.band(f, a.LoaLowLow, a.LoaLowHigh)
	c.band(f, a.BiasLow95, a.BiasHigh95)
	c.band(f, a.LoaHighLow, a.LoaHighHigh)
	c.plotAxes(f, "mean of both, ppb", "difference, ppb")
	c.across(f, 0, "", 120)
	c.across(f, a.Margin, "", 90, 0.4, 0.8)
	c.across(f, -a.Margin, "", 90, 0.4, 0.8)
	c.dots(f, disc, 0.8, xs, ys)
	c.dots(f, ring, 0.9, outX, outY)
	c.across(f, a.LoaHigh, quantity.Minus(fmt.Sprintf("limit %+.1f", a.LoaHigh)), 0, 2.4, 1)
	c.across(f, a.Bias, quantity.Minus(fmt.Sprintf("bias %+.1f", a.Bias)), 0)
	c.across(f, a.LoaLow, quantity.Minus(fmt.Sprintf("limit %+.1f", a.LoaLow)), 0, 2.4, 1)
}

func (c *canvas) identityPlot(a *calc.AgreeResult, x, y, w, h float64) {
	var xs, ys []float64
	for _, p := range a.Pairs {
		xs, ys = append(xs, p.Direct), append(ys, p.Calculated)
	}
	all := append(append([]float64{}, xs...), ys...)
	f := plotFrame(x, y, w, h, all, all)
	c.plotAxes(f, "direct, ppb", "calculated, ppb")
	c.dots(f, disc, 0.8, xs, ys)
	line := func(intercept, slope *float64, w float64, dash ...float64) {
		if intercept != nil && slope != nil {
			c.curve(f, func(x float64) float64 { return *intercept + *slope*x }, w, dash...)
		}
	}
	one, zero := 1.0, 0.0
	line(&zero, &one, 0.2, 0.3, 0.9)
	line(a.DemingIntercept, a.DemingSlope, 0.35)
	line(a.PBIntercept, a.PBSlope, 0.35, 1.6, 1)
}

// studyFigures is the table of a result.
func (c *canvas) studyFigures(d *StudyData) {
	if len(d.figures) == 0 {
		return
	}
	c.heading("Figures")
	var rows [][]string
	for _, f := range d.figures {
		interval := ""
		if f.low != "" && f.high != "" {
			interval = f.low + " to " + f.high
		}
		rows = append(rows, []string{figureName(f.name), f.value, interval})
	}
	half := (len(rows) + 1) / 2
	cols := []column{{"figure", 3.4, false, false}, {"", 1.5, true, false}, {"95 %", 2.1, true, false}, {"", 0.3, false, false}, {"figure", 3.4, false, false}, {"", 1.5, true, false}, {"95 %", 2.1, true, false}}
	var two [][]string
	for i := range half {
		line := append(append([]string{}, rows[i]...), "")
		if i+half < len(rows) {
			line = append(line, rows[i+half]...)
		} else {
			line = append(line, "", "", "")
		}
		two = append(two, line)
	}
	c.table(cols, two, 6.4, 0)
}

var figureUnits = map[string]string{"ppb": "ppb", "g": "g", "ml": "mL", "mm": "mm", "percent": "%", "c": "°C", "min": "min", "h": "h"}

// figureName is the name of a result in words, its unit last.
func figureName(name string) string {
	words := strings.Split(name, "_")
	unit := ""
	if u := figureUnits[words[len(words)-1]]; u != "" && len(words) > 1 {
		unit, words = ", "+u, words[:len(words)-1]
	}
	return strings.Join(words, " ") + unit
}

// studyRows prints the readings.
func (c *canvas) studyRows(d *StudyData) {
	rows := d.rows()
	if len(rows[0]) == 0 {
		return
	}
	c.heading(fmt.Sprintf("Readings (%d)", len(rows)-1))
	n := len(rows[0])
	side := max(1, min(4, 9/n))
	var cols []column
	for s := range side {
		if s > 0 {
			cols = append(cols, column{"", 0.3, false, false})
		}
		for _, h := range rows[0] {
			cols = append(cols, column{figureName(h), 1, true, false})
		}
	}
	body := rows[1:]
	high := int(math.Ceil(float64(len(body)) / float64(side)))
	var out [][]string
	for i := range high {
		var line []string
		for s := range side {
			if s > 0 {
				line = append(line, "")
			}
			if k := s*high + i; k < len(body) {
				line = append(line, body[k]...)
			} else {
				line = append(line, make([]string, n)...)
			}
		}
		out = append(out, line)
	}
	c.table(cols, out, 6.2, 0)
}
