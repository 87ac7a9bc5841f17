package calc_test

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"ullage/core/calc"
)

// Every line of a derivation is worked again from what it prints, as a reviewer
// with a pocket calculator would, and gives the value on that line.
func TestExplainCanBeWorked(t *testing.T) {
	can := with(examples["tpo"], object{"co2_vol": 2.5, "abv_pct": 5})
	for _, in := range []object{
		can, with(can, object{"temperature_c": -1.5, "air_density_kg_m3": 1.05}), with(can, object{"capacity_ml": nil, "capacity_water_g": 372.4, "water_temperature_c": 18}),
		with(can, object{"corrections": []string{"co2", "pressure", "expansion", "beer"}}), with(can, object{"path": "assumed"}), bottle,
		with(can, object{"uncertainty": "none"}), with(can, object{"u": object{"meter": 2, "capacity": 0.0001}}),
	} {
		answer, err := calc.Do("tpo", encode(t, with(in, object{"explain": true})))
		if err != nil {
			t.Fatal(err)
		}
		r := answer.Result.(calc.TPOResult)
		last := map[string]float64{}
		for _, s := range answer.Derivation {
			last[s.Symbol] = s.Value
			if s.Equation == "" || s.Formula == "" || s.Source == "" {
				t.Errorf("%+v lacks equation, formula or source", s)
			}
			work(t, s, float64of(t, in["temperature_c"]))
		}
		for symbol, want := range map[string]float64{"TPO": r.TPO, "m": r.Oxygen, "share": r.HeadspaceShare, "V_b": r.Beer, "V_h": r.Headspace, "V_c": r.Capacity, "ρ_b": r.BeerDensity, "u": r.U} {
			if got, shown := last[symbol]; shown && got != want {
				t.Errorf("%s is %v in the derivation, %v in the result", symbol, got, want)
			}
		}
		k := last["K"]
		if v, ok := last["K(P)"]; ok {
			k = v
		}
		if k != r.PartitionRatio || last["TPO"] == 0 || last["V_h"] == 0 || (in["uncertainty"] != "none") != (last["u"] > 0) {
			t.Errorf("the derivation is not whole: %v", last)
		}
	}
	if answer, _ := calc.Do("tpo", encode(t, can)); answer.Derivation != nil {
		t.Error("a derivation nobody asked for")
	}
}

func float64of(t *testing.T, v any) float64 {
	f, err := strconv.ParseFloat(string(encode(t, v)), 64)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// work evaluates a step: the numbers where they are an expression, else the
// formula at the step's temperature.
func work(t *testing.T, s calc.Step, celsius float64) {
	t.Helper()
	text, tolerance := s.Numbers, 2e-5
	switch {
	case strings.HasPrefix(text, "T = ") || strings.HasPrefix(text, "t = "):
		text = s.Formula
	case strings.Contains(text, "…"): // the largest parts alone
		text = strings.Replace(text, " + …", "", 1)
		tolerance = 0.1
	case s.Symbol == "u":
		tolerance = 0.01
	}
	text = regexp.MustCompile(` \([A-Za-z][^)]*\)`).ReplaceAllString(text, "")
	e := expression{text: []rune(text), names: map[string]float64{"T": celsius + 273.15, "t": celsius}}
	got, err := e.value()
	if err != nil {
		t.Errorf("%s: %q: %v", s.Symbol, text, err)
	} else if math.Abs(got-s.Value) > tolerance*math.Abs(s.Value)+1e-12 {
		t.Errorf("%s: %q is %v, the step says %v", s.Symbol, text, got, s.Value)
	}
}

// expression reads sums and products as they are printed: × and · and a space
// multiply, ² ³ ⁴ raise, exp and √ apply to what follows.
type expression struct {
	text  []rune
	at    int
	names map[string]float64
}

func (e *expression) value() (v float64, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%v at %d", r, e.at)
		}
	}()
	v = e.sum()
	if e.peek() != 0 {
		panic("more follows: " + string(e.text[e.at:]))
	}
	return v, nil
}

func (e *expression) peek() rune {
	for e.at < len(e.text) && e.text[e.at] == ' ' {
		e.at++
	}
	if e.at == len(e.text) {
		return 0
	}
	return e.text[e.at]
}

func (e *expression) sum() float64 {
	v := e.product()
	for {
		switch e.peek() {
		case '+':
			e.at++
			v += e.product()
		case '−', '-':
			e.at++
			v -= e.product()
		default:
			return v
		}
	}
}

func (e *expression) product() float64 {
	v := e.power()
	for {
		switch c := e.peek(); {
		case c == '×' || c == '·':
			e.at++
			v *= e.power()
		case c == '/':
			e.at++
			v /= e.power()
		case c == '(' || c == '√' || c >= '0' && c <= '9' || c >= 'A' && c <= 'z' && c != ']' && c != '[':
			v *= e.power()
		default:
			return v
		}
	}
}

func (e *expression) power() float64 {
	v := e.one()
	for {
		switch e.peek() {
		case '²':
			v *= v
		case '³':
			v *= v * v
		case '⁴':
			v *= v * v * v
		default:
			return v
		}
		e.at++
	}
}

var numeral = regexp.MustCompile(`^[0-9.]+(e[-+]?[0-9]+)?`)

func (e *expression) one() float64 {
	switch c := e.peek(); {
	case c == '−' || c == '-':
		e.at++
		return -e.power()
	case c == '(' || c == '[':
		e.at++
		v := e.sum()
		if close := e.peek(); close != ')' && close != ']' {
			panic("not closed")
		}
		e.at++
		return v
	case c == '√':
		e.at++
		return math.Sqrt(e.one())
	case c >= '0' && c <= '9':
		text := numeral.FindString(string(e.text[e.at:]))
		e.at += len(text)
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			panic(err)
		}
		return v
	}
	rest := string(e.text[e.at:])
	if strings.HasPrefix(rest, "exp(") {
		e.at += 3
		return math.Exp(e.one())
	}
	for name, v := range e.names {
		if strings.HasPrefix(rest, name) {
			e.at += len(name)
			return v
		}
	}
	panic("unknown " + rest)
}
