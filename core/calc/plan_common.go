package calc

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"

	"ullage/core/oxygen"
	"ullage/core/process"
	"ullage/core/quantity"
)

// planners are the entries of core/process; their equations are those of
// docs/planners.md.
func planners() []Calculation {
	list := []Calculation{
		define("purge", "what a purge leaves, takes and costs; or how much of it a target needs", "P1–P11", Purge),
		define("gas", "oxygen that CO2 or nitrogen brings: dissolved, in contact, as headspace", "P9, P12", GasPurity),
		define("strip", "DO after bubbling gas through beer and venting it, or the gas that a target needs", "P9, P13", Strip),
		define("addition", "what additions, push water, hops, hoses and heels bring to a tank", "P14–P17", Addition),
		define("package-air", "air in a package, share of air in its headspace and a caustic reading, to TPO and back", "P18", PackageAir),
		define("after", "oxygen of a package over time, closures compared, and a band of keeping days", "P19, P20, P22", After),
		define("age", "days at one temperature that age a package as much as its history", "P20, P21", Age),
		define("priming", "sugar to prime beer, and the pressure it ends at", "P23, P24", Priming),
		define("home", "plan for keg, bottle or can without a meter: steps and bands", "P3, P6, P7", Home),
		define("wort-oxygen", "gas flow for a DO target in wort, and its ceiling", "P25, P26", WortOxygen),
	}
	for i := range list {
		list[i].floored = true
	}
	return list
}

// maxList bounds the lists of an input.
const maxList = 20_000

// decodeList reads a JSON list of objects with the rules of an input: units by
// suffix, unknown and missing names refused.
func decodeList[T any](text []byte, what string) ([]T, error) {
	var raw []json.RawMessage
	if json.Unmarshal(text, &raw) != nil || raw == nil {
		return nil, &quantity.Error{Value: string(text), Message: "is not a list", Mend: "write " + what}
	}
	if len(raw) == 0 || len(raw) > maxList {
		return nil, &quantity.Error{Message: fmt.Sprintf("has %d entries", len(raw)), Mend: fmt.Sprintf("give 1 to %d", maxList)}
	}
	list := make([]T, len(raw))
	fields := fieldsOf(reflect.TypeFor[T]())
	for i, r := range raw {
		own, err := members(r)
		if err == nil {
			err = decode(fields, own, reflect.ValueOf(&list[i]).Elem())
		}
		if err != nil {
			return nil, within(err, i)
		}
	}
	return list, nil
}

// within says which entry of a list an error is in, keeping the list's name for
// the caller to put before it.
func within(err error, i int) error {
	e, ok := err.(*quantity.Error)
	if !ok {
		return err
	}
	named := *e
	named.Message = fmt.Sprintf("in entry %d, %s %s", i+1, e.Field, e.Message)
	named.Field = ""
	return &named
}

// station is the pressure of the place: a barometer, else the altitude, else 1 atm.
func station(p *quantity.Pressure, altitude *quantity.Altitude) (quantity.Pressure, error) {
	switch {
	case p != nil:
		if *p < 40 || *p > 115 {
			return 0, refuse("station_kpa", float64(*p), "kPa is outside 40 to 115", "check the unit: 760 mmHg is 101.325 kPa")
		}
		return *p, nil
	case altitude != nil:
		if *altitude < -500 || *altitude > 6000 {
			return 0, refuse("altitude_m", float64(*altitude), "m is outside -500 to 6000", "check the unit")
		}
		return oxygen.StationPressure(float64(*altitude)), nil
	}
	return oxygen.Atmosphere, nil
}

// absolute is a pressure given absolute or gauge, else a default.
func absolute(field string, abs *quantity.Pressure, gauge *quantity.GaugePressure, at, otherwise quantity.Pressure) (quantity.Pressure, error) {
	p := otherwise
	switch {
	case abs != nil && gauge != nil:
		return 0, &quantity.Error{Field: field + "_kpa", Message: "is given twice, absolute and gauge", Mend: "keep one of them"}
	case abs != nil:
		p = *abs
	case gauge != nil:
		p = at + quantity.Pressure(*gauge)
	}
	if (abs != nil || gauge != nil) && (p <= 0 || p > 1000) {
		return 0, refuse(field+"_kpa", float64(p), "kPa absolute is outside 0 to 1000", "check the unit, and gauge against absolute")
	}
	return p, nil
}

func fraction(field string, f *quantity.Fraction, otherwise quantity.Fraction) (quantity.Fraction, error) {
	if f == nil {
		return otherwise, nil
	}
	if *f < 0 || *f > 1 {
		return 0, refuse(field, float64(*f), "is outside 0 to 1", `write a share, or with its unit: "30 ppm", "1 %"`)
	}
	return *f, nil
}

// between refuses a plain number outside a range.
func between[T ~float64](field string, value T, low, high float64, mend string) error {
	if v := float64(value); !(v >= low && v <= high) {
		return refuse(field, v, fmt.Sprintf("is outside %g to %g", low, high), mend)
	}
	return nil
}

// bigVolume refuses volumes that no brewery has: 0 exclusive to 1e6 hL.
func bigVolume(field string, v quantity.Volume) error {
	if !(v > 0 && v <= 1e11) {
		return refuse(field, float64(v), "mL is no volume of a vessel", "check the value and the unit")
	}
	return nil
}

func or[T any](p *T, otherwise T) T {
	if p == nil {
		return otherwise
	}
	return *p
}

func purgeGas(word string) (process.Gas, error) {
	switch g := process.Gas(word); g {
	case "":
		return process.CO2, nil
	case process.CO2, process.N2:
		return g, nil
	}
	return "", &quantity.Error{Field: "gas", Value: word, Message: "is no purge gas here", Mend: "use co2 or n2; pure oxygen is never for purging"}
}

func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// numbers is part of an input: asked for numbers alone, as uncertainties do many
// times, a plan leaves out its pictures, warnings and derivation.
type numbers struct{ lean bool }

func (n *numbers) onlyNumbers() { n.lean = true }

// steps of a derivation, one after the other.
type working []Step

func (w *working) line(equation, symbol, formula, numbers string, value float64, unit, source string) {
	if !math.IsNaN(value) && !math.IsInf(value, 0) {
		*w = append(*w, Step{equation, symbol, formula, numbers, value, unit, source})
	}
}

func (w working) when(explain bool) []Step {
	if explain {
		return w
	}
	return nil
}
