package calc_test

import (
	"math"
	"strings"
	"testing"
)

// Units by suffix and in the cell, ids as numbers or words, nulls and empty times.
func TestBatchMapUnits(t *testing.T) {
	plain := object{
		"batches":  []object{{"id": "1", "volume_hl": 60, "vessel": "fermenter"}, {"id": "2", "volume_hl": 60, "gas_hl": 4, "headspace_bar": 1}},
		"moves":    []object{{"id": "m", "from": "1", "to": "2", "volume_hl": 60, "flow_hl_h": 60, "via": []string{"filter"}}},
		"readings": []object{{"id": "a", "batch": "1", "move": "m", "point": "filter_in", "do_ppb": 5}, {"id": "b", "batch": "1", "move": "m", "point": "filter_out", "do_ppb": 45}, {"id": "g", "batch": "2", "point": "tank_gas", "gas_o2_fraction": 0.001, "temperature_c": 2}},
	}
	other := object{
		"batches":  []object{{"id": 1, "volume_l": 6000, "vessel": "fermenter", "tank": nil}, {"id": 2, "volume_ml": "60 hL", "gas_l": 400, "headspace_kpa": "1 bar"}},
		"moves":    []object{{"id": "m", "from": 1, "to": 2, "volume_l": 6000, "flow_l_min": 100, "via": []string{"filter"}, "started_at": ""}},
		"readings": []object{{"id": "a", "batch": 1, "move": "m", "point": "filter_in", "do_ppm": 0.005}, {"id": "b", "batch": 1, "move": "m", "point": "filter_out", "do_ppb": "0.045 mg/L", "at": ""}, {"id": "g", "batch": 2, "point": "tank_gas", "gas_o2_pct": 0.1, "temperature_f": 35.6}},
	}
	a, _ := must(t, "batch-map", plain)
	b, answer := must(t, "batch-map", with(other, object{"explain": true}))
	for _, key := range []string{"delta_ppb", "grams", "air_ml_min", "low95_ppb"} {
		x, y := a["steps"].([]any)[0].(object)[key].(float64), b["steps"].([]any)[0].(object)[key].(float64)
		if math.Abs(x-y) > 1e-9*(1+math.Abs(x)) {
			t.Errorf("%s: %v and %v", key, x, y)
		}
	}
	ga, gb := a["tank_gas"].([]any)[0].(object), b["tank_gas"].([]any)[0].(object)
	if math.Abs(ga["equilibrium_ppb"].(float64)-gb["equilibrium_ppb"].(float64)) > 1e-9 {
		t.Errorf("%v and %v", ga, gb)
	}
	if d := answer["derivation"].([]any); len(d) != 3 || d[0].(object)["equation"] != "40" || d[2].(object)["value"].(float64) != b["steps"].([]any)[0].(object)["air_ml_min"] {
		t.Errorf("%v", answer["derivation"])
	}
}

// A row that is refused is named by its list.
func TestBatchMapRefusals(t *testing.T) {
	ok := examples["batch-map"]
	for _, c := range []struct {
		field string
		more  object
	}{
		{"batches[1].volume_hl", object{"batches": []object{{"id": "fv"}, {"id": "bbt", "volume_hl": "much"}}}},
		{"batches[0].colour", object{"batches": []object{{"id": "fv", "colour": "red"}}}},
		{"readings[0].point", object{"readings": []object{{"id": 1, "batch": "fv", "do_ppb": 3}}}},
		{"readings[0].do_ppb", object{"readings": []object{{"id": 1, "batch": "fv", "point": "tank_rested"}}}},
		{"readings[0].at", object{"readings": []object{{"id": 1, "batch": "fv", "point": "tank_rested", "do_ppb": 1, "at": "yesterday"}}}},
		{"moves[0].to", object{"moves": []object{{"id": "m", "from": "fv", "to": "moon"}}}},
		{"moves", object{"moves": []object{{"id": "m", "from": "fv", "to": "bbt"}, {"id": "n", "from": "bbt", "to": "fv"}}}},
		{"focus", object{"focus": "moon"}},
		{"runs[0].batch", object{"runs": []object{{"id": "r", "batch": "moon"}}}},
	} {
		if e := refused(t, "batch-map", encode(t, with(ok, c.more))); e.Field != c.field {
			t.Errorf("%s: %v", c.field, e)
		}
	}
	if e := refused(t, "pickup", encode(t, object{"rows": []object{{"point": "tank_before", "do_ppb": 5}, {"point": "attic", "do_ppb": 5}}})); e.Field != "rows[1].point" {
		t.Error(e)
	}
	if e := refused(t, "transfer-test", encode(t, object{"rows": []object{}})); !strings.Contains(e.Message, "fewer") {
		t.Error(e)
	}
	if e := refused(t, "transfer-test", encode(t, object{"rows": []object{{"in_ppb": 5}, {"out_ppb": 1e9}}})); e.Field != "rows[1].out_ppb" {
		t.Error(e)
	}
}

// A list along one way is the map that the same readings make with moves.
func TestPickupIsMap(t *testing.T) {
	list, _ := must(t, "pickup", object{"rows": []object{{"step": "end", "point": "fermentation_end", "do_ppb": 4}, {"step": "t", "point": "filter_in", "do_ppb": 6, "volume_hl": 60, "flow_hl_h": 60}, {"step": "t", "point": "filter_out", "do_ppb": 40, "volume_hl": 60, "flow_hl_h": 60},
		{"step": "t", "point": "tank_after", "do_ppb": 41, "volume_hl": 60}, {"step": "u", "point": "tank_before", "do_ppb": 42}, {"step": "u", "point": "tank_after", "do_ppb": 60}, {"point": "tpo", "do_ppb": 150}}})
	whole, _ := must(t, "batch-map", object{"batches": []object{{"id": "1", "vessel": "fermenter"}, {"id": "2", "volume_hl": 60}, {"id": "3"}},
		"moves": []object{{"id": "t", "from": "1", "to": "2", "volume_hl": 60, "flow_hl_h": 60, "via": []string{"filter"}}, {"id": "u", "from": "2", "to": "3"}},
		"readings": []object{{"id": 1, "batch": "1", "point": "fermentation_end", "do_ppb": 4}, {"id": 2, "move": "t", "point": "filter_in", "do_ppb": 6, "flow_hl_h": 60}, {"id": 3, "move": "t", "point": "filter_out", "do_ppb": 40, "flow_hl_h": 60}, {"id": 4, "move": "t", "point": "tank_after", "do_ppb": 41},
			{"id": 5, "move": "u", "point": "tank_before", "do_ppb": 42}, {"id": 6, "move": "u", "point": "tank_after", "do_ppb": 60}, {"id": 7, "batch": "3", "point": "tpo", "do_ppb": 150}}})
	a, b := list["steps"].([]any), whole["steps"].([]any)
	if len(a) != 6 || len(b) != 6 {
		t.Fatalf("%d and %d steps", len(a), len(b))
	}
	for i := range a {
		x, y := a[i].(object), b[i].(object)
		if x["delta_ppb"] != y["delta_ppb"] || x["kind"] != y["kind"] || x["state"] != y["state"] {
			t.Errorf("step %d: %v and %v", i, x, y)
		}
	}
}
