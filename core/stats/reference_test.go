package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// reference runs another program on a script and reads the numbers it prints.
// Where the program or its library is missing the test is skipped, unless
// REFERENCE=required says that it must be there.
func reference(t *testing.T, probe []string, program string, args ...string) []float64 {
	t.Helper()
	if err := exec.Command(program, probe...).Run(); err != nil {
		if os.Getenv("REFERENCE") == "required" {
			t.Fatalf("%s: %v", program, err)
		}
		t.Skipf("%s or its library is not installed (%v): nothing compared", program, err)
	}
	out, err := exec.Command(program, args...).Output()
	if err != nil {
		t.Fatalf("%s: %v", program, err)
	}
	var v []float64
	for _, word := range strings.Fields(string(out)) {
		x, err := strconv.ParseFloat(word, 64)
		if err != nil {
			t.Fatalf("%s printed %q", program, word)
		}
		v = append(v, x)
	}
	return v
}

// TestReferenceR compares with R and its package spc (Debian: r-base-core,
// r-cran-spc) on points that the check files do not hold.
func TestReferenceR(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 34))
	var script strings.Builder
	script.WriteString("suppressMessages(library(spc)); p <- function(x) cat(sprintf('%.12g\\n', x));")
	type line struct {
		what string
		got  float64
		tol  float64
	}
	var want []line
	ask := func(what string, got, tol float64, r string, args ...any) {
		want = append(want, line{what, got, tol})
		fmt.Fprintf(&script, "p(%s);", fmt.Sprintf(r, args...))
	}
	for range 12 {
		lambda, width, shift := 0.05+0.6*rng.Float64(), 2.4+0.7*rng.Float64(), 2*rng.Float64()
		arl, err := EWMARunLength(lambda, width, shift)
		if err != nil {
			t.Fatal(err)
		}
		ask("EWMA run length", arl, 1e-6, "xewma.arl(%.15g,%.15g,%.15g,sided='two',r=60)", lambda, width, shift)
		k, h := 0.2+0.6*rng.Float64(), 3+2*rng.Float64()
		arl, err = CUSUMRunLength(k, h, shift, false)
		if err != nil {
			t.Fatal(err)
		}
		ask("CUSUM run length", arl, 1e-6, "xcusum.arl(%.15g,%.15g,%.15g,sided='two',r=60)", k, h, shift)
		n, p, c := 2+rng.IntN(60), 0.7+0.29*rng.Float64(), 0.6+0.39*rng.Float64()
		factor, err := ToleranceFactor(n, p, c)
		if err != nil {
			t.Fatal(err)
		}
		ask("tolerance factor", factor, 1e-6, "qt(%.15g,%d,sqrt(%d)*qnorm(%.15g))/sqrt(%d)", c, n-1, n, p, n)
		ask("chi-squared quantile", chi2Quantile(c, float64(n)), 1e-9, "qchisq(%.15g,%d)", c, n)
		ask("F quantile", fQuantile(p, float64(n), 7), 1e-9, "qf(%.15g,%d,7)", p, n)
		ask("t quantile", StudentTQuantile(p, float64(n)), 1e-9, "qt(%.15g,%d)", p, n)
		m := 2 + rng.IntN(40)
		d2, _ := rangeMoments(m)
		ask("d2", d2, 1e-6, "integrate(function(w) 1-ptukey(w,%d,Inf),0,Inf,rel.tol=1e-9)$value", m)
	}
	got := reference(t, []string{"-e", "library(spc)"}, "Rscript", "-e", script.String())
	if len(got) != len(want) {
		t.Fatalf("%d numbers for %d questions", len(got), len(want))
	}
	for i, w := range want {
		if math.Abs(w.got-got[i]) > w.tol*math.Abs(got[i]) {
			t.Errorf("%s %d: %.12g, R %.12g", w.what, i, w.got, got[i])
		}
	}
}

// TestReferenceSciPy compares the noncentral t far beyond R's range, and one-way
// F tests (Debian: python3-scipy).
func TestReferenceSciPy(t *testing.T) {
	rng := rand.New(rand.NewPCG(56, 78))
	script := "from scipy.stats import nct, f_oneway\n"
	var want []float64
	for range 10 {
		n, z := 300+rng.IntN(2000), 1.5+rng.Float64()
		nu, delta := float64(n-1), z*math.Sqrt(float64(n))
		x := delta * (0.95 + 0.1*rng.Float64())
		want = append(want, NoncentralTCDF(x, nu, delta))
		script += fmt.Sprintf("print(nct.cdf(%.17g,%.17g,%.17g))\n", x, nu, delta)
		groups := [][]float64{normals(rng, 4, 1e6, 1), normals(rng, 7, 1e6+1, 1), normals(rng, 5, 1e6, 1)}
		r, err := OneWay(groups, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, r.P)
		var lists []string
		for _, g := range groups {
			lists = append(lists, strings.ReplaceAll(fmt.Sprintf("%.17g", g), " ", ","))
		}
		script += fmt.Sprintf("print(f_oneway(%s).pvalue)\n", strings.Join(lists, ","))
	}
	python := "python3"
	if p := os.Getenv("PYTHON"); p != "" {
		python = p
	}
	got := reference(t, []string{"-c", "import scipy"}, python, "-c", script)
	if len(got) != len(want) {
		t.Fatalf("%d numbers for %d questions", len(got), len(want))
	}
	for i, w := range want {
		if math.Abs(w-got[i]) > 1e-7 {
			t.Errorf("%d: %.12g, scipy %.12g", i, w, got[i])
		}
	}
}
