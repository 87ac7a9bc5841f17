package calc

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"ullage/core/quantity"
	"ullage/core/uncertainty"
)

// request is what an input says of its own uncertainty.
type request struct {
	method string
	u      map[string]spread
}

// spread is a standard uncertainty: a number in the unit of its field's name, or
// a text with its own unit; a share such as "2 %" is of the value, but for a field
// that is itself a share.
type spread struct {
	number float64
	text   string
}

// UnmarshalJSON reads a number or a text.
func (s *spread) UnmarshalJSON(text []byte) error {
	if len(text) > 0 && text[0] == '"' {
		return json.Unmarshal(text, &s.text)
	}
	return json.Unmarshal(text, &s.number)
}

// sd is the uncertainty in the base unit of its field.
func (s spread) sd(name string, f *Field, unit quantity.Unit, value float64) (float64, error) {
	u := s.number * math.Abs(unit.Scale)
	if v, err := ParseNumber(strings.TrimSpace(s.text)); err == nil {
		u = v * math.Abs(unit.Scale)
	} else if s.text != "" {
		number, relative := strings.CutSuffix(strings.TrimSpace(s.text), "%")
		var err error
		switch {
		case f.Kind == nil, relative && f.Kind != quantity.Fraction(0).Kind():
			u, err = ParseNumber(strings.TrimSpace(number))
			if relative {
				u *= math.Abs(value) / 100
			}
		default:
			u, err = f.Kind.Difference(s.text)
		}
		if err != nil {
			return 0, quantity.In("u."+name, err)
		}
	}
	if u < 0 || math.IsNaN(u) || math.IsInf(u, 0) {
		return 0, &quantity.Error{Field: "u." + name, Value: s.String(), Message: "is no standard uncertainty", Mend: "give a number from 0 up"}
	}
	return u, nil
}

func (s spread) String() string {
	if s.text != "" {
		return s.text
	}
	return fmt.Sprint(s.number)
}

// splitUncertainty takes "u" and "uncertainty" out of an input, and "u" out of
// the entries of its lists, where it names fields of the entry.
func (c *Calculation) splitUncertainty(given []member) (own []member, r request, err error) {
	r.u = map[string]spread{}
	for _, m := range given {
		switch m.name {
		case "u":
			var u map[string]spread
			if err := json.Unmarshal(m.value, &u); err != nil {
				return nil, r, notUncertainties("u", m.value)
			}
			maps.Copy(r.u, u)
		case "uncertainty":
			if json.Unmarshal(m.value, &r.method) != nil {
				r.method = string(m.value)
			}
			if err := checkMethod(r.method); err != nil {
				return nil, r, err
			}
		default:
			if m.value, err = c.ofEntries(m, r.u); err != nil {
				return nil, r, err
			}
			own = append(own, m)
		}
	}
	if r.method == "" && len(r.u) > 0 {
		r.method = GUM
	}
	return own, r, nil
}

func notUncertainties(field string, value []byte) error {
	return &quantity.Error{Field: field, Value: clip(value), Message: "is not a list of standard uncertainties", Mend: `write for example {"temperature_c": 0.2}`}
}

// ofEntries moves the uncertainties of a list's entries to u and returns the
// list without them.
func (c *Calculation) ofEntries(m member, u map[string]spread) (json.RawMessage, error) {
	f, _, ok := Match(c.Fields, m.name)
	if !ok || !isList(c.input.Field(f.index).Type) || !bytes.Contains(m.value, []byte(`"u"`)) {
		return m.value, nil
	}
	of := fieldsOf(c.input.Field(f.index).Type.Elem())
	if _, _, taken := Match(of, "u"); taken || len(of) == 0 {
		return m.value, nil
	}
	var rows []json.RawMessage
	if json.Unmarshal(m.value, &rows) != nil {
		return m.value, nil // refused where it is read
	}
	for i, row := range rows {
		list, err := members(row)
		if err != nil {
			continue
		}
		kept := map[string]json.RawMessage{}
		for _, x := range list {
			if x.name != "u" {
				kept[x.name] = x.value
				continue
			}
			var of map[string]spread
			if json.Unmarshal(x.value, &of) != nil {
				return nil, notUncertainties(fmt.Sprintf("%s[%d].u", f.Name, i), x.value)
			}
			for name, v := range of {
				u[fmt.Sprintf("%s[%d].%s", f.Name, i, name)] = v
			}
		}
		if len(kept) < len(list) {
			if rows[i], err = json.Marshal(kept); err != nil {
				return nil, err
			}
		}
	}
	return json.Marshal(rows)
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
// uncertainties of its fields, and of those of its lists' entries, to every number
// of its result. A planner's numbers do not lie below their floor.
func propagate(c *Calculation, in reflect.Value, result any, r request) (map[string]uncertainty.Result, error) {
	if r.method == "" || r.method == None {
		return nil, nil
	}
	p := uncertainty.Problem{Range: true}
	var targets []place
	// In the order of the names: Monte Carlo draws in the order of the effects.
	for _, name := range slices.Sorted(maps.Keys(r.u)) {
		at, f, unit, err := c.place(name)
		if err != nil {
			return nil, err
		}
		if slices.Contains(targets, at) {
			return nil, &quantity.Error{Field: "u." + name, Message: "is given twice, in two units", Mend: "keep one of them"}
		}
		value, ok := at.in(in.Elem())
		if !ok {
			return nil, &quantity.Error{Field: "u." + name, Message: "belongs to a field that is not given", Mend: "give " + f.Name + " too"}
		}
		sd, err := r.u[name].sd(name, f, unit, value.Float())
		if err != nil {
			return nil, err
		}
		p.Effects = append(p.Effects, uncertainty.Effect{Key: at.key(c, f), Name: f.Help, On: []uncertainty.Loading{{Input: len(targets), SD: sd}}})
		p.Values = append(p.Values, value.Float())
		targets = append(targets, at)
	}
	out := make(map[string]uncertainty.Result)
	floors := floorsOf(result)
	for i, name := range numbersOf(result) {
		p.NewModel = func() uncertainty.Model { return modelOf(c, in, targets, i) }
		if r.method == MonteCarlo {
			out[name] = uncertainty.MonteCarlo(&p, uncertainty.Options{Seed: 1, Max: 200_000, Shortest: c.floored && floors[i]})
		} else {
			out[name] = uncertainty.GUM(&p)
			if c.floored && floors[i] {
				out[name] = out[name].Above(0)
			}
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

// place is where a number of an input stands: a field, or a field of an entry of
// a list.
type place struct{ field, entry, of int } // entry -1 for a field of its own

var inEntry = regexp.MustCompile(`^(\w+)\[(\d{1,5})\]\.(\w+)$`)

// place finds "temperature_c" and "additions[0].volume_l".
func (c *Calculation) place(name string) (at place, f *Field, unit quantity.Unit, err error) {
	fields, list := c.Fields, inEntry.FindStringSubmatch(name)
	at.entry = -1
	own := name
	if list != nil {
		l, _, ok := Match(c.Fields, list[1])
		if !ok || !isList(c.input.Field(l.index).Type) {
			return at, nil, unit, &quantity.Error{Field: "u." + name, Message: "is of no list of this calculation", Mend: "known are " + names(c.Fields)}
		}
		at.field, own = l.index, list[3]
		at.entry, _ = strconv.Atoi(list[2])
		fields = fieldsOf(c.input.Field(l.index).Type.Elem())
	}
	f, unit, ok := Match(fields, own)
	of := c.input
	if list != nil {
		of = c.input.Field(at.field).Type.Elem()
	}
	if ok && f.Kind == nil && plainNumberField(of.Field(f.index).Type) {
		unit.Scale = 1 // turnovers, cycles: numbers without a unit
	} else if !ok || f.Kind == nil {
		return at, nil, unit, &quantity.Error{Field: "u." + name, Message: "is no quantity of this calculation", Mend: "known are " + names(fields)}
	}
	at.of = f.index
	if list == nil {
		at.field = f.index
	}
	return at, f, unit, nil
}

func isList(t reflect.Type) bool {
	return t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Struct
}

func (at place) key(c *Calculation, f *Field) string {
	if at.entry < 0 {
		return f.Name
	}
	for i := range c.Fields {
		if c.Fields[i].index == at.field {
			return fmt.Sprintf("%s[%d].%s", c.Fields[i].Name, at.entry, f.Name)
		}
	}
	return f.Name
}

// in is the number at a place of an input; ok is false where none is given.
func (at place) in(input reflect.Value) (v reflect.Value, ok bool) {
	v = input.Field(at.field)
	if at.entry >= 0 {
		if at.entry >= v.Len() {
			return v, false
		}
		v = v.Index(at.entry).Field(at.of)
	}
	if v.Kind() == reflect.Pointer {
		return v.Elem(), !v.IsNil()
	}
	return v, true
}

// modelOf makes a model that sets some numbers of a copy of the input and reads
// one number of the result.
func modelOf(c *Calculation, in reflect.Value, targets []place, number int) uncertainty.Model {
	work := reflect.New(c.input)
	work.Elem().Set(in.Elem())
	if lean, ok := work.Interface().(interface{ onlyNumbers() }); ok {
		lean.onlyNumbers()
	}
	copied := map[int]bool{}
	fields := make([]reflect.Value, len(targets))
	for i, at := range targets {
		f := work.Elem().Field(at.field)
		if at.entry >= 0 {
			if !copied[at.field] {
				own := reflect.MakeSlice(f.Type(), f.Len(), f.Len())
				reflect.Copy(own, f)
				f.Set(own)
				copied[at.field] = true
			}
			f = f.Index(at.entry).Field(at.of)
		}
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

// floorsOf tells which numbers of a result cannot lie below 0: all but those
// marked floor:"none", such as temperatures and gauge pressures.
func floorsOf(result any) []bool {
	t := reflect.TypeOf(result)
	var list []bool
	for _, i := range numberIndex(result) {
		list = append(list, t.Field(i).Tag.Get("floor") != "none")
	}
	return list
}
