package oxygen

import (
	"math"

	"ullage/core/quantity"
)

// StandardAirDensity is the 1.2 kg/m³ that weights refer to where nothing else
// is known (OIML D 28).
const StandardAirDensity quantity.Density = 1.2

// referenceMass is the density of the conventional weights, kg/m³ (OIML D 28).
const referenceMass = 8000

// AirDensity of moist air by CIPM-2007 (Picard et al., Metrologia 45:149, 2008)
// with 0.0004 CO2 (eq. 10). Humidity 0–1; 15–27 °C and 60–110 kPa are its stated
// range.
func AirDensity(t quantity.Temperature, p quantity.Pressure, humidity quantity.Fraction) quantity.Density {
	const ma, mv, r = 28.96546e-3, 18.01528e-3, 8.314472
	x, k, pa := float64(t), float64(t)+kelvin, float64(p)*1000
	psv := math.Exp(1.2378847e-5*k*k - 1.9121316e-2*k + 33.93711047 - 6.3431645e3/k)
	f := 1.00062 + 3.14e-8*pa + 5.6e-7*x*x
	xv := float64(humidity) * f * psv / pa
	z := 1 - pa/k*(1.58123e-6-2.9331e-8*x+1.1043e-10*x*x+(5.707e-6-2.051e-8*x)*xv+(1.9898e-4-2.376e-6*x)*xv*xv) +
		pa*pa/(k*k)*(1.83e-11-0.765e-8*xv*xv)
	return quantity.Density(pa * ma / (z * r * k) * (1 - xv*(1-mv/ma)))
}

// VolumeFromWeight is the volume of a liquid of known density from its weight
// in air on a balance adjusted with 8000 kg/m³ weights (eq. 11, 13, 14):
// V = W (1 − ρ_a/8000) / (ρ − ρ_a).
func VolumeFromWeight(weight quantity.Mass, liquid, air quantity.Density) quantity.Volume {
	return quantity.Volume(float64(weight) * 1000 * (1 - float64(air)/referenceMass) / float64(liquid-air))
}

// MassFromWeight is the true mass behind a weight in air (eq. 11).
func MassFromWeight(weight quantity.Mass, body, air quantity.Density) quantity.Mass {
	return weight * quantity.Mass((1-float64(air)/referenceMass)/(1-float64(air)/float64(body)))
}
