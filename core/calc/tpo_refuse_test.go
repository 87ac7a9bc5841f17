package calc_test

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// bottle has weights and a fill height.
var bottle = object{
	"temperature_c": 4, "shaken_do_ppb": 48, "gross_g": 537.8, "tare_g": 204.2, "capacity_ml": 346, "sg": 1.0105, "package": "bottle",
	"gap_mm": 52, "neck_gap_mm": 50, "neck_headspace_ml": 15.1, "neck_ml_per_mm": 0.24, "nominal_ml": 330,
}

// Each line: what is refused, and a neighbour that is not.
func TestTPORefusals(t *testing.T) {
	base := examples["tpo"]
	water := object{"capacity_ml": nil, "capacity_water_g": 372.4, "water_temperature_c": 20}
	height := object{"gross_g": nil, "tare_g": nil, "path": "fill_height", "gap_mm": 52, "neck_gap_mm": 50, "neck_headspace_ml": 15.1, "neck_ml_per_mm": 0.24}
	assumed := object{"gross_g": nil, "tare_g": nil, "sg": nil}
	for _, c := range []struct {
		also        object // on top of the can
		field, says string
		bad, good   object
	}{
		{nil, "temperature_c", "outside -5 to 45", object{"temperature_c": -5.1}, object{"temperature_c": -5}},
		{nil, "temperature_c", "outside -5 to 45", object{"temperature_c": 45.1}, object{"temperature_c": 45}},
		{water, "water_temperature_c", "outside 0 to 40", object{"water_temperature_c": 40.1}, object{"water_temperature_c": 40}},
		{water, "water_temperature_c", "outside 0 to 40", object{"water_temperature_c": -0.1}, object{"water_temperature_c": 0}},
		{nil, "shaken_do_ppb", "below zero", object{"shaken_do_ppb": -0.1}, object{"shaken_do_ppb": 0}},
		{object{"capacity_ml": 450}, "sg", "outside 0.95 to 1.2", object{"sg": 0.949}, object{"sg": 0.95}},
		{nil, "sg", "outside 0.95 to 1.2", object{"sg": 1.201}, object{"sg": 1.2}},
		{nil, "air_density_kg_m3", "no density of air", object{"air_density_kg_m3": 2.1}, object{"air_density_kg_m3": 2}},
		{nil, "co2_vol", "more than any beer", object{"co2_vol": 10.1}, object{"co2_vol": 10}},
		{nil, "abv_pct", "more than any beer", object{"abv_pct": 30.1}, object{"abv_pct": 30}},
		{nil, "tare_source", "not known", object{"tare_source": "drawing"}, object{"tare_source": "own"}},
		{nil, "capacity_source", "not known", object{"capacity_source": "guess"}, object{"capacity_source": "drawing"}},
		{nil, "package", "not known", object{"package": "jar"}, object{"package": "can"}},
		{nil, "path", "not known", object{"path": "best"}, object{"path": "auto"}},
		{nil, "uncertainty", "no method", object{"uncertainty": "guess"}, object{"uncertainty": "none"}},
		{object{"co2_vol": 2.5}, "corrections", "not known", object{"corrections": []string{"foam"}}, object{"corrections": []string{"co2"}}},
		{object{"corrections": []string{"co2"}}, "co2_vol", "missing for the correction", object{}, object{"co2_vol": 2.5}},
		{object{"corrections": []string{"pressure"}}, "co2_vol", "missing for the correction", object{}, object{"co2_vol": 2.5}},
		{object{"corrections": []string{"expansion"}}, "abv_pct", "missing", object{}, object{"abv_pct": 5}},
		{object{"corrections": []string{"beer"}}, "abv_pct", "missing", object{}, object{"abv_pct": 5}},
		{nil, "tare_sd_g", "below zero", object{"tare_sd_g": -0.1}, object{"tare_sd_g": 0}},
		{nil, "capacity_sd_ml", "below zero", object{"capacity_sd_ml": -0.1}, object{"capacity_sd_ml": 0}},
		{nil, "fill_sd_ml", "below zero", object{"fill_sd_ml": -0.1}, object{"fill_sd_ml": 0}},
		{nil, "u", "no effect", object{"u": object{"foam": 1}}, object{"u": object{"meter": 1}}},
		{nil, "u.meter", "no standard uncertainty", object{"u": object{"meter": -1}}, object{"u": object{"meter": 0}}},
		{nil, "trials", "outside 1 to", object{"trials": -1}, object{"trials": 0}},
		{nil, "trials", "outside 1 to", object{"trials": 10_000_001}, object{"trials": 10_000_000}},
		{nil, "capacity_ml", "missing, and capacity_water_g too", object{"capacity_ml": nil}, object{"capacity_ml": 373}},
		{water, "capacity_water_g", "beside capacity_ml", object{"capacity_ml": 373}, object{}},
		{water, "capacity_water_g", "no capacity", object{"capacity_water_g": -1}, object{"capacity_water_g": 371}},
		{nil, "capacity_ml", "no capacity", object{"capacity_ml": 0}, object{"capacity_ml": 356}},
		{nil, "gross_g", "missing", object{"gross_g": nil}, object{}},
		{nil, "tare_g", "missing", object{"tare_g": nil}, object{}},
		{nil, "sg", "missing", object{"sg": nil}, object{}},
		{object{"path": "weighed"}, "sg", "missing", object{"sg": nil}, object{}},
		{height, "gap_mm", "missing", object{"gap_mm": nil}, object{}},
		{height, "neck_gap_mm", "missing", object{"neck_gap_mm": nil}, object{}},
		{height, "neck_headspace_ml", "missing", object{"neck_headspace_ml": nil}, object{}},
		{height, "neck_ml_per_mm", "missing", object{"neck_ml_per_mm": nil}, object{}},
		{with(height, object{"path": "auto"}), "neck_gap_mm", "missing", object{"neck_gap_mm": nil}, object{}},
		{with(assumed, object{"path": "assumed"}), "nominal_ml", "missing", object{"nominal_ml": nil}, object{}},
		{assumed, "gross_g", "missing", object{"nominal_ml": nil}, object{}},
		{nil, "gross_g", "not above the tare", object{"gross_g": 13.4}, object{"gross_g": 13.5}},
		{nil, "headspace_ml", "fills", object{"capacity_ml": 355.64}, object{"capacity_ml": 355.66}},
		{assumed, "headspace_ml", "fills", object{"nominal_ml": 373.5}, object{"nominal_ml": 373.4}},
		{assumed, "beer_ml", "not possible", object{"nominal_ml": 0}, object{"nominal_ml": 1}},
		{height, "headspace_ml", "no headspace", object{"gap_mm": -12.92}, object{"gap_mm": -12.91}},
		{height, "beer_ml", "not possible", object{"capacity_ml": 15.5}, object{"capacity_ml": 15.6}},
	} {
		in := base
		if c.also != nil {
			in = overlay(in, c.also)
		}
		e := refused(t, "tpo", encode(t, overlay(in, c.bad)))
		if e.Field != c.field || !strings.Contains(e.Error(), c.says) {
			t.Errorf("%v on %v: got %v; want %s … %s", c.bad, c.also, e, c.field, c.says)
		}
		must(t, "tpo", overlay(in, c.good))
	}
}

// overlay is with, and takes nils of the base out too.
func overlay(base, changes object) object {
	o := with(base, changes)
	for k, v := range o {
		if v == nil {
			delete(o, k)
		}
	}
	return o
}

func codes(answer object) (list []string) {
	all, _ := answer["warnings"].([]any)
	for _, w := range all {
		list = append(list, w.(object)["code"].(string))
	}
	return list
}

// Each line: what is asked about, and a neighbour that is not.
func TestTPOWarnings(t *testing.T) {
	water := object{"capacity_ml": nil, "capacity_water_g": 372.4}
	lot := object{"gap_mm": nil, "package": "bottle"}
	assumed := object{"gross_g": nil, "tare_g": nil, "sg": nil}
	seen := map[string]bool{}
	for _, c := range []struct {
		also      object // on top of the can, or of the bottle where it has a package
		code      string
		odd, fine object
	}{
		{nil, "shaken_do_unit", object{"shaken_do_ppb": 0.99}, object{"shaken_do_ppb": 1}},
		{nil, "shaken_do_unit", object{"shaken_do_ppb": 10001}, object{"shaken_do_ppb": 10000}},
		{nil, "shaken_do_unlikely", object{"shaken_do_ppb": 501}, object{"shaken_do_ppb": 500}},
		{nil, "shaken_do_unlikely", object{"shaken_do_ppb": 0}, object{"shaken_do_ppb": 1}},
		{nil, "unshaken_do_unit", object{"unshaken_do_ppb": 0.04}, object{"unshaken_do_ppb": 40}},
		{nil, "unshaken_do_unlikely", object{"unshaken_do_ppb": 600}, object{"unshaken_do_ppb": 490}},
		{nil, "inlet_do_unit", object{"unshaken_do_ppb": 40, "inlet_do_ppb": 0.02}, object{"unshaken_do_ppb": 40, "inlet_do_ppb": 20}},
		{nil, "inlet_do_unlikely", object{"inlet_do_ppb": 0}, object{"inlet_do_ppb": 2}},
		{nil, "pair_equal", object{"unshaken_do_ppb": 48}, object{"unshaken_do_ppb": 47}},
		{nil, "pair_unlikely", object{"unshaken_do_ppb": 11.9}, object{"unshaken_do_ppb": 12.1}},
		{nil, "pair_unlikely", object{"unshaken_do_ppb": 161}, object{"unshaken_do_ppb": 159}},
		{nil, "temperature_unlikely", object{"temperature_c": -2.1}, object{"temperature_c": -2}},
		{nil, "temperature_unlikely", object{"temperature_c": 39.2}, object{"temperature_c": 35}},
		{nil, "tpo_unlikely", object{"shaken_do_ppb": 1430}, object{"shaken_do_ppb": 1400}},
		{nil, "tpo_unlikely", object{"shaken_do_ppb": 2.3}, object{"shaken_do_ppb": 2.5}},
		{nil, "headspace_unlikely", object{"capacity_ml": 359}, object{"capacity_ml": 360}},
		{nil, "headspace_unlikely", object{"capacity_ml": 399}, object{"capacity_ml": 398}},
		{object{"capacity_ml": 400}, "package_unlikely", object{"nominal_ml": 329}, object{"nominal_ml": 330}},
		{nil, "package_unlikely", object{"nominal_ml": 387}, object{"nominal_ml": 386}},
		{nil, "low_fill", object{"gross_g": 366.2}, object{"gross_g": 366.7}},
		{nil, "co2_unlikely", object{"co2_vol": 0.79}, object{"co2_vol": 0.8}},
		{nil, "co2_unlikely", object{"co2_vol": 5}, object{"co2_vol": 4.5}},
		{nil, "clock", object{"minutes_since_closing_min": -1}, object{"minutes_since_closing_min": 0}},
		{nil, "read_late", object{"minutes_since_closing_min": 121}, object{"minutes_since_closing_min": 120}},
		{object{"yeast_in_package": true}, "read_late", object{"minutes_since_closing_min": 16}, object{"minutes_since_closing_min": 15}},
		{lot, "lot_tare_of_glass", object{}, object{"tare_source": "own"}},
		{lot, "lot_tare_of_glass", object{"tare_source": "lot"}, object{"gap_mm": 52}},
		{assumed, "fill_assumed", object{}, object{"gross_g": 372.4, "tare_g": 13.4, "sg": 1.0105}},
		{water, "water_temperature_assumed", object{}, object{"water_temperature_c": 20}},
	} {
		base := examples["tpo"]
		if c.also["package"] != nil {
			base = bottle
		}
		base = overlay(base, c.also)
		_, odd := must(t, "tpo", overlay(base, c.odd))
		_, fine := must(t, "tpo", overlay(base, c.fine))
		if !slices.Contains(codes(odd), c.code) {
			t.Errorf("%v on %v: %v, want %s", c.odd, c.also, codes(odd), c.code)
		}
		if slices.Contains(codes(fine), c.code) {
			t.Errorf("%v on %v: %v, want no %s", c.fine, c.also, codes(fine), c.code)
		}
		for _, w := range odd["warnings"].([]any) {
			if w := w.(object); w["field"] == nil || w["message"] == nil || w["mend"] == nil {
				t.Errorf("%v lacks field, message or mend", w)
			}
		}
		seen[c.code] = true
	}
	source, err := os.ReadFile("tpo_plausible.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile(`warn\(w, "(\w+)"`).FindAllSubmatch(source, -1) {
		if !seen[string(m[1])] {
			t.Errorf("the warning %s is not tested", m[1])
		}
	}
}

// A usual can raises no question.
func TestNoWarnings(t *testing.T) {
	if _, answer := must(t, "tpo", with(examples["tpo"], object{"unshaken_do_ppb": 35, "inlet_do_ppb": 22, "co2_vol": 2.5, "minutes_since_closing_min": 12})); len(codes(answer)) != 0 {
		t.Error(codes(answer))
	}
}
