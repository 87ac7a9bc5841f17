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
