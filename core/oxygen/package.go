package oxygen

import "ullage/core/quantity"

// Package is a closed package at equilibrium: the volumes of its beer and of
// the gas above it.
type Package struct {
	Beer, Headspace quantity.Volume
}

// Weighed finds the volumes from the net weight in air of the beer, its density
// and the capacity of the closed package (eq. 13, 15).
func Weighed(net quantity.Mass, beer, air quantity.Density, capacity quantity.Volume) Package {
	v := VolumeFromWeight(net, beer, air)
	return Package{Beer: v, Headspace: capacity - v}
}

// WeighedWithGas is Weighed where the weight of the headspace gas is known too
// (eq. 25). The empty package was weighed full of air, so the gas counts with
// its density above that of air.
func WeighedWithGas(net quantity.Mass, beer, air, gas quantity.Density, capacity quantity.Volume) Package {
	trueNet := float64(net) * 1000 * (1 - float64(air)/referenceMass) // mg per mL·kg/m³
	v := quantity.Volume((trueNet - float64(gas-air)*float64(capacity)) / float64(beer-gas))
	return Package{Beer: v, Headspace: capacity - v}
}

// Neck is a known pair of fill height and headspace of a bottle, with the
// volume per height of its neck. Gap is measured from the rim down to the beer.
type Neck struct {
	Gap       quantity.Length
	Headspace quantity.Volume
	PerLength quantity.VolumePerLength
}

// Filled finds the volumes of a bottle from its fill height (eq. 16).
func (n Neck) Filled(gap quantity.Length, capacity quantity.Volume) Package {
	h := n.Headspace + quantity.Volume(float64(gap-n.Gap)*float64(n.PerLength))
	return Package{Beer: capacity - h, Headspace: h}
}

// Assumed takes the fill on trust, at the nominal volume for example (eq. 17).
func Assumed(fill, capacity quantity.Volume) Package {
	return Package{Beer: fill, Headspace: capacity - fill}
}

// TotalToDissolved is β + K V_h / V_b, what shaken DO is multiplied by to give
// TPO (eq. 18).
func (p Package) TotalToDissolved(beta, k float64) float64 {
	return beta + k*float64(p.Headspace/p.Beer)
}

// Total is TPO from shaken DO (eq. 18). beta is the solubility of oxygen in the
// beer over that in water, 1 for the trade's figure; k the partition ratio.
func (p Package) Total(c quantity.ShakenDO, beta, k float64) quantity.TPO {
	return quantity.TPO(float64(c) * p.TotalToDissolved(beta, k))
}

// Shaken is the shaken DO that a TPO means in this package (eq. 20): the
// inverse of Total, for a limit on the meter's display.
func (p Package) Shaken(total quantity.TPO, beta, k float64) quantity.ShakenDO {
	return quantity.ShakenDO(float64(total) / p.TotalToDissolved(beta, k))
}

// Split is where the oxygen of the package is at equilibrium (eq. 19); the two
// add up to TPO times the volume of beer.
func (p Package) Split(c quantity.ShakenDO, beta, k float64) (liquid, gas quantity.OxygenMass) {
	liquid = quantity.OxygenMass(float64(c) * beta * float64(p.Beer) / 1000)
	gas = quantity.OxygenMass(float64(c) * k * float64(p.Headspace) / 1000)
	return liquid, gas
}

// AirMicrograms is the oxygen in one mL of dry air at 1 atm, µg, ideal gas
// (eq. 21): 299.0 at 0 °C, 278.6 at 20 °C.
func AirMicrograms(t quantity.Temperature) float64 {
	return DryAirO2 * Atmosphere * MolarMassO2 * 1000 / (GasConstant * (float64(t) + kelvin))
}

// Air is the volume of dry air at 1 atm and temperature t that holds the oxygen
// of a TPO in this package (eq. 21).
func (p Package) Air(total quantity.TPO, t quantity.Temperature) quantity.Volume {
	return quantity.Volume(float64(total) * float64(p.Beer) / 1000 / AirMicrograms(t))
}

// FromAir is the TPO that a volume of dry air at 1 atm and temperature t means
// if all its oxygen stays in the package: the inverse of Air.
func (p Package) FromAir(air quantity.Volume, t quantity.Temperature) quantity.TPO {
	return quantity.TPO(float64(air) * AirMicrograms(t) * 1000 / float64(p.Beer))
}

// AssumedFillBias is what TPO comes out wrong by when the same shaken DO is
// read against an assumed fill instead of the true package (eq. 22): negative
// where the assumed fill is too high.
func (p Package) AssumedFillBias(fill quantity.Volume, c quantity.ShakenDO, beta, k float64) quantity.TPO {
	assumed := Assumed(fill, p.Beer+p.Headspace)
	return assumed.Total(c, beta, k) - p.Total(c, beta, k)
}

// CapacityAt is the capacity of a package at another temperature and gauge
// pressure than it was measured at (eq. 37): wall expansion per kelvin of
// volume, and stretch in mL per bar.
func CapacityAt(v quantity.Volume, warmer quantity.TemperatureDifference, perKelvin float64, gauge quantity.GaugePressure, stretchPerBar float64) quantity.Volume {
	return v*quantity.Volume(1+perKelvin*float64(warmer)) + quantity.Volume(stretchPerBar*float64(gauge)/100)
}
