package calc

import (
	"fmt"

	"ullage/core/oxygen"
	"ullage/core/process"
	"ullage/core/quantity"
)

type packageAirInput struct {
	numbers
	Beer        quantity.Volume       `json:"beer_ml" need:"yes" help:"volume of the beer"`
	Headspace   *quantity.Volume      `json:"headspace_ml" help:"volume of the gas above it"`
	Liquid      *quantity.UnshakenDO  `json:"unshaken_do_ppb" help:"what is in the beer already; 0 when not said"`
	Air         *quantity.Volume      `json:"air_ml" help:"air in the package at closing"`
	Share       *quantity.Fraction    `json:"air_fraction" help:"instead: share of air in the headspace at closing (air_pct)"`
	Driven      *quantity.Fraction    `json:"driven_fraction" help:"instead: share of the headspace that foam or gas freed of air before closing"`
	Residue     *quantity.Volume      `json:"residue_ml" help:"instead: gas left over caustic, at the temperature and pressure here"`
	Target      *quantity.TPO         `json:"target_ppb" help:"TPO wanted: gives the air it allows"`
	Temperature *quantity.Temperature `json:"temperature_c" help:"temperature of that gas; 20 °C when not said"`
	Station     *quantity.Pressure    `json:"station_kpa" help:"air pressure of the place"`
	Altitude    *quantity.Altitude    `json:"altitude_m" help:"where there is no barometer"`
	Explain     bool                  `json:"explain" help:"give the derivation"`
}

// PackageAirResult is air in a package as TPO.
type PackageAirResult struct {
	Air          float64           `json:"air_ml"`
	TPO          float64           `json:"tpo_ppb"`
	Low          float64           `json:"tpo_low_ppb"`  // a caustic residue of 12 % oxygen
	High         float64           `json:"tpo_high_ppb"` // of 34 %, what air is when it comes out of a liquid
	Oxygen       float64           `json:"oxygen_ug"`
	PerML        float64           `json:"per_ml_ppb"` // one mL of air
	Allowed      *float64          `json:"allowed_air_ml,omitempty"`
	AllowedShare *float64          `json:"allowed_air_fraction,omitempty"`
	Drive        *float64          `json:"needed_driven_fraction,omitempty"`
	Cautions     []process.Caution `json:"cautions,omitempty"`
}

// PackageAir computes air to TPO, and a target back to air.
func PackageAir(in *packageAirInput) (Answer, error) {
	at, err := station(in.Station, in.Altitude)
	t, liquid := or(in.Temperature, 20), float64(or(in.Liquid, 0))
	if err := first(err, bigVolume("beer_ml", in.Beer), inLiquidRange("temperature_c", t), between("unshaken_do_ppb", liquid, 0, 1e5, "check the unit")); err != nil {
		return Answer{}, err
	}
	if in.Headspace != nil {
		if err := bigVolume("headspace_ml", *in.Headspace); err != nil {
			return Answer{}, err
		}
	}
	perML := float64(process.OxygenInGas(oxygen.DryAirO2, 1, at, t)) * 1000 / float64(in.Beer)
	r := PackageAirResult{PerML: perML}
	if r.Air, err = in.air(); err != nil {
		return Answer{}, err
	}
	r.TPO = liquid + r.Air*perML
	r.Low, r.High, r.Oxygen = r.TPO, r.TPO, r.TPO*float64(in.Beer)/1000
	var w []Warning
	if in.Residue != nil {
		r.Cautions = process.Cautions(process.HazardAlkali, process.HazardGlass)
		r.Low, r.High = liquid+r.Air*perML*0.12/oxygen.DryAirO2, liquid+r.Air*perML*0.34/oxygen.DryAirO2
		w = warn(w, "residue_is_not_air", "residue_ml", in.Residue.Format(2), "gas left over caustic is no ordinary air: about 34 % oxygen when it comes out of the liquid, 25–27 % soon after filling, below 12 % after ten warm days", "use it to watch foam and gassing, not to release")
	}
	if in.Target != nil {
		allowed := (float64(*in.Target) - liquid) / perML
		if allowed < 0 {
			return Answer{}, refuse("target_ppb", float64(*in.Target), "ppb is below what is in the beer already", "lower the DO first")
		}
		r.Allowed = &allowed
		if in.Headspace != nil {
			share := min(1, allowed/float64(*in.Headspace))
			drive := 1 - share
			r.AllowedShare, r.Drive = &share, &drive
		}
	}
	if in.lean {
		return Answer{Result: r}, nil
	}
	var d working
	d.line("P18", "TPO", "C_liquid + V_air y P M / (R T V_b)", fmt.Sprintf("%.4g + %.4g mL × %.5g ppb/mL", liquid, r.Air, perML), r.TPO, "ppb", "ideal gas; dry air 0.20946 O2")
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}

// air is the air that one of four inputs means, mL; 0 where only a target is given.
func (in *packageAirInput) air() (float64, error) {
	n := 0
	for _, given := range []bool{in.Air != nil, in.Share != nil, in.Driven != nil, in.Residue != nil} {
		if given {
			n++
		}
	}
	if n > 1 || n == 0 && in.Target == nil {
		return 0, &quantity.Error{Field: "air_ml", Message: "or air_fraction, driven_fraction or residue_ml is needed, and only one of them", Mend: "give one, or target_ppb"}
	}
	var v quantity.Volume
	switch {
	case in.Air != nil:
		v = *in.Air
	case in.Residue != nil:
		v = *in.Residue
	case n == 0:
		return 0, nil
	case in.Headspace == nil:
		return 0, missing("headspace_ml")
	case in.Share != nil:
		s, err := fraction("air_fraction", in.Share, 0)
		return float64(s) * float64(*in.Headspace), err
	default:
		s, err := fraction("driven_fraction", in.Driven, 0)
		return float64(1-s) * float64(*in.Headspace), err
	}
	if !(v >= 0 && v < 1e9) {
		return 0, refuse("air_ml", float64(v), "mL is no air of a package", "check the unit")
	}
	return float64(v), nil
}
