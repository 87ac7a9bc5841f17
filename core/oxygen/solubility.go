package oxygen

import (
	"math"

	"ullage/core/quantity"
)

// AirSaturation is the DO of water in equilibrium with water-saturated air at 1
// atm, 0–40 °C: Benson & Krause, Limnol. Oceanogr. 29:620 (1984), eq. 32, as
// adopted by USGS OWQ memo 2011.03 (eq. 1). Stated error within 0.1 %.
func AirSaturation(t quantity.Temperature) quantity.DO {
	return quantity.DO(1000 * saturationMgL(1/(float64(t)+kelvin)))
}

// saturationMgL is C* in mg/L at the inverse of an absolute temperature.
func saturationMgL(inverse float64) float64 { return math.Exp(lnSaturation(inverse)) }

func lnSaturation(x float64) float64 {
	return -139.34411 + x*(1.575701e5+x*(-6.642308e7+x*(1.243800e10-x*8.621949e11)))
}

// RealGasTerm is θ, per atm (eq. 3). It takes °C; kelvin in its place is a known
// blunder of public code.
func RealGasTerm(t quantity.Temperature) float64 {
	x := float64(t)
	return 0.000975 + x*(-1.426e-5+x*6.436e-8)
}

// AirSaturationAt is AirSaturation at a station pressure (not reduced to sea
// level), 0.5–1.1 atm (USGS OWQ memo 2011.03, eq. 4).
func AirSaturationAt(t quantity.Temperature, p quantity.Pressure) quantity.DO {
	atm, u, theta := float64(p)/Atmosphere, vapourAtm(1/(float64(t)+kelvin)), RealGasTerm(t)
	return AirSaturation(t) * quantity.DO((atm-u)*(1-theta*atm)/((1-u)*(1-theta)))
}

// Solubility is S, the DO of water per atm of oxygen partial pressure,
// µg/(L atm) (eq. 5).
func Solubility(t quantity.Temperature) float64 {
	x := 1 / (float64(t) + kelvin)
	return 1000 * saturationMgL(x) / ((1 - vapourAtm(x)) * DryAirO2)
}

// AirSaturationGarciaGordon is the fit of Garcia & Gordon, Limnol. Oceanogr.
// 37:1307 (1992), to Benson & Krause's data for fresh water (coefficients in
// mL(STP)/L, 1.42905 mg/mL): an independent check.
func AirSaturationGarciaGordon(t quantity.Temperature) quantity.DO {
	x := math.Log((298.15 - float64(t)) / (kelvin + float64(t)))
	ml := math.Exp(2.00907 + x*(3.22014+x*(4.05010+x*(4.94457+x*(-0.256847+x*3.88767)))))
	return quantity.DO(1429.05 * ml)
}
