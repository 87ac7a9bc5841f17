package report

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"ullage/core/quantity"
	"ullage/core/sampling"
	"ullage/internal/lab"
)

// sheetData reads the run of a sheet, or its line where no run is named.
func sheetData(ctx context.Context, s *lab.Service, q Request) (*Data, error) {
	if q.Run != "" {
		return ReadRun(ctx, s, q.Run)
	}
	r, err := newReader(ctx, s)
	if err != nil {
		return nil, err
	}
	lines, err := list[lab.Line](ctx, s, lab.KindLines)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, l := range lines {
		if l.ID == q.Line || strings.EqualFold(l.Name, q.Line) {
			return &Data{Brewery: r.brewery, Zone: r.zone, People: r.people, Line: l}, nil
		}
		names = append(names, l.Name)
	}
	return nil, wrong("line", q.Line, "is no line on record", "name one of: "+strings.Join(names, ", "))
}

// plan is the sampling plan of this run or line.
func (d *Data) plan(in sampling.Input) (sampling.Plan, error) {
	if p := d.Run.Plan; p != nil { // made for this run, where nothing else is asked for
		in.Heads, in.Minutes, in.Every, in.Budget = cmp.Or(in.Heads, p.Heads), cmp.Or(in.Minutes, p.Minutes), cmp.Or(in.Every, p.EveryMin), cmp.Or(in.Budget, p.Cans)
		in.Fault, in.Scatter, in.FalseRisk = cmp.Or(in.Fault, p.Fault), cmp.Or(in.Scatter, p.Scatter), cmp.Or(in.FalseRisk, p.FalseAlarm)
		if p.MissRisk > 0 {
			in.Power = cmp.Or(in.Power, 1-p.MissRisk)
		}
	}
	in.Heads = cmp.Or(in.Heads, d.Line.Heads, 1)
	in.Every = cmp.Or(in.Every, value(d.Run.SampleEveryMin), value(d.Line.SampleEveryMin))
	if d.Run.Status == "ended" && in.Minutes == 0 {
		in.Minutes = math.Max(30, math.Min(1440, d.Run.EndedAt.Sub(d.Run.StartedAt.Time).Minutes()))
	}
	p, err := sampling.Make(in)
	if q := (*quantity.Error)(nil); errors.As(err, &q) {
		return p, wrong(q.Field, q.Value, q.Message, q.Mend)
	}
	return p, err
}

func (d *Data) sheetFile(q Request) ([]byte, error) {
	p, err := d.plan(q.Plan)
	if err != nil {
		return nil, err
	}
	if q.Format == CSV {
		return d.sheetCSV(p)
	}
	if q.Format == XLSX {
		return nil, wrong("format", q.Format, "is no format of a run sheet", "use pdf or csv; the run's workbook is \"run\" as xlsx")
	}
	return sheetPDF(d, p, q.Blank || len(d.Samples) == 0, q.Paper, q.Now)
}

// sheetPDF is the run sheet for the clipboard: blank with the plan, or filled
// with what was read.
func sheetPDF(d *Data, p sampling.Plan, blank bool, size string, now time.Time) ([]byte, error) {
	title := "Run sheet"
	if d.Run.Number > 0 {
		title = fmt.Sprintf("Run sheet %d", d.Run.Number)
	}
	return paper(size, title, or(d.Brewery.Name), now.In(d.Zone), func(c *canvas) {
		c.banner(title, d.sheetLine(blank))
		c.facts(2, d.sheetFacts(p, blank))
		c.font(small, false)
		cols := d.sheetColumns(blank)
		rows := d.filledRows()
		if blank {
			rows = d.blankRows(p)
		}
		leading := 3.4
		if blank { // spread over the page, as far as a hand needs and the page allows
			left, n := c.h-foot-c.y-38, float64(len(rows)+1)
			if grid := float64(p.Input.Heads)*gridCell + 10; (left-grid)/n >= 5 {
				left -= grid
			}
			leading = math.Min(6.6, math.Max(4.7, left/n))
		}
		c.y += 1
		c.table(cols, rows, 6.6, leading)
		c.font(small, false)
		for _, a := range p.Advice {
			c.para(a, small, false)
		}
		c.para("Extra set: after a stop of more than 5 min, a change of tank, gas or format, or an adjustment (common practice): one package of each head, first round rejected. "+
			"Pair: unshaken and shaken from consecutive packages of one head. Write the time of closing; yeast in the package: read at once.", small, false)
		c.para("Glass and cans are under pressure: chill them, wear eye protection, do not pierce a warm or bulged package. CO₂ gathers low: ventilate. Local rules come first.", small, true)
		c.headPlan(p, blank)
	})
}

func (d *Data) sheetLine(blank bool) string {
	if d.Run.Number == 0 {
		return or(d.Line.Name) + " · beer ______________ · format ______________ · code ______________ · date ____________"
	}
	text := strings.Join([]string{or(d.Beer.Name), or(d.Format.Name), or(d.Line.Name), "code " + or(d.Run.Code), d.moment(d.Run.StartedAt.Time)}, " · ")
	if !blank {
		text += " · " + summarize(d.readings("shaken")).text()
	}
	return text
}

func (d *Data) sheetFacts(p sampling.Plan, blank bool) []fact {
	f := d.Run.InForce
	list := []fact{{"limits", limitText(d.limit("tpo"))}, {"lot in force", "tare " + plain(f.TareG, "g") + ", capacity " + plain(f.CapacityML, "mL")},
		{"meter", deref(d.Meter).Name}, {"heads", fmt.Sprintf("%d; %d packages to open", p.Input.Heads, p.Packages)}}
	if list[2].value == "" {
		list[2].value = "____________ checked ________"
	}
	if !blank {
		list[3] = fact{"heads", fmt.Sprintf("%d; %d samples", d.Line.Heads, len(d.Samples))}
	}
	return list
}

func (d *Data) byHeight() bool {
	return d.Run.InForce.NeckGapMM != nil || d.Run.InForce.Package == "bottle"
}

// sheetColumns follow the hand: when, which, what is written down. The three
// kinds of DO have a column each, so that none is written for another.
func (d *Data) sheetColumns(blank bool) []column {
	last := column{"initials", 1.5, false, blank}
	if !blank {
		last = column{"TPO, ppb", 1.5, true, false}
	}
	gap := column{"tare, g", 1.6, true, blank}
	if d.byHeight() {
		gap = column{"gap, mm", 1.6, true, blank}
	}
	return []column{{"set", 1.1, false, false}, {"due", 1.3, false, false}, {"head", 0.9, true, false}, {"inlet DO, ppb", 1.6, true, blank}, {"unshaken DO, ppb", 1.7, true, blank},
		{"closed", 1.6, false, blank}, {"gross, g", 1.8, true, blank}, gap, {"shaken, min", 1.3, true, blank}, {"°C", 1.4, true, blank}, {"shaken DO, ppb", 1.8, true, blank},
		{"read at", 1.6, false, blank}, {"remarks: foam, dent, low fill", 2.6, false, blank}, last}
}

func (d *Data) due(minute float64) string {
	switch {
	case math.IsNaN(minute):
		return ""
	case d.Run.StartedAt.IsZero():
		return fmt.Sprintf("+%d:%02d", int(minute)/60, int(minute)%60)
	}
	return d.clock(d.Run.StartedAt.Add(time.Duration(minute * float64(time.Minute))))
}

// blankRows have one row for each head pulled. The inlet is read with the first.
func (d *Data) blankRows(p sampling.Plan) (rows [][]string) {
	for i, s := range p.Sets {
		inlet, paired := "–", map[int]bool{}
		for _, x := range s.Pulls {
			if x.Kind == "inlet" {
				inlet = ""
			} else if x.Kind == "unshaken" {
				paired[x.Head] = true
			}
		}
		first := true
		for _, x := range s.Pulls {
			if x.Kind != "shaken" {
				continue
			}
			row := make([]string, 14)
			if first {
				row[0], row[1] = strconv.Itoa(i+1), d.due(s.Minute)
				if s.Occasion == "extra" {
					row[0] = "extra"
				}
			}
			row[2], row[3] = strconv.Itoa(x.Head), inlet
			if !paired[x.Head] {
				row[4] = "–"
			}
			rows = append(rows, row)
			inlet, first = "–", false
		}
	}
	return rows
}

func (d *Data) filledRows() (rows [][]string) {
	set := -1
	for i := range d.Samples {
		s := &d.Samples[i]
		r := d.readingRow(s)
		row := []string{"", "", r[3], "", "", r[1], r[8], r[9], r[11], r[7], "", r[2], r[17], r[14]}
		if s.SampleKind != lab.Direct { // its TPO stands in the last column
			row[map[string]int{"inlet": 3, "unshaken": 4, "shaken": 10}[s.SampleKind]] = r[6]
		}
		if d.byHeight() {
			row[7] = r[10]
		}
		if s.SetNo != set {
			set = s.SetNo
			row[0] = r[0]
		}
		rows = append(rows, row)
	}
	return rows
}

const gridCell = 3.2

// headPlan is a grid of heads and sets, where there is room for it.
func (c *canvas) headPlan(p sampling.Plan, blank bool) {
	const cell = gridCell
	heads := p.Input.Heads
	h := float64(heads)*cell + 9
	wide := 14 + float64(len(p.Sets))*cell*2
	if !blank || heads > 40 || c.y+h > c.h-foot || wide > c.w-2*margin {
		return
	}
	x, y := margin+14, c.y+8
	c.font(small, false)
	c.at(margin, c.y+3, "Head plan (● shaken, ◉ pair)")
	for i, s := range p.Sets {
		px := x + (float64(i)+0.5)*cell*2
		name := strconv.Itoa(i + 1)
		if s.Occasion == "extra" {
			name = "extra"
		}
		c.middle(px, y-1, name)
		seen := map[int]string{}
		for _, k := range s.Pulls {
			if k.Head > 0 {
				if seen[k.Head] == "" {
					seen[k.Head] = k.Kind
				} else {
					seen[k.Head] = "pair"
				}
			}
		}
		for hd := 1; hd <= heads; hd++ {
			py := y + (float64(hd)-0.5)*cell + 0.4
			switch seen[hd] {
			case "shaken":
				c.mark(disc, px, py, 0.9)
			case "pair", "unshaken":
				c.mark(ring, px, py, 0.9)
				c.mark(disc, px, py, 0.4)
			}
		}
	}
	for hd := 1; hd <= heads; hd++ {
		py := y + float64(hd)*cell
		c.right(x-1, py-0.8, strconv.Itoa(hd))
		c.stroke(0.05, 170)
		c.pdf.Line(x, py, x+float64(len(p.Sets))*cell*2, py)
	}
	c.y = y + float64(heads)*cell + 1
}
