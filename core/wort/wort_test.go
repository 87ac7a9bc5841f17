package wort_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ullage/core/wort"
)

// brews falls by so many points a brew from a level, cleaned every so many.
func brews(n, every int, level, slope, noise float64, r *rand.Rand, marked bool) (list []wort.BrewEfficiency) {
	for i := range n {
		k := i % every
		list = append(list, wort.BrewEfficiency{ID: strconv.Itoa(i + 1), Efficiency: level + slope*float64(k) + noise*r.NormFloat64(), Cleaned: k == 0 && marked})
	}
	return list
}

// A stone that fouls by 1.5 points a brew is found in 40 brews, with its
// interval, and the proposal is what the next brew will have.
func TestFoulingFound(t *testing.T) {
	r := rand.New(rand.NewPCG(52, 1))
	covered, near := 0, 0
	for range 200 {
		trend := wort.TrendOf(brews(40, 14, 0.68, -0.015, 0.025, r, true), false)
		if !trend.Fouling {
			t.Fatalf("not found: %s", trend.Sentence)
		}
		if *trend.SlopeLow <= -1.5 && -1.5 <= *trend.SlopeHigh {
			covered++
		}
		want := 0.68 - 0.015*float64(40%14)
		if trend.NextLow <= want && want <= trend.NextHigh && math.Abs(trend.Next-want) < 0.02 {
			near++
		}
		if trend.Since != 40%14 || trend.Jump != "" {
			t.Fatalf("%+v", trend)
		}
	}
	t.Logf("slope in its interval %d of 200, proposal within 2 points %d", covered, near)
	if covered < 180 || near < 190 {
		t.Errorf("slope in its interval %d of 200, proposal within 2 points %d", covered, near)
	}
}

// Noise alone is called fouling in one of 40 at most by half of its interval.
func TestNoFouling(t *testing.T) {
	r := rand.New(rand.NewPCG(52, 2))
	said, jumps := 0, 0
	for range 1000 {
		trend := wort.TrendOf(brews(20, 20, 0.6, 0, 0.03, r, true), false)
		if trend.Fouling {
			said++
		}
		if trend.Jump != "" {
			jumps++
		}
	}
	t.Logf("fouling said %d, jumps %d of 1000", said, jumps)
	if said > 40 || jumps > 20 {
		t.Errorf("fouling said %d, jumps %d of 1000", said, jumps)
	}
}

// A cleaning that nobody marked shows as a jump.
func TestUnmarkedCleaning(t *testing.T) {
	r := rand.New(rand.NewPCG(52, 3))
	trend := wort.TrendOf(brews(24, 12, 0.70, -0.015, 0.015, r, false), false)
	if trend.Jump != "13" || !strings.Contains(trend.Sentence, "mark the cleaning") {
		t.Errorf("%+v", trend)
	}
}

// Nothing known gives common practice; one brew moves it, many make it theirs.
func TestShrinkage(t *testing.T) {
	none := wort.TrendOf(nil, false)
	if none.Next != 0.55 || !strings.Contains(none.Sentence, "no past brew") {
		t.Errorf("%+v", none)
	}
	last := 0.55
	for _, n := range []int{1, 3, 10, 40} {
		list := make([]wort.BrewEfficiency, n)
		for i := range list {
			list[i] = wort.BrewEfficiency{ID: strconv.Itoa(i), Efficiency: 0.80 + 0.01*float64(i%2)}
		}
		got := wort.TrendOf(list, true)
		if got.Next < last-0.01 || got.Next > 0.82 || got.NextLow > got.Next || got.NextHigh < got.Next {
			t.Errorf("%d brews: %+v", n, got)
		}
		last = got.Next
	}
	if last < 0.79 {
		t.Errorf("forty brews near 0.805 propose %v", last)
	}
}

func TestFloatMeter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gases := []string{"air", "oxygen", "co2"}
		a, b := rapid.SampledFrom(gases).Draw(t, "scale"), rapid.SampledFrom(gases).Draw(t, "gas")
		q, bar, temperature := rapid.Float64Range(0, 100).Draw(t, "flow"), rapid.Float64Range(-0.5, 10).Draw(t, "bar"), rapid.Float64Range(-10, 50).Draw(t, "°C")
		if back := wort.FloatFlow(wort.FloatReading(q, a, b, bar, temperature), a, b, bar, temperature); math.Abs(back-q) > 1e-12*(1+q) {
			t.Fatalf("%v comes back as %v", q, back)
		}
	})
	if f := wort.FloatFlow(1, "air", "oxygen", 0, 20); math.Abs(f-0.9514) > 1e-4 {
		t.Errorf("oxygen through a meter for air: %v", f)
	}
	if wort.FloatFlow(1, "steam", "air", 0, 20) != 0 || wort.FloatReading(1, "air", "steam", 0, 20) != 0 {
		t.Error("a gas that is not known gives a flow")
	}
}

func TestTargets(t *testing.T) {
	for _, c := range []struct {
		pitch     wort.Pitch
		low, high float64
		proposed  float64
		second    bool
		says      string
	}{
		{wort.Pitch{Plato: 12, Style: "ale"}, 8, 10, 9, false, "ale of 12 °P"},
		{wort.Pitch{Plato: 12, Style: "lager"}, 8, 12, 10, false, "lager of 12 °P"},
		{wort.Pitch{Plato: 15, Style: "ale"}, 10, 14, 12, false, "air does not reach it"},
		{wort.Pitch{Plato: 18, Style: "ale"}, 12, 18, 15, true, "second dose"},
		{wort.Pitch{Plato: 18, Style: "ale", Generation: 10}, 12, 18, 18, true, "upper end"},
		{wort.Pitch{Plato: 12, Style: "ale", Source: "dry", Generation: 1}, 0, 6, 4, false, "sterol"},
		{wort.Pitch{Plato: 18, Style: "ale", Source: "dry", Generation: 1}, 12, 18, 15, true, "second dose"},
		{wort.Pitch{Plato: 12, Style: "ale", Source: "dry", Generation: 2}, 8, 10, 9, false, "ale"},
		{wort.Pitch{Plato: 12, Style: "ale", Source: "propagated"}, 4, 7, 5.5, false, "50 to 70 %"},
		{wort.Pitch{Plato: 12, Style: "ale", MillionML: 30}, 8, 10, 9, false, "do not make up with gas"},
	} {
		got, ok := wort.TargetFor(c.pitch, nil)
		if !ok || math.Abs(got.Low-c.low) > 1e-9 || math.Abs(got.High-c.high) > 1e-9 || math.Abs(got.Proposed-c.proposed) > 1e-9 || got.SecondDose != c.second || !strings.Contains(strings.Join(got.Reasons, "; "), c.says) {
			t.Errorf("%+v: %+v", c.pitch, got)
		}
	}
	own := []wort.TargetRule{{From: 0, Below: 30, Low: 6, High: 7, Source: "our trials"}}
	if got, ok := wort.TargetFor(wort.Pitch{Plato: 12, Style: "ale"}, own); !ok || got.Low != 6 || got.Source != "our trials" {
		t.Errorf("own rule: %+v", got)
	}
	if _, ok := wort.TargetFor(wort.Pitch{Plato: 40, Style: "ale"}, own); ok {
		t.Error("a gravity without a rule has a target")
	}
}
