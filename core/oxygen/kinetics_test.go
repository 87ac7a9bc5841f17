package oxygen_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// approach makes readings of a shake study, with noise if it is given.
func approach(start, end, rate float64, minutes []quantity.Minutes, noise func() float64) []quantity.ShakenDO {
	read := make([]quantity.ShakenDO, len(minutes))
	for i, m := range minutes {
		read[i] = quantity.ShakenDO(end + (start-end)*math.Exp(-rate*float64(m)) + noise())
	}
	return read
}

func none() float64 { return 0 }

func TestShakeFitRecovers(t *testing.T) {
	minutes := []quantity.Minutes{0, 1, 2, 3, 5, 8}
	rapid.Check(t, func(t *rapid.T) {
		end := rapid.Float64Range(10, 500).Draw(t, "equilibrium")
		start := end * rapid.SampledFrom([]float64{0.3, 0.7, 1.5, 3}).Draw(t, "start")
		rate := rapid.Float64Range(0.1, 4).Draw(t, "rate")
		fit, err := oxygen.FitShake(minutes, approach(start, end, rate, minutes, none))
		if err != nil {
			t.Fatal(err)
		}
		if !near(fit.Rate, rate, 1e-5) || !near(float64(fit.Equilibrium), end, 1e-5) || !near(float64(fit.Initial), start, 1e-5) {
			t.Errorf("rate %v, equilibrium %v, start %v became %+v", rate, end, start, fit)
		}
		if !near(float64(fit.To99), math.Log(100)/rate, 1e-5) || math.Abs(fit.AtFiveMinutes-(start-end)*math.Exp(-5*rate)) > 1e-4*end {
			t.Errorf("to 99 %%: %v min, at 5 min: %v ppb", fit.To99, fit.AtFiveMinutes)
		}
	})
}

// The stated standard errors are the scatter of many fits of the same study.
func TestShakeFitErrors(t *testing.T) {
	minutes := []quantity.Minutes{0, 0.5, 1, 2, 3, 4, 5, 8, 8}
	r := rand.New(rand.NewPCG(7, 7))
	var sum, square, stated, statedRate, sumRate, squareRate float64
	const n = 400
	for range n {
		fit, err := oxygen.FitShake(minutes, approach(80, 50, 0.8, minutes, func() float64 { return 0.8 * r.NormFloat64() }))
		if err != nil {
			t.Fatal(err)
		}
		sum, square = sum+float64(fit.Equilibrium), square+float64(fit.Equilibrium)*float64(fit.Equilibrium)
		sumRate, squareRate = sumRate+fit.Rate, squareRate+fit.Rate*fit.Rate
		stated += fit.EquilibriumU * fit.EquilibriumU / n
		statedRate += fit.RateU * fit.RateU / n
	}
	sd, sdRate := math.Sqrt(square/n-sum/n*sum/n), math.Sqrt(squareRate/n-sumRate/n*sumRate/n)
	if !(math.Abs(sum/n-50) < 0.1 && math.Abs(sd/math.Sqrt(stated)-1) < 0.12 && math.Abs(sdRate/math.Sqrt(statedRate)-1) < 0.15) {
		t.Errorf("equilibrium %v ± %v, stated %v; rate ± %v, stated %v", sum/n, sd, math.Sqrt(stated), sdRate, math.Sqrt(statedRate))
	}
}

// Least squares by an independent search: no neighbour of the fit, in any of
// its three parameters, has a smaller sum of squares.
func TestShakeFitIsTheLeast(t *testing.T) {
	minutes := []quantity.Minutes{1, 2, 3, 5, 8}
	read := []quantity.ShakenDO{71, 62.5, 57.2, 53.1, 51.2}
	fit, err := oxygen.FitShake(minutes, read)
	if err != nil {
		t.Fatal(err)
	}
	squares := func(start, end, rate float64) (sum float64) {
		for i, want := range approach(start, end, rate, minutes, none) {
			sum += float64((read[i] - want) * (read[i] - want))
		}
		return sum
	}
	least := squares(float64(fit.Initial), float64(fit.Equilibrium), fit.Rate)
	if !near(fit.ResidualSD, math.Sqrt(least/2), 1e-9) {
		t.Errorf("residual SD %v, from the squares %v", fit.ResidualSD, math.Sqrt(least/2))
	}
	for _, s := range []float64{-1, 1} {
		for _, other := range []float64{
			squares(float64(fit.Initial)+s*0.05, float64(fit.Equilibrium), fit.Rate),
			squares(float64(fit.Initial), float64(fit.Equilibrium)+s*0.02, fit.Rate),
			squares(float64(fit.Initial), float64(fit.Equilibrium), fit.Rate+s*0.002),
		} {
			if other <= least {
				t.Errorf("a neighbour of %+v is better: %v against %v", fit, other, least)
			}
		}
	}
}

func TestShakeFitOdd(t *testing.T) {
	three := []quantity.Minutes{1, 3, 8}
	fit, err := oxygen.FitShake(three, approach(80, 50, 0.7, three, none))
	if err != nil || !near(float64(fit.Equilibrium), 50, 1e-4) || !math.IsNaN(fit.ResidualSD) || !math.IsNaN(fit.EquilibriumU) {
		t.Errorf("three points: %+v, %v", fit, err)
	}
	for _, c := range []struct {
		minutes []quantity.Minutes
		read    []quantity.ShakenDO
	}{{nil, nil}, {[]quantity.Minutes{1, 2}, []quantity.ShakenDO{5, 6}}, {[]quantity.Minutes{1, 1, 2}, []quantity.ShakenDO{5, 6, 7}}, {three, []quantity.ShakenDO{5, 6}}} {
		_, err := oxygen.FitShake(c.minutes, c.read)
		var e *quantity.Error
		if !errors.As(err, &e) || e.Field != "minutes" || e.Mend == "" {
			t.Errorf("%v: %v", c.minutes, err)
		}
	}
}

// Uptake run forwards and back is nothing, and its uncertainty is that of
// closed = later · e^(rate · h) to first order.
func TestBeforeDelay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		closed := rapid.Float64Range(10, 1000).Draw(t, "closed")
		rate, hours := rapid.Float64Range(0, 0.5).Draw(t, "rate"), rapid.Float64Range(0, 6).Draw(t, "hours")
		later := closed * math.Exp(-rate*hours)
		got, u := oxygen.BeforeDelay(quantity.TPO(later), 3, quantity.Minutes(60*hours), rate, 0.02)
		if !near(float64(got), closed, 1e-12) {
			t.Errorf("%v became %v", closed, float64(got))
		}
		d := 1e-6
		byLater := (later + d) * math.Exp(rate*hours)
		byRate := later * math.Exp((rate+d)*hours)
		want := math.Hypot((byLater-closed)/d*3, (byRate-closed)/d*0.02)
		if !near(u, want, 1e-4) {
			t.Errorf("u %v, want %v", u, want)
		}
	})
	if got, u := oxygen.BeforeDelay(100, 4, 0, 0.3, 0.1); got != 100 || u != 4 {
		t.Errorf("no delay: %v ± %v", float64(got), u)
	}
}
