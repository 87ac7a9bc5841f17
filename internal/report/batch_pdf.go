package report

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/go-pdf/fpdf"

	"ullage/core/cellar"
	"ullage/core/compare"
	"ullage/core/way"
	"ullage/internal/lab"
)

// batchPDF is the way of a batch on paper.
func batchPDF(d *Batch, size string, now time.Time) ([]byte, error) {
	title := "Batch " + d.Batch.Code
	return paper(size, title, or(d.Brewery.Name), now.In(d.Zone), func(c *canvas) {
		c.banner("Oxygen of batch "+d.Batch.Code, d.headline())
		c.batchFacts(d)
		if len(d.Way.Map.Nodes) == 0 {
			return
		}
		c.batchBars(d)
		c.batchPackages(d)
		c.batchFindings(d)
		c.batchWay(d)
		c.batchChanges(d)
		c.batchSmall(d)
	})
}

func (c *canvas) batchFacts(d *Batch) {
	tank, volume := notRecorded, notRecorded
	if d.Tank != nil {
		tank = d.Tank.Name
	}
	if d.Batch.VolumeHL != nil {
		volume = brief(d.Batch.VolumeHL) + " hL"
	}
	var from []string
	for _, b := range d.Way.Input.Batches {
		for _, m := range d.Way.Input.Moves {
			if m.To == d.Batch.ID && m.From == b.ID && m.From != d.Batch.ID {
				from = append(from, strings.TrimSpace(b.Code+" "+b.Tank))
			}
		}
	}
	var runs []string
	for _, x := range d.Way.Input.Runs {
		runs = append(runs, fmt.Sprintf("%d", d.runs[x.ID].Number))
	}
	made := notRecorded
	if !d.Batch.MadeAt.IsZero() {
		made = d.moment(d.Batch.MadeAt.Time)
	}
	c.facts(2, []fact{{"beer", or(d.Beer.Name)}, {"vessel", tank}, {"filled", made}, {"volume", volume},
		{"came from", or(strings.Join(from, "; "))}, {"packaged in runs", or(strings.Join(runs, ", "))}, {"state", or(d.Batch.Status)}, {"remarks", cmp.Or(d.Batch.Note, "–")}})
}

// batchBars draws the way after the yeast as a band that is as wide as the
// oxygen, one place a row. What is over its limit or budget says so in a word:
// paper has no colour.
func (c *canvas) batchBars(d *Batch) {
	c.heading("From fermenter to package, ppb")
	top := 1.0
	var nodes []*cellar.Node
	for i := range d.Way.Map.Nodes {
		n := &d.Way.Map.Nodes[i]
		if n.DO == nil || lab.IsWort(n.Point) {
			continue
		}
		nodes = append(nodes, n)
		top = math.Max(top, *n.DO)
	}
	const label, value, pitch, high = 54.0, 66.0, 3.9, 2.5
	x, w := margin+label, c.w-2*margin-label-value
	size := func(n *cellar.Node) float64 { return math.Max(w**n.DO/top, 0.2) }
	for i, n := range nodes {
		c.room(pitch)
		code, _ := d.where(n)
		c.font(small, false)
		c.at(margin, c.y+2.9, c.fit(code+", "+way.PointWord(n.Point), label-2))
		s := d.stepTo(n.ID)
		c.stroke(0.2, 0)
		if i > 0 && s != nil && s.From == nodes[i-1].ID && c.y > margin+pitch { // the same liquid a row above
			up := c.y + 0.7 - (pitch - high)
			c.pdf.SetFillColor(222, 222, 222)
			c.pdf.Polygon([]fpdf.PointType{{X: x, Y: up}, {X: x + size(nodes[i-1]), Y: up}, {X: x + size(n), Y: c.y + 0.7}, {X: x, Y: c.y + 0.7}}, "F")
		}
		grey := 170
		if n.Point == way.TPO {
			grey = 90
		}
		c.pdf.SetFillColor(grey, grey, grey)
		c.pdf.Rect(x, c.y+0.7, size(n), high, "FD")
		if n.Green > 0 && n.Green < top {
			c.stroke(0.4, 0)
			c.pdf.Line(x+w*n.Green/top, c.y+0.3, x+w*n.Green/top, c.y+high+1.1)
		}
		text, bold := nodeText(n, s)
		c.font(small, bold)
		c.at(x+w+1.5, c.y+2.9, c.fit(text, value-2))
		c.y += pitch
	}
	c.y++
	c.para("Band: DO as read, of a package unshaken DO and TPO, ± standard uncertainty; the upright line: its limit, up to which it is good. A step over its budget is named where it ends.", small, false)
}

// nodeText is the figure of a place, and what is over there.
func nodeText(n *cellar.Node, s *cellar.Step) (text string, bold bool) {
	text = digits(*n.DO, n.U) + " ± " + digits(n.U, n.U)
	switch n.State {
	case "over":
		text, bold = text+"  OVER "+digits(n.Red, 10), true
	case "watch":
		text, bold = text+"  above "+digits(n.Green, 10), true
	}
	if s != nil && s.State == "over" && s.Budget != nil {
		text += fmt.Sprintf("  %s %s OVER %s", way.StepWord(s.Kind), signedDigits(s.Delta, 2*s.U), digits(*s.Budget, 10))
		bold = true
	}
	return text, bold
}

func (c *canvas) batchPackages(d *Batch) {
	if len(d.Way.Map.Package) == 0 {
		return
	}
	c.heading("Where the packages' oxygen came in, mean of a run, ppb")
	cols := []column{{"run", 1, true, false}, {"tank", 1, true, false}, {"line", 1, true, false}, {"liquid at the filler", 1.4, true, false}, {"headspace", 1.2, true, false}, {"TPO", 1, true, false}, {"parts less TPO", 1.6, true, false}}
	part := func(v *float64) string {
		if v == nil {
			return "not read"
		}
		return digits(*v, 10)
	}
	var rows [][]string
	for _, p := range d.Way.Map.Package {
		closure := ""
		if p.Closure != nil {
			less := digits(p.Closure.Sum-p.Closure.TPO, 10)
			closure = fmt.Sprintf("%s (within ± %s)", less, digits(p.Closure.Allowed, 10))
			if !p.Closure.Within {
				closure = fmt.Sprintf("%s: more than ± %s", less, digits(p.Closure.Allowed, 10))
			}
		}
		rows = append(rows, []string{fmt.Sprint(d.runs[p.Run].Number), part(p.Tank), part(p.Line), part(p.Filler), part(p.Headspace), part(p.TPO), closure})
	}
	c.table(cols, rows, normal, 0)
}

func (c *canvas) batchFindings(d *Batch) {
	c.heading("What to look at")
	list := d.Way.Map.Diagnosis
	if len(list) == 0 {
		c.para("Nothing beyond what meters and sampling scatter by.", normal, false)
	}
	for _, f := range list {
		c.para(fmt.Sprintf("%s: %s, %s ppb", f.Where, cmp.Or(findingWords[f.Kind], f.Kind), signedDigits(f.PPB, 10)), normal, true)
		c.para(f.Evidence+". Next: "+f.NextCheck+".", small, false)
	}
	r := d.Way.Map.Reconciliation
	if r.Needed && !r.Consistent {
		c.para(fmt.Sprintf("The readings contradict each other (chi-squared %s on %d): one of them is likely wrong.", digits(r.Chi2, 1), r.DF), normal, true)
	}
	for _, w := range d.Way.Map.Warnings {
		c.para(w.Message+"; "+w.Mend+".", small, false)
	}
}

func (c *canvas) batchWay(d *Batch) {
	c.heading("The way, place by place")
	cols := []column{{"batch, run", 1.9, false, false}, {"place", 2.2, false, false}, {"read", 2, false, false}, {"DO", 1.7, true, false}, {"step", 1.8, false, false},
		{"pick-up (95 %), ppb", 2.6, true, false}, {"budget", 1, true, false}, {"grams", 1, true, false}, {"", 1.9, false, false}}
	rows, left := d.brewsRow()
	for i := range d.Way.Map.Nodes {
		n := &d.Way.Map.Nodes[i]
		if left && n.Brew != "" {
			continue
		}
		code, tank := d.where(n)
		row := []string{strings.TrimSpace(code + " " + tank), way.PointWord(n.Point), d.moment(n.At), "not read", "", "", "", "", ""}
		if n.DO != nil {
			row[3] = oxygenText(n.Point, *n.DO, n.U)
		}
		if s := d.stepTo(n.ID); s != nil {
			words := make([]string, len(s.Covers))
			for k, w := range s.Covers {
				words[k] = way.StepWord(w)
			}
			row[4] = strings.Join(words, ", ")
			row[5] = fmt.Sprintf("%s (%s to %s)", signedDigits(s.Delta, s.U), signedDigits(s.Low95, s.U), signedDigits(s.High95, s.U))
			if s.Budget != nil {
				row[6] = digits(*s.Budget, 10)
			}
			if s.Grams != nil {
				row[7] = digits(*s.Grams, math.Max(math.Abs(*s.Grams)/20, 1e-3))
			}
			row[8] = stepStates[s.State]
			if s.Consumed {
				row[8] = "taken up by yeast"
			}
		}
		rows = append(rows, row)
	}
	c.table(cols, rows, 6.4, 0)
}

// brewsRow says in one line what several brews of a tank were given; the workbook
// has each.
func (d *Batch) brewsRow() (rows [][]string, yes bool) {
	low, high, n := math.Inf(1), 0.0, 0
	var batch string
	var last time.Time
	for i := range d.Way.Map.Nodes {
		x := &d.Way.Map.Nodes[i]
		if x.Brew == "" || x.DO == nil || x.Point != way.WortOxygenated {
			continue
		}
		low, high, last = math.Min(low, *x.DO), math.Max(high, *x.DO), x.At
		n++
		code, tank := d.where(x)
		if name := strings.TrimSpace(code + " " + tank); !strings.Contains(batch, name) {
			batch = strings.TrimPrefix(batch+", "+name, ", ")
		}
	}
	if n < 2 {
		return nil, false
	}
	return [][]string{{batch, fmt.Sprintf("%d brews after oxygenation", n), d.moment(last), fmt.Sprintf("%s to %s mg/L", digits(low/1000, 0.1), digits(high/1000, 0.1)), "", "", "", "", "each in the workbook"}}, true
}

// changesShown on paper; the workbook has all.
const changesShown = 12

func (c *canvas) batchChanges(d *Batch) {
	c.heading("What changed against the last batches of this beer")
	if d.Changed.Why != "" {
		c.para("Not compared: "+d.Changed.Why+".", normal, false)
		return
	}
	var codes []string
	for _, x := range d.Changed.Compared {
		codes = append(codes, x.Code)
	}
	var rows [][]string
	for _, x := range d.Changed.Changes {
		if x.Differs && len(rows) < changesShown {
			rows = append(rows, []string{changeName(x), x.Now, x.Before, strconv.Itoa(x.Batches)})
		}
	}
	c.para("Against "+strings.Join(codes, ", ")+".", small, false)
	if len(rows) == 0 {
		c.para("Nothing differs beyond the scatter between them.", normal, false)
		return
	}
	c.table([]column{{"what", 2, false, false}, {"this batch", 3, false, false}, {"usually", 3, false, false}, {"batches", 0.8, true, false}}, rows, small, 0)
}

func changeName(x compare.ChangedThing) string {
	name := strings.ReplaceAll(x.What, "_", " ")
	if x.What == "limit" {
		return "limit in force, " + cmp.Or(map[string]string{"tpo": "TPO", "do_inlet": "DO at the inlet", "do_tank": "DO in the tank"}[x.Of], x.Of)
	}
	if x.Of != "" {
		return name + ", " + way.PointWord(x.Of)
	}
	return name
}

func (c *canvas) batchSmall(d *Batch) {
	for _, a := range d.Way.Map.Assumptions {
		c.para("Assumed: "+a+".", small, false)
	}
	c.para("A difference smaller than what meters and sampling scatter by is not resolved, which is not zero. Limits and budgets marked as starting points are common practice, not this brewery's own.", small, false)
}
