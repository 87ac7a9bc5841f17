package verdict

import (
	"math"
	"math/rand/v2"
	"strconv"
	"time"
)

// A model of filling for tests: invented, in the range of the trade. It is not
// that of the demo, and shares no code with what it tests.

var simStart = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

type simLine struct {
	heads, stations int
	fillSD, airSD   float64 // spread between heads, of the logarithm
	volume, gas     float64 // mL
	in, fill, air   float64 // ppb, ppb, mL
}

var (
	canLine    = simLine{6, 2, 0.04, 0.03, 355.5, 18, 25, 18, 0.085}
	bottleLine = simLine{16, 4, 0.08, 0.10, 330.4, 15.6, 20, 12, 0.030}
)

// fault changes a package: ppb in the liquid, factors on filling pickup and air.
type fault func(at float64, head, station int) (in, fillAdd, fill, air float64)

type sim struct {
	line    simLine
	minutes float64
	every   float64
	perSet  int
	pair    bool // an unshaken reading with each set, an inlet one with each second
	fault   fault
	events  []Event
}

// simulated is a run with what the fault truly added to each sample, ppb.
type simulated struct {
	Input
	excess []float64
}

func minute(m float64) time.Time {
	return simStart.Add(time.Duration(m * float64(time.Minute))).Round(time.Second)
}

func logNormal(rng *rand.Rand, s float64) float64 { return math.Exp(s*rng.NormFloat64() - s*s/2) }

func (s sim) run(rng *rand.Rand) simulated {
	l := s.line
	f, a := make([]float64, l.heads+1), make([]float64, l.heads+1)
	for h := range f {
		f[h], a[h] = logNormal(rng, l.fillSD), logNormal(rng, l.airSD)
	}
	st := []float64{0.97, 1.03, 1.0, 1.0}
	var out simulated
	out.Events = append([]Event{{Start, simStart}}, s.events...)
	next := 0
	read := func(v float64) float64 {
		return math.Max(0.1, math.Round(10*(v+rng.NormFloat64()*math.Max(0.8, 0.02*v)))/10)
	}
	for at, set := 1.0, 0; at < s.minutes; at, set = at+s.every, set+1 {
		for k := range s.perSet {
			h, c := next%l.heads+1, 1+rng.IntN(l.stations)
			next++
			t := at + 0.3*float64(k)
			in, add, fill, air := 0.0, 0.0, 1.0, 1.0
			if s.fault != nil {
				in, add, fill, air = s.fault(t, h, c)
			}
			vh := math.Max(3, l.gas+1.6*rng.NormFloat64())
			vl := l.volume + l.gas - vh
			spread := 278.6 / (vl / 1000)
			pickup := func() float64 { return l.fill * f[h] * logNormal(rng, 0.33) }
			inlet := l.in + in
			headspace := l.air * a[h] * st[c-1] * math.Pow(vh/l.gas, 0.7) * spread
			total := inlet + add + fill*pickup() + headspace*air*logNormal(rng, 0.45)
			factor := 1 + 23*vh/vl
			shaken := read(total / factor * (0.985 + 0.015*rng.Float64()))
			x := Sample{ID: strconv.Itoa(len(out.Samples) + 1), Closed: minute(t), Taken: minute(t + 10), Head: strconv.Itoa(h), Station: strconv.Itoa(c),
				Shaken: &shaken, Factor: factor, TPO: shaken * factor, U: 0.03*shaken*factor + 1, Beer: vl, FillKnown: true}
			if s.pair && k == set%s.perSet { // heads by turns
				u := read(inlet + add + fill*pickup())
				x.Unshaken = &u
				if set%2 == 0 {
					v := read(inlet)
					x.Inlet = &v
				}
			}
			out.Samples = append(out.Samples, x)
			out.excess = append(out.excess, in+add+(fill-1)*l.fill*f[h]+(air-1)*headspace)
		}
	}
	return out
}
