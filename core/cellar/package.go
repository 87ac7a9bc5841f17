package cellar

import (
	"math"

	"ullage/core/uncertainty"
	"ullage/core/way"
)

// packages splits the TPO of each run, and holds the sum of the parts of the
// reconciled way against the TPO read (eq. 47).
func (n *network) packages(values []float64, gas []TankGas) ([]Package, *Closure) {
	out := []Package{}
	var all Closure
	volume := 0.0
	for i := range n.In.Runs {
		r := &n.In.Runs[i]
		if !n.Shown[r.Batch] {
			continue
		}
		p, c := n.split(r, values)
		p.Steady = n.steady(r, &p, gas)
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

func (n *network) split(r *way.Run, values []float64) (Package, *Closure) {
	p := Package{Run: r.ID}
	last, sum := 0.0, 0.0
	have := false
	tank, drawn := n.Tanks[r.ID]
	if drawn {
		if v, ok := n.valueAt(tank, nil); ok {
			p.Tank, last, have = &v, v, true
			sum, _ = n.valueAt(tank, values)
		}
	}
	var end *way.Place
	for k, i := range n.read {
		v := &n.Places[i]
		if v.Run != r.ID || drawn && i == tank {
			continue
		}
		into := map[string]**float64{way.FillerInlet: &p.Line, way.LineStart: &p.Line, way.Unshaken: &p.Filler, way.TPO: &p.Headspace}[v.Point]
		if have {
			if d := v.Value - last; *into == nil {
				*into = &d
			} else {
				**into += d
			}
			sum += values[k] - n.before(k, values)
		} else {
			p.Tank, sum = &v.Value, values[k]
		}
		last, have = v.Value, true
		if v.Point == way.TPO {
			end = v
			tpo := v.Value
			p.TPO = &tpo
		}
	}
	if end == nil {
		return p, nil
	}
	c := &Closure{TPO: end.Value, Sum: sum, Residual: end.Value - sum, Allowed: uncertainty.Normal95 * math.Sqrt(end.Variance())}
	c.Within = math.Abs(c.Residual) <= c.Allowed
	return p, c
}

// before is what flowed into a read place by these values.
func (n *network) before(k int, values []float64) float64 {
	s := &n.sources[k]
	sum := s.Dosed
	for _, q := range s.Parts {
		sum += q.Share * values[n.of[q.From]]
	}
	return sum
}

// valueAt is the DO at a place: its own reading, else what flowed into it.
// Without values it is as read.
func (n *network) valueAt(i int, values []float64) (float64, bool) {
	if k, ok := n.of[i]; ok {
		if values != nil {
			return values[k], true
		}
		return n.Places[i].Value, true
	}
	s := n.Inflow(i)
	if len(s.Parts) == 0 {
		return 0, false
	}
	if s.Lost > 0 {
		s.Renormalise()
	}
	sum := s.Dosed
	for _, q := range s.Parts {
		v := n.Places[q.From].Value
		if values != nil {
			v = values[n.of[q.From]]
		}
		sum += q.Share * v
	}
	return sum, true
}
