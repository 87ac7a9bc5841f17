package cellar

import (
	"math"

	"ullage/core/uncertainty"
)

// packages splits the TPO of each run, and holds the sum of the parts of the
// reconciled way against the TPO read (eq. 47).
func (n *network) packages(values []float64) ([]Package, *Closure) {
	out := []Package{}
	var all Closure
	volume := 0.0
	for i := range n.in.Runs {
		r := &n.in.Runs[i]
		if !n.shown[r.Batch] {
			continue
		}
		p, c := n.split(r, values)
		if p.Closure = c; c != nil {
			v := r.VolumeHL
			if v <= 0 {
				v = 1
			}
			all.TPO += v * c.TPO
			all.Sum += v * c.Sum
			all.Allowed += v * c.Allowed
			volume += v
		}
		out = append(out, p)
	}
	if volume == 0 {
		return out, nil
	}
	all.TPO, all.Sum, all.Allowed = all.TPO/volume, all.Sum/volume, all.Allowed/volume
	all.Residual = all.TPO - all.Sum
	all.Within = math.Abs(all.Residual) <= all.Allowed
	return out, &all
}

func (n *network) split(r *Run, values []float64) (Package, *Closure) {
	p := Package{Run: r.ID}
	last, sum := 0.0, 0.0
	have := false
	tank, drawn := n.tanks[r.ID]
	if drawn {
		if v, ok := n.valueAt(tank, nil); ok {
			p.Tank, last, have = &v, v, true
			sum, _ = n.valueAt(tank, values)
		}
	}
	var end *vertex
	for k, i := range n.read {
		v := &n.list[i]
		if v.run != r.ID || drawn && i == tank {
			continue
		}
		into := map[string]**float64{FillerInlet: &p.Line, LineStart: &p.Line, Unshaken: &p.Filler, TPO: &p.Headspace}[v.point]
		if have {
			if d := v.value - last; *into == nil {
				*into = &d
			} else {
				**into += d
			}
			sum += values[k] - n.before(k, values)
		} else {
			p.Tank, sum = &v.value, values[k]
		}
		last, have = v.value, true
		if v.point == TPO {
			end = v
			tpo := v.value
			p.TPO = &tpo
		}
	}
	if end == nil {
		return p, nil
	}
	c := &Closure{TPO: end.value, Sum: sum, Residual: end.value - sum, Allowed: uncertainty.Normal95 * math.Sqrt(end.variance())}
	c.Within = math.Abs(c.Residual) <= c.Allowed
	return p, c
}

// before is what flowed into a read vertex by these values.
func (n *network) before(k int, values []float64) float64 {
	s := &n.sources[k]
	sum := s.dosed
	for _, q := range s.parts {
		sum += q.share * values[n.of[q.from]]
	}
	return sum
}

// valueAt is the DO at a vertex: its own reading, else what flowed into it.
// Without values it is as read.
func (n *network) valueAt(i int, values []float64) (float64, bool) {
	if k, ok := n.of[i]; ok {
		if values != nil {
			return values[k], true
		}
		return n.list[i].value, true
	}
	s := n.inflow(i)
	if len(s.parts) == 0 {
		return 0, false
	}
	if s.lost > 0 {
		s.renormalise()
	}
	sum := s.dosed
	for _, q := range s.parts {
		v := n.list[q.from].value
		if values != nil {
			v = values[n.of[q.from]]
		}
		sum += q.share * v
	}
	return sum, true
}
