package cellar

import (
	"math"
)

// Build draws the map. It refuses references to nothing, numbers that no
// reading can be and batches that flow in a circle; what is unlikely or missing
// is computed and said.
func Build(in Input) (Map, error) {
	w, err := follow(&in)
	if err != nil {
		return Map{}, err
	}
	m := Map{Focus: in.Focus, Nodes: []Node{}, Steps: []Step{}, Moves: []MoveTotal{}, Blends: []Blend{}, Package: []Package{}, Diagnosis: []Finding{}}
	n := networkOf(w)
	values := n.reconcile(&m.Reconciliation)
	m.Nodes = n.nodes(values)
	m.Steps, m.Blends = n.steps()
	m.Moves = n.totals()
	m.Package, m.Closure = n.packages(values)
	m.TankGas = n.tankGas()
	m.Diagnosis = n.diagnose(&m)
	m.Assumptions, m.Warnings = append([]string{}, w.assumed...), append([]Warning{}, w.warnings...)
	return m, nil
}

// network is the read vertices, and what each is made of.
type network struct {
	*way
	read    []int       // vertices
	of      map[int]int // vertex → place in read
	sources []source    // in the order of read
	budgets map[string]Budget
}

func networkOf(w *way) *network {
	n := &network{way: w, of: map[int]int{}, budgets: map[string]Budget{}}
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

// nodes are the read vertices, and vessels that nothing was read in.
func (n *network) nodes(values []float64) []Node {
	bare := map[string]bool{}
	for id := range n.shown {
		bare[id] = true
	}
	for i := range n.list {
		if n.list[i].known {
			delete(bare, n.list[i].batch)
		}
	}
	limits := map[string]Limit{}
	for _, l := range n.in.Limits {
		limits[l.Point] = l
	}
	out := []Node{}
	for i := range n.list {
		v := &n.list[i]
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
