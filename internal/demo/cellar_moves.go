package demo

import (
	"math"
	"time"

	"ullage/internal/lab"
)

// lineGain is what the beer takes up between bright tank and filler, ppb.
const lineGain = 4

// heldTo is the DO of the tank of T4 when its gas was found, ppb.
const heldTo = 49

func sqrt(x float64) float64 { return math.Sqrt(x) }

// cellar tells the way of the newest beers from wort to bright tank.
func (b *builder) cellar() {
	b.cellarLimits()
	fs := fermentations()
	b.schedule(fs)
	b.brewing(fs)
	for _, f := range fs {
		b.ferment(f)
	}
	for _, x := range b.brights {
		b.drawn(x, fs)
	}
	for _, f := range fs {
		if n := len(f.brights); n > 0 {
			f.batch = b.revise(f.batch, &f.rev, b.brightOf(f.brights[n-1]).fill.Add(2*time.Hour), "empty")
		}
	}
}

// cellarLimits are this brewery's own where they are not the starting points.
func (b *builder) cellarLimits() {
	at := b.begins.AddDate(0, 0, -4).Add(11 * time.Hour)
	var ws []write
	add := func(x lab.CellarLimit) {
		x.Meta = meta(b.cellarID(at), b.ref("head"), "desk", at)
		ws = append(ws, write{record: &x})
	}
	add(lab.CellarLimit{What: "point", Point: "tank_rested", GreenPpb: lab.Num(28), RedPpb: lab.Num(50)})
	add(lab.CellarLimit{What: "point", Point: "tank_rested", BeerID: b.ref("quernlight"), GreenPpb: lab.Num(22), RedPpb: lab.Num(40)})
	add(lab.CellarLimit{What: "point", Point: "dry_hop_1h", BeerID: b.ref("dapplewick"), GreenPpb: lab.Num(100), RedPpb: lab.Num(180), Note: "14 g/L from a purged doser"})
	add(lab.CellarLimit{What: "step", Step: "transfer", GreenPpb: lab.Num(18), RedPpb: lab.Num(40)})
	add(lab.CellarLimit{What: "step", Step: "dry_hop", BeerID: b.ref("dapplewick"), GreenPpb: lab.Num(12), RedPpb: lab.Num(30)})
	b.add(at, ws...)
}

// ferment tells the end of a fermentation and the dry hop.
func (b *builder) ferment(f *fermentation) {
	c := &cellarHand{b: b, r: stream(b.seed, "ferment "+f.key), by: "cellar", device: "phone 3", meter: "meter2"}
	f.end = uniform(c.r, 1.5, 4)
	if f.key == "FV12" {
		f.end = 1
	}
	ends := f.made.AddDate(0, 0, 7).Add(3 * time.Hour)
	if f.beer == "quernlight" {
		ends = f.made.AddDate(0, 0, 13).Add(3 * time.Hour)
	}
	if ends.Add(time.Hour).After(b.now) {
		return
	}
	warm := lab.Num(wortC(f.beer) + 1)
	c.read(lab.Reading{BatchID: f.id, Point: "fermentation_end", At: lab.At(ends), TemperatureC: warm}, f.end)
	c.flush(ends.Add(5 * time.Minute))
	f.batch = b.revise(f.batch, &f.rev, ends.Add(10*time.Minute), "maturing")
	if f.dryHop > 0 {
		b.dryHop(c, f, ends.Add(2*time.Hour), warm)
	}
}

// dryHop: 14 g/L brought 190 ppb in the tank of R10 and 35 were left after 20 h;
// a purged doser brings less. Yeast takes up the rest before the transfer.
func (b *builder) dryHop(c *cellarHand, f *fermentation, at time.Time, warm *float64) {
	if at.Add(time.Hour).After(b.now) {
		return
	}
	peak, left, after := f.dryHop*uniform(c.r, 4, 6), f.dryHop*uniform(c.r, 0.7, 1.1), 24*time.Hour
	purge := "doser: 8 cycles of 1 bar CO2"
	if f.key == "F10" {
		peak, left, after, purge = 190, 35, 20*time.Hour, "doser opened for a refill, swept for a minute"
	}
	m := &lab.Move{Meta: meta(b.cellarID(at), b.ref("cellar"), "phone 3", at.Add(10*time.Minute)), MoveKind: "addition", ToBatchID: f.id, StartedAt: lab.At(at),
		EndedAt: lab.At(at.Add(8 * time.Minute)), Purge: purge, Addition: &lab.Addition{What: "dry_hop", AmountKg: lab.Num(round(f.dryHop*f.hl/10, 0.5))}}
	b.add(at.Add(10*time.Minute), write{record: m})
	b.sum.Moves++
	read := func(point string, when time.Time, do float64) {
		c.read(lab.Reading{BatchID: f.id, MoveID: m.ID, Point: point, At: lab.At(when), TemperatureC: warm}, do)
		c.flush(when.Add(2 * time.Minute))
	}
	c.read(lab.Reading{BatchID: f.id, Point: "dry_hop_before", At: lab.At(at.Add(-15 * time.Minute)), TemperatureC: warm}, f.end)
	read("dry_hop_1h", at.Add(time.Hour), peak)
	read("dry_hop_24h", at.Add(after), left)
	f.end = uniform(c.r, 3, 6) + 0.1*left
	if f.key == "FV12" {
		f.end = 1
	}
}

// route is what a beer passes on its way to the bright tank.
func route(beer string) (via []string, flow float64) {
	switch beer {
	case "quernlight":
		return []string{"hose", "filter", "carbonation"}, 35
	case "vellumrook", "thrumbeck":
		return []string{"hose", "centrifuge", "carbonation"}, 60
	}
	return []string{"hose", "pump", "carbonation"}, 40
}

// shares of the pick-up of a transfer: on the way to the machine, in it, in
// carbonation; the rest from there to the tank.
func shares(via []string) (hose, machine, carbonation float64) {
	switch via[1] {
	case "filter":
		return 0.12, 0.62, 0.10
	case "centrifuge":
		return 0.22, 0.48, 0.12
	}
	return 0.62, 0, 0.18
}

// overnight is how long a bright tank rests before its run, h.
const overnight = 17

// drawn tells how a bright tank was filled, from one fermenter or two, and what
// was read in it until its run was over.
func (b *builder) drawn(x *bright, fs []*fermentation) {
	var from []*fermentation
	for _, f := range fs {
		for _, k := range f.brights {
			if k == x.key {
				from = append(from, f)
			}
		}
	}
	rested := x.s.proc.in - lineGain
	if x.key == "H129" {
		rested = 25
	}
	uptake := brewOf(x.s.beer).consumption * math.Pow(2.2, (2-20)/10.)
	filled := rested * math.Exp(uptake*overnight)
	hl := *x.batch.VolumeHL
	at, mixed := x.fill, 0.0
	for _, f := range from {
		mixed += f.end / float64(len(from))
	}
	for i, f := range from {
		t := &transfer{b: b, x: x, f: f, hl: hl / float64(len(from)), start: at.Add(time.Duration(i) * 90 * time.Minute), gain: filled - mixed}
		t.c = &cellarHand{b: b, r: stream(b.seed, "transfer "+x.key+f.key), by: "cellar", device: "phone 3", meter: "meter2"}
		t.tell()
	}
	c := &cellarHand{b: b, r: stream(b.seed, "bright "+x.key), by: "cellar", device: "phone 3", meter: "meter2"}
	full := at.Add(time.Duration(len(from))*90*time.Minute + 10*time.Minute)
	c.read(lab.Reading{BatchID: x.id, Point: "tank_after", At: lab.At(full)}, filled)
	c.flush(full.Add(2 * time.Minute))
	if x.key == "H129" {
		b.holdInBBT2(c, x, full)
	}
	b.packaged(c, x, rested)
}

// holdInBBT2 is story T4: counter gas with air in it, from 25 to 49 ppb in six hours.
func (b *builder) holdInBBT2(c *cellarHand, x *bright, full time.Time) {
	b.sum.Stories["T4"] = x.id
	first := full.Add(2 * time.Hour)
	for h := range 7 {
		c.read(lab.Reading{BatchID: x.id, Point: "tank_hold", At: lab.At(first.Add(time.Duration(h) * time.Hour)), PressureBar: lab.Num(0.9)}, 25+float64(h)*(heldTo-25)/6)
	}
	c.gas(x.id, first.Add(6*time.Hour+5*time.Minute), 0.8)
	c.flush(first.Add(6*time.Hour + 10*time.Minute))
}

// packaged reads the tank before the run and during it, and the line's start.
func (b *builder) packaged(c *cellarHand, x *bright, rested float64) {
	if x.key == "H129" {
		rested = heldTo
	}
	say := func(point string, minute float64, do float64) {
		at := minutes(x.start, minute)
		if x.open && at.Add(5*time.Minute).After(b.now) {
			return
		}
		c.read(lab.Reading{BatchID: x.id, Point: point, At: lab.At(at), PressureBar: lab.Num(round(normal(c.r, 0.8, 0.05), 0.1))}, do)
		c.flush(at.Add(2 * time.Minute))
	}
	say("tank_rested", -40, rested)
	say("line_start", -6, rested+uniform(c.r, 1, 2.5))
	empty := x.s.minutes
	for _, h := range x.s.happenings {
		if h.kind == "tank_change" {
			empty = min(empty, h.at)
		}
	}
	for m := 60.; m < empty; m += 90 {
		say("tank_hold", m, rested+x.s.proc.drift*m/60)
	}
	if !x.open {
		x.batch = b.revise(x.batch, &x.rev, minutes(x.start, x.s.minutes+20), "empty")
	}
}
