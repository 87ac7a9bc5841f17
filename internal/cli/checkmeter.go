package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"

	"ullage/core/calc"
	"ullage/core/quantity"
)

// CheckMeterCmd judges a DO meter and what stands beside it.
type CheckMeterCmd struct {
	Zero    *quantity.DO `placeholder:"2ppb" group:"DO meter" help:"Reading in zero gas after 5 min."`
	ZeroGas float64      `name:"zero-gas" placeholder:"PPM" group:"DO meter" help:"Oxygen in the zero gas, ppm v/v."`
	Air     *quantity.DO `placeholder:"8.9ppm" group:"DO meter" help:"Reading in air-saturated water (or in air, in the meter's air mode)."`

	Temperature *quantity.Temperature `short:"t" placeholder:"20C" group:"DO meter" help:"Temperature of that water."`
	Pressure    *quantity.Pressure    `placeholder:"977hPa" group:"DO meter" help:"Station pressure, not reduced to sea level."`
	Altitude    *float64              `placeholder:"M" group:"DO meter" help:"Altitude in metres, where there is no barometer."`

	Response      *float64     `placeholder:"S" group:"DO meter" help:"Seconds from air to below 10 ppb."`
	ResponseLimit *float64     `name:"response-limit" placeholder:"S" group:"DO meter" help:"More fails."`
	First         *quantity.DO `name:"this-meter" placeholder:"PPB" group:"DO meter" help:"Reading of this meter on a sample …"`
	Second        *quantity.DO `name:"other-meter" placeholder:"PPB" group:"DO meter" help:"… and of another on the same one."`

	Thermometer    *quantity.Temperature `placeholder:"0.1C" group:"Beside it" help:"Thermometer in the bath."`
	ThermometerRef *quantity.Temperature `name:"thermometer-reference" placeholder:"0C" group:"Beside it" help:"Reference there; ice in water is 0 °C."`
	Scale          *quantity.Mass        `placeholder:"500.0g" group:"Beside it" help:"Scale under a reference mass."`
	ScaleRef       *quantity.Mass        `name:"scale-reference" placeholder:"500g" group:"Beside it" help:"The mass."`
	ScaleMore      []string              `name:"scale-more" placeholder:"READ=MASS" sep:"none" group:"Beside it" help:"Another reference mass, such as 200.1g=200g; again for each. Two or more tell an offset from a slope."`
	Barometer      *quantity.Pressure    `placeholder:"977hPa" group:"Beside it" help:"Barometer."`
	BarometerRef   *quantity.Pressure    `name:"barometer-reference" placeholder:"976hPa" group:"Beside it" help:"Reference at the same height."`

	ZeroLimit        *quantity.DO `name:"zero-limit" placeholder:"3" group:"Limits" help:"ppb; 3 when not said (common practice, as all limits)."`
	AirLimit         *float64     `name:"air-limit" placeholder:"3" group:"Limits" help:"% of the expected reading; 3 when not said."`
	ThermometerLimit *float64     `name:"thermometer-limit" placeholder:"0.3" group:"Limits" help:"K."`
	ScaleLimit       *float64     `name:"scale-limit" placeholder:"0.1" group:"Limits" help:"g; 10 for a keg scale."`
	BarometerLimit   *float64     `name:"barometer-limit" placeholder:"0.5" group:"Limits" help:"kPa."`

	ShakenDO *quantity.ShakenDO `name:"shaken-do" placeholder:"40" group:"What it means" help:"A usual reading of a package, ppb."`
	Ratio    float64            `name:"total-to-dissolved" placeholder:"2.4" group:"What it means" help:"TPO over shaken DO of that package."`

	Format string `enum:"text,json" default:"text" group:"Output" help:"text or json."`
}

// Help is the long help of the command.
func (CheckMeterCmd) Help() string {
	return `  ullage check-meter --zero 2 --air 8.75ppm -t 20C --pressure 977hPa
  ullage check-meter --zero 14 --shaken-do 30 --total-to-dissolved 2.2

Zero gas and what is vented at the bench displace air: work in fresh air, and keep
sulphite away from skin and lungs. Follow local codes and the makers' sheets.

The line through both points is what was found; it is put on no reading. The exit
code is 1 when a check fails.`
}

func (c *CheckMeterCmd) Run(s *streams) error {
	input := map[string]any{}
	put(input, "zero_do_ppb", c.Zero)
	put(input, "air_do_ppb", c.Air)
	put(input, "temperature_c", c.Temperature)
	put(input, "pressure_kpa", c.Pressure)
	put(input, "altitude_m", c.Altitude)
	put(input, "response_s", c.Response)
	put(input, "response_limit_s", c.ResponseLimit)
	put(input, "first_do_ppb", c.First)
	put(input, "second_do_ppb", c.Second)
	put(input, "thermometer_c", c.Thermometer)
	put(input, "thermometer_reference_c", c.ThermometerRef)
	put(input, "scale_g", c.Scale)
	put(input, "scale_reference_g", c.ScaleRef)
	put(input, "barometer_kpa", c.Barometer)
	put(input, "barometer_reference_kpa", c.BarometerRef)
	put(input, "zero_limit_ppb", c.ZeroLimit)
	put(input, "air_limit_percent", c.AirLimit)
	put(input, "thermometer_limit_k", c.ThermometerLimit)
	put(input, "scale_limit_g", c.ScaleLimit)
	put(input, "barometer_limit_kpa", c.BarometerLimit)
	put(input, "shaken_do_ppb", c.ShakenDO)
	if c.ZeroGas != 0 {
		input["zero_gas_ppm"] = c.ZeroGas
	}
	if c.Ratio != 0 {
		input["total_to_dissolved"] = c.Ratio
	}
	more, err := c.masses()
	if err != nil {
		return err
	}
	if more != nil {
		input["scale_more"] = more
	}
	text, err := json.Marshal(input)
	if err != nil {
		return err
	}
	answer, err := calc.Do("check-meter", text)
	if err != nil {
		return meterFlag(err)
	}
	r := answer.Result.(calc.CheckMeterResult)
	if c.Format == "json" {
		err = printFlat(s.out, answer)
	} else {
		err = printMeter(s.out, &r, answer.Warnings)
	}
	if err == nil && r.Failed > 0 {
		return errFaults
	}
	return err
}

// masses are the further reference masses.
func (c *CheckMeterCmd) masses() (out []map[string]string, err error) {
	for _, text := range c.ScaleMore {
		read, mass, ok := strings.Cut(text, "=")
		if !ok {
			return nil, &quantity.Error{Field: "--scale-more", Value: text, Message: "is no pair of reading and mass", Mend: "write it like 200.1g=200g"}
		}
		out = append(out, map[string]string{"read_g": strings.TrimSpace(read), "reference_g": strings.TrimSpace(mass)})
	}
	return out, nil
}

func put[T any](input map[string]any, name string, v *T) {
	if v != nil {
		input[name] = *v
	}
}

var meterFlags = map[string]string{
	"zero_do_ppb": "--zero", "zero_gas_ppm": "--zero-gas", "air_do_ppb": "--air", "temperature_c": "--temperature", "pressure_kpa": "--pressure", "altitude_m": "--altitude",
	"response_s": "--response", "response_limit_s": "--response-limit", "first_do_ppb": "--this-meter", "second_do_ppb": "--other-meter",
	"thermometer_c": "--thermometer", "thermometer_reference_c": "--thermometer-reference", "scale_g": "--scale", "scale_reference_g": "--scale-reference",
	"barometer_kpa": "--barometer", "barometer_reference_kpa": "--barometer-reference", "zero_limit_ppb": "--zero-limit", "air_limit_percent": "--air-limit",
	"thermometer_limit_k": "--thermometer-limit", "scale_limit_g": "--scale-limit", "scale_more": "--scale-more", "barometer_limit_kpa": "--barometer-limit", "shaken_do_ppb": "--shaken-do", "total_to_dissolved": "--total-to-dissolved",
}

// meterFlag names the option instead of the field.
func meterFlag(err error) error {
	e, ok := err.(*quantity.Error)
	if !ok {
		return err
	}
	named := *e
	if flag, ok := meterFlags[e.Field]; ok {
		named.Field = flag
		if named.Message == "is missing" {
			named.Mend = "see ullage check-meter --help"
		}
	}
	return &named
}

func printMeter(w io.Writer, r *calc.CheckMeterResult, warnings []calc.Warning) error {
	var b bytes.Buffer
	fmt.Fprintln(&b, r.Sentence)
	for _, c := range r.Checks {
		fmt.Fprintf(&b, "  %-6s %-12s read %s %s", passWord(c.Passed), c.Name, short(c.Read), c.Unit)
		if c.Expected != nil {
			fmt.Fprintf(&b, ", expected %s, off by %s", short(*c.Expected), signedShort(*c.Difference))
		}
		if c.Limit != nil {
			fmt.Fprintf(&b, ", limit %s", short(*c.Limit))
		}
		b.WriteByte('\n')
	}
	if r.Pressure != nil {
		fmt.Fprintf(&b, "  air at %s kPa\n", short(*r.Pressure))
	}
	if p := r.Correction; p != nil {
		fmt.Fprintf(&b, "\nAs found: %s ppb at zero, slope %s %%; true = %.5f × reading %s ppb\n", signedShort(p.ZeroError), signedShort(p.SlopeError), p.Gain, signedShort(p.Offset))
		fmt.Fprintf(&b, "  a shaken DO of %s ppb was truly %s ppb; its TPO changes by %s ppb\n", short(p.Shaken), short(p.CorrectedShaken), signedShort(p.Change))
	}
	odd(&b, warnings)
	_, err := w.Write(b.Bytes())
	return err
}

func passWord(passed *bool) string {
	switch {
	case passed == nil:
		return "noted"
	case *passed:
		return "ok"
	}
	return "FAILED"
}

// short prints a reading with the digits that matter.
func short(v float64) string {
	switch a := max(v, -v); {
	case a >= 1000:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}

func signedShort(v float64) string {
	if v >= 0 {
		return "+" + short(v)
	}
	return short(v)
}
