package demo

import (
	"fmt"
	"time"

	"ullage/core/oxygen"
	"ullage/core/quantity"
	"ullage/internal/lab"
)

// weightOf beer in air, g, at t °C: the inverse of oxygen.VolumeFromWeight.
func weightOf(ml, sg, t float64) float64 {
	density := oxygen.BeerDensity(quantity.SpecificGravity(sg), quantity.Temperature(t))
	perGram := oxygen.VolumeFromWeight(1, density, airDensity)
	return ml / float64(perGram)
}

// written is a run that has been told.
type written struct {
	run  *lab.Run
	rev  int
	ends time.Time // of the last write
}

// run tells one run. At once: it is entered when it is over, in one go.
// Sets read after until are not there yet; with open the run is still going.
func (b *builder) run(s script, start time.Time, atOnce, open bool) written {
	key := s.name
	if key == "" {
		key = start.UTC().Format(time.RFC3339) + s.line
	}
	line, beer := b.plants[s.line], brewOf(s.beer)
	lotID, geo := b.lotFor(s.format, start)
	c := &recorder{b: b, s: &s, r: stream(b.seed, "reading "+key), brew: beer, start: start, runID: b.id(start), by: b.ref("tech"), meter: line.meter,
		g: &generator{r: stream(b.seed, "packages "+key), proc: s.proc, geo: geo, line: line, effect: s.effect, stops: s.stops,
			standing: s.standing, uptake: beer.consumption}}
	if s.meter != "" {
		c.meter = s.meter
	}
	lent := ""
	if s.direct {
		c.direct, lent = stream(b.seed, "direct "+key), b.ref("direct")
	}
	run := &lab.Run{Meta: meta(c.runID, b.ref("lead"), "phone 1", start), BeerID: b.ref(s.beer), FormatID: b.ref(s.format), FormatLotID: lotID,
		LineID: b.ref(s.line), BatchID: b.newBatch(s, start, open), Code: fmt.Sprintf("%02d%03d %s", start.Year()%100, start.YearDay(), s.line),
		StartedAt: lab.At(start), Status: "going", DOMeterID: b.ref(c.meter), ScaleID: b.ref(line.scale), ThermometerID: b.ref("probe"), TPOMeterID: lent,
		SampleEveryMin: lab.Num(s.every), Note: s.note, MeasuredBy: "calculated", StandIn: s.standIn}
	say := b.add
	var all []write
	if atOnce {
		say = func(_ time.Time, ws ...write) { all = append(all, ws...) }
	}
	say(start, write{record: run})
	b.sum.Runs++
	b.events(c, s, say, open)
	ends := b.enterSets(c, say, open)
	w := written{run, 1, ends}
	if !open {
		if over := minutes(start, s.minutes+2); over.After(w.ends) {
			w.ends = over
		}
		ended := *run
		ended.DeviceAt = lab.At(w.ends)
		ended.Status, ended.EndedAt = "ended", lab.At(minutes(start, s.minutes))
		say(w.ends.Add(time.Minute), write{&ended, 1})
		w.run, w.rev = &ended, 2
	}
	if atOnce {
		b.add(w.ends.Add(2*time.Minute), all...)
	}
	return w
}

func (b *builder) enterSets(c *recorder, say func(time.Time, ...write), open bool) (ends time.Time) {
	for i, x := range c.s.plan(c.g.line, open) {
		entries, last := c.set(i+1, x)
		if open && last.Add(time.Minute).After(b.now) {
			break
		}
		var ws []write
		for _, e := range entries {
			ws = append(ws, write{record: e.sample})
			if e.corrected != nil {
				say(e.corrected.DeviceAt.Add(time.Second), write{e.corrected, 1})
			}
		}
		b.sum.Samples += len(entries)
		say(last.Add(time.Minute), ws...)
		ends = last.Add(time.Minute)
	}
	return ends
}

// events tells start, stops, what else happens, and the end.
func (b *builder) events(c *recorder, s script, say func(time.Time, ...write), open bool) {
	list := []happening{{0, "start", "first good package"}}
	for _, x := range s.stops {
		list = append(list, happening{x.at, "stop", x.why}, happening{x.restart(), "restart", ""})
	}
	list = append(list, s.happenings...)
	if !open {
		list = append(list, happening{s.minutes, "end", ""})
	}
	for _, h := range list {
		at := minutes(c.start, h.at)
		e := &lab.Event{Meta: meta(b.id(at), b.ref("lead"), "phone 2", at.Add(15*time.Second)), RunID: c.runID,
			EventKind: h.kind, At: lab.At(at), Note: h.note}
		say(at.Add(20*time.Second), write{record: e})
		b.sum.Events++
	}
}

// decide puts the lot of a run on hold, or releases it.
func (b *builder) decide(w written, at time.Time, state, reason string) written {
	r := *w.run
	r.By, r.DeviceID, r.DeviceAt = b.ref("head"), "desk", lab.At(at)
	r.Hold = lab.Hold{State: state, Reason: reason}
	b.add(at.Add(time.Second), write{&r, w.rev})
	return written{&r, w.rev + 1, at}
}
