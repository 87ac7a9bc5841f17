package calc

import (
	"maps"
	"slices"
	"sort"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

const uncertainty95 = 1.959963984540054

// better is a measurement the user could make: what it would change of the
// input, and by which path the result would then go.
type better struct {
	what string
	open bool
	path uint8
	with func(*TPOInput)
}

// improve ranks better measurements by what they would buy: each is tried on a
// copy of the input, so correlations and new sources of error count.
func (e *Evaluator) improve(in *TPOInput, out *TPOResult, u float64) {
	path := e.model.path
	for _, b := range e.betterMeasurements(in, out) {
		if !b.open {
			continue
		}
		try := *in
		try.U = maps.Clone(in.U)
		if try.U == nil {
			try.U = map[string]float64{}
		}
		try.Corrections = slices.Clone(in.Corrections)
		b.with(&try)
		with := e.uncertaintyOf(&try, b.path)
		if gain := uncertainty95 * (u - with); gain > 0.05 {
			out.Improvements = append(out.Improvements, Improvement{What: b.what, U: with, Gain: gain})
		}
	}
	e.setUp(in, path)
	sort.SliceStable(out.Improvements, func(i, j int) bool { return out.Improvements[i].Gain > out.Improvements[j].Gain })
	if len(out.Improvements) > 0 {
		out.Next = &out.Improvements[0]
	}
}

func (e *Evaluator) betterMeasurements(in *TPOInput, out *TPOResult) []better {
	path, do := e.model.path, e.x[xDO]
	byWeight, volumes := path == weighed, *out
	set := func(key string, to float64) func(*TPOInput) { return func(t *TPOInput) { t.U[key] = to } }
	return []better{
		{"weigh this package empty", byWeight && in.TareSource != "own", path, func(t *TPOInput) { t.TareSource = "own" }},
		{"measure the capacity of this package with water", in.CapacitySource != "own", path, func(t *TPOInput) {
			t.CapacitySource, t.CapacityN = "own", 0
			delete(t.U, "capacity")
		}},
		{"weigh the package", path == assumed, weighed, func(t *TPOInput) { t.asIfWeighed(&volumes) }},
		{"the fill height in the neck", path != byHeight && in.kind() == "bottle", byHeight, func(t *TPOInput) { t.asIfGauged(&volumes) }},
		{"a DO meter good to 0.5 ppb or 1 %", true, path, set("meter", max(0.5, 0.01*do))},
		{"a thermometer good to 0.1 °C", true, path, set("temperature", 0.1)},
		{"a gravity good to 0.0001", byWeight, path, set("gravity", 0.0001)},
		{"a shake study, shaking to within 0.3 %", true, path, set("shaking", 0.003*do)},
		{"the carbonation, and its corrections (co2, pressure)", !in.corrects(CorrectCO2) || !in.corrects(CorrectPressure), path, func(t *TPOInput) {
			if t.CO2 == nil {
				usual := quantity.Carbonation(usualCO2)
				t.CO2 = &usual
			}
			t.correctAlso(CorrectCO2, CorrectPressure)
		}},
		{"the alcohol, and the corrections for beer and expansion", !in.corrects(CorrectBeer) || !in.corrects(CorrectExpansion), path, func(t *TPOInput) {
			t.usualBeer()
			t.correctAlso(CorrectBeer, CorrectExpansion)
		}},
	}
}

func (in *TPOInput) correctAlso(names ...string) {
	for _, name := range names {
		if !in.corrects(name) {
			in.Corrections = append(in.Corrections, name)
		}
	}
}

// usualBeer fills in a beer of 1.010 and 5 % where it is not known, enough to
// say what knowing it would buy.
func (in *TPOInput) usualBeer() {
	sg, abv := quantity.SpecificGravity(1.010), quantity.Alcohol(5)
	if in.SG == nil {
		in.SG = &sg
	}
	if in.ABV == nil {
		in.ABV = &abv
	}
}

// asIfWeighed gives the weights that the volumes of a result would have, with a
// usual lot tare where there is none.
func (in *TPOInput) asIfWeighed(out *TPOResult) {
	in.usualBeer()
	if in.Tare == nil {
		share := 0.038 // of the volume, g/mL, by the formats of common practice
		switch {
		case in.kind() == "bottle":
			share = 0.6
		case out.Beer > 3000:
			share = 0.36
		}
		tare := quantity.Mass(share * out.Beer)
		in.Tare = &tare
	}
	density := oxygen.BeerDensity(*in.SG, *in.Temperature)
	gross := *in.Tare + quantity.Mass(out.Beer/float64(oxygen.VolumeFromWeight(1, density, orStandardAir(in.AirDensity))))
	in.Gross = &gross
}

// asIfGauged gives the fill height that the volumes of a result would have.
func (in *TPOInput) asIfGauged(out *TPOResult) {
	gap, headspace, slope := quantity.Length(0), quantity.Volume(out.Headspace), quantity.VolumePerLength(0)
	in.Gap, in.NeckGap, in.NeckHeadspace, in.NeckPerMM = &gap, &gap, &headspace, &slope
}
