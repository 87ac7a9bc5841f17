package calc_test

import (
	"encoding/json"
	"maps"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ullage/core/calc"
)

// planExamples holds a good input for every planner.
var planExamples = map[string]object{
	"purge":       {"vessel_ml": 5e6, "volumes": 5, "beer_ml": 4.5e6, "gas_oxygen_fraction": 3e-5, "temperature_c": 10, "at_gauge_kpa": 20, "flow_nl_min": 500, "room_m3": 400, "reading_fraction": 0.002},
	"gas":         {"oxygen_fraction": 1e-5, "co2_vol": 2.5, "temperature_c": 2, "pressure_kpa": 220, "beer_ml": 4e6, "headspace_ml": 4e5},
	"strip":       {"do_ppb": 120, "temperature_c": 2, "gas_per_beer": 0.4, "gas_oxygen_fraction": 1e-5, "pressure_kpa": 120, "efficiency_fraction": 0.2, "beer_ml": 5e6},
	"addition":    {"beer_ml": 4e6, "do_ppb": 12, "additions": []object{{"kind": "liquid", "volume_l": 20}, {"kind": "hops", "mass_kg": 20}}, "temperature_c": 10, "limit_ppb": 100},
	"package-air": {"beer_ml": 355, "headspace_ml": 18, "unshaken_do_ppb": 43, "air_fraction": 0.02, "target_ppb": 110, "temperature_c": 20},
	"after":       {"tpo_ppb": 60, "beer_ml": 330, "temperature_c": 12, "days": 120, "ingress_ml_day": 0.001, "half_life_days": 5},
	"age":         {"history": []object{{"days": 14, "temperature_c": 20}, {"days": 30, "temperature_c": 4}}, "reference_c": 4, "q10": 3, "code_days": 120},
	"priming":     {"beer_ml": 2e4, "co2_vol": 2.4, "highest_c": 20, "warm_c": 28},
	"home":        {"beer_ml": 19000, "headspace_ml": 600, "gauge_kpa": 200},
	"wort-oxygen": {"wort_l_min": 50, "target_ppb": 9500, "efficiency_fraction": 0.6, "temperature_c": 12, "extract_plato": 12, "pressure_kpa": 200},
}

func init() { maps.Copy(examples, planExamples) }

func number(t testing.TB, o object, path ...string) float64 {
	t.Helper()
	var v any = o
	for _, p := range path {
		v = v.(object)[p]
	}
	f, ok := v.(float64)
	if !ok {
		t.Fatalf("%v is %v", path, v)
	}
	return f
}

// More gas never leaves more oxygen, whatever the method.
func TestMorePurgeNeverLeavesMore(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := object{"vessel_l": 20, "beer_l": 19, "gas_oxygen_ppmv": rapid.Float64Range(0, 100).Draw(rt, "gas")}
		field := "cycles"
		switch rapid.IntRange(0, 2).Draw(rt, "method") {
		case 0:
			field, in["cells"] = "volumes", rapid.IntRange(0, 100).Draw(rt, "cells")
		case 1:
			in["method"], in["high_gauge_bar"] = "pressure", rapid.Float64Range(0.1, 4).Draw(rt, "bar")
		default:
			in["method"], in["low_bar"] = "vacuum", rapid.Float64Range(0.01, 0.9).Draw(rt, "bar")
		}
		few := rapid.Float64Range(0, 30).Draw(rt, "few")
		more := few + rapid.Float64Range(0, 10).Draw(rt, "more")
		a, _ := must(t, "purge", with(in, object{field: few}))
		b, _ := must(t, "purge", with(in, object{field: more}))
		for _, key := range []string{"oxygen_fraction", "upper_ppb", "contact_ppb", "equilibrium_ppb"} {
			if number(t, b, key) > number(t, a, key)*(1+1e-12) {
				rt.Fatalf("%v: %s rises from %v to %v with %g instead of %g", in, key, a[key], b[key], more, few)
			}
		}
	})
}

// Backwards and forwards again gives the target; cycles are rounded up, so they
// give it or less.
func TestPurgeBackwardForward(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		basis := rapid.SampledFrom([]string{"upper", "headspace", "equilibrium", "contact"}).Draw(rt, "basis")
		target := rapid.Float64Range(100, 20000).Draw(rt, "target")
		in := object{"vessel_l": 100, "beer_l": 80, "gas_oxygen_ppmv": 20, "fill_gauge_bar": 1, "basis": basis, "target_ppb": target, "cells": rapid.IntRange(0, 20).Draw(rt, "cells")}
		plan, _ := must(t, "purge", in)
		done, _ := must(t, "purge", with(in, object{"target_ppb": nil, "volumes": plan["amount"]}))
		if got := number(t, done, basis+"_ppb"); number(t, plan, "amount") > 0 && !near(got, target, 1e-6) {
			rt.Fatalf("%s: %v wanted, %v comes", basis, target, got)
		}
		cycles := with(in, object{"method": "pressure", "high_gauge_bar": 1.5, "cells": nil})
		plan, _ = must(t, "purge", cycles)
		if got := number(t, plan, basis+"_ppb"); got > target*(1+1e-9) && number(t, plan, "amount") > 0 {
			rt.Fatalf("%s by cycles: %v wanted, %v comes", basis, target, got)
		}
	})
}

// A sequence of one is the single method; two halves are the whole.
func TestPurgeSequence(t *testing.T) {
	base := object{"vessel_l": 50, "beer_l": 45, "gas_oxygen_ppmv": 20}
	for _, step := range []object{
		{"method": "sweep", "volumes": 4, "cells": 3}, {"method": "pressure", "high_gauge_bar": 1, "cycles": 6},
		{"method": "vacuum", "low_bar": 0.2, "cycles": 2}, {"method": "displacement", "pocket_ml": 80, "film_ml": 10},
	} {
		single, _ := must(t, "purge", with(base, step))
		one, _ := must(t, "purge", with(base, object{"steps": []object{step}}))
		same(t, "one step", one, single, 1e-12)
	}
	whole, _ := must(t, "purge", with(base, object{"volumes": 5}))
	halves, _ := must(t, "purge", with(base, object{"steps": []object{{"method": "sweep", "volumes": 2}, {"method": "sweep", "volumes": 3}}}))
	if !near(number(t, whole, "oxygen_fraction"), number(t, halves, "oxygen_fraction"), 1e-12) || !near(number(t, whole, "gas_kg"), number(t, halves, "gas_kg"), 1e-12) {
		t.Errorf("5 turnovers leave %v, 2 and 3 leave %v", whole["oxygen_fraction"], halves["oxygen_fraction"])
	}
	// The open step of a sequence is the one that is planned.
	plan, _ := must(t, "purge", with(base, object{"target_ppb": 100, "steps": []object{{"method": "displacement", "pocket_ml": 100}, {"method": "pressure", "high_gauge_bar": 1}}}))
	if plan["planned_step"] != 2.0 || number(t, plan, "upper_ppb") > 100 {
		t.Errorf("planned: %v, %v ppb", plan["planned_step"], plan["upper_ppb"])
	}
}

// The ppb figures stand in their order, and nothing lies below the floor.
func TestPurgeFiguresInOrder(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := object{"vessel_l": 100, "beer_l": rapid.Float64Range(1, 100).Draw(rt, "beer"), "volumes": rapid.Float64Range(0, 12).Draw(rt, "n"), "gas_oxygen_ppmv": 30, "beer_temperature_c": 20}
		r, _ := must(t, "purge", in)
		if m := r["mixing"].(object); number(t, m, "calm_ppmv") > number(t, m, "mixed_ppmv")*(1+1e-12) || m["mixed_ppmv"] != r["oxygen_ppmv"] {
			rt.Fatalf("%v: %v", in, m)
		}
		if number(t, r, "equilibrium_ppb") > number(t, r, "headspace_ppb") || number(t, r, "headspace_ppb") > number(t, r, "upper_ppb")*(1+1e-9) || number(t, r, "floor_ppb") > number(t, r, "upper_ppb")*(1+1e-9) {
			rt.Fatalf("%v: %v", in, r)
		}
	})
}

func TestPurgeRefuses(t *testing.T) {
	base := object{"vessel_l": 20, "beer_l": 19, "volumes": 3}
	for _, c := range []struct {
		field  string
		change object
	}{
		{"vessel_ml", object{"vessel_l": nil}}, {"vessel_ml", object{"diameter_mm": 200}}, {"beer_ml", object{"beer_l": 21}},
		{"method", object{"method": "blow"}}, {"volumes", object{"volumes": -1}}, {"volumes", object{"volumes": nil}}, {"cells", object{"cells": 2.5}}, {"cells", object{"cells": 101}},
		{"high_kpa", object{"method": "pressure"}}, {"high_kpa", object{"method": "pressure", "high_bar": 1, "cycles": 2}}, {"low_kpa", object{"method": "vacuum"}},
		{"target_ppb", object{"target_ppb": 5}}, {"target_ppb", object{"volumes": nil, "gas_oxygen_ppmv": 30, "target_ppb": 1}}, {"target_ppb", object{"volumes": nil, "target_ppb": 5, "residual_ppmv": 100}},
		{"basis", object{"basis": "luck"}}, {"basis", object{"basis": "equilibrium", "beer_l": 20, "volumes": nil, "target_ppb": 5}}, {"gas", object{"gas": "o2"}}, {"steps", object{"steps": []object{}}}, {"steps", object{"steps": []object{{"method": "sweep", "volumes": 1}}}},
		{"station_kpa", object{"station_kpa": 10}}, {"altitude_m", object{"altitude_m": 9000}}, {"flow_nl_min", object{"flow_nl_min": 0}}, {"room_m3", object{"room_m3": 0}},
	} {
		if e := refused(t, "purge", encode(t, with(base, c.change))); e.Field != c.field {
			t.Errorf("%v: %v", c.change, e)
		}
	}
	e := refused(t, "purge", []byte(`{"vessel_l": 20, "steps": [{"method": "sweep", "volumes": 1}, {"method": "sweep", "turns": 2}]}`))
	if e.Field != "steps" || !strings.Contains(e.Message, "entry 2") || !strings.Contains(e.Message, "turns") {
		t.Error(e)
	}
}

// A reading is held against the plan in both directions.
func TestPurgeReading(t *testing.T) {
	base := object{"vessel_l": 1000, "beer_l": 900, "volumes": 5, "gas_oxygen_ppmv": 20}
	for _, c := range []struct {
		ppm  float64
		word string
	}{{1431, "as_planned"}, {4000, "worse"}, {300, "better"}, {5, "below_floor"}} {
		r, _ := must(t, "purge", with(base, object{"reading_ppmv": c.ppm}))
		if got := r["reading"].(object)["word"]; got != c.word {
			t.Errorf("%v ppm: %v, want %v", c.ppm, got, c.word)
		}
	}
	r, _ := must(t, "purge", with(base, object{"reading_ppmv": 4000}))
	worth, more := number(t, r, "reading", "worth"), number(t, r, "reading", "more")
	if !near(worth+more, 5, 1e-9) {
		t.Errorf("worth %v and %v to come are not 5", worth, more)
	}
}

// Stripping and its inverse.
func TestStripBackward(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		target := rapid.Float64Range(2, 90).Draw(rt, "target")
		in := object{"do_ppb": 100, "temperature_c": rapid.Float64Range(0, 20).Draw(rt, "t"), "gas_oxygen_ppmv": 10, "target_ppb": target}
		r, _ := must(t, "strip", in)
		if !near(number(t, r, "do_after_ppb"), target, 1e-9) {
			rt.Fatalf("%v: %v", target, r)
		}
	})
}

// The allowed DO of a liquid, put in, meets the limit.
func TestAdditionLimit(t *testing.T) {
	in := examples["addition"]
	r, _ := must(t, "addition", with(in, object{"limit_ppb": 520}))
	parts := []object{{"kind": "liquid", "volume_l": 20, "do_ppb": r["allowed_liquid_do_ppb"]}, {"kind": "hops", "mass_kg": 20}}
	again, _ := must(t, "addition", with(in, object{"additions": parts, "limit_ppb": nil}))
	if !near(number(t, again, "do_high_ppb"), 520, 1e-9) {
		t.Errorf("%v ppb instead of 520", again["do_high_ppb"])
	}
}

// The air that a TPO target allows gives the target.
func TestPackageAirInverse(t *testing.T) {
	r, _ := must(t, "package-air", object{"beer_ml": 440, "headspace_ml": 20, "unshaken_do_ppb": 50, "target_ppb": 120})
	again, _ := must(t, "package-air", object{"beer_ml": 440, "headspace_ml": 20, "unshaken_do_ppb": 50, "driven_fraction": r["needed_driven_fraction"]})
	if !near(number(t, again, "tpo_ppb"), 120, 1e-9) {
		t.Errorf("%v", again)
	}
}

// Ageing: at the reference it is the days themselves; halves add up.
func TestAgeAddsUp(t *testing.T) {
	at, _ := must(t, "age", object{"history": []object{{"days": 10, "temperature_c": 4}}})
	if !near(number(t, at, "equivalent_days"), 10, 1e-12) || number(t, at, "low_days") != number(t, at, "high_days") {
		t.Errorf("%v", at)
	}
	whole, _ := must(t, "age", object{"history": []object{{"days": 10, "temperature_c": 25}}})
	halves, _ := must(t, "age", object{"history": []object{{"days": 4, "temperature_c": 25}, {"days": 6, "temperature_f": 77}}})
	if !near(number(t, whole, "equivalent_days"), number(t, halves, "equivalent_days"), 1e-12) {
		t.Errorf("%v, %v", whole, halves)
	}
}

// More oxygen, a leakier closure or a warmer store never keep longer.
func TestKeepingIsMonotone(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := object{"tpo_ppb": rapid.Float64Range(0, 600).Draw(rt, "tpo"), "beer_ml": 355, "temperature_c": rapid.Float64Range(0, 35).Draw(rt, "t"), "ingress_ml_day": rapid.Float64Range(0, 0.01).Draw(rt, "in")}
		r, _ := must(t, "after", in)
		for field, more := range map[string]float64{"tpo_ppb": 50, "temperature_c": 2, "ingress_ml_day": 0.001} {
			worse, _ := must(t, "after", with(in, object{field: in[field].(float64) + more}))
			for _, key := range []string{"keeping_low_days", "keeping_days", "keeping_high_days"} {
				if number(t, worse, key) > number(t, r, key)*(1+1e-9) {
					rt.Fatalf("%v with more %s: %s rises from %v to %v", in, field, key, r[key], worse[key])
				}
			}
		}
	})
}

// Each plan carries its cautions, and never the word that none may use.
func TestPlanCautions(t *testing.T) {
	for name, in := range planExamples {
		out, err := calc.Run(name, encode(t, in))
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(strings.ToLower(string(out)), "safe\"") || strings.Contains(string(out), "is safe") {
			t.Errorf("%s says safe", name)
		}
		var a struct {
			Result struct{ Cautions []struct{ Code string } }
		}
		if err := json.Unmarshal(out, &a); err != nil {
			t.Fatal(err)
		}
		needs := name != "package-air" && name != "after" && name != "age"
		if c := a.Result.Cautions; needs != (len(c) > 1) || needs && c[len(c)-1].Code != "standing" {
			t.Errorf("%s: cautions %v", name, c)
		}
	}
	for code, in := range map[string]object{
		"vacuum": {"vessel_l": 20, "beer_l": 19, "method": "vacuum", "low_bar": 0.2, "cycles": 2}, "pressure": {"vessel_l": 20, "beer_l": 19, "method": "pressure", "high_gauge_bar": 1, "cycles": 2},
		"room": {"vessel_l": 20, "volumes": 2, "room_m3": 30}, "nitrogen": {"vessel_l": 20, "volumes": 2, "gas": "n2"}, "caustic": {"vessel_l": 20, "volumes": 2}, "entry": {"vessel_l": 20, "volumes": 2},
	} {
		out, _ := calc.Run("purge", encode(t, in))
		if !strings.Contains(string(out), `{"code":"`+code+`"`) {
			t.Errorf("no caution %s with %v", code, in)
		}
	}
}

// What a plan leaves out for its uncertainties changes no number.
func TestPlanUncertaintyValues(t *testing.T) {
	for name, in := range planExamples {
		c, err := calc.Find(name)
		if err != nil {
			t.Fatal(err)
		}
		u := object{}
		for _, f := range c.Fields {
			if v, given := in[f.Name]; given && f.Kind != nil {
				value, _ := json.Number(encode(t, v)).Float64()
				u[f.Name] = value * 1e-3
			}
		}
		result, answer := must(t, name, with(in, object{"u": u}))
		moved := 0
		for key, one := range answer["uncertainty"].(object) {
			if got := number(t, one.(object), "value"); !near(got, number(t, result, key), 1e-12) {
				t.Errorf("%s: %s is %v, its uncertainty is of %v", name, key, result[key], got)
			}
			if number(t, one.(object), "u") > 0 {
				moved++
			}
		}
		if moved == 0 {
			t.Errorf("%s: no uncertainty with %v", name, u)
		}
	}
}

// A share of the gas that does not work is so much less gas, forwards and back.
func TestSweepWorks(t *testing.T) {
	base := object{"vessel_l": 100, "beer_l": 90, "gas_oxygen_ppmv": 10, "cells": 3}
	half, _ := must(t, "purge", with(base, object{"volumes": 6, "works_pct": 50}))
	whole, _ := must(t, "purge", with(base, object{"volumes": 3}))
	if !near(number(t, half, "oxygen_fraction"), number(t, whole, "oxygen_fraction"), 1e-12) || !near(number(t, half, "gas_kg"), 2*number(t, whole, "gas_kg"), 1e-12) {
		t.Errorf("%v, %v", half["oxygen_fraction"], whole["oxygen_fraction"])
	}
	back, _ := must(t, "purge", with(base, object{"residual_fraction": half["oxygen_fraction"], "works_pct": 50}))
	if !near(number(t, back, "amount"), 6, 1e-9) {
		t.Errorf("%v turnovers", back["amount"])
	}
	if e := refused(t, "purge", encode(t, with(base, object{"volumes": 6, "works_pct": 0}))); e.Field != "works_fraction" {
		t.Error(e)
	}
}

// Turnovers, mixing and half-lives carry uncertainty as quantities do: for a
// mixed sweep of clean gas, u of the logarithm is that of w N.
func TestPlainNumbersCarryUncertainty(t *testing.T) {
	_, answer := must(t, "purge", object{"vessel_l": 100, "beer_l": 90, "volumes": 4, "works_fraction": 0.9, "u": object{"volumes": 0.02, "works_fraction": 0.01}})
	o := answer["uncertainty"].(object)["oxygen_fraction"].(object)
	want := math.Hypot(0.9*0.02, 4*0.01)
	if got := number(t, o, "u") / number(t, o, "value"); !near(got, want, 0.01) {
		t.Errorf("relative u %g, want %g", got, want)
	}
	_, answer = must(t, "after", object{"tpo_ppb": 60, "beer_ml": 330, "temperature_c": 12, "half_life_days": 5, "days": 5, "u": object{"half_life_days": 0.1}})
	o = answer["uncertainty"].(object)["present_ppb"].(object)
	if got := number(t, o, "u"); !near(got, 60*math.Ln2/2*0.1/5, 0.01) { // dc/dh = c ln2 d / h²
		t.Errorf("u %g", got)
	}
	if e := refused(t, "purge", []byte(`{"vessel_l": 100, "volumes": 4, "cells": 2, "u": {"cells": 0.5}}`)); e.Field != "u" {
		t.Error(e)
	}
	if e := refused(t, "purge", []byte(`{"vessel_l": 100, "volumes": 4, "u": {"gas": 1}}`)); e.Field != "u.gas" {
		t.Error(e)
	}
}

// What is not known lies around what is taken; warmer beer takes up faster.
func TestAfterBand(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := object{"tpo_ppb": rapid.Float64Range(0, 300).Draw(rt, "tpo"), "beer_ml": 355, "temperature_c": rapid.Float64Range(0, 35).Draw(rt, "t"), "days": rapid.Float64Range(1, 300).Draw(rt, "days"),
			"closure": rapid.SampledFrom([]string{"can", "crown_scavenger", "crown_low", "pet"}).Draw(rt, "closure"), "uptake": rapid.SampledFrom([]string{"", "bright", "unfiltered", "yeast"}).Draw(rt, "uptake")}
		r, _ := must(t, "after", in)
		for _, p := range append(r["course"].([]any), r) {
			o := p.(object)
			for _, k := range []string{"present", "supplied"} {
				low, mid, high := number(t, o, k+"_low_ppb"), number(t, o, k+"_ppb"), number(t, o, k+"_high_ppb")
				if low > mid*(1+1e-9)+1e-9 || mid > high*(1+1e-9)+1e-9 {
					rt.Fatalf("%v: %s %g, %g, %g", in, k, low, mid, high)
				}
			}
		}
	})
	cold, _ := must(t, "after", object{"tpo_ppb": 60, "beer_ml": 355, "temperature_c": 4, "closure": "can", "uptake": "bright", "days": 10})
	warm, _ := must(t, "after", object{"tpo_ppb": 60, "beer_ml": 355, "temperature_c": 20, "closure": "can", "uptake": "bright", "days": 10})
	if number(t, cold, "half_life_low_days") != 14 || number(t, warm, "half_life_high_days") != 6 || number(t, warm, "present_ppb") >= number(t, cold, "present_ppb") {
		t.Errorf("%v, %v", cold["half_life_low_days"], warm["present_ppb"])
	}
	for _, bad := range []object{{"uptake": "quick"}, {"uptake": "bright", "half_life_days": 3}} {
		if e := refused(t, "after", encode(t, with(object{"tpo_ppb": 60, "beer_ml": 355, "temperature_c": 4}, bad))); e.Field != "uptake" {
			t.Error(e)
		}
	}
}

// The flow of a plan, set, makes its target; a reading of the target gives the
// efficiency of the plan.
func TestWortBackward(t *testing.T) {
	in := object{"wort_l_min": 50, "target_ppb": 9500, "carried_ppb": 400, "efficiency_fraction": 0.55, "temperature_c": 12}
	for _, gas := range []string{"oxygen", "air"} {
		plan, _ := must(t, "wort-oxygen", with(in, object{"gas": gas}))
		back, _ := must(t, "wort-oxygen", with(in, object{"gas": gas, "gas_set_nl_min": plan["gas_nl_min"], "read_ppb": 9500, "target_ppb": 5000}))
		if !near(number(t, back, "do_made_ppb"), 9500, 1e-9) || !near(number(t, back, "efficiency_learned"), 0.55, 1e-9) {
			t.Errorf("%s: %v ppb, %v", gas, back["do_made_ppb"], back["efficiency_learned"])
		}
	}
	if _, a := must(t, "wort-oxygen", with(in, object{"gas_set_nl_min": 0.3, "read_ppb": 20000})); !strings.Contains(string(encode(t, a)), "more_than_all") {
		t.Error("an efficiency above 1 is not asked about")
	}
	if e := refused(t, "wort-oxygen", encode(t, with(in, object{"read_ppb": 9000}))); e.Field != "gas_set_nl_min" {
		t.Error(e)
	}
}

// The gas that a target allows brings the target.
func TestGasBackward(t *testing.T) {
	r, _ := must(t, "gas", object{"oxygen_ppmv": 10, "co2_vol": 2.6, "target_ppb": 25})
	again, _ := must(t, "gas", object{"oxygen_ppmv": r["allowed_ppmv"], "co2_vol": 2.6})
	if !near(number(t, again, "dissolved_ppb"), 25, 1e-9) {
		t.Errorf("%v ppm bring %v ppb", r["allowed_ppmv"], again["dissolved_ppb"])
	}
}

// The TPO that keeps so many days does; a little more does not.
func TestAfterBackward(t *testing.T) {
	in := object{"beer_ml": 330, "temperature_c": 8, "closure": "crown_low", "tpo_ppb": 50, "keep_days": 75}
	r, _ := must(t, "after", in)
	allowed := number(t, r, "allowed_tpo_ppb")
	at, _ := must(t, "after", with(in, object{"tpo_ppb": allowed}))
	above, _ := must(t, "after", with(in, object{"tpo_ppb": allowed + 0.5}))
	if !(number(t, at, "keeping_low_days") >= 75) || number(t, above, "keeping_low_days") >= 75 || allowed <= 0 || allowed >= 2000 {
		t.Errorf("%g ppb keep %v days, more keeps %v", allowed, at["keeping_low_days"], above["keeping_low_days"])
	}
	if _, a := must(t, "after", with(in, object{"keep_days": 3000})); !strings.Contains(string(encode(t, a)), "keeps_shorter") {
		t.Error("3000 days are not asked about")
	}
}
