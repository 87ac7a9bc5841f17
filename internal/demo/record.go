package demo

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"time"

	"ullage/internal/lab"
)

// recorder enters the sets of one run as the people at the line would.
type recorder struct {
	b *builder
	s *script
	g *generator
	r *rand.Rand // of reading and typing
	// Of direct readings; nil where the instrument was not there.
	direct *rand.Rand
	shaken int // packages so far
	brew   brew
	start  time.Time
	runID  string
	by     string
	meter  string

	temperature float64 // as last typed
	typedAt     lab.Time
	read        bool    // in this set already
	ownTemp     float64 // true of the set's packages
}

// entry is one sample, and its correction if it has one.
type entry struct {
	sample    *lab.Sample
	corrected *lab.Sample
}

// pull is one package or one reading at the inlet.
type pull struct {
	kind string
	head int
}

func (x set) pulls() []pull {
	var out []pull
	if x.inlet {
		out = append(out, pull{"inlet", 0})
	}
	paired := map[int]bool{}
	for _, h := range x.shaken {
		for _, u := range x.unshaken {
			if u == h && !paired[h] {
				paired[h] = true
				out = append(out, pull{"unshaken", h})
			}
		}
		out = append(out, pull{"shaken", h})
	}
	for _, u := range x.unshaken {
		if !paired[u] {
			out = append(out, pull{"unshaken", u})
		}
	}
	return out
}

// apart is how far the readings of a set lie apart, min.
const apart = 1.4

// set pulls, reads and enters a set; the last is when the last was read.
func (c *recorder) set(no int, x set) (entries []entry, last time.Time) {
	slip := c.s.slips[no]
	delay := c.g.line.delayMin
	if c.brew.yeast {
		delay = min(delay, 9)
	}
	if slip == late {
		delay = 210
	}
	c.beginSet(x.at, slip)
	for i, p := range x.pulls() {
		closed := x.at + float64(i)*apart
		if x.atOnce {
			closed = x.at + float64(i)*0.1
		}
		taken := max(closed, x.at+float64(i)*apart) + delay
		if p.kind == "inlet" {
			taken = closed
		}
		e := c.enter(no, p, closed, taken, slip)
		c.thermometer(e.sample, x.at)
		e.sample.Note = joinNotes(x.note, e.sample.Note)
		if e.corrected != nil {
			raw := e.sample.Raw
			e.corrected = correct(e.sample, raw["gross"], c.b.ref("tech"))
			e.sample.Raw, e.sample.Inputs.GrossG = mistype(raw)
		}
		entries = append(entries, e)
		last = e.sample.TakenAt.Time
	}
	return entries, last
}

// thermometer adds the temperature: of the beer for the inlet, else as read
// with the set's first package and carried on.
func (c *recorder) thermometer(s *lab.Sample, at float64) {
	typed := func(t float64) {
		s.Raw["temperature"] = strconv.FormatFloat(t, 'f', 1, 64) + " °C"
	}
	if s.SampleKind == "inlet" {
		t := round(normal(c.r, c.s.temperature(at), 0.1), 0.1)
		typed(t)
		s.Inputs.TemperatureC, s.Inputs.TemperatureAt = lab.Num(t), s.TakenAt
		return
	}
	if !c.read && (c.s.carryAfter == 0 || at < c.s.carryAfter) {
		c.read, c.typedAt = true, s.TakenAt
		c.temperature = round(normal(c.r, c.ownTemp, 0.1), 0.1)
		typed(c.temperature)
	}
	s.Inputs.TemperatureC, s.Inputs.TemperatureAt = lab.Num(c.temperature), c.typedAt
}

func joinNotes(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

// beginSet finds the temperature of the set's packages when they are read.
func (c *recorder) beginSet(at float64, slip slip) {
	t := c.s.temperature(at)
	switch {
	case c.g.geo.kind == "keg":
		t++
	case slip == late, c.g.line.bath && !c.brew.yeast:
		t = normal(c.r, 20, 0.2)
	default:
		t = normal(c.r, t+4, 0.3)
	}
	c.ownTemp, c.read = t, false
}

// enter reads one package or the inlet.
func (c *recorder) enter(no int, p pull, closed, taken float64, slip slip) entry {
	at := minutes(c.start, taken)
	s := &lab.Sample{Meta: meta(c.b.id(at), c.by, c.device(), at.Add(20*time.Second)), RunID: c.runID, SetNo: no,
		SampleKind: p.kind, TakenAt: lab.At(at), Raw: map[string]string{}}
	if p.kind == "inlet" {
		c.reading(s, c.g.inlet(closed), noSlip)
		return entry{sample: s}
	}
	s.Head, s.Station = p.head, 1+c.r.IntN(len(c.g.line.stations))
	if c.g.geo.kind == "keg" {
		s.Station = p.head
	}
	s.ClosedAt = lab.At(minutes(c.start, closed))
	f := c.g.one(closed, s.Head, s.Station)
	hours, t := (taken-closed)/60, normal(c.r, c.ownTemp, 0.1)
	if p.kind == "unshaken" {
		c.reading(s, f.unshaken*c.g.left(t, hours), noSlip)
		return entry{sample: s}
	}
	do := c.g.shaken(f, t, hours)
	switch {
	case slip == column:
		do = f.unshaken * c.g.left(t, hours)
	case c.r.Float64() < 0.01:
		do *= uniform(c.r, 1.05, 1.25) // air got in at piercing
		s.Flags = append(s.Flags, "foam")
		s.Note = "foamed at piercing"
	}
	c.reading(s, do, slip)
	if slip != column {
		s.Inputs.ShakeMin, s.Raw["shake"] = lab.Num(5), "5 min"
	}
	c.weigh(s, f, t)
	c.readDirectly(s, f.total*c.g.left(t, hours))
	e := entry{sample: s}
	if slip == mistyped && c.s.slips[no] == mistyped {
		e.corrected = s
		c.s.slips[no] = noSlip // one of the set only
	}
	return e
}

// readDirectly gives every third package the reading of its neighbour by the
// lent instrument, good to the larger of 1 ppb and 2 %.
func (c *recorder) readDirectly(s *lab.Sample, tpo float64) {
	if c.shaken++; c.direct == nil || c.shaken%3 != 1 {
		return
	}
	shown := max(round(normal(c.direct, tpo, max(1, 0.02*tpo)), 1), 0)
	s.Inputs.DirectPpb = lab.Num(shown)
	s.Raw["direct"] = strconv.FormatFloat(shown, 'f', 0, 64) + " ppb"
}

// device is what the run is entered on.
func (c *recorder) device() string {
	if c.s.setHeads > 0 {
		return "bench"
	}
	return "phone 1"
}

// reading is what the meter shows of a true DO, and what is typed of it.
func (c *recorder) reading(s *lab.Sample, do float64, slip slip) {
	step := stepOf(c.meter)
	shown := do + c.b.offset(c.meter, s.TakenAt.Time) + normal(c.r, 0, max(0.8, 0.02*do))
	shown = max(round(shown, step), 0)
	digits := 0
	if step < 1 {
		digits = 1
	}
	if slip == inPpm {
		shown, digits = round(shown, 1)/1000, 3
	}
	s.Inputs.DOPpb = lab.Num(shown)
	s.Raw["do"] = strconv.FormatFloat(shown, 'f', digits, 64) + " ppb"
}

// airDensity around the balance, kg/m³.
const airDensity = 1.2

// weigh adds weights and the fill height.
func (c *recorder) weigh(s *lab.Sample, f filled, t float64) {
	geo := c.g.geo
	gross := f.tare + weightOf(f.beer, c.brew.sg, t)
	s.Inputs.GrossG = lab.Num(round(normal(c.r, gross, 0.04), 0.1))
	s.Raw["gross"] = strconv.FormatFloat(*s.Inputs.GrossG, 'f', 1, 64) + " g"
	s.TareSource = "lot"
	if own := c.r.Float64(); own < 0.06 || (geo.kind == "bottle" && own < 0.25) {
		s.TareSource = "own"
		s.Inputs.TareG = lab.Num(round(normal(c.r, f.tare, 0.04), 0.1))
		s.Raw["tare"] = strconv.FormatFloat(*s.Inputs.TareG, 'f', 1, 64) + " g"
	}
	if geo.neckPerMM > 0 {
		gap := geo.neckGap + (f.headspace-geo.headspace)/geo.neckPerMM
		s.Inputs.GapMM = lab.Num(round(normal(c.r, gap, 0.4), 0.5))
		s.Raw["gap"] = strconv.FormatFloat(*s.Inputs.GapMM, 'f', 1, 64) + " mm"
	}
	if f.beer < geo.nominal-4.5 {
		s.Flags = append(s.Flags, "low_fill")
	}
}

// mistype exchanges the last two digits before the point of a weight.
func mistype(raw map[string]string) (map[string]string, *float64) {
	out := map[string]string{}
	for k, v := range raw {
		out[k] = v
	}
	g := []byte(raw["gross"])
	g[1], g[2] = g[2], g[1]
	out["gross"] = string(g)
	var v float64
	if _, err := fmt.Sscanf(out["gross"], "%f g", &v); err != nil {
		panic("demo: a weight cannot be read back: " + out["gross"])
	}
	return out, &v
}

// correct is the second revision of a sample whose weight was mistyped.
func correct(s *lab.Sample, gross, by string) *lab.Sample {
	c := *s
	c.By = by
	c.DeviceAt = lab.At(s.DeviceAt.Add(6 * time.Minute))
	c.Reason = "gross mistyped: the balance's slip says " + gross
	return &c
}
