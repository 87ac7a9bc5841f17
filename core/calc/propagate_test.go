package calc_test

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"ullage/core/calc"
)

func fromJSON[T any](t *testing.T, v any) (out T) {
	t.Helper()
	if err := json.Unmarshal(encode(t, v), &out); err != nil {
		t.Fatal(err)
	}
	return out
}

type carried struct {
	Value, U, K, Low95, High95 float64
	Trials                     int
	Budget                     []struct {
		Key   string
		Share float64
	}
}

// Every number of every result gets an uncertainty from every quantity that is
// given, and it is the difference quotient times u.
func TestCarriedUncertainty(t *testing.T) {
	for _, c := range calc.List() {
		if c.Name == "tpo" || c.Name == "judge" {
			continue
		}
		example := examples[c.Name]
		for _, f := range c.Fields {
			value, given := example[f.Name]
			if !given || f.Kind == nil {
				continue
			}
			x, _ := json.Number(encode(t, value)).Float64()
			u := 1e-4 * max(math.Abs(x), 0.01)
			result, answer := must(t, c.Name, with(example, object{"u": object{f.Name: u}}))
			up, _ := must(t, c.Name, with(example, object{f.Name: x + u}))
			down, _ := must(t, c.Name, with(example, object{f.Name: x - u}))
			all := fromJSON[map[string]carried](t, answer["uncertainty"])
			for name, v := range result {
				number, ok := v.(float64)
				if _, optional := all[name]; !ok || !optional {
					continue
				}
				got, want := all[name], math.Abs(up[name].(float64)-down[name].(float64))/2
				if got.Value != number || math.Abs(got.U-want) > 1e-3*want+1e-9*math.Abs(number) {
					t.Errorf("%s: u(%s) from %s is %v, want %v", c.Name, name, f.Name, got.U, want)
				}
			}
			if len(all) == 0 {
				t.Errorf("%s: nothing carried from %s", c.Name, f.Name)
			}
		}
	}
}

func TestCarriedMethods(t *testing.T) {
	base := with(examples["co2"], object{"u": object{"temperature_c": 0.2, "co2_vol": 0.05}})
	_, answer := must(t, "co2", base)
	gum := fromJSON[map[string]carried](t, answer["uncertainty"])["pressure_kpa"]
	input := encode(t, with(base, object{"uncertainty": "monte-carlo"}))
	first, err := calc.Run("co2", input)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 { // the order of a map must not show
		again, err := calc.Run("co2", input)
		if err != nil || !bytes.Equal(first, again) {
			t.Fatal("the same input gives another answer")
		}
	}
	var mc struct{ Uncertainty map[string]carried }
	if err := json.Unmarshal(first, &mc); err != nil {
		t.Fatal(err)
	}
	m := mc.Uncertainty["pressure_kpa"]
	if !near(m.U, gum.U, 0.02) || !near(m.Low95, gum.Low95, 0.002) || !near(m.High95, gum.High95, 0.002) || m.Trials == 0 {
		t.Errorf("first order %+v, Monte Carlo %+v", gum, m)
	}
	if len(gum.Budget) != 2 || math.Abs(gum.Budget[0].Share+gum.Budget[1].Share-1) > 1e-9 {
		t.Errorf("budget %+v", gum.Budget)
	}
	if _, answer := must(t, "co2", with(base, object{"uncertainty": "none"})); answer["uncertainty"] != nil {
		t.Error("none gives an uncertainty")
	}
	// In the unit of the name: 0.36 °F is 0.2 K.
	_, answer = must(t, "co2", with(base, object{"u": object{"temperature_f": 0.36, "co2_vol": 0.05}}))
	if f := fromJSON[map[string]carried](t, answer["uncertainty"])["pressure_kpa"]; !near(f.U, gum.U, 1e-6) {
		t.Errorf("in °F: %v, in °C: %v", f.U, gum.U)
	}
}

func TestCarriedRefusals(t *testing.T) {
	for _, c := range []struct {
		u           any
		field, says string
	}{
		{object{"foam": 1}, "u.foam", "no quantity"},
		{object{"temperature_c": -1}, "u.temperature_c", "no standard uncertainty"},
		{object{"pressure_kpa": 1}, "u.pressure_kpa", "not given"},
		{object{"temperature_c": 1, "temperature_f": 1}, "u.temperature_f", "twice"},
		{[]int{1}, "u", "not a list"},
		{object{"temperature_c": "wide"}, "u.temperature_c", "not a number"}, {object{"temperature_c": []int{1}}, "u", "not a list"},
	} {
		if e := refused(t, "co2", encode(t, with(examples["co2"], object{"u": c.u}))); e.Field != c.field || !strings.Contains(e.Message, c.says) {
			t.Errorf("%v: %v", c.u, e)
		}
	}
	for _, m := range []any{"guess", 5, []string{"gum"}} {
		if e := refused(t, "co2", encode(t, with(examples["co2"], object{"uncertainty": m}))); e.Field != "uncertainty" {
			t.Errorf("%v: %v", m, e)
		}
	}
}

// No oxygen at all in the gas is an input like another: its uncertainty is carried.
func TestCarriedAtTheEdge(t *testing.T) {
	_, answer := must(t, "gas", object{"oxygen_fraction": 0, "co2_vol": 2.5, "u": object{"oxygen_ppmv": 5}})
	for name, f := range fromJSON[map[string]carried](t, answer["uncertainty"]) {
		if math.IsNaN(f.U) || f.U < 0 {
			t.Errorf("%s: u %v", name, f.U)
		}
	}
	if f := fromJSON[map[string]carried](t, answer["uncertainty"])["dissolved_ppb"]; f.U == 0 {
		t.Errorf("dissolved: %+v", f)
	}
}
