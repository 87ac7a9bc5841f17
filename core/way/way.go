package way

import (
	"slices"
	"time"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// Place is where liquid passes: a vessel, or a point read. Without readings it
// only mixes.
type Place struct {
	ID, Batch, Point, Move, Brew, Run string
	At                                time.Time
	Volume                            float64
	In                                []Link
	Dosed                             float64    // ppb that additions brought by their own figures (eq. 43)
	Ops                               []string   // steps that lead into it
	Rows                              []string   // ids of its readings
	Readings, All                     []*Reading // without first runnings, and with them
	Estimate
	Known bool // it was read
	Flow  float64
}

// Link is a stream into a place; the shares of one place add up to 1.
type Link struct {
	From   int
	Share  float64
	Volume float64
}

// state is what a vessel holds at some moment of the way through its events.
type state struct {
	at     int // place; -1: empty
	volume float64
	wort   bool
}

// Way is the network of places, each after those that its liquid came from.
type Way struct {
	In       *Input
	Shown    map[string]bool
	Places   []Place
	states   map[string]*state
	arriving map[string]int // move → its last place on the giving side
	said     map[string]bool
	Assumed  []string
	Warnings []Warning
	groups   map[string][]*Reading
	names    map[string]int
	Tanks    map[string]int // run → place of the tank that it drew from
}

func newWay(in *Input, shown map[string]bool) *Way {
	return &Way{In: in, Shown: shown, states: map[string]*state{}, arriving: map[string]int{}, said: map[string]bool{}, groups: map[string][]*Reading{}, names: map[string]int{}, Tanks: map[string]int{}}
}

// Assume notes something taken for granted, once.
func (w *Way) Assume(text string) {
	if !w.said[text] {
		w.said[text] = true
		w.Assumed = append(w.Assumed, text)
	}
}

func (w *Way) warn(code, where, message, mend string) {
	w.Warnings = append(w.Warnings, Warning{code, where, message, mend})
}

// Follow makes the way of what is known. It refuses references to nothing,
// numbers that no reading can be and batches that flow in a circle.
func Follow(in *Input) (*Way, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	sorted, err := in.order()
	if err != nil {
		return nil, err
	}
	in.Runs = slices.Clone(in.Runs) // their volumes are bounded by what is left
	w := newWay(in, in.shown())
	w.build(sorted)
	w.volumes()
	w.clocks()
	w.units()
	return w, nil
}

// add puts a place in, with a name of its own that says what it is.
func (w *Way) add(v Place) int {
	name := v.Point
	if name == "" {
		name = "vessel"
	}
	for _, where := range []string{v.Run, v.Move, v.Brew, v.Batch} {
		if where != "" {
			name += "@" + where
			break
		}
	}
	w.names[name]++
	v.ID = name
	if n := w.names[name]; n > 1 {
		v.ID += "#" + quantity.Figure(float64(n))
	}
	w.Places = append(w.Places, v)
	return len(w.Places) - 1
}

// read puts readings into a place.
func (v *Place) read(rows []*Reading) {
	if len(rows) == 0 {
		return
	}
	ByTime(rows)
	v.All, v.Readings, v.Known = rows, rows, true
	if kept := slices.DeleteFunc(slices.Clone(rows), func(r *Reading) bool { return r.FirstRunnings }); len(kept) > 0 {
		v.Readings = kept
	}
	v.Estimate = mean(v.Readings)
	for _, r := range v.Readings {
		v.Rows = append(v.Rows, r.ID)
		if !r.At.IsZero() {
			v.At = r.At
		}
		if r.FlowHLH > 0 {
			v.Flow += r.FlowHLH / float64(len(v.Readings))
		}
	}
}

// event is one thing that happens to a vessel.
type event struct {
	at   time.Time
	rank int
	do   func(s *state)
}

// build makes the places of every batch shown.
func (w *Way) build(sorted []string) {
	for i := range w.In.Readings {
		if r := &w.In.Readings[i]; r.Point != TankGasPoint {
			key := w.locate(r)
			w.groups[key] = append(w.groups[key], r)
		}
	}
	for _, id := range sorted {
		if w.Shown[id] {
			w.vessel(id)
		}
	}
}

// take gives the readings of a place once.
func (w *Way) take(key string) []*Reading {
	rows := w.groups[key]
	delete(w.groups, key)
	return rows
}

// vessel goes through the events of one batch.
func (w *Way) vessel(id string) {
	s := &state{at: -1}
	w.states[id] = s
	if v := w.Filled(id); v > 0 {
		s.volume = 0 // the brews fill it
	} else if !w.receives(id) {
		s.volume = w.In.BatchByID(id).VolumeHL
	}
	events := w.events(id)
	timed := true
	for _, e := range events {
		timed = timed && !e.at.IsZero()
	}
	slices.SortStableFunc(events, func(a, b event) int {
		if timed && !a.at.Equal(b.at) {
			return a.at.Compare(b.at)
		}
		if a.rank != b.rank {
			return a.rank - b.rank
		}
		return Earlier(a.at, b.at)
	})
	for _, e := range events {
		e.do(s)
	}
	if s.at < 0 {
		s.at = w.add(Place{Batch: id, Volume: w.In.BatchByID(id).VolumeHL})
	}
	w.line(s, id)
}

// line places what was read of the line before there is a run.
func (w *Way) line(s *state, id string) {
	at := s.at
	for _, p := range []struct{ point, op string }{{LineStart, StepLine}, {FillerInlet, StepLine}, {Unshaken, StepFilling}, {TPO, StepHeadspace}} {
		if rows := w.take("batch " + id + " " + p.point); len(rows) > 0 {
			v := Place{Batch: id, Point: p.point, Volume: s.volume, In: []Link{{at, 1, s.volume}}, Ops: []string{p.op}}
			v.read(rows)
			at = w.add(v)
		}
	}
}

func (w *Way) receives(id string) bool {
	return slices.ContainsFunc(w.In.Moves, func(m Move) bool { return m.To == id && m.From != id && m.Kind != KindAddition })
}

// events of a batch, unsorted.
func (w *Way) events(id string) []event {
	var list []event
	brews := 0
	for i := range w.In.Brews {
		if b := &w.In.Brews[i]; b.Batch == id {
			brews++
			list = append(list, event{b.At, rank(WortCooled), func(s *state) { w.brew(s, b) }})
		}
	}
	for i := range w.In.Moves {
		m := &w.In.Moves[i]
		switch {
		case m.From == "" && m.To == id:
			at := rank(TankRested) - 5
			if m.Addition != nil && m.Addition.What == "dry_hop" {
				at = rank(DryHopBefore) + 5
			}
			list = append(list, event{m.Started, at, func(s *state) { w.addition(s, m) }})
		case m.From == id && m.To == id:
			list = append(list, event{m.Started, rank(CarbonateBefore) - 1, func(s *state) { w.depart(s, m); w.loop(s, m) }})
		case m.To == id && w.Shown[m.From]:
			list = append(list, event{m.Started, rank(TankAfter) - 1, func(s *state) { w.arrive(s, m) }})
		case m.From == id && (w.Shown[m.To] || m.To == ""):
			list = append(list, event{m.Started, rank(TankBefore), func(s *state) { w.depart(s, m) }})
		}
	}
	for i := range w.In.Runs {
		if r := &w.In.Runs[i]; r.Batch == id {
			held := w.whilePackaged(r)
			list = append(list, event{r.Started, rank(LineStart), func(s *state) { w.run(s, r, held) }})
		}
	}
	for _, point := range Points {
		if point == LineStart || point == FillerInlet || ofPackage(point) {
			continue // a run takes them
		}
		rows := w.take("batch " + id + " " + point)
		if len(rows) == 0 {
			continue
		}
		ByTime(rows)
		parts := [][]*Reading{rows}
		if point == TankHold {
			parts = nil
			for _, stay := range Stays(rows) {
				parts = append(parts, ends(stay)...)
			}
		}
		for _, rows := range parts {
			list = append(list, event{rows[0].At, rank(point), func(s *state) { w.place(s, id, point, rows) }})
		}
	}
	return list
}

// Stays splits the readings of a tank being held, by time, where more than six
// hours lie between two of them.
func Stays(rows []*Reading) [][]*Reading {
	const apart = 6 * time.Hour
	var out [][]*Reading
	for i, r := range rows {
		if i == 0 || r.At.Sub(rows[i-1].At) > apart {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], r)
	}
	return out
}

// ends are the readings of the first and of the last moment.
func ends(stay []*Reading) [][]*Reading {
	first, last := stay[0].At, stay[len(stay)-1].At
	if first.Equal(last) {
		return [][]*Reading{stay}
	}
	var a, b []*Reading
	for _, r := range stay {
		if r.At.Equal(first) {
			a = append(a, r)
		} else if r.At.Equal(last) {
			b = append(b, r)
		}
	}
	return [][]*Reading{a, b}
}

// longHold is the time between readings beyond which holding is a step of its own.
const longHold = 2 * time.Hour

// place is a point read in the vessel itself.
func (w *Way) place(s *state, id, point string, rows []*Reading) {
	v := Place{Batch: id, Point: point, Volume: s.volume}
	if v.Volume <= 0 {
		v.Volume = w.In.BatchByID(id).VolumeHL
	}
	v.read(rows)
	if s.at >= 0 {
		v.In = []Link{{s.at, 1, v.Volume}}
		v.Ops = w.vesselOps(s, point, rows[0].At)
	}
	s.at = w.add(v)
	s.wort = IsWort(point)
}

// vesselOps are the steps between the state of a vessel and a reading in it.
func (w *Way) vesselOps(s *state, point string, at time.Time) []string {
	from := &w.Places[s.at]
	switch {
	case point == WortOxygenated:
		return []string{StepOxygenation}
	case s.wort || point == Pitched12h:
		return []string{StepFermentation}
	case point == DryHop1h || point == DryHop24h || from.Point == DryHopBefore:
		return []string{StepDryHop}
	case point == CarbonateAfter:
		return []string{StepCarbonation}
	case from.Known || !from.At.IsZero() && at.Sub(from.At) > longHold:
		return []string{StepHold}
	}
	return nil // it says what arrived
}

// brew adds a knock-out to what is in the vessel already (eq. 42).
func (w *Way) brew(s *state, b *Brew) {
	last := -1
	for _, point := range []string{WortCooled, WortOxygenated, Pitched12h} {
		rows := w.take("brew " + b.ID + " " + point)
		if point == WortOxygenated && len(rows) == 0 && b.DO != nil {
			rows = []*Reading{{ID: b.ID, Batch: b.Batch, Brew: b.ID, Point: point, At: b.At, DO: *b.DO}}
		}
		if len(rows) == 0 {
			continue
		}
		v := Place{Batch: b.Batch, Brew: b.ID, Point: point, Volume: b.VolumeHL}
		v.read(rows)
		if last >= 0 {
			v.In, v.Ops = []Link{{last, 1, b.VolumeHL}}, []string{StepOxygenation}
		}
		last = w.add(v)
	}
	if last < 0 {
		s.volume += b.VolumeHL
		return
	}
	if s.at < 0 {
		s.at, s.volume, s.wort = last, s.volume+b.VolumeHL, true
		return
	}
	s.at = w.add(Place{Batch: b.Batch, At: b.At, In: w.mix(s, last, b.VolumeHL, w.In.Name(b.Batch)), Volume: s.volume + b.VolumeHL})
	s.volume += b.VolumeHL
	s.wort = true
}

// mix is the shares of what is in a vessel and what comes to it.
func (w *Way) mix(s *state, comes int, volume float64, vessel string) []Link {
	if s.volume <= 0 || volume <= 0 {
		w.Assume("volumes of the streams into " + vessel + " are not all known: taken as equal parts")
		return []Link{{s.at, 0.5, s.volume}, {comes, 0.5, volume}}
	}
	all := s.volume + volume
	return []Link{{s.at, s.volume / all, s.volume}, {comes, volume / all, volume}}
}

// addition brings something from outside (eq. 43).
func (w *Way) addition(s *state, m *Move) {
	if s.at < 0 {
		s.volume += m.VolumeHL
		return
	}
	all := s.volume + m.VolumeHL
	v := Place{Batch: m.To, Move: m.ID, At: m.Started, Volume: all, In: []Link{{s.at, 1, s.volume}}, Ops: []string{StepAddition}}
	if a := m.Addition; a != nil {
		if a.What == "dry_hop" {
			v.Ops = []string{StepDryHop}
		}
		if a.DO != nil && m.VolumeHL > 0 && s.volume > 0 {
			v.In[0].Share = s.volume / all
			v.Dosed = *a.DO * m.VolumeHL / all
		}
		if a.AirML > 0 && all > 0 {
			v.Dosed += a.AirML * oxygen.AirMicrograms(airT) / (all * LitresPerHL)
		}
	}
	s.at, s.volume = w.add(v), all
}
