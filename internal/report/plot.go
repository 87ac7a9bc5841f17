package report

import (
	"math"
	"strconv"
)

// The plots of studies and instruments: two numeric axes, either of which may
// reach below zero.

// plotFrame makes a frame that holds what must be seen, with some room around.
func plotFrame(x, y, w, h float64, xs, ys []float64) *frame {
	f := &frame{x: x + 11, y: y + 6, w: w - 13, h: h - 14}
	f.x0, f.x1 = extent(xs)
	f.y0, f.y1 = extent(ys)
	return f
}

func extent(v []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, x := range v {
		if !math.IsNaN(x) && !math.IsInf(x, 0) {
			lo, hi = math.Min(lo, x), math.Max(hi, x)
		}
	}
	if lo > hi {
		return 0, 1
	}
	room := 0.06 * (hi - lo)
	if room == 0 {
		room = math.Max(math.Abs(hi)*0.1, 1)
	}
	return lo - room, hi + room
}

// plotAxes draws both axes, their ticks and names.
func (c *canvas) plotAxes(f *frame, across, up string) {
	c.font(small, false)
	c.at(f.x-10, f.y-1.8, up)
	for _, v := range f.ticks() {
		y := f.py(v)
		c.stroke(0.06, 185)
		c.pdf.Line(f.x, y, f.x+f.w, y)
		c.right(f.x-1.2, y+0.9, tick(v))
	}
	step := roundStep((f.x1 - f.x0) / 6)
	for v := math.Ceil(f.x0/step) * step; v <= f.x1+step*1e-9; v += step {
		x := f.px(v)
		c.stroke(0.2, 0)
		c.pdf.Line(x, f.y+f.h, x, f.y+f.h+1)
		c.middle(x, f.y+f.h+3.6, tick(v))
	}
	c.right(f.x+f.w, f.y+f.h+7, across)
	c.stroke(0.2, 0)
	c.pdf.Line(f.x, f.y, f.x, f.y+f.h)
	c.pdf.Line(f.x, f.y+f.h, f.x+f.w, f.y+f.h)
}

func tick(v float64) string {
	if math.Abs(v) < 1e-9 {
		v = 0
	}
	s := strconv.FormatFloat(v, 'g', 4, 64)
	if v < 0 {
		s = "−" + s[1:]
	}
	return s
}

// across draws a level over the plot and names it inside, at the right.
func (c *canvas) across(f *frame, v float64, name string, grey int, dash ...float64) {
	if math.IsNaN(v) || v < f.y0 || v > f.y1 {
		return
	}
	y := f.py(v)
	c.stroke(0.3, grey, dash...)
	c.pdf.Line(f.x, y, f.x+f.w, y)
	c.stroke(0.2, 0)
	if name == "" {
		return
	}
	c.font(small, false)
	w := c.width(name) + 1
	c.pdf.SetFillColor(255, 255, 255)
	c.pdf.Rect(f.x+f.w-w-0.3, y-3, w, 2.6, "F")
	c.right(f.x+f.w-0.8, y-0.8, name)
}

// band shades an interval of the value axis.
func (c *canvas) band(f *frame, lo, hi float64) {
	lo, hi = math.Max(lo, f.y0), math.Min(hi, f.y1)
	if !(lo < hi) {
		return
	}
	c.pdf.SetFillColor(226, 226, 226)
	c.pdf.Rect(f.x, f.py(hi), f.w, f.py(lo)-f.py(hi), "F")
}

// curve draws y(x) over the plot, cut at its edges.
func (c *canvas) curve(f *frame, y func(float64) float64, w float64, dash ...float64) {
	const steps = 120
	c.stroke(w, 0, dash...)
	for i := range steps {
		a, b := f.x0+(f.x1-f.x0)*float64(i)/steps, f.x0+(f.x1-f.x0)*float64(i+1)/steps
		ya, yb := y(a), y(b)
		if math.Min(ya, yb) >= f.y0 && math.Max(ya, yb) <= f.y1 {
			c.pdf.Line(f.px(a), f.py(ya), f.px(b), f.py(yb))
		}
	}
	c.stroke(0.2, 0)
}

// dots draws points.
func (c *canvas) dots(f *frame, kind int, r float64, xs, ys []float64) {
	for i := range xs {
		c.mark(kind, f.px(xs[i]), f.py(ys[i]), r)
	}
}
