package calc

// entries makes the table. A new calculation is a function of a typed input
// and one line here.
func entries() []Calculation {
	return append([]Calculation{
		define("tpo", "total package oxygen from shaken DO, weights or fill height, and temperature", "6, 12–19, 33–36", TPO),
		define("judge", "a packaging run: verdict of lot and line with reasons, causes, heads, held span", "docs/judging.md", judge),
		define("sampling-plan", "which packages to pull in a run: how many, from which heads, when, and what that can see", "S44, S45", samplingPlan),
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
		define("agree", "calculated against direct TPO: bias, limits of agreement, lines, equivalence, verdict", "docs/instruments.md", Agree),
		define("check-meter", "check of a DO meter and what stands beside it: zero, air, response, correction, in ppb of TPO", "1–5", checkMeter),
		define("study-tare", "empty weights: mean, spread, how many to weigh, whether lots differ", "12, 18", tareStudy),
		define("study-capacity", "capacity by weight of water: mean, spread, how many to measure, whether lots differ", "14", capacityStudy),
		define("study-neck", "fill height to headspace of a bottle", "15", studyNeck),
		define("study-shake", "readings after different times of shaking: rows, intervals, time to 99 %, what is left at five minutes", "31", studyShake),
		define("study-delay", "uptake of oxygen from readings after different delays", "32", studyDelay),
		define("study-line", "flow test of a sample line: what comes in through it", "docs/instruments.md", studyLine),
		define("study-repeatability", "crossed study of packages and operators by analysis of variance", "docs/instruments.md", studyGauge),
		define("buy-next", "what a better instrument or weighing would buy, over the packages of a brewery", "33, 34", BuyNext),
	}, append(planners(), cellars()...)...)
}
