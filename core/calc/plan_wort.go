package calc

import (
	"fmt"
	"math"

	"ullage/core/oxygen"
	"ullage/core/process"
	"ullage/core/quantity"
	"ullage/core/wort"
)

type wortInput struct {
	numbers
	Volume      *quantity.Volume        `json:"wort_ml" help:"wort of the brew, with the time it takes; or its flow"`
	Flow        *quantity.WortFlow      `json:"wort_l_min" help:"flow of the wort"`
	Minutes     *quantity.Minutes       `json:"knockout_min" help:"time it takes"`
	Temperature quantity.Temperature    `json:"temperature_c" need:"yes" help:"temperature of the wort"`
	Extract     *quantity.Extract       `json:"extract_plato" help:"its extract; 12 °P when not said"`
	Carried     *quantity.DO            `json:"carried_ppb" help:"DO that it has already; 0 when not said"`
	Fills       Rows[WortFillRow]       `json:"fills" help:"brews of one tank in order: list of wort_ml, gassed (yes when not said); the target is then that of the tank"`
	Target      *quantity.DO            `json:"target_ppb" help:"DO wanted in the wort (target_ppm); by the rules, from gravity and yeast, when not said"`
	Style       string                  `json:"style" help:"ale (when not said) or lager"`
	Source      string                  `json:"yeast_source" help:"repitch (when not said), propagated or dry"`
	Generation  float64                 `json:"generation" help:"generation of the yeast"`
	Age         quantity.Days           `json:"slurry_days" help:"age of the slurry"`
	Pitch       float64                 `json:"pitch_million_ml" help:"cells pitched, million a mL"`
	Rules       Rows[WortRule]          `json:"rules" help:"your own rules for the target: list of from_plato, below_plato, style, low_mg_l, high_mg_l, note, source"`
	Second      *quantity.DO            `json:"second_ppb" help:"DO of a second dose, 12 to 18 h after pitching"`
	SecondEff   *quantity.Fraction      `json:"second_efficiency_fraction" help:"its efficiency; 0.2 when not said, a stone in the tank"`
	Gas         string                  `json:"gas" help:"oxygen (when not said) or air"`
	Efficiency  *quantity.Fraction      `json:"efficiency_fraction" help:"share of the gas that dissolves and stays: 0.6–0.95 long line, 0.3–0.6 short, 0.1–0.4 stone in the tank"`
	Brews       Rows[WortTrendRow]      `json:"brews" help:"instead: past brews, the oldest first, that the efficiency is learned from; fields as of wort-trend"`
	NextCleaned bool                    `json:"next_cleaned" help:"true where the stone is cleaned before this brew"`
	Pressure    *quantity.Pressure      `json:"pressure_kpa" help:"absolute pressure where the gas goes in; the station's when not said"`
	Gauge       *quantity.GaugePressure `json:"pressure_gauge_kpa" help:"the same, gauge"`
	Station     *quantity.Pressure      `json:"station_kpa" help:"air pressure of the place; 1 atm when neither it nor the altitude is said"`
	Altitude    *quantity.Altitude      `json:"altitude_m" help:"altitude of the place, where there is no barometer"`
	FloatFor    string                  `json:"float_for" help:"gas that the float meter is scaled for: air, oxygen or co2; gives its reading"`
	FloatGauge  *quantity.GaugePressure `json:"float_gauge_kpa" help:"gauge pressure in the float meter; 0 when not said"`
	FloatT      *quantity.Temperature   `json:"float_temperature_c" help:"temperature of its gas; 20 °C when not said"`
	Set         *quantity.GasFlow       `json:"gas_set_nl_min" help:"gas flow that is set: gives the DO it makes"`
	Read        *quantity.DO            `json:"read_ppb" help:"DO read in the wort with that flow (read_ppm): gives the efficiency it had"`
	Explain     bool                    `json:"explain" help:"give the derivation"`
}

// WortResult is the setting of the gas.
type WortResult struct {
	Flow     float64  `json:"gas_nl_min"`               // litres at 0 °C and 1 atm
	FlowLow  *float64 `json:"gas_low_nl_min,omitempty"` // by the 95 % of an efficiency learned from brews
	FlowHigh *float64 `json:"gas_high_nl_min,omitempty"`
	Aim      float64  `json:"target_ppb"` // typed, or the rules' proposal
	Share    float64  `json:"efficiency_fraction"`
	Grams    float64  `json:"oxygen_g_min"`
	OnAir    *float64 `json:"air_scale_nl_min,omitempty"` // what a float meter scaled for air shows for it
	Total    *float64 `json:"gas_nl,omitempty"`
	Made     *float64 `json:"do_made_ppb,omitempty"`        // by the gas flow that is set
	Learned  *float64 `json:"efficiency_learned,omitempty"` // by the reading; above 1 something is wrong
	Ceiling  float64  `json:"ceiling_ppb"`                  // equilibrium with the gas at the pressure given
	AtTank   float64  `json:"tank_ceiling_ppb"`             // the same at the pressure of the place, where some comes out again
	TankLow  float64  `json:"tank_ceiling_low_ppb"`         // by published worts
	TankHigh float64  `json:"tank_ceiling_high_ppb"`        // by the constant of sucrose

	Float       *float64   `json:"float_reading_nl_min,omitempty"` // of the float meter described
	Fills       []WortFill `json:"fills,omitempty"`
	Mixed       *float64   `json:"mixed_ppb,omitempty"` // of the tank by volume
	SecondGrams *float64   `json:"second_oxygen_g,omitempty"`
	SecondNL    *float64   `json:"second_gas_nl,omitempty"`

	Target *wort.Target      `json:"target,omitempty"` // by the rules, where no DO was typed
	Rules  []wort.TargetRule `json:"rules,omitempty"`  // in force
	Trend  *wort.BrewTrend   `json:"trend,omitempty"`  // of the past brews

	Cautions []process.Caution `json:"cautions"`
}

// WortOxygen computes the gas for a DO target in wort: the target typed or by
// rules, the efficiency typed or learned from past brews.
func WortOxygen(in *wortInput) (Answer, error) {
	r := WortResult{}
	gas, share, err := wortGas(in.Gas)
	if err != nil {
		return Answer{}, err
	}
	flow, errFlow := in.flow()
	at, errStation := station(in.Station, in.Altitude)
	w, errAims := in.choose(&r)
	carried, extract := or(in.Carried, 0), or(in.Extract, 12)
	if err := first(errFlow, errStation, errAims, between("target_ppb", r.Aim, 1, 1e5, "check the unit: 10 ppm is 10000 ppb"), between("carried_ppb", float64(carried), 0, 1e5, "check the unit"),
		optional("gas_set_nl_min", in.Set, 1e-6, 1e6), inLiquidRange("temperature_c", in.Temperature), between("extract_plato", float64(extract), 0, 40, "check the unit")); err != nil {
		return Answer{}, err
	}
	p, err := absolute("pressure", in.Pressure, in.Gauge, at, at)
	if err != nil {
		return Answer{}, err
	}
	const density = wort.NormalOxygen / 1000 // g/L
	aim, err := in.aim(quantity.DO(r.Aim), carried)
	if err != nil {
		return Answer{}, err
	}
	need := math.Max(0, float64(aim-carried)) / 1e6
	r.Grams = flow * need / r.Share
	r.Flow = r.Grams / (density * share)
	in.learnedBand(&r)
	if share == 1 {
		shown := r.Flow / math.Sqrt(28.9655/oxygen.MolarMassO2)
		r.OnAir = &shown
	}
	if in.Minutes != nil {
		total := r.Flow * float64(*in.Minutes)
		r.Total = &total
	}
	in.fills(&r, aim, carried, flow)
	if err := first(in.float(&r, gas), in.second(&r, share), in.learn(&r, flow, density*share, carried)); err != nil {
		return Answer{}, err
	}
	// Sources disagree: k is 8.5e-4 L/g in published worts, 4.4e-4 for sucrose, 6.5e-4 taken.
	ceiling := func(p quantity.Pressure, k float64) float64 {
		dry := p - oxygen.VapourPressure(in.Temperature)
		return float64(process.Contact(quantity.Fraction(share), max(0, dry), in.Temperature)) * math.Pow(oxygen.SolubilityInWort(extract), k/6.5e-4)
	}
	r.Ceiling, r.AtTank = ceiling(p, 6.5e-4), ceiling(at, 6.5e-4)
	r.TankLow, r.TankHigh = ceiling(at, 8.5e-4), ceiling(at, 4.4e-4)
	w = append(w, in.doubts(&r, aim)...)
	r.Cautions = process.Cautions(process.HazardOxygen, process.HazardPressure)
	if share < 1 {
		r.Cautions = process.Cautions(process.HazardPressure)
	}
	if in.lean {
		return Answer{Result: r}, nil
	}
	var d working
	d.line("P25", "Q", "q (c − c_0) / (ρ η)", fmt.Sprintf("%.5g L/min × %.5g mg/L / (%.5g mg/NL × %.3g)", flow, need*1000, 1000*density*share, r.Share), r.Flow, "NL/min", "mass balance")
	d.line("P26", "ceiling", "S(t) y (P − P_wv) β_wort", fmt.Sprintf("β = %.4f at %.4g °P", oxygen.SolubilityInWort(extract), float64(extract)), r.Ceiling, "ppb", "Benson & Krause 1984; sugar salting-out")
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}

func (in *wortInput) doubts(r *WortResult, aim quantity.DO) (w []Warning) {
	if float64(aim) > r.TankLow {
		w = warn(w, "above_ceiling", "target_ppb", aim.Format(0), fmt.Sprintf("this wort holds %.0f to %.0f ppb in the tank under this gas: what dissolves under pressure comes out in the tank", r.TankLow, r.TankHigh), "use oxygen, colder wort, or a second dose")
	}
	if r.Learned != nil && *r.Learned > 1 {
		w = warn(w, "more_than_all", "read_ppb", in.Read.Format(0), "more oxygen than the gas brought: an efficiency above 1", "check the flow meter's scale and pressure, and the DO that the wort had")
	}
	return w
}

// learn turns eq. P25 round: what a gas flow makes, and from a reading the
// efficiency that it had.
func (in *wortInput) learn(r *WortResult, flow, gramsPerL float64, carried quantity.DO) error {
	if in.Set == nil {
		if in.Read != nil {
			return missing("gas_set_nl_min")
		}
		return nil
	}
	most := float64(*in.Set) * gramsPerL / flow * 1e6 // µg/L, if all of it dissolved
	made := float64(carried) + most*r.Share
	r.Made = &made
	if in.Read != nil {
		if err := between("read_ppb", float64(*in.Read), 0, 1e5, "check the unit: 9 ppm is 9000 ppb"); err != nil {
			return err
		}
		learned := math.Max(0, float64(*in.Read-carried)) / most
		r.Learned = &learned
	}
	return nil
}

func (in *wortInput) flow() (float64, error) {
	switch {
	case in.Flow != nil && in.Volume != nil:
		return 0, &quantity.Error{Field: "wort_l_min", Message: "or wort_ml with knockout_min is needed, and only one of them", Mend: "keep one"}
	case in.Minutes != nil && !(*in.Minutes > 0 && *in.Minutes < 1e5):
		return 0, refuse("knockout_min", float64(*in.Minutes), "min is no time of a knock-out", "check the unit")
	case in.Flow != nil:
		return float64(*in.Flow), between("wort_l_min", *in.Flow, 1e-3, 1e6, "check the unit")
	case in.Volume == nil || in.Minutes == nil:
		return 0, missing("wort_l_min")
	}
	return float64(*in.Volume) / 1000 / float64(*in.Minutes), bigVolume("wort_ml", *in.Volume)
}
