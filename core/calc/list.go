package calc

// entries makes the table. A new calculation is a function of a typed input
// and one line here.
func entries() []Calculation {
	return []Calculation{
		define("tpo", "total package oxygen from shaken DO, weights or fill height, and temperature", "6, 12–19, 33–36", TPO),
		define("judge", "a packaging run: verdict of lot and line with reasons, causes, heads, held span", "docs/judging.md", judge),
		define("shaken-limit", "the shaken DO that just meets a TPO limit in a package of known volumes", "20", shakenLimit),
		define("headspace-air", "TPO to millilitres of air in the package, and back", "21", headspaceAir),
		define("fill-bias", "what an assumed fill does to TPO", "22", fillBias),
		define("capacity", "capacity of a package from the water that fills it", "14", capacityByWater),
		define("weight", "true mass and volume of a liquid from its weight in air", "11, 13", weight),
		define("shake-study", "first-order fit of readings after different times of shaking", "31", shakeStudy),
		define("delay", "TPO at closing from a later reading, where an uptake study exists", "32", delayed),
		define("conformity", "probability that a result lies above its limit, and the guarded limit", "36", conformity),
		define("air-saturation", "DO of air-saturated water at temperature and station pressure", "1–5", airSaturation),
		define("partition", "oxygen partition ratio, by the method and by two independent routes", "6, 7, 26", partition),
		define("water", "density and vapour pressure of water", "2, 8, 9", water),
		define("air-density", "density of moist air", "10", airDensity),
		define("gravity", "specific gravity to extract, and back", "29", gravity),
		define("attenuation", "real extract, alcohol and attenuation from original and final extract", "30", attenuation),
		define("co2", "CO2 dissolved in beer to pressure, and back; what it weighs", "24–26, 28", co2),
		define("beer", "density, expansion and oxygen solubility of a beer", "12, 23, 27", beer),
	}
}
