package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// scene is one kind of fault: its shape over packages (1 where it acts in
// full), and what naming it right means.
type scene struct {
	name  string
	sim   sim
	shape func(at float64, head, station int) float64
	right func(c Cause) bool
}

func scenes() []scene {
	base := sim{line: canLine, minutes: 240, every: 20, perSet: 6, pair: true}
	stops := []Event{{Stop, minute(59)}, {Restart, minute(60.5)}, {Stop, minute(118)}, {Restart, minute(120.8)}, {Stop, minute(178)}, {Restart, minute(180.5)}}
	near := func(c Cause, m, by float64) bool { return math.Abs(c.From.Sub(minute(m)).Minutes()) <= by }
	withEvents := func(e ...Event) sim { s := base; s.events = e; return s }
	wide := sim{line: bottleLine, minutes: 300, every: 20, perSet: 8, pair: true}
	return []scene{
		{"startup", base, func(at float64, _, _ int) float64 { return math.Exp(-at / 12) },
			func(c Cause) bool { return c.Kind == KindStartup }},
		{"restart", withEvents(stops...), func(at float64, _, _ int) float64 {
			x := 0.0
			for _, e := range stops {
				if s := at - e.At.Sub(simStart).Minutes(); e.Kind == Restart && s >= 0 {
					x = math.Max(x, math.Exp(-s/2.5))
				}
			}
			return x
		}, func(c Cause) bool { return c.Kind == KindRestart }},
		{"drift", base, func(at float64, _, _ int) float64 { return at / 240 }, func(c Cause) bool { return c.Kind == KindDrift }},
		{"step at an event", withEvents(Event{GasChange, minute(110)}), func(at float64, _, _ int) float64 { return b2f(at >= 110) },
			func(c Cause) bool { return c.Kind == KindStep && near(c, 110, 25) }},
		{"head", base, func(_ float64, h, _ int) float64 { return b2f(h == 4) }, func(c Cause) bool { return c.Kind == KindHead && c.Where == "4" }},
		{"head of 16", wide, func(_ float64, h, _ int) float64 { return b2f(h == 11) }, func(c Cause) bool { return c.Kind == KindHead && c.Where == "11" }},
		{"head from a time on", base, func(at float64, h, _ int) float64 { return b2f(h == 4 && at > 110) },
			func(c Cause) bool { return c.Kind == KindHead && c.Where == "4" }},
		{"station", wide, func(_ float64, _, st int) float64 { return b2f(st == 2) }, func(c Cause) bool { return c.Kind == KindStation && c.Where == "2" }},
	}
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// withEffect makes the fault as large as k standard errors of the test that
// knows its kind and place, from the packages' TPO alone: σ of ln TPO 0.27 for
// cans and 0.21 for bottles of this model.
func (x scene) withEffect(k float64) sim {
	s := x.sim
	rng := rand.New(rand.NewPCG(9, 9))
	plain := s.run(rng)
	var n, sum, sq, base float64
	for i := range plain.Samples {
		p := &plain.Samples[i]
		h, st := atoi(p.Head), atoi(p.Station)
		v := x.shape(p.Closed.Sub(simStart).Minutes(), h, st)
		n++
		sum += v
		sq += v * v
		base += p.TPO
	}
	sigma := 0.27
	if s.line.heads > 6 {
		sigma = 0.21
	}
	se := sigma / math.Sqrt(sq-sum*sum/n)
	ppb := base / n * math.Expm1(k*se)
	s.fault = func(at float64, h, st int) (float64, float64, float64, float64) {
		v := ppb * x.shape(at, h, st)
		if h > 0 && x.liquid() {
			return v, 0, 1, 1
		}
		return 0, v, 1, 1
	}
	return s
}

func (x scene) liquid() bool { return x.name == "startup" || x.name == "drift" }

func atoi(s string) int { n, _ := strconv.Atoi(s); return n }

func BenchmarkPower(b *testing.B) {
	const runs = 100
	for _, x := range scenes() {
		fmt.Printf("%-20s", x.name)
		for _, k := range []float64{2, 3, 4, 5, 6, 8} {
			named, covered, extra := 0, 0, 0
			s := x.withEffect(k)
			for i := range runs {
				r := s.run(rand.New(rand.NewPCG(uint64(10*k), uint64(i))))
				j, err := Judge(r.Input)
				if err != nil {
					b.Fatal(err)
				}
				hit := false
				for _, c := range j.Causes {
					if x.right(c) && !hit {
						hit = true
						named++
						truth := trueSize(x, r, c)
						if c.Low95 <= truth && truth <= c.High95 {
							covered++
						}
					} else {
						extra++
					}
				}
			}
			fmt.Printf("  %g: %3.0f %% (in %3.0f, extra %2.0f)", k, 100*float64(named)/runs, 100*float64(covered)/float64(max(named, 1)), 100*float64(extra)/runs)
		}
		fmt.Println()
	}
}

// trueSize is the mean true excess of the packages that the fault touches as
// the cause counts them.
func trueSize(x scene, r simulated, c Cause) float64 {
	var sum, n float64
	last := 0.0
	for i := range r.Samples {
		p := &r.Samples[i]
		at := p.Closed.Sub(simStart).Minutes()
		v := x.shape(at, atoi(p.Head), atoi(p.Station))
		if c.Kind == KindDrift {
			last = r.excess[i]
			if n == 0 {
				sum = r.excess[i]
				n = 1
			}
			continue
		}
		if c.Kind == KindStartup && i < c.Packages || c.Kind != KindStartup && v > 0.25 {
			sum += r.excess[i]
			n++
		}
	}
	if c.Kind == KindDrift {
		return last - sum
	}
	return sum / n
}
