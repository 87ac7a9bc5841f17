package uncertainty

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The first numbers of xoshiro256++ from state 1, 2, 3, 4, as its reference
// code gives them (from memory of public test vectors; the first is rotl(1+4, 23)
// + 1).
func TestSourceVector(t *testing.T) {
	s := source{1, 2, 3, 4}
	for i, want := range []uint64{41943041, 58720359, 3588806011781223, 3591011842654386, 9228616714210784205} {
		if got := s.Uint64(); got != want {
			t.Errorf("number %d: %d, want %d", i, got, want)
		}
	}
}

func TestStreamsDiffer(t *testing.T) {
	seen := map[uint64]bool{}
	for seed := range uint64(64) {
		for block := range uint64(64) {
			v := newSource(seed, block).Uint64()
			if seen[v] {
				t.Fatalf("seed %d, block %d begins as another", seed, block)
			}
			seen[v] = true
		}
	}
}

// Numbers drawn at a stretch are those drawn one by one.
func TestStretches(t *testing.T) {
	one, many := newSource(3, 1), newSource(3, 1)
	z := make([]float64, 5000)
	many.normals(z)
	for i, v := range z {
		if v != one.normal() {
			t.Fatalf("normal number %d differs", i)
		}
	}
	many.uniforms(z)
	for i, v := range z {
		if v != one.uniform() {
			t.Fatalf("uniform number %d differs", i)
		}
	}
}

// The normal numbers against the normal distribution: moments, a
// Kolmogorov–Smirnov distance, and the share beyond far limits, where the
// ziggurat changes its way of drawing.
func TestNormalNumbers(t *testing.T) {
	const n = 2_000_000
	r := newSource(1, 0)
	z := make([]float64, n)
	var m [5]float64
	for i := range z {
		z[i] = r.normal()
		p := 1.0
		for k := range m {
			m[k] += p / n
			p *= z[i]
		}
	}
	for k, want := range []float64{1, 0, 1, 0, 3} {
		sd := math.Sqrt([]float64{0, 1, 2, 15, 96}[k] / n)
		if math.Abs(m[k]-want) > 4.5*sd+1e-9 {
			t.Errorf("moment %d: %v, want %v ± %v", k, m[k], want, sd)
		}
	}
	sort.Float64s(z)
	worst := 0.0
	for i, v := range z {
		f := 0.5 * math.Erfc(-v/math.Sqrt2)
		worst = max(worst, math.Abs(f-float64(i)/n), math.Abs(f-float64(i+1)/n))
	}
	if worst*math.Sqrt(n) > 1.95 { // passed by chance in 999 of 1000
		t.Errorf("Kolmogorov–Smirnov distance %v · √n", worst*math.Sqrt(n))
	}
	for _, limit := range []float64{0.5, 2, 3, zigguratR, 4, 4.5} {
		p := math.Erfc(limit / math.Sqrt2)
		beyond := float64(n - sort.SearchFloat64s(z, limit) + sort.SearchFloat64s(z, -limit))
		if math.Abs(beyond-n*p) > 4.5*math.Sqrt(n*p)+1 {
			t.Errorf("beyond ±%v: %v of %d, want %.1f", limit, beyond, n, n*p)
		}
	}
}

// The ways of drawing that are rare: the tail against the tail of the normal
// distribution, and the wedge of a layer against its share under the curve.
func TestNormalEdges(t *testing.T) {
	const n = 200_000
	r := newSource(8, 0)
	tail := make([]float64, n)
	for i := range tail {
		tail[i] = r.normalEdge(0, 4)
	}
	sort.Float64s(tail)
	worst, all := 0.0, math.Erfc(zigguratR/math.Sqrt2)
	for i, v := range tail {
		worst = max(worst, math.Abs(1-math.Erfc(v/math.Sqrt2)/all-float64(i)/n))
	}
	if worst*math.Sqrt(n) > 1.95 {
		t.Errorf("tail: Kolmogorov–Smirnov distance %v · √n", worst*math.Sqrt(n))
	}
	for _, i := range []uint64{1, 2, 60, 200, 255} {
		x := -(zigguratX[i] + zigguratX[i+1]) / 2
		want := (math.Exp(-x*x/2) - zigguratY[i]) / (zigguratY[i+1] - zigguratY[i])
		kept := 0.0
		for range n {
			if r.normalEdge(i, x) == x {
				kept++
			}
		}
		if math.Abs(kept/n-want) > 4.5*math.Sqrt(want*(1-want)/n) {
			t.Errorf("layer %d: %v of the wedge at %v is kept, want %v", i, kept/n, x, want)
		}
	}
}

// All layers have one area, and the top closes.
func TestZigguratTable(t *testing.T) {
	area := zigguratX[1] * (zigguratY[2] - zigguratY[1])
	for i := 1; i < 256; i++ {
		if got := zigguratX[i] * (zigguratY[i+1] - zigguratY[i]); math.Abs(got-area) > 1e-9 {
			t.Errorf("layer %d has area %v, not %v", i, got, area)
		}
	}
}

// Order statistics by selection, plain and by window, against sorting.
func TestLimits(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	for name, value := range map[string]func(i int) float64{
		"normal": func(int) float64 { return r.NormFloat64() }, "constant": func(int) float64 { return 3 },
		"rising": func(i int) float64 { return float64(i) }, "falling": func(i int) float64 { return -float64(i) },
		"few values": func(int) float64 { return float64(r.IntN(3)) }, "two": func(i int) float64 { return float64(i % 2) },
	} {
		for _, n := range []int{40, 10_000, 40_000, 100_000} {
			y := make([]float64, n)
			for i := range y {
				y[i] = value(i)
			}
			sorted := append([]float64(nil), y...)
			sort.Float64s(sorted)
			low, high := limits(y)
			wantLow, wantHigh := sorted[int(math.Round(0.025*float64(n)))-1], sorted[int(math.Round(0.975*float64(n)))-1]
			if low != wantLow || high != wantHigh {
				t.Errorf("%s, %d: %v to %v, want %v to %v", name, n, low, high, wantLow, wantHigh)
			}
		}
	}
}

// The interpolated coverage factor against the quantile itself.
func TestCoverageTable(t *testing.T) {
	for inverse := 0.0005; inverse <= 1; inverse += 0.0005 {
		want := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: 1 / inverse}.Quantile(0.975)
		if got := coverage(1 / inverse); math.Abs(got/want-1) > 1e-6 {
			t.Fatalf("%v degrees of freedom: %v, want %v", 1/inverse, got, want)
		}
	}
	if coverage(0) != Normal95 || math.Abs(coverage(1e9)-Normal95) > 1e-6 || coverage(0.2) != coverage(1) {
		t.Error(coverage(0), coverage(1e9), coverage(0.2))
	}
}
