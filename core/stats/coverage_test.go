package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

// holds fails when hits of runs is not the share wanted, within 3.5 standard
// errors of the simulation and the slack of an approximate method.
func holds(t *testing.T, what string, hits, runs int, want, slack float64) {
	t.Helper()
	got := float64(hits) / float64(runs)
	t.Logf("%s: %.4f of %d runs, want %.3f", what, got, runs, want)
	if allowed := slack + 3.5*math.Sqrt(want*(1-want)/float64(runs)); math.Abs(got-want) > allowed {
		t.Errorf("%s: %.4f of %d runs, want %.4f ± %.4f", what, got, runs, want, allowed)
	}
}

func normals(rng *rand.Rand, n int, mean, sd float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = mean + sd*rng.NormFloat64()
	}
	return x
}

func exps(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = math.Exp(v)
	}
	return out
}

func within(in Interval, truth float64) bool { return in.Low <= truth && truth <= in.High }

// TestIntervalsCover simulates each interval where the truth is known.
func TestIntervalsCover(t *testing.T) {
	const runs = 2000
	rng := rand.New(rand.NewPCG(2026, 11))
	hits := map[string]int{}
	note := func(what string, hit bool) {
		if hit {
			hits[what]++
		}
	}
	limit := math.Exp(1.0)
	for range runs {
		logs := normals(rng, 12, 0, 0.35)
		x := exps(logs)
		m, err1 := Mean(x, Positive, 0.95)
		plain, err2 := Mean(logs, Symmetric, 0.95)
		c, err3 := Capability(x, Limits{Upper: &limit}, CapabilityOptions{Nature: Positive, Level: 0.95})
		tol, err4 := Tolerance(x, Positive, 0.95, 0.9)
		agree, err5 := Agreement(logs, normals(rng, 12, 1, 0.5), Symmetric, 0.95, 0.95)
		for _, err := range []error{err1, err2, err3, err4, err5} {
			if err != nil {
				t.Fatal(err)
			}
		}
		truth := math.Exp(0.35 * 0.35 / 2)
		note("lognormal mean", within(m.Interval, truth))
		note("lognormal upper bound", m.UpperBound >= truth)
		note("geometric mean", within(m.CentreInterval, 1))
		note("normal mean", within(plain.Interval, 0))
		note("index, exact", within(c.Upper.Performance.Interval, 1/(3*0.35)))
		note("index, lower bound", c.Upper.Performance.LowerBound <= 1/(3*0.35))
		note("index, percentile", within(c.Upper.Percentile.Interval, math.Expm1(1)/math.Expm1(3*0.35)))
		note("share outside", within(c.Upper.OutsideInterval, NormalCDF(-1/0.35)))
		note("tolerance", tol.Upper >= math.Exp(0.35*NormalQuantile(0.95)))
		spread := math.Hypot(0.35, 0.5)
		note("agreement limit, exact", within(agree.Upper.Interval, -1+NormalQuantile(0.975)*spread))
	}
	holds(t, "lognormal mean", hits["lognormal mean"], runs, 0.95, 0.012)
	holds(t, "lognormal upper bound", hits["lognormal upper bound"], runs, 0.95, 0.012)
	holds(t, "geometric mean", hits["geometric mean"], runs, 0.95, 0)
	holds(t, "normal mean", hits["normal mean"], runs, 0.95, 0)
	holds(t, "index, exact", hits["index, exact"], runs, 0.95, 0)
	holds(t, "index, lower bound", hits["index, lower bound"], runs, 0.95, 0)
	holds(t, "index, percentile", hits["index, percentile"], runs, 0.95, 0.015)
	holds(t, "share outside", hits["share outside"], runs, 0.95, 0)
	holds(t, "tolerance", hits["tolerance"], runs, 0.90, 0)
	holds(t, "agreement limit, exact", hits["agreement limit, exact"], runs, 0.95, 0)
}

// TestANOMFalseAlarms: with all groups equal, some group is named in 5 % of
// tables when sizes are equal, and in no more when they are not.
func TestANOMFalseAlarms(t *testing.T) {
	const runs = 400
	rng := rand.New(rand.NewPCG(5, 5))
	balanced, unbalanced := 0, 0
	for range runs {
		var equal, unequal [][]float64
		for i := range 6 {
			equal = append(equal, normals(rng, 4, 10, 2))
			unequal = append(unequal, normals(rng, 2+i, 10, 2))
		}
		for _, c := range []struct {
			groups [][]float64
			hits   *int
		}{{equal, &balanced}, {unequal, &unbalanced}} {
			r, err := ANOM(c.groups, Symmetric, 0.05)
			if err != nil {
				t.Fatal(err)
			}
			named := false
			for _, g := range r.Groups {
				named = named || g.Outside != ""
				if (g.Outside != "") != (g.P < 0.05) {
					t.Fatalf("decision and p differ: %+v", g)
				}
			}
			if named {
				*c.hits++
			}
		}
	}
	holds(t, "equal sizes", balanced, runs, 0.05, 0)
	holds(t, "unequal sizes", unbalanced, runs, 0.048, 0.008)
}

// TestChangePointsRates: at most 5 % of steady series show a change; a step of
// 4 standard errors or more is found; its place lies in the interval.
func TestChangePointsRates(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	const runs = 400
	for _, n := range []int{8, 12, 24, 60, 200} {
		alarms := 0
		for range runs {
			r, err := ChangePoints(exps(normals(rng, n, 4, 0.3)), ChangeOptions{Nature: Positive, Level: 0.95})
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Changes) > 0 {
				alarms++
			}
		}
		t.Logf("n = %d: %.4f of steady series show a change", n, float64(alarms)/runs)
		if share := float64(alarms) / runs; share > 0.05 {
			t.Errorf("n = %d: %.3f of steady series show a change", n, share)
		}
	}
	found, covered, sized := 0, 0, 0
	for range runs {
		x := append(normals(rng, 30, 4, 0.3), normals(rng, 30, 4.5, 0.3)...) // 6.5 standard errors
		r, err := ChangePoints(exps(x), ChangeOptions{Nature: Positive, Level: 0.95})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Changes) != 1 {
			continue
		}
		found++
		c := r.Changes[0]
		if c.Earliest <= 30 && 30 <= c.Latest {
			covered++
		}
		if within(c.Interval, math.Exp(0.5)) {
			sized++
		}
	}
	t.Logf("step of 6.5 standard errors: found %d of %d, place covered %d, size covered %d", found, runs, covered, sized)
	if found < runs*95/100 {
		t.Errorf("a step of 6.5 standard errors was found as one change in %d of %d", found, runs)
	}
	if covered < found*93/100 || sized < found*90/100 {
		t.Errorf("of %d: place covered %d, size covered %d", found, covered, sized)
	}
}

// TestComponentsCover: the exact interval of the intraclass correlation.
func TestComponentsCover(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	const runs = 1500
	hits, sd := 0, 0
	for range runs {
		var groups [][]float64
		for range 6 {
			head := rng.NormFloat64()
			groups = append(groups, normals(rng, 5, head, 1.5))
		}
		r, err := OneWay(groups, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		if within(r.ICCInterval, 1/(1+1.5*1.5)) {
			hits++
		}
		if within(r.SDWithinInterval, 1.5) {
			sd++
		}
	}
	holds(t, "intraclass correlation", hits, runs, 0.9, 0)
	holds(t, "within", sd, runs, 0.9, 0)
}

// TestFloorsUnbiased: half the readings of a lognormal lie below one floor or
// another; ROS and ML stay within a few percent of the mean, half the floor
// would not be a fair guess, and ML's bound holds.
func TestFloorsUnbiased(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 2))
	const runs = 400
	truth := math.Exp(0.8 * 0.8 / 2)
	means := map[CensoredMethod]float64{}
	covered := 0
	for range runs {
		var x []Reading
		for i, v := range exps(normals(rng, 60, 0, 0.8)) {
			floor := []float64{0.6, 1.2}[i%2]
			if v < floor {
				x = append(x, Reading{floor, true})
			} else {
				x = append(x, Reading{v, false})
			}
		}
		for _, m := range []CensoredMethod{ROS, LognormalML, KaplanMeier} {
			r, err := Censored(x, m, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			means[m] += r.Mean / runs
			if m == LognormalML && within(*r.Interval, truth) {
				covered++
			}
		}
	}
	for m, v := range means {
		if math.Abs(v/truth-1) > 0.06 {
			t.Errorf("%s: mean %.4f, truth %.4f", m, v, truth)
		}
	}
	holds(t, "ML interval", covered, runs, 0.95, 0.02)
}

func TestGrubbsFalseAlarms(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	const runs = 3000
	for _, tail := range []Tail{EitherTail, UpperTail, LowerTail} {
		hits := 0
		for range runs {
			r, err := Grubbs(normals(rng, 10, 0, 1), Symmetric, tail, 0.05)
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Flagged) != 0 {
				hits++
			}
		}
		holds(t, "Grubbs "+string(tail), hits, runs, 0.05, 0)
	}
}
