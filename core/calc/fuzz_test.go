package calc_test

import (
	"encoding/json"
	"errors"
	"testing"

	"ullage/core/calc"
	"ullage/core/quantity"
)

// Any text to any calculation: it answers with finite JSON or refuses with a
// message and a mend. It never panics.
func FuzzRun(f *testing.F) {
	list := calc.List()
	for i, c := range list {
		f.Add(uint8(i), string(encode(f, examples[c.Name])))
		f.Add(uint8(i), string(encode(f, with(examples[c.Name], object{"uncertainty": "gum", "u": object{}}))))
	}
	for _, in := range []object{
		bottle, with(bottle, object{"tare_sd_g": 0, "path": "weighed", "u": object{"scale_gross": 0, "tare": 0}}),
		with(bottle, object{"corrections": []string{"co2", "pressure", "expansion", "beer"}, "co2_vol": 3, "abv_pct": 5, "explain": true, "limit_ppb": 60}),
		with(examples["tpo"], object{"gross_g": 1e300, "tare_g": -1e300, "capacity_ml": 1e308}), with(examples["tpo"], object{"shaken_do_ppb": 1e308}),
		{"temperature_c": "39.2 °F", "shaken_do_ppm": 0.048, "capacity_floz": 12.6, "nominal_floz": 12},
	} {
		f.Add(uint8(0), string(encode(f, in)))
	}
	for _, text := range []string{``, `{`, `null`, `{"u":null}`, `{"u":{"temperature_c":1e308},"temperature_c":4,"co2_vol":2}`, `{"temperature_c":"\ud800"}`, `{"minutes":[0,0,1e-300,2],"shaken_do_ppb":[1,1,1,1]}`, `{"minutes":[1,2,3],"shaken_do_ppb":[1e308,-1e308,0]}`} {
		for i := range list {
			f.Add(uint8(i), text)
		}
	}
	f.Fuzz(func(t *testing.T, i uint8, input string) {
		name := list[int(i)%len(list)].Name
		fuzzOne(t, name, input)
	})
}

// fuzzOne runs a calculation on any text: finite JSON, or a refusal with
// message and mend.
func fuzzOne(t *testing.T, name, input string) {
	var method struct {
		Uncertainty any `json:"uncertainty"`
	}
	if json.Unmarshal([]byte(input), &method) == nil && method.Uncertainty == calc.MonteCarlo {
		return // right, and slow
	}
	out, err := calc.Run(name, []byte(input))
	if err != nil {
		var e *quantity.Error
		if !errors.As(err, &e) || e.Message == "" || e.Mend == "" {
			t.Fatalf("%s %s: %#v", name, input, err)
		}
		return
	}
	if !json.Valid(out) { // JSON has no NaN and no infinity
		t.Fatalf("%s %s: %s", name, input, out)
	}
}
