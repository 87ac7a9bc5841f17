package uncertainty

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Above is what is known of a quantity that cannot lie below a floor, such as an
// amount of oxygen (eq. P27): the normal distribution of value and
// standard uncertainty cut off there, and its shortest 95 % interval (JCGM 101,
// 5.3.4). Far above the floor that is the interval as before; near it the interval
// becomes one-sided, from the floor; at the floor itself it ends 1.96 u above it.
// A value below the floor is taken to it; U stays that of the inputs. A result
// with few degrees of freedom keeps its own interval, cut at the floor.
func (r Result) Above(floor float64) Result {
	switch {
	case math.IsNaN(r.Value) || math.IsNaN(r.U) || r.Trials > 0:
		return r
	case r.DoF > 0 || r.U == 0:
		r.Low95, r.High95, r.Value = max(floor, r.Low95), max(floor, r.High95), max(floor, r.Value)
		return r
	}
	n := distuv.UnitNormal
	below := n.CDF((floor - r.Value) / r.U)
	if below < 1e-12 {
		return r
	}
	mass := 0.95 * (1 - below)
	k, v := n.Quantile(0.5+mass/2), r.Value
	r.Value, r.Low95, r.High95 = max(floor, v), v-k*r.U, v+k*r.U
	if r.Low95 < floor {
		r.Low95, r.High95 = floor, v+r.U*n.Quantile(below+mass)
	}
	r.K = (r.High95 - r.Low95) / (2 * r.U)
	return r
}
