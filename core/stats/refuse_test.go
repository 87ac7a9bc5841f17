package stats

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// TestRefusals: each names the field, shows the value, and says the mend.
func TestRefusals(t *testing.T) {
	one, zero, big := 1.0, 0.0, 200.0
	ok := []float64{1, 2, 3, 4, 5}
	floor := func(below, above int) (r []Reading) {
		for i := range below + above {
			r = append(r, Reading{float64(i + 1), i < below})
		}
		return r
	}
	cases := []struct {
		what, field, value, part string
		f                        func() error
	}{
		{"NaN", "x[1]", "NaN", "not a usable number", func() error { _, err := Individuals([]float64{1, math.NaN()}, ChartOptions{}); return err }},
		{"one value", "x", "1", "at least 2", func() error { _, err := Individuals([]float64{1}, ChartOptions{}); return err }},
		{"no spread", "x", "7", "all values are equal", func() error { _, err := Individuals([]float64{7, 7, 7}, ChartOptions{}); return err }},
		{"log sigma", "sigma", "200", "logarithms", func() error {
			_, err := Individuals(ok, ChartOptions{Nature: Positive, Sigma: &big})
			return err
		}},
		{"bad subgroup", "groups[1][0]", "+Inf", "not a usable number", func() error {
			_, err := RangeChart([][]float64{{1, 2}, {math.Inf(1), 2}}, ChartOptions{})
			return err
		}},
		{"lone subgroup value", "groups[1]", "1", "at least 2", func() error {
			_, err := SDChart([][]float64{{1, 2}, {1}}, ChartOptions{})
			return err
		}},
		{"constants", "n", "1", "2 to 1000", func() error { _, err := ChartConstants(1); return err }},
		{"lambda", "lambda", "1.2", "at most 1", func() error { _, err := EWMA(ok, EWMAOptions{Lambda: 1.2, Width: 3}); return err }},
		{"decision", "decision", "0", "4 or 5", func() error { _, err := CUSUM(ok, CUSUMOptions{Reference: 0.5}); return err }},
		{"no limit", "limits", "", "give an upper or a lower", func() error { _, err := Capability(ok, Limits{}, CapabilityOptions{Level: 0.95}); return err }},
		{"limits turned", "limits.lower", "1", "exchange", func() error {
			_, err := Capability(ok, Limits{&one, &zero}, CapabilityOptions{Level: 0.95})
			return err
		}},
		{"limit of 0", "limits", "0", "cannot fall below", func() error {
			_, err := Capability(ok, Limits{Lower: &zero}, CapabilityOptions{Nature: Positive, Level: 0.95})
			return err
		}},
		{"level", "level", "95", "between", func() error { _, err := Mean(ok, Symmetric, 95); return err }},
		{"bad not worse", "bad", "0.01", "worse", func() error { _, err := FindPlan(Risks{0.05, 0.05, 0.01, 0.1}, false); return err }},
		{"plan size", "x", "5", "asks for 8 values", func() error { _, err := Plan{8, 1.5, false}.Judge(ok, Symmetric, 9, true); return err }},
		{"no repeat", "groups", "2", "at least 3", func() error { _, err := OneWay([][]float64{{1}, {2}}, 0.95); return err }},
		{"tail count", "limit", "4", "a third", func() error { _, err := Outliers(ok, Symmetric, 0.05, 4); return err }},
		{"all below", "x", "9 of 10", "share below", func() error { _, err := Censored(floor(9, 1), "", 0.95); return err }},
		{"reading of 0", "x[0]", "0", "mark the reading", func() error { _, err := Censored([]Reading{{0, false}, {1, false}, {2, false}}, "", 0.95); return err }},
		{"method", "method", "half", "leave it out", func() error { _, err := Censored(floor(2, 5), "half", 0.95); return err }},
		{"pairs", "b", "4", "a reading missing", func() error { _, err := Agreement(ok, ok[:4], Symmetric, 0.95, 0.95); return err }},
		{"no difference", "a − b", "0", "all values are equal", func() error { _, err := Agreement(ok, ok, Symmetric, 0.95, 0.95); return err }},
		{"margins", "low", "2", "low to high", func() error { _, err := Equivalence(ok, []float64{1, 2, 3, 4, 6}, Symmetric, 2, 1, 0.05); return err }},
		{"gauge hole", "readings", "part b, operator x: 3", "complete the table", func() error {
			var r []GaugeReading
			for i, v := range []float64{1, 2, 3, 4, 5, 6, 7, 8} {
				r = append(r, GaugeReading{[]string{"a", "a", "a", "a", "b", "b", "b", "b"}[i], []string{"x", "x", "y", "y", "x", "x", "x", "y"}[i], v})
			}
			_, err := Gauge(r, 0.25)
			return err
		}},
	}
	for _, c := range cases {
		t.Run(c.what, func(t *testing.T) {
			var e *Error
			if err := c.f(); !errors.As(err, &e) {
				t.Fatalf("got %v, want an Error", err)
			}
			if e.Field != c.field || e.Value != c.value || e.Mend == "" || !strings.Contains(e.Error(), c.part) {
				t.Errorf("field %q value %q: %v", e.Field, e.Value, e)
			}
		})
	}
}

// TestScaleIsStatedNotGuessed: the same data take the scale their nature says,
// and a value without a logarithm falls back with the reason.
func TestScaleIsStatedNotGuessed(t *testing.T) {
	x := []float64{20, 35, 28, 90, 31}
	if c := ChooseScale(x, Symmetric); c.Scale != Linear {
		t.Error(c)
	}
	if c := ChooseScale(x, ""); c.Scale != Linear {
		t.Error(c)
	}
	if c := ChooseScale(x, Positive); c.Scale != Log || c.Reason == "" {
		t.Error(c)
	}
	if c := ChooseScale([]float64{20, 0, 3}, Positive); c.Scale != Linear || !strings.Contains(c.Reason, "value 2 is 0") {
		t.Error(c)
	}
	c, err := Individuals(x, ChartOptions{Nature: Positive})
	if err != nil || c.Points[0].Lower <= 0 || c.Points[0].Upper*c.Points[0].Lower/c.Center/c.Center-1 > 1e-12 {
		t.Errorf("limits on the log scale lie a factor either way: %+v %v", c, err)
	}
}

// TestKnownStandards: a known centre and σ judge even a single value, and bad
// values do not move limits that are known.
func TestKnownStandards(t *testing.T) {
	center, sigma := 50.0, 2.0
	c, err := Individuals([]float64{50, 57, 500}, ChartOptions{Center: &center, Sigma: &sigma})
	if err != nil || len(c.Signals) != 2 || c.Points[0].Upper != 56 || c.Signals[0].Index != 1 {
		t.Errorf("%+v %v", c, err)
	}
	e, err := EWMA([]float64{60}, EWMAOptions{Lambda: 0.5, Width: 3, Target: &center, Sigma: &sigma})
	if err != nil || len(e.Points) != 1 || len(e.Signals) != 1 {
		t.Errorf("%+v %v", e, err)
	}
}

// TestUnequalSubgroups: limits are wider where fewer values were averaged, and a
// table of equal subgroups gives the textbook σ.
func TestUnequalSubgroups(t *testing.T) {
	groups := [][]float64{{5, 6, 7, 8}, {5, 7}, {6, 8, 5}, {4, 7, 6, 6, 5}}
	for name, chart := range map[string]func([][]float64, ChartOptions) (Chart, error){"range": RangeChart, "sd": SDChart} {
		c, err := chart(groups, ChartOptions{})
		if err != nil {
			t.Fatal(name, err)
		}
		for i, p := range c.Points {
			want := 6 * c.Sigma / math.Sqrt(float64(len(groups[i])))
			if math.Abs(p.Upper-p.Lower-want) > 1e-12 {
				t.Errorf("%s: point %d is %v wide, want %v", name, i, p.Upper-p.Lower, want)
			}
		}
	}
}

// TestUnequalWeights works σ of unequal subgroups by hand: each range over its
// d2, weighted by d2²/d3².
func TestUnequalWeights(t *testing.T) {
	// d2, d3: 1.128379, 0.852502 for 2; 2.058751, 0.879808 for 4.
	h2, h4 := math.Pow(1.128379/0.852502, 2), math.Pow(2.058751/0.879808, 2)
	want := (h2*2/1.128379 + h4*3/2.058751) / (h2 + h4)
	c, err := RangeChart([][]float64{{5, 7}, {5, 6, 7, 8}}, ChartOptions{})
	if err != nil || math.Abs(c.Sigma-want) > 1e-5 {
		t.Errorf("σ %v, want %v; %v", c.Sigma, want, err)
	}
}

// TestFaultDoesNotWiden: the median moving range keeps limits where a fault of
// three points would widen the usual ones.
func TestFaultDoesNotWiden(t *testing.T) {
	x := noise(4, 60)
	x[20] += 30
	x[40] -= 30
	plain, err1 := Individuals(x, ChartOptions{})
	robust, err2 := Individuals(x, ChartOptions{Robust: true})
	if err1 != nil || err2 != nil || robust.Sigma > 1.4 || plain.Sigma < 1.6 || len(robust.Signals) < 2 {
		t.Errorf("σ %v, robust %v; %v %v", plain.Sigma, robust.Sigma, err1, err2)
	}
}
