package lab

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"ullage/core/stats"
)

// CompareQuery chooses the runs to compare and what by. Empty filters take all.
// From and To are days in the brewery's time zone, both included.
type CompareQuery struct {
	By                       string // beer, format, line, head, station, month or run
	BeerID, FormatID, LineID string
	From, To                 string
}

// Comparison is the TPO of groups of packages side by side.
type Comparison struct {
	By     string         `json:"by"`
	Groups []CompareGroup `json:"groups"`
	// Grand is the mean of all groups; a group outside its decision lines (analysis
	// of means, 5 % over all groups) says so. Nil with fewer than two groups.
	Grand  *float64 `json:"grand_mean_ppb"`
	Method string   `json:"method"`
	// Chart is the chart of run means in time; only by run.
	Chart   *RunMeans `json:"chart,omitempty"`
	Slips   int       `json:"set_aside" doc:"readings left out: about 1000 times off the others of their run"`
	Unrated int       `json:"runs_without_tpo"`
}

// CompareGroup is one group.
type CompareGroup struct {
	Key       string   `json:"key"`
	Name      string   `json:"name"`
	StartedAt Time     `json:"started_at,omitzero" doc:"of the first run"`
	Runs      int      `json:"runs"`
	N         int      `json:"n" doc:"packages with TPO"`
	Mean      float64  `json:"mean_tpo_ppb"`
	Low95     *float64 `json:"low95_ppb" doc:"of the mean; runs are the unit where there are several"`
	High95    *float64 `json:"high95_ppb"`
	Max       float64  `json:"max_tpo_ppb"`
	Inlet     *float64 `json:"inlet_ppb" doc:"mean inlet DO"`
	Unshaken  *float64 `json:"unshaken_ppb" doc:"mean unshaken DO"`
	Outside   string   `json:"outside,omitempty" enum:"above,below"`
	Ratio     *float64 `json:"ratio" doc:"to the mean of all groups"`
}

// RunMeans is the individuals chart of run means.
type RunMeans struct {
	Center  float64        `json:"center_ppb"`
	Lower   float64        `json:"lower_ppb"`
	Upper   float64        `json:"upper_ppb"`
	Signals []stats.Signal `json:"signals" doc:"index counts the groups"`
	Method  string         `json:"method"`
	Caution string         `json:"caution,omitempty"`
}

// Bys are what runs can be compared by.
var Bys = []string{"beer", "format", "line", "head", "station", "month", "run"}

type tally struct {
	CompareGroup
	tpo, inlet, unshaken []float64
	runMeans             []float64
}

// Compare gathers packages of the runs chosen into groups.
func (s *Service) Compare(ctx context.Context, q CompareQuery) (Comparison, error) {
	out := Comparison{By: q.By, Groups: []CompareGroup{}}
	if err := s.May(ctx, DoJudge); err != nil {
		return out, err
	}
	runs, zone, err := s.chosen(ctx, q)
	if err != nil {
		return out, err
	}
	names := &namer{s: s}
	groups := map[string]*tally{}
	for _, run := range runs {
		samples, err := records[Sample](ctx, s, Query{Kind: KindSamples, RunID: run.ID})
		if err != nil {
			return out, err
		}
		kept, slips := withoutSlips(samples)
		out.Slips += slips
		if !q.take(ctx, groups, names, run, kept, zone) {
			out.Unrated++
		}
	}
	out.finish(groups)
	return out, nil
}

// chosen are the runs of a query, oldest first.
func (s *Service) chosen(ctx context.Context, q CompareQuery) ([]*Run, *time.Location, error) {
	c := &checker{}
	c.oneOf("by", q.By, Bys...)
	c.date("from", q.From)
	c.date("to", q.To)
	if (q.By == "head" || q.By == "station") && q.LineID == "" {
		c.add("line_id", nil, "is missing", "heads and stations are of one line: name it")
	}
	zone := s.zone(ctx)
	if err := c.err(); err != nil {
		return nil, zone, err
	}
	runs, err := records[Run](ctx, s, Query{Kind: KindRuns})
	if err != nil {
		return nil, zone, err
	}
	runs = slices.DeleteFunc(runs, func(r *Run) bool {
		day := r.StartedAt.In(zone).Format(time.DateOnly)
		return q.BeerID != "" && r.BeerID != q.BeerID || q.FormatID != "" && r.FormatID != q.FormatID || q.LineID != "" && r.LineID != q.LineID ||
			q.From != "" && day < q.From || q.To != "" && day > q.To
	})
	slices.SortStableFunc(runs, func(a, b *Run) int { return a.StartedAt.Compare(b.StartedAt.Time) })
	return runs, zone, nil
}

// zone of the brewery; UTC where none is set or known.
func (s *Service) zone(ctx context.Context) *time.Location {
	b, err := read[Brewery](ctx, s.Store, KindBrewery, BreweryID)
	if err != nil || b.TimeZone == "" {
		return time.UTC
	}
	z, err := time.LoadLocation(b.TimeZone)
	if err != nil {
		return time.UTC
	}
	return z
}

// withoutSlips leaves out readings 300 times and more off the median of their
// kind: typed in another unit.
func withoutSlips(samples []*Sample) (kept []*Sample, slips int) {
	mid := map[string]float64{}
	all := map[string][]float64{}
	for _, s := range samples {
		if v := numOr(cmp.Or(s.Inputs.DOPpb, s.Inputs.DirectPpb), 0); v > 0 {
			all[s.SampleKind] = append(all[s.SampleKind], v)
		}
	}
	for k, x := range all {
		slices.Sort(x)
		mid[k] = x[len(x)/2]
	}
	for _, s := range samples {
		v := numOr(cmp.Or(s.Inputs.DOPpb, s.Inputs.DirectPpb), 0)
		if v > 0 && math.Abs(math.Log(v/mid[s.SampleKind])) > math.Log(300) {
			slips++
			continue
		}
		kept = append(kept, s)
	}
	return kept, slips
}

// take adds a run's packages to their groups; false when none has a TPO.
func (q *CompareQuery) take(ctx context.Context, groups map[string]*tally, names *namer, run *Run, samples []*Sample, zone *time.Location) bool {
	own := map[string][]float64{}
	for _, s := range samples {
		k, name := q.key(ctx, names, run, s, zone)
		if k == "" {
			continue
		}
		g := groups[k]
		if g == nil {
			g = &tally{CompareGroup: CompareGroup{Key: k, Name: name, StartedAt: run.StartedAt}}
			groups[k] = g
		}
		switch {
		case s.SampleKind == "inlet" && s.Inputs.DOPpb != nil:
			g.inlet = append(g.inlet, *s.Inputs.DOPpb)
		case s.SampleKind == "unshaken" && s.Inputs.DOPpb != nil:
			g.unshaken = append(g.unshaken, *s.Inputs.DOPpb)
		case s.Result != nil && numOr(s.Result.TPOPpb, 0) > 0:
			g.tpo = append(g.tpo, *s.Result.TPOPpb)
			own[k] = append(own[k], *s.Result.TPOPpb)
		}
	}
	for k, x := range own {
		groups[k].Runs++
		groups[k].runMeans = append(groups[k].runMeans, meanOf(x))
	}
	return len(own) > 0
}

func (q *CompareQuery) key(ctx context.Context, names *namer, run *Run, s *Sample, zone *time.Location) (key, name string) {
	switch q.By {
	case "beer":
		return run.BeerID, names.of(ctx, KindBeers, run.BeerID)
	case "format":
		return run.FormatID, names.of(ctx, KindFormats, run.FormatID)
	case "line":
		return run.LineID, names.of(ctx, KindLines, run.LineID)
	case "month":
		m := run.StartedAt.In(zone).Format("2006-01")
		return m, m
	case "run":
		return run.ID, fmt.Sprintf("Run %d", run.Number)
	}
	n := s.Head
	if q.By == "station" {
		n = s.Station
	}
	if n == 0 {
		return "", ""
	}
	return strconv.Itoa(n), strconv.Itoa(n)
}

// namer reads names of records once.
type namer struct {
	s    *Service
	seen map[string]string
}

func (n *namer) of(ctx context.Context, k Kind, id string) string {
	if name, ok := n.seen[id]; ok {
		return name
	}
	if n.seen == nil {
		n.seen = map[string]string{}
	}
	name := id
	if body, err := n.s.Get(ctx, k, id); err == nil {
		if r, err := decodeName(body); err == nil {
			name = r
		}
	}
	n.seen[id] = name
	return name
}

func (c *Comparison) finish(groups map[string]*tally) {
	var list []*tally
	for _, g := range groups {
		if len(g.tpo) > 0 {
			list = append(list, g)
		}
	}
	byTime := c.By == "run" || c.By == "month"
	slices.SortFunc(list, func(a, b *tally) int {
		if byTime {
			return cmp.Or(a.StartedAt.Compare(b.StartedAt.Time), cmp.Compare(a.Key, b.Key))
		}
		x, _ := strconv.Atoi(a.Key)
		y, _ := strconv.Atoi(b.Key)
		return cmp.Or(cmp.Compare(x, y), cmp.Compare(a.Name, b.Name))
	})
	var units [][]float64
	var means []float64
	for _, g := range list {
		g.describe(c.By)
		units = append(units, g.units(c.By))
		means = append(means, g.Mean)
	}
	c.outside(list, units)
	for _, g := range list {
		c.Groups = append(c.Groups, g.CompareGroup)
	}
	if c.By == "run" && len(means) >= 2 {
		c.chart(means)
	}
}

// units are what the groups are compared in: run means where a group is many
// runs, since packages of one run are alike; single packages otherwise.
func (g *tally) units(by string) []float64 {
	if by == "run" || by == "head" || by == "station" || g.Runs < 2 {
		return g.tpo
	}
	return g.runMeans
}

func (g *tally) describe(by string) {
	g.N, g.Mean, g.Max = len(g.tpo), meanOf(g.tpo), slices.Max(g.tpo)
	if m, err := stats.Mean(g.units(by), stats.Positive, 0.95); err == nil {
		g.Low95, g.High95 = Num(m.Interval.Low), Num(m.Interval.High)
	}
	if len(g.inlet) > 0 {
		g.Inlet = Num(meanOf(g.inlet))
	}
	if len(g.unshaken) > 0 {
		g.Unshaken = Num(meanOf(g.unshaken))
	}
}

func (c *Comparison) outside(list []*tally, units [][]float64) {
	if len(list) < 2 || c.By == "run" {
		return
	}
	a, err := stats.ANOM(units, stats.Positive, 0.05)
	if err != nil {
		return
	}
	var all []float64
	for _, u := range units {
		all = append(all, u...)
	}
	c.Grand, c.Method = Num(meanOf(all)), "analysis of means, 5 % over all groups, "+string(a.Scale)+" scale"
	for i, g := range list {
		g.Outside = a.Groups[i].Outside
		g.Ratio = Num(a.Groups[i].Mean / a.GrandMean)
	}
}

func (c *Comparison) chart(means []float64) {
	ch, err := stats.Individuals(means, stats.ChartOptions{Nature: stats.Positive, Robust: len(means) >= 8, Rules: stats.WesternElectric()})
	if err != nil {
		return
	}
	c.Chart = &RunMeans{Center: ch.Center, Lower: ch.Points[0].Lower, Upper: ch.Points[0].Upper, Signals: ch.Signals, Method: ch.Method + ", " + string(ch.Scale) + " scale", Caution: ch.Caution}
	if c.Chart.Signals == nil {
		c.Chart.Signals = []stats.Signal{}
	}
}

func meanOf(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}
