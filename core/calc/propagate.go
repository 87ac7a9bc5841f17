package calc

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"

	"ullage/core/quantity"
	"ullage/core/uncertainty"
)

// request is what an input says of its own uncertainty.
type request struct {
	method string
	u      map[string]float64
}

// splitUncertainty takes "u" and "uncertainty" out of an input.
func splitUncertainty(given []member) (own []member, r request, err error) {
	for _, m := range given {
		switch m.name {
		case "u":
			if err := json.Unmarshal(m.value, &r.u); err != nil {
				return nil, r, &quantity.Error{Field: "u", Value: string(m.value), Message: "is not a list of standard uncertainties", Mend: `write for example {"temperature_c": 0.2}`}
			}
		case "uncertainty":
			if json.Unmarshal(m.value, &r.method) != nil {
				r.method = string(m.value)
			}
			if err := checkMethod(r.method); err != nil {
				return nil, r, err
			}
		default:
			own = append(own, m)
		}
	}
	if r.method == "" && len(r.u) > 0 {
		r.method = GUM
	}
	return own, r, nil
}

// Methods of uncertainty.
const (
	GUM        = "gum"
	MonteCarlo = "monte-carlo"
	None       = "none"
)

func checkMethod(m string) error {
	switch m {
	case "", GUM, MonteCarlo, None:
		return nil
	}
	return &quantity.Error{Field: "uncertainty", Value: m, Message: "is no method", Mend: "use gum, monte-carlo or none"}
}

// propagate runs a calculation again around its input to carry standard
// uncertainties of its fields to every number of its result.
func propagate(c *Calculation, in reflect.Value, result any, r request) (map[string]uncertainty.Result, error) {
	if r.method == "" || r.method == None {
		return nil, nil
	}
	p := uncertainty.Problem{}
	var targets []int
	// In the order of the names: Monte Carlo draws in the order of the effects.
	for _, name := range slices.Sorted(maps.Keys(r.u)) {
		u := r.u[name]
		f, unit, ok := Match(c.Fields, name)
		if ok && f.Kind == nil && plainNumberField(c.input.Field(f.index).Type) {
			unit.Scale = 1 // turnovers, cycles, days: numbers without a unit
		} else if !ok || f.Kind == nil {
			return nil, &quantity.Error{Field: "u." + name, Message: "is no quantity of this calculation", Mend: "known are " + names(c.Fields)}
		}
		if u < 0 || math.IsNaN(u) || math.IsInf(u, 0) {
			return nil, &quantity.Error{Field: "u." + name, Value: fmt.Sprint(u), Message: "is no standard uncertainty", Mend: "give a number from 0 up"}
		}
		if slices.Contains(targets, f.index) {
			return nil, &quantity.Error{Field: "u." + name, Message: "is given twice, in two units", Mend: "keep one of them"}
		}
		field := in.Elem().Field(f.index)
		if field.Kind() == reflect.Pointer {
			if field.IsNil() {
				return nil, &quantity.Error{Field: "u." + name, Message: "belongs to a field that is not given", Mend: "give " + f.Name + " too"}
			}
			field = field.Elem()
		}
		p.Effects = append(p.Effects, uncertainty.Effect{Key: f.Name, Name: f.Help, On: []uncertainty.Loading{{Input: len(targets), SD: u * math.Abs(unit.Scale)}}})
		p.Values = append(p.Values, field.Float())
		targets = append(targets, f.index)
	}
	out := make(map[string]uncertainty.Result)
	for i, name := range numbersOf(result) {
		p.NewModel = func() uncertainty.Model { return modelOf(c, in, targets, i) }
		if r.method == MonteCarlo {
			out[name] = uncertainty.MonteCarlo(&p, uncertainty.Options{Seed: 1, Max: 200_000})
		} else {
			out[name] = uncertainty.GUM(&p)
		}
		if r := out[name]; math.IsNaN(r.U) || math.IsInf(r.U, 0) {
			return nil, &quantity.Error{Field: "u", Message: "reaches beyond the range of an input", Mend: "give a smaller uncertainty, and none to a whole number"}
		}
	}
	return out, nil
}

func plainNumberField(t reflect.Type) bool {
	return t.Kind() == reflect.Float64 || t.Kind() == reflect.Pointer && t.Elem().Kind() == reflect.Float64
}

// modelOf makes a model that sets some fields of a copy of the input and reads
// one number of the result.
func modelOf(c *Calculation, in reflect.Value, targets []int, number int) uncertainty.Model {
	work := reflect.New(c.input)
	work.Elem().Set(in.Elem())
	if lean, ok := work.Interface().(interface{ onlyNumbers() }); ok {
		lean.onlyNumbers()
	}
	fields := make([]reflect.Value, len(targets))
	for i, index := range targets {
		f := work.Elem().Field(index)
		if f.Kind() == reflect.Pointer {
			f.Set(reflect.New(f.Type().Elem()))
			f = f.Elem()
		}
		fields[i] = f
	}
	return func(x []float64) float64 {
		for i, f := range fields {
			f.SetFloat(x[i])
		}
		answer, err := c.run(work.Interface())
		if err != nil {
			return math.NaN()
		}
		return reflect.ValueOf(answer.Result).Field(numberIndex(answer.Result)[number]).Float()
	}
}

// numbersOf names the top-level numbers of a result struct, in order.
func numbersOf(result any) []string {
	t := reflect.TypeOf(result)
	var list []string
	for _, i := range numberIndex(result) {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		list = append(list, name)
	}
	return list
}

func numberIndex(result any) []int {
	t := reflect.TypeOf(result)
	var list []int
	for i := range t.NumField() {
		if t.Field(i).Type.Kind() == reflect.Float64 {
			list = append(list, i)
		}
	}
	return list
}
