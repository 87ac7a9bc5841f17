package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"ullage/core/stats"
)

func capabilityText(c stats.CapabilityResult) string {
	out := fmt.Sprintf("%.2f", c.Ppk.Value)
	if c.Ppk.Interval.Low != 0 || c.Ppk.Interval.High != 0 {
		out += fmt.Sprintf(" (%.2f to %.2f)", c.Ppk.Interval.Low, c.Ppk.Interval.High)
	}
	return out
}

func (m *Month) file(q Request) ([]byte, error) {
	switch q.Format {
	case CSV:
		return csvBytes(m.rows())
	case XLSX:
		return m.xlsx(q.Now)
	}
	return m.pdf(q.Paper, q.Now)
}

func (m *Month) pdf(size string, now time.Time) ([]byte, error) {
	title := "Month " + m.Name
	return paper(size, title, or(m.Brewery.Name), now.In(m.Zone), func(c *canvas) {
		c.banner("Oxygen in "+m.From.Format("January 2006"), m.headline())
		if len(m.Runs) == 0 {
			return
		}
		c.monthChart(m, 52)
		c.monthGroups(m)
		c.monthCauses(m)
		c.monthRuns(m)
	})
}

func (m *Month) headline() string {
	if len(m.Runs) == 0 {
		return "No run started in this month."
	}
	above, n, stops := 0, 0, 0.0
	for _, g := range m.groups() {
		above, n, stops = above+g.above, n+g.all.n, stops+g.stopMin
	}
	t := m.Costs.Totals
	return fmt.Sprintf("%s, about %.0f hL (line speed × running time), %s with TPO, %d of them above the red limit of their beer. Lots: %d released, %d with conditions, %d on hold, %d without a decision; about %.0f hL in spans that the rules ask to hold; %.0f min of stops.",
		counted(len(m.Runs), "run"), t.HL, counted(n, "package"), above, t.Released, t.Conditional, t.Held, t.Undecided, t.HeldHL, stops)
}

// monthChart shows the mean of each run as a share of its own limit.
func (c *canvas) monthChart(m *Month, h float64) {
	c.room(h + 12)
	days := m.From.AddDate(0, 1, 0).Sub(m.From).Hours() / 24
	f := &frame{x: margin + 11, y: c.y + 7, w: c.w - 2*margin - 11 - 20, h: h, x1: days}
	must := []float64{1}
	for _, x := range m.Runs {
		if g := x.d.limit("tpo").MeanGreenPpb; g != nil && x.s.n > 0 && *g > 0 {
			must = append(must, x.s.mean / *g, x.s.high95 / *g)
		}
	}
	f.valueAxis(skewed(must), must...)
	name := "mean TPO of a run over the limit of its mean"
	if f.log {
		name += ", log axis"
	}
	c.drawFrame(f, name+" (each with its 95 % interval)")
	for day := 0; day < int(days+0.5); day += 2 {
		c.middle(f.px(float64(day)+0.5), f.y+f.h+3.6, strconv.Itoa(day+1))
	}
	c.level(f, 1, "limit of the mean", 2.4, 1)
	kinds, names, above := map[string]int{}, []keyed{}, 0
	for _, x := range m.Runs {
		g := x.d.limit("tpo").MeanGreenPpb
		if g == nil || *g <= 0 || x.s.n == 0 {
			continue
		}
		kind, ok := kinds[x.d.Line.Name]
		if !ok {
			kind = []int{disc, square, triangle, ring}[len(kinds)%4]
			kinds[x.d.Line.Name] = kind
			names = append(names, keyed{kind, x.d.Line.Name})
		}
		px := f.px(x.d.Run.StartedAt.Sub(m.From).Hours() / 24)
		if x.s.high95 > 0 {
			c.stroke(0.15, 90)
			c.pdf.Line(px, f.py(math.Max(x.s.low95 / *g, f.y0)), px, f.py(x.s.high95 / *g))
		}
		c.mark(kind, px, f.py(x.s.mean / *g), 0.95)
		if x.s.mean > *g {
			c.font(small, true)
			above++
			c.middle(px, f.py(x.s.mean / *g)-1.6-2.6*float64(above%2), strconv.Itoa(x.d.Run.Number))
		}
	}
	c.key(f.x, f.y+f.h+7.6, names...)
	c.y = f.y + f.h + 10
}

func (c *canvas) monthGroups(m *Month) {
	c.heading("By beer, format and line")
	cols := []column{{"beer", 2.2, false, false}, {"format", 2.4, false, false}, {"line", 2.4, false, false}, {"runs", 1, true, false}, {"hL", 1, true, false}, {"n", 0.9, true, false},
		{"mean TPO, ppb (95 %)", 3.7, true, false}, {"limit of the mean", 1.4, true, false}, {"highest", 1.3, true, false}, {"above red", 1.4, true, false}, {"Ppk to red (95 %)", 3, true, false}, {"unshaken DO, ppb (n)", 1.7, true, false}, {"stops, min", 1.1, true, false}}
	var rows [][]string
	for _, g := range m.groups() {
		mean, above, high, unshaken := "", "", "", ""
		if g.unshaken.n > 0 {
			unshaken = fmt.Sprintf("%s (%d)", digits(g.unshaken.mean, 10), g.unshaken.n)
		}
		if g.all.n > 0 {
			high = digits(g.all.high, 10)
			u := math.Max((g.all.high95-g.all.low95)/4, 0.5)
			mean = fmt.Sprintf("%s (%s to %s)", digits(g.all.mean, u), digits(g.all.low95, u), digits(g.all.high95, u))
		}
		if g.limit != nil && g.all.n > 0 {
			above = fmt.Sprintf("%d > %s", g.above, brief(g.limit))
		}
		rows = append(rows, []string{g.beer, g.format, g.line, strconv.Itoa(g.runs), fmt.Sprintf("%.0f", g.hl), strconv.Itoa(g.all.n), mean, brief(g.green), high, above, g.ppk, unshaken, fmt.Sprintf("%.0f", g.stopMin)})
	}
	c.table(cols, rows, 6.2, 0)
	c.para("The interval takes all packages as independent; packages of one run are alike, so it is too narrow where runs differ. Ppk: one-sided, on the scale that the data ask for.", small, false)
}

func (c *canvas) monthCauses(m *Month) {
	c.heading("Causes found, by the beer they touched")
	list := m.Costs.Pareto
	if len(list) == 0 {
		c.para("Nothing found beyond the ordinary scatter.", normal, false)
	}
	top := 0.0
	for _, a := range list {
		top = math.Max(top, a.HL)
	}
	for _, a := range list {
		c.room(5)
		c.font(normal, false)
		c.at(margin, c.y+3.4, c.fit(causeName(a.Kind), 42))
		x, w := margin+44, (c.w-2*margin-44-56)*a.HL/math.Max(top, 1e-9)
		c.pdf.SetFillColor(150, 150, 150)
		c.stroke(0.2, 0)
		c.pdf.Rect(x, c.y+0.8, math.Max(w, 0.2), 3, "FD")
		c.at(x+w+1.5, c.y+3.4, fmt.Sprintf("%.1f hL in %s, mean %s ppb", a.HL, counted(a.Runs, "run"), digits(a.PPB, 10)))
		c.y += 4.6
	}
	for _, s := range m.worst() {
		c.para("Highest head of "+s+".", normal, false)
	}
}

func (c *canvas) monthRuns(m *Month) {
	c.heading("Runs")
	cols := []column{{"run", 0.9, true, false}, {"started", 2.2, false, false}, {"beer, format", 3.6, false, false}, {"line", 1.8, false, false}, {"n", 0.7, true, false},
		{"mean TPO", 1.3, true, false}, {"highest", 1.2, true, false}, {"lot", 1.5, false, false}, {"proposed", 2.4, false, false}, {"causes", 3.6, false, false}}
	var rows [][]string
	for _, x := range m.Runs {
		row := []string{strconv.Itoa(x.d.Run.Number), x.d.moment(x.d.Run.StartedAt.Time), x.d.Beer.Name + ", " + x.d.Format.Name, x.d.Line.Name, strconv.Itoa(x.s.n), "", "", x.d.state(), verdictWords[x.j.Proposal], x.causes()}
		if x.s.n > 0 {
			row[5], row[6] = digits(x.s.mean, 10), digits(x.s.high, 10)
		}
		if x.j.Proposal == "" || x.s.n == 0 {
			row[8] = "no TPO to judge by"
		}
		rows = append(rows, row)
	}
	c.table(cols, rows, 6.4, 0)
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

func (x monthRun) causes() string {
	var parts []string
	for _, k := range x.j.Causes {
		text := causeName(k.Kind)
		if k.Kind == "head" || k.Kind == "station" {
			text += " " + k.Where
		}
		parts = append(parts, fmt.Sprintf("%s %s ppb", text, digits(k.PPB, 10)))
	}
	return strings.Join(parts, "; ")
}

// rows are the month as a table, one run each.
func (m *Month) rows() [][]string {
	out := [][]string{{"run", "started_at", "beer", "format", "line", "code", "hl", "readings", "mean_tpo_ppb", "low95_ppb", "high95_ppb", "highest_tpo_ppb",
		"mean_limit_ppb", "single_limit_ppb", "stop_min", "lot_state", "proposed", "proposed_proven_meter", "causes"}}
	num := func(v float64) string { return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64) }
	for _, x := range m.Runs {
		l := x.d.limit("tpo")
		row := []string{strconv.Itoa(x.d.Run.Number), stamp(x.d.Run.StartedAt), x.d.Beer.Name, x.d.Format.Name, x.d.Line.Name, x.d.Run.Code, num(x.hl), strconv.Itoa(x.s.n),
			"", "", "", "", brief(l.MeanGreenPpb), brief(l.SingleRedPpb), num(x.stopMinutes()), x.d.state(), x.j.Proposal, x.j.ProvenMeter, x.causes()}
		if x.s.n > 0 {
			row[8], row[11] = num(x.s.mean), num(x.s.high)
		}
		if x.s.high95 > 0 {
			row[9], row[10] = num(x.s.low95), num(x.s.high95)
		}
		out = append(out, row)
	}
	return out
}

func (x monthRun) stopMinutes() (sum float64) {
	for _, s := range x.d.stops() {
		if !s.to.IsZero() {
			sum += s.to.Sub(s.from).Minutes()
		}
	}
	return sum
}

// xlsx is the table of runs with live totals.
func (m *Month) xlsx(now time.Time) ([]byte, error) {
	b, err := newBook("Runs", now)
	if err != nil {
		return nil, err
	}
	defer b.f.Close()
	rows := m.rows()
	head := []string{"run", "started", "beer", "format", "line", "code", "packaged, hL", "readings", "mean TPO, ppb", "low 95 %, ppb", "high 95 %, ppb", "highest TPO, ppb",
		"limit of the mean, ppb", "single limit, ppb", "stops, min", "lot", "proposed", "proposed if the meter is proven", "causes found"}
	b.header("Runs", 1, head, 16)
	b.fitWidth("Runs")
	for i, r := range rows[1:] {
		for k, v := range r {
			cell, _ := excelize.CoordinatesToCellName(k+1, i+2)
			if x, err := strconv.ParseFloat(v, 64); err == nil && k != 5 {
				b.number("Runs", cell, &x)
				continue
			}
			b.text("Runs", cell, v)
		}
	}
	last := len(rows)
	if last > 1 {
		b.text("Runs", fmt.Sprintf("A%d", last+2), "total")
		b.formula("Runs", fmt.Sprintf("G%d", last+2), fmt.Sprintf("SUM(G2:G%d)", last))
		b.formula("Runs", fmt.Sprintf("H%d", last+2), fmt.Sprintf("SUM(H2:H%d)", last))
		b.formula("Runs", fmt.Sprintf("I%d", last+2), fmt.Sprintf("SUMPRODUCT(H2:H%d,I2:I%d)/H%d", last, last, last+2))
		b.formula("Runs", fmt.Sprintf("L%d", last+2), fmt.Sprintf("MAX(L2:L%d)", last))
		b.formula("Runs", fmt.Sprintf("O%d", last+2), fmt.Sprintf("SUM(O2:O%d)", last))
	}
	return b.bytes()
}
