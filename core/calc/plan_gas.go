package calc

import (
	"fmt"
	"math"

	"ullage/core/oxygen"
	"ullage/core/process"
	"ullage/core/quantity"
)

type gasInput struct {
	numbers
	Gas         string                  `json:"gas" help:"co2 (when not said) or n2"`
	Oxygen      quantity.Fraction       `json:"oxygen_fraction" need:"yes" help:"oxygen in the gas (oxygen_ppmv)"`
	CO2         *quantity.Carbonation   `json:"co2_vol" help:"CO2 dissolved and kept, 2.5 when nothing is said"`
	Dissolved   *quantity.GasInBeer     `json:"dissolved_g_l" help:"instead: gas dissolved and kept, g/L"`
	Temperature *quantity.Temperature   `json:"temperature_c" help:"temperature of the beer; 2 °C when not said"`
	Pressure    *quantity.Pressure      `json:"pressure_kpa" help:"absolute pressure of the gas on the beer; 200 when not said"`
	Gauge       *quantity.GaugePressure `json:"pressure_gauge_kpa" help:"the same, gauge"`
	Station     *quantity.Pressure      `json:"station_kpa" help:"air pressure of the place"`
	Altitude    *quantity.Altitude      `json:"altitude_m" help:"where there is no barometer"`
	Beer        *quantity.Volume        `json:"beer_ml" help:"beer below the gas: adds what a headspace of it brings"`
	Headspace   *quantity.Volume        `json:"headspace_ml" help:"the gas above it"`
	Target      *quantity.DO            `json:"target_ppb" help:"oxygen that the gas dissolved may bring: gives the oxygen it may hold"`
	Explain     bool                    `json:"explain" help:"give the derivation"`
}

// GasResult is what the oxygen of a gas means, by how the gas is used.
type GasResult struct {
	Oxygen    float64           `json:"oxygen_ppmv"`
	Grams     float64           `json:"dissolved_g_l"`
	Dissolved float64           `json:"dissolved_ppb"`  // all the gas dissolved, no oxygen vented: upper bound
	PerVolume float64           `json:"per_volume_ppb"` // for one volume of the gas dissolved
	PerGram   float64           `json:"per_gram_ug"`    // oxygen with a gram of gas
	Contact   float64           `json:"contact_ppb"`    // sparged and vented: equilibrium with the gas
	Pressure  float64           `json:"pressure_kpa"`   // of that contact, absolute
	Headspace *float64          `json:"headspace_ppb,omitempty"`
	Guideline float64           `json:"guideline_ppmv"`         // ISBT, beverage CO2
	AtGuide   float64           `json:"at_guideline_ppb"`       // dissolved_ppb of a gas at the guideline
	Word      string            `json:"word"`                   // within, above
	Allowed   *float64          `json:"allowed_ppmv,omitempty"` // for the target, dissolved and kept
	Cautions  []process.Caution `json:"cautions"`
}

// GasPurity computes what oxygen a gas brings.
func GasPurity(in *gasInput) (Answer, error) {
	g, err := purgeGas(in.Gas)
	y, err2 := fraction("oxygen_fraction", &in.Oxygen, 0)
	at, err3 := station(in.Station, in.Altitude)
	if err := first(err, err2, err3); err != nil {
		return Answer{}, err
	}
	p, err := absolute("pressure", in.Pressure, in.Gauge, at, 200)
	t := or(in.Temperature, 2)
	if err := first(err, inLiquidRange("temperature_c", t)); err != nil {
		return Answer{}, err
	}
	grams, err := in.grams(g)
	if err != nil {
		return Answer{}, err
	}
	molar, volume := g.MolarMass(), 1000*float64(g.Density(0, oxygen.Atmosphere))/1000
	r := GasResult{
		Oxygen: 1e6 * float64(y), Grams: grams, Dissolved: float64(process.Brought(grams, molar, y)), PerVolume: float64(process.Brought(volume, molar, y)),
		PerGram: float64(process.Brought(1, molar, y)), Contact: float64(process.Contact(y, p, t)), Pressure: float64(p),
		Guideline: 1e6 * float64(process.GuidelineCO2), AtGuide: float64(process.Brought(grams, molar, process.GuidelineCO2)), Word: "within",
	}
	var w []Warning
	if y > process.GuidelineCO2 {
		r.Word = "above"
		w = warn(w, "gas_above_guideline", "oxygen_fraction", format(r.Oxygen, 0)+" ppm", "more than the 30 ppm v/v of the ISBT guideline for beverage CO2", "check the delivery and the first gas of a stood vessel")
	}
	if r.Headspace, err = in.headspace(y, p, t); err != nil {
		return Answer{}, err
	}
	if in.Target != nil {
		if err := between("target_ppb", float64(*in.Target), 0, 1e5, "check the unit"); err != nil {
			return Answer{}, err
		}
		if one := float64(process.Brought(grams, molar, 1)); one > 0 {
			allowed := 1e6 * math.Min(1, float64(*in.Target)/one)
			r.Allowed = &allowed
		}
	}
	r.Cautions = process.Cautions(g.Hazard(), process.HazardPressure)
	if in.lean {
		return Answer{Result: r}, nil
	}
	var d working
	d.line("P12", "Δc", "g / M · y · M_O2", fmt.Sprintf("%.5g g/L / %.6g × %.4g × 31.9988e6", grams, molar, float64(y)), r.Dissolved, "ppb", "mass balance; upper bound")
	d.line("P9", "contact", "S(t) y P", fmt.Sprintf("S(%.4g °C) × %.4g × %.5g kPa", float64(t), float64(y), float64(p)), r.Contact, "ppb", "Benson & Krause 1984")
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}

func (in *gasInput) grams(g process.Gas) (float64, error) {
	switch {
	case in.CO2 != nil && in.Dissolved != nil:
		return 0, &quantity.Error{Field: "co2_vol", Message: "or dissolved_g_l is needed, and only one of them", Mend: "keep one"}
	case in.Dissolved != nil:
		return float64(*in.Dissolved), between("dissolved_g_l", *in.Dissolved, 0, 30, "check the unit")
	case g == process.N2:
		if in.CO2 != nil {
			return 0, &quantity.Error{Field: "co2_vol", Message: "is of CO2, and the gas is nitrogen", Mend: "give dissolved_g_l"}
		}
		return 0.02, nil // common in nitrogenated beer
	}
	v := float64(or(in.CO2, 2.5))
	return v * quantity.CO2GramsPerVolume, between("co2_vol", v, 0, 10, "check the unit: 5 g/L is 2.53 vol")
}

func (in *gasInput) headspace(y quantity.Fraction, p quantity.Pressure, t quantity.Temperature) (*float64, error) {
	if in.Beer == nil && in.Headspace == nil {
		return nil, nil
	}
	if in.Beer == nil || in.Headspace == nil {
		return nil, &quantity.Error{Field: "headspace_ml", Message: "needs beer_ml beside it, and beer_ml it", Mend: "give both"}
	}
	if err := first(bigVolume("beer_ml", *in.Beer), bigVolume("headspace_ml", *in.Headspace)); err != nil {
		return nil, err
	}
	v := float64(process.Spread(process.OxygenInGas(y, *in.Headspace, p, t), *in.Beer))
	return &v, nil
}

type stripInput struct {
	numbers
	DO          quantity.DO             `json:"do_ppb" need:"yes" help:"DO of the beer before"`
	Temperature quantity.Temperature    `json:"temperature_c" need:"yes" help:"temperature of the beer"`
	Gas         string                  `json:"gas" help:"co2 (when not said) or n2"`
	GasOxygen   *quantity.Fraction      `json:"gas_oxygen_fraction" help:"oxygen in the gas (gas_oxygen_ppmv); 0 when not said"`
	Pressure    *quantity.Pressure      `json:"pressure_kpa" help:"absolute pressure in the vessel; the station's when not said"`
	Gauge       *quantity.GaugePressure `json:"pressure_gauge_kpa" help:"the same, gauge"`
	Station     *quantity.Pressure      `json:"station_kpa" help:"air pressure of the place; 1 atm when neither it nor the altitude is said"`
	Altitude    *quantity.Altitude      `json:"altitude_m" help:"where there is no barometer"`
	PerBeer     *float64                `json:"gas_per_beer" help:"volumes of gas, at the beer's temperature and pressure, for each volume of beer"`
	Target      *quantity.DO            `json:"target_ppb" help:"instead: DO wanted"`
	Efficiency  *quantity.Fraction      `json:"efficiency_fraction" help:"how near to equilibrium the bubbles leave; 0.15 when not said, 0.1–0.25 in practice"`
	Beer        *quantity.Volume        `json:"beer_ml" help:"beer: gives the gas in kg"`
	Explain     bool                    `json:"explain" help:"give the derivation"`
}

// StripResult is what sparging does.
type StripResult struct {
	DO       float64           `json:"do_after_ppb"`
	Low      float64           `json:"do_low_ppb"`  // at an efficiency of 0.25
	High     float64           `json:"do_high_ppb"` // at 0.1
	Floor    float64           `json:"floor_ppb"`
	PerBeer  float64           `json:"gas_per_beer"`
	Theory   float64           `json:"gas_per_beer_theory"` // for the same, bubbles at equilibrium
	Gas      *float64          `json:"gas_kg,omitempty"`
	Curve    []StripPoint      `json:"curve"`
	Cautions []process.Caution `json:"cautions"`
}

// StripPoint is one point of the picture.
type StripPoint struct {
	PerBeer float64 `json:"gas_per_beer"`
	DO      float64 `json:"do_ppb"`
	Low     float64 `json:"do_low_ppb"`
	High    float64 `json:"do_high_ppb"`
}

// Strip computes sparging, forwards or backwards.
func Strip(in *stripInput) (Answer, error) {
	g, err := purgeGas(in.Gas)
	y, err2 := fraction("gas_oxygen_fraction", in.GasOxygen, 0)
	e, err3 := fraction("efficiency_fraction", in.Efficiency, 0.15)
	place, err4 := station(in.Station, in.Altitude)
	p, err5 := absolute("pressure", in.Pressure, in.Gauge, place, place)
	if err := first(err, err2, err3, err4, err5, inLiquidRange("temperature_c", in.Temperature), between("do_ppb", float64(in.DO), 0, 1e5, "check the unit: 4 ppm is 4000 ppb")); err != nil {
		return Answer{}, err
	}
	if e <= 0.001 {
		return Answer{}, refuse("efficiency_fraction", float64(e), "is not above 0.001", "give 0.1 to 0.25 for example")
	}
	floor, t := process.Contact(y, p, in.Temperature), in.Temperature
	n := or(in.PerBeer, 0)
	switch {
	case (in.PerBeer == nil) == (in.Target == nil):
		return Answer{}, &quantity.Error{Field: "gas_per_beer", Message: "or target_ppb is needed, and only one of them", Mend: "give one"}
	case in.PerBeer != nil:
		if err := between("gas_per_beer", n, 0, 1000, "give volumes of gas for each volume of beer"); err != nil {
			return Answer{}, err
		}
	case *in.Target <= floor:
		return Answer{}, refuse("target_ppb", float64(*in.Target), fmt.Sprintf("is at or below %.3g ppb, the equilibrium with this gas", float64(floor)), "use purer gas, or a higher target")
	case *in.Target < in.DO:
		n = process.StripFor(in.DO, floor, *in.Target, t, e)
	}
	at := func(n float64) StripPoint {
		do := func(e quantity.Fraction) float64 { return float64(process.Stripped(in.DO, floor, t, n, e)) }
		a, b := do(0.25), do(0.1)
		return StripPoint{n, do(e), math.Min(a, b), math.Max(a, b)}
	}
	end := at(n)
	r := StripResult{DO: end.DO, Low: end.Low, High: end.High, Floor: float64(floor), PerBeer: n, Theory: n * float64(e)}
	if in.Beer != nil {
		if err := bigVolume("beer_ml", *in.Beer); err != nil {
			return Answer{}, err
		}
		kg := n * float64(*in.Beer) / 1e6 * float64(g.Density(t, p))
		r.Gas = &kg
	}
	w := warn(nil, "stripping_costs", "gas_per_beer", "", "only gas that leaves strips; beer below its carbonation swallows the first bubbles, and aroma and foam go with the rest", "do it once, vent under control, and read the DO after")
	r.Cautions = process.Cautions(g.Hazard(), process.HazardPressure)
	if in.lean {
		return Answer{Result: r}, nil
	}
	const points = 24
	for i := range points + 1 {
		r.Curve = append(r.Curve, at(math.Max(0.1, 1.4*n)*float64(i)/points))
	}
	var d working
	d.line("P9", "floor", "S(t) y P", fmt.Sprintf("S(%.4g °C) × %.4g × %.5g kPa", float64(t), float64(y), float64(p)), r.Floor, "ppb", "Benson & Krause 1984")
	d.line("P13", "C", "C_f + (C_0 − C_f) e^(−η K G)", fmt.Sprintf("%.4g + (%.5g − %.4g) × e^(−%.4g × %.5g × %.4g)", r.Floor, float64(in.DO), r.Floor, float64(e), oxygen.PartitionRatio(t), n), r.DO, "ppb", "mass balance, Henry's law; η common practice")
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}
