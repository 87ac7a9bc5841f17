package process

import (
	"math"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// Method is a way to exchange the gas of a vessel.
type Method string

// The ways of purging.
const (
	Sweep        Method = "sweep"        // gas in at one end, out at the other
	Pressure     Method = "pressure"     // cycles of pressurising and venting
	Vacuum       Method = "vacuum"       // cycles of evacuating and breaking with gas
	Displacement Method = "displacement" // filled with liquid, pushed out with gas
)

// MaxCells is the most tanks in series that Step takes.
const MaxCells = 100

// Step is one purge of a vessel. Only the fields of its method are read.
type Step struct {
	Method    Method
	Volumes   float64           // Sweep: gas turnovers at the vessel's temperature and pressure
	Cells     int               // Sweep: tanks in series; 1 perfectly mixed, 0 plug flow
	Works     quantity.Fraction // Sweep: share of the gas that reaches the vessel's air; 0 stands for all of it
	Cycles    float64           // Pressure, Vacuum
	Low, High quantity.Pressure // Pressure, Vacuum: absolute
	Pocket    quantity.Fraction // Displacement: gas that the liquid leaves, of the vessel
}

// Factor is the share left of the difference between the oxygen of the vessel
// and that of the purge gas (eq. P1–P4): 1 nothing done, 0 all exchanged.
func (s Step) Factor() float64 {
	switch s.Method {
	case Sweep:
		return swept(s.Volumes*s.Working(), s.Cells)
	case Pressure, Vacuum:
		return math.Pow(float64(s.Low/s.High), s.Cycles)
	case Displacement:
		return float64(s.Pocket)
	}
	return 1
}

// Working is the share of a sweep's gas that is not lost to short circuits.
func (s Step) Working() float64 {
	if s.Works == 0 {
		return 1
	}
	return float64(s.Works)
}

// swept is the mean of the vessel after some turnovers: e^−N mixed (eq. P1), the
// Erlang tail of n equal tanks in series (eq. P2), 1 − N for a plug.
func swept(volumes float64, cells int) float64 {
	switch {
	case volumes <= 0:
		return 1
	case cells <= 0:
		return math.Max(0, 1-volumes)
	case cells == 1:
		return math.Exp(-volumes)
	}
	n := float64(cells)
	x := n * volumes
	term, tail, sum := math.Exp(-x), 0.0, 0.0
	for i := range cells {
		tail += term // outlet of tank i+1
		sum += tail
		term *= x / float64(i+1)
	}
	return sum / n
}

// For is the step with the amount (turnovers, cycles, or pocket) that leaves
// this factor, 0 < factor ≤ 1: the inverse of Factor.
func (s Step) For(factor float64) Step {
	switch s.Method {
	case Sweep:
		s.Volumes = volumesFor(factor, s.Cells) / s.Working()
	case Pressure, Vacuum:
		s.Cycles = math.Log(factor) / math.Log(float64(s.Low/s.High))
	case Displacement:
		s.Pocket = quantity.Fraction(factor)
	}
	return s
}

func volumesFor(factor float64, cells int) float64 {
	switch {
	case factor >= 1:
		return 0
	case cells <= 0:
		return 1 - factor
	case cells == 1:
		return -math.Log(factor)
	}
	low, high := 0.0, -math.Log(factor) // more tanks never need more gas than one
	for range 200 {
		mid := (low + high) / 2
		if swept(mid, cells) > factor {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// Amount is what the step does most of: turnovers, cycles, or the pocket left.
func (s Step) Amount() float64 {
	switch s.Method {
	case Sweep:
		return s.Volumes
	case Displacement:
		return float64(s.Pocket)
	}
	return s.Cycles
}

// Purged is the oxygen of the gas, by mole, after steps in sequence with one
// purge gas (eq. P5). The gas is the floor that no number of steps goes below.
func Purged(start, gas quantity.Fraction, steps ...Step) quantity.Fraction {
	left := 1.0
	for _, s := range steps {
		left *= s.Factor()
	}
	return gas + (start-gas)*quantity.Fraction(left)
}

// FactorFor is the factor that a purge from start to a target needs, with this
// gas; 0 or less where the gas itself holds as much as the target.
func FactorFor(start, gas, target quantity.Fraction) float64 {
	return float64((target - gas) / (start - gas))
}

// OxygenInGas is the oxygen of a gas of this mole fraction, ideal (eq. P6).
func OxygenInGas(y quantity.Fraction, v quantity.Volume, p quantity.Pressure, t quantity.Temperature) quantity.OxygenMass {
	return quantity.OxygenMass(float64(y) * float64(p) * float64(v) * oxygen.MolarMassO2 * 1000 / (oxygen.GasConstant * kelvins(t)))
}

// Spread is the DO of beer that takes up all of an oxygen mass (eq. P7).
func Spread(m quantity.OxygenMass, beer quantity.Volume) quantity.DO {
	return quantity.DO(float64(m) / float64(beer) * 1000)
}

// Shared is the DO of beer in a closed vessel once the oxygen of its gas space
// has come to equilibrium, oxygen kept, none in the beer before (eq. P8).
func Shared(m quantity.OxygenMass, beer, gas quantity.Volume, t quantity.Temperature) quantity.DO {
	return quantity.DO(float64(m) * 1000 / (float64(beer) + oxygen.PartitionRatio(t)*float64(gas)))
}

// Contact is the DO of beer in equilibrium with a gas that is never used up:
// its oxygen partial pressure times the solubility in water (eq. P9).
func Contact(y quantity.Fraction, p quantity.Pressure, t quantity.Temperature) quantity.DO {
	return quantity.DO(float64(y) * float64(p) / oxygen.Atmosphere * oxygen.Solubility(t))
}

// Gas of a purge.
type Gas string

// The purge gases.
const (
	CO2 Gas = "co2"
	N2  Gas = "n2"
)

const molarMassN2 = 28.0134 // g/mol, IUPAC

// Density of the gas at an absolute pressure: CO2 with its second virial
// coefficient, to 5 bar; nitrogen ideal.
func (g Gas) Density(t quantity.Temperature, p quantity.Pressure) quantity.Density {
	if g == N2 {
		return quantity.Density(float64(p) * molarMassN2 / (oxygen.GasConstant * kelvins(t)))
	}
	return oxygen.CO2GasDensity(t, p)
}

// Used is the gas that a step takes on a gas space at this temperature (eq.
// P10): turnovers at the sweeping pressure, cycles times the difference in
// density, or the vessel once for a displacement.
func (s Step) Used(g Gas, space quantity.Volume, t quantity.Temperature, at quantity.Pressure) quantity.Mass {
	density := g.Density(t, at)
	switch s.Method {
	case Sweep:
		density *= quantity.Density(s.Volumes)
	case Pressure, Vacuum:
		density = (g.Density(t, s.High) - g.Density(t, s.Low)) * quantity.Density(s.Cycles)
	case Displacement:
		density *= quantity.Density(1 - s.Pocket)
	}
	return quantity.Mass(float64(density) * float64(space) / 1000)
}

// RoomShare is the average share of a room's air that a released gas volume
// would be if all stayed and mixed (eq. P11), at most 1. Real gas lies in
// layers, far above the average in low places.
func RoomShare(released, room float64) quantity.Fraction {
	return quantity.Fraction(math.Min(1, released/room))
}

// Cylinder is the volume of a standing vessel or hose: straight part and a cone
// below it. Dished ends are not counted.
func Cylinder(diameter, straight, cone quantity.Length) quantity.Volume {
	d := float64(diameter)
	return quantity.Volume(math.Pi / 4 * d * d * (float64(straight) + float64(cone)/3) / 1000)
}

func kelvins(t quantity.Temperature) float64 { return float64(t) + 273.15 }
