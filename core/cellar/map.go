package cellar

import (
	"math"
	"slices"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

const (
	litresPerHL = 100
	airT        = quantity.Temperature(20) // of the air that a leak is given in
)

// Grams of oxygen in a volume of hL at a concentration of ppb (eq. 38).
func Grams(ppb, hl float64) float64 { return ppb * hl * litresPerHL / 1e6 }

// AirLeak is the air, mL a minute at 20 °C and 1 atm, that brings so many ppb
// into a flow of hL/h (eq. 39).
func AirLeak(ppb, flowHLH float64) float64 {
	return ppb * flowHLH * litresPerHL / 60 / oxygen.AirMicrograms(airT)
}

// Build draws the map. It refuses references to nothing, numbers that no
// reading can be and batches that flow in a circle; what is unlikely or missing
// is computed and said.
func Build(in Input) (Map, error) {
	if err := in.check(); err != nil {
		return Map{}, err
	}
	sorted, err := in.order()
	if err != nil {
		return Map{}, err
	}
	w := newWay(&in, in.shown())
	w.build(sorted)
	w.volumes()
	w.clocks()
	w.units()
	m := Map{Focus: in.Focus, Nodes: []Node{}, Steps: []Step{}, Moves: []MoveTotal{}, Blends: []Blend{}, Package: []Package{}, Diagnosis: []Finding{}}
	n := w.network()
	values := n.reconcile(&m.Reconciliation)
	m.Nodes = w.nodes(n, values)
	m.Steps, m.Blends = n.steps()
	m.Moves = n.totals()
	m.Package, m.Closure = n.packages(values)
	m.TankGas = w.tankGas()
	m.Diagnosis = w.diagnose(&m)
	m.Assumptions, m.Warnings = append([]string{}, w.assumed...), append([]Warning{}, w.warnings...)
	return m, nil
}

// source is what a vertex is made of: read vertices with their shares, what
// additions brought, and the steps between.
type source struct {
	parts []link
	dosed float64
	ops   []string
	lost  float64 // share that nothing is known of
	moves []string
}

// network is the read vertices, and what each is made of.
type network struct {
	w       *way
	read    []int       // vertices
	of      map[int]int // vertex → place in read
	sources []source    // in the order of read
	budgets map[string]Budget
}

func (w *way) network() *network {
	n := &network{w: w, of: map[int]int{}, budgets: map[string]Budget{}}
	for _, b := range w.in.Budgets {
		n.budgets[b.Step] = b
	}
	for i := range w.list {
		if !w.list[i].known {
			continue
		}
		n.of[i] = len(n.read)
		n.read = append(n.read, i)
		s := w.inflow(i)
		if s.lost > 1e-9 && len(s.parts) > 0 {
			w.assume("DO of a stream into " + w.in.name(w.list[i].batch) + " was not read: it is taken as that of the rest")
			s.renormalise()
		}
		n.sources = append(n.sources, s)
	}
	return n
}

func (s *source) renormalise() {
	sum := 0.0
	for _, p := range s.parts {
		sum += p.share
	}
	for i := range s.parts {
		s.parts[i].share *= (sum + s.lost) / sum
	}
	s.lost = 0
}

// inflow collects what flows into a vertex, through those that were not read.
func (w *way) inflow(i int) source {
	v := &w.list[i]
	s := source{dosed: v.dosed, ops: slices.Clone(v.ops)}
	if v.move != "" {
		s.moves = []string{v.move}
	}
	for _, l := range v.in {
		if u := &w.list[l.from]; u.known {
			s.take(link{l.from, l.share, l.volume})
			continue
		} else if len(u.in) == 0 {
			s.lost += l.share
			continue
		}
		up := w.inflow(l.from)
		s.dosed += l.share * up.dosed
		s.lost += l.share * up.lost
		for _, p := range up.parts {
			s.take(link{p.from, l.share * p.share, p.volume})
		}
		s.ops = union(up.ops, s.ops)
		s.moves = union(up.moves, s.moves)
	}
	return s
}

func (s *source) take(l link) {
	for i := range s.parts {
		if s.parts[i].from == l.from {
			s.parts[i].share += l.share
			return
		}
	}
	s.parts = append(s.parts, l)
}

func union(a, b []string) []string {
	out := slices.Clone(a)
	for _, x := range b {
		if !slices.Contains(out, x) {
			out = append(out, x)
		}
	}
	return out
}

// nodes are the read vertices, and vessels that nothing was read in.
func (w *way) nodes(n *network, values []float64) []Node {
	bare := map[string]bool{}
	for id := range w.shown {
		bare[id] = true
	}
	for i := range w.list {
		if w.list[i].known {
			delete(bare, w.list[i].batch)
		}
	}
	limits := map[string]Limit{}
	for _, l := range w.in.Limits {
		limits[l.Point] = l
	}
	out := []Node{}
	for i := range w.list {
		v := &w.list[i]
		if !v.known {
			if bare[v.batch] && v.point == "" && v.run == "" {
				delete(bare, v.batch)
				out = append(out, Node{ID: v.id, Batch: v.batch, VolumeHL: v.volume})
			}
			continue
		}
		do := v.value
		x := Node{ID: v.id, Batch: v.batch, Point: v.point, Move: v.move, Brew: v.brew, Run: v.run, At: v.at, DO: &do, U: math.Sqrt(v.variance()), VolumeHL: v.volume, Readings: v.rows}
		if k, ok := n.of[i]; ok && values != nil {
			x.Reconciled = &values[k]
		}
		if v.volume > 0 {
			g := Grams(do, v.volume)
			x.Grams = &g
		}
		x.judge(limits)
		out = append(out, x)
	}
	return out
}

// judge holds a node against its limit.
func (x *Node) judge(own map[string]Limit) {
	if l, ok := own[x.Point]; ok {
		x.Green, x.Red, x.LimitFrom = l.Green, l.Red, "own"
	} else if i := slices.IndexFunc(defaultLimits, func(l Limit) bool { return l.Point == x.Point }); i >= 0 {
		x.Green, x.Red, x.LimitFrom = defaultLimits[i].Green, defaultLimits[i].Red, "starting point"
	} else {
		x.State = wortState(x.Point, *x.DO)
		return
	}
	x.State = "ok"
	if *x.DO > x.Red {
		x.State = "over"
	} else if *x.DO > x.Green {
		x.State = "watch"
	}
}

var defaultLimits = DefaultLimits()

// wortState judges wort, where too little is as bad as too much.
func wortState(point string, do float64) string {
	switch {
	case point == WortCooled && do > wortCarried, point == Pitched12h && do > pitchedHigh,
		point == WortOxygenated && (do < wortLow || do > wortHigh):
		return "over"
	case IsWort(point):
		return "ok"
	}
	return ""
}
