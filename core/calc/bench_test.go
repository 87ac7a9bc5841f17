package calc_test

import (
	"sync"
	"testing"

	"ullage/core/calc"
	"ullage/core/quantity"
)

func ptr[T any](v T) *T { return &v }

// can is a usual 355 mL can, weighed with the lot's tare and capacity.
func can() *calc.TPOInput {
	return &calc.TPOInput{
		Temperature: ptr(quantity.Temperature(4)), ShakenDO: ptr(quantity.ShakenDO(48)),
		Gross: ptr(quantity.Mass(372.4)), Tare: ptr(quantity.Mass(13.4)), Capacity: ptr(quantity.Volume(373.5)),
		SG: ptr(quantity.SpecificGravity(1.0105)), Nominal: ptr(quantity.Volume(355)),
	}
}

// Two cores, as a caller outside core would spread the work.
func onTwo(n int, do func(int)) {
	var w sync.WaitGroup
	for worker := range 2 {
		w.Go(func() {
			for i := worker; i < n; i += 2 {
				do(i)
			}
		})
	}
	w.Wait()
}

func evaluate(b *testing.B, method string, trials int, each func(int, func(int))) {
	in := can()
	in.Uncertainty, in.Trials = method, trials
	e := calc.Evaluator{Each: each}
	var out calc.TPOResult
	var warnings []calc.Warning
	b.ReportAllocs()
	for b.Loop() {
		// Another temperature each time: the partition ratio is not kept.
		*in.Temperature = 9 - *in.Temperature
		var err error
		if warnings, err = e.Evaluate(in, &out, warnings[:0]); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkTPOPlain(b *testing.B)      { evaluate(b, calc.None, 0, nil) }
func BenchmarkTPOFirstOrder(b *testing.B) { evaluate(b, calc.GUM, 0, nil) }

func BenchmarkTPOMonteCarloMillion(b *testing.B) {
	evaluate(b, calc.MonteCarlo, 1_000_000, onTwo)
}

func BenchmarkTPOMonteCarloMillionOneCore(b *testing.B) {
	evaluate(b, calc.MonteCarlo, 1_000_000, nil)
}

func BenchmarkTPOMonteCarloAdaptive(b *testing.B) { evaluate(b, calc.MonteCarlo, 0, onTwo) }

func BenchmarkRunJSON(b *testing.B) {
	input := []byte(`{"temperature_c":4,"gross_g":372.4,"tare_g":13.4,"capacity_ml":373.5,"sg":1.0105,"shaken_do_ppb":48,"nominal_ml":355}`)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := calc.Run("tpo", input); err != nil {
			b.Fatal(err)
		}
	}
}
