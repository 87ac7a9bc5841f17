package quantity

// Plato converts a specific gravity 20/20 °C to extract, °P, by the cubic fitted
// to the ASBC table (docs/method.md eq. 29): valid 1.000 to 1.110, within
// 0.01 °P of the ICUMSA density of sucrose. SG 1 gives -0.003 °P.
func Plato(sg SpecificGravity) Extract {
	s := float64(sg)
	return Extract(-616.868 + s*(1111.14+s*(-630.272+s*135.997)))
}

// Gravity is the inverse of Plato: the SG whose extract is e, found by Newton
// steps on the same cubic, so that a value converted there and back returns.
func Gravity(e Extract) SpecificGravity {
	p := float64(e)
	s := 1 + p/(258.6-227.1*p/258.2)
	for range 6 {
		slope := 1111.14 + s*(-2*630.272+s*3*135.997)
		s -= (float64(Plato(SpecificGravity(s))) - p) / slope
	}
	return SpecificGravity(s)
}

func gravityFromPlato(v float64, unit string) (float64, bool) {
	switch unit {
	case "°p", "p", "ºp", "plato", "degp":
		return float64(Gravity(Extract(v))), true
	case "sg":
		return v, true
	case "kg/m3", "kg/m³":
		return v / 998.20675, true
	}
	return 0, false
}

// platoFromGravity reads an extract written as a gravity, 1.048 SG.
func platoFromGravity(v float64, unit string) (float64, bool) {
	return float64(Plato(SpecificGravity(v))), unit == "sg"
}
