package calc

import (
	"fmt"

	"ullage/core/oxygen"
	"ullage/core/process"
	"ullage/core/quantity"
)

// AdditionPart is one thing that goes into a tank.
type AdditionPart struct {
	Kind   string                  `json:"kind" need:"yes" help:"liquid, hops, hose, heel or air"`
	Name   string                  `json:"name" help:"what to call it: finings, push water, fruit"`
	Volume *quantity.Volume        `json:"volume_ml" help:"liquid, heel, air: its volume"`
	DO     *quantity.DO            `json:"do_ppb" help:"liquid, heel, hose: DO of the liquid; air-saturated when not said"`
	Mass   *quantity.Mass          `json:"mass_g" help:"hops: mass of the pellets"`
	Cycles *float64                `json:"cycles" help:"hops: pressure cycles of the closed hopper; none when not said"`
	Gauge  *quantity.GaugePressure `json:"gauge_kpa" help:"hops: gauge pressure of a cycle, 100 when not said"`
	Bore   *quantity.Length        `json:"bore_mm" help:"hose: inner diameter"`
	Length *quantity.Length        `json:"length_mm" help:"hose: length (length_cm, length_in)"`
	Holds  string                  `json:"holds" help:"hose, heel: liquid (when not said) or air"`
}

// AdditionParts is the list of them.
type AdditionParts []AdditionPart

// UnmarshalJSON reads the parts with the rules of an input.
func (p *AdditionParts) UnmarshalJSON(text []byte) (err error) {
	*p, err = decodeList[AdditionPart](text, `[{"kind": "liquid", "volume_l": 20, "do_ppb": 9000}]`)
	return err
}

type additionInput struct {
	numbers
	Beer        quantity.Volume       `json:"beer_ml" need:"yes" help:"beer in the tank"`
	DO          *quantity.DO          `json:"do_ppb" help:"its DO before; 0 when not said"`
	Parts       AdditionParts         `json:"additions" need:"yes" help:"what goes in, a list"`
	Temperature *quantity.Temperature `json:"temperature_c" help:"temperature of what goes in, for air-saturated liquids; 10 °C when not said"`
	Station     *quantity.Pressure    `json:"station_kpa" help:"air pressure of the place"`
	Altitude    *quantity.Altitude    `json:"altitude_m" help:"where there is no barometer"`
	Limit       *quantity.DO          `json:"limit_ppb" help:"DO allowed after: gives the DO that the liquids may have"`
	Explain     bool                  `json:"explain" help:"give the derivation"`
}

// AdditionResult is the tank after the additions. Low and high are the band of
// practice, upper where all oxygen brought stays.
type AdditionResult struct {
	Low       float64           `json:"do_low_ppb"`
	High      float64           `json:"do_high_ppb"`
	Upper     float64           `json:"do_upper_ppb"`
	Before    float64           `json:"do_before_ppb"`
	Volume    float64           `json:"volume_l"`
	Saturated float64           `json:"air_saturated_ppb"`
	Allowed   *float64          `json:"allowed_liquid_do_ppb,omitempty"` // for the limit, at the high figure
	Parts     []AdditionBrings  `json:"parts"`
	Cautions  []process.Caution `json:"cautions"`
}

// AdditionBrings is what one part brings, in ppb of the tank after.
type AdditionBrings struct {
	Name      string  `json:"name"`
	Kind      string  `json:"kind"`
	Mg        float64 `json:"oxygen_mg"` // all it carries
	Low       float64 `json:"low_ppb"`
	High      float64 `json:"high_ppb"`
	Upper     float64 `json:"upper_ppb"`
	Note      string  `json:"note,omitempty"`
	Band      string  `json:"band"` // what its low and high figure are
	liquid    quantity.Volume
	low, high float64 // shares that stay
}

// Shares of the oxygen of hops that stay in the beer: the rest leaves with the
// CO2 that the pellets drive out (common practice).
const hopsStayLow, hopsStayHigh = 0.1, 0.3

// Addition computes the DO of a tank after additions.
func Addition(in *additionInput) (Answer, error) {
	at, err := station(in.Station, in.Altitude)
	t, do := or(in.Temperature, 10), or(in.DO, 0)
	if err := first(err, bigVolume("beer_ml", in.Beer), between("do_ppb", float64(do), 0, 1e5, "check the unit"), between("limit_ppb", float64(or(in.Limit, 0)), 0, 1e5, "check the unit"), inLiquidRange("temperature_c", t)); err != nil {
		return Answer{}, err
	}
	if len(in.Parts) == 0 {
		return Answer{}, missing("additions")
	}
	r := AdditionResult{Before: float64(do), Saturated: float64(oxygen.AirSaturationAt(t, at))}
	hazards := map[string]bool{}
	var w []Warning
	for i := range in.Parts {
		b, hazard, err := in.Parts[i].brings(t, at)
		if err != nil {
			return Answer{}, quantity.In("additions", within(err, i))
		}
		if hazard != "" {
			hazards[hazard] = true
		}
		if b.Kind == "hops" {
			w = warn(nil, "hops_share", "additions", "", "10–30 % of the oxygen of pellets is taken to stay; the rest leaves with the CO2 they drive out (common practice)", "read the tank 15–60 min and a day after; dose while yeast works")
		}
		r.Parts = append(r.Parts, b)
	}
	r.total(in, do)
	list := []string{process.HazardPressure}
	for h := range hazards {
		list = append(list, h)
	}
	r.Cautions = process.Cautions(list...)
	if in.lean {
		return Answer{Result: r}, nil
	}
	var d working
	for _, b := range r.Parts {
		d.line("P14", b.Name, "m / V_total", fmt.Sprintf("%.5g mg / %.6g L", b.Mg, r.Volume), b.Upper, "ppb", "mass balance")
	}
	d.line("P14", "upper", "Σ V c / Σ V", fmt.Sprintf("(%.6g L × %.4g ppb + …) / %.6g L", float64(in.Beer)/1000, float64(do), r.Volume), r.Upper, "ppb", "mass balance")
	return Answer{Result: r, Warnings: w, Derivation: d.when(in.Explain)}, nil
}

// total blends the parts into the beer, and turns a limit round.
func (r *AdditionResult) total(in *additionInput, do quantity.DO) {
	total := float64(in.Beer)
	liquids := 0.0
	for _, b := range r.Parts {
		total += float64(b.liquid)
		liquids += float64(b.liquid)
	}
	r.Volume = total / 1000
	base := float64(process.Blend(process.Part{Volume: in.Beer, DO: do}, process.Part{Volume: quantity.Volume(total) - in.Beer}).DO)
	r.Low, r.High, r.Upper = base, base, base
	others := base
	for i := range r.Parts {
		b := &r.Parts[i]
		b.Upper = b.Mg * 1000 / r.Volume
		b.Low, b.High = b.low*b.Upper, b.high*b.Upper
		r.Low, r.High, r.Upper = r.Low+b.Low, r.High+b.High, r.Upper+b.Upper
		if b.liquid == 0 {
			others += b.High
		}
	}
	if in.Limit != nil && liquids > 0 {
		allowed := max(0, (float64(*in.Limit)-others)*total/liquids)
		r.Allowed = &allowed
	}
}

// brings is what a part carries and how much of it stays.
func (p *AdditionPart) brings(t quantity.Temperature, at quantity.Pressure) (b AdditionBrings, hazard string, err error) {
	b = AdditionBrings{Name: p.Name, Kind: p.Kind, Band: "all of it stays", low: 1, high: 1}
	if b.Name == "" {
		b.Name = p.Kind
	}
	liquid := or(p.DO, oxygen.AirSaturationAt(t, at))
	if err := between("do_ppb", float64(liquid), 0, 1e5, "check the unit: 9 ppm is 9000 ppb"); err != nil {
		return b, "", err
	}
	var v quantity.Volume
	switch p.Kind {
	case "hops":
		return p.hops(b, t, at)
	case "hose":
		if p.Bore == nil || p.Length == nil {
			return b, "", missing("bore_mm and length_mm")
		}
		if !(*p.Bore > 0 && *p.Bore < 1e4 && *p.Length > 0 && *p.Length < 1e7) {
			return b, "", refuse("bore_mm", float64(*p.Bore), "mm is no hose with this length", "check the units of both")
		}
		v = process.HoseVolume(*p.Bore, *p.Length)
	case "liquid", "heel", "air":
		if p.Volume == nil {
			return b, "", missing("volume_ml")
		}
		v = *p.Volume
	default:
		return b, "", &quantity.Error{Field: "kind", Value: p.Kind, Message: "is no kind of addition", Mend: "use liquid, hops, hose, heel or air"}
	}
	if err := bigVolume("volume_ml", v); err != nil {
		return b, "", err
	}
	switch {
	case p.Kind == "air" || p.Holds == "air":
		b.Mg = float64(process.OxygenInGas(oxygen.DryAirO2, v, at, t)) / 1000
		b.low, b.Band, b.Note = 0, "none to all of it stays", "how much of the air dissolves is not known: push it out to drain"
	case p.Holds == "" || p.Holds == "liquid":
		b.Mg, b.liquid = float64(v)*float64(liquid)/1e6, v
	default:
		return b, "", &quantity.Error{Field: "holds", Value: p.Holds, Message: "is no content of a hose", Mend: "use liquid or air"}
	}
	if p.Kind == "liquid" {
		hazard = process.HazardErupt
	}
	return b, hazard, nil
}

func (p *AdditionPart) hops(b AdditionBrings, t quantity.Temperature, at quantity.Pressure) (AdditionBrings, string, error) {
	if p.Mass == nil {
		return b, "", missing("mass_g")
	}
	gauge, cycles := float64(or(p.Gauge, 100)), or(p.Cycles, 0)
	if err := first(between("mass_g", float64(*p.Mass), 1e-3, 1e9, "check the unit"), between("gauge_kpa", gauge, 1, 900, "check the unit"), between("cycles", cycles, 0, 1000, "give 0 or more")); err != nil {
		return b, "", err
	}
	left := process.HopPurged(at, at+quantity.Pressure(gauge), cycles, 0.8, 0.5)
	air := process.HopGas(*p.Mass, process.PelletBulk, process.PelletMaterial)
	b.Mg = float64(process.OxygenInGas(oxygen.DryAirO2*left, air, at, t)) / 1000
	b.low, b.high, b.Band = hopsStayLow, hopsStayHigh, "10–30 % of it stays (common practice)"
	b.Note = fmt.Sprintf("%.3g L of gas in the pellets, %.3g %% of its air left by the purge", float64(air)/1000, 100*float64(left))
	return b, process.HazardErupt, nil
}
