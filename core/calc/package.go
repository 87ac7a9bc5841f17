package calc

import (
	"math"

	"ullage/core/oxygen"
	"ullage/core/quantity"
	"ullage/core/uncertainty"
)

type shakenLimitInput struct {
	Temperature quantity.Temperature `json:"temperature_c" need:"yes" help:"temperature of the package when shaking ended"`
	Beer        quantity.Volume      `json:"beer_ml" need:"yes" help:"volume of the beer"`
	Headspace   quantity.Volume      `json:"headspace_ml" need:"yes" help:"volume of the gas above it"`
	Limit       quantity.TPO         `json:"limit_ppb" need:"yes" help:"TPO limit"`
}

type shakenLimitResult struct {
	ShakenDO float64 `json:"shaken_do_ppb"`
	Ratio    float64 `json:"total_to_dissolved"`
}

func shakenLimit(in *shakenLimitInput) (Answer, error) {
	if err := inLiquidRange("temperature_c", in.Temperature); err != nil {
		return Answer{}, err
	}
	if err := positive("beer_ml", float64(in.Beer)); err != nil {
		return Answer{}, err
	}
	if in.Headspace < 0 {
		return Answer{}, refuse("headspace_ml", float64(in.Headspace), "mL is below zero", "check the volumes")
	}
	p, k := oxygen.Package{Beer: in.Beer, Headspace: in.Headspace}, oxygen.PartitionRatio(in.Temperature)
	return Answer{Result: shakenLimitResult{float64(p.Shaken(in.Limit, 1, k)), p.TotalToDissolved(1, k)}}, nil
}

type headspaceAirInput struct {
	Temperature *quantity.Temperature `json:"temperature_c" help:"temperature of the air, 20 °C when not said"`
	Beer        quantity.Volume       `json:"beer_ml" need:"yes" help:"volume of the beer"`
	TPO         *quantity.TPO         `json:"tpo_ppb" help:"give this or air_ml"`
	Air         *quantity.Volume      `json:"air_ml" help:"dry air at 1 atm"`
}

type headspaceAirResult struct {
	Air    float64 `json:"air_ml"`
	TPO    float64 `json:"tpo_ppb"`
	Oxygen float64 `json:"oxygen_ug"`
}

func headspaceAir(in *headspaceAirInput) (Answer, error) {
	if err := positive("beer_ml", float64(in.Beer)); err != nil {
		return Answer{}, err
	}
	p, t := oxygen.Package{Beer: in.Beer}, quantity.Temperature(20)
	if in.Temperature != nil {
		t = *in.Temperature
	}
	if t < -20 || t > 60 {
		return Answer{}, refuse("temperature_c", float64(t), "°C is outside -20 to 60", "check the unit")
	}
	switch {
	case in.TPO != nil && in.Air == nil:
		air := p.Air(*in.TPO, t)
		return Answer{Result: headspaceAirResult{float64(air), float64(*in.TPO), float64(*in.TPO) * float64(in.Beer) / 1000}}, nil
	case in.Air != nil && in.TPO == nil:
		total := p.FromAir(*in.Air, t)
		w := warn(nil, "residue_is_not_air", "air_ml", in.Air.Format(2), "gas left over caustic is richer or poorer in oxygen than air, by 25 % or more", "use it to watch foam and gassing, not to release")
		return Answer{Result: headspaceAirResult{float64(*in.Air), float64(total), float64(total) * float64(in.Beer) / 1000}, Warnings: w}, nil
	}
	return Answer{}, &quantity.Error{Field: "tpo_ppb", Message: "or air_ml is needed, and only one of them", Mend: "give one"}
}

type fillBiasInput struct {
	Temperature quantity.Temperature `json:"temperature_c" need:"yes" help:"temperature of the package when shaking ended"`
	ShakenDO    quantity.ShakenDO    `json:"shaken_do_ppb" need:"yes" help:"dissolved oxygen read after shaking"`
	Capacity    quantity.Volume      `json:"capacity_ml" need:"yes" help:"volume of the closed package to the brim"`
	Beer        quantity.Volume      `json:"beer_ml" need:"yes" help:"true volume of the beer"`
	Fill        quantity.Volume      `json:"fill_ml" need:"yes" help:"the fill that is assumed instead"`
}

type fillBiasResult struct {
	Bias     float64 `json:"bias_ppb"`
	Relative float64 `json:"bias_share"`
	TPO      float64 `json:"tpo_ppb"`
	Assumed  float64 `json:"assumed_tpo_ppb"`
}

func fillBias(in *fillBiasInput) (Answer, error) {
	if err := inLiquidRange("temperature_c", in.Temperature); err != nil {
		return Answer{}, err
	}
	if err := positive("shaken_do_ppb", float64(in.ShakenDO)); err != nil {
		return Answer{}, err
	}
	for _, v := range []struct {
		field string
		fill  quantity.Volume
	}{{"beer_ml", in.Beer}, {"fill_ml", in.Fill}} {
		if v.fill <= 0 || v.fill >= in.Capacity {
			return Answer{}, refuse(v.field, float64(v.fill), "mL is not between 0 and the capacity", "check the volumes")
		}
	}
	k := oxygen.PartitionRatio(in.Temperature)
	p := oxygen.Assumed(in.Beer, in.Capacity)
	total := float64(p.Total(in.ShakenDO, 1, k))
	bias := float64(p.AssumedFillBias(in.Fill, in.ShakenDO, 1, k))
	return Answer{Result: fillBiasResult{bias, bias / total, total, total + bias}}, nil
}

type capacityInput struct {
	Water quantity.Mass        `json:"capacity_water_g" need:"yes" help:"net weight in air of the water that fills the closed package"`
	T     quantity.Temperature `json:"water_temperature_c" need:"yes" help:"temperature of the water"`
	Air   *quantity.Density    `json:"air_density_kg_m3" help:"density of the air around the balance, 1.2 when not said"`
}

type capacityResult struct {
	Capacity float64 `json:"capacity_ml"`
	Density  float64 `json:"water_density_kg_m3"`
}

func capacityByWater(in *capacityInput) (Answer, error) {
	if err := inLiquidRange("water_temperature_c", in.T); err != nil {
		return Answer{}, err
	}
	rho := oxygen.WaterDensity(in.T)
	v := oxygen.VolumeFromWeight(in.Water, rho, orStandardAir(in.Air))
	return Answer{Result: capacityResult{float64(v), float64(rho)}}, positive("capacity_water_g", float64(in.Water))
}

type weightInput struct {
	Weight  quantity.Mass     `json:"weight_g" need:"yes" help:"weight in air"`
	Density quantity.Density  `json:"density_kg_m3" need:"yes" help:"density of the liquid"`
	Air     *quantity.Density `json:"air_density_kg_m3" help:"density of the air, 1.2 when not said"`
}

type weightResult struct {
	Mass   float64 `json:"mass_g"`
	Volume float64 `json:"volume_ml"`
}

func weight(in *weightInput) (Answer, error) {
	if in.Density <= 10 {
		return Answer{}, refuse("density_kg_m3", float64(in.Density), "kg/m³ is no liquid", "check the unit: 1.01 g/mL is 1010 kg/m³")
	}
	air := orStandardAir(in.Air)
	return Answer{Result: weightResult{float64(oxygen.MassFromWeight(in.Weight, in.Density, air)), float64(oxygen.VolumeFromWeight(in.Weight, in.Density, air))}}, nil
}

type shakeInput struct {
	Minutes []float64 `json:"minutes" need:"yes" help:"times of shaking, min"`
	Read    []float64 `json:"shaken_do_ppb" need:"yes" help:"the reading after each, ppb, of neighbouring packages"`
}

type shakeResult struct {
	Equilibrium  float64  `json:"equilibrium_ppb"`
	EquilibriumU *float64 `json:"equilibrium_u_ppb,omitempty"`
	Initial      float64  `json:"initial_ppb"`
	Rate         float64  `json:"rate_per_min"`
	RateU        *float64 `json:"rate_u_per_min,omitempty"`
	To99         float64  `json:"minutes_to_99_percent"`
	Residual     float64  `json:"error_at_5_min_ppb"`
	ResidualPart float64  `json:"error_at_5_min_share"`
	SD           *float64 `json:"residual_sd_ppb,omitempty"`
}

func shakeStudy(in *shakeInput) (Answer, error) {
	minutes, read := make([]quantity.Minutes, len(in.Minutes)), make([]quantity.ShakenDO, len(in.Read))
	for i, m := range in.Minutes {
		if m < 0 || math.IsNaN(m) || m > 600 {
			return Answer{}, refuse("minutes", m, "is no time of shaking", "give minutes from 0 up")
		}
		minutes[i] = quantity.Minutes(m)
	}
	for i, r := range in.Read {
		read[i] = quantity.ShakenDO(r)
	}
	fit, err := oxygen.FitShake(minutes, read)
	if err != nil {
		return Answer{}, err
	}
	out := shakeResult{Equilibrium: float64(fit.Equilibrium), Initial: float64(fit.Initial), Rate: fit.Rate, To99: float64(fit.To99), Residual: fit.AtFiveMinutes, ResidualPart: float64(fit.AtFiveMinutesOfReading)}
	var w []Warning
	if math.IsNaN(fit.ResidualSD) {
		w = warn(w, "no_spare_point", "minutes", "", "three points fit exactly, so nothing shows how good the fit is", "read at five times or more")
	} else {
		out.EquilibriumU, out.RateU, out.SD = finite(fit.EquilibriumU), finite(fit.RateU), &fit.ResidualSD
	}
	if fit.Rate < 0.0101 || fit.Rate > 59 {
		w = warn(w, "rate_at_bound", "shaken_do_ppb", format(fit.Rate, 3), "the readings do not show an approach to equilibrium", "add earlier and later times")
	}
	return Answer{Result: out, Warnings: w}, nil
}

func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

type delayInput struct {
	TPO   quantity.TPO     `json:"tpo_ppb" need:"yes" help:"TPO at the time of reading"`
	U     float64          `json:"tpo_u_ppb" help:"its standard uncertainty, ppb"`
	Delay quantity.Minutes `json:"delay_min" need:"yes" help:"time from closing to reading"`
	Rate  float64          `json:"rate_per_h" need:"yes" help:"first-order uptake found in a delay study, 1/h"`
	RateU float64          `json:"rate_u_per_h" help:"its standard uncertainty, 1/h"`
}

type delayResult struct {
	Closed float64 `json:"tpo_at_closing_ppb"`
	U      float64 `json:"tpo_at_closing_u_ppb"`
	Read   float64 `json:"tpo_read_ppb"`
	Lost   float64 `json:"consumed_ppb"`
}

func delayed(in *delayInput) (Answer, error) {
	if in.Delay < 0 {
		return Answer{}, refuse("delay_min", float64(in.Delay), "min is below zero", "check both clocks")
	}
	closed, u := oxygen.BeforeDelay(in.TPO, in.U, in.Delay, in.Rate, in.RateU)
	var w []Warning
	if in.Delay > 120 {
		w = warn(w, "read_late", "delay_min", in.Delay.Format(0), "read more than 2 h after closing", "show both figures; never pass a lot on a late low number")
	}
	return Answer{Result: delayResult{float64(closed), u, float64(in.TPO), float64(closed - in.TPO)}, Warnings: w}, nil
}

type conformityInput struct {
	Value float64 `json:"value" need:"yes" help:"the result"`
	U     float64 `json:"standard_uncertainty" need:"yes" help:"its standard uncertainty"`
	DoF   float64 `json:"degrees_of_freedom" help:"0 for infinite"`
	Limit float64 `json:"limit" need:"yes" help:"upper limit"`
	Risk  float64 `json:"risk" help:"accepted probability that a passed value is above; 0.05 when not said"`
}

type conformityResult struct {
	Above   float64 `json:"probability_above"`
	Guarded float64 `json:"guarded_limit"`
}

func conformity(in *conformityInput) (Answer, error) {
	if in.U < 0 {
		return Answer{}, refuse("standard_uncertainty", in.U, "is below zero", "give 0 or more")
	}
	risk := in.Risk
	if risk == 0 {
		risk = 0.05
	}
	if risk < 0 || risk >= 1 {
		return Answer{}, refuse("risk", risk, "is no probability", "give 0.05 for example")
	}
	return Answer{Result: conformityResult{uncertainty.Above(in.Value, in.U, in.DoF, in.Limit), uncertainty.GuardedLimit(in.Limit, in.U, risk)}}, nil
}

func orStandardAir(d *quantity.Density) quantity.Density {
	if d == nil {
		return oxygen.StandardAirDensity
	}
	return *d
}

func positive(field string, v float64) error {
	if v <= 0 {
		return refuse(field, v, "is not above zero", "check the value")
	}
	return nil
}
