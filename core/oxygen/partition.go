package oxygen

import (
	"math"

	"ullage/core/quantity"
)

// PartitionRatio is K, oxygen in the gas over oxygen in the water, both mass
// per volume, at equilibrium and low pressure, 0–40 °C (eq. 6). Standard
// uncertainty 0.2 %.
func PartitionRatio(t quantity.Temperature) float64 {
	// One division and two exponentials: a Monte Carlo run comes by a million times.
	const scale = DryAirO2 * Atmosphere * MolarMassO2 * 1000 / GasConstant
	x := 1 / (float64(t) + kelvin)
	return scale * x * (1 - vapourAtm(x)) * (1 - RealGasTerm(t)) * math.Exp(-lnSaturation(x))
}

// HenryIUPAC is the Henry coefficient k = fugacity / mole fraction of oxygen in
// water, kPa, recommended by IUPAC 2014 (Miyamoto et al., J. Phys. Chem. Ref.
// Data 43:033102; fit of Rettich, Battino & Wilhelm 2000), 0–55 °C.
func HenryIUPAC(t quantity.Temperature) quantity.Pressure {
	k := float64(t) + kelvin
	return quantity.Pressure(math.Exp(14.989460+5742.622/k-1070683/(k*k)) / 1000)
}

// HenryBenson is the same coefficient by Benson, Krause & Peterson, J. Solution
// Chem. 8:655 (1979), 0–60 °C, kPa.
func HenryBenson(t quantity.Temperature) quantity.Pressure {
	k := float64(t) + kelvin
	return quantity.Pressure(math.Exp(3.71814+5596.17/k-1049668/(k*k)) * Atmosphere)
}

// PartitionFromHenry is K by the independent route (eq. 7), for cross-checks:
// within 0.14 % of PartitionRatio from 0 to 40 °C.
func PartitionFromHenry(t quantity.Temperature, henry quantity.Pressure) float64 {
	const molarMassWater = 18.015268 // g/mol; with kPa the thousands cancel
	return float64(henry) * molarMassWater / (float64(WaterDensity(t)) * GasConstant * (float64(t) + kelvin))
}

// PressureFactor multiplies K in a headspace that is mostly CO2 at an absolute
// pressure p, 0–25 °C, up to 600 kPa (eq. 26): fugacity of oxygen in CO2,
// compressibility of CO2, and the Poynting term. The second cross virial
// coefficient and the molar volume of dissolved oxygen (31 cm³/mol) are from
// memory; standard uncertainty 0.3 %.
func PressureFactor(t quantity.Temperature, p quantity.Pressure) float64 {
	const molarVolume = 31e-6
	x := float64(t)
	pOverRT := float64(p) * 1000 / (GasConstant * (x + kelvin)) // mol/m³
	b22 := virialCO2(x)
	b12 := (-57 + (x-5)*7/15) * 1e-6
	return math.Exp(molarVolume*pOverRT) / (math.Exp((2*b12-b22)*pOverRT) * (1 + b22*pOverRT))
}
