package oxygen

import (
	"math"

	"ullage/core/quantity"
)

// virialCO2 is the second virial coefficient of CO2, m³/mol, t in °C, -8–47 °C
// (Weiss, Mar. Chem. 2:203, 1974).
func virialCO2(t float64) float64 {
	k := t + kelvin
	return (-1636.75 + k*(12.0408+k*(-3.27957e-2+k*3.16528e-5))) * 1e-6
}

// CO2Concentration dissolved in beer, g/L, in equilibrium with CO2 at an
// absolute pressure, 0–25 °C, to 5 bar: the exponential form of the
// German-language handbooks (eq. 28). Standard uncertainty 2 %.
func CO2Concentration(t quantity.Temperature, p quantity.Pressure) float64 {
	return 10 * float64(p) / 100 * math.Exp(-10.73797+2617.25/(float64(t)+kelvin))
}

// CO2Pressure is the inverse of CO2Concentration: the absolute pressure of the
// headspace of beer with this carbonation.
func CO2Pressure(t quantity.Temperature, c quantity.Carbonation) quantity.Pressure {
	gl := float64(c) * quantity.CO2GramsPerVolume
	return quantity.Pressure(10 * gl / math.Exp(-10.73797+2617.25/(float64(t)+kelvin)))
}

// CO2InWater is the CO2 dissolved in pure water, g/L, under CO2 saturated with
// water vapour at a total absolute pressure, -1–40 °C, to 5 bar: Weiss, Mar.
// Chem. 2:203 (1974), with the fugacity of the gas and a molar volume of 32.3
// cm³/mol. It is an upper reference for beer, which dissolves 1–5 % less.
func CO2InWater(t quantity.Temperature, p quantity.Pressure) float64 {
	const molarVolume = 32.3e-6
	k := (float64(t) + kelvin) / 100
	perAtm := math.Exp(-58.0931 + 90.5069/k + 22.2940*math.Log(k)) // mol/(L atm)
	rt := GasConstant * 100 * k
	pa := float64(p) * 1000
	fugacity := float64(p-SaturationPressure(t)) / Atmosphere * math.Exp(virialCO2(float64(t))*pa/rt)
	return perAtm * MolarMassCO2 * fugacity * math.Exp(molarVolume*(Atmosphere*1000-pa)/rt)
}

// CO2GasDensity of pure CO2 at an absolute pressure, by its second virial
// coefficient, -8–47 °C, to 5 bar (eq. 25).
func CO2GasDensity(t quantity.Temperature, p quantity.Pressure) quantity.Density {
	pOverRT := float64(p) * 1000 / (GasConstant * (float64(t) + kelvin))
	z := 1 + virialCO2(float64(t))*pOverRT
	return quantity.Density(pOverRT * MolarMassCO2 / 1000 / z)
}

// CO2DensityRise is what dissolved CO2 adds to the density of degassed beer,
// from the apparent molar volume of Garcia, LBNL-49023 (2001) (eq. 24).
// Other data give up to 30 % more.
func CO2DensityRise(t quantity.Temperature, c quantity.Carbonation, beer quantity.Density) quantity.Density {
	x := float64(t)
	apparent := 37.51 + x*(-9.585e-2+x*(8.740e-4-x*5.044e-7)) // cm³/mol
	gl := float64(c) * quantity.CO2GramsPerVolume
	return quantity.Density(gl * (1 - float64(beer)/1000*apparent/MolarMassCO2))
}
