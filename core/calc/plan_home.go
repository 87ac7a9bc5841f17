package calc

import (
	"fmt"
	"math"

	"ullage/core/oxygen"
	"ullage/core/process"
	"ullage/core/quantity"
)

type primingInput struct {
	numbers
	Beer        quantity.Volume       `json:"beer_ml" need:"yes" help:"beer to prime"`
	CO2         quantity.Carbonation  `json:"co2_vol" need:"yes" help:"carbonation wanted"`
	Highest     quantity.Temperature  `json:"highest_c" need:"yes" help:"highest temperature since fermentation ended"`
	Unfermented *quantity.Extract     `json:"unfermented_plato" help:"apparent extract that may still ferment; 0 when not said"`
	Package     string                `json:"package" help:"bottle (when not said), heavy_bottle, can, keg, flip_top or pet"`
	Warm        *quantity.Temperature `json:"warm_c" help:"warmest the package will be; 30 °C when not said"`
	Station     *quantity.Pressure    `json:"station_kpa" help:"air pressure of the place"`
	Altitude    *quantity.Altitude    `json:"altitude_m" help:"where there is no barometer"`
	Explain     bool                  `json:"explain" help:"give the derivation"`
}

// PrimingResult is the sugar, and where the carbonation ends.
type PrimingResult struct {
	Residual  float64           `json:"residual_vol"`
	Final     float64           `json:"final_vol"` // with what may still ferment
	Sugars    []PrimingSugar    `json:"sugars"`
	Gauge20   float64           `json:"gauge_20c_bar" floor:"none"`
	GaugeWarm float64           `json:"gauge_warm_bar" floor:"none"`
	Warm      float64           `json:"warm_c" floor:"none"`
	Usual     float64           `json:"usual_limit_vol"` // common practice; the maker's rating governs
	Cautions  []process.Caution `json:"cautions"`
}

// PrimingSugar is one sugar.
type PrimingSugar struct {
	Name  string  `json:"name"`
	PerL  float64 `json:"g_l"`
	Total float64 `json:"total_g"`
}

// usualLimits of carbonation, volumes (common practice).
var usualLimits = map[string]float64{"": 2.8, "bottle": 2.8, "heavy_bottle": 3.3, "can": 2.7, "keg": 3.5, "flip_top": 3.2, "pet": 4}

// Priming computes sugar and end pressure.
func Priming(in *primingInput) (Answer, error) {
	at, err := station(in.Station, in.Altitude)
	warm, rest := or(in.Warm, 30), or(in.Unfermented, 0)
	usual, known := usualLimits[in.Package]
	if err := first(err, bigVolume("beer_ml", in.Beer), between("co2_vol", float64(in.CO2), 0, 10, "check the unit: 5 g/L is 2.53 vol"), between("highest_c", float64(in.Highest), -2, 40, "check the unit"),
		between("warm_c", float64(warm), -2, 45, "check the unit"), between("unfermented_plato", float64(rest), 0, 20, "give what may still ferment, not the whole extract")); err != nil {
		return Answer{}, err
	}
	if !known {
		return Answer{}, &quantity.Error{Field: "package", Value: in.Package, Message: "is no package here", Mend: "use bottle, heavy_bottle, can, keg, flip_top or pet"}
	}
	r := PrimingResult{Residual: float64(process.Residual(in.Highest, at)), Warm: float64(warm), Usual: usual}
	// Balling: 0.8192 of the apparent drop is real; a gram of it gives 0.4629 g CO2.
	more := float64(rest) * 10 * 0.8192 * 0.4629 / quantity.CO2GramsPerVolume
	r.Final = math.Max(float64(in.CO2), r.Residual) + more
	for _, s := range process.Sugars {
		g := math.Max(0, process.Priming(in.CO2, quantity.Carbonation(r.Residual), s.Yield))
		r.Sugars = append(r.Sugars, PrimingSugar{s.Name, g, g * float64(in.Beer) / 1000})
	}
	gauge := func(t quantity.Temperature) float64 {
		return float64(oxygen.CO2Pressure(t, quantity.Carbonation(r.Final))-at) / 100
	}
	r.Gauge20, r.GaugeWarm = gauge(20), gauge(warm)
	var w []Warning
	if float64(in.CO2) < r.Residual {
		w = warn(w, "holds_more", "co2_vol", in.CO2.Format(2), "the beer holds more CO2 than that already", "check the highest temperature since fermentation ended")
	}
	if more > 0.2 {
		w = warn(w, "not_fermented_out", "unfermented_plato", rest.Format(2), fmt.Sprintf("what is left may add %.1f volumes: gushing and burst packages", more), "wait until two gravities days apart agree")
	}
	if r.Final > usual {
		w = warn(w, "above_usual", "co2_vol", format(r.Final, 2), fmt.Sprintf("above %.1f volumes, the usual limit of this package (common practice)", usual), "lower it, or take a package whose maker rates it so")
	}
	r.Cautions = process.Cautions(process.HazardGlass, process.HazardErupt, process.HazardPressure)
	if in.lean {
		return Answer{Result: r}, nil
	}
	var d working
	d.line("P23", "residual", "10 p e^(−10.73797 + 2617.25/T) / 1.9767", fmt.Sprintf("p = %.5g bar, T = %.2f K", float64(at)/100, float64(in.Highest)+273.15), r.Residual, "vol", "handbook expression; u 2 %")
	d.line("P23", "sucrose", "(v − v_r) 1.9767 / 0.5143", fmt.Sprintf("(%.4g − %.4g) × 1.9767 / 0.5143", float64(in.CO2), r.Residual), r.Sugars[0].PerL, "g/L", "stoichiometry")
	d.line("P24", "gauge", "p(v, t) − P", fmt.Sprintf("%.4g volumes at %.4g °C", r.Final, float64(warm)), r.GaugeWarm, "bar", "handbook expression")
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}

type homeInput struct {
	numbers
	Package   string                  `json:"package" help:"keg (when not said), bottle or can"`
	Beer      quantity.Volume         `json:"beer_ml" need:"yes" help:"beer in the package"`
	Headspace quantity.Volume         `json:"headspace_ml" need:"yes" help:"gas above it"`
	Gauge     *quantity.GaugePressure `json:"gauge_kpa" help:"keg: gauge pressure of a purge cycle; 200 when not said"`
	Cycles    *float64                `json:"cycles" help:"keg: cycles of the headspace; the plan's own when not said"`
	Station   *quantity.Pressure      `json:"station_kpa" help:"air pressure of the place"`
	Altitude  *quantity.Altitude      `json:"altitude_m" help:"where there is no barometer"`
	Explain   bool                    `json:"explain" help:"give the derivation"`
}

// HomeResult is the plan without a meter.
type HomeResult struct {
	Package  string            `json:"package"`
	Air      float64           `json:"all_air_ppb"`  // headspace left as air, all taken up
	PerML    float64           `json:"per_ml_ppb"`   // one mL of air
	Cycle    float64           `json:"cycle_factor"` // what a purge cycle of a keg leaves
	Levels   []HomeLevel       `json:"levels"`
	Says     string            `json:"says"`
	Advice   []string          `json:"advice"`
	Cautions []process.Caution `json:"cautions"`
}

// HomeLevel is one of none, good, better, best.
type HomeLevel struct {
	Key      string   `json:"key"`
	Title    string   `json:"title"`
	Low      float64  `json:"low_ppb"`
	High     float64  `json:"high_ppb"`
	PickLow  float64  `json:"pickup_low_ppb"` // of it, with the beer; the rest is air above it
	PickHigh float64  `json:"pickup_high_ppb"`
	Cycles   float64  `json:"cycles,omitempty"`
	Steps    []string `json:"steps"`
}

var homeAdvice = []string{
	"keep cold, drink hop-forward beer in 4–8 weeks",
	"no air into the fermenter when it cools: a bag of CO2 instead of an airlock",
	"dry hop while yeast works, or in a purged keg",
	"clean tubing; spray posts and lids to find leaks",
	"sulphite, 10–30 mg/L of potassium metabisulphite, takes up a little oxygen, slowly",
}

// Home computes the plan without a meter.
func Home(in *homeInput) (Answer, error) {
	kind := in.Package
	if kind == "" {
		kind = "keg"
	}
	at, err := station(in.Station, in.Altitude)
	gauge := float64(or(in.Gauge, 200))
	if err := first(err, bigVolume("beer_ml", in.Beer), bigVolume("headspace_ml", in.Headspace), between("gauge_kpa", gauge, 1, 400, "check the unit; home kegs are cycled at 0.7 to 2 bar gauge"), optional("cycles", in.Cycles, 0, 100)); err != nil {
		return Answer{}, err
	}
	list := process.Levels(kind)
	if list == nil {
		return Answer{}, &quantity.Error{Field: "package", Value: in.Package, Message: "has no plan here", Mend: "use keg, bottle or can"}
	}
	perML := float64(process.Spread(process.OxygenInGas(oxygen.DryAirO2, 1, at, 20), in.Beer))
	cycle := process.Step{Method: process.Pressure, Low: at, High: at + quantity.Pressure(gauge), Cycles: 1}
	r := HomeResult{Package: kind, Air: perML * float64(in.Headspace), PerML: perML, Cycle: cycle.Factor(), Advice: homeAdvice,
		Says: "an estimate, not a measurement"}
	for _, l := range list {
		cycle.Cycles = float64(l.Cycles)
		if l.Cycles > 0 && in.Cycles != nil {
			cycle.Cycles = *in.Cycles
		}
		left := r.Air * cycle.Factor()
		r.Levels = append(r.Levels, HomeLevel{l.Key, l.Title, l.PickupLow + l.Low*left, l.PickupHigh + l.High*left, l.PickupLow, l.PickupHigh, cycle.Cycles, l.Steps})
	}
	hazards := []string{process.HazardCO2, process.HazardHome, process.HazardPressure, process.HazardSulphite}
	if kind != "keg" {
		hazards = append(hazards, process.HazardGlass)
	}
	r.Cautions = process.Cautions(hazards...)
	var w []Warning
	if in.Headspace > in.Beer/4 {
		w = warn(w, "headspace_large", "headspace_ml", in.Headspace.Format(0), "more than a quarter of the beer", "check the units of both volumes")
	}
	if in.lean {
		return Answer{Result: r}, nil
	}
	var d working
	d.line("P6", "one mL", "y P V M / (R T V_b)", fmt.Sprintf("dry air, 20 °C, %.5g kPa, %.5g L", float64(at), float64(in.Beer)/1000), perML, "ppb", "ideal gas")
	d.line("P7", "all air", "V_h × one mL", fmt.Sprintf("%.5g mL × %.4g", float64(in.Headspace), perML), r.Air, "ppb", "all of it taken up")
	d.line("P3", "cycle", "p_low / p_high", fmt.Sprintf("%.5g / %.5g", float64(at), float64(at)+gauge), r.Cycle, "", sourcePurge)
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}
