package report

import (
	"math"
	"slices"
	"strconv"
	"time"
)

// frame is the plotting area of a chart, in mm, and what its edges stand for.
type frame struct {
	x, y, w, h float64
	x0, x1     float64
	y0, y1     float64
	log        bool
}

func (f *frame) px(v float64) float64 { return f.x + f.w*(v-f.x0)/(f.x1-f.x0) }

func (f *frame) py(v float64) float64 {
	a, b, t := f.y0, f.y1, v
	if f.log {
		a, b, t = math.Log(a), math.Log(b), math.Log(math.Max(v, f.y0))
	}
	return f.y + f.h*(1-(t-a)/(b-a))
}

// skewed tells data that need a log axis: all positive, and a long way from the
// middle to the top.
func skewed(x []float64) bool {
	if len(x) < 3 || slices.Min(x) <= 0 {
		return false
	}
	s := slices.Sorted(slices.Values(x))
	return s[len(s)-1] > 4*s[len(s)/2] && s[len(s)-1] > 8*s[0]
}

// valueAxis fits the axis to what must be seen on it.
func (f *frame) valueAxis(log bool, must ...float64) {
	lo, hi := math.Inf(1), 0.0
	for _, v := range must {
		if v > 0 || !log {
			lo = math.Min(lo, v)
		}
		hi = math.Max(hi, v)
	}
	if hi <= 0 {
		hi = 1
	}
	if f.log = log; log {
		f.y0, f.y1 = lo/1.25, hi*1.3
		return
	}
	f.y0, f.y1 = math.Min(0, lo), hi*1.12
}

// ticks of the value axis: round numbers, at most about six.
func (f *frame) ticks() (out []float64) {
	if f.log {
		for decade := math.Pow(10, math.Floor(math.Log10(f.y0))); decade < f.y1; decade *= 10 {
			for _, m := range []float64{1, 2, 5} {
				if v := decade * m; v >= f.y0 && v <= f.y1 {
					out = append(out, v)
				}
			}
		}
		return out
	}
	step := roundStep((f.y1 - f.y0) / 5)
	for v := math.Ceil(f.y0/step) * step; v <= f.y1+step*1e-9; v += step {
		out = append(out, v)
	}
	return out
}

func roundStep(raw float64) float64 {
	base := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5} {
		if base*m >= raw*0.999 {
			return base * m
		}
	}
	return base * 10
}

// drawFrame draws the axes and the ticks of the value axis, with its name.
func (c *canvas) drawFrame(f *frame, name string) {
	c.font(small, false)
	c.at(f.x-11, f.y-1.5, name)
	for _, v := range f.ticks() {
		y := f.py(v)
		c.stroke(0.06, 185)
		c.pdf.Line(f.x, y, f.x+f.w, y)
		c.right(f.x-1.2, y+0.9, strconv.FormatFloat(v, 'g', 4, 64))
	}
	c.stroke(0.2, 0)
	c.pdf.Line(f.x, f.y, f.x, f.y+f.h)
	c.pdf.Line(f.x, f.y+f.h, f.x+f.w, f.y+f.h)
}

// clockTicks labels a time axis in the zone of the brewery.
func (c *canvas) clockTicks(f *frame, from, to time.Time, zone *time.Location) {
	span := to.Sub(from)
	step := time.Minute
	for _, s := range []time.Duration{5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour, 4 * time.Hour, 12 * time.Hour, 24 * time.Hour, 7 * 24 * time.Hour} {
		if step = s; span/s <= 10 {
			break
		}
	}
	c.font(small, false)
	_, offset := from.In(zone).Zone()
	shift := time.Duration(offset) * time.Second
	for t := from.Add(shift).Truncate(step).Add(-shift); !t.After(to); t = t.Add(step) {
		if t.Before(from) {
			continue
		}
		x := f.px(t.Sub(from).Minutes())
		c.stroke(0.2, 0)
		c.pdf.Line(x, f.y+f.h, x, f.y+f.h+1)
		c.middle(x, f.y+f.h+3.8, t.In(zone).Format("15:04"))
	}
}

// level draws a limit across a chart and names it at the right edge.
func (c *canvas) level(f *frame, v float64, name string, dash ...float64) {
	if v <= 0 || v < f.y0 || v > f.y1 {
		return
	}
	y := f.py(v)
	c.stroke(0.3, 0, dash...)
	c.pdf.Line(f.x, y, f.x+f.w, y)
	c.stroke(0.2, 0)
	c.font(small, false)
	for k, l := range c.lines(name, c.w-margin-f.x-f.w-1) {
		c.at(f.x+f.w+1, y+0.9+float64(k)*2.8, l)
	}
}

// Marks are told apart by shape, never by colour.
const (
	disc = iota
	square
	triangle
	ring
)

func (c *canvas) mark(kind int, x, y, r float64) {
	c.stroke(0.22, 0)
	c.pdf.SetFillColor(0, 0, 0)
	switch kind {
	case disc:
		c.pdf.Circle(x, y, r, "FD")
	case ring:
		c.pdf.SetFillColor(255, 255, 255)
		c.pdf.Circle(x, y, r, "FD")
	case square:
		c.pdf.SetFillColor(255, 255, 255)
		c.pdf.Rect(x-r, y-r, 2*r, 2*r, "FD")
	case triangle:
		c.pdf.MoveTo(x, y-1.2*r)
		c.pdf.LineTo(x+1.1*r, y+r)
		c.pdf.LineTo(x-1.1*r, y+r)
		c.pdf.ClosePath()
		c.pdf.DrawPath("D")
	}
}

// key says what the marks of a chart are.
func (c *canvas) key(x, y float64, list ...keyed) {
	c.font(small, false)
	for _, k := range list {
		c.mark(k.kind, x+1, y-0.9, 0.9)
		c.at(x+3, y, k.name)
		x += c.width(k.name) + 8
	}
}

type keyed struct {
	kind int
	name string
}
