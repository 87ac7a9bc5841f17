package calc_test

import (
	"encoding/json"
	"errors"
	"maps"
	"math"
	"reflect"
	"strings"
	"testing"

	"ullage/core/calc"
	"ullage/core/quantity"
)

type object = map[string]any

// examples holds a good input for every entry of the table.
var examples = map[string]object{
	"tpo": {"temperature_c": 4, "gross_g": 372.4, "tare_g": 13.4, "capacity_ml": 373.5, "sg": 1.0105, "shaken_do_ppb": 48, "nominal_ml": 355},
	"judge": {"limit_ppb": 120, "single_limit_ppb": 250, "rows": []object{
		{"taken_at": "2026-03-02T07:00:00Z", "event": "start"},
		{"taken_at": "2026-03-02T07:10:00Z", "head": 1, "temperature_c": 4, "gross_g": 372.4, "tare_g": 13.4, "capacity_ml": 373.5, "sg": 1.0105, "shaken_do_ppb": 48},
		{"taken_at": "2026-03-02T07:12:00Z", "head": "2", "tpo_ppb": 104, "shaken_do_ppb": 49},
		{"taken_at": "2026-03-02T07:14:00Z", "inlet_do_ppb": 25}}},
	"shaken-limit":   {"temperature_c": 4, "beer_ml": 355, "headspace_ml": 18, "limit_ppb": 100},
	"headspace-air":  {"temperature_c": 20, "beer_ml": 355, "tpo_ppb": 110},
	"fill-bias":      {"temperature_c": 4, "shaken_do_ppb": 48, "capacity_ml": 373.5, "beer_ml": 350, "fill_ml": 355},
	"capacity":       {"capacity_water_g": 372.3, "water_temperature_c": 20},
	"sampling-plan":  {"heads": 6, "hours": 5, "cans": 40, "fault_ppb": 45, "level_ppb": 80},
	"weight":         {"weight_g": 359, "density_kg_m3": 1010, "air_density_kg_m3": 1.18},
	"shake-study":    {"minutes": []float64{1, 2, 3, 5, 8}, "shaken_do_ppb": []float64{71, 62.5, 57.2, 53.1, 51.2}},
	"delay":          {"tpo_ppb": 100, "tpo_u_ppb": 4, "delay_min": 90, "rate_per_h": 0.05, "rate_u_per_h": 0.01},
	"conformity":     {"value": 95, "standard_uncertainty": 4, "limit": 100},
	"air-saturation": {"temperature_c": 20, "pressure_kpa": 97.7},
	"partition":      {"temperature_c": 20, "pressure_kpa": 300},
	"water":          {"temperature_c": 20},
	"air-density":    {"temperature_c": 20, "pressure_kpa": 97.7, "humidity_fraction": 0.5},
	"gravity":        {"sg": 1.0105},
	"attenuation":    {"original_plato": 12.2, "apparent_plato": 2.6},
	"co2":            {"temperature_c": 4, "co2_vol": 2.5},
	"beer":           {"temperature_c": 4, "sg": 1.0105, "abv_pct": 5},
	"agree": {"rows": []object{
		{"id": "1", "calculated_ppb": 61, "direct_ppb": 60}, {"id": 2, "calculated_ppb": 84, "direct_ppb": 82}, {"calculated_ppb": 101, "direct_ppb": 104},
		{"calculated_ppb": 122, "direct_ppb": 118}, {"calculated_ppb": 139, "direct_ppb": 140}, {"calculated_ppb": 160, "direct_ppb": 158}, {"calculated_ppb": 45, "direct_ppb": 46}}},
	"check-meter":    {"zero_do_ppb": 2.5, "air_do_ppb": 8900, "temperature_c": 20, "pressure_kpa": 97.7},
	"study-tare":     {"rows": []object{{"empty_g": 13.3}, {"empty_g": 13.5}, {"empty_g": 13.42}, {"lot": "B", "empty_g": 13.6}, {"lot": "B", "empty_g": 13.64}}},
	"study-capacity": {"rows": []object{{"empty_g": 13.4, "full_g": 386, "water_temperature_c": 20}, {"capacity_water_g": 372.1, "water_temperature_c": 21}, {"capacity_water_g": 371.9, "water_temperature_c": "68 °F"}}},
	"study-neck":     {"rows": []object{{"gap_mm": 45, "headspace_ml": 13.4}, {"gap_mm": 50, "headspace_ml": 14.6}, {"gap_mm": 55, "headspace_ml": 15.9}, {"gap_mm": 60, "headspace_ml": 17.0}}},
	"study-shake": {"rows": []object{{"shake_min": 1, "shaken_do_ppb": 71}, {"shake_min": 2, "shaken_do_ppb": 62.5}, {"shake_min": 3, "shaken_do_ppb": 57.2},
		{"shake_min": 5, "shaken_do_ppb": 53.1}, {"shake_min": 8, "shaken_do_ppb": 51.2}}},
	"study-delay": {"rows": []object{{"delay_min": 0, "tpo_ppb": 101}, {"delay_min": 20, "tpo_ppb": 95}, {"delay_min": 40, "tpo_ppb": 86}, {"delay_min": 60, "tpo_ppb": 82}}},
	"study-line":  {"rows": []object{{"flow_ml_min": 60, "do_ppb": 31}, {"flow_ml_min": 100, "do_ppb": 24.4}, {"flow_ml_min": 150, "do_ppb": 21}, {"flow_ml_min": 250, "do_ppb": 18.1}}},
	"study-repeatability": {"rows": []object{{"package": 1, "operator": "A", "reading": 60}, {"package": 1, "operator": "A", "reading": 62}, {"package": 1, "operator": "B", "reading": 61}, {"package": 1, "operator": "B", "reading": 64},
		{"package": 2, "operator": "A", "reading": 90}, {"package": 2, "operator": "A", "reading": 93}, {"package": 2, "operator": "B", "reading": 95}, {"package": 2, "operator": "B", "reading": 93}}},
	"batch-map": {"batches": []object{{"id": "fv", "code": "B-101", "volume_hl": 60}, {"id": "bbt", "volume_hl": 58}},
		"moves":    []object{{"id": "m", "kind": "transfer", "from": "fv", "to": "bbt", "volume_hl": 58, "flow_hl_h": 60, "via": []string{"centrifuge"}}},
		"readings": []object{{"id": 1, "batch": "fv", "point": "fermentation_end", "do_ppb": 4, "meter": "M1"}, {"id": 2, "batch": "bbt", "move": "m", "point": "tank_after", "do_ppb": 22, "meter": "M1"}},
		"runs":     []object{{"id": "r", "batch": "bbt", "inlet_ppb": 27, "unshaken_ppb": 45, "tpo_ppb": 108}}},
	"transfers": {"step": "transfer", "batches": []object{{"id": "fv", "code": "B-101", "volume_hl": 60, "made_at": "2026-03-01T08:00:00Z"}, {"id": "bbt", "code": "B-102", "volume_hl": 58, "beer": "q", "beer_name": "Quernlight"}},
		"moves":    []object{{"id": "m", "kind": "transfer", "from": "fv", "to": "bbt", "started_at": "2026-03-14T08:00:00Z", "volume_hl": 58, "flow_hl_h": 60, "via": []string{"filter"}, "purge": "swept with CO2"}},
		"readings": []object{{"id": "1", "batch": "fv", "move": "m", "point": "tank_before", "do_ppb": 5, "meter": "M1"}, {"id": "2", "batch": "bbt", "move": "m", "point": "tank_after", "do_ppb": 40, "meter": "M1"}},
		"limits":   []object{{"step": "transfer", "green_ppb": 20}, {"step": "transfer", "beer": "q", "green_ppb": 40}}},
	"what-changed": {"focus": "b", "batches": []object{{"id": "a", "code": "B-101", "beer": "q", "vessel": "bright_tank", "made_at": "2026-03-01T08:00:00Z"}, {"id": "b", "code": "B-102", "beer": "q", "vessel": "bright_tank", "made_at": "2026-03-14T08:00:00Z"}},
		"moves":    []object{{"to": "a", "purge": "swept with CO2", "flow_hl_h": 60}, {"to": "b", "purge": "none", "flow_hl_h": 61}},
		"readings": []object{{"batch": "a", "point": "tank_rested", "do_ppb": 20}, {"batch": "b", "point": "tank_rested", "do_ppb": 60}},
		"runs":     []object{{"batch": "a", "events_known": true}, {"batch": "b", "gas_changes": []string{"next bundle"}}}},
	"pickup":        {"rows": []object{{"point": "tank_before", "do_ppb": 6, "flow_hl_h": 60, "volume_hl": 60}, {"point": "tank_after", "do_ppb": "0.026 ppm", "flow_hl_h": 60, "volume_hl": 60}}},
	"transfer-test": {"rows": []object{{"in_ppb": 6, "out_ppb": 26, "flow_hl_h": 60}, {"in_ppb": 6, "out_ppb": 46, "flow_hl_h": 30}}},
	"wort-trend": {"rows": []object{{"id": 1, "efficiency_fraction": 0.68, "stone_cleaned": true}, {"do_ppm": 9.1, "carried_ppm": 0.4, "wort_hl": 25, "knockout_min": 45, "float_reading_nl_min": 0.55, "float_for": "air", "float_gauge_bar": 1},
		{"efficiency_fraction": "65 %"}, {"efficiency_fraction": 0.63}}},
	"wort-target": {"extract_plato": 12},
	"buy-next":    {"rows": []object{{"id": "can 355", "temperature_c": 4, "gross_g": 372.4, "tare_g": 13.4, "capacity_ml": 373.5, "sg": 1.0105, "shaken_do_ppb": 48}}},
}

func with(base object, changes object) object {
	o := maps.Clone(base)
	for k, v := range changes {
		if v == nil {
			delete(o, k)
		} else {
			o[k] = v
		}
	}
	return o
}

func encode(t testing.TB, o any) []byte {
	t.Helper()
	b, err := json.Marshal(o)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// must runs a calculation and decodes its answer.
func must(t testing.TB, name string, in object) (result object, answer object) {
	t.Helper()
	out, err := calc.Run(name, encode(t, in))
	if err != nil {
		t.Fatalf("%s %v: %v", name, in, err)
	}
	if err := json.Unmarshal(out, &answer); err != nil {
		t.Fatal(err)
	}
	return answer["result"].(object), answer
}

// refused runs a calculation that must fail and gives the error.
func refused(t testing.TB, name string, in []byte) *quantity.Error {
	t.Helper()
	out, err := calc.Run(name, in)
	var e *quantity.Error
	if !errors.As(err, &e) {
		t.Errorf("%s %s: got %s, %v; want a refusal", name, in, out, err)
		return &quantity.Error{}
	}
	if e.Message == "" || e.Mend == "" {
		t.Errorf("%s %s: %q lacks a message or a mend", name, in, e)
	}
	return e
}

func near(got, want, relative float64) bool {
	return math.Abs(got-want) <= relative*math.Max(math.Abs(got), math.Abs(want))
}

// same compares two results number by number.
func same(t *testing.T, what string, got, want object, relative float64) {
	t.Helper()
	for k, w := range want {
		wantNumber, ok := w.(float64)
		if gotNumber, is := got[k].(float64); ok && (!is || !near(gotNumber, wantNumber, relative) && math.Abs(gotNumber-wantNumber) > 1e-9) {
			t.Errorf("%s: %s is %v, want %v", what, k, got[k], w)
		}
	}
}

func TestEveryEntry(t *testing.T) {
	for _, c := range calc.List() {
		example, ok := examples[c.Name]
		if !ok {
			t.Errorf("%s has no example here", c.Name)
			continue
		}
		t.Run(c.Name, func(t *testing.T) {
			if c.Help == "" || c.Equations == "" {
				t.Error("no help or no equations")
			}
			want, _ := must(t, c.Name, example)
			testNames(t, &c, example)
			for i := range c.Fields {
				testField(t, &c, &c.Fields[i], example, want)
			}
		})
	}
	if len(examples) != len(calc.List()) {
		t.Errorf("%d examples, %d calculations", len(examples), len(calc.List()))
	}
}

func testNames(t *testing.T, c *calc.Calculation, example object) {
	if e := refused(t, c.Name, encode(t, with(example, object{"foam_height_mm": 3}))); e.Field != "foam_height_mm" || !strings.Contains(e.Mend, c.Fields[0].Name) {
		t.Errorf("unknown field: %v", e)
	}
	for _, text := range []string{``, `null`, `[]`, `5`, `"x"`, `{`, `{}{}`, `{"a"}`, `{"a":1,}`} {
		refused(t, c.Name, []byte(text))
	}
	c2, err := calc.Find(c.Name)
	if err != nil || c2.Name != c.Name || reflect.ValueOf(c2.Input()).Kind() != reflect.Pointer {
		t.Error(err)
	}
}

func testField(t *testing.T, c *calc.Calculation, f *calc.Field, example, want object) {
	if f.Help == "" {
		t.Errorf("%s has no help", f.Name)
	}
	value, given := example[f.Name]
	if f.Required {
		if !given {
			t.Fatalf("the example lacks %s", f.Name)
		}
		for _, in := range []object{with(example, object{f.Name: nil}), with(example, object{f.Name: json.RawMessage("null")})} {
			if e := refused(t, c.Name, encode(t, in)); e.Field != f.Name || e.Message != "is missing" {
				t.Errorf("without %s: %v", f.Name, e)
			}
		}
	}
	if !given {
		return
	}
	text := encode(t, example)
	again := append([]byte(`{"`+f.Name+`":`+string(encode(t, value))+`,`), text[1:]...)
	if e := refused(t, c.Name, again); e.Field != f.Name || e.Message != "is given twice" {
		t.Errorf("%s twice: %v", f.Name, e)
	}
	for _, wrong := range []any{"NaN", "Inf", true, object{}, "", "1,5", "0x10"} {
		if e := refused(t, c.Name, encode(t, with(example, object{f.Name: wrong}))); e.Field != f.Name {
			t.Errorf("%s as %v: %v", f.Name, wrong, e)
		}
	}
	if f.Kind == nil {
		return
	}
	number, _ := json.Number(encode(t, value)).Float64()
	for _, u := range f.Kind.Units {
		// Another suffix of the same quantity, and a unit in the value itself.
		other := f.Stem + "_" + u.Suffix
		if f.Name == "sg" {
			other = f.Name
		}
		got, _ := must(t, c.Name, with(with(example, object{f.Name: nil}), object{other: u.FromBase(number)}))
		same(t, other, got, want, 1e-9)
		got, _ = must(t, c.Name, with(example, object{f.Name: strings.TrimSpace(string(encode(t, u.FromBase(number))) + " " + u.Symbol)}))
		same(t, f.Name+" in "+u.Symbol, got, want, 1e-9)
		if other != f.Name {
			if e := refused(t, c.Name, encode(t, with(example, object{other: 1}))); !strings.HasPrefix(e.Message, "is given twice") {
				t.Errorf("%s beside %s: %v", other, f.Name, e)
			}
		}
	}
}

func TestUnknownCalculation(t *testing.T) {
	if e := refused(t, "gravy", []byte(`{}`)); e.Field != "calculation" || e.Value != "gravy" || !strings.Contains(e.Mend, "tpo") {
		t.Error(e)
	}
}

// A value with an escaped unit sign, as many JSON writers make it.
func TestEscapedUnit(t *testing.T) {
	want, _ := must(t, "water", object{"temperature_c": 4})
	out, err := calc.Run("water", []byte(`{"temperature_c": "39.2 \u00b0F"}`))
	if err != nil {
		t.Fatal(err)
	}
	var answer struct{ Result object }
	if err := json.Unmarshal(out, &answer); err != nil {
		t.Fatal(err)
	}
	same(t, "escaped", answer.Result, want, 1e-9)
}

// The text doors get {"error": {kind, field, value, message, mend}}.
func TestRunText(t *testing.T) {
	var answer struct {
		Error  map[string]string
		Result object
	}
	if err := json.Unmarshal([]byte(calc.RunText("water", `{"temperature_c": "4 °R"}`)), &answer); err != nil {
		t.Fatal(err)
	}
	want := map[string]string{"kind": "input", "field": "temperature_c", "value": "4 °R", "message": `has the unknown unit "°R" for temperature`, "mend": "use °C, °F, K"}
	if !maps.Equal(answer.Error, want) || answer.Result != nil {
		t.Errorf("got %v, want %v", answer.Error, want)
	}
	answer.Error = nil
	if err := json.Unmarshal([]byte(calc.RunText("water", `{"temperature_c": 20}`)), &answer); err != nil || answer.Error != nil || !near(answer.Result["density_kg_m3"].(float64), 998.2067, 1e-6) {
		t.Errorf("%v, %v", answer, err)
	}
}

func TestOneOfTwo(t *testing.T) {
	for _, c := range []struct {
		name string
		in   object
	}{
		{"headspace-air", object{"beer_ml": 355}}, {"headspace-air", object{"beer_ml": 355, "tpo_ppb": 1, "air_ml": 1}},
		{"gravity", object{}}, {"gravity", object{"sg": 1.01, "extract_plato": 2}},
		{"co2", object{"temperature_c": 4}}, {"co2", object{"temperature_c": 4, "co2_vol": 2.5, "pressure_kpa": 200}},
	} {
		if e := refused(t, c.name, encode(t, c.in)); !strings.Contains(e.Message, "only one of them") {
			t.Errorf("%s %v: %v", c.name, c.in, e)
		}
	}
}

// Refusals of the small calculations: the value at fault, and one that passes.
func TestSmallRefusals(t *testing.T) {
	for _, c := range []struct {
		name, field string
		bad, good   any
	}{
		{"shaken-limit", "beer_ml", 0, 1}, {"shaken-limit", "headspace_ml", -0.1, 0}, {"shaken-limit", "temperature_c", 40.1, 40},
		{"headspace-air", "beer_ml", -1, 1}, {"headspace-air", "temperature_c", 61, 60},
		{"fill-bias", "beer_ml", 373.5, 373.4}, {"fill-bias", "fill_ml", 0, 1}, {"fill-bias", "shaken_do_ppb", 0, 0.1}, {"fill-bias", "temperature_c", -2.1, -2},
		{"capacity", "capacity_water_g", 0, 1}, {"capacity", "water_temperature_c", 41, 40}, {"weight", "density_kg_m3", 10, 10.1},
		{"shake-study", "minutes", []float64{-1, 2, 3, 5, 8}, []float64{0, 2, 3, 5, 8}}, {"shake-study", "minutes", []float64{1, 1, 2, 2, 2}, []float64{1, 1, 2, 2, 3}},
		{"shake-study", "minutes", []float64{1, 2, 3}, []float64{1, 2, 3, 4, 5}}, {"shake-study", "minutes", []float64{1, 2, 3, 4, 601}, []float64{1, 2, 3, 4, 600}},
		{"delay", "delay_min", -1, 0}, {"conformity", "standard_uncertainty", -1, 0}, {"conformity", "risk", 1, 0.99}, {"conformity", "risk", -0.1, 0.01},
		{"air-saturation", "pressure_kpa", 39, 40}, {"air-saturation", "pressure_kpa", 116, 115}, {"air-saturation", "temperature_c", 41, 40},
		{"partition", "temperature_c", -3, -2}, {"water", "temperature_c", 40.5, 40}, {"air-density", "humidity_fraction", 1.1, 1}, {"air-density", "pressure_kpa", 0, 90},
		{"gravity", "sg", 1.21, 1.2}, {"gravity", "sg", 0.94, 0.95}, {"attenuation", "original_plato", 2.5, 2.6}, {"attenuation", "original_plato", 41, 40},
		{"co2", "temperature_c", 41, 40}, {"beer", "sg", 1.21, 1.2}, {"beer", "temperature_c", 41, 40},
	} {
		if e := refused(t, c.name, encode(t, with(examples[c.name], object{c.field: c.bad}))); e.Field != c.field {
			t.Errorf("%s, %s %v: %v", c.name, c.field, c.bad, e)
		}
		must(t, c.name, with(examples[c.name], object{c.field: c.good}))
	}
}
