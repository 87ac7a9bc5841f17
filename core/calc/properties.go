package calc

import (
	"ullage/core/oxygen"
	"ullage/core/quantity"
)

type airSaturationInput struct {
	Temperature quantity.Temperature `json:"temperature_c" need:"yes" help:"temperature of the water, 0–40 °C"`
	Pressure    *quantity.Pressure   `json:"pressure_kpa" help:"station pressure, not reduced to sea level; 1 atm when neither it nor the altitude is said"`
	Altitude    *float64             `json:"altitude_m" help:"where there is no barometer"`
}

type airSaturationResult struct {
	DO          float64 `json:"do_ppb"`
	MgL         float64 `json:"do_mg_l"`
	Independent float64 `json:"garcia_gordon_mg_l"`
	Pressure    float64 `json:"pressure_kpa"`
	Solubility  float64 `json:"solubility_mg_l_kpa"`
}

func airSaturation(in *airSaturationInput) (Answer, error) {
	if err := inLiquidRange("temperature_c", in.Temperature); err != nil {
		return Answer{}, err
	}
	p := quantity.Pressure(oxygen.Atmosphere)
	var w []Warning
	switch {
	case in.Pressure != nil:
		p = *in.Pressure
	case in.Altitude != nil:
		p = oxygen.StationPressure(*in.Altitude)
		w = warn(w, "no_barometer", "altitude_m", format(*in.Altitude, 0)+" m", "weather moves the pressure at an altitude by ±3 %", "read a barometer for a check of the meter")
	}
	if p < 40 || p > 115 {
		return Answer{}, refuse("pressure_kpa", float64(p), "kPa is outside 40 to 115", "check the unit: 760 mmHg is 101.325 kPa")
	}
	at := oxygen.AirSaturationAt(in.Temperature, p)
	scale := float64(at / oxygen.AirSaturation(in.Temperature))
	return Answer{Result: airSaturationResult{
		float64(at), float64(at) / 1000, scale * float64(oxygen.AirSaturationGarciaGordon(in.Temperature)) / 1000,
		float64(p), oxygen.Solubility(in.Temperature) / 1000 / oxygen.Atmosphere,
	}, Warnings: w}, nil
}

type partitionInput struct {
	Temperature quantity.Temperature `json:"temperature_c" need:"yes" help:"0–40 °C"`
	Pressure    *quantity.Pressure   `json:"pressure_kpa" help:"absolute pressure of a headspace that is mostly CO2"`
}

type partitionResult struct {
	K          float64 `json:"partition_ratio"`
	IUPAC      float64 `json:"by_henry_iupac_2014"`
	Benson     float64 `json:"by_henry_benson_1979"`
	HenryIUPAC float64 `json:"henry_iupac_2014_kpa"`
	Factor     float64 `json:"pressure_factor"`
	AirOxygen  float64 `json:"oxygen_in_air_ug_ml"`
}

func partition(in *partitionInput) (Answer, error) {
	if err := inLiquidRange("temperature_c", in.Temperature); err != nil {
		return Answer{}, err
	}
	t := in.Temperature
	out := partitionResult{
		K: oxygen.PartitionRatio(t), IUPAC: oxygen.PartitionFromHenry(t, oxygen.HenryIUPAC(t)), Benson: oxygen.PartitionFromHenry(t, oxygen.HenryBenson(t)),
		HenryIUPAC: float64(oxygen.HenryIUPAC(t)), Factor: 1, AirOxygen: oxygen.AirMicrograms(t),
	}
	if in.Pressure != nil {
		out.Factor = oxygen.PressureFactor(t, *in.Pressure)
	}
	return Answer{Result: out}, nil
}

type waterInput struct {
	Temperature quantity.Temperature `json:"temperature_c" need:"yes" help:"0–40 °C"`
}

type waterResult struct {
	Density    float64 `json:"density_kg_m3"`
	Kell       float64 `json:"density_kell_kg_m3"`
	Vapour     float64 `json:"vapour_pressure_kpa"`
	Saturation float64 `json:"vapour_pressure_wagner_pruss_kpa"`
}

func water(in *waterInput) (Answer, error) {
	t := in.Temperature
	return Answer{Result: waterResult{
		float64(oxygen.WaterDensity(t)), float64(oxygen.WaterDensityKell(t)), float64(oxygen.VapourPressure(t)), float64(oxygen.SaturationPressure(t)),
	}}, inLiquidRange("temperature_c", t)
}

type airDensityInput struct {
	Temperature quantity.Temperature `json:"temperature_c" need:"yes" help:"temperature of the air"`
	Pressure    quantity.Pressure    `json:"pressure_kpa" need:"yes" help:"station pressure"`
	Humidity    quantity.Fraction    `json:"humidity_fraction" help:"relative humidity, 0–1 or with %"`
}

type airDensityResult struct {
	Density float64 `json:"air_density_kg_m3"`
}

func airDensity(in *airDensityInput) (Answer, error) {
	if in.Humidity > 1 {
		return Answer{}, refuse("humidity_fraction", float64(in.Humidity), "is above 1", `write 0.5 or "50 %"`)
	}
	if err := positive("pressure_kpa", float64(in.Pressure)); err != nil {
		return Answer{}, err
	}
	return Answer{Result: airDensityResult{float64(oxygen.AirDensity(in.Temperature, in.Pressure, in.Humidity))}}, nil
}

type gravityInput struct {
	SG      *quantity.SpecificGravity `json:"sg" help:"specific gravity 20/20 °C; give this or the extract"`
	Extract *quantity.Extract         `json:"extract_plato" help:"% by mass"`
}

type gravityResult struct {
	SG      float64 `json:"sg"`
	Extract float64 `json:"extract_plato"`
	Density float64 `json:"sucrose_density_kg_m3"` // ICUMSA, at this extract and 20 °C
}

func gravity(in *gravityInput) (Answer, error) {
	var out gravityResult
	switch {
	case in.SG != nil && in.Extract == nil:
		out.SG, out.Extract = float64(*in.SG), float64(quantity.Plato(*in.SG))
	case in.Extract != nil && in.SG == nil:
		out.SG, out.Extract = float64(quantity.Gravity(*in.Extract)), float64(*in.Extract)
	default:
		return Answer{}, &quantity.Error{Field: "sg", Message: "or extract_plato is needed, and only one of them", Mend: "give one"}
	}
	if out.SG < 0.95 || out.SG > 1.2 {
		return Answer{}, refuse("sg", out.SG, "is outside 0.95 to 1.2", `write 1.0105, or an extract, "2.6 °P"`)
	}
	out.Density = float64(oxygen.SucroseDensity(quantity.Fraction(out.Extract/100), 20))
	return Answer{Result: out}, nil
}

type attenuationInput struct {
	Original quantity.Extract `json:"original_plato" need:"yes" help:"original extract"`
	Apparent quantity.Extract `json:"apparent_plato" need:"yes" help:"apparent final extract"`
}

type attenuationResult struct {
	RealExtract float64 `json:"real_extract_plato"`
	ABW         float64 `json:"alcohol_by_mass_pct"`
	ABV         float64 `json:"alcohol_by_volume_pct"`
	Real        float64 `json:"real_attenuation_pct"`
	Apparent    float64 `json:"apparent_attenuation_pct"`
	Recovered   float64 `json:"original_recovered_plato"`
}

func attenuation(in *attenuationInput) (Answer, error) {
	if in.Original <= 0 || in.Original > 40 || in.Apparent > in.Original {
		return Answer{}, refuse("original_plato", float64(in.Original), "°P is not above the final extract and up to 40", "check that the two are not exchanged")
	}
	a := oxygen.Balling(in.Original, in.Apparent)
	return Answer{Result: attenuationResult{
		float64(a.RealExtract), 100 * float64(a.AlcoholByMass), float64(a.AlcoholByVolume),
		100 * float64(a.RealAttenuation), 100 * float64(a.ApparentDegree), float64(a.OriginalRecovered),
	}}, nil
}

type co2Input struct {
	Temperature quantity.Temperature  `json:"temperature_c" need:"yes" help:"temperature of the beer, 0–25 °C"`
	Pressure    *quantity.Pressure    `json:"pressure_kpa" help:"absolute pressure; give this or the carbonation"`
	CO2         *quantity.Carbonation `json:"co2_vol" help:"carbonation"`
}

type co2Result struct {
	GramsPerL   float64 `json:"co2_g_l"`
	Volumes     float64 `json:"co2_vol"`
	Pressure    float64 `json:"pressure_kpa"`
	InWater     float64 `json:"co2_in_water_g_l"`
	GasDensity  float64 `json:"gas_density_kg_m3"`
	DensityRise float64 `json:"density_rise_kg_m3"` // of a beer of 1008 kg/m³
	Factor      float64 `json:"partition_pressure_factor"`
}

func co2(in *co2Input) (Answer, error) {
	t := in.Temperature
	if err := inLiquidRange("temperature_c", t); err != nil {
		return Answer{}, err
	}
	var p quantity.Pressure
	switch {
	case in.Pressure != nil && in.CO2 == nil:
		p = *in.Pressure
	case in.CO2 != nil && in.Pressure == nil:
		p = oxygen.CO2Pressure(t, *in.CO2)
	default:
		return Answer{}, &quantity.Error{Field: "co2_vol", Message: "or pressure_kpa is needed, and only one of them", Mend: "give one"}
	}
	gl := oxygen.CO2Concentration(t, p)
	vol := quantity.Carbonation(gl / quantity.CO2GramsPerVolume)
	return Answer{Result: co2Result{
		gl, float64(vol), float64(p), oxygen.CO2InWater(t, p), float64(oxygen.CO2GasDensity(t, p)),
		float64(oxygen.CO2DensityRise(t, vol, 1008)), oxygen.PressureFactor(t, p),
	}}, nil
}

type beerInput struct {
	Temperature quantity.Temperature     `json:"temperature_c" need:"yes" help:"0–40 °C"`
	SG          quantity.SpecificGravity `json:"sg" need:"yes" help:"specific gravity 20/20 °C of the degassed beer"`
	ABV         quantity.Alcohol         `json:"abv_pct" need:"yes" help:"alcohol, % by volume"`
}

type beerResult struct {
	Density     float64 `json:"density_kg_m3"`
	Expansion   float64 `json:"expansion_factor"`
	RealExtract float64 `json:"real_extract_plato"`
	ABW         float64 `json:"alcohol_by_mass_pct"`
	Solubility  float64 `json:"oxygen_solubility_ratio"`
	Ethanol     float64 `json:"ethanol_density_kg_m3"` // of ethanol and water alone, for checks
}

func beer(in *beerInput) (Answer, error) {
	if err := inLiquidRange("temperature_c", in.Temperature); err != nil {
		return Answer{}, err
	}
	if in.SG < 0.95 || in.SG > 1.2 {
		return Answer{}, refuse("sg", float64(in.SG), "is outside 0.95 to 1.2", "write 1.0105")
	}
	re, abw := oxygen.FinishedBeer(in.SG, in.ABV)
	return Answer{Result: beerResult{
		float64(oxygen.BeerDensity(in.SG, in.Temperature)), oxygen.Expansion(in.Temperature, abw, quantity.Fraction(re/100)),
		float64(re), 100 * float64(abw), oxygen.SolubilityInBeer(re, in.ABV), float64(oxygen.EthanolDensity(abw, in.Temperature)),
	}}, nil
}

func inLiquidRange(field string, t quantity.Temperature) error {
	if t < -2 || t > 40 {
		return refuse(field, float64(t), "°C is outside -2 to 40", "check the unit")
	}
	return nil
}
