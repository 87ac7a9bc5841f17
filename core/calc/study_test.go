package calc_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"ullage/core/calc"
	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// pairsOf makes n pairs between 40 and 160 ppb; slip is what the calculated
// figure has too much, by level and headspace share.
func pairsOf(seed uint64, n int, sd, u float64, slip func(level, ratio float64) float64) []object {
	rng := rand.New(rand.NewPCG(seed, 7))
	rows := make([]object, n)
	for i := range rows {
		level, headspace := 40+120*rng.Float64(), 18+1.6*rng.NormFloat64()
		ratio := headspace / 355
		rows[i] = object{"id": i, "direct_ppb": level, "calculated_ppb": level + slip(level, ratio) + sd*rng.NormFloat64(), "beer_ml": 355, "headspace_ml": headspace}
		if u > 0 {
			rows[i]["calculated_u_ppb"], rows[i]["direct_u_ppb"] = u, 0.5
		}
	}
	return rows
}

func TestAgreeVerdicts(t *testing.T) {
	fill := func(level, ratio float64) float64 { return level * 8 * (ratio - 18.0/355) }
	for _, c := range []struct {
		name    string
		rows    []object
		verdict string
		because string
	}{
		{"alike", pairsOf(1, 40, 2, 2, func(l, r float64) float64 { return 0.5 }), calc.MayStandIn, ""},
		{"alike, few", pairsOf(2, 6, 1, 1, func(l, r float64) float64 { return 0.3 }), calc.NotYetShown, ""},
		{"alike, noisy and few", pairsOf(3, 12, 9, 9, func(l, r float64) float64 { return 0.3 }), calc.NotYetShown, ""},
		{"meter offset", pairsOf(4, 30, 2, 2, func(l, r float64) float64 { return 12 }), calc.Differs, calc.ByOffset},
		{"slope", pairsOf(5, 30, 2, 2, func(l, r float64) float64 { return 0.12 * l }), calc.Differs, calc.ByRatio},
		{"slope about a good mean", pairsOf(6, 40, 2, 2, func(l, r float64) float64 { return 0.2 * (l - 100) }), calc.Differs, calc.ByRatio},
		{"wrong fill", pairsOf(7, 40, 1.5, 2, fill), calc.Differs, calc.ByHeadspace},
		{"scatter beyond its u", pairsOf(8, 40, 9, 1.5, func(l, r float64) float64 { return 0 }), calc.Differs, calc.ByScatter},
		{"scatter, u unknown", pairsOf(9, 60, 9, 0, func(l, r float64) float64 { return 0 }), calc.NotYetShown, ""},
	} {
		r, _ := must(t, "agree", object{"rows": c.rows})
		because := ""
		if list := r["because"].([]any); len(list) > 0 {
			because = list[0].(object)["kind"].(string)
		}
		if r["verdict"] != c.verdict || because != c.because {
			t.Errorf("%s: %v because %q, want %s because %q\n%v", c.name, r["verdict"], because, c.verdict, c.because, r["sentence"])
		}
		if s := r["sentence"].(string); !strings.Contains(s, "ppb") {
			t.Errorf("%s: %q", c.name, s)
		}
	}
}

// Moving, scaling and shuffling pairs does to the figures what it must.
func TestAgreeInvariants(t *testing.T) {
	rows := pairsOf(11, 25, 3, 0, func(l, r float64) float64 { return 2 })
	change := func(f func(c, d float64) (float64, float64)) []object {
		out := make([]object, len(rows))
		for i, r := range rows {
			c, d := f(r["calculated_ppb"].(float64), r["direct_ppb"].(float64))
			out[len(rows)-1-i] = object{"calculated_ppb": c, "direct_ppb": d}
		}
		return out
	}
	base, _ := must(t, "agree", object{"rows": change(func(c, d float64) (float64, float64) { return c, d })})
	same(t, "rows in the order given", base, func() object { r, _ := must(t, "agree", object{"rows": rows}); delete(r, "pairs"); return r }(), 1e-9)
	moved, _ := must(t, "agree", object{"rows": change(func(c, d float64) (float64, float64) { return c + 7, d })})
	scaled, _ := must(t, "agree", object{"rows": change(func(c, d float64) (float64, float64) { return 3 * c, 3 * d }), "margin_ppb": 15})
	turned, _ := must(t, "agree", object{"rows": change(func(c, d float64) (float64, float64) { return d, c })})
	at := func(r object, k string) float64 { return r[k].(float64) }
	for _, k := range []string{"bias_ppb", "bias_ppb_low95", "loa_low_ppb", "loa_high_ppb_high95", "deming_intercept", "passing_bablok_intercept"} {
		if !near(at(moved, k), at(base, k)+7, 1e-9) {
			t.Errorf("%s moves from %v to %v", k, base[k], moved[k])
		}
		if !near(at(scaled, k), 3*at(base, k), 1e-9) {
			t.Errorf("%s scales from %v to %v", k, base[k], scaled[k])
		}
	}
	for _, k := range []string{"deming_slope", "passing_bablok_slope", "concordance", "equivalent_p"} {
		if !near(at(scaled, k), at(base, k), 1e-9) {
			t.Errorf("%s scales from %v to %v", k, base[k], scaled[k])
		}
	}
	if !near(at(turned, "bias_ppb"), -at(base, "bias_ppb"), 1e-12) || !near(at(turned, "deming_slope"), 1/at(base, "deming_slope"), 1e-9) || !near(at(turned, "loa_low_ppb"), -at(base, "loa_high_ppb"), 1e-9) {
		t.Errorf("turned: %v %v", turned["bias_ppb"], turned["deming_slope"])
	}
}

func TestStudyRefusals(t *testing.T) {
	pair := func(c, d any) object { return object{"calculated_ppb": c, "direct_ppb": d} }
	good := []object{pair(50, 51), pair(60, 62), pair(70, 69), pair(90, 88), pair(99, 101)}
	for _, c := range []struct {
		calc  string
		in    object
		field string
	}{
		{"agree", object{"rows": append(slices.Clone(good), object{"calculated_ppb": 3})}, "rows[5].direct_ppb"},
		{"agree", object{"rows": append(slices.Clone(good), pair("x", 3))}, "rows[5].calculated_ppb"},
		{"agree", object{"rows": append(slices.Clone(good), object{"calculated_ppb": 3, "direct_ppb": 3, "foam": 1})}, "rows[5].foam"},
		{"agree", object{"rows": append(slices.Clone(good), object{"calculated_ppb": 3, "direct_ppb": 3, "direct_u_ppb": -1})}, "rows[5].direct_u_ppb"},
		{"agree", object{"rows": good[:3]}, "rows"},
		{"agree", object{"rows": good, "margin_ppb": 0}, "margin_ppb"},
		{"agree", object{"rows": []object{pair(1, 1), pair(2, 2), pair(3, 3), pair(4, 4)}}, "rows"},
		{"check-meter", object{}, "zero_do_ppb"},
		{"check-meter", object{"air_do_ppb": 9000}, "temperature_c"},
		{"check-meter", object{"scale_g": 500}, "scale_reference_g"},
		{"check-meter", object{"air_do_ppb": 9000, "temperature_c": 80}, "temperature_c"},
		{"check-meter", object{"air_do_ppb": 9000, "temperature_c": 20, "pressure_kpa": 760}, "pressure_kpa"},
		{"study-tare", object{"rows": []object{{"empty_g": 13.4}, {"empty_g": -1}, {"empty_g": 13.5}}}, "rows[1].empty_g"},
		{"study-tare", object{"rows": []object{{"empty_g": 13.4}}}, "rows"},
		{"study-capacity", object{"rows": []object{{"full_g": 380, "water_temperature_c": 20}}}, "rows[0].empty_g"},
		{"study-capacity", object{"rows": []object{{"capacity_water_g": 380, "water_temperature_c": 60}}}, "rows[0].water_temperature_c"},
		{"study-shake", object{"rows": []object{{"shake_min": -1, "shaken_do_ppb": 3}}}, "rows[0].shake_min"},
		{"study-delay", object{"rows": []object{{"delay_min": 1, "tpo_ppb": 3}, {"delay_min": 1, "shaken_do_ppb": 3}}}, "rows[1].shaken_do_ppb"},
		{"study-delay", object{"rows": []object{{"delay_min": 1, "tpo_ppb": 0}}}, "rows[0].tpo_ppb"},
		{"study-line", object{"rows": []object{{"flow_ml_min": 0, "do_ppb": 3}}}, "rows[0].flow_ml_min"},
		{"study-repeatability", object{"rows": []object{{"package": "1", "operator": "A", "reading": 1}}}, "rows"},
		{"buy-next", object{"rows": []object{{"id": "x", "temperature_c": 4}}}, "rows[0].shaken_do_ppb"},
		{"buy-next", object{"rows": []object{}}, "rows"},
	} {
		if e := refused(t, c.calc, encode(t, c.in)); e.Field != c.field {
			t.Errorf("%s %v: refused %q (%v), want %q", c.calc, c.in, e.Field, e, c.field)
		}
	}
}

func TestCheckMeterWarns(t *testing.T) {
	for _, c := range []struct {
		in   object
		code string
	}{
		{object{"air_do_ppb": 9000, "temperature_c": 20}, "pressure_assumed"},
		{object{"air_do_ppb": 9000, "temperature_c": 20, "altitude_m": 1500}, "no_barometer"},
		{object{"air_do_ppb": 9000, "temperature_c": 20, "altitude_m": 1500, "pressure_hpa": 1015}, "pressure_unlikely"},
		{object{"air_do_ppb": 9.0, "temperature_c": 20, "pressure_hpa": 1015}, "unit_unlikely"},
		{object{"zero_do_ppb": 5, "zero_gas_ppm": 30}, "zero_gas_impure"},
		{object{"zero_do_ppb": 5}, "package_assumed"},
		{object{"zero_do_ppb": 8000, "air_do_ppb": 8100, "temperature_c": 20, "pressure_hpa": 1013}, "no_line"},
	} {
		_, answer := must(t, "check-meter", c.in)
		if !slices.Contains(codes(answer), c.code) {
			t.Errorf("%v: warnings %v, want %s", c.in, codes(answer), c.code)
		}
	}
	r, _ := must(t, "check-meter", object{"zero_do_ppb": 14, "shaken_do_ppb": 30, "total_to_dissolved": 2.2})
	if slip := r["tpo_slip_ppb"].(float64); math.Abs(slip-30.8) > 1e-9 || r["passed"] != false {
		t.Errorf("a zero of 14 ppb at a ratio of 2.2 slips TPO by %v, want 30.8", slip)
	}
	r, _ = must(t, "check-meter", object{"response_s": 44})
	if r["passed"] != false || !strings.HasPrefix(r["sentence"].(string), "Noted") {
		t.Errorf("%v", r)
	}
}

// The other implementation of the fit, which the shake-study calculation has.
func TestShakeAgainstOtherFit(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for range 50 {
		rate := 0.2 + 1.5*rng.Float64()
		var rows []object
		var minutes []quantity.Minutes
		var read []quantity.ShakenDO
		for _, m := range []float64{0.5, 1, 2, 3, 5, 8, 12} {
			v := 50 - 25*math.Exp(-rate*m) + 0.5*rng.NormFloat64()
			rows = append(rows, object{"shake_min": m, "shaken_do_ppb": v})
			minutes, read = append(minutes, quantity.Minutes(m)), append(read, quantity.ShakenDO(v))
		}
		r, _ := must(t, "study-shake", object{"rows": rows})
		f, err := oxygen.FitShake(minutes, read)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			name string
			want float64
		}{{"rate_per_min", f.Rate}, {"equilibrium_ppb", float64(f.Equilibrium)}, {"rate_u_per_min", f.RateU}, {"equilibrium_u_ppb", f.EquilibriumU}, {"error_at_5_min_ppb", f.AtFiveMinutes}} {
			if !near(r[c.name].(float64), c.want, 1e-5) {
				t.Errorf("%s: %v, the other fit %v", c.name, r[c.name], c.want)
			}
		}
	}
}

func TestCapacityStudyAgainstCapacity(t *testing.T) {
	one, _ := must(t, "capacity", object{"capacity_water_g": 372.4, "water_temperature_c": 23.5, "air_density_kg_m3": 1.05})
	study, _ := must(t, "study-capacity", object{"air_density_kg_m3": 1.05, "rows": []object{
		{"empty_g": 10, "full_g": 382.4, "water_temperature_c": 23.5}, {"capacity_water_g": 373, "water_temperature_c": 23.5}, {"capacity_water_g": 372, "water_temperature_c": 23.5}}})
	if got := study["each_ml"].([]any)[0].(float64); !near(got, one["capacity_ml"].(float64), 1e-12) {
		t.Errorf("%v, want %v", got, one["capacity_ml"])
	}
}

// What is bought for one package is what tpo says of it, and knowing a usual
// package's slopes is the difference quotient of tpo.
func TestBuyAgainstTPO(t *testing.T) {
	can := examples["tpo"]
	one, _ := must(t, "tpo", can)
	all, _ := must(t, "buy-next", object{"rows": []object{with(can, object{"id": "can"})}})
	gains := map[string]float64{}
	for _, o := range all["options"].([]any) {
		gains[o.(object)["what"].(string)] = o.(object)["gain_mean_ppb"].(float64)
	}
	list := one["improvements"].([]any)
	for _, o := range list {
		what, gain := o.(object)["what"].(string), o.(object)["gain_ppb"].(float64)
		if !near(gains[what], gain, 1e-9) {
			t.Errorf("%s: %v, tpo says %v", what, gains[what], gain)
		}
	}
	if len(list) < 3 {
		t.Errorf("only %d improvements", len(list))
	}
	at := func(field string, by float64) float64 {
		r, _ := must(t, "tpo", with(can, object{field: can[field].(float64) + by}))
		return r["tpo_ppb"].(float64)
	}
	slope := func(field string) float64 { return (at(field, 0.01) - at(field, -0.01)) / 0.02 }
	usual := object{"temperature_c": 4, "shaken_do_ppb": 48, "beer_ml": one["beer_ml"], "capacity_ml": 373.5}
	tare, _ := must(t, "study-tare", with(usual, object{"rows": []object{{"empty_g": 13.3}, {"empty_g": 13.5}, {"empty_g": 13.42}}}))
	if got, want := tare["tpo_per_unit_ppb"].(float64), slope("tare_g"); !near(got, want, 3e-3) {
		t.Errorf("a gram of tare: %v, tpo's difference %v", got, want)
	}
	capacity, _ := must(t, "study-capacity", with(usual, object{"capacity_ml": nil, "rows": []object{{"capacity_water_g": 372, "water_temperature_c": 20}, {"capacity_water_g": 372.2, "water_temperature_c": 20}, {"capacity_water_g": 372.1, "water_temperature_c": 20}}}))
	if got, want := capacity["tpo_per_unit_ppb"].(float64), slope("capacity_ml"); !near(got, want, 3e-3) {
		t.Errorf("a mL of capacity: %v, tpo's difference %v", got, want)
	}
}
