package report

import (
	"fmt"
	"math"
	"slices"
)

// studyChart draws the readings of a study with what was fitted through them.
func (c *canvas) studyChart(d *StudyData) {
	const h = 74
	c.room(h + 4)
	w := c.w - 2*margin
	switch d.Study.StudyKind {
	case "tare":
		c.lotChart(d, "empty_g", "weight, g", "tare_g", w, h)
	case "capacity":
		c.lotChart(d, "", "capacity, mL", "capacity_ml", w, h)
	case "neck":
		c.fitChart(d, "gap_mm", "headspace_ml", "rim to liquid, mm", "headspace, mL", w, h, neckLine(d))
	case "shake":
		c.fitChart(d, "shake_min", "shaken_do_ppb", "time of shaking, min", "shaken DO, ppb", w, h, shakeCurve(d))
	case "delay":
		of := "tpo_ppb"
		if len(d.Study.Rows) > 0 && d.Study.Rows[0][of] == nil {
			of = "shaken_do_ppb"
		}
		c.fitChart(d, "delay_min", of, "closing to reading, min", "ppb", w, h, delayCurve(d))
	case "line":
		c.fitChart(d, "flow_ml_min", "do_ppb", "flow, mL/min", "DO, ppb", w, h, flowCurve(d))
	case "repeatability":
		c.operatorChart(d, w, h)
	}
	c.y += h
}

func neckLine(d *StudyData) func(float64) float64 {
	per, ok := d.number("neck_ml_per_mm")
	at, _ := d.number("neck_gap_mm")
	v, _ := d.number("neck_headspace_ml")
	return orNone(ok, func(x float64) float64 { return v + per*(x-at) })
}

func shakeCurve(d *StudyData) func(float64) float64 {
	end, ok := d.number("equilibrium_ppb")
	from, _ := d.number("initial_ppb")
	rate, _ := d.number("rate_per_min")
	return orNone(ok, func(x float64) float64 { return end + (from-end)*math.Exp(-rate*math.Max(x, 0)) })
}

func delayCurve(d *StudyData) func(float64) float64 {
	rate, ok := d.number("rate_per_h")
	from, _ := d.number("at_closing_ppb")
	return orNone(ok, func(x float64) float64 { return from * math.Exp(-rate*x/60) })
}

func flowCurve(d *StudyData) func(float64) float64 {
	without, ok := d.number("do_without_line_ppb")
	per, _ := d.number("ingress_ug_min")
	return orNone(ok, func(x float64) float64 { return without + 1000*per/math.Max(x, 1) })
}

func orNone(ok bool, f func(float64) float64) func(float64) float64 {
	if !ok {
		return func(float64) float64 { return math.NaN() }
	}
	return f
}

// fitChart is a scatter with its curve.
func (c *canvas) fitChart(d *StudyData, x, y, across, up string, w, h float64, fit func(float64) float64) {
	var xs, ys []float64
	for _, r := range d.Study.Rows {
		a, okA := cellNumber(r[x])
		b, okB := cellNumber(r[y])
		if y == "headspace_ml" && !okB { // weighed with water up to the brim
			if b, okB = cellNumber(r["to_brim_g"]); okB {
				b /= 0.998
			}
		}
		if okA && okB {
			xs, ys = append(xs, a), append(ys, b)
		}
	}
	if len(xs) == 0 {
		return
	}
	f := plotFrame(margin, c.y, w, h, append([]float64{0}, xs...), ys)
	c.plotAxes(f, across, up)
	c.curve(f, fit, 0.35)
	c.dots(f, disc, 0.9, xs, ys)
}

// lotChart shows single packages in the order of weighing, one block a lot, with
// mean and spread of the lot in force.
func (c *canvas) lotChart(d *StudyData, field, up, mean string, w, h float64) {
	var ys []float64
	lots := make([]string, 0, len(d.Study.Rows))
	each := eachOf(d)
	for i, r := range d.Study.Rows {
		v, ok := cellNumber(r[field])
		if field == "" && i < len(each) {
			v, ok = each[i], true
		}
		if ok {
			ys, lots = append(ys, v), append(lots, plainCell(r["lot"]))
		}
	}
	if len(ys) == 0 {
		return
	}
	xs := make([]float64, len(ys))
	for i := range xs {
		xs[i] = float64(i + 1)
	}
	f := plotFrame(margin, c.y, w, h, append([]float64{0.5}, xs...), ys)
	m, okM := d.number(mean)
	sd, _ := d.number(map[string]string{"tare_g": "tare_sd_g", "capacity_ml": "capacity_sd_ml"}[mean])
	if okM {
		c.band(f, m-sd, m+sd)
	}
	c.plotAxes(f, "package, in the order of weighing; grey: one standard deviation", up)
	if okM {
		c.across(f, m, "mean "+significant(m), 0)
	}
	c.dots(f, disc, 0.9, xs, ys)
	for i := 1; i < len(lots); i++ {
		if lots[i] != lots[i-1] {
			x := f.px(xs[i] - 0.5)
			c.stroke(0.18, 90, 0.4, 0.8)
			c.pdf.Line(x, f.y, x, f.y+f.h)
			c.stroke(0.2, 0)
			c.font(small, false)
			c.at(x+0.6, f.y+2.4, lots[i])
		}
	}
}

// operatorChart shows every reading of each set, one column for each person.
func (c *canvas) operatorChart(d *StudyData, w, h float64) {
	var people, sets []string
	type point struct {
		set, who int
		v        float64
	}
	var points []point
	index := func(list *[]string, v string) int {
		if i := slices.Index(*list, v); i >= 0 {
			return i
		}
		*list = append(*list, v)
		return len(*list) - 1
	}
	var ys []float64
	for _, r := range d.Study.Rows {
		v, ok := cellNumber(r["reading"])
		if !ok {
			continue
		}
		points = append(points, point{index(&sets, plainCell(r["package"])), index(&people, plainCell(r["operator"])), v})
		ys = append(ys, v)
	}
	if len(points) == 0 {
		return
	}
	f := plotFrame(margin, c.y, w, h, []float64{0.5, float64(len(sets)) + 0.5}, ys)
	f.x0, f.x1 = 0.5, float64(len(sets))+0.5
	c.plotAxes(f, "set of neighbours", "reading")
	kinds := []int{disc, square, triangle, ring}
	for _, p := range points {
		off := (float64(p.who) - float64(len(people)-1)/2) * 0.6 / float64(len(people))
		c.mark(kinds[p.who%len(kinds)], f.px(float64(p.set+1)+off), f.py(p.v), 0.8)
	}
	var names []keyed
	for i, p := range people {
		names = append(names, keyed{kinds[i%len(kinds)], fmt.Sprintf("%.20s", p)})
	}
	c.key(f.x, f.y+f.h+7, names...)
}
