package calc_test

import (
	"math"
	"testing"
)

// Two brews of 25 hL to 9 mg/L, the second without gas: the first is given 18,
// 50 L/min × 18 mg/L / (1429 × 0.6) = 1.0497 NL/min for 50 min.
func TestWortFills(t *testing.T) {
	in := object{"wort_l_min": 50, "target_ppm": 9, "efficiency_pct": 60, "temperature_c": 12, "second_ppm": 3, "second_efficiency_pct": 20, "float_for": "air",
		"fills": []object{{"wort_hl": 25}, {"wort_hl": 25, "gassed": false}}}
	r, _ := must(t, "wort-oxygen", in)
	fills := r["fills"].([]any)
	one, two := fills[0].(object), fills[1].(object)
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"DO of the first", one["do_ppb"].(float64), 18000}, {"flow", one["gas_nl_min"].(float64), 50 * 18 / (1429 * 0.6)}, {"gas", one["gas_nl"].(float64), 50 * 50 * 18 / (1429 * 0.6)},
		{"gas of the second", two["gas_nl"].(float64), 0}, {"tank", r["mixed_ppb"].(float64), 9000}, {"all gas", r["gas_nl"].(float64), 50 * 50 * 18 / (1429 * 0.6)},
		{"second dose", r["second_oxygen_g"].(float64), 3 * 5000 / 0.2 / 1000}, {"its gas", r["second_gas_nl"].(float64), 75 / 1.429},
		{"float meter", r["float_reading_nl_min"].(float64), 50 * 18 / (1429 * 0.6) / math.Sqrt(28.9655/31.9988)},
	} {
		if math.Abs(c.got-c.want) > 1e-9*(1+math.Abs(c.want)) {
			t.Errorf("%s: %v, want %v", c.what, c.got, c.want)
		}
	}
	for _, c := range []struct {
		field string
		more  object
	}{
		{"fills", object{"fills": []object{{"wort_hl": 25, "gassed": false}}}}, {"fills[0].wort_ml", object{"fills": []object{{"wort_hl": 0}}}},
		{"float_for", object{"float_for": "steam"}}, {"second_efficiency_fraction", object{"second_efficiency_pct": 0}},
		{"second_ppb", object{"fills": nil}}, {"gas", object{"gas": "helium"}},
	} {
		if e := refused(t, "wort-oxygen", encode(t, with(in, c.more))); e.Field != c.field {
			t.Errorf("%v: %v", c.more, e)
		}
	}
}

// Brews that lack something are left out and said; what cannot be is refused.
func TestWortTrendRows(t *testing.T) {
	_, answer := must(t, "wort-trend", object{"rows": []object{{"id": "a", "efficiency_pct": 60}, {"id": "b", "do_ppm": 9}, {"id": "c", "efficiency_pct": 150}, {"id": "d", "do_ppm": 9, "gas_nl_min": 0.5, "wort_hl": 20, "knockout_min": 40, "stone_cleaned": true}}})
	if w := answer["warnings"].([]any); len(w) != 2 || w[0].(object)["value"] != "b" || w[1].(object)["value"] != "c" {
		t.Errorf("%v", answer["warnings"])
	}
	for field, row := range map[string]object{"rows[0].gas": {"gas": "helium", "do_ppm": 9}, "rows[0].float_for": {"float_reading_nl_min": 1, "float_for": "steam", "do_ppm": 9}, "rows[0].knockout_min": {"do_ppm": 9, "gas_nl_min": 1, "wort_hl": 20, "knockout_min": -4}} {
		if e := refused(t, "wort-trend", encode(t, object{"rows": []object{row}})); e.Field != field {
			t.Errorf("%s: %v", field, e)
		}
	}
}

// Target by rules and efficiency from past brews in one calculation are those of
// "wort-target" and "wort-trend", and the setting is that of both typed.
func TestWortIsOneCalculation(t *testing.T) {
	base := object{"wort_hl": 20, "knockout_min": 40, "temperature_c": 12, "carried_ppm": 0.5, "extract_plato": 17}
	yeast := object{"style": "lager", "yeast_source": "repitch", "generation": 9, "slurry_days": 2}
	brews := []object{{"id": "a", "efficiency_pct": 62, "stone_cleaned": true}, {"id": "b", "efficiency_pct": 60}, {"id": "c", "efficiency_pct": 57}, {"id": "d"}}
	all, answer := must(t, "wort-oxygen", with(with(base, yeast), object{"brews": brews, "next_cleaned": true}))
	target, _ := must(t, "wort-target", with(yeast, object{"extract_plato": 17}))
	trend, _ := must(t, "wort-trend", object{"rows": brews, "next_cleaned": true})
	if all["target"].(object)["proposed_mg_l"] != target["proposed_mg_l"] || all["trend"].(object)["next_efficiency"] != trend["next_efficiency"] || all["efficiency_fraction"] != trend["next_efficiency"] {
		t.Errorf("%v and %v, alone %v and %v", all["target"], all["trend"], target, trend)
	}
	if w := answer["warnings"].([]any)[0].(object); w["code"] != "brew_left_out" || w["value"] != "d" {
		t.Errorf("%v", answer["warnings"])
	}
	typed, _ := must(t, "wort-oxygen", with(base, object{"target_ppm": number(t, target, "proposed_mg_l"), "efficiency_fraction": number(t, trend, "next_efficiency")}))
	if number(t, all, "gas_nl_min") != number(t, typed, "gas_nl_min") {
		t.Errorf("%v, typed %v", all["gas_nl_min"], typed["gas_nl_min"])
	}
	low, _ := must(t, "wort-oxygen", with(base, object{"target_ppm": number(t, target, "proposed_mg_l"), "efficiency_fraction": number(t, trend, "next_high95")}))
	if got := number(t, all, "gas_low_nl_min"); math.Abs(got/number(t, low, "gas_nl_min")-1) > 1e-12 || got >= number(t, all, "gas_nl_min") || number(t, all, "gas_high_nl_min") <= number(t, all, "gas_nl_min") {
		t.Errorf("%v to %v about %v", all["gas_low_nl_min"], all["gas_high_nl_min"], all["gas_nl_min"])
	}
	// Rules of one's own hold, in any unit, and the ceiling follows the place.
	rule := object{"from_plato": 0, "below_plato": "1.100 SG", "low_mg_l": 6, "high_ppm": 8, "source": "our trial", "note": "a second dose after a day"}
	own, _ := must(t, "wort-oxygen", with(base, object{"efficiency_pct": 50, "rules": []object{rule}}))
	if number(t, own, "target_ppb") != 7000 || own["target"].(object)["source"] != "our trial" || own["target"].(object)["second_dose"] != true || len(own["rules"].([]any)) != 1 {
		t.Errorf("%v", own)
	}
	high, _ := must(t, "wort-oxygen", with(base, object{"efficiency_pct": 50, "altitude_m": 1500}))
	sea, _ := must(t, "wort-oxygen", with(base, object{"efficiency_pct": 50}))
	if number(t, high, "tank_ceiling_ppb") >= 0.86*number(t, sea, "tank_ceiling_ppb") {
		t.Errorf("1500 m up the wort holds %v, at the sea %v", high["tank_ceiling_ppb"], sea["tank_ceiling_ppb"])
	}
	for field, more := range map[string]object{
		"target_ppb": {"extract_plato": nil, "efficiency_pct": 50}, "efficiency_fraction": {}, "brews[0].gas": {"brews": []object{{"gas": "helium"}}}, "rules[1].high_ppb": {"efficiency_pct": 50, "rules": []object{rule, with(rule, object{"low_mg_l": 9})}},
		"rules[0].style": {"efficiency_pct": 50, "rules": []object{with(rule, object{"style": "stout"})}}, "extract_plato": {"efficiency_pct": 50, "rules": []object{with(rule, object{"below_plato": 10})}}, "yeast_source": {"efficiency_pct": 50, "yeast_source": "wild"},
	} {
		if e := refused(t, "wort-oxygen", encode(t, with(base, more))); e.Field != field {
			t.Errorf("%s: %v", field, e)
		}
	}
}
