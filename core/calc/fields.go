package calc

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"reflect"
	"strconv"
	"strings"

	"ullage/core/quantity"
)

// Field describes one input of a calculation. Its name ends in the suffix of
// its base unit (temperature_c); another suffix of the same quantity
// (temperature_f) is accepted and converted.
type Field struct {
	Name     string         `json:"name"`
	Stem     string         `json:"-"` // name without the unit
	Kind     *quantity.Kind `json:"-"` // nil for words, flags and lists
	Unit     string         `json:"unit,omitempty"`
	Required bool           `json:"required,omitempty"`
	Help     string         `json:"help"`
	index    int
}

type kinder interface{ Kind() *quantity.Kind }

// fieldsOf reads an input struct: `json` is the name, `help` the explanation,
// `need:"yes"` marks what must be given.
func fieldsOf(t reflect.Type) []Field {
	fields := make([]Field, 0, t.NumField())
	for i := range t.NumField() {
		sf := t.Field(i)
		name, _, _ := strings.Cut(sf.Tag.Get("json"), ",")
		if name == "" || name == "-" {
			continue
		}
		f := Field{Name: name, Stem: name, Help: sf.Tag.Get("help"), Required: sf.Tag.Get("need") == "yes", index: i}
		ft := sf.Type
		if ft.Kind() == reflect.Pointer {
			ft = ft.Elem()
		}
		if q, ok := reflect.Zero(ft).Interface().(kinder); ok {
			f.Kind = q.Kind()
			base := f.Kind.Units[0]
			f.Unit = base.Symbol
			f.Stem = strings.TrimSuffix(name, "_"+base.Suffix)
		}
		fields = append(fields, f)
	}
	return fields
}

// Match finds the field that a column or JSON name means, and the unit its
// suffix says. ok is false for a name that is no field's.
func Match(fields []Field, name string) (f *Field, unit quantity.Unit, ok bool) {
	for i := range fields {
		f = &fields[i]
		if f.Name == name {
			if f.Kind != nil {
				unit = f.Kind.Units[0]
			}
			return f, unit, true
		}
		if f.Kind == nil {
			continue
		}
		if name == f.Stem {
			return f, f.Kind.Units[0], true
		}
		if rest, found := strings.CutPrefix(name, f.Stem+"_"); found {
			if u, ok := f.Kind.BySuffix(rest); ok {
				return f, u, true
			}
		}
	}
	return nil, unit, false
}

// member is one name and value of a JSON object, in its order.
type member struct {
	name  string
	value json.RawMessage
}

// members reads a JSON object and keeps order and repeats, which a map would lose.
func members(data []byte) ([]member, error) {
	bad := func(why string) error {
		return &quantity.Error{Message: "the input is not a JSON object: " + why, Mend: `send for example {"temperature_c": 4}`}
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	switch open, err := dec.Token(); {
	case err != nil:
		return nil, bad(err.Error())
	case open != json.Delim('{'):
		return nil, bad("it begins otherwise")
	}
	var list []member
	seen := map[string]bool{}
	for dec.More() {
		name, err := dec.Token()
		if err != nil {
			return nil, bad(err.Error())
		}
		m := member{name: name.(string)}
		if seen[m.name] {
			return nil, &quantity.Error{Field: m.name, Message: "is given twice", Mend: "keep one of them"}
		}
		seen[m.name] = true
		if err := dec.Decode(&m.value); err != nil {
			return nil, bad(err.Error())
		}
		list = append(list, m)
	}
	if _, err := dec.Token(); err != nil {
		return nil, bad(err.Error())
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, bad("something follows it")
	}
	return list, nil
}

// decode fills an input struct from JSON: numbers in the unit of the name's
// suffix, or strings with their own unit. A null is a field not given. Unknown
// and repeated fields are refused.
func decode(fields []Field, given []member, into reflect.Value) error {
	from := make(map[int]string, len(given))
	for _, m := range given {
		f, unit, ok := Match(fields, m.name)
		if !ok {
			return &quantity.Error{Field: m.name, Message: "is no field of this calculation", Mend: "known are " + names(fields)}
		}
		if other, twice := from[f.index]; twice {
			return &quantity.Error{Field: m.name, Message: "is given twice, also as " + other, Mend: "keep one of them"}
		}
		if string(m.value) == "null" {
			continue
		}
		from[f.index] = m.name
		if err := decodeField(f, m.name, unit, m.value, into.Field(f.index)); err != nil {
			return err
		}
	}
	for i := range fields {
		if f := &fields[i]; f.Required && from[f.index] == "" {
			return missing(f.Name)
		}
	}
	return nil
}

func decodeField(f *Field, name string, unit quantity.Unit, value json.RawMessage, into reflect.Value) error {
	if f.Kind == nil {
		if err := json.Unmarshal(value, into.Addr().Interface()); err != nil {
			var own *quantity.Error
			if errors.As(err, &own) {
				return ofList(name, quantity.In(name, err))
			}
			return &quantity.Error{Field: name, Value: string(value), Message: "is not what this field takes", Mend: f.Help}
		}
		return nil
	}
	text := string(value)
	if value[0] == '"' {
		if err := json.Unmarshal(value, &text); err != nil {
			return &quantity.Error{Field: name, Value: string(value), Message: "is not a JSON string", Mend: f.Help}
		}
	}
	base, err := ParseField(f, unit, text)
	if err != nil {
		return quantity.In(name, err)
	}
	if into.Kind() == reflect.Pointer {
		into.Set(reflect.New(into.Type().Elem()))
		into = into.Elem()
	}
	into.SetFloat(base)
	return nil
}

// ofList gives a row that was refused the name of its own list.
func ofList(name string, err error) error {
	var e *quantity.Error
	if errors.As(err, &e) && strings.HasPrefix(e.Field, "rows[") {
		named := *e
		named.Field = name + strings.TrimPrefix(e.Field, "rows")
		return &named
	}
	return err
}

// ParseField reads a cell: a bare number is in the column's unit, a unit in the
// cell itself wins.
func ParseField(f *Field, column quantity.Unit, cell string) (float64, error) {
	if v, err := strconv.ParseFloat(cell, 64); err == nil && plainNumber(cell) {
		base := column.ToBase(v)
		return base, f.Kind.Check(base)
	}
	return f.Kind.Parse(cell)
}

// plainNumber refuses what ParseFloat takes but no scale prints: inf, hex.
func plainNumber(s string) bool {
	for i := range len(s) {
		if c := s[i]; (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return false
		}
	}
	return true
}

func missing(field string) error {
	return &quantity.Error{Field: field, Message: "is missing", Mend: "give it"}
}

func names(fields []Field) string {
	list := make([]string, len(fields))
	for i, f := range fields {
		list[i] = f.Name
	}
	return strings.Join(list, ", ")
}

func format(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// Index is the place of the field in the struct that Calculation.Input makes.
func (f *Field) Index() int { return f.index }
