package wort

import (
	"fmt"
	"math"
	"strings"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

const litresPerHL = 100

// NormalOxygen is the mass of a litre of oxygen at 0 °C and 1 atm, mg: real gas.
const NormalOxygen = 1429.0

// molarMasses of the gases that float meters are scaled for, g/mol.
var molarMasses = map[string]float64{"air": 28.9655, "oxygen": oxygen.MolarMassO2, "co2": oxygen.MolarMassCO2}

// FloatFlow is the true flow, litres at 0 °C and 1 atm a minute, of a float
// meter scaled for one gas at 1 atm and 20 °C that shows a reading while
// another gas flows through it at a gauge pressure (bar) and temperature (°C)
// (eq. 50). It is 0 for a gas it does not know.
func FloatFlow(reading float64, scaledFor, gas string, gaugeBar, t float64) float64 {
	return reading * floatFactor(scaledFor, gas, gaugeBar, t)
}

// FloatReading is what such a meter shows for a true flow: the inverse.
func FloatReading(flow float64, scaledFor, gas string, gaugeBar, t float64) float64 {
	if f := floatFactor(scaledFor, gas, gaugeBar, t); f > 0 {
		return flow / f
	}
	return 0
}

func floatFactor(scaledFor, gas string, gaugeBar, t float64) float64 {
	a, b := molarMasses[scaledFor], molarMasses[gas]
	p := 1 + gaugeBar*100/oxygen.Atmosphere
	if a == 0 || b == 0 || p <= 0 {
		return 0
	}
	return math.Sqrt(a/b) * math.Sqrt(p) * math.Sqrt(293.15/(273.15+t))
}

// Efficiency is the share of the oxygen dosed that was found dissolved (eq. 51):
// DO and carry-over in ppb, volume in hL, flow in NL/min of a gas with this
// share of oxygen, over some minutes. 0 where nothing was dosed.
func Efficiency(do, carried, volumeHL, flowNLMin, minutes, share float64) float64 {
	dosed := flowNLMin * minutes * NormalOxygen * share
	if dosed <= 0 {
		return 0
	}
	return (do - carried) / 1000 * volumeHL * litresPerHL / dosed
}

// TargetRule is the DO that wort of some gravity is given, mg/L.
type TargetRule struct {
	From   float64 `json:"from_plato"`
	Below  float64 `json:"below_plato"`
	Style  string  `json:"style,omitempty"` // ale or lager; empty for both
	Low    float64 `json:"low_mg_l"`
	High   float64 `json:"high_mg_l"`
	Note   string  `json:"note,omitempty"`
	Source string  `json:"source,omitempty"`
}

const practice = "common practice"

// DefaultTargets are starting points, all common practice; yeasts differ widely
// (Kirsop 1974 and Jakobsen & Thorne 1980, as cited by a handbook page).
func DefaultTargets() []TargetRule {
	return []TargetRule{
		{0, 13.5, "ale", 8, 10, "", practice},
		{0, 13.5, "lager", 8, 12, "", practice},
		{13.5, 16.5, "", 10, 14, "air does not reach it: pure oxygen", practice},
		{16.5, 20.5, "", 12, 18, "a second dose 12 to 18 h after pitching, not after 24 h", practice},
		{20.5, 45, "", 15, 20, "step dosing, high pitch", practice},
	}
}

// Pitch says which yeast a wort gets.
type Pitch struct {
	Plato      float64
	Style      string  // ale or lager
	Source     string  // repitch, propagated or dry
	Generation int     // 0: not known
	AgeDays    float64 // of the slurry
	MillionML  float64 // cells pitched, million a mL; 0: not known
}

// Target is the DO proposed for a wort.
type Target struct {
	Low        float64  `json:"low_mg_l"`
	High       float64  `json:"high_mg_l"`
	Proposed   float64  `json:"proposed_mg_l"`
	SecondDose bool     `json:"second_dose"`
	Reasons    []string `json:"reasons"`
	Source     string   `json:"source"`
}

// TargetFor applies the rules (the starting points where there are none) to a
// wort and its yeast. ok is false where no rule holds its gravity.
func TargetFor(p Pitch, rules []TargetRule) (t Target, ok bool) {
	if len(rules) == 0 {
		rules = DefaultTargets()
	}
	for _, r := range rules {
		if p.Plato < r.From || p.Plato >= r.Below || r.Style != "" && r.Style != p.Style {
			continue
		}
		t = Target{Low: r.Low, High: r.High, Source: r.Source, SecondDose: strings.Contains(r.Note, "second dose")}
		style := strings.TrimSpace(r.Style)
		if style == "" {
			style = "wort"
		}
		t.Reasons = append(t.Reasons, fmt.Sprintf("%s of %s °P: %s to %s mg/L", style, quantity.Figure(p.Plato), quantity.Figure(r.Low), quantity.Figure(r.High)))
		if r.Note != "" {
			t.Reasons = append(t.Reasons, r.Note)
		}
		t.yeast(p)
		return t, true
	}
	return t, false
}

// yeast bends a target to the yeast that is pitched, common practice.
func (t *Target) yeast(p Pitch) {
	t.Proposed = (t.Low + t.High) / 2
	switch {
	case p.Source == "dry" && p.Generation <= 1 && p.Plato <= 16:
		t.Low, t.High, t.Proposed, t.SecondDose = 0, 6, 4, false
		t.Reasons = append(t.Reasons, "active dry yeast, first use: it brings its sterol; none strictly needed, 4 to 6 mg/L does no harm")
	case p.Source == "propagated" && p.Generation <= 1:
		t.Low, t.High = t.Low*0.5, t.High*0.7
		t.Proposed = (t.Low + t.High) / 2
		t.Reasons = append(t.Reasons, "freshly propagated, aerated yeast: 50 to 70 % of the usual")
	case p.Generation > 8 || p.AgeDays > 5:
		t.Proposed = t.High
		t.Reasons = append(t.Reasons, "old slurry or many generations: the upper end")
	}
	if p.MillionML > 0 && p.Plato > 0 && p.MillionML/p.Plato > 2 {
		t.Reasons = append(t.Reasons, fmt.Sprintf("pitched at %s million/mL for each °P: less growth, less need; do not make up with gas", quantity.Figure(p.MillionML/p.Plato)))
	}
	if t.High > 40 {
		t.Reasons = append(t.Reasons, "above 40 mg/L can harm yeast")
	}
}
