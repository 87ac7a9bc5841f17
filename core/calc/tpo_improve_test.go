package calc_test

import (
	"encoding/json"
	"math"
	"testing"

	"ullage/core/calc"
)

func encodeRapid(t interface{ Fatal(...any) }, o object) []byte {
	b, err := json.Marshal(o)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// What an improvement promises comes true: the input is given again as it would
// be after that measurement, through the door, and u is as predicted.
func TestImprovementsComeTrue(t *testing.T) {
	can, keg := examples["tpo"], object{"temperature_c": 4, "gross_g": 40200, "tare_g": 9900, "capacity_ml": 30600, "sg": 1.0105, "shaken_do_ppb": 48}
	weighedBottle := with(bottle, object{"gap_mm": nil})
	seen := map[string]bool{}
	only := func(key string, u float64) object { // one effect carries all
		all := object{}
		for _, k := range effects(t) {
			all[k] = 0
		}
		return with(can, object{"u": with(all, object{key: u})})
	}
	for _, in := range []object{
		only("meter", 3), only("temperature", 2), only("gravity", 0.001), only("shaking", 3), only("capacity", 1),
		can, with(can, object{"temperature_c": 20}), with(can, object{"tare_source": "own"}), with(can, object{"u": object{"meter": 4, "temperature": 1, "gravity": 0.001}}),
		with(can, object{"u": object{"capacity": 2, "tare": 1}}), with(can, object{"shaken_do_ppb": 150, "co2_vol": 3}), with(can, object{"capacity_n": 5, "tare_n": 5}),
		weighedBottle, with(weighedBottle, object{"temperature_c": 20}), with(bottle, object{"path": "fill_height"}), with(weighedBottle, object{"tare_source": "own"}),
		with(can, object{"path": "assumed"}), with(can, object{"gross_g": nil, "tare_g": nil}), with(bottle, object{"path": "assumed"}), keg,
		with(can, object{"capacity_source": "drawing"}), with(can, object{"corrections": []string{"co2"}, "co2_vol": 2.5, "temperature_c": 20}),
	} {
		before := tpo(t, in)
		for i, better := range before.Improvements {
			seen[better.What] = true
			after := tpo(t, improved(t, in, before, better.What))
			if !near(after.U, better.U, 0.05) {
				t.Errorf("%v: %q promises %v, gives %v (before %v)", in, better.What, better.U, after.U, before.U)
			}
			if !near(better.Gain, 1.959963984540054*(before.U-better.U), 1e-9) || better.Gain <= 0.05 {
				t.Errorf("%q: gain %v from %v to %v", better.What, better.Gain, before.U, better.U)
			}
			if i > 0 && better.Gain > before.Improvements[i-1].Gain {
				t.Errorf("%q is not in order", better.What)
			}
		}
		if len(before.Improvements) > 0 && *before.Next != before.Improvements[0] {
			t.Errorf("next is %v, the best is %v", before.Next, before.Improvements[0])
		}
	}
	for _, what := range []string{
		"weigh this package empty", "measure the capacity of this package with water", "weigh the package", "the fill height in the neck",
		"a DO meter good to 0.5 ppb or 1 %", "a thermometer good to 0.1 °C", "a gravity good to 0.0001", "a shake study, shaking to within 0.3 %",
		"the carbonation, and its corrections (co2, pressure)", "the alcohol, and the corrections for beer and expansion",
	} {
		if !seen[what] {
			t.Errorf("%q was never offered", what)
		}
		delete(seen, what)
	}
	for what := range seen {
		t.Errorf("%q is offered and not tested", what)
	}
}

// improved is the input after a better measurement, as a user would type it.
func improved(t *testing.T, in object, r calc.TPOResult, what string) object {
	t.Helper()
	u := object{}
	if given, ok := in["u"].(object); ok {
		u = with(given, nil)
	}
	do, _ := json.Number(encode(t, in["shaken_do_ppb"])).Float64()
	set := func(key string, to float64) object { return with(in, object{"u": with(u, object{key: to})}) }
	add := func(names ...string) []string {
		list, _ := in["corrections"].([]string)
		return append(append([]string(nil), list...), names...)
	}
	switch what {
	case "weigh this package empty":
		return with(in, object{"tare_source": "own", "tare_n": nil})
	case "measure the capacity of this package with water":
		return with(in, object{"capacity_source": "own", "capacity_n": nil, "u": with(u, object{"capacity": nil})})
	case "weigh the package":
		// The beer of the assumed fill at 1.0105 and 4 °C, with a usual tare.
		tare := 13.4
		if in["package"] == "bottle" {
			tare = 204.2
		}
		return with(in, object{"path": "weighed", "sg": 1.0105, "tare_g": tare, "gross_g": tare + r.Beer*(1.0105*999.975-1.2)/1000/(1-1.2/8000)})
	case "the fill height in the neck":
		return with(in, object{"path": "fill_height", "gap_mm": 50, "neck_gap_mm": 50, "neck_headspace_ml": r.Headspace, "neck_ml_per_mm": 0.24})
	case "a DO meter good to 0.5 ppb or 1 %":
		return set("meter", math.Max(0.5, 0.01*do))
	case "a thermometer good to 0.1 °C":
		return set("temperature", 0.1)
	case "a gravity good to 0.0001":
		return set("gravity", 0.0001)
	case "a shake study, shaking to within 0.3 %":
		return set("shaking", 0.003*do)
	case "the carbonation, and its corrections (co2, pressure)":
		names := add("co2", "pressure")
		if len(names) == 3 {
			names = names[1:]
		}
		return with(with(object{"co2_vol": 2.5}, in), object{"corrections": names})
	case "the alcohol, and the corrections for beer and expansion":
		return with(in, object{"abv_pct": 5, "sg": 1.0105, "corrections": add("beer", "expansion")})
	}
	t.Fatalf("%q is unknown to the test", what)
	return nil
}
