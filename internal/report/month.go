package report

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"ullage/core/stats"
	"ullage/internal/lab"
)

// Month is what was packaged in a calendar month of the brewery's own time.
type Month struct {
	Brewery lab.Brewery
	Zone    *time.Location
	Name    string // 2026-10
	From    time.Time
	Runs    []monthRun // in order of start
	Costs   lab.Month  // causes and hold in hL, as the app's month page has them
}

// monthRun is one run with its judgement.
type monthRun struct {
	d  *Data
	s  summary
	j  Judgement
	hl float64
}

// ReadMonth reads and judges the runs that started in a month such as 2026-10.
func ReadMonth(ctx context.Context, s *lab.Service, month string) (*Month, error) {
	r, err := newReader(ctx, s)
	if err != nil {
		return nil, err
	}
	from, err := time.ParseInLocation("2006-01", month, r.zone)
	if err != nil {
		return nil, wrong("month", month, "is no month", "write it like 2026-10")
	}
	m := &Month{Brewery: r.brewery, Zone: r.zone, Name: month, From: from}
	if m.Costs, err = s.Month(ctx, month); err != nil {
		return nil, err
	}
	packaged := map[string]float64{}
	for _, x := range m.Costs.Runs {
		packaged[x.RunID] = x.HL
	}
	runs, err := list[lab.Run](ctx, s, lab.KindRuns)
	if err != nil {
		return nil, err
	}
	end := from.AddDate(0, 1, 0)
	for _, x := range runs {
		if x.Archived || x.StartedAt.Before(from) || !x.StartedAt.Before(end) {
			continue
		}
		d, err := r.run(ctx, x.ID)
		if err != nil {
			return nil, err
		}
		m.Runs = append(m.Runs, monthRun{d, summarize(d.readings("shaken")), *d.judgement(), packaged[x.ID]})
	}
	slices.SortFunc(m.Runs, func(a, b monthRun) int {
		return cmp.Or(a.d.Run.StartedAt.Compare(b.d.Run.StartedAt.Time), cmp.Compare(a.d.Run.Number, b.d.Run.Number))
	})
	return m, nil
}

// group are the runs of one beer, format and line.
type group struct {
	beer, format, line string
	runs               int
	all, unshaken      summary
	limit              *float64 // single, red
	green              *float64 // mean
	above              int      // packages above the single limit
	ppk                string
	hl                 float64
	stopMin            float64
}

func (m *Month) groups() []group {
	byKey := map[[3]string]*group{}
	values, unshaken := map[[3]string][]float64{}, map[[3]string][]float64{}
	var order [][3]string
	for _, x := range m.Runs {
		k := [3]string{x.d.Beer.Name, x.d.Format.Name, x.d.Line.Name}
		g := byKey[k]
		if g == nil {
			g = &group{beer: k[0], format: k[1], line: k[2]}
			byKey[k] = g
			order = append(order, k)
		}
		l := x.d.limit("tpo")
		g.limit, g.green = l.SingleRedPpb, l.MeanGreenPpb // the newest in force
		g.runs++
		g.hl += x.hl
		for _, s := range x.d.stops() {
			if !s.to.IsZero() {
				g.stopMin += s.to.Sub(s.from).Minutes()
			}
		}
		values[k] = append(values[k], x.d.readings("shaken")...)
		unshaken[k] = append(unshaken[k], x.d.readings("unshaken")...)
	}
	slices.SortFunc(order, func(a, b [3]string) int { return slices.Compare(a[:], b[:]) })
	var out []group
	for _, k := range order {
		g := byKey[k]
		g.all, g.unshaken = summarize(values[k]), summarize(unshaken[k])
		g.ppk = capability(values[k], g.limit)
		for _, v := range values[k] {
			if g.limit != nil && v > *g.limit {
				g.above++
			}
		}
		out = append(out, *g)
	}
	return out
}

// capability is Ppk against the single limit with its 95 % interval.
func capability(x []float64, limit *float64) string {
	if limit == nil || len(x) < 8 {
		return ""
	}
	c, err := stats.Capability(x, stats.Limits{Upper: limit}, stats.CapabilityOptions{Nature: stats.Positive, Level: 0.95})
	if err != nil {
		return ""
	}
	return capabilityText(c)
}

// worst names the head furthest above the others, over the runs of a line.
func (m *Month) worst() (out []string) {
	ratios := map[string]map[int][]float64{}
	for _, x := range m.Runs {
		for _, h := range x.d.heads() {
			if h.ratio > 0 {
				if ratios[x.d.Line.Name] == nil {
					ratios[x.d.Line.Name] = map[int][]float64{}
				}
				ratios[x.d.Line.Name][h.head] = append(ratios[x.d.Line.Name][h.head], h.ratio)
			}
		}
	}
	var lines []string
	for l := range ratios {
		lines = append(lines, l)
	}
	slices.Sort(lines)
	for _, l := range lines {
		best, top, n := 0, 0.0, 0
		for h := 1; h <= 400; h++ {
			if x := ratios[l][h]; len(x) >= 2 {
				if mean := summarize(x).mean; mean > top {
					best, top, n = h, mean, len(x)
				}
			}
		}
		if best > 0 {
			out = append(out, fmt.Sprintf("%s: head %d, on average %.2f times the mean of its run (%d runs)", l, best, top, n))
		}
	}
	return out
}
