package calc

import (
	"encoding/json"
	"errors"
	"reflect"

	"ullage/core/quantity"
	"ullage/core/uncertainty"
)

// Warning is something unlikely about an input or a result, with the mend.
type Warning struct {
	Code    string `json:"code"`            // stable, for a CSV cell: "shaken_do_unlikely"
	Field   string `json:"field,omitempty"` // the input to look at
	Value   string `json:"value,omitempty"`
	Message string `json:"message"`
	Mend    string `json:"mend,omitempty"`
}

// Step is one line of a derivation.
type Step struct {
	Equation string  `json:"equation"` // number in docs/method.md
	Symbol   string  `json:"symbol"`
	Formula  string  `json:"formula"`
	Numbers  string  `json:"numbers"` // the formula with the numbers in it
	Value    float64 `json:"value"`
	Unit     string  `json:"unit"`
	Source   string  `json:"source"`
}

// Answer is what a calculation says.
type Answer struct {
	Result      any                           `json:"result"`
	Warnings    []Warning                     `json:"warnings,omitempty"`
	Derivation  []Step                        `json:"derivation,omitempty"`
	Uncertainty map[string]uncertainty.Result `json:"uncertainty,omitempty"` // by result field
}

// Calculation is one entry of the table.
type Calculation struct {
	Name      string  `json:"name"`
	Help      string  `json:"help"`
	Equations string  `json:"equations"` // numbers in docs/method.md
	Fields    []Field `json:"fields"`
	input     reflect.Type
	floored   bool // no number of its result lies below 0, but those that say so
	run       func(input any) (Answer, error)
}

// Input makes a new input struct of the calculation, as a pointer.
func (c *Calculation) Input() any { return reflect.New(c.input).Interface() }

// table is filled once, in list.go, and never changed.
var table = entries()

// List is the table, in the order of the brewery: package first.
func List() []Calculation { return table }

// Find a calculation by its name.
func Find(name string) (*Calculation, error) {
	for i := range table {
		if table[i].Name == name {
			return &table[i], nil
		}
	}
	known := ""
	for _, c := range table {
		known += c.Name + " "
	}
	return nil, &quantity.Error{Field: "calculation", Value: name, Message: "is not known", Mend: "known are " + known}
}

// Run reads the JSON input of a calculation, runs it and writes its Answer as
// JSON. Besides the calculation's own fields the input may hold "u", standard
// uncertainties by field in the field's unit, and "uncertainty" (gum,
// monte-carlo or none).
func Run(name string, input []byte) ([]byte, error) {
	answer, err := Do(name, input)
	if err != nil {
		return nil, err
	}
	out, err := json.Marshal(answer)
	if err != nil {
		return nil, &quantity.Error{Field: name, Message: "has a result that is not finite", Mend: "check the size and the unit of each input"}
	}
	return out, nil
}

// Do is Run without the JSON of the answer.
func Do(name string, input []byte) (Answer, error) {
	c, err := Find(name)
	if err != nil {
		return Answer{}, err
	}
	own, err := members(input)
	if err != nil {
		return Answer{}, err
	}
	var shared request
	if !c.ownUncertainty() {
		if own, shared, err = c.splitUncertainty(own); err != nil {
			return Answer{}, err
		}
	}
	in := reflect.New(c.input)
	if err := decode(c.Fields, own, in.Elem()); err != nil {
		return Answer{}, err
	}
	answer, err := c.run(in.Interface())
	if err != nil {
		return Answer{}, err
	}
	answer.Uncertainty, err = propagate(c, in, answer.Result, shared)
	return answer, err
}

// RunText is Run for doors that speak text alone: an error becomes
// {"error": {kind, field, value, message, mend}}.
func RunText(name, input string) string {
	out, err := Run(name, []byte(input))
	if err == nil {
		return string(out)
	}
	type fault struct {
		Kind string `json:"kind"`
		quantity.Error
	}
	f := fault{Kind: "input"}
	var e *quantity.Error
	if errors.As(err, &e) {
		f.Error = *e
	} else {
		f.Error = quantity.Error{Message: err.Error()}
	}
	text, _ := json.Marshal(map[string]fault{"error": f})
	return string(text)
}

// define makes a table entry from a function of a typed input.
func define[I any](name, help, equations string, run func(*I) (Answer, error)) Calculation {
	t := reflect.TypeFor[I]()
	return Calculation{
		Name: name, Help: help, Equations: equations, Fields: fieldsOf(t), input: t,
		run: func(in any) (Answer, error) { return run(in.(*I)) },
	}
}

// ownUncertainty tells that "u" is a field of the calculation, which then
// propagates by itself.
func (c *Calculation) ownUncertainty() bool {
	_, _, own := Match(c.Fields, "u")
	return own
}
