package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

func noise(seed uint64, n int) []float64 {
	rng := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	return x
}

// skewed is lognormal with median 100 and a log standard deviation of 0.3.
func skewed(seed uint64, n int) []float64 {
	x := noise(seed, n)
	for i := range x {
		x[i] = 100 * math.Exp(0.3*x[i])
	}
	return x
}

func BenchmarkIndividuals5000(b *testing.B) {
	x := skewed(1, 5000)
	for b.Loop() {
		if _, err := Individuals(x, ChartOptions{Nature: Positive, Rules: Nelson()}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkChangePoints5000(b *testing.B) {
	x := skewed(1, 5000)
	for b.Loop() {
		if _, err := ChangePoints(x, ChangeOptions{Nature: Positive, Level: 0.95}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkANOM(b *testing.B) {
	x := skewed(1, 480)
	var groups [][]float64
	for i := range 40 {
		groups = append(groups, x[12*i:12*i+12])
	}
	for b.Loop() {
		if _, err := ANOM(groups, Positive, 0.05); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOneWay(b *testing.B) {
	x := skewed(1, 480)
	groups := [][]float64{x[:100], x[100:250], x[250:]}
	for b.Loop() {
		if _, err := OneWay(groups, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCapability(b *testing.B) {
	x, limit := skewed(1, 200), 250.0
	for b.Loop() {
		if _, err := Capability(x, Limits{Upper: &limit}, CapabilityOptions{Nature: Positive, Level: 0.95}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkChartConstants(b *testing.B) {
	for b.Loop() {
		if _, err := ChartConstants(5); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFindPlan(b *testing.B) {
	for b.Loop() {
		if _, err := FindPlan(Risks{0.01, 0.05, 0.06, 0.1}, false); err != nil {
			b.Fatal(err)
		}
	}
}
