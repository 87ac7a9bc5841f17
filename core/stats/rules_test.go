package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func repeat(n int, pattern ...float64) []float64 {
	var out []float64
	for i := range n {
		out = append(out, pattern[i%len(pattern)])
	}
	return out
}

func rising(n int, step float64) []float64 {
	var out []float64
	for i := range n {
		out = append(out, -1.4+step*float64(i))
	}
	return out
}

// TestRuleJustFires has for each rule a sequence that completes it on its last
// point, and one that just does not.
func TestRuleJustFires(t *testing.T) {
	cases := []struct {
		rule      RunRule
		fires     []float64
		fallShort []float64
	}{
		{RunRule{BeyondLimits, 1}, []float64{0.1, 3.0001}, []float64{0.1, 3, -3}},
		{RunRule{BeyondLimits, 1}, []float64{0.1, -3.0001}, []float64{0.1, -3}},
		{RunRule{OneSide, 8}, repeat(8, 0.2, 0.9), repeat(7, 0.2, 0.9)},
		{RunRule{OneSide, 9}, repeat(9, -0.2, -0.9), append(repeat(8, -0.2, -0.9), 0)},
		{RunRule{SteadyTrend, 6}, rising(6, 0.4), rising(5, 0.4)},
		{RunRule{SteadyTrend, 6}, rising(6, -0.125), append(rising(5, -0.125), -1.9)},
		{RunRule{Alternating, 14}, repeat(14, 0.3, -0.2), repeat(13, 0.3, -0.2)},
		{RunRule{TwoOfThreeFar, 3}, []float64{2.1, 0, 2.1}, []float64{2.1, 0, 0, 2.1}},
		{RunRule{TwoOfThreeFar, 3}, []float64{-2.1, -2.1}, []float64{-2.1, -2}},
		{RunRule{FourOfFiveOff, 5}, []float64{1.1, 1.1, 0, 1.1, 1.1}, []float64{1.1, 1.1, 0, 0, 1.1, 1.1}},
		{RunRule{FourOfFiveOff, 5}, []float64{-1.1, -1.1, -1.1, 2, -1.1}, []float64{-1.1, -1.1, -1.1, 2, -1}},
		{RunRule{HugsCentre, 15}, repeat(15, 0.9, -0.9, 0), append(repeat(14, 0.9, -0.9, 0), 1)},
		{RunRule{AvoidsCentre, 8}, repeat(8, 1.1, -1.1), repeat(7, 1.1, -1.1)},
		{RunRule{AvoidsCentre, 8}, append(repeat(7, 1.1), -1.1), repeat(8, 1.1)},
	}
	for i, c := range cases {
		t.Run(fmt.Sprint(i, c.rule.Rule), func(t *testing.T) {
			got, err := FindSignals(c.fires, []RunRule{c.rule})
			if err != nil || len(got) != 1 || got[0].Index != len(c.fires)-1 {
				t.Errorf("should fire on the last point alone: %v %v", got, err)
			}
			if got, _ := FindSignals(c.fallShort, []RunRule{c.rule}); len(got) != 0 {
				t.Errorf("should not fire: %v", got)
			}
			gap := slices.Clone(c.fires)
			if len(gap) > 2 {
				gap[len(gap)-2] = math.NaN()
				got, _ := FindSignals(gap, []RunRule{c.rule})
				if c.rule.Rule != BeyondLimits && len(got) != 0 {
					t.Errorf("a missing point should end the pattern: %v", got)
				}
			}
		})
	}
}

func TestRuleRefused(t *testing.T) {
	for _, r := range []RunRule{{"luck", 3}, {OneSide, 0}} {
		if _, err := FindSignals([]float64{1}, []RunRule{r}); err == nil {
			t.Errorf("%v accepted", r)
		}
	}
	for _, r := range Nelson() {
		if r.Rule.Meaning() == "" {
			t.Errorf("%s has no meaning", r.Rule)
		}
	}
}

// TestRulesRunLength simulates the run length of the Western Electric rules in
// control: 91.75 for all four, 152.73 for rule 1 with the run of eight, 225.44
// with two of three, 166.05 with four of five (Champ and Woodall 1987,
// Technometrics 29:393).
func TestRulesRunLength(t *testing.T) {
	for _, c := range []struct {
		rules []RunRule
		want  float64
		runs  int
	}{
		{WesternElectric(), 91.75, 6000},
		{[]RunRule{{BeyondLimits, 1}, {OneSide, 8}}, 152.73, 3000},
		{[]RunRule{{BeyondLimits, 1}, {TwoOfThreeFar, 3}}, 225.44, 3000},
		{[]RunRule{{BeyondLimits, 1}, {FourOfFiveOff, 5}}, 166.05, 3000},
	} {
		rng := rand.New(rand.NewPCG(17, 4))
		lengths := make([]float64, c.runs)
		for i := range lengths {
			var z []float64
			for lengths[i] == 0 {
				for range 100 {
					z = append(z, rng.NormFloat64())
				}
				if s, _ := FindSignals(z, c.rules); len(s) > 0 {
					lengths[i] = float64(s[0].Index + 1)
				}
			}
		}
		m, sd := meanSDOf(lengths)
		if se := sd / math.Sqrt(float64(c.runs)); math.Abs(m-c.want) > 3*se {
			t.Errorf("%v: run length %.2f ± %.2f, want %.2f", c.rules, m, se, c.want)
		}
	}
}

// TestRulesMirror: turning the chart upside down keeps the signals and turns
// their sides.
func TestRulesMirror(t *testing.T) {
	turned := map[string]string{"above": "below", "below": "above", "rising": "falling", "falling": "rising", "": ""}
	rapid.Check(t, func(t *rapid.T) {
		z := rapid.SliceOfN(rapid.Float64Range(-4, 4), 0, 60).Draw(t, "z")
		mirror := make([]float64, len(z))
		for i, v := range z {
			mirror[i] = -v
		}
		a, _ := FindSignals(z, Nelson())
		b, _ := FindSignals(mirror, Nelson())
		if len(a) != len(b) {
			t.Fatalf("%d signals, mirrored %d", len(a), len(b))
		}
		for i := range a {
			if a[i].Rule != b[i].Rule || a[i].Index != b[i].Index || turned[a[i].Side] != b[i].Side {
				t.Fatalf("%v mirrored %v", a[i], b[i])
			}
		}
	})
}
