package report

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ullage/core/quantity"
	"ullage/internal/lab"
)

// InstrumentYear is an instrument with the checks of a calendar year, in the
// brewery's own time.
type InstrumentYear struct {
	Brewery lab.Brewery
	Zone    *time.Location
	Year    int
	History lab.History
	From    time.Time
	To      time.Time // end of the year, or now
	people  map[string]string
}

// ReadInstrument reads an instrument's year.
func ReadInstrument(ctx context.Context, s *lab.Service, id string, year int) (*InstrumentYear, error) {
	if year < 1990 || year > 2200 {
		return nil, wrong("year", year, "is no year of these records", "write it like 2026")
	}
	r, err := newReader(ctx, s)
	if err != nil {
		return nil, err
	}
	h, err := s.InstrumentHistory(ctx, id)
	if err != nil {
		return nil, err
	}
	d := &InstrumentYear{Brewery: r.brewery, Zone: r.zone, Year: year, History: *h, people: r.people, From: time.Date(year, 1, 1, 0, 0, 0, 0, r.zone), To: time.Date(year+1, 1, 1, 0, 0, 0, 0, r.zone)}
	for i := range d.History.Series {
		c := &d.History.Series[i]
		c.Points = slices.DeleteFunc(slices.Clone(c.Points), func(p lab.CheckPoint) bool { return p.At.Before(d.From) || !p.At.Before(d.To) })
	}
	d.History.Series = slices.DeleteFunc(d.History.Series, func(c lab.CheckSeries) bool { return len(c.Points) == 0 })
	return d, nil
}

func (d *InstrumentYear) file(q Request) ([]byte, error) {
	switch q.Format {
	case CSV:
		return csvBytes(d.rows())
	case XLSX:
		return d.xlsx(q.Now)
	}
	return d.pdf(q.Paper, q.Now)
}

// counts of the year's checks.
func (d *InstrumentYear) counts() (n, failed int) {
	for _, c := range d.History.Series {
		for _, p := range c.Points {
			n++
			if p.Outcome == "failed" {
				failed++
			}
		}
	}
	return n, failed
}

func (d *InstrumentYear) headline() string {
	n, failed := d.counts()
	if n == 0 {
		return fmt.Sprintf("No check is recorded in %d.", d.Year)
	}
	out := fmt.Sprintf("%s in %d, %d of them failed.", counted(n, "check"), d.Year, failed)
	for _, x := range d.History.Due {
		if x.At.Before(d.History.Now.Time) {
			out += " Overdue: " + x.Why + "."
		}
	}
	return out
}

var againstTitles = map[string]string{"": "checks", "zero": "zero gas", "air": "air-saturated water", "response": "time of response", "meter": "another meter", "mass": "reference mass",
	"ice": "ice point", "reference": "reference", "other": "something else"}

// rows are the checks as a table.
func (d *InstrumentYear) rows() [][]string {
	out := [][]string{{"at", "against", "off", "unit", "u", "outcome", "by", "adjusted", "sensor_renewed", "note"}}
	num := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'f', -1, 64)
	}
	yes := map[bool]string{true: "yes"}
	type dated struct {
		at  time.Time
		row []string
	}
	var list []dated
	for _, c := range d.History.Series {
		for _, p := range c.Points {
			list = append(list, dated{p.At.Time, []string{stamp(p.At), againstTitles[c.Against], num(p.Off), c.Unit, num(p.U), p.Outcome, cmp.Or(d.people[p.By], p.By), yes[p.Adjusted], yes[p.SensorReplaced], p.Note}})
		}
	}
	slices.SortStableFunc(list, func(a, b dated) int { return a.at.Compare(b.at) })
	for _, x := range list {
		out = append(out, x.row)
	}
	return out
}

func (d *InstrumentYear) xlsx(now time.Time) ([]byte, error) {
	b, err := newBook("Checks", now)
	if err != nil {
		return nil, err
	}
	defer b.f.Close()
	rows := d.rows()
	b.header("Checks", 1, []string{"at", "against", "reading less expected", "unit", "standard uncertainty", "outcome", "by", "adjusted after", "sensor renewed after", "note"}, 18)
	b.width("Checks", "J", 50)
	for i, r := range rows[1:] {
		for k, v := range r {
			if x, err := strconv.ParseFloat(v, 64); err == nil && (k == 2 || k == 4) {
				b.number("Checks", cellName(k, i+2), &x)
				continue
			}
			b.text("Checks", cellName(k, i+2), v)
		}
	}
	b.fitWidth("Checks")
	return b.bytes()
}

func (d *InstrumentYear) pdf(size string, now time.Time) ([]byte, error) {
	in := &d.History.Instrument
	title := fmt.Sprintf("%s, %d", in.Name, d.Year)
	return paper(size, title, or(d.Brewery.Name), now.In(d.Zone), func(c *canvas) {
		c.banner(title, d.headline())
		c.facts(2, d.facts())
		for i := range d.History.Series {
			c.driftChart(d, &d.History.Series[i])
		}
		c.dueTable(d)
		c.checkTable(d)
		c.signatures()
	})
}

func (d *InstrumentYear) facts() []fact {
	in, h := &d.History.Instrument, &d.History
	sensor := notRecorded
	if h.Sensor != nil {
		sensor = fmt.Sprintf("renewed %s, %.0f days old", h.Sensor.ReplacedAt.In(d.Zone).Format("2006-01-02"), h.Sensor.AgeDays)
		if h.Sensor.LifeDays != nil {
			sensor += fmt.Sprintf(" of the usual %.0f", *h.Sensor.LifeDays)
		}
	}
	passed := notRecorded
	if h.LastPassAt != nil {
		passed = h.LastPassAt.In(d.Zone).Format("2006-01-02 15:04")
	}
	lots := "none"
	if n := len(h.LotsSincePass); n > 0 {
		var names []string
		for _, l := range h.LotsSincePass[:min(n, 12)] {
			names = append(names, strconv.Itoa(l.Number))
		}
		if n > 12 {
			names = append(names, fmt.Sprintf("and %d more", n-12))
		}
		lots = "runs " + strings.Join(names, ", ")
	}
	span := notRecorded
	if in.RangeLow != nil && in.RangeHigh != nil {
		span = brief(in.RangeLow) + " to " + brief(in.RangeHigh)
	}
	return []fact{{"kind", strings.ReplaceAll(in.InstrumentKind, "_", " ")}, {"range, step", span + ", " + or(brief(in.Resolution))}, {"reads today", h.U.Text}, {"sensor", sensor},
		{"last pass", passed}, {"measured since", lots}, {"purchase", or(in.Purchase)}, {"note", or(in.Note)}}
}

// driftChart shows what a year's checks were off by, with limits and new sensors.
func (c *canvas) driftChart(d *InstrumentYear, s *lab.CheckSeries) {
	var xs, ys, badX, badY []float64
	for _, p := range s.Points {
		if p.Off == nil {
			continue
		}
		x := p.At.Sub(d.From).Hours() / 24
		if p.Outcome == "failed" {
			badX, badY = append(badX, x), append(badY, *p.Off)
		} else {
			xs, ys = append(xs, x), append(ys, *p.Off)
		}
	}
	if len(xs)+len(badX) == 0 {
		return
	}
	const h = 58
	c.room(h + 6)
	must := append(append([]float64{}, ys...), badY...)
	signedLimit := s.Limit != nil && s.Against != lab.AgainstResponse
	if s.Limit != nil {
		must = append(must, *s.Limit)
	}
	if signedLimit {
		must = append(must, -*s.Limit, 0)
	}
	f := plotFrame(margin, c.y+2, c.w-2*margin, h, []float64{0, d.To.Sub(d.From).Hours() / 24}, must)
	f.x0, f.x1 = 0, d.To.Sub(d.From).Hours()/24
	up := againstTitles[s.Against] + ": reading less expected, " + s.Unit
	if s.Against == lab.AgainstResponse {
		up = againstTitles[s.Against] + ", s"
	}
	c.monthAxes(f, d, up)
	if s.Limit != nil {
		c.across(f, *s.Limit, "limit", 0, 2.4, 1)
	}
	if signedLimit {
		c.across(f, 0, "", 120)
		c.across(f, -*s.Limit, "", 0, 2.4, 1)
	}
	c.newSensors(f, d)
	c.dots(f, disc, 0.8, xs, ys)
	c.dots(f, ring, 1.1, badX, badY)
	c.key(f.x, f.y+f.h+7.4, keyed{disc, "passed"}, keyed{ring, "failed"})
	if g := s.Drift; g != nil {
		c.font(small, false)
		text := fmt.Sprintf("drift since %s: %+.2f %s in 30 days (95 %%: %+.2f to %+.2f, n %d)", g.From.In(d.Zone).Format("2006-01-02"), tidy(g.Per30Days), s.Unit, tidy(g.Low95), tidy(g.High95), g.N)
		if tidy(g.Low95) == 0 && tidy(g.High95) == 0 {
			text = fmt.Sprintf("no drift since %s (n %d)", g.From.In(d.Zone).Format("2006-01-02"), g.N)
		}
		c.right(f.x+f.w, f.y+f.h+7.4, quantity.Minus(text))
	}
	c.y += h + 4
}

// newSensors marks when a sensor was renewed.
func (c *canvas) newSensors(f *frame, d *InstrumentYear) {
	for _, x := range d.History.SensorChanges {
		if px := f.px(x.At.Sub(d.From).Hours() / 24); px >= f.x && px <= f.x+f.w {
			c.stroke(0.18, 90, 0.4, 0.8)
			c.pdf.Line(px, f.y, px, f.y+f.h)
			c.stroke(0.2, 0)
			c.font(small, false)
			c.at(px+0.6, f.y+f.h-1, "sensor renewed")
		}
	}
}

// tidy keeps a zero from having a sign.
func tidy(v float64) float64 {
	if math.Abs(v) < 0.005 {
		return 0
	}
	return v
}

// monthAxes draws a year with its months.
func (c *canvas) monthAxes(f *frame, d *InstrumentYear, up string) {
	c.font(small, false)
	c.at(f.x-10, f.y-1.8, up)
	for _, v := range f.ticks() {
		y := f.py(v)
		c.stroke(0.06, 185)
		c.pdf.Line(f.x, y, f.x+f.w, y)
		c.right(f.x-1.2, y+0.9, tick(v))
	}
	for m := range 12 {
		from := d.From.AddDate(0, m, 0)
		x := f.px(from.Sub(d.From).Hours() / 24)
		c.stroke(0.2, 0)
		c.pdf.Line(x, f.y+f.h, x, f.y+f.h+1)
		c.middle(x+f.w/24, f.y+f.h+3.6, from.Format("Jan"))
	}
	c.stroke(0.2, 0)
	c.pdf.Line(f.x, f.y, f.x, f.y+f.h)
	c.pdf.Line(f.x, f.y+f.h, f.x+f.w, f.y+f.h)
}

func (c *canvas) dueTable(d *InstrumentYear) {
	if len(d.History.Due) == 0 {
		return
	}
	c.heading("Due")
	var rows [][]string
	for _, x := range d.History.Due {
		word := "due"
		if x.At.Before(d.History.Now.Time) {
			word = "overdue"
		}
		last := notRecorded
		if x.LastAt != nil {
			last = x.LastAt.In(d.Zone).Format("2006-01-02")
			if x.LastOutcome != "" {
				last += ", " + x.LastOutcome
			}
		}
		rows = append(rows, []string{cmp.Or(againstTitles[x.Against], "any"), word + " " + x.At.In(d.Zone).Format("2006-01-02"), significant(x.EveryDays) + " days", last})
	}
	c.table([]column{{"check", 2, false, false}, {"when", 2, false, false}, {"every", 1, false, false}, {"last", 2, false, false}}, rows, 6.6, 0)
}

func (c *canvas) checkTable(d *InstrumentYear) {
	rows := d.rows()[1:]
	if len(rows) == 0 {
		return
	}
	c.heading("Checks")
	var out [][]string
	for _, r := range rows {
		after := r[9]
		if r[8] != "" {
			after = "sensor renewed; " + after
		} else if r[7] != "" {
			after = "adjusted; " + after
		}
		at, err := time.Parse(time.RFC3339, r[0])
		when := r[0]
		if err == nil {
			when = at.In(d.Zone).Format("01-02 15:04")
		}
		off := r[2]
		if v, err := strconv.ParseFloat(off, 64); err == nil {
			off = significant(v) + " " + r[3]
		}
		out = append(out, []string{when, r[1], off, r[5], r[6], strings.TrimSuffix(after, "; ")})
	}
	c.table([]column{{"month-day", 1.3, false, false}, {"against", 2, false, false}, {"off", 1.3, true, false}, {"outcome", 1, false, false}, {"by", 1, false, false}, {"after it, note", 4.4, false, false}}, out, 6.4, 0)
}
