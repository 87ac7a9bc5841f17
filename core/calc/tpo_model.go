package calc

import (
	"ullage/core/oxygen"
	"ullage/core/quantity"
	"ullage/core/uncertainty"
)

// Inputs of the measurement equation, by place in the vector x. The last five
// stand for what the plain figure leaves out: 1 or 0 there, with an uncertainty.
const (
	xDO          = iota
	xTemperature // °C
	xGross       // g
	xTare        // g
	xCapacity    // mL, or g of water
	xWaterT      // °C
	xSG          //
	xAir         // kg/m³
	xNeck        // headspace by fill height, mL
	xFill        // assumed fill, mL
	xPartition   // factor on K
	xBeta        // solubility in beer over that in water
	xDensityRise // dissolved CO2, kg/m³
	xExpansion   // factor on the density of beer
	xGas         // headspace gas above air, kg/m³
	xCount       // how many
)

// The ways to the volumes, as the model takes them.
const (
	noPath uint8 = iota
	weighed
	byHeight
	assumed
)

var pathNames = [...]string{noPath: "", weighed: PathWeighed, byHeight: PathFillHeight, assumed: PathAssumed}

// volumes says by which way the model reaches beer and headspace.
type volumes struct {
	path    uint8
	byWater bool // xCapacity is grams of water
}

// state is one evaluation of the measurement equation.
type state struct {
	k, density, capacity float64
	pack                 oxygen.Package
}

// evaluator keeps the constants of the last temperatures: a batch and a budget
// ask for the same ones again and again.
type evaluator struct {
	volumes
	t, k, water        float64
	waterT, waterRho   float64
	slopeT             float64 // where the two slopes hold
	slopeK, slopeWater float64
	haveSlope          bool
	haveT, haveWaterT  bool
}

// newModel makes TPO as a function of x.
func (v volumes) newModel() uncertainty.Model {
	e := &evaluator{volumes: v}
	return e.tpo
}

func (e *evaluator) tpo(x []float64) float64 {
	var s state
	e.at((*[xCount]float64)(x), &s)
	return x[xDO] * (x[xBeta] + s.k*float64(s.pack.Headspace)/float64(s.pack.Beer))
}

// at finds the partition ratio, the densities and the volumes (eq. 6, 12–17).
func (e *evaluator) at(x *[xCount]float64, s *state) {
	if t := x[xTemperature]; !e.haveT || t != e.t {
		e.t, e.haveT = t, true
		e.k = oxygen.PartitionRatio(quantity.Temperature(t))
		e.water = float64(oxygen.WaterDensity(quantity.Temperature(t)))
	}
	s.k = e.k * x[xPartition]
	s.density = x[xSG]*e.water*x[xExpansion] + x[xDensityRise]
	air := quantity.Density(x[xAir])
	capacity := quantity.Volume(x[xCapacity])
	if e.byWater {
		if t := x[xWaterT]; !e.haveWaterT || t != e.waterT {
			e.waterT, e.haveWaterT = t, true
			e.waterRho = float64(oxygen.WaterDensity(quantity.Temperature(t)))
		}
		capacity = oxygen.VolumeFromWeight(quantity.Mass(x[xCapacity]), quantity.Density(e.waterRho), air)
	}
	s.capacity = float64(capacity)
	switch e.path {
	case weighed:
		s.pack = oxygen.WeighedWithGas(quantity.Mass(x[xGross]-x[xTare]), quantity.Density(s.density), air, air+quantity.Density(x[xGas]), capacity)
	case byHeight:
		h := quantity.Volume(x[xNeck])
		s.pack = oxygen.Package{Beer: capacity - h, Headspace: h}
	default:
		s.pack = oxygen.Assumed(quantity.Volume(x[xFill]), capacity)
	}
}

// gradient is ∂TPO/∂x of a weighed package whose capacity is a volume, in closed
// form but for the temperature, which is a central difference of K and the
// density of water. It does not cover the density of the air.
func (e *evaluator) gradient(values, into []float64) bool {
	if e.path != weighed || e.byWater {
		return false
	}
	x, g := (*[xCount]float64)(values), (*[xCount]float64)(into)
	var s state
	e.at(x, &s)
	if e.t != e.slopeT || !e.haveSlope {
		const h = 1e-3 // K
		e.slopeT, e.haveSlope = e.t, true
		above, below := quantity.Temperature(e.t+h), quantity.Temperature(e.t-h)
		e.slopeK = (oxygen.PartitionRatio(above) - oxygen.PartitionRatio(below)) / (2 * h)
		e.slopeWater = float64(oxygen.WaterDensity(above)-oxygen.WaterDensity(below)) / (2 * h)
	}
	c, vb, vh, vc := x[xDO], float64(s.pack.Beer), float64(s.pack.Headspace), s.capacity
	below := s.density - x[xAir] - x[xGas] // what a mL of beer weighs above a mL of gas
	byBeer := -c * s.k * vc / (vb * vb)    // ∂TPO/∂V_b at fixed capacity
	byDensity := -byBeer * vb / below
	byWeight := byBeer * 1000 * (1 - x[xAir]/8000) / below
	*g = [xCount]float64{
		xDO:          x[xBeta] + s.k*vh/vb,
		xTemperature: c*e.slopeK*x[xPartition]*vh/vb + byDensity*x[xSG]*x[xExpansion]*e.slopeWater,
		xGross:       byWeight,
		xTare:        -byWeight,
		xCapacity:    c*s.k/vb - byBeer*x[xGas]/below,
		xSG:          byDensity * e.water * x[xExpansion],
		xPartition:   c * e.k * vh / vb,
		xBeta:        c,
		xDensityRise: byDensity,
		xExpansion:   byDensity * x[xSG] * e.water,
		xGas:         -byBeer * vh / below,
	}
	return true
}
