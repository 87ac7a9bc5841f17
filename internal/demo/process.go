package demo

import (
	"math"
	"math/rand/v2"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// process is how a line fills when nothing is wrong.
type process struct {
	in     float64 // DO at the filler's inlet, ppb
	fill   float64 // pick-up while filling, ppb
	air    float64 // air closed into the headspace, mL
	surge  float64 // DO above in at the first package, ppb; washes out
	wash   float64 // packages per head in which it falls to 1/e
	dumped float64 // packages per head thrown away before the first good one
	drift  float64 // of in, ppb per hour
}

// The cases of the design's check run. All invented.
var (
	canGood         = process{in: 25, fill: 18, air: 0.085}
	canMedium       = process{in: 30, fill: 30, air: 0.14}
	canHazy         = process{in: 38, fill: 34, air: 0.18}
	canPoorFoam     = process{in: 38, fill: 34, air: 0.55}
	bottle330Good   = process{in: 20, fill: 12, air: 0.030}
	bottle355Good   = process{in: 20, fill: 12, air: 0.032}
	bottle500Good   = process{in: 20, fill: 12, air: 0.045}
	bottleJetterOff = process{in: 20, fill: 12, air: 0.35}
	kegGood         = process{in: 25, fill: 15}
)

// started adds an ordinary start: most of the surge is thrown away.
func (p process) started() process {
	p.surge, p.wash, p.dumped = 100, 20, 60
	return p
}

// Spreads of one package about its head's mean, as standard deviations of the
// logarithm, and what low fills there are.
const (
	fillSpreadCan    = 0.35
	fillSpreadBottle = 0.30
	airSpread        = 0.45
	airByHeadspace   = 0.7 // power of the headspace over its mean
	lowFillShare     = 0.004
	levelSD          = 1.0  // of a bottle's headspace, mL
	glassCorrelation = -0.6 // of a bottle's weight with its capacity
	kegResidueSD     = 8    // ppb
	kegLaneB         = 6    // ppb
	kegHeadspace     = 5    // ppb
	airPpbLitre      = 278.6
)

// effect is what a script changes at one moment on one head.
type effect struct {
	in, fillAdd float64 // ppb
	fill, air   float64 // factors
	low         float64 // mL missing in the package
}

var noEffect = effect{fill: 1, air: 1}

// stop of the line, in minutes after the first good package.
type stop struct {
	at, length float64
	why        string
	boost, tau float64 // of the air after it: 1 + boost·exp(-Δt/tau), tau in min
}

func (s stop) restart() float64 { return s.at + s.length }

// generator makes packages of one run.
type generator struct {
	r        *rand.Rand
	proc     process
	geo      geometry
	line     plant
	effect   func(t float64, head int) effect
	stops    []stop
	standing bool    // packages that stood open during a stop are kept
	uptake   float64 // of the beer at 20 °C, 1/h
}

// filled is one package as it truly is when closed: volumes in mL, weight in g,
// oxygen in ppb.
type filled struct {
	capacity, beer, headspace, tare float64
	inlet, unshaken, total          float64
}

func (g *generator) at(t float64, head int) effect {
	if g.effect == nil {
		return noEffect
	}
	return g.effect(t, head)
}

// inlet is the DO at the filler's inlet, ppb, t minutes after the first good
// package.
func (g *generator) inlet(t float64) float64 {
	x := g.proc.in + g.proc.drift*t/60 + g.at(t, 0).in
	if g.proc.surge > 0 {
		n := g.proc.dumped + g.line.perMin/float64(len(g.line.fill))*g.running(t)
		x += g.proc.surge * math.Exp(-n/g.proc.wash)
	}
	return x
}

// running is t less the stops before it.
func (g *generator) running(t float64) float64 {
	run := t
	for _, s := range g.stops {
		run -= min(max(t-s.at, 0), s.length)
	}
	return run
}

// one fills and closes a package at head and station, both from 1.
func (g *generator) one(t float64, head, station int) filled {
	e := g.at(t, head)
	f := g.empty()
	g.fillVolume(&f, e.low)
	f.inlet = g.inlet(t)
	if g.geo.kind == "keg" {
		f.unshaken = f.inlet + max(0, normal(g.r, g.proc.fill, kegResidueSD)) + e.fillAdd
		if head == 2 {
			f.unshaken += kegLaneB
		}
		f.total = f.unshaken + kegHeadspace
		return f
	}
	spread := fillSpreadCan
	if g.geo.kind == "bottle" {
		spread = fillSpreadBottle
	}
	f.unshaken = f.inlet + e.fillAdd + g.proc.fill*e.fill*g.line.fill[head-1]*logNormal(g.r, spread)
	air := g.proc.air * e.air * g.line.air[head-1] * g.line.stations[station-1] * logNormal(g.r, airSpread)
	air *= math.Pow(f.headspace/g.geo.headspace, airByHeadspace) * g.afterStop(t)
	f.total = f.unshaken + air*airPpbLitre/(f.beer/1000)
	return f
}

// empty draws capacity and weight of a package.
func (g *generator) empty() filled {
	z := g.r.NormFloat64()
	f := filled{capacity: g.geo.capacity + g.geo.capacitySD*z}
	w := g.r.NormFloat64()
	if g.geo.kind == "bottle" {
		w = glassCorrelation*z + math.Sqrt(1-glassCorrelation*glassCorrelation)*w
	}
	f.tare = g.geo.tare + g.geo.tareSD*w
	return f
}

// fillVolume fills bottles to a level, all else to a volume.
func (g *generator) fillVolume(f *filled, low float64) {
	if g.geo.kind == "bottle" {
		f.headspace = max(2, normal(g.r, g.geo.headspace, levelSD)+low)
		f.beer = f.capacity - f.headspace
		return
	}
	f.beer = normal(g.r, g.geo.fill, g.geo.fillSD) - low
	if g.geo.kind == "can" && g.r.Float64() < lowFillShare {
		f.beer -= uniform(g.r, 6, 15)
	}
	f.beer = min(f.beer, f.capacity-2)
	f.headspace = f.capacity - f.beer
}

// afterStop is the factor on the air of packages closed after a restart.
func (g *generator) afterStop(t float64) float64 {
	x := 1.0
	for _, s := range g.stops {
		since := t - s.restart()
		if since < 0 {
			continue
		}
		if g.standing && since < 1 {
			// Filled before the stop: one minute open makes 1.5 times the air,
			// five and more six times.
			x *= 1.5 + 4.5*min(max((s.length-1)/4, 0), 1)
			continue
		}
		x *= 1 + s.boost*math.Exp(-since/s.tau)
	}
	return x
}

// shaken is the shaken DO, ppb, of a package that waited hours at t °C and was
// then shaken: nearly to equilibrium.
func (g *generator) shaken(f filled, t, hours float64) float64 {
	left := g.left(t, hours)
	p := oxygen.Package{Beer: quantity.Volume(f.beer), Headspace: quantity.Volume(f.headspace)}
	k := oxygen.PartitionRatio(quantity.Temperature(t))
	equilibrium := float64(p.Shaken(quantity.TPO(f.total*left), 1, k))
	done := uniform(g.r, 0.97, 1)
	return done*equilibrium + (1-done)*f.unshaken*left
}

// left is the share of the oxygen that the beer has not consumed.
func (g *generator) left(t, hours float64) float64 {
	const q10 = 2.2
	return math.Exp(-g.uptake * math.Pow(q10, (t-20)/10) * hours)
}
