package process

import (
	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// Residual CO2 of beer that fermented open to the air at this highest
// temperature since, volumes: equilibrium with CO2 at a pressure, from
// oxygen.CO2Concentration. Cold-side tables differ by up to 5 %.
func Residual(t quantity.Temperature, at quantity.Pressure) quantity.Carbonation {
	return quantity.Carbonation(oxygen.CO2Concentration(t, at) / quantity.CO2GramsPerVolume)
}

// Sugar that primes beer.
type Sugar struct {
	Name  string  `json:"name"`
	Yield float64 `json:"co2_per_gram"` // g CO2 per g, fully fermented
}

// Sugars, by stoichiometry: 342.30 g sucrose or 2 × 180.16 g glucose give 4 ×
// 44.0095 g CO2; the monohydrate carries its water, 198.17 g.
var Sugars = []Sugar{
	{"sucrose", 4 * oxygen.MolarMassCO2 / 342.30},
	{"glucose", 2 * oxygen.MolarMassCO2 / 180.16},
	{"glucose monohydrate", 2 * oxygen.MolarMassCO2 / 198.17},
}

// Priming is the grams of a sugar per litre from a carbonation to another (eq.
// P23); below zero where the beer holds more already.
func Priming(target, residual quantity.Carbonation, yield float64) float64 {
	return float64(target-residual) * quantity.CO2GramsPerVolume / yield
}

// Level is one way of packaging without a meter, from none to best: how much
// air stays in the headspace and what filling itself picks up. The shares and
// pickups are common practice and estimates, not measurements.
type Level struct {
	Key        string
	Title      string
	Low, High  float64 // share of the headspace that stays air
	PickupLow  float64 // ppb from transfer and filling
	PickupHigh float64
	Cycles     int // kegs: pressure cycles of the headspace after filling; multiplies the shares
	Steps      []string
}

// Levels of a kind of package: keg, bottle or can; nil for another.
func Levels(kind string) []Level { return levels[kind] }

var levels = map[string][]Level{
	"keg": {
		{"none", "open keg, splashed in, headspace left", 1, 1, 2000, 6000, 0, []string{"Shown to compare. Nearly all of this oxygen ends in the beer within days."}},
		{"good", "filled calmly from the bottom, headspace purged", 1, 1, 200, 1000, 5, []string{
			"Rinse and sanitise; blow CO2 into the keg from the dip tube for a minute.",
			"Fill through the liquid post to the bottom, lid ajar or relief valve open, no splashing.",
			"Close. Fill with CO2 to the pressure below and vent by the relief valve, five times.",
			"Chill and keep cold; drink in 4–8 weeks."}},
		{"better", "keg purged empty, closed transfer, headspace purged", 0.2, 1, 20, 100, 5, []string{
			"Purge the empty keg with eight cycles, or blow fermentation gas through it.",
			"Purge hose and disconnects with beer to waste.",
			"Transfer closed: liquid post to liquid post, gas back to the fermenter, so that it draws no air.",
			"Purge the headspace with five cycles.",
			"Chill and keep cold."}},
		{"best", "keg filled with liquid and pushed out, closed transfer", 0.02, 0.1, 5, 30, 4, []string{
			"Fill the keg to the very top with sanitiser; tilt, and let it overflow at the highest point.",
			"While it is full, cycle the small gas pocket four times with CO2.",
			"Push all liquid out with CO2, and keep the keg under pressure.",
			"Transfer closed, with the gas led back; no air into the fermenter when it cools.",
			"Purge the headspace once more, check posts and lid with spray, keep cold."}},
	},
	"bottle": {
		{"none", "wide headspace of air, capped late", 1, 1, 500, 2000, 0, []string{"Shown to compare. Yeast takes some of it in 1–3 days, not before it reacts."}},
		{"good", "filled from the bottom, small headspace, capped at once", 0.5, 1, 200, 1000, 0, []string{
			"Fill through a tube that reaches the bottom, no splashing.",
			"Leave 15–20 mm from the top, no more.",
			"Cap each bottle at once. Prime with yeast alive, keep warm until carbonated, then cold."}},
		{"better", "bottle purged, capped on foam", 0.05, 0.2, 50, 300, 0, []string{
			"Blow CO2 into each bottle from the bottom, 5–10 s.",
			"Fill from the bottom; let a little foam rise to the rim.",
			"Cap on foam. Keep cold after conditioning."}},
		{"best", "filled cold from a purged keg under counter-pressure, capped on foam", 0.01, 0.05, 20, 100, 0, []string{
			"Purge the bottle two or three times with CO2 through the filler.",
			"Fill cold, 0–3 °C, under counter-pressure, slowly.",
			"Knock so that foam stands at the rim; cap on foam at once.",
			"Keep cold; drink hop-forward beer first."}},
	},
	"can": {
		{"none", "filled without gas, lid on air", 1, 1, 500, 2000, 0, []string{"Shown to compare."}},
		{"good", "filled from the bottom, lid on at once", 0.5, 1, 200, 800, 0, []string{
			"Fill cold from the bottom, no splashing.",
			"Lid on and seam at once; the ends must be those the seamer is set for.",
			"Keep below 25 °C and within the can's rating."}},
		{"better", "can purged, lid on foam", 0.05, 0.2, 50, 300, 0, []string{
			"Blow CO2 into the can from the bottom, 5–10 s.",
			"Fill cold from the bottom to foam at the rim.",
			"Lid on foam, seam at once; check a seam of every run."}},
		{"best", "can purged, foam to the rim, CO2 under the lid", 0.01, 0.05, 20, 100, 0, []string{
			"Purge with three can volumes of CO2.",
			"Fill cold from a purged keg under counter-pressure; wipe large bubbles away.",
			"Foam to the rim, CO2 across it while the lid lands; seam at once.",
			"Keep cold."}},
	},
}
