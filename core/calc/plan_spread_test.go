package calc_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"ullage/core/calc"
)

// An amount of oxygen is not below nothing: at 0 ppm in the gas the interval is
// one-sided, to 1.96 times what 2 ppm would bring.
func TestGasAtNothing(t *testing.T) {
	in := object{"oxygen_ppmv": 0, "co2_vol": 2.5, "u": object{"oxygen_ppmv": 2}}
	_, answer := must(t, "gas", in)
	got := fromJSON[map[string]carried](t, answer["uncertainty"])["dissolved_ppb"]
	two, _ := must(t, "gas", object{"oxygen_ppmv": 2, "co2_vol": 2.5})
	if got.Low95 != 0 || math.Abs(got.High95/(1.959963984540054*number(t, two, "dissolved_ppb"))-1) > 1e-6 {
		t.Errorf("%+v", got)
	}
	in["uncertainty"] = "monte-carlo"
	_, answer = must(t, "gas", in)
	mc := fromJSON[map[string]carried](t, answer["uncertainty"])["dissolved_ppb"]
	if mc.Low95 < 0 || math.Abs(mc.High95/got.High95-1) > 0.02 {
		t.Errorf("Monte Carlo %+v, first order %+v", mc, got)
	}
}

// No planner shows a number below its floor, however little is known; those that
// may lie below zero still do.
func TestNoPlannerBelowFloor(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 4))
	below := map[string]bool{"gauge_20c_bar": true, "gauge_warm_bar": true, "warm_c": true, "reference_c": true, "hottest_c": true}
	for _, c := range calc.List() {
		example, planner := planExamples[c.Name]
		if !planner {
			continue
		}
		for range 20 {
			u := object{}
			for _, f := range c.Fields {
				if x, ok := example[f.Name].(float64); ok && f.Kind != nil {
					u[f.Name] = math.Abs(x) * 3 * random.Float64()
				}
			}
			answer, err := calc.Do(c.Name, encode(t, with(example, object{"u": u})))
			if err != nil {
				continue // an uncertainty reaches over both ends of a range
			}
			for name, r := range answer.Uncertainty {
				if !below[name] && (r.Low95 < 0 || r.High95 < r.Low95) {
					t.Fatalf("%s %s: %v, %v to %v (u %v)", c.Name, name, r.Value, r.Low95, r.High95, u)
				}
			}
		}
	}
	_, answer := must(t, "priming", object{"beer_l": 20, "co2_vol": 0.9, "highest_c": 20, "u": object{"co2_vol": 0.5}})
	if r := fromJSON[map[string]carried](t, answer["uncertainty"])["gauge_20c_bar"]; r.Low95 >= 0 {
		t.Errorf("a gauge pressure may lie below zero: %+v", r)
	}
}

// The uncertainty of an entry is carried as that of a field: of a sequence of one
// it is that of the single method, in any unit, as a share or beside the list.
func TestSpreadOfEntries(t *testing.T) {
	vessel := object{"vessel_l": 5000, "beer_l": 4500}
	single, _ := answerOf(t, "purge", with(vessel, object{"method": "pressure", "cycles": 4, "high_gauge_bar": 1, "u": object{"high_gauge_bar": 0.1}}))
	step := object{"method": "pressure", "cycles": 4, "high_gauge_bar": 1}
	for what, in := range map[string]object{
		"in the entry":     {"steps": []object{with(step, object{"u": object{"high_gauge_bar": 0.1}})}},
		"in another unit":  {"steps": []object{with(step, object{"u": object{"high_gauge_kpa": 10}})}},
		"with its unit":    {"steps": []object{with(step, object{"u": object{"high_gauge": "0.1 bar"}})}},
		"as a share":       {"steps": []object{with(step, object{"u": object{"high_gauge": "10 %"}})}},
		"beside the list":  {"steps": []object{step}, "u": object{"steps[0].high_gauge_bar": 0.1}},
		"a number as text": {"steps": []object{with(step, object{"u": object{"high_gauge_bar": "0.1"}})}},
	} {
		got, keys := answerOf(t, "purge", with(vessel, in))
		if math.Abs(got["upper_ppb"].U/single["upper_ppb"].U-1) > 1e-6 || got["upper_ppb"].U == 0 {
			t.Errorf("%s: u %v, of the single method %v", what, got["upper_ppb"].U, single["upper_ppb"].U)
		}
		if keys[0] != "steps[0].high_gauge_kpa" {
			t.Errorf("%s: budget of %v", what, keys)
		}
	}
	// Two entries, each by its own; the difference quotient holds.
	parts := func(v, m float64) []object {
		return []object{{"kind": "liquid", "volume_l": v, "do_ppm": 9}, {"kind": "hops", "mass_kg": m}}
	}
	in := object{"beer_hl": 40, "do_ppb": 12, "additions": parts(20, 10), "u": object{"additions[0].volume_l": 0.02, "additions[1].mass_kg": 0.01}}
	all, _ := answerOf(t, "addition", in)
	variance := 0.0
	for _, p := range [][2][]object{{parts(20.02, 10), parts(19.98, 10)}, {parts(20, 10.01), parts(20, 9.99)}} {
		a, _ := must(t, "addition", object{"beer_hl": 40, "do_ppb": 12, "additions": p[0]})
		b, _ := must(t, "addition", object{"beer_hl": 40, "do_ppb": 12, "additions": p[1]})
		variance += math.Pow((number(t, a, "do_high_ppb")-number(t, b, "do_high_ppb"))/2, 2)
	}
	if got := all["do_high_ppb"].U; math.Abs(got/math.Sqrt(variance)-1) > 1e-4 {
		t.Errorf("u %v, want %v", got, math.Sqrt(variance))
	}
	for field, u := range map[string]object{
		"u.additions[7].volume_ml": {"additions[7].volume_ml": 1}, "u.additions[0].colour": {"additions[0].colour": 1}, "u.beer[0].x": {"beer[0].x": 1},
		"u.additions[0].mass_g": {"additions[0].mass_g": 1}, "u.beer_ml": {"beer_ml": "5 furlongs"}, "u.do_ppb": {"do_ppb": -1},
	} {
		if e := refused(t, "addition", encode(t, with(in, object{"u": u}))); e.Field != field {
			t.Errorf("%v: %v", u, e)
		}
	}
	if e := refused(t, "addition", encode(t, with(in, object{"additions": []object{{"kind": "liquid", "volume_l": 20, "u": 3}}}))); e.Field != "additions[0].u" {
		t.Errorf("%v", e)
	}
}

func answerOf(t *testing.T, name string, in object) (of map[string]carried, keys []string) {
	t.Helper()
	_, answer := must(t, name, in)
	of = fromJSON[map[string]carried](t, answer["uncertainty"])
	for _, b := range of["upper_ppb"].Budget {
		keys = append(keys, b.Key)
	}
	return of, keys
}
