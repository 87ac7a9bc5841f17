package verdict

import (
	"math/rand/v2"
	"slices"
)

// searched is how many families of terms the judgement searches (terms.go).
const searched = 11

// oracle is the test that knows the kind and searches the place only, from the
// packages' TPO: the largest score over the places of its kind, against a high
// point of that in runs without the fault, found by simulation: the 95 % point,
// and the one that leaves it the share of a search through all families.
type oracle struct {
	x            scene
	alone, share float64
}

func (x scene) oracle(runs int) oracle {
	o := oracle{x: x}
	top := make([]float64, runs)
	for i := range top {
		top[i], _ = o.look(x.sim.run(rand.New(rand.NewPCG(99, uint64(i)))).Input)
	}
	slices.Sort(top)
	o.alone = top[runs*95/100]
	o.share = top[int(float64(runs)*(1-0.05/float64(searched)))]
	return o
}

// look is the largest score and whether it lies at the place of the fault.
func (o oracle) look(in Input) (float64, bool) {
	q := newRun(&in, mustRules())
	s := newScanner(q, q.frame(2))
	m := newFit(s.f, nil)
	s.hf = s.headFloors(m)
	t := new(tally)
	switch o.x.family {
	case famStartup:
		t = s.startup(m)
	case famRestart:
		t = s.restart(m)
	case famDrift:
		t = s.drift(m)
	case famEvent:
		t = s.eventSteps(m)
	case famHead:
		t = s.headAll(m)
	case famHeadFrom:
		t, _ = s.headSpans(m)
	case famStation:
		t = s.stations(m)
	}
	return t.z, o.x.right(q.cause(&found{term: s.build(o.x.family, t.at), channel: 2}))
}

// power is the share of runs with the fault in which it is seen, at its place,
// by either point.
func (o oracle) power(s sim, seed uint64, runs int) (alone, share float64) {
	n, m := 0, 0
	for i := range runs {
		z, there := o.look(s.run(rand.New(rand.NewPCG(seed, uint64(i)))).Input)
		n += int(b2f(z > o.alone && there))
		m += int(b2f(z > o.share && there))
	}
	return share100(n, runs), share100(m, runs)
}
