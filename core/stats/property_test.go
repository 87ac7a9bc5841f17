package stats

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// anyNumber draws what users type and what files hold, usable or not.
func anyNumber() *rapid.Generator[float64] {
	return rapid.OneOf(rapid.Float64Range(-5, 200), rapid.Float64(),
		rapid.SampledFrom([]float64{0, 1, 1, 2, 1e-300, 1e300, math.NaN(), math.Inf(1), math.Inf(-1), -1}),
		rapid.Float64Range(0.5, 1), rapid.Map(rapid.IntRange(0, 5), func(i int) float64 { return float64(i) }))
}

// TestNeverPanics sends random data, sound and unsound, through every function.
// Each answers with an *Error that names field or message, or with a result
// that has a JSON form: nothing in it is NaN or infinite.
func TestNeverPanics(t *testing.T) {
	natures := rapid.SampledFrom([]Nature{Symmetric, Positive, ""})
	rapid.Check(t, func(t *rapid.T) {
		numbers := rapid.OneOf(rapid.SliceOfN(rapid.Float64Range(0.1, 100), 0, 12), rapid.SliceOfN(anyNumber(), 0, 12))
		x, y, nature := numbers.Draw(t, "x"), numbers.Draw(t, "y"), natures.Draw(t, "nature")
		if len(y) > len(x) {
			y = y[:len(x)]
		}
		groups := rapid.SliceOfN(rapid.OneOf(rapid.SliceOfN(rapid.Float64Range(0.1, 100), 1, 5), rapid.SliceOfN(anyNumber(), 0, 5)), 0, 5).Draw(t, "groups")
		a, b, level := anyNumber().Draw(t, "a"), anyNumber().Draw(t, "b"), anyNumber().Draw(t, "level")
		n := rapid.IntRange(-2, 60).Draw(t, "n")
		var readings []Reading
		var gauge []GaugeReading
		for i, v := range x {
			readings = append(readings, Reading{v, rapid.Bool().Draw(t, "below")})
			gauge = append(gauge, GaugeReading{fmt.Sprint(i / 4), fmt.Sprint(i / 2 % 2), v})
		}
		plan := Plan{n, a, rapid.Bool().Draw(t, "known")}
		for name, f := range map[string]func() (any, error){
			"individuals":  func() (any, error) { return Individuals(x, ChartOptions{Nature: nature, Rules: Nelson()}) },
			"known":        func() (any, error) { return Individuals(x, ChartOptions{nature, &a, &b, true, WesternElectric()}) },
			"range":        func() (any, error) { return RangeChart(groups, ChartOptions{Nature: nature}) },
			"sd":           func() (any, error) { return SDChart(groups, ChartOptions{Nature: nature}) },
			"ewma":         func() (any, error) { return EWMA(x, EWMAOptions{nature, level, b, &a, nil, false}) },
			"cusum":        func() (any, error) { return CUSUM(x, CUSUMOptions{nature, nil, &b, 0.5, 5, true}) },
			"ewma length":  func() (any, error) { return EWMARunLength(level, a, b) },
			"cusum length": func() (any, error) { return CUSUMRunLength(level, a, b, n > 0) },
			"summary":      func() (any, error) { return Summarize(x) },
			"mean":         func() (any, error) { return Mean(x, nature, level) },
			"capability":   func() (any, error) { return Capability(x, Limits{nil, &a}, CapabilityOptions{nature, level, nil}) },
			"two limits": func() (any, error) {
				return Capability(x, Limits{&a, &b}, CapabilityOptions{nature, level, &Within{1, 3}})
			},
			"tolerance": func() (any, error) { return Tolerance(x, nature, level, 0.9) },
			"factor":    func() (any, error) { return ToleranceFactor(n, level, a) },
			"count":     func() (any, error) { return ToleranceCount(level, a) },
			"accept":    func() (any, error) { return plan.Accept(level) },
			"judge":     func() (any, error) { return Plan{len(x), a, false}.Judge(x, nature, b, n > 0) },
			"hit":       func() (any, error) { return HitChance(n, n) },
			"hits":      func() (any, error) { return HitCount(n, level) },
			"power":     func() (any, error) { return GroupPower(n%8, n%5, a, level) },
			"one-way":   func() (any, error) { return OneWay(groups, level) },
			"anom":      func() (any, error) { return ANOM(groups, nature, level) },
			"change":    func() (any, error) { return ChangePoints(x, ChangeOptions{nature, 0, 0, level}) },
			"trend": func() (any, error) {
				r, err := Trend(x[:len(y)], y, nature, level)
				if err != nil {
					return nil, err
				}
				_, in, err := r.Predict(a, 0.95)
				return []any{r, in}, err
			},
			"grubbs":        func() (any, error) { return Grubbs(x, nature, UpperTail, level) },
			"outliers":      func() (any, error) { return Outliers(x, nature, level, n/10) },
			"modified z":    func() (any, error) { return ModifiedZ(x, nature) },
			"floor":         func() (any, error) { return Censored(readings, "", level) },
			"ros":           func() (any, error) { return Censored(readings, ROS, level) },
			"likelihood":    func() (any, error) { return Censored(readings, LognormalML, level) },
			"agreement":     func() (any, error) { return Agreement(x[:len(y)], y, nature, 0.95, level) },
			"concordance":   func() (any, error) { return Concordance(x[:len(y)], y, level) },
			"equivalence":   func() (any, error) { return Equivalence(x[:len(y)], y, nature, a, b, level) },
			"deming":        func() (any, error) { return Deming(x[:len(y)], y, a, level) },
			"passing":       func() (any, error) { return PassingBablok(x[:len(y)], y, level) },
			"gauge":         func() (any, error) { return Gauge(gauge, level) },
			"unequal pairs": func() (any, error) { return Agreement(x, y, nature, 0.95, level) },
		} {
			got, err := f()
			if err != nil {
				var e *Error
				if !errors.As(err, &e) || e.Message == "" || e.Mend == "" {
					t.Fatalf("%s: error without its parts: %#v", name, err)
				}
				continue
			}
			if _, err := json.Marshal(got); err != nil {
				t.Fatalf("%s: %v in %+v", name, err, got)
			}
		}
	})
}

// sampleOf draws n distinct-looking positive values with a real spread.
func sampleOf(t *rapid.T, least, most int) []float64 {
	x := rapid.SliceOfN(rapid.Float64Range(1, 100), least, most).Draw(t, "x")
	slices.Sort(x)
	if x[len(x)-1]-x[0] < 0.5 {
		x[0] /= 2
	}
	return rapid.Permutation(x).Draw(t, "order")
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol*(1+math.Abs(a)+math.Abs(b)) }

// TestScaleLaws: another unit changes nothing but the unit. On the log scale a
// factor leaves all distances alone, on the linear scale a shift and a factor do.
func TestScaleLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := sampleOf(t, 4, 20)
		factor := rapid.Float64Range(0.01, 1000).Draw(t, "factor")
		y := make([]float64, len(x))
		for i := range x {
			y[i] = factor * x[i]
		}
		for _, nature := range []Nature{Symmetric, Positive} {
			a, err1 := Individuals(x, ChartOptions{Nature: nature})
			b, err2 := Individuals(y, ChartOptions{Nature: nature})
			if err1 != nil || err2 != nil {
				t.Fatal(err1, err2)
			}
			for i := range a.Points {
				if !near(a.Points[i].Z, b.Points[i].Z, 1e-7) || !near(a.Points[i].Upper*factor, b.Points[i].Upper, 1e-7) {
					t.Fatalf("%s: point %d is %+v, in the other unit %+v", nature, i, a.Points[i], b.Points[i])
				}
			}
			c, _ := Grubbs(x, nature, EitherTail, 0.05)
			d, _ := Grubbs(y, nature, EitherTail, 0.05)
			if !near(c.Tests[0].Statistic, d.Tests[0].Statistic, 1e-9) {
				t.Fatalf("Grubbs %v and %v", c.Tests[0], d.Tests[0])
			}
		}
	})
}

func TestQuantilesInvert(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(1e-6, 1-1e-6).Draw(t, "p")
		nu := float64(rapid.IntRange(1, 500).Draw(t, "nu"))
		nu2 := float64(rapid.IntRange(1, 500).Draw(t, "nu2"))
		delta := rapid.Float64Range(-30, 30).Draw(t, "delta")
		// Each tail by the function that keeps its digits.
		f := fQuantile(p, nu, nu2)
		fBack := fUpper(1/f, nu2, nu)
		if p > 0.5 {
			fBack = 1 - fUpper(f, nu, nu2)
		}
		for name, got := range map[string]float64{
			"t":            StudentTCDF(StudentTQuantile(p, nu), nu),
			"chi-squared":  chi2CDF(chi2Quantile(p, nu), nu),
			"F":            fBack,
			"normal":       NormalCDF(NormalQuantile(p)),
			"noncentral t": NoncentralTCDF(NoncentralTQuantile(p, nu, delta), nu, delta),
		} {
			if !(math.Abs(got-p) < 1e-9) {
				t.Fatalf("%s: p %v, ν %v, δ %v comes back as %v", name, p, nu, delta, got)
			}
		}
		if c := NoncentralTCDF(delta/3, nu, 0); math.Abs(c-StudentTCDF(delta/3, nu)) > 1e-10 {
			t.Fatalf("noncentral t at δ = 0 is %v", c)
		}
	})
}

// TestPlanKeepsRisks: the plan found meets both risks, one value fewer does not.
func TestPlanKeepsRisks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		good := rapid.Float64Range(0.001, 0.05).Draw(t, "good")
		r := Risks{good, rapid.Float64Range(0.01, 0.2).Draw(t, "producer"),
			good * rapid.Float64Range(3, 12).Draw(t, "ratio"), rapid.Float64Range(0.01, 0.2).Draw(t, "consumer")}
		for _, known := range []bool{false, true} {
			plan, err := FindPlan(r, known)
			if err != nil {
				t.Fatal(err)
			}
			a, _ := plan.Accept(r.Good)
			b, _ := plan.Accept(r.Bad)
			if a < 1-r.Producer-1e-9 || b > r.Consumer+1e-9 {
				t.Fatalf("%+v with %+v accepts %v of good, %v of bad", plan, r, a, b)
			}
			if plan.N > 2 {
				less := plan
				less.N--
				root := math.Sqrt(float64(less.N))
				less.K = NormalQuantile(1-r.Good) - NormalQuantile(1-r.Producer)/root
				if !known {
					less.K = NoncentralTQuantile(r.Producer, float64(less.N-1), root*NormalQuantile(1-r.Good)) / root
				}
				if b, _ := less.Accept(r.Bad); b <= r.Consumer-1e-9 {
					t.Fatalf("%+v is not the smallest: one fewer accepts %v of bad", plan, b)
				}
			}
		}
	})
}

// TestToleranceIsPlan: accepting with the tolerance factor as k accepts a lot
// with a share 1 − p beyond with probability 1 − confidence.
func TestToleranceIsPlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 200).Draw(t, "n")
		p, c := rapid.Float64Range(0.6, 0.999).Draw(t, "p"), rapid.Float64Range(0.5, 0.99).Draw(t, "c")
		k, err := ToleranceFactor(n, p, c)
		if err != nil {
			t.Fatal(err)
		}
		a, err := Plan{N: n, K: k}.Accept(1 - p)
		if err != nil || math.Abs(a-(1-c)) > 1e-8 {
			t.Fatalf("accepts %v, want %v (%v)", a, 1-c, err)
		}
	})
}

// TestANOMCriticalInverts: the critical value leaves alpha outside, whatever the
// table's size; it lies between Student's t and Bonferroni's bound.
func TestANOMCriticalInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		alpha := math.Pow(10, rapid.Float64Range(-6, -0.01).Draw(t, "log alpha"))
		k, nu := rapid.IntRange(2, 60).Draw(t, "k"), float64(rapid.IntRange(1, 300).Draw(t, "nu"))
		if alpha <= 1e-6 {
			t.Skip()
		}
		h, err := ANOMCritical(alpha, k, nu)
		if err != nil {
			t.Fatal(err)
		}
		if p := 1 - maxDeviation(h, k, nu); math.Abs(p-alpha) > 1e-6*math.Sqrt(alpha)+1e-9 {
			t.Fatalf("h = %v leaves %v, want %v", h, p, alpha)
		}
		low, high := StudentTQuantile(1-alpha/2, nu), StudentTQuantile(1-alpha/(2*float64(k)), nu)
		if h < low*(1-1e-4) || h > high*(1+1e-4) {
			t.Fatalf("h = %v outside %v to %v", h, low, high)
		}
	})
}

// TestOneWayIdentities: sums of squares add up; no other ratio of variances has
// a better REML criterion; effects shrink.
func TestOneWayIdentities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		groups := rapid.SliceOfN(rapid.SliceOfN(rapid.Float64Range(1, 100), 2, 6), 2, 6).Draw(t, "groups")
		groups[0][0] += 0.5
		r, err := OneWay(groups, 0.95)
		if err != nil {
			t.Skip(err)
		}
		_, total := meanSS(slices.Concat(groups...))
		if !near(total, r.SSBetween+r.SSWithin, 1e-9) {
			t.Fatalf("%v + %v is not %v", r.SSBetween, r.SSWithin, total)
		}
		g, _ := summarizeGroups(groups)
		for _, rho := range []float64{0, 0.01, 0.1, 0.3, 1, 3, 10, 100} {
			if c := g.profile(rho).Criterion; c < r.REML.Criterion-1e-6 {
				t.Fatalf("ρ = %v gives %v, better than %v", rho, c, r.REML.Criterion)
			}
		}
		for i, e := range r.REML.Effects {
			if math.Abs(e) > math.Abs(g.mean[i]-r.REML.Mean)+1e-9 {
				t.Fatalf("effect %d grew: %v", i, e)
			}
		}
	})
}

// TestPartitionIsOptimal compares with the plain recursion that drops nothing.
func TestPartitionIsOptimal(t *testing.T) {
	// Dropping a start as soon as it loses, before the winner may begin a
	// stretch of the least length, misses the best division of this one.
	if got, best := divisionCosts(t, []float64{1, 7, 5, 5, 5.875, 3}, 1, 2); !near(got, best, 1e-9) {
		t.Errorf("cost %v, best %v", got, best)
	}
	rapid.Check(t, func(t *rapid.T) {
		y := rapid.SliceOfN(rapid.Float64Range(-3, 3), 6, 30).Draw(t, "y")
		at := rapid.IntRange(0, len(y)).Draw(t, "at")
		for i := at; i < len(y); i++ {
			y[i] += 4
		}
		got, best := divisionCosts(t, y, rapid.Float64Range(1, 12).Draw(t, "penalty"), rapid.IntRange(1, 4).Draw(t, "least"))
		if !near(got, best, 1e-9) {
			t.Fatalf("cost %v, best %v", got, best)
		}
	})
}

// divisionCosts is the cost of the division found and of the best there is.
func divisionCosts(t interface{ Fatalf(string, ...any) }, y []float64, penalty float64, least int) (got, best float64) {
	cost := make([]float64, len(y)+1)
	cost[0] = -penalty
	for b := 1; b <= len(y); b++ {
		cost[b] = math.Inf(1)
		for a := 0; a+least <= b; a++ {
			_, ss := meanSS(y[a:b])
			cost[b] = math.Min(cost[b], cost[a]+ss+penalty)
		}
	}
	got = -penalty
	from := 0
	for _, end := range append(partition(y, 1, penalty, least), len(y)) {
		if end-from < least {
			t.Fatalf("stretch %d to %d is too short", from, end)
		}
		_, ss := meanSS(y[from:end])
		got += ss + penalty
		from = end
	}
	return got, cost[len(y)]
}

// TestFloorsOff: without a reading below the floor every method gives what the
// values themselves give.
func TestFloorsOff(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := sampleOf(t, 4, 20)
		var r []Reading
		logs := make([]float64, len(x))
		for i, v := range x {
			r = append(r, Reading{Value: v})
			logs[i] = math.Log(v)
		}
		m, ss := meanSS(x)
		ml, ssl := meanSS(logs)
		n := float64(len(x))
		km, err := Censored(r, "", 0.9)
		if err != nil || km.Method != KaplanMeier || !near(km.Mean, m, 1e-9) || !near(km.SD, math.Sqrt(ss/n), 1e-7) || !near(km.SE, math.Sqrt(ss/n/(n-1)), 1e-7) {
			t.Fatalf("%+v %v, want mean %v", km, err, m)
		}
		like, err := Censored(r, LognormalML, 0.9)
		if err != nil || !near(like.Mu, ml, 1e-7) || !near(like.Sigma, math.Sqrt(ssl/n), 1e-7) {
			t.Fatalf("%+v %v, want μ %v σ %v", like, err, ml, math.Sqrt(ssl/n))
		}
	})
}

// TestLinesTurn: exchanging the methods gives the inverse line.
func TestLinesTurn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := sampleOf(t, 8, 25)
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = 3 + 1.2*v + rapid.Float64Range(-1, 1).Draw(t, "noise")
		}
		ratio := rapid.Float64Range(0.1, 10).Draw(t, "ratio")
		a, err1 := Deming(x, y, ratio, 0.95)
		b, err2 := Deming(y, x, 1/ratio, 0.95)
		if err1 != nil || err2 != nil || !near(a.Slope*b.Slope, 1, 1e-6) {
			t.Fatalf("Deming %+v %v, turned %+v %v", a, err1, b, err2)
		}
		p, err := PassingBablok(x, y, 0.95)
		if err != nil {
			t.Skip(err)
		}
		if p.SlopeInterval.Low > p.Slope || p.SlopeInterval.High < p.Slope || p.InterceptInterval.Low > p.Intercept || p.InterceptInterval.High < p.Intercept {
			t.Fatalf("%+v outside its own interval", p)
		}
	})
}

// TestEWMAIsShewhart: with all weight on the newest value the chart is the one
// of individuals.
func TestEWMAIsShewhart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := sampleOf(t, 4, 30)
		c, err := Individuals(x, ChartOptions{})
		if err != nil {
			t.Skip(err)
		}
		e, err := EWMA(x, EWMAOptions{Lambda: 1, Width: 3})
		if err != nil {
			t.Fatal(err)
		}
		for i := range e.Points {
			if !near(e.Points[i].EWMA, x[i], 1e-12) || !near(e.Points[i].Upper, c.Points[i].Upper, 1e-12) {
				t.Fatalf("%+v against %+v", e.Points[i], c.Points[i])
			}
		}
	})
}
