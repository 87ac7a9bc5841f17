package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ullage/core/stats"
	"ullage/internal/lab"
)

// tpoOf is the TPO of a sample and its standard uncertainty; 0 where it has none.
func tpoOf(s *lab.Sample) (tpo, u float64) {
	if !s.IsPackage() || s.Result == nil || s.Result.TPOPpb == nil {
		return 0, 0
	}
	if s.Result.TPOUPpb != nil {
		u = *s.Result.TPOUPpb
	}
	return *s.Result.TPOPpb, u
}

// readings are the values of one kind of sample that hold a number: the TPO of
// packages that counts, calculated or read directly, for the kind shaken; unshaken
// DO, inlet DO. Those that the judgement sets aside,
// a slip of the unit, are left out; they stay in the list of every reading.
func (d *Data) readings(kind string) (out []float64) {
	for i := range d.Samples {
		s := &d.Samples[i]
		if s.SampleKind != kind && !(kind == "shaken" && s.IsPackage()) || d.setAside(s) {
			continue
		}
		if v, _ := tpoOf(s); kind == "shaken" && v > 0 {
			out = append(out, v)
		} else if kind != "shaken" && s.Inputs.DOPpb != nil {
			out = append(out, *s.Inputs.DOPpb)
		}
	}
	return out
}

// limit of a quantity as it stood when the run began.
func (d *Data) limit(quantity string) lab.LimitInForce {
	for _, l := range d.Run.InForce.Limits {
		if l.Quantity == quantity {
			return l
		}
	}
	return lab.LimitInForce{Quantity: quantity}
}

// summary of a list of readings, ppb.
type summary struct {
	n               int
	mean, high, low float64
	low95, high95   float64 // of the mean; 0 with fewer than two
}

func summarize(x []float64) (s summary) {
	if s.n = len(x); s.n == 0 {
		return s
	}
	s.high, s.low = slices.Max(x), slices.Min(x)
	for _, v := range x {
		s.mean += v / float64(s.n)
	}
	if e, err := stats.Mean(x, stats.Positive, 0.95); err == nil && s.n > 1 {
		// The interval is of the mean of the fitted distribution; it is moved onto
		// the plain mean, as core/verdict does with its bound.
		k := s.mean / e.Mean
		s.low95, s.high95 = e.Interval.Low*k, e.Interval.High*k
	}
	return s
}

func (s summary) text() string {
	switch {
	case s.n == 0:
		return notRecorded
	case s.high95 == 0:
		return digits(s.mean, s.mean/20) + " ppb, one reading"
	}
	u := (s.high95 - s.low95) / 4
	return fmt.Sprintf("%s ppb (95 %% interval of the mean %s to %s), n = %d", digits(s.mean, u), digits(s.low95, u), digits(s.high95, u), s.n)
}

// digits prints v to two significant digits of its standard uncertainty u.
func digits(v, u float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	places := 1
	if u > 0 {
		places = 1 - int(math.Floor(math.Log10(u)))
	}
	if places < 0 {
		scale := math.Pow(10, float64(-places))
		v, places = math.Round(v/scale)*scale, 0
	}
	return strings.Replace(strconv.FormatFloat(v, 'f', min(places, 3), 64), "-", "−", 1)
}

// plain prints a number as it is recorded; nil is not recorded.
func plain(p *float64, unit string) string {
	if p == nil {
		return notRecorded
	}
	return strings.TrimSpace(strconv.FormatFloat(*p, 'f', -1, 64) + " " + unit)
}

// brief prints a number for a table; nil is empty.
func brief(p *float64) string {
	if p == nil {
		return ""
	}
	return strconv.FormatFloat(*p, 'f', -1, 64)
}

// or gives the text, or that there is none.
func or(s string) string { return cmp.Or(strings.TrimSpace(s), notRecorded) }

func (d *Data) day(t time.Time) string {
	if t.IsZero() {
		return notRecorded
	}
	return t.In(d.Zone).Format("2006-01-02")
}

func (d *Data) moment(t time.Time) string {
	if t.IsZero() {
		return notRecorded
	}
	return t.In(d.Zone).Format("2006-01-02 15:04")
}

func (d *Data) clock(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(d.Zone).Format("15:04")
}

// ends is when the run ended, or when its last record was made.
func (d *Data) ends() time.Time {
	if !d.Run.EndedAt.IsZero() {
		return d.Run.EndedAt.Time
	}
	end := d.Run.StartedAt.Time
	for i := range d.Samples {
		if t := at(&d.Samples[i]); t.After(end) {
			end = t
		}
	}
	if n := len(d.Events); n > 0 && d.Events[n-1].At.After(end) {
		end = d.Events[n-1].At.Time
	}
	return end
}

// stop is a standstill of the line. To is zero while it stands.
type stop struct {
	from, to time.Time
	why      string
}

func (d *Data) stops() (out []stop) {
	for _, e := range d.Events {
		switch e.EventKind {
		case "stop":
			out = append(out, stop{from: e.At.Time, why: e.Note})
		case "restart", "end":
			if n := len(out); n > 0 && out[n-1].to.IsZero() {
				out[n-1].to = e.At.Time
			}
		}
	}
	return out
}

// running is the time the line ran, less its stops.
func (d *Data) running() time.Duration {
	end := d.ends()
	total := end.Sub(d.Run.StartedAt.Time)
	for _, s := range d.stops() {
		to := s.to
		if to.IsZero() {
			to = end
		}
		total -= to.Sub(s.from)
	}
	return max(0, total)
}

// packages made, by the speed of the line; 0 where that is not recorded.
func (d *Data) packages() float64 {
	if d.Line.PackagesPerMin == nil {
		return 0
	}
	return math.Round(d.running().Minutes() * *d.Line.PackagesPerMin)
}

// hectolitres packaged, by the speed of the line and the nominal volume.
func (d *Data) hectolitres() float64 {
	if d.Run.InForce.NominalML == nil {
		return 0
	}
	return d.packages() * *d.Run.InForce.NominalML / 1e5
}

// headRow is one head in a table. Ratio is to the mean of all, 0 without one.
type headRow struct {
	head             int
	tpo, unshaken    summary
	values           []float64
	ratio            float64
	outside          string
	lowLine, topLine float64 // decision lines of the analysis of means; 0: none
}

// heads are the rows of all heads of the line and of any other that was typed.
func (d *Data) heads() []headRow {
	tpo, unshaken := map[int][]float64{}, map[int][]float64{}
	for h := 1; h <= d.Line.Heads; h++ {
		tpo[h] = nil
	}
	for i := range d.Samples {
		s := &d.Samples[i]
		if d.setAside(s) {
			continue
		}
		if v, _ := tpoOf(s); v > 0 && s.Head > 0 {
			tpo[s.Head] = append(tpo[s.Head], v)
		}
		if s.SampleKind == "unshaken" && s.Head > 0 && s.Inputs.DOPpb != nil {
			unshaken[s.Head] = append(unshaken[s.Head], *s.Inputs.DOPpb)
		}
	}
	all := summarize(d.readings("shaken"))
	var rows []headRow
	for h, x := range tpo {
		r := headRow{head: h, tpo: summarize(x), unshaken: summarize(unshaken[h]), values: x}
		if all.mean > 0 && len(x) > 0 {
			r.ratio = r.tpo.mean / all.mean
		}
		rows = append(rows, r)
	}
	slices.SortFunc(rows, func(a, b headRow) int { return a.head - b.head })
	decisionLines(rows)
	return rows
}

// decisionLines adds the analysis of means at an overall risk of 5 %, over the
// heads that were sampled.
func decisionLines(rows []headRow) {
	var groups [][]float64
	var of []int
	for i := range rows {
		if len(rows[i].values) > 0 {
			groups = append(groups, rows[i].values)
			of = append(of, i)
		}
	}
	if len(groups) < 2 {
		return
	}
	a, err := stats.ANOM(groups, stats.Positive, 0.05)
	if err != nil { // no head was sampled twice, or no spread: no lines
		return
	}
	for k, i := range of {
		g := a.Groups[k]
		rows[i].outside, rows[i].lowLine, rows[i].topLine = g.Outside, g.Lower, g.Upper
	}
}

// split is the mean TPO by where it came in, ppb; nil where a reading is missing.
type split struct {
	tank, line, inlet, pickup, headspace *float64
	tpo                                  float64
}

func (d *Data) split() *split {
	tpo, unshaken, inlet := d.readings("shaken"), d.readings("unshaken"), d.readings("inlet")
	if len(tpo) == 0 {
		return nil
	}
	s := &split{tpo: summarize(tpo).mean}
	if len(inlet) > 0 {
		s.inlet = lab.Num(summarize(inlet).mean)
		if tank := lab.TankReadings(&d.Run, d.eventList(), d.Readings); len(tank) > 0 {
			line, n := 0.0, 0.0
			for i := range d.Samples {
				x := &d.Samples[i]
				if x.SampleKind != "inlet" || x.Inputs.DOPpb == nil || d.setAside(x) {
					continue
				}
				if v, ok := lab.TankAt(&d.Run, d.eventList(), tank, x.TakenAt.Time); ok {
					line, n = line+*x.Inputs.DOPpb-v, n+1
				}
			}
			if n > 0 {
				s.line, s.tank = lab.Num(line/n), lab.Num(*s.inlet-line/n)
			}
		}
	}
	if len(unshaken) > 0 {
		u := summarize(unshaken).mean
		s.headspace = lab.Num(s.tpo - u)
		if s.inlet != nil {
			s.pickup = lab.Num(u - *s.inlet)
		}
	}
	return s
}

func (d *Data) eventList() []*lab.Event {
	out := make([]*lab.Event, len(d.Events))
	for i := range d.Events {
		out[i] = &d.Events[i]
	}
	return out
}

// delays are the minutes from closing to reading of the shaken packages.
func (d *Data) delays() (out []float64) {
	for i := range d.Samples {
		if s := &d.Samples[i]; s.IsPackage() && !s.ClosedAt.IsZero() {
			out = append(out, s.TakenAt.Sub(s.ClosedAt.Time).Minutes())
		}
	}
	return out
}

// around finds the checks of the meter next before the start and next after the
// end of the run.
func (d *Data) around(checks []*lab.MeterCheck) (before, after *lab.MeterCheck) {
	for _, c := range checks {
		if c.Outcome == "passed" && !c.Proves() {
			continue
		}
		if !c.At.After(d.Run.StartedAt.Time) {
			before = c
		} else if after == nil && !d.Run.EndedAt.IsZero() && !c.At.Before(d.Run.EndedAt.Time) {
			after = c
		}
	}
	return before, after
}
