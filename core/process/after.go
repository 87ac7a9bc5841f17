package process

import (
	"math"

	"ullage/core/quantity"
)

// Q10 is how much faster beer ages with 10 K more. Published figures go from 2
// (Bamforth & Lentini 2009: 2–3) to 4.5 (derived from Ferreira et al. 2022, LWT
// 154:112688); 3 is the middle the plan shows.
const (
	Q10Low  = 2.0
	Q10     = 3.0
	Q10High = 4.5
)

// Speed is the rate at a temperature over that at a reference (eq. P20).
func Speed(q10 float64, t, reference quantity.Temperature) float64 {
	return math.Pow(q10, float64(t-reference)/10)
}

// Stay is some time at one temperature.
type Stay struct {
	Days        float64
	Temperature quantity.Temperature
}

// EquivalentAge is the days at the reference temperature that age a package as
// much as its history does (eq. P21).
func EquivalentAge(history []Stay, q10 float64, reference quantity.Temperature) float64 {
	sum := 0.0
	for _, s := range history {
		sum += s.Days * Speed(q10, s.Temperature, reference)
	}
	return sum
}

// Mnemonic is the trade's "3, 30, 300 days": the share of that life which a
// history has used, log-linear between 32.2, 22.2 and 3.3 °C (90, 72, 38 °F) and
// along the nearer line outside. A rule of thumb without a paper; its two lines
// imply a Q10 of 10 and of 3.4.
func Mnemonic(history []Stay) float64 {
	used := 0.0
	for _, s := range history {
		t := float64(s.Temperature)
		slope := 0.1 // decades per K, 22.2–32.2 °C
		if t < 200.0/9 {
			slope = 1 / (200.0/9 - 30.0/9)
		}
		used += s.Days / (30 * math.Pow(10, -slope*(t-200.0/9)))
	}
	return used
}

// Course is the oxygen of a package some days after closing.
type Course struct {
	Days     float64
	Present  quantity.TPO // what a meter would find
	Supplied quantity.TPO // TPO and all ingress: what the beer has had to bear
	Consumed quantity.TPO
}

// After is the oxygen of a package with steady ingress, ppb a day, and
// first-order uptake, 1/day (eq. P19).
func After(start quantity.TPO, ingress, uptake, days float64) Course {
	supplied := float64(start) + ingress*days
	present := supplied
	if x := uptake * days; x > 0 {
		present = float64(start)*math.Exp(-x) + ingress*days*-math.Expm1(-x)/x
	}
	return Course{days, quantity.TPO(present), quantity.TPO(supplied), quantity.TPO(supplied - present)}
}

// life is one line of the trade's experience at 20 °C: up to so many ppb of
// oxygen supplied, a pale beer keeps from low to high days. Common practice, to
// be replaced by a brewery's own tastings.
var lives = []struct{ below, low, high float64 }{
	{50, 120, 180}, {100, 90, 120}, {200, 42, 70}, {400, 21, 42}, {math.Inf(1), 7, 14},
}

// Keeping is the band of days at 20 °C, for a pale beer, that common practice
// gives to this TPO with this ingress, ppb a day at 20 °C: each end is the
// longest time whose own supply still belongs to its line.
func Keeping(start quantity.TPO, ingress float64) (low, high float64) {
	for i, l := range lives {
		low = math.Max(low, reach(start, ingress, l.below, l.low))
		high = math.Max(high, reach(start, ingress, l.below, l.high))
		if i == len(lives)-1 {
			low, high = math.Max(low, l.low), math.Max(high, l.high)
		}
	}
	return low, high
}

// reach is how long a package stays below a supply, at most the line's days.
func reach(start quantity.TPO, ingress, below, days float64) float64 {
	room := below - float64(start)
	if room <= 0 {
		return 0
	}
	if ingress <= 0 || math.IsInf(room, 1) {
		return days
	}
	return math.Min(days, room/ingress)
}

// Closure is a package's way in for oxygen: mL of O2 a day at 20 °C and 1 atm.
type Closure struct {
	Key    string  `json:"key"`
	Name   string  `json:"name"`
	Low    float64 `json:"low_ml_day"`
	High   float64 `json:"high_ml_day"`
	Source string  `json:"source"`
}

// Closures, from tightest to leakiest.
var Closures = []Closure{
	{"can", "can, sound seam", 0, 0, "Wisk & Siebert, J. ASBC 45:14 (1987): not observed"},
	{"crown_scavenger", "crown, liner that takes up oxygen, while it works", 0, 0.0003, "from memory"},
	{"crown_low", "crown, low-permeation liner", 0.001, 0.001, "MBAA TQ (1990) abstract; trade press: typically 0.001"},
	{"crown_pvc", "crown, PVC liner", 0.002, 0.002, "Wisk & Siebert, J. ASBC 45:14 (1987)"},
	{"pet_barrier", "PET bottle 0.5 L with barrier", 0.001, 0.005, "from memory"},
	{"pet", "PET bottle 0.5 L, one layer", 0.02, 0.06, "from memory"},
}

// IngressPPB is mL of oxygen a day, at 20 °C and 1 atm, as ppb a day of the beer.
func IngressPPB(mlPerDay float64, beer quantity.Volume) float64 {
	return float64(Spread(OxygenInGas(1, quantity.Volume(mlPerDay), 101.325, 20), beer))
}

// IngressQ10 is how permeation grows with 10 K: about 40 kJ/mol, within 30 to
// 50, from memory.
const (
	IngressQ10Low  = 1.5
	IngressQ10     = 1.7
	IngressQ10High = 2.0
)

// Uptake is a kind of beer by how fast it takes up oxygen in the package.
type Uptake struct {
	Key, Name     string
	Low20, High20 float64 // half-life at 20 °C, days
	Low4, High4   float64 // at 4 °C
}

// Uptakes, slowest first: common practice and from memory. Published work gives
// the shape and the sense, no half-lives (André & Moll, J. ASBC 44:151, 1986).
var Uptakes = []Uptake{
	{"bright", "bright, filtered", 2, 6, 14, 42},
	{"unfiltered", "unfiltered or hop-forward", 0.5, 2, 3, 10},
	{"yeast", "live yeast in the package", 1.0 / 24, 0.5, 0.25, 3},
}

// HalfLife is the band of days in which half of the oxygen is taken up at a
// temperature: through both temperatures of the table, log-linear.
func (u Uptake) HalfLife(t quantity.Temperature) (low, high float64) {
	at := func(warm, cold float64) float64 { return warm * math.Pow(cold/warm, (20-float64(t))/16) }
	return at(u.Low20, u.Low4), at(u.High20, u.High4)
}
