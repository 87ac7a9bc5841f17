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
	name   string
	family string // that the oracle searches
	sim    sim
	shape  func(at float64, head, station int) float64
	right  func(c Cause) bool
}

func scenes() []scene {
	base := sim{line: canLine, minutes: 240, every: 20, perSet: 6, pair: true}
	stops := []Event{{Stop, minute(59)}, {Restart, minute(60.5)}, {Stop, minute(118)}, {Restart, minute(120.8)}, {Stop, minute(178)}, {Restart, minute(180.5)}}
	near := func(c Cause, m, by float64) bool { return math.Abs(c.From.Sub(minute(m)).Minutes()) <= by }
	withEvents := func(e ...Event) sim { s := base; s.events = e; return s }
	wide := sim{line: bottleLine, minutes: 300, every: 20, perSet: 8, pair: true}
	return []scene{
		{"startup", famStartup, base, func(at float64, _, _ int) float64 { return math.Exp(-at / 12) },
			func(c Cause) bool { return c.Kind == KindStartup }},
		{"restart", famRestart, withEvents(stops...), func(at float64, _, _ int) float64 {
			x := 0.0
			for _, e := range stops {
				if s := at - e.At.Sub(simStart).Minutes(); e.Kind == Restart && s >= 0 {
					x = math.Max(x, math.Exp(-s/2.5))
				}
			}
			return x
		}, func(c Cause) bool { return c.Kind == KindRestart }},
		{"drift", famDrift, base, func(at float64, _, _ int) float64 { return at / 240 }, func(c Cause) bool { return c.Kind == KindDrift }},
		{"step at an event", famEvent, withEvents(Event{GasChange, minute(110)}), func(at float64, _, _ int) float64 { return b2f(at >= 110) },
			func(c Cause) bool { return c.Kind == KindStep && near(c, 110, 25) }},
		{"head", famHead, base, func(_ float64, h, _ int) float64 { return b2f(h == 4) }, func(c Cause) bool { return c.Kind == KindHead && c.Where == "4" }},
		{"head of 16", famHead, wide, func(_ float64, h, _ int) float64 { return b2f(h == 11) }, func(c Cause) bool { return c.Kind == KindHead && c.Where == "11" }},
		{"head from a time on", famHeadFrom, base, func(at float64, h, _ int) float64 { return b2f(h == 4 && at > 110) },
			func(c Cause) bool { return c.Kind == KindHead && c.Where == "4" }},
		{"station", famStation, wide, func(_ float64, _, st int) float64 { return b2f(st == 2) }, func(c Cause) bool { return c.Kind == KindStation && c.Where == "2" }},
	}
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// withEffect makes the fault as large as k standard errors: the mean estimate
// of the test that knows kind and place, from the packages' TPO alone, over the
// standard deviation of that estimate in runs without the fault.
func (x scene) withEffect(k float64) sim {
	_, se := x.known(x.sim)
	ppb := 20.0
	for range 4 {
		if b, _ := x.known(x.with(ppb)); b > 0.1*se {
			ppb *= k * se / b
		} else {
			ppb *= 2
		}
	}
	return x.with(ppb)
}

func (x scene) with(ppb float64) sim {
	s := x.sim
	s.fault = func(at float64, h, st int) (float64, float64, float64, float64) {
		v := ppb * x.shape(at, h, st)
		if x.liquid() {
			return v, 0, 1, 1
		}
		return 0, v, 1, 1
	}
	return s
}

// known is the mean and the standard deviation of the estimate of the known
// column, on the log scale.
func (x scene) known(s sim) (mean, sd float64) {
	const runs = 400
	var sum, squares float64
	for i := range runs {
		in := s.run(rand.New(rand.NewPCG(77, uint64(i)))).Input
		r := newRun(&in, mustRules())
		f := r.frame(2)
		col := make([]float64, f.n)
		for k, at := range f.at {
			col[k] = x.shape(at, atoi(f.heads[f.head[k]]), atoi(f.stationNames[f.station[k]]))
		}
		b := newFit(f, []term{{x: col}}).solve().beta[1]
		sum += b
		squares += b * b
	}
	mean = sum / runs
	return mean, math.Sqrt((squares - runs*mean*mean) / (runs - 1))
}

func mustRules() Rules { r, _ := Rules{}.complete(); return r }

func (x scene) liquid() bool { return x.name == "startup" || x.name == "drift" }

func atoi(s string) int { n, _ := strconv.Atoi(s); return n }

// outcome counts how runs of one kind were judged.
type outcome struct{ runs, named, covered, extra int }

func (x scene) try(s sim, seed uint64, runs int) (o outcome) {
	o.runs = runs
	for i := range runs {
		r := s.run(rand.New(rand.NewPCG(seed, uint64(i))))
		in := r.Input
		q := newRun(&in, mustRules())
		list, _ := q.causes()
		hit := false
		for k := range list {
			c := q.cause(&list[k])
			if !x.right(c) || hit {
				o.extra++
				continue
			}
			hit = true
			o.named++
			if truth := trueSize(x, r, c); c.Low95 <= truth && truth <= c.High95 {
				o.covered++
			}
		}
	}
	return o
}

func share100(n, of int) float64 { return 100 * float64(n) / float64(max(of, 1)) }

// BenchmarkPower prints, for each kind of fault and its size in standard errors
// of the test that knows kind and place, the share of runs named right, the
// share of their sizes within the 95 % interval, and that of other causes named.
// "paired" runs have unshaken and inlet readings beside the packages.
func BenchmarkPower(b *testing.B) {
	const runs = 200
	for range b.N {
		var at4, all4, in, of int
		for _, paired := range []bool{true, false} {
			fmt.Printf("\npaired %v: named right %% (within interval %%, other causes %%)\n", paired)
			for _, x := range scenes() {
				x.sim.pair = paired
				fmt.Printf("%-20s", x.name)
				var named, within int
				for _, k := range []float64{2, 3, 4, 5, 6, 8} {
					o := x.try(x.withEffect(k), uint64(10*k), runs)
					fmt.Printf("  %g: %3.0f (%3.0f, %2.0f)", k, share100(o.named, runs), share100(o.covered, o.named), share100(o.extra, runs))
					if k >= 4 {
						at4, all4 = at4+o.named, all4+runs
						in, of = in+o.covered, of+o.named
						named, within = named+o.named, within+o.covered
					}
				}
				fmt.Printf("  within, 4 to 8: %.1f\n", share100(within, named))
			}
		}
		b.ReportMetric(share100(at4, all4), "%named≥4se")
		b.ReportMetric(share100(in, of), "%size_within")
	}
}

// BenchmarkOracle prints what could be named at all: the share of runs in which
// the test that knows the kind names the place: with 5 % of false alarms for that
// kind alone / with that kind's share of 5 % for all.
func BenchmarkOracle(b *testing.B) {
	for range b.N {
		for _, x := range scenes() {
			x.sim.pair = false
			o := x.oracle(4000)
			fmt.Printf("%-20s", x.name)
			for _, k := range []float64{2, 3, 4, 5, 6, 8} {
				alone, share := o.power(x.withEffect(k), uint64(10*k), 200)
				fmt.Printf("  %g: %3.0f /%3.0f", k, alone, share)
			}
			fmt.Println()
		}
	}
}

// BenchmarkFalseAlarms prints the share of runs without a fault in which a
// cause is named.
func BenchmarkFalseAlarms(b *testing.B) {
	const runs = 1000
	for range b.N {
		alarms, all := 0, 0
		for _, s := range normalRuns() {
			n, kinds := 0, map[string]int{}
			for i := range runs {
				in := s.run(rand.New(rand.NewPCG(1, uint64(i)))).Input
				list, _ := newRun(&in, mustRules()).causes()
				n += int(b2f(len(list) > 0))
				for _, c := range list {
					kinds[c.kind]++
				}
			}
			fmt.Printf("%2d heads, %3.0f min, sets of %2d each %2.0f min, paired %-5v: %.1f %% %v\n", s.line.heads, s.minutes, s.perSet, s.every, s.pair, share100(n, runs), kinds)
			alarms, all = alarms+n, all+runs
		}
		b.ReportMetric(share100(alarms, all), "%alarms")
	}
}

func normalRuns() []sim {
	list := []sim{
		{line: canLine, minutes: 200, every: 20, perSet: 3, pair: true},
		{line: canLine, minutes: 240, every: 30, perSet: 6},
		{line: canLine, minutes: 400, every: 12, perSet: 6, pair: true},
		{line: bottleLine, minutes: 200, every: 20, perSet: 4, pair: true},
		{line: bottleLine, minutes: 400, every: 30, perSet: 16},
	}
	for i := range list {
		list[i].events = []Event{{Stop, minute(60)}, {Restart, minute(66)}, {TankChange, minute(100)}}
	}
	return list
}

// BenchmarkTwoFaults prints the share of runs with two faults at once, of five
// standard errors each, in which both are named.
func BenchmarkTwoFaults(b *testing.B) {
	const runs = 200
	for range b.N {
		both, all := 0, 0
		list := scenes()
		for _, p := range [][2]int{{0, 4}, {2, 4}, {3, 4}, {1, 4}, {1, 2}, {5, 7}} {
			one, two := list[p[0]], list[p[1]]
			s := one.withEffect(5)
			other := two.withEffect(5)
			s.events = append(s.events, other.events...)
			first := s.fault
			s.fault = func(at float64, h, st int) (float64, float64, float64, float64) {
				a, f, g, v := first(at, h, st)
				c, d, _, _ := other.fault(at, h, st)
				return a + c, f + d, g, v
			}
			n := 0
			for i := range runs {
				in := s.run(rand.New(rand.NewPCG(3, uint64(i)))).Input
				q := newRun(&in, mustRules())
				found, _ := q.causes()
				var x, y bool
				for k := range found {
					c := q.cause(&found[k])
					x, y = x || one.right(c), y || two.right(c)
				}
				n += int(b2f(x && y))
			}
			fmt.Printf("%s and %s: %.0f %%\n", one.name, two.name, share100(n, runs))
			both, all = both+n, all+runs
		}
		b.ReportMetric(share100(both, all), "%both")
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
