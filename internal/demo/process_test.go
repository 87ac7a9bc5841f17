package demo

import (
	"math"
	"testing"
)

// The check run of the design (4,000 packages a case): unshaken DO and TPO, ppb,
// mean and standard deviation, and the mean shaken DO at 20 °C. All invented.
var checkRun = []struct {
	name, format                 string
	proc                         process
	unshaken, unshakenSD         float64
	total, totalSD, total95, dot float64
}{
	{"can 355, good", "can355", canGood, 43, 6.5, 110, 33, 175, 44},
	{"can 440, medium", "can440", canMedium, 60, 11, 148, 43, 230, 64},
	{"can 473, hazy", "can473", canHazy, 72, 12, 177, 51, 276, 76},
	{"can 473, poor foam", "can473", canPoorFoam, 72, 12, 395, 153, 696, 170},
	{"bottle 330, good", "bottle330", bottle330Good, 32, 4, 57, 12.5, 80, 24},
	{"bottle 355, good", "bottle355", bottle355Good, 32, 4, 57, 13, 81, 23},
	{"bottle 500, good", "bottle500", bottle500Good, 32, 4, 57, 13, 82, 26},
	{"bottle 330, jetter off", "bottle330", bottleJetterOff, 32, 4, 328, 143, 607, 136},
}

const checkN = 4000

// plain is a line whose heads and stations are all alike, as in the check run.
func plain() plant {
	return plant{fill: []float64{1}, air: []float64{1}, stations: []float64{1}, perMin: 30}
}

// Means must agree within three standard errors of two runs of this size, and
// the half unit to which the design rounds. Standard deviations of a skewed
// quantity are known to about 5 % at this size; bottles may be narrower by a
// tenth, because here they are filled to a level.
func TestGeneratorMatchesTheCheckRun(t *testing.T) {
	for _, c := range checkRun {
		g := &generator{r: stream(7, c.name), proc: c.proc, geo: geometryOf(c.format), line: plain()}
		var unshaken, total, shaken sample
		for range checkN {
			f := g.one(0, 1, 1)
			unshaken = append(unshaken, f.unshaken)
			total = append(total, f.total)
			shaken = append(shaken, g.shaken(f, 20, 0))
		}
		near := func(what string, got, want, sd float64) {
			t.Helper()
			tolerance := 3*sd*math.Sqrt(2.0/checkN) + 0.5
			if math.Abs(got-want) > tolerance {
				t.Errorf("%s: mean %s %.1f ppb, want %.1f ± %.1f", c.name, what, got, want, tolerance)
			}
		}
		near("unshaken DO", unshaken.mean(), c.unshaken, c.unshakenSD)
		near("TPO", total.mean(), c.total, c.totalSD)
		near("shaken DO", shaken.mean(), c.dot, shaken.sd())
		// The design rounds to 1 ppb here, to 0.5 in places.
		spread(t, c.name+" unshaken DO", unshaken.sd(), c.unshakenSD, 0.10)
		spread(t, c.name+" TPO", total.sd(), c.totalSD, 0.10)
		if p := total.quantile(0.95); math.Abs(p-c.total95) > 0.05*c.total95 {
			t.Errorf("%s: 95 %% of TPO below %.0f ppb, want %.0f ± 5 %%", c.name, p, c.total95)
		}
		t.Logf("%-24s unshaken %.1f ± %.1f, TPO %.1f ± %.1f (%.0f), shaken %.1f", c.name, unshaken.mean(), unshaken.sd(),
			total.mean(), total.sd(), total.quantile(0.95), shaken.mean())
	}
}

func spread(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.Abs(got/want-1) > tolerance {
		t.Errorf("SD of %s %.1f ppb, want %.1f ± %.0f %%", what, got, want, 100*tolerance)
	}
}

func TestKegs(t *testing.T) {
	g := &generator{r: stream(7, "keg"), proc: kegGood, geo: geometryOf("keg30"), line: plants(stream(7, "plants"))["K2"]}
	var a, b sample
	for range checkN {
		a = append(a, g.one(0, 1, 1).unshaken)
		b = append(b, g.one(0, 2, 2).unshaken)
	}
	if math.Abs(a.mean()-40) > 1 || math.Abs(a.sd()/8-1) > 0.1 {
		t.Errorf("lane 1: %.1f ± %.1f ppb, want 40 ± 8", a.mean(), a.sd())
	}
	if d := b.mean() - a.mean(); math.Abs(d-kegLaneB) > 1 {
		t.Errorf("lane 2 is %.1f ppb above lane 1, want %d", d, kegLaneB)
	}
}

func TestLowFillsAreRare(t *testing.T) {
	g := &generator{r: stream(7, "low"), proc: canGood, geo: geometryOf("can355"), line: plain()}
	low := 0
	const n = 50_000
	for range n {
		if g.one(0, 1, 1).beer < 355.5-6 { // 3.75 SD of an ordinary fill
			low++
		}
	}
	if want := lowFillShare * n; math.Abs(float64(low)-want) > 4*math.Sqrt(want) {
		t.Errorf("%d of %d cans are low fills, want about %.0f", low, n, want)
	}
}

func TestGlassIsLevelFilledAndHeavyGlassHoldsLess(t *testing.T) {
	g := &generator{r: stream(7, "glass"), proc: bottle330Good, geo: geometryOf("bottle330"), line: plain()}
	var weight, capacity, headspace sample
	for range checkN {
		f := g.one(0, 1, 1)
		weight, capacity, headspace = append(weight, f.tare), append(capacity, f.capacity), append(headspace, f.headspace)
	}
	r := 0.0
	for i := range weight {
		r += (weight[i] - weight.mean()) * (capacity[i] - capacity.mean())
	}
	r /= float64(checkN) * weight.sd() * capacity.sd()
	if math.Abs(r-glassCorrelation) > 0.04 {
		t.Errorf("correlation of weight and capacity %.2f, want %.1f", r, glassCorrelation)
	}
	if math.Abs(headspace.sd()-levelSD) > 0.05 {
		t.Errorf("SD of the headspace %.2f mL, want %.1f", headspace.sd(), levelSD)
	}
}
