package calc_test

import "testing"

var studies = []string{"agree", "check-meter", "study-tare", "study-capacity", "study-neck", "study-shake", "study-delay", "study-line", "study-repeatability", "buy-next"}

// Any text to any study: finite JSON, or a refusal with field, message and mend.
func FuzzStudies(f *testing.F) {
	for i, name := range studies {
		f.Add(uint8(i), string(encode(f, examples[name])))
		f.Add(uint8(i), string(encode(f, with(examples[name], object{"rows": []object{{}, {}, {}, {}}}))))
		f.Add(uint8(i), `{"rows":null}`)
		f.Add(uint8(i), `{"rows":[]}`)
		f.Add(uint8(i), `{"rows":[1,"x",[]]}`)
	}
	for _, text := range []string{
		`{"rows":[{"calculated_ppb":1e300,"direct_ppb":-1e300},{"calculated_ppb":1e-300,"direct_ppb":0},{"calculated_ppb":1,"direct_ppb":1},{"calculated_ppb":2,"direct_ppb":1}]}`,
		`{"margin_ppb":1e-9,"rows":[{"calculated_ppb":1,"direct_ppb":1},{"calculated_ppb":1,"direct_ppb":1.0000001},{"calculated_ppb":1,"direct_ppb":1},{"calculated_ppb":2,"direct_ppb":1}]}`,
		`{"error_ratio":1e5,"min_pairs":3,"rows":[{"calculated_ppb":1,"direct_ppb":5},{"calculated_ppb":2,"direct_ppb":4},{"calculated_ppb":3,"direct_ppb":3},{"calculated_ppb":4,"direct_ppb":2}]}`,
	} {
		f.Add(uint8(0), text)
	}
	f.Add(uint8(5), `{"rows":[{"shake_min":0,"shaken_do_ppb":1},{"shake_min":1e-9,"shaken_do_ppb":1},{"shake_min":1e5,"shaken_do_ppb":1e9}]}`)
	f.Add(uint8(2), `{"target_g":1e-9,"rows":[{"empty_g":1},{"empty_g":1000},{"empty_g":5}]}`)
	f.Fuzz(func(t *testing.T, i uint8, input string) {
		if len(input) > 20_000 {
			return
		}
		fuzzOne(t, studies[int(i)%len(studies)], input)
	})
}
