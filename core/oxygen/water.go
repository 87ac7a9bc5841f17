package oxygen

import (
	"math"

	"ullage/core/quantity"
)

const (
	kelvin = 273.15
	// GasConstant is R, J/(mol K) (CODATA 2018, exact).
	GasConstant = 8.314462618
	// MolarMassO2 in g/mol (IUPAC; as used by Benson & Krause 1984).
	MolarMassO2 = 31.9988
	// MolarMassCO2 in g/mol (IUPAC).
	MolarMassCO2 = 44.0095
	// DryAirO2 is the mole fraction of oxygen in dry air (Benson & Krause 1984).
	DryAirO2 = 0.20946
	// Atmosphere is one standard atmosphere, kPa.
	Atmosphere = 101.325
)

// WaterDensity of air-free water at 101.325 kPa, 0–40 °C, by Tanaka et al.,
// Metrologia 38:301 (2001), the CIPM formula (eq. 8). Standard uncertainty
// about 0.001 kg/m³.
func WaterDensity(t quantity.Temperature) quantity.Density {
	const a1, a2, a3, a4, a5 = -3.983035, 301.797, 522528.9, 69.34881, 999.974950
	x := float64(t)
	return quantity.Density(a5 * (1 - (x+a1)*(x+a1)*(x+a2)/(a3*(x+a4))))
}

// WaterDensityKell is Kell, J. Chem. Eng. Data 20:97 (1975), 0–150 °C (eq. 9):
// an independent check of WaterDensity, not used in results.
func WaterDensityKell(t quantity.Temperature) quantity.Density {
	x := float64(t)
	n := 999.83952 + x*(16.945176+x*(-7.9870401e-3+x*(-46.170461e-6+x*(105.56302e-9-x*280.54253e-12))))
	return quantity.Density(n / (1 + 16.879850e-3*x))
}

// VapourPressure of water, the short form of USGS OWQ memo 2011.03 (eq. 2),
// 0–40 °C; 0.04–0.12 % below SaturationPressure, which changes solubility by
// less than 0.005 %.
func VapourPressure(t quantity.Temperature) quantity.Pressure {
	return quantity.Pressure(vapourAtm(1/(float64(t)+kelvin)) * Atmosphere)
}

// vapourAtm takes the inverse of an absolute temperature.
func vapourAtm(x float64) float64 {
	return math.Exp(11.8571 - x*(3840.70+x*216961))
}

// SaturationPressure of water by Wagner & Pruss, J. Phys. Chem. Ref. Data
// 31:387 (2002), eq. 2.5 (IAPWS SR1-86): the reference for VapourPressure.
func SaturationPressure(t quantity.Temperature) quantity.Pressure {
	const critical, pressure = 647.096, 22064.0
	kelvins := float64(t) + kelvin
	v := 1 - kelvins/critical
	sum := -7.85951783*v + 1.84408259*math.Pow(v, 1.5) - 11.7866497*v*v*v +
		22.6807411*math.Pow(v, 3.5) - 15.9618719*v*v*v*v + 1.80122502*math.Pow(v, 7.5)
	return quantity.Pressure(pressure * math.Exp(critical/kelvins*sum))
}

// StationPressure of the standard atmosphere at an altitude in metres, 0–11,000
// (ISA). A barometer is better: weather moves the true value by ±3 %.
func StationPressure(metres float64) quantity.Pressure {
	return quantity.Pressure(Atmosphere * math.Pow(1-2.25577e-5*metres, 5.25588))
}
