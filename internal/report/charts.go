package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"ullage/internal/lab"
)

// timeChart shows every reading of a run over the time of closing, with limits
// and events, all named on the chart.
func (c *canvas) timeChart(d *Data, h float64) {
	c.room(h + 14)
	from, to := d.Run.StartedAt.Time, d.ends()
	for i := range d.Samples {
		if t := at(&d.Samples[i]); t.Before(from) {
			from = t
		}
	}
	if !to.After(from) {
		to = from.Add(time.Hour)
	}
	f := &frame{x: margin + 11, y: c.y + 10, w: c.w - 2*margin - 11 - 23, h: h, x1: to.Sub(from).Minutes() * 1.01}
	l := d.limit("tpo")
	tpo := d.readings("shaken")
	must := append(append(append([]float64{}, tpo...), d.readings("unshaken")...), d.readings("inlet")...)
	log := skewed(must)
	for i := range d.Samples {
		if v, u := tpoOf(&d.Samples[i]); v > 0 && len(tpo) <= 120 && !d.setAside(&d.Samples[i]) {
			must = append(must, v+2*u)
		}
	}
	f.valueAxis(log, append(must, value(l.MeanGreenPpb), value(l.SingleGreenPpb), value(l.SingleRedPpb))...)
	c.drawFrame(f, "ppb")
	c.clockTicks(f, from, to, d.Zone)
	c.limitLevels(f, l)
	c.eventMarks(d, f, from)
	c.readingMarks(d, f, from, len(tpo) <= 120)
	list := []keyed{}
	direct, calculated := d.ways()
	if calculated > 0 || direct == 0 {
		list = append(list, keyed{disc, "TPO, calculated" + whiskerWords(len(tpo))})
	}
	if direct > 0 {
		list = append(list, keyed{ring, "TPO, read directly"})
	}
	if len(d.readings("unshaken")) > 0 {
		list = append(list, keyed{square, "unshaken DO"})
	}
	if len(d.readings("inlet")) > 0 {
		list = append(list, keyed{triangle, "inlet DO"})
	}
	c.key(f.x, f.y+f.h+8, list...)
	var notes []string
	if log {
		notes = append(notes, "log axis: the readings are skewed")
	}
	if n := len(d.judgement().Aside); n > 0 {
		notes = append(notes, fmt.Sprintf("%d set aside, not drawn", n))
	}
	c.right(c.w-margin, f.y+f.h+8, strings.Join(notes, "; "))
	if len(must) == 0 {
		c.font(normal, false)
		c.middle(f.x+f.w/2, f.y+f.h-2, "no reading is recorded yet")
	}
	c.y = f.y + f.h + 9.5
}

func whiskerWords(n int) string {
	if n > 0 && n <= 120 {
		return " with its 95 % interval"
	}
	return ""
}

// limitLevels draws the TPO limits; names that would overprint are joined.
func (c *canvas) limitLevels(f *frame, l lab.LimitInForce) {
	list := []struct {
		v    *float64
		name string
		dash []float64
	}{{l.SingleRedPpb, "single, red", nil}, {l.SingleGreenPpb, "single", []float64{0.6, 0.9}}, {l.MeanGreenPpb, "mean", []float64{2.4, 1}}}
	last := math.Inf(-1)
	for _, x := range list {
		if x.v == nil || *x.v <= 0 {
			continue
		}
		y := f.py(*x.v)
		name := x.name + " " + brief(x.v)
		if y-last < 2.9 {
			name = ""
		}
		last = y
		c.level(f, *x.v, name, x.dash...)
	}
}

var eventLetters = map[string]string{"start": "start", "stop": "stop", "restart": "restart", "tank_change": "tank change",
	"gas_change": "gas change", "adjustment": "adjustment", "end": "end"}

// eventMarks draws events as lines from the top, their names in three rows.
func (c *canvas) eventMarks(d *Data, f *frame, from time.Time) {
	free := [3]float64{}
	c.font(small, false)
	for _, e := range d.Events {
		word, ok := eventLetters[e.EventKind]
		x := f.px(e.At.Sub(from).Minutes())
		if !ok || x < f.x-0.5 || x > f.x+f.w+0.5 {
			continue
		}
		c.stroke(0.18, 90, 0.4, 0.8)
		c.pdf.Line(x, f.y, x, f.y+f.h)
		c.stroke(0.18, 0)
		w := c.width(word)
		left := math.Min(x, f.x+f.w-w)
		for row := range free {
			if left >= free[row] {
				c.at(left, f.y-0.8-float64(row)*2.7, word)
				free[row] = left + w + 1.5
				break
			}
		}
	}
}

func (c *canvas) readingMarks(d *Data, f *frame, from time.Time, whiskers bool) {
	r := 0.85
	if len(d.Samples) > 150 {
		r = 0.55
	}
	for i := range d.Samples {
		s := &d.Samples[i]
		if d.setAside(s) {
			continue
		}
		x := f.px(at(s).Sub(from).Minutes())
		v, u := tpoOf(s)
		switch {
		case v > 0:
			if whiskers && u > 0 && s.Result.TPOLow95Ppb != nil && s.Result.TPOHigh95Ppb != nil {
				c.stroke(0.15, 90)
				c.pdf.Line(x, f.py(math.Max(*s.Result.TPOLow95Ppb, f.y0)), x, f.py(*s.Result.TPOHigh95Ppb))
			}
			if s.Result.IsDirect() {
				c.mark(ring, x, f.py(v), r)
			} else {
				c.mark(disc, x, f.py(v), r)
			}
		case s.SampleKind == "unshaken" && s.Inputs.DOPpb != nil:
			c.mark(square, x, f.py(*s.Inputs.DOPpb), r*0.9)
		case s.SampleKind == "inlet" && s.Inputs.DOPpb != nil:
			c.mark(triangle, x, f.py(*s.Inputs.DOPpb), r)
		}
	}
}

// headChart shows the packages of each head, their mean, and the decision lines
// of the analysis of means.
func (c *canvas) headChart(d *Data, rows []headRow, x, y, w, h float64) {
	f := &frame{x: x + 11, y: y + 6, w: w - 12, h: h - 14, x0: 0.4, x1: float64(len(rows)) + 0.6}
	must := d.readings("shaken")
	log := skewed(must)
	for _, r := range rows {
		if r.topLine > 0 {
			must = append(must, r.topLine)
		}
	}
	f.valueAxis(log, must...)
	name := "TPO by head, ppb"
	if log {
		name += " (log axis)"
	}
	c.drawFrame(f, name)
	every := int(math.Ceil(float64(len(rows)) * 4.5 / f.w))
	for i, r := range rows {
		px := f.px(float64(i + 1))
		if i%max(every, 1) == 0 {
			c.font(small, false)
			c.middle(px, f.y+f.h+3.4, strconv.Itoa(r.head))
		}
		half := math.Min(3, f.w/float64(len(rows))*0.4)
		if r.topLine > 0 {
			c.stroke(0.15, 60, 0.5, 0.6)
			c.pdf.Line(px-half*1.2, f.py(r.topLine), px+half*1.2, f.py(r.topLine))
			c.pdf.Line(px-half*1.2, f.py(math.Max(r.lowLine, f.y0)), px+half*1.2, f.py(math.Max(r.lowLine, f.y0)))
		}
		for _, v := range r.values {
			c.mark(ring, px, f.py(v), 0.6)
		}
		if r.tpo.n > 0 {
			c.stroke(0.7, 0)
			c.pdf.Line(px-half, f.py(r.tpo.mean), px+half, f.py(r.tpo.mean))
		}
		if r.outside == "above" {
			c.font(small, true)
			c.middle(px, f.py(r.tpo.high)-1.6, "above")
		}
	}
	c.stroke(0.2, 0)
	c.font(small, false)
	c.at(f.x, f.y+f.h+6.6, c.fit("○ package   — mean of the head   ┄ decision lines (5 % over all heads)", f.w))
}

// splitChart is a waterfall from the tank to TPO, ppb of the run's means.
func (c *canvas) splitChart(s *split, x, y, w, h float64) {
	c.font(small, false)
	if s == nil {
		c.at(x, y+4, "Where it came from: no TPO is recorded.")
		return
	}
	type bar struct {
		name     string
		from, to float64
		grey     int
	}
	var bars []bar
	was := 0.0
	add := func(name string, v float64, grey int) {
		bars = append(bars, bar{name, was, was + v, grey})
		was += v
	}
	switch {
	case s.tank != nil:
		add("tank", *s.tank, 95)
		add("line", *s.line, 145)
	case s.inlet != nil:
		add("tank and line", *s.inlet, 120)
	}
	if s.pickup != nil {
		add("liquid at the filler", *s.pickup, 170)
	} else if s.headspace != nil {
		add("tank, line, filler", s.tpo-*s.headspace, 145)
	}
	if s.headspace != nil {
		add("headspace", *s.headspace, 215)
	} else {
		add("not resolved", s.tpo-was, 255)
	}
	bars = append(bars, bar{"TPO", 0, s.tpo, 60})
	f := &frame{x: x + 11, y: y + 6, w: w - 12, h: h - 14, x1: float64(len(bars))}
	must := []float64{s.tpo}
	for _, b := range bars {
		must = append(must, b.from, b.to)
	}
	f.valueAxis(false, must...)
	c.drawFrame(f, "where it came from, mean, ppb")
	for i, b := range bars {
		left, wide := f.px(float64(i)+0.14), f.px(0.72)-f.px(0)
		top, low := f.py(math.Max(b.from, b.to)), f.py(math.Min(b.from, b.to))
		c.pdf.SetFillColor(b.grey, b.grey, b.grey)
		c.stroke(0.2, 0)
		c.pdf.Rect(left, top, wide, math.Max(low-top, 0.2), "FD")
		c.font(small, true)
		text := digits(b.to-b.from, 1)
		if i > 0 && i < len(bars)-1 && b.to >= b.from {
			text = "+" + text
		}
		c.middle(left+wide/2, top-0.8, text)
		c.font(small, false)
		for k, l := range c.lines(b.name, f.w/float64(len(bars))-0.5) {
			c.middle(left+wide/2, f.y+f.h+3.2+2.7*float64(k), l)
		}
		if i < len(bars)-2 {
			c.stroke(0.12, 90, 0.5, 0.5)
			c.pdf.Line(left+wide, f.py(b.to), f.px(float64(i)+1.14), f.py(b.to))
			c.stroke(0.12, 0)
		}
	}
}
