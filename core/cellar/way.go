package cellar

import (
	"slices"
	"time"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// vertex is a place that liquid passes. Without readings it only mixes.
type vertex struct {
	id, batch, point, move, brew, run string
	at                                time.Time
	volume                            float64
	in                                []link
	dosed                             float64    // ppb that additions brought by their own figures (eq. 43)
	ops                               []string   // steps that lead into it
	rows                              []string   // ids of its readings
	readings, all                     []*Reading // without first runnings, and with them
	estimate
	known bool // it was read
	flow  float64
}

// link is a stream into a vertex; the shares of one vertex add up to 1.
type link struct {
	from   int
	share  float64
	volume float64
}

// state is what a vessel holds at some moment of the way through its events.
type state struct {
	at     int // vertex; -1: empty
	volume float64
	wort   bool
}

// way is the network of vertices of a map.
type way struct {
	in       *Input
	shown    map[string]bool
	list     []vertex
	states   map[string]*state
	arriving map[string]int // move → its last vertex on the giving side
	said     map[string]bool
	assumed  []string
	warnings []Warning
	groups   map[string][]*Reading
	names    map[string]int
	tanks    map[string]int // run → vertex of the tank that it drew from
}

func newWay(in *Input, shown map[string]bool) *way {
	return &way{in: in, shown: shown, states: map[string]*state{}, arriving: map[string]int{}, said: map[string]bool{}, groups: map[string][]*Reading{}, names: map[string]int{}, tanks: map[string]int{}}
}

func (w *way) assume(text string) {
	if !w.said[text] {
		w.said[text] = true
		w.assumed = append(w.assumed, text)
	}
}

func (w *way) warn(code, where, message, mend string) {
	w.warnings = append(w.warnings, Warning{code, where, message, mend})
}

// follow makes the way of what is known. It refuses references to nothing,
// numbers that no reading can be and batches that flow in a circle.
func follow(in *Input) (*way, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	sorted, err := in.order()
	if err != nil {
		return nil, err
	}
	w := newWay(in, in.shown())
	w.build(sorted)
	w.volumes()
	w.clocks()
	w.units()
	return w, nil
}

// add puts a vertex in, with a name of its own that says what it is.
func (w *way) add(v vertex) int {
	name := v.point
	if name == "" {
		name = "vessel"
	}
	for _, where := range []string{v.run, v.move, v.brew, v.batch} {
		if where != "" {
			name += "@" + where
			break
		}
	}
	w.names[name]++
	v.id = name
	if n := w.names[name]; n > 1 {
		v.id += "#" + quantity.Figure(float64(n))
	}
	w.list = append(w.list, v)
	return len(w.list) - 1
}

// read puts readings into a vertex.
func (v *vertex) read(rows []*Reading) {
	if len(rows) == 0 {
		return
	}
	byTime(rows)
	v.all, v.readings, v.known = rows, rows, true
	if kept := slices.DeleteFunc(slices.Clone(rows), func(r *Reading) bool { return r.FirstRunnings }); len(kept) > 0 {
		v.readings = kept
	}
	v.estimate = mean(v.readings)
	for _, r := range v.readings {
		v.rows = append(v.rows, r.ID)
		if !r.At.IsZero() {
			v.at = r.At
		}
		if r.FlowHLH > 0 {
			v.flow += r.FlowHLH / float64(len(v.readings))
		}
	}
}

// event is one thing that happens to a vessel.
type event struct {
	at   time.Time
	rank int
	do   func(s *state)
}

// build makes the vertices of every batch shown.
func (w *way) build(sorted []string) {
	for i := range w.in.Readings {
		if r := &w.in.Readings[i]; r.Point != TankGasPoint {
			key := w.locate(r)
			w.groups[key] = append(w.groups[key], r)
		}
	}
	for _, id := range sorted {
		if w.shown[id] {
			w.vessel(id)
		}
	}
}

// take gives the readings of a place once.
func (w *way) take(key string) []*Reading {
	rows := w.groups[key]
	delete(w.groups, key)
	return rows
}

// vessel goes through the events of one batch.
func (w *way) vessel(id string) {
	s := &state{at: -1}
	w.states[id] = s
	if v := w.filled(id); v > 0 {
		s.volume = 0 // the brews fill it
	} else if !w.receives(id) {
		s.volume = w.in.batch(id).VolumeHL
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
		return earlier(a.at, b.at)
	})
	for _, e := range events {
		e.do(s)
	}
	if s.at < 0 {
		s.at = w.add(vertex{batch: id, volume: w.in.batch(id).VolumeHL})
	}
	w.line(s, id)
}

// line places what was read of the line before there is a run.
func (w *way) line(s *state, id string) {
	at := s.at
	for _, p := range []struct{ point, op string }{{LineStart, StepLine}, {FillerInlet, StepLine}, {Unshaken, StepFilling}, {TPO, StepHeadspace}} {
		if rows := w.take("batch " + id + " " + p.point); len(rows) > 0 {
			v := vertex{batch: id, point: p.point, volume: s.volume, in: []link{{at, 1, s.volume}}, ops: []string{p.op}}
			v.read(rows)
			at = w.add(v)
		}
	}
}

func (w *way) receives(id string) bool {
	return slices.ContainsFunc(w.in.Moves, func(m Move) bool { return m.To == id && m.From != id && m.Kind != KindAddition })
}

// events of a batch, unsorted.
func (w *way) events(id string) []event {
	var list []event
	brews := 0
	for i := range w.in.Brews {
		if b := &w.in.Brews[i]; b.Batch == id {
			brews++
			list = append(list, event{b.At, rank(WortCooled), func(s *state) { w.brew(s, b) }})
		}
	}
	for i := range w.in.Moves {
		m := &w.in.Moves[i]
		switch {
		case m.From == "" && m.To == id:
			at := rank(TankRested) - 5
			if m.Addition != nil && m.Addition.What == "dry_hop" {
				at = rank(DryHopBefore) + 5
			}
			list = append(list, event{m.Started, at, func(s *state) { w.addition(s, m) }})
		case m.From == id && m.To == id:
			list = append(list, event{m.Started, rank(CarbonateBefore) - 1, func(s *state) { w.depart(s, m); w.loop(s, m) }})
		case m.To == id && w.shown[m.From]:
			list = append(list, event{m.Started, rank(TankAfter) - 1, func(s *state) { w.arrive(s, m) }})
		case m.From == id && (w.shown[m.To] || m.To == ""):
			list = append(list, event{m.Started, rank(TankBefore), func(s *state) { w.depart(s, m) }})
		}
	}
	for i := range w.in.Runs {
		if r := &w.in.Runs[i]; r.Batch == id {
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
		byTime(rows)
		parts := [][]*Reading{rows}
		if point == TankHold {
			parts = nil
			for _, stay := range stays(rows) {
				parts = append(parts, ends(stay)...)
			}
		}
		for _, rows := range parts {
			list = append(list, event{rows[0].At, rank(point), func(s *state) { w.place(s, id, point, rows) }})
		}
	}
	return list
}

// stays splits the readings of a tank being held, by time, where more than six
// hours lie between two of them.
func stays(rows []*Reading) [][]*Reading {
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
func (w *way) place(s *state, id, point string, rows []*Reading) {
	v := vertex{batch: id, point: point, volume: s.volume}
	if v.volume <= 0 {
		v.volume = w.in.batch(id).VolumeHL
	}
	v.read(rows)
	if s.at >= 0 {
		v.in = []link{{s.at, 1, v.volume}}
		v.ops = w.vesselOps(s, point, rows[0].At)
	}
	s.at = w.add(v)
	s.wort = IsWort(point)
}

// vesselOps are the steps between the state of a vessel and a reading in it.
func (w *way) vesselOps(s *state, point string, at time.Time) []string {
	from := &w.list[s.at]
	switch {
	case point == WortOxygenated:
		return []string{StepOxygenation}
	case s.wort || point == Pitched12h:
		return []string{StepFermentation}
	case point == DryHop1h || point == DryHop24h || from.point == DryHopBefore:
		return []string{StepDryHop}
	case point == CarbonateAfter:
		return []string{StepCarbonation}
	case from.known || !from.at.IsZero() && at.Sub(from.at) > longHold:
		return []string{StepHold}
	}
	return nil // it says what arrived
}

// brew adds a knock-out to what is in the vessel already (eq. 42).
func (w *way) brew(s *state, b *Brew) {
	last := -1
	for _, point := range []string{WortCooled, WortOxygenated, Pitched12h} {
		rows := w.take("brew " + b.ID + " " + point)
		if point == WortOxygenated && len(rows) == 0 && b.DO != nil {
			rows = []*Reading{{ID: b.ID, Batch: b.Batch, Brew: b.ID, Point: point, At: b.At, DO: *b.DO}}
		}
		if len(rows) == 0 {
			continue
		}
		v := vertex{batch: b.Batch, brew: b.ID, point: point, volume: b.VolumeHL}
		v.read(rows)
		if last >= 0 {
			v.in, v.ops = []link{{last, 1, b.VolumeHL}}, []string{StepOxygenation}
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
	s.at = w.add(vertex{batch: b.Batch, at: b.At, in: w.mix(s, last, b.VolumeHL, w.in.name(b.Batch)), volume: s.volume + b.VolumeHL})
	s.volume += b.VolumeHL
	s.wort = true
}

// mix is the shares of what is in a vessel and what comes to it.
func (w *way) mix(s *state, comes int, volume float64, vessel string) []link {
	if s.volume <= 0 || volume <= 0 {
		w.assume("volumes of the streams into " + vessel + " are not all known: taken as equal parts")
		return []link{{s.at, 0.5, s.volume}, {comes, 0.5, volume}}
	}
	all := s.volume + volume
	return []link{{s.at, s.volume / all, s.volume}, {comes, volume / all, volume}}
}

// addition brings something from outside (eq. 43).
func (w *way) addition(s *state, m *Move) {
	if s.at < 0 {
		s.volume += m.VolumeHL
		return
	}
	all := s.volume + m.VolumeHL
	v := vertex{batch: m.To, move: m.ID, at: m.Started, volume: all, in: []link{{s.at, 1, s.volume}}, ops: []string{StepAddition}}
	if a := m.Addition; a != nil {
		if a.What == "dry_hop" {
			v.ops = []string{StepDryHop}
		}
		if a.DO != nil && m.VolumeHL > 0 && s.volume > 0 {
			v.in[0].share = s.volume / all
			v.dosed = *a.DO * m.VolumeHL / all
		}
		if a.AirML > 0 && all > 0 {
			v.dosed += a.AirML * oxygen.AirMicrograms(airT) / (all * litresPerHL)
		}
	}
	s.at, s.volume = w.add(v), all
}
