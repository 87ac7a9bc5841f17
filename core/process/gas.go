package process

import (
	"math"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// GuidelineCO2 is the most oxygen of beverage CO2 by the voluntary guideline of
// the International Society of Beverage Technologists (2006): 30 ppm v/v.
const GuidelineCO2 quantity.Fraction = 30e-6

// Brought is what dissolving a gas brings if none of its oxygen is vented (eq.
// P12): grams of gas per litre of beer, its molar mass, its oxygen by mole.
func Brought(gramsPerL float64, molarMass float64, y quantity.Fraction) quantity.DO {
	return quantity.DO(gramsPerL / molarMass * float64(y) * oxygen.MolarMassO2 * 1e6)
}

// MolarMass of a gas, g/mol.
func (g Gas) MolarMass() float64 {
	if g == N2 {
		return molarMassN2
	}
	return oxygen.MolarMassCO2
}

// Stripped is the DO left by a gas that is bubbled through and vented, G
// volumes (at the beer's temperature and pressure) for each volume of beer (eq.
// P13). efficiency is how near to equilibrium the bubbles leave, 0–1; floor is
// Contact with the gas. It holds for gas that leaves, not for gas that dissolves.
func Stripped(start, floor quantity.DO, t quantity.Temperature, gasPerBeer float64, efficiency quantity.Fraction) quantity.DO {
	return floor + (start-floor)*quantity.DO(math.Exp(-float64(efficiency)*oxygen.PartitionRatio(t)*gasPerBeer))
}

// StripFor is the gas per beer that strips to a target: the inverse of
// Stripped. It is not finite where the target is not above the floor.
func StripFor(start, floor, target quantity.DO, t quantity.Temperature, efficiency quantity.Fraction) float64 {
	return math.Log(float64((start-floor)/(target-floor))) / (float64(efficiency) * oxygen.PartitionRatio(t))
}

// Hazard is the caution that goes with the gas.
func (g Gas) Hazard() string {
	if g == N2 {
		return HazardNitrogen
	}
	return HazardCO2
}
