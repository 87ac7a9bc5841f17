package calc

import (
	"fmt"

	"ullage/core/oxygen"
	"ullage/core/quantity"
	"ullage/core/wort"
)

// WortTrendInput is past brews, oldest first.
type WortTrendInput struct {
	Rows    Rows[WortTrendRow] `json:"rows" need:"yes" help:"brews, the oldest first: id, efficiency_fraction; or do_ppb, carried_ppb, wort_ml, knockout_min, gas and gas_nl_min or float_reading_nl_min; stone_cleaned"`
	Cleaned bool               `json:"next_cleaned" help:"true where the stone is cleaned before the next brew"`
}

// WortTrendRow is one past brew.
type WortTrendRow struct {
	ID         label                   `json:"id" help:"its name"`
	At         moment                  `json:"at" help:"when"`
	Efficiency *quantity.Fraction      `json:"efficiency_fraction" help:"share of the gas that dissolved, where it is known already"`
	DO         *quantity.DO            `json:"do_ppb" help:"DO read in the wort"`
	Carried    *quantity.DO            `json:"carried_ppb" help:"DO before the gas; 0 when not said"`
	Volume     *quantity.Volume        `json:"wort_ml" help:"wort of the brew"`
	Minutes    *quantity.Minutes       `json:"knockout_min" help:"time the gas ran"`
	Gas        string                  `json:"gas" help:"oxygen (when not said) or air"`
	Flow       *quantity.GasFlow       `json:"gas_nl_min" help:"true gas flow, litres at 0 °C and 1 atm a minute"`
	Float      *quantity.GasFlow       `json:"float_reading_nl_min" help:"or what the float meter showed"`
	FloatFor   string                  `json:"float_for" help:"gas it is scaled for: air, oxygen or co2; that of the brew when not said"`
	FloatGauge *quantity.GaugePressure `json:"float_gauge_kpa" help:"gauge pressure in the float meter; 0 when not said"`
	FloatT     *quantity.Temperature   `json:"float_temperature_c" help:"temperature of its gas; 20 °C when not said"`
	Cleaned    bool                    `json:"stone_cleaned" help:"true where the stone or venturi was cleaned before it"`
}

// WortTrend learns the efficiency of the next brew from past ones.
func WortTrend(in *WortTrendInput) (Answer, error) {
	if len(in.Rows) == 0 {
		return Answer{}, tooFewRows(0, 1)
	}
	var brews []wort.BrewEfficiency
	var w []Warning
	cleaned := false
	for i, r := range in.Rows {
		e, why, err := r.efficiency()
		if err != nil {
			return Answer{}, inRow(i, err)
		}
		id := string(r.ID)
		if id == "" {
			id = format(float64(i+1), 0)
		}
		cleaned = cleaned || r.Cleaned
		if why != "" {
			w = warn(w, "brew_left_out", "rows", id, "has no efficiency: "+why, "add it to the record")
			continue
		}
		if e < 0.02 || e > 1.1 {
			w = warn(w, "efficiency_unlikely", "rows", id, fmt.Sprintf("%.0f %% of its gas dissolved, which is unlikely: it is left out", 100*e), "check flow, scale of the float meter and unit of the DO")
			continue
		}
		brews = append(brews, wort.BrewEfficiency{ID: id, At: r.At.Time, Efficiency: e, Cleaned: cleaned})
		cleaned = false
	}
	return Answer{Result: wort.TrendOf(brews, in.Cleaned || cleaned), Warnings: w}, nil
}

// efficiency of a brew, or what it lacks.
func (r *WortTrendRow) efficiency() (e float64, why string, err error) {
	gas, share, err := wortGas(r.Gas)
	if err != nil {
		return 0, "", err
	}
	if r.Efficiency != nil {
		return float64(*r.Efficiency), "", between("efficiency_fraction", float64(*r.Efficiency), 0, 2, "write a share, or 55 %")
	}
	flow := 0.0
	switch {
	case r.Flow != nil:
		flow = float64(*r.Flow)
		err = between("gas_nl_min", flow, 0, 1e5, "check the unit")
	case r.Float != nil:
		if err = between("float_reading_nl_min", *r.Float, 0, 1e5, "check the unit"); err == nil {
			flow, err = floatFlow(float64(*r.Float), r.FloatFor, gas, r.FloatGauge, r.FloatT)
		}
	default:
		why = "gas_nl_min is missing"
	}
	switch {
	case err != nil || why != "":
	case r.DO == nil:
		why = "do_ppb is missing"
	case r.Volume == nil:
		why = "wort_ml is missing"
	case r.Minutes == nil:
		why = "knockout_min is missing"
	case flow <= 0:
		why = "no gas flowed"
	}
	if err != nil || why != "" {
		return 0, why, err
	}
	err = first(between("do_ppb", float64(*r.DO), 0, 2e5, "check the unit: 9.5 ppm is 9500 ppb"), between("carried_ppb", valueOr(r.Carried, 0), 0, 1e5, "check the unit"),
		bigVolume("wort_ml", *r.Volume), between("knockout_min", float64(*r.Minutes), 0.01, 1e5, "check the unit"))
	return wort.Efficiency(float64(*r.DO), valueOr(r.Carried, 0), hl(r.Volume), flow, float64(*r.Minutes), share), "", err
}

func wortGas(word string) (gas string, share float64, err error) {
	switch word {
	case "", "oxygen":
		return "oxygen", 1, nil
	case "air":
		return "air", oxygen.DryAirO2, nil
	}
	return "", 0, &quantity.Error{Field: "gas", Value: word, Message: "is no gas for wort", Mend: "use oxygen or air"}
}

// floatConditions are those of a float meter, checked.
func floatConditions(scaledFor, gas string, gauge *quantity.GaugePressure, t *quantity.Temperature) (string, float64, float64, error) {
	if scaledFor == "" {
		scaledFor = gas
	}
	if scaledFor != "air" && scaledFor != "oxygen" && scaledFor != "co2" {
		return "", 0, 0, &quantity.Error{Field: "float_for", Value: scaledFor, Message: "is no gas a float meter is scaled for here", Mend: "use air, oxygen or co2"}
	}
	bar, temperature := valueOr(gauge, 0)/100, valueOr(t, 20)
	return scaledFor, bar, temperature, first(between("float_gauge_kpa", bar*100, -90, 2000, "check the unit"), between("float_temperature_c", temperature, -40, 80, "check the unit"))
}

func floatFlow(reading float64, scaledFor, gas string, gauge *quantity.GaugePressure, t *quantity.Temperature) (float64, error) {
	scale, bar, temperature, err := floatConditions(scaledFor, gas, gauge, t)
	return wort.FloatFlow(reading, scale, gas, bar, temperature), err
}

// WortTargetInput is a wort and its yeast.
type WortTargetInput struct {
	Extract    quantity.Extract `json:"extract_plato" need:"yes" help:"extract of the wort"`
	Style      string           `json:"style" help:"ale (when not said) or lager"`
	Source     string           `json:"yeast_source" help:"repitch (when not said), propagated or dry"`
	Generation float64          `json:"generation" help:"generation of the yeast"`
	Age        quantity.Days    `json:"slurry_days" help:"age of the slurry"`
	Pitch      float64          `json:"pitch_million_ml" help:"cells pitched, million a mL"`
	Rules      Rows[WortRule]   `json:"rules" help:"your own: list of from_plato, below_plato, style, low_mg_l, high_mg_l, note, source"`
}

// WortTarget proposes the DO for a wort, by rules that may be the user's own.
func WortTarget(in *WortTargetInput) (Answer, error) {
	pitch, err := pitchOf(in.Extract, in.Style, in.Source, in.Generation, in.Age, in.Pitch)
	if err != nil {
		return Answer{}, err
	}
	rules, err := targetRules(in.Rules)
	if err != nil {
		return Answer{}, err
	}
	t, err := targetFor(pitch, rules)
	if err != nil {
		return Answer{}, err
	}
	return Answer{Result: *t}, nil
}
