package calc

import (
	"fmt"
	"math"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// Limits of an instrument check, common practice, each overwritten by its field.
const (
	zeroLimit        = 3    // ppb
	airLimit         = 3    // % of the expected reading
	thermometerLimit = 0.3  // K
	scaleLimit       = 0.1  // g
	barometerLimit   = 0.5  // kPa
	secondLimit      = 2    // ppb, the larger of this …
	secondShare      = 0.05 // … and this share, between two meters on one sample
	usualShaken      = 40   // ppb, the reading for which a slip is put in TPO
	usualRatio       = 2.4  // total-to-dissolved ratio of a small package at 20 °C
	offReduced       = 0.04 // share by which a station pressure may leave its altitude's
)

type checkMeterInput struct {
	Zero    *quantity.DO `json:"zero_do_ppb" help:"reading in zero gas after 5 min"`
	ZeroGas float64      `json:"zero_gas_ppm" help:"oxygen in the zero gas, ppm v/v; 0 when not said"`
	Air     *quantity.DO `json:"air_do_ppb" help:"reading in air-saturated water, or in air in the air mode of the meter"`

	Temperature *quantity.Temperature `json:"temperature_c" help:"temperature of that water; needed for the air check"`
	Pressure    *quantity.Pressure    `json:"pressure_kpa" help:"station pressure, not reduced to sea level"`
	Altitude    *float64              `json:"altitude_m" help:"where there is no barometer; beside one it is a check of it"`

	Response      *float64 `json:"response_s" help:"seconds from air to below 10 ppb"`
	ResponseLimit *float64 `json:"response_limit_s" help:"more fails; without it the time is noted alone"`

	Second *quantity.DO `json:"second_do_ppb" help:"another meter on the same sample …"`
	First  *quantity.DO `json:"first_do_ppb" help:"… and this one there"`

	Thermometer    *quantity.Temperature `json:"thermometer_c" help:"the thermometer in the bath …"`
	ThermometerRef *quantity.Temperature `json:"thermometer_reference_c" help:"… and the reference: ice in water is 0 °C"`
	Scale          *quantity.Mass        `json:"scale_g" help:"the scale under a reference mass …"`
	ScaleRef       *quantity.Mass        `json:"scale_reference_g" help:"… and the mass"`
	ScaleMore      Rows[ScalePoint]      `json:"scale_more" help:"more reference masses, a list of reference_g and read_g: two or more tell an offset from a slope"`
	ScaleU         *quantity.Mass        `json:"scale_u_g" help:"standard uncertainty of a reading less its mass; a third of the limit when not said"`
	Barometer      *quantity.Pressure    `json:"barometer_kpa" help:"the barometer …"`
	BarometerRef   *quantity.Pressure    `json:"barometer_reference_kpa" help:"… and a reference at the same height"`

	ZeroLimit        *quantity.DO `json:"zero_limit_ppb" help:"3 when not said"`
	AirLimit         *float64     `json:"air_limit_percent" help:"of the expected reading; 3 when not said"`
	ThermometerLimit *float64     `json:"thermometer_limit_k" help:"0.3 when not said"`
	ScaleLimit       *float64     `json:"scale_limit_g" help:"0.1 when not said; 10 for a keg scale"`
	BarometerLimit   *float64     `json:"barometer_limit_kpa" help:"0.5 when not said"`

	ShakenDO *quantity.ShakenDO `json:"shaken_do_ppb" help:"a usual reading of a package, for what the slip does to TPO; 40 when not said"`
	Ratio    float64            `json:"total_to_dissolved" help:"TPO over shaken DO of that package; 2.4 when not said"`
}

// InstrumentCheck is one comparison. Passed is null where nothing is judged.
type InstrumentCheck struct {
	Name       string   `json:"name"`
	Read       float64  `json:"read"`
	Expected   *float64 `json:"expected"`
	Difference *float64 `json:"difference"`
	Limit      *float64 `json:"limit"` // of the absolute difference
	Unit       string   `json:"unit"`
	Passed     *bool    `json:"passed"`
}

// TwoPoint is the line of a zero and an air check,
// true = gain × reading + offset, and what it does to a package.
type TwoPoint struct {
	Offset          float64 `json:"offset_ppb"`
	Gain            float64 `json:"gain"`
	ZeroError       float64 `json:"found_offset_ppb"`    // reading − true near zero
	SlopeError      float64 `json:"found_slope_percent"` // reading over true, less 100 %
	Shaken          float64 `json:"shaken_do_ppb"`
	CorrectedShaken float64 `json:"corrected_shaken_do_ppb"`
	Change          float64 `json:"tpo_change_ppb"` // corrected TPO less TPO as read
}

// CheckMeterResult says what passed, and what was found in ppb of TPO.
type CheckMeterResult struct {
	Passed      bool              `json:"passed"`
	Done        int               `json:"checks_judged"`
	Failed      int               `json:"checks_failed"`
	Checks      []InstrumentCheck `json:"checks"`
	AirExpected *float64          `json:"air_expected_ppb,omitempty"`
	Pressure    *float64          `json:"pressure_kpa,omitempty"`
	Correction  *TwoPoint         `json:"correction,omitempty"`
	Scale       *ErrorLine        `json:"scale_error,omitempty"` // of a scale, g and %: two masses or more
	Slip        float64           `json:"tpo_slip_ppb"`          // as read less true, from what was found; 0 where nothing was
	Sentence    string            `json:"sentence"`
}

// meterCheck is one on its way.
type meterCheck struct {
	in                      *checkMeterInput
	out                     CheckMeterResult
	zeroExpected, airExpect float64
	warnings                []Warning
}

// checkMeter judges a DO meter and what stands beside it.
func checkMeter(in *checkMeterInput) (Answer, error) {
	c := meterCheck{in: in}
	if err := c.refused(); err != nil {
		return Answer{}, err
	}
	if err := c.air(); err != nil {
		return Answer{}, err
	}
	c.zero()
	c.others()
	if len(c.out.Checks) == 0 {
		return Answer{}, &quantity.Error{Field: "zero_do_ppb", Message: "is missing, and so is every other reading", Mend: "give zero_do_ppb, air_do_ppb with temperature_c, or another pair of readings"}
	}
	c.correction()
	c.say()
	return Answer{Result: c.out, Warnings: c.warnings}, nil
}

func (c *meterCheck) refused() error {
	in := c.in
	for _, pair := range []struct {
		field string
		lacks bool
	}{
		{"temperature_c", in.Air != nil && in.Temperature == nil}, {"first_do_ppb", in.Second != nil && in.First == nil}, {"second_do_ppb", in.First != nil && in.Second == nil},
		{"thermometer_reference_c", in.Thermometer != nil && in.ThermometerRef == nil}, {"thermometer_c", in.ThermometerRef != nil && in.Thermometer == nil},
		{"scale_reference_g", in.Scale != nil && in.ScaleRef == nil}, {"scale_g", in.ScaleRef != nil && in.Scale == nil},
		{"barometer_reference_kpa", in.Barometer != nil && in.BarometerRef == nil}, {"barometer_kpa", in.BarometerRef != nil && in.Barometer == nil},
		{"response_s", in.ResponseLimit != nil && in.Response == nil}, {"scale_g", len(in.ScaleMore) > 0 && in.Scale == nil},
	} {
		if pair.lacks {
			return missing(pair.field)
		}
	}
	for _, n := range []struct {
		field       string
		v, low, top float64
	}{
		{"zero_gas_ppm", in.ZeroGas, 0, 1e6}, {"altitude_m", valueOr(in.Altitude, 0), -500, 6000}, {"response_s", valueOr(in.Response, 1), 0, 1e5}, {"response_limit_s", valueOr(in.ResponseLimit, 1), 1e-3, 1e5},
		{"zero_limit_ppb", valueOr(in.ZeroLimit, 1), 1e-3, 1e4}, {"air_limit_percent", valueOr(in.AirLimit, 1), 1e-3, 100}, {"thermometer_limit_k", valueOr(in.ThermometerLimit, 1), 1e-4, 100},
		{"scale_limit_g", valueOr(in.ScaleLimit, 1), 1e-6, 1e5}, {"barometer_limit_kpa", valueOr(in.BarometerLimit, 1), 1e-4, 100}, {"total_to_dissolved", in.Ratio, 0, 100}, {"shaken_do_ppb", valueOr(in.ShakenDO, 1), 0, 1e6},
		{"zero_do_ppb", valueOr(in.Zero, 0), -1e6, 1e6}, {"air_do_ppb", valueOr(in.Air, 1), 1e-3, 1e6}, {"first_do_ppb", valueOr(in.First, 0), -1e6, 1e6}, {"second_do_ppb", valueOr(in.Second, 0), -1e6, 1e6},
		{"scale_g", valueOr(in.Scale, 0), -1e9, 1e9}, {"scale_reference_g", valueOr(in.ScaleRef, 1), 1e-6, 1e9},
		{"scale_u_g", valueOr(in.ScaleU, 1), 1e-9, 1e6},
	} {
		if !(n.v >= n.low && n.v <= n.top) {
			return refuse(n.field, n.v, "is outside "+format(n.low, -1)+" to "+format(n.top, -1), "check the value and its unit")
		}
	}
	for i, p := range in.ScaleMore {
		if x := float64(*p.Reference); !(x >= 1e-6 && x <= 1e9) {
			return inRow(i, refuse("reference_g", x, "is no reference mass", "check the value and its unit"))
		}
	}
	return nil
}

// add judges |read − expected| against a limit.
func (c *meterCheck) add(name string, read, expected, limit float64, unit string) {
	d := read - expected
	passed := math.Abs(d) <= limit*(1+1e-9)
	c.out.Checks = append(c.out.Checks, InstrumentCheck{name, read, &expected, &d, &limit, unit, &passed})
	c.out.Done++
	if !passed {
		c.out.Failed++
	}
}

// air is the check in air-saturated water (eq. 1–4).
func (c *meterCheck) air() error {
	in := c.in
	if in.Air == nil {
		return nil
	}
	answer, err := airSaturation(&airSaturationInput{Temperature: *in.Temperature, Pressure: in.Pressure, Altitude: in.Altitude})
	if err != nil {
		return err
	}
	r := answer.Result.(airSaturationResult)
	c.airExpect, c.out.AirExpected, c.out.Pressure = r.DO, &r.DO, &r.Pressure
	c.add("air", float64(*in.Air), r.DO, valueOr(in.AirLimit, airLimit)/100*r.DO, "ppb")
	switch {
	case in.Pressure == nil && in.Altitude == nil:
		c.warnings = warn(c.warnings, "pressure_assumed", "pressure_kpa", "101.325 kPa", "one atmosphere was assumed, which fits sea level in fair weather alone", "give the station pressure, or the altitude")
	case in.Pressure == nil:
		c.warnings = append(c.warnings, answer.Warnings...)
	case in.Altitude != nil:
		usual := float64(oxygen.StationPressure(*in.Altitude))
		if off := r.Pressure/usual - 1; math.Abs(off) > offReduced {
			c.warnings = warn(c.warnings, "pressure_unlikely", "pressure_kpa", format(r.Pressure, 2), "this altitude usually has "+format(usual, 1)+" kPa: a pressure reduced to sea level?", "read the station pressure from a barometer at the bench")
		}
	}
	if read, want := float64(*in.Air), r.MgL; read < 30 && want > 3 {
		c.warnings = warn(c.warnings, "unit_unlikely", "air_do_ppb", format(read, 2), "this looks like mg/L typed as ppb", "write it with its unit: air_do_ppm, or 9.05 ppm")
	}
	return nil
}

// zero is the reading in zero gas; what oxygen that gas holds is expected.
func (c *meterCheck) zero() {
	in := c.in
	if in.Zero == nil {
		return
	}
	t := quantity.Temperature(valueOr(in.Temperature, 20))
	t = max(0, min(40, t))
	c.zeroExpected = in.ZeroGas * 1e-6 * oxygen.Solubility(t)
	c.add("zero", float64(*in.Zero), c.zeroExpected, valueOr(in.ZeroLimit, zeroLimit), "ppb")
	if c.zeroExpected > 0.5 {
		c.warnings = warn(c.warnings, "zero_gas_impure", "zero_gas_ppm", format(in.ZeroGas, 1), "the zero gas itself reads "+format(c.zeroExpected, 1)+" ppb", "use gas of 10 ppm v/v or less")
	}
}

func (c *meterCheck) others() {
	in := c.in
	if in.Second != nil {
		c.add("two meters", float64(*in.First), float64(*in.Second), max(secondLimit, secondShare*float64(*in.Second)), "ppb")
	}
	if in.Response != nil {
		check := InstrumentCheck{Name: "response", Read: *in.Response, Unit: "s"}
		if in.ResponseLimit != nil {
			passed := *in.Response <= *in.ResponseLimit
			check.Limit, check.Passed = in.ResponseLimit, &passed
			c.out.Done++
			if !passed {
				c.out.Failed++
			}
		}
		c.out.Checks = append(c.out.Checks, check)
	}
	if in.Thermometer != nil {
		c.add("thermometer", float64(*in.Thermometer), float64(*in.ThermometerRef), valueOr(in.ThermometerLimit, thermometerLimit), "°C")
	}
	c.scale()
	if in.Barometer != nil {
		c.add("barometer", float64(*in.Barometer), float64(*in.BarometerRef), valueOr(in.BarometerLimit, barometerLimit), "kPa")
	}
}

// correction is the line through both points, or the offset of a zero alone.
// It shows what was found; it is not put on readings.
func (c *meterCheck) correction() {
	in := c.in
	if in.Zero == nil && in.Air == nil {
		return
	}
	p := TwoPoint{Gain: 1, Shaken: valueOr(in.ShakenDO, usualShaken)}
	ratio := in.Ratio
	if ratio == 0 {
		ratio = usualRatio
	}
	switch {
	case in.Zero != nil && in.Air != nil:
		if float64(*in.Air)-float64(*in.Zero) < 0.2*c.airExpect {
			c.warnings = warn(c.warnings, "no_line", "air_do_ppb", "", "air and zero read nearly alike, so no line goes through them", "check the membrane or cap, and the units")
			return
		}
		p.Gain = (c.airExpect - c.zeroExpected) / (float64(*in.Air) - float64(*in.Zero))
		p.Offset = c.zeroExpected - p.Gain*float64(*in.Zero)
	case in.Zero != nil:
		p.Offset = c.zeroExpected - float64(*in.Zero)
	default:
		p.Gain = c.airExpect / float64(*in.Air)
	}
	p.ZeroError = -p.Offset / p.Gain
	p.SlopeError = 100 * (1/p.Gain - 1)
	p.CorrectedShaken = p.Gain*p.Shaken + p.Offset
	p.Change = ratio * (p.CorrectedShaken - p.Shaken)
	c.out.Correction, c.out.Slip = &p, -p.Change
	if in.Ratio == 0 || in.ShakenDO == nil {
		c.warnings = warn(c.warnings, "package_assumed", "total_to_dissolved", format(ratio, 2), fmt.Sprintf("what it does to TPO is said for a shaken DO of %s ppb and a total-to-dissolved ratio of %s", format(p.Shaken, 0), format(ratio, 2)), "give shaken_do_ppb and total_to_dissolved of your package")
	}
}

func (c *meterCheck) say() {
	o := &c.out
	o.Passed = o.Done > 0 && o.Failed == 0
	switch {
	case o.Done == 0:
		o.Sentence = "Noted; nothing was judged."
	case o.Passed:
		o.Sentence = fmt.Sprintf("Passed: %d of %d.", o.Done, o.Done)
	default:
		o.Sentence = fmt.Sprintf("Failed: %d of %d. Service or adjust, check again, and look at all readings since the last pass.", o.Failed, o.Done)
	}
	if l := o.Scale; l != nil {
		o.Sentence += fmt.Sprintf(" The scale is off by %s g and %s %% of the weight.", signedText(l.Offset, 2), signedText(l.Slope, 3))
	}
	if p := o.Correction; p != nil && math.Abs(p.Change) >= 0.05 {
		word := "high"
		if p.Change > 0 {
			word = "low"
		}
		o.Sentence += fmt.Sprintf(" As found, a shaken DO of %s ppb reads %s ppb too %s in TPO.", format(p.Shaken, 0), format(math.Abs(p.Change), 1), word)
	}
}

func signedText(v float64, digits int) string {
	if v > 0 {
		return "+" + format(v, digits)
	}
	return format(v, digits)
}
