package cellar

import (
	"fmt"
	"math"
	"slices"

	"ullage/core/causes"
	"ullage/core/quantity"
	"ullage/core/way"
)

// exchanged finds two neighbouring points that changed places: as they are, the
// second lies below the first where nothing takes oxygen up; exchanged, the oxygen
// rises from the point before both to the one after. What no test named only.
func (n *network) exchanged(m *Map, named []causes.Finding) []causes.Finding {
	out := []causes.Finding{}
	for k := range n.read {
		st := stepInto(m, n.Places[n.read[k]].ID)
		if st == nil || st.State != "negative" || slices.ContainsFunc(named, func(f causes.Finding) bool { return f.Step == st.ID && f.Kind != causes.FoundOffset }) {
			continue
		}
		if may, _ := n.MayFall(st.Covers, st.Batch); may {
			continue
		}
		if f, ok := n.changedPlaces(k, len(m.Steps)); ok {
			f.Step, f.Batch, f.Move = st.ID, st.Batch, st.Move
			out = append(out, f)
		}
	}
	return out
}

// changedPlaces looks at the points before and after the two of a step.
func (n *network) changedPlaces(k, steps int) (causes.Finding, bool) {
	second, ok := n.only(k)
	if !ok {
		return causes.Finding{}, false
	}
	first, ok := n.only(second)
	last := -1
	for j := range n.read {
		if before, single := n.only(j); single && before == k {
			if last >= 0 {
				return causes.Finding{}, false // it went two ways
			}
			last = j
		}
	}
	if !ok || last < 0 {
		return causes.Finding{}, false
	}
	a, b, c, d := n.at(first), n.at(second), n.at(k), n.at(last)
	z, before, after := causes.Exchange(&a.Estimate, &b.Estimate, &c.Estimate, &d.Estimate)
	const low = -1.96
	if p := math.Erfc(-z / math.Sqrt2); z >= 0 || p*float64(steps) > causes.Alpha || before < low || after < low {
		return causes.Finding{}, false
	}
	t := causes.Test{Where: way.PointWord(b.Point) + " ↔ " + way.PointWord(c.Point)}
	f := t.Finding(causes.FoundExchanged, c.Value-b.Value, fmt.Sprintf("%s to %s ppb falls by %s standard uncertainties where nothing takes oxygen up; with the two exchanged it rises all the way: %s, %s, %s, %s ppb",
		quantity.Figure(b.Value), quantity.Figure(c.Value), quantity.Figure(-z), quantity.Figure(a.Value), quantity.Figure(c.Value), quantity.Figure(b.Value), quantity.Figure(d.Value)))
	f.Fit = map[string]any{"z": z, "z_before": before, "z_after": after}
	return f, true
}

func (n *network) at(k int) *way.Place { return &n.Places[n.read[k]] }

// only is the one read place that all of another's liquid came from.
func (n *network) only(k int) (int, bool) {
	s := &n.sources[k]
	if len(s.Parts) != 1 || s.Dosed > 0 {
		return 0, false
	}
	from, ok := n.of[s.Parts[0].From]
	return from, ok
}

func stepInto(m *Map, node string) *Step {
	for i := range m.Steps {
		if m.Steps[i].To == node {
			return &m.Steps[i]
		}
	}
	return nil
}
