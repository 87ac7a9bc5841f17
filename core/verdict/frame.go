package verdict

import (
	"cmp"
	"math"
	"slices"
	"time"

	"ullage/core/uncertainty"
)

// Channels of reading, in the order of the beer.
const (
	inletDO    = "inlet DO"
	unshakenDO = "unshaken DO"
	packageTPO = "TPO"
)

// frame is one channel of a run in the order of closing: what the fit works on.
type frame struct {
	channel      string
	n            int
	of           []int     // index into the samples
	at           []float64 // minutes since the run's zero
	y            []float64 // ln of the reading
	head         []int     // index into heads, -1 without one
	station      []int
	heads        []string
	stationNames []string
	late         []float64 // hours from closing to reading beyond the limit, 0 in time
	low          []bool    // a low fill
}

// run is the input made ready: times in minutes, slips set aside.
type run struct {
	in      *Input
	rules   Rules
	order   []int // samples in order of closing
	zero    time.Time
	end     float64
	first   float64 // minutes of the first and of the last reading
	last    float64
	events  []moment // in order
	aside   []Aside
	slips   []slip
	use     [3][]float64 // per channel and sample: the value, NaN where there is none
	late    []float64    // hours beyond the limit by sample
	lowFill []bool
	state   []int // of each package against the single limit
	fillSD  float64
	fillMid float64
}

type moment struct {
	kind string
	at   float64
}

// slip is a reading typed in the wrong unit.
type slip struct {
	sample        int
	channel       int
	typed, likely float64
}

func newRun(in *Input, rules Rules) *run {
	r := &run{in: in, rules: rules, late: make([]float64, len(in.Samples)), lowFill: make([]bool, len(in.Samples))}
	r.order = make([]int, len(in.Samples))
	for i := range r.order {
		r.order[i] = i
	}
	slices.SortStableFunc(r.order, func(a, b int) int { return in.Samples[a].at().Compare(in.Samples[b].at()) })
	events := slices.Clone(in.Events)
	slices.SortStableFunc(events, func(a, b Event) int { return a.At.Compare(b.At) })
	r.zero = in.Samples[r.order[0]].at()
	for _, e := range events {
		if e.Kind == Start && e.At.Before(r.zero.Add(10*time.Minute)) {
			r.zero = e.At
			break
		}
	}
	r.first, r.last = r.minutes(in.Samples[r.order[0]].at()), r.minutes(in.Samples[r.order[len(r.order)-1]].at())
	r.end = r.last
	for _, e := range events {
		m := moment{e.Kind, r.minutes(e.At)}
		r.events = append(r.events, m)
		if e.Kind == End {
			r.end = math.Max(r.end, m.at)
		}
	}
	for c := range r.use {
		r.use[c] = r.values(c)
	}
	r.findLate()
	r.findLowFills()
	r.judgeSingles()
	return r
}

func (r *run) minutes(t time.Time) float64 { return t.Sub(r.zero).Minutes() }

func (r *run) time(minutes float64) time.Time {
	return r.zero.Add(time.Duration(minutes * float64(time.Minute))).Round(time.Second)
}

// values are the readings of a channel. A unit slip is set aside: a reading 300
// to 3,000 times above or below the median of its kind.
func (r *run) values(c int) []float64 {
	out := make([]float64, len(r.in.Samples))
	var logs []float64
	for i := range r.in.Samples {
		s := &r.in.Samples[i]
		v := math.NaN()
		switch p := [...]*float64{s.Inlet, s.Unshaken, nil}[c]; {
		case c == 2 && s.TPO > 0:
			v = s.TPO
		case p != nil && *p > 0:
			v = *p
		case c == 2 && s.Shaken != nil, p != nil:
			r.aside = append(r.aside, Aside{s.ID, s.at(), channelName(c) + " reads zero: oxygen consumed, or no reading"})
		}
		out[i] = v
		if v > 0 {
			logs = append(logs, math.Log(v))
		}
	}
	if len(logs) < 3 {
		return out
	}
	mid := medianOf(logs)
	for i, v := range out {
		off := math.Log(v) - mid
		if a := math.Abs(off); a > math.Log(300) && a < math.Log(3000) {
			likely := v * math.Pow(1000, -math.Copysign(1, off))
			r.slips = append(r.slips, slip{i, c, v, likely})
			r.aside = append(r.aside, Aside{r.in.Samples[i].ID, r.in.Samples[i].at(), channelName(c) + " " + number(v) + " ppb looks like another unit; meant may be " + number(likely) + " ppb"})
			out[i] = math.NaN()
		}
	}
	return out
}

func channelName(c int) string { return [...]string{inletDO, unshakenDO, packageTPO}[c] }

func (r *run) findLate() {
	for i := range r.in.Samples {
		s := &r.in.Samples[i]
		if s.Closed.IsZero() || s.Taken.IsZero() {
			continue
		}
		limit := r.rules.LateMinutes
		if s.Yeast {
			limit = math.Min(limit, r.rules.YeastMinutes)
		}
		if over := s.Taken.Sub(s.Closed).Minutes(); over > limit {
			r.late[i] = over / 60
		}
	}
}

// findLowFills marks packages that hold 1.2 % less than the median and lie 3.5
// ordinary spreads below it.
func (r *run) findLowFills() {
	var fills []float64
	for i := range r.in.Samples {
		if s := &r.in.Samples[i]; s.FillKnown && s.Beer > 0 {
			fills = append(fills, s.Beer)
		}
	}
	if len(fills) < 5 {
		return
	}
	r.fillMid = medianOf(fills)
	r.fillSD = spreadOf(fills, r.fillMid)
	under := math.Max(0.012*r.fillMid, 3.5*r.fillSD)
	for i := range r.in.Samples {
		s := &r.in.Samples[i]
		r.lowFill[i] = s.FillKnown && s.Beer > 0 && s.Beer < r.fillMid-under
	}
}

// frame makes a channel ready for the fit.
func (r *run) frame(c int) *frame {
	f := &frame{channel: channelName(c)}
	heads, stations := map[string]int{}, map[string]int{}
	place := func(known map[string]int, names *[]string, name string) int {
		if name == "" {
			return -1
		}
		k, ok := known[name]
		if !ok {
			k = len(*names)
			known[name] = k
			*names = append(*names, name)
		}
		return k
	}
	for _, i := range r.order {
		v := r.use[c][i]
		if math.IsNaN(v) {
			continue
		}
		s := &r.in.Samples[i]
		h, st := -1, -1
		if c > 0 {
			h, st = place(heads, &f.heads, s.Head), place(stations, &f.stationNames, s.Station)
		}
		f.of = append(f.of, i)
		f.at = append(f.at, r.minutes(s.at()))
		f.y = append(f.y, math.Log(v))
		f.head = append(f.head, h)
		f.station = append(f.station, st)
		late := 0.0
		if c > 0 {
			late = r.late[i]
		}
		f.late = append(f.late, late)
		f.low = append(f.low, c == 2 && r.lowFill[i])
	}
	f.n = len(f.y)
	return f
}

func medianOf(x []float64) float64 { return median(slices.Clone(x)) }

// median reorders x, by selection: a sort would be most of the work of a fit.
func median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	high := uncertainty.Select(x, n/2)
	if n%2 == 1 {
		return high
	}
	return (slices.Max(x[:n/2]) + high) / 2
}

// spreadOf is the standard deviation by the median absolute deviation.
func spreadOf(x []float64, mid float64) float64 {
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - mid)
	}
	return 1.4826 * median(d)
}

// natural orders numbers as numbers and words after them.
func natural(a, b string) int {
	x, errX := parse(a)
	y, errY := parse(b)
	switch {
	case errX == nil && errY == nil:
		return cmp.Compare(x, y)
	case errX == nil:
		return -1
	case errY == nil:
		return 1
	}
	return cmp.Compare(a, b)
}
