// Package quantity has one type for each quantity of the trade and is the only
// place that parses, converts and prints units.
//
// Dissolved oxygen of a tank, unshaken DO, shaken DO and total package oxygen
// are all micrograms per litre, yet four types: adding or comparing two of
// them does not compile. A value is a plain float64 in the base unit of its
// kind, so arithmetic within one quantity costs nothing.
//
// The package does not judge whether a value is likely; core/calc does.
package quantity

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// Of is a value in the base unit of kind K. Use the aliases (ShakenDO, Mass …).
type Of[K kinded] float64

// kinded ties a Go type to its unit table.
type kinded interface{ kind() *Kind }

// Kind is a quantity's name and the units it is written in; the first unit is
// the base unit.
type Kind struct {
	Name  string // as a person says it: "shaken DO"
	Units []Unit
	Min   float64 // smallest possible value, base unit; -Inf where there is none
	parse func(number float64, unit string) (base float64, ok bool)
}

// Unit is one way to write a quantity: base = (number + Offset) × Scale.
type Unit struct {
	Symbol string   // printed: "°C"
	Suffix string   // in a column or field name: temperature_c
	Also   []string // accepted too, any case
	Scale  float64
	Offset float64
}

// Parse reads a number with an optional unit, such as "48 ppb", "39.2F" or
// "1.0105"; without a unit the base unit is meant. It returns an *Error for
// anything else, NaN and infinities included.
func Parse[K kinded](s string) (Of[K], error) {
	var k K
	v, err := k.kind().Parse(s)
	return Of[K](v), err
}

// Set makes a quantity a command-line flag.
func (q *Of[K]) Set(s string) error { return q.UnmarshalText([]byte(s)) }

// UnmarshalText reads what Parse reads.
func (q *Of[K]) UnmarshalText(b []byte) error {
	v, err := Parse[K](string(b))
	if err != nil {
		return err
	}
	*q = v
	return nil
}

// UnmarshalJSON takes a number in the base unit, or a string that Parse reads.
func (q *Of[K]) UnmarshalJSON(b []byte) error {
	if b = bytes.TrimSpace(b); len(b) > 0 && b[0] == '"' {
		var s string
		if err := json.Unmarshal(b, &s); err != nil {
			return err
		}
		return q.UnmarshalText([]byte(s))
	}
	if string(b) == "null" {
		return nil
	}
	return q.UnmarshalText(b)
}

// String prints the value in its base unit, exactly: Parse gives it back.
func (q Of[K]) String() string { return q.Format(-1) }

// Format prints the value in its base unit with so many decimals (-1: as many
// as the value has).
func (q Of[K]) Format(decimals int) string {
	var k K
	return k.kind().Units[0].print(float64(q), decimals)
}

// In gives the value as a number of the named unit (symbol or suffix).
func (q Of[K]) In(unit string) (float64, error) {
	var k K
	u := k.kind().unit(unit)
	if u == nil {
		return 0, k.kind().unitError("", unit)
	}
	return u.FromBase(float64(q)), nil
}

// Kind returns the quantity's kind.
func (q Of[K]) Kind() *Kind { var k K; return k.kind() }

// ToBase converts a number of this unit to the base unit of its kind.
func (u Unit) ToBase(number float64) float64 { return (number + u.Offset) * u.Scale }

// FromBase converts a value in the base unit to a number of this unit.
func (u Unit) FromBase(base float64) float64 { return base/u.Scale - u.Offset }

func (u Unit) print(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if u.Symbol == "" {
		return s
	}
	return s + " " + u.Symbol
}

// Parse reads a number with an optional unit of this kind into the base unit.
func (k *Kind) Parse(s string) (float64, error) {
	v, symbol, err := k.split(s)
	if err != nil {
		return 0, err
	}
	base, err := k.toBase(s, v, symbol)
	if err != nil {
		return 0, err
	}
	return base, k.Check(base)
}

// Difference reads a difference between two values of this kind, such as an
// uncertainty, with an optional unit: 1 °F is five ninths of 1 °C.
func (k *Kind) Difference(s string) (float64, error) {
	v, symbol, err := k.split(s)
	if err != nil {
		return 0, err
	}
	u := &k.Units[0]
	if symbol != "" {
		if u = k.unit(symbol); u == nil {
			return 0, k.unitError(s, symbol)
		}
	}
	return v * u.Scale, nil
}

// split cuts a text into its number and its unit.
func (k *Kind) split(s string) (v float64, symbol string, err error) {
	text := strings.TrimSpace(s)
	cut := len(text)
	for i, r := range text {
		if !isNumberRune(r) || (r == 'e' || r == 'E') && !exponentAt(text, i) {
			cut = i
			break
		}
	}
	number, symbol := strings.TrimSpace(text[:cut]), strings.TrimSpace(text[cut:])
	if number == "" {
		return 0, "", &Error{Value: s, Message: "is not a number", Mend: k.example()}
	}
	v, err = strconv.ParseFloat(number, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, "", k.numberError(s, number)
	}
	return v, symbol, nil
}

// Check returns an *Error when a base-unit value is not finite or is below
// what the quantity can physically be.
func (k *Kind) Check(base float64) error {
	if math.IsNaN(base) || math.IsInf(base, 0) {
		return &Error{Value: strconv.FormatFloat(base, 'g', -1, 64), Message: "is not a finite number", Mend: k.example()}
	}
	if base < k.Min {
		return &Error{Value: k.Units[0].print(base, -1), Message: "is below the least possible " + k.Name + ", " + k.Units[0].print(k.Min, -1), Mend: "check the sign and the unit"}
	}
	return nil
}

// BySuffix finds the unit that a field or column name ends in ("_f", "_ppm", "_mg_l").
func (k *Kind) BySuffix(suffix string) (Unit, bool) {
	for _, u := range k.Units {
		if u.Suffix == suffix || slices.Contains(u.Also, suffix) {
			return u, true
		}
	}
	return Unit{}, false
}

func (k *Kind) toBase(s string, v float64, symbol string) (float64, error) {
	if symbol == "" {
		return k.Units[0].ToBase(v), nil
	}
	if u := k.unit(symbol); u != nil {
		return u.ToBase(v), nil
	}
	if k.parse != nil {
		if base, ok := k.parse(v, strings.ToLower(symbol)); ok {
			return base, nil
		}
	}
	if strings.HasPrefix(symbol, ",") {
		return 0, &Error{Value: s, Message: "has a comma, which may mean a decimal or thousands", Mend: "write a decimal point and no thousands mark"}
	}
	return 0, k.unitError(s, symbol)
}

func (k *Kind) unit(symbol string) *Unit {
	symbol = bare(symbol)
	for i, u := range k.Units {
		if strings.EqualFold(symbol, bare(u.Symbol)) || u.Suffix != "" && strings.EqualFold(symbol, bare(u.Suffix)) {
			return &k.Units[i]
		}
		for _, a := range u.Also {
			if strings.EqualFold(symbol, bare(a)) {
				return &k.Units[i]
			}
		}
	}
	return nil
}

// bare drops what people write or leave out in a unit: "fl. oz", "floz".
func bare(symbol string) string { return unitNoise.Replace(symbol) }

var unitNoise = strings.NewReplacer(" ", "", ".", "", "_", "")

func (k *Kind) unitError(value, symbol string) *Error {
	names := make([]string, 0, len(k.Units))
	for _, u := range k.Units {
		if u.Symbol != "" {
			names = append(names, u.Symbol)
		}
	}
	if value == "" {
		value = symbol
	}
	mend := "use " + strings.Join(names, ", ")
	if len(names) == 0 {
		mend = "write the number alone"
	}
	return &Error{Value: value, Message: "has the unknown unit " + strconv.Quote(symbol) + " for " + k.Name, Mend: mend}
}

func (k *Kind) numberError(s, number string) *Error {
	if _, err := strconv.ParseFloat(number, 64); err != nil && strings.Contains(err.Error(), "range") {
		return &Error{Value: s, Message: "is too large a number", Mend: k.example()}
	}
	return &Error{Value: s, Message: "is not a number", Mend: k.example()}
}

func (k *Kind) example() string {
	return "write for example " + strconv.Quote(strings.TrimSpace(examples[k.Name]+" "+k.Units[0].Symbol))
}

func isNumberRune(r rune) bool {
	return r >= '0' && r <= '9' || r == '.' || r == '+' || r == '-' || r == 'e' || r == 'E'
}

// exponentAt tells the exponent of "1e3" from a unit that begins with e.
func exponentAt(s string, i int) bool {
	rest := strings.TrimLeft(s[i+1:], "+-")
	return rest != "" && unicode.IsDigit(rune(rest[0]))
}
