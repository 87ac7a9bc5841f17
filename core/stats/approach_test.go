package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The certified values of NIST StRD (Misra1a, BoxBOD) stand in
// checks/studies.json; here are the shapes they do not have.

func TestApproachRecovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(46, 1))
	for range 300 {
		end, start, rate := 200*rng.Float64()+1, 200*rng.Float64(), math.Exp(3*rng.NormFloat64())
		var x, y []float64
		for _, u := range []float64{0, 0.3, 0.7, 1.2, 2, 3.5, 6} {
			x = append(x, u/rate)
			y = append(y, end+(start-end)*math.Exp(-u))
		}
		r, err := Approach(x, y, nil, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(start-end) < 1 {
			continue
		}
		if math.Abs(r.Rate/rate-1) > 1e-6 || math.Abs(r.Equilibrium-end) > 1e-6*end || math.Abs(r.Initial-start) > 1e-6*(1+start) {
			t.Errorf("found %v %v %v, want %v %v %v", r.Equilibrium, r.Initial, r.Rate, end, start, rate)
		}
		left, _ := r.Left(2 / rate)
		if want := (start - end) * math.Exp(-2); math.Abs(left-want) > 1e-6*(1+math.Abs(want)) {
			t.Errorf("left %v, want %v", left, want)
		}
	}
}

func TestApproachRefuses(t *testing.T) {
	for _, c := range []struct{ x, y []float64 }{
		{[]float64{1, 2}, []float64{1, 2}},
		{[]float64{1, 1, 1, 2}, []float64{1, 2, 3, 4}},
		{[]float64{-1, 1, 2, 3}, []float64{1, 2, 3, 4}},
		{[]float64{0, 0, 0}, []float64{1, 2, 3}},
		{[]float64{1, 2, 3}, []float64{1, math.NaN(), 3}},
	} {
		if _, err := Approach(c.x, c.y, nil, 0.95); err == nil {
			t.Errorf("%v %v was taken", c.x, c.y)
		}
	}
	r, err := Approach([]float64{1, 2, 3, 4}, []float64{5, 5, 5, 5}, nil, 0.95)
	if err != nil || r.RSS > 1e-20 {
		t.Errorf("a flat line: %+v, %v", r, err)
	}
}

// The intervals of rate, end and remainder hold the truth as often as they say.
func TestApproachCovers(t *testing.T) {
	const runs = 1500
	rng := rand.New(rand.NewPCG(46, 2))
	var x []float64
	for _, m := range []float64{0, 1, 2, 3, 5, 8} {
		x = append(x, m, m, m)
	}
	rate, end, left := 0, 0, 0
	for range runs {
		y := make([]float64, len(x))
		for i, m := range x {
			y[i] = 44 - 20*math.Exp(-0.8*m) + 1.2*rng.NormFloat64()
		}
		r, err := Approach(x, y, nil, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		_, in := r.Left(5)
		for _, c := range []struct {
			hit  *int
			in   Interval
			want float64
		}{{&rate, r.RateInterval, 0.8}, {&end, r.EquilibriumInterval, 44}, {&left, in, -20 * math.Exp(-4)}} {
			if within(c.in, c.want) {
				*c.hit++
			}
		}
	}
	holds(t, "rate", rate, runs, 0.95, 0.01)
	holds(t, "end", end, runs, 0.95, 0.01)
	holds(t, "left at five minutes", left, runs, 0.95, 0.01)
}

func TestRegressPlane(t *testing.T) {
	a, b := []float64{1, 2, 3, 4, 5, 6}, []float64{2, 1, 4, 3, 7, 5}
	noise := []float64{0.1, -0.2, 0.15, 0.05, -0.1, 0}
	y := make([]float64, 6)
	for i := range y {
		y[i] = 3 + 2*a[i] - b[i] + noise[i]
	}
	r, err := Regress([][]float64{a, b}, y, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.Slopes[0].Value-2) > 0.15 || math.Abs(r.Slopes[1].Value+1) > 0.15 || r.Slopes[0].P > 0.01 || r.DF != 3 {
		t.Errorf("%+v", r)
	}
	one, err := Regress([][]float64{a}, y, 0.95)
	line, err2 := Trend(a, y, Symmetric, 0.95)
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	if math.Abs(one.Slopes[0].Value-line.Slope) > 1e-12 || math.Abs(one.Slopes[0].SE-line.SlopeSE) > 1e-12 || math.Abs(one.Slopes[0].P-line.P) > 1e-12 {
		t.Errorf("one column %+v, line %+v", one.Slopes[0], line)
	}
	if _, err := Regress([][]float64{a, a}, y, 0.95); err == nil {
		t.Error("the same column twice was taken")
	}
}

// Reference: the same noncentral t probabilities in R, pt(…, ncp).
func TestPairsForEquivalence(t *testing.T) {
	for _, c := range []struct {
		mean, sd, margin float64
		want             int
	}{{0.5, 6, 5, 15}, {2, 9, 5, 58}, {-2.117647, 38.765126, 20, 35}, {0, 3, 5, 5}, {5, 1, 5, 0}, {-7, 1, 5, 0}} {
		n, err := PairsForEquivalence(c.mean, c.sd, c.margin, 0.05, 0.8)
		if err != nil || n != c.want {
			t.Errorf("%+v: %d, %v", c, n, err)
		}
	}
	for _, bad := range [][3]float64{{math.NaN(), 1, 1}, {0, 0, 1}, {0, 1, 0}, {0, 1, -1}} {
		if _, err := PairsForEquivalence(bad[0], bad[1], bad[2], 0.05, 0.8); err == nil {
			t.Errorf("%v was taken", bad)
		}
	}
}

func TestSDInterval(t *testing.T) {
	low, high := SDInterval(0.0763326055278, 9, 0.95) // R, qchisq
	if math.Abs(low-0.0525042535049) > 1e-9 || math.Abs(high-0.13935358191) > 1e-9 {
		t.Error(low, high)
	}
}
