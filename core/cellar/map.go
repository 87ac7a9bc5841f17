package cellar

import (
	"math"
	"ullage/core/causes"
	"ullage/core/way"
)

// Build draws the map. It refuses references to nothing, numbers that no
// reading can be and batches that flow in a circle; what is unlikely or missing
// is computed and said.
func Build(in way.Input) (Map, error) {
	w, err := way.Follow(&in)
	if err != nil {
		return Map{}, err
	}
	m := Map{Focus: in.Focus, Nodes: []Node{}, Steps: []Step{}, Moves: []MoveTotal{}, Blends: []Blend{}, Package: []Package{}, Diagnosis: []causes.Finding{}}
	n := networkOf(w)
	values := n.reconcile(&m.Reconciliation)
	m.Nodes = n.nodes(values)
	m.Steps, m.Blends = n.steps()
	m.Moves = n.totals()
	m.TankGas = n.tankGas()
	m.Package, m.Closure = n.packages(values, m.TankGas)
	m.Diagnosis = n.diagnose(&m)
	m.Assumptions, m.Warnings = append([]string{}, w.Assumed...), append([]way.Warning{}, w.Warnings...)
	return m, nil
}

// Measure is Build without what holds readings against each other: nodes, steps
// and moves, for those who compare many batches.
func Measure(in way.Input) (Map, error) {
	w, err := way.Follow(&in)
	if err != nil {
		return Map{}, err
	}
	n := networkOf(w)
	m := Map{Focus: in.Focus, Nodes: n.nodes(nil), Moves: n.totals()}
	m.Steps, _ = n.steps()
	return m, nil
}

// network is the read places, and what each is made of.
type network struct {
	*way.Way
	read    []int        // places
	of      map[int]int  // place → place in read
	sources []way.Source // in the order of read
	budgets map[string]way.Budget
}

func networkOf(w *way.Way) *network {
	n := &network{Way: w, of: map[int]int{}, budgets: map[string]way.Budget{}}
	for _, b := range w.In.Budgets {
		n.budgets[b.Step] = b
	}
	for i := range w.Places {
		if !w.Places[i].Known {
			continue
		}
		n.of[i] = len(n.read)
		n.read = append(n.read, i)
		s := w.Inflow(i)
		if s.Lost > 1e-9 && len(s.Parts) > 0 {
			w.Assume("DO of a stream into " + w.In.Name(w.Places[i].Batch) + " was not read: it is taken as that of the rest")
			s.Renormalise()
		}
		n.sources = append(n.sources, s)
	}
	return n
}

// nodes are the read places, and vessels that nothing was read in.
func (n *network) nodes(values []float64) []Node {
	bare := map[string]bool{}
	for id := range n.Shown {
		bare[id] = true
	}
	for i := range n.Places {
		if n.Places[i].Known {
			delete(bare, n.Places[i].Batch)
		}
	}
	limits := map[string]way.Limit{}
	for _, l := range n.In.Limits {
		limits[l.Point] = l
	}
	out := []Node{}
	for i := range n.Places {
		v := &n.Places[i]
		if !v.Known {
			if bare[v.Batch] && v.Point == "" && v.Run == "" {
				delete(bare, v.Batch)
				out = append(out, Node{ID: v.ID, Batch: v.Batch, VolumeHL: v.Volume})
			}
			continue
		}
		do := v.Value
		x := Node{ID: v.ID, Batch: v.Batch, Point: v.Point, Move: v.Move, Brew: v.Brew, Run: v.Run, At: v.At, DO: &do, U: math.Sqrt(v.Variance()), VolumeHL: v.Volume, Readings: v.Rows}
		if k, ok := n.of[i]; ok && values != nil {
			x.Reconciled = &values[k]
		}
		if v.Volume > 0 {
			g := way.Grams(do, v.Volume)
			x.Grams = &g
		}
		x.judge(limits)
		out = append(out, x)
	}
	return out
}
