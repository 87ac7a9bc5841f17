package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestGroupPower simulates the power of ANOM, and asks that the count found is
// the smallest.
func TestGroupPower(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 12))
	const runs, k, n, shift = 1500, 6, 4, 2.0
	want, err := GroupPower(k, n, shift, 0.05)
	if err != nil {
		t.Fatal(err)
	}
	h, err := ANOMCritical(0.05, k, k*(n-1))
	if err != nil {
		t.Fatal(err)
	}
	hits := 0
	for range runs {
		var groups [][]float64
		for i := range k {
			mean := 0.0
			if i == 3 {
				mean = shift
			}
			groups = append(groups, normals(rng, n, mean, 1))
		}
		g, err := summarizeGroups(groups)
		if err != nil {
			t.Fatal(err)
		}
		se := math.Sqrt(g.within / (g.total - g.k) * (g.k - 1) / g.total)
		if math.Abs(g.mean[3]-g.grand) > h*se {
			hits++
		}
	}
	holds(t, "power", hits, runs, want, 0)
	for _, shift := range []float64{0.8, 1.5, 3, 6} {
		m, err := GroupCount(k, shift, 0.05, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		if p, _ := GroupPower(k, m, shift, 0.05); p < 0.9 {
			t.Errorf("shift %v: %d give %v", shift, m, p)
		}
		if m > 2 {
			if p, _ := GroupPower(k, m-1, shift, 0.05); p >= 0.9 {
				t.Errorf("shift %v: %d are enough", shift, m-1)
			}
		}
	}
	if _, err := GroupCount(k, 0.01, 0.05, 0.9); err == nil {
		t.Error("a hopeless shift is accepted")
	}
	if p, _ := GroupPower(k, n, 0, 0.05); p > 0.05 || p < 0.05/k {
		t.Errorf("no shift: one group is named with %v", p)
	}
}

// TestNeighbours: a trace whose values resemble each other is told apart from
// independent ones.
func TestNeighbours(t *testing.T) {
	x := noise(9, 100)
	c, err := Individuals(x, ChartOptions{})
	if err != nil || c.Caution != "" || math.Abs(c.Lag1) > 0.25 {
		t.Errorf("independent: %v %q %v", c.Lag1, c.Caution, err)
	}
	for i := 1; i < len(x); i++ {
		x[i] += 0.8 * x[i-1]
	}
	c, err = Individuals(x, ChartOptions{})
	if err != nil || c.Caution == "" || math.Abs(c.Lag1-0.8) > 0.2 {
		t.Errorf("dependent: %v %q %v", c.Lag1, c.Caution, err)
	}
}
