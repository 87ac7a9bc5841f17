package calc_test

import (
	"math"
	"math/rand/v2"
	"slices"

	"ullage/core/calc"
	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// The simulation behind docs/agreement.md: true packages are drawn from the
// spreads of a lot, read with the errors of instruments, and computed through
// the table of calculations by every way to the headspace.

// lot is a format of the invented brewery: means and standard deviations.
type lot struct {
	name, kind           string
	nominal              float64 // mL
	capacity, capacitySD float64 // mL, brimful with the closure on
	fill, fillSD         float64 // mL; fillSD of a bottle is that of its headspace
	tare, tareSD         float64 // g, closure included
}

var lots = []lot{
	{"can 355", "can", 355, 373.5, 0.7, 355.5, 1.6, 13.4, 0.12},
	{"can 440", "can", 440, 460, 0.8, 440.6, 1.9, 15, 0.14},
	{"can 473", "can", 473, 494.5, 0.9, 473.6, 2, 16.2, 0.15},
	{"bottle 330", "bottle", 330, 346, 1.4, 330.4, 1, 204.2, 3},
	{"bottle 355", "bottle", 355, 373.5, 1.5, 355.4, 1, 209.2, 3.2},
	{"bottle 500", "bottle", 500, 521, 2, 500.8, 1, 314.2, 4.5},
	{"keg 20 L", "keg", 20000, 20450, 40, 20020, 50, 7600, 50},
	{"keg 30 L", "keg", 30000, 30600, 50, 30030, 60, 9900, 70},
}

// route is a way to the headspace as a laboratory goes it.
type route int

const (
	assumedFill route = iota
	lotTareLotCapacity
	ownTareLotCapacity
	ownTareOwnCapacity
	fillHeight
	routes
)

var routeNames = [routes]string{"assumed fill, lot capacity", "lot tare, lot capacity", "own tare, lot capacity", "own tare, own capacity", "fill height, lot capacity"}

func (r route) openTo(l *lot) bool { return r != fillHeight || l.kind == "bottle" }

// The errors of one reading, standard deviations.
const (
	simulated       = 6000
	simulationSeed  = 20
	beerGravity     = 1.0105
	errTemperature  = 0.2    // K
	errGravity      = 0.0002 //
	errShaking      = 0.01   // of the reading
	errAdjustment   = 1e-4   // of every weight
	errNeck         = 0.3    // mL of headspace
	errPartition    = 0.002  // of K
	glassCorrelates = -0.6
	lowFills        = 0.004 // of cans: 6 to 15 mL short
	tareStudy       = 10    // empty packages weighed
	capacityStudy   = 5     // packages filled to the brim
	criterion       = 5.0   // ppb
)

func errScale(l *lot) float64 {
	if l.kind == "keg" {
		return 5
	}
	return 0.05
}

func errFilling(l *lot) float64 {
	if l.kind == "keg" {
		return 20
	}
	return 0.2
}

// errMeter is the standard uncertainty of a DO meter, and that of a direct
// reading of TPO: the larger of 1 ppb and 2 % (common practice).
func errMeter(ppb float64) float64 { return math.Max(1, 0.02*ppb) }

// outcome is one simulated package: what multiplies the reading, and the errors.
type outcome struct {
	truth    float64 // true TPO over true shaken DO
	computed float64 // computed TPO over the reading; NaN where calc refused the package
	volumes  float64 // the same with K true: the error of the volumes alone
	meter    float64 // errors in units of their standard deviation
	shaking  float64
	direct   float64
	held     bool // at 100 ppb, the stated 95 % interval holds the truth
}

func (o *outcome) reading(tpo float64) float64 {
	c := tpo / o.truth
	return math.Max(0, c*(1+errShaking*o.shaking)+errMeter(c)*o.meter)
}

// difference is computed less direct, with a direct reading that errs or not.
func (o *outcome) difference(tpo float64, perfect bool) float64 {
	direct := tpo
	if !perfect {
		direct += errMeter(tpo) * o.direct
	}
	return o.computed*o.reading(tpo) - direct
}

// simulate draws packages of a lot and computes each by one way.
func simulate(l *lot, way route, celsius float64) []outcome {
	r := rand.New(rand.NewPCG(simulationSeed, uint64(l.nominal)))
	var e calc.Evaluator
	list := make([]outcome, simulated)
	known := map[string]float64{"beer": 0, "pressure": 0, "co2": 0, "gas": 0, "expansion": 0, "neck": errNeck, "fill": l.spreadOfFill()}
	if way == ownTareOwnCapacity {
		known["capacity"] = errFilling(l)
	}
	for i := range list {
		drawPackage(r, l, way, celsius, known, &e, &list[i])
	}
	return list
}

// spreadOfFill is what a user with a fill study would state.
func (l *lot) spreadOfFill() float64 {
	if l.kind == "bottle" {
		return math.Hypot(l.fillSD, l.capacitySD)
	}
	return l.fillSD
}

// drawPackage draws every number of a package in one order, whatever the way
// needs of them, so that all ways meet the same packages.
func drawPackage(r *rand.Rand, l *lot, way route, celsius float64, known map[string]float64, e *calc.Evaluator, o *outcome) {
	z := r.NormFloat64
	glass, correlation := z(), 0.0
	if l.kind == "bottle" {
		correlation = glassCorrelates
	}
	tare := l.tare + l.tareSD*glass
	capacity := l.capacity + l.capacitySD*(correlation*glass+math.Sqrt(1-correlation*correlation)*z())
	beer := l.fill + l.fillSD*z()
	low := 0.0
	if u, short := r.Float64(), 6+9*r.Float64(); l.kind == "can" && u < lowFills {
		low = short
	}
	if l.kind == "bottle" {
		beer += capacity - l.capacity
	}
	beer = math.Min(beer-low, capacity-0.5)
	k := oxygen.PartitionRatio(quantity.Temperature(celsius)) * (1 + errPartition*z())
	o.meter, o.shaking, o.direct = z(), z(), z()
	o.truth = 1 + k*(capacity-beer)/beer

	adjustment, scale := 1+errAdjustment*z(), errScale(l)
	weight := func(true float64) float64 { return true*adjustment + scale*z() }
	net := beer / float64(oxygen.VolumeFromWeight(1, oxygen.BeerDensity(beerGravity, quantity.Temperature(celsius)), oxygen.StandardAirDensity))
	m := measured{
		gross: weight(tare + net), ownTare: weight(tare), ownCapacity: capacity*adjustment + errFilling(l)*z(),
		lotTare: l.tare + l.tareSD/math.Sqrt(tareStudy)*z(), lotCapacity: l.capacity + l.capacitySD/math.Sqrt(capacityStudy)*z(),
		neck: capacity - beer + errNeck*z(), temperature: celsius + errTemperature*z(), gravity: beerGravity + errGravity*z(),
	}
	in := m.input(l, way)
	in.U, in.ShakenDO = known, ptr(quantity.ShakenDO(o.reading(100)))
	var out calc.TPOResult
	if _, err := e.Evaluate(in, &out, nil); err != nil {
		o.computed, o.volumes = math.NaN(), math.NaN()
		return
	}
	o.computed = out.TotalToDissolved
	o.volumes = 1 + k*out.Headspace/out.Beer
	o.held = out.Low95 <= 100 && 100 <= out.High95
}

// measured is what instruments and studies show of one package.
type measured struct {
	gross, ownTare, lotTare, ownCapacity, lotCapacity, neck, temperature, gravity float64
}

func (m *measured) input(l *lot, way route) *calc.TPOInput {
	in := &calc.TPOInput{
		Temperature: ptr(quantity.Temperature(m.temperature)), SG: ptr(quantity.SpecificGravity(m.gravity)), Package: l.kind,
		Capacity: ptr(quantity.Volume(m.lotCapacity)), CapacitySD: ptr(quantity.Volume(l.capacitySD)), CapacityN: capacityStudy,
	}
	if way == assumedFill || way == fillHeight {
		in.Path, in.Nominal = calc.PathAssumed, ptr(quantity.Volume(l.nominal))
		if way == fillHeight {
			in.Path, in.Gap, in.NeckGap = calc.PathFillHeight, ptr(quantity.Length(50)), ptr(quantity.Length(50))
			in.NeckHeadspace, in.NeckPerMM = ptr(quantity.Volume(m.neck)), ptr(quantity.VolumePerLength(0.24))
		}
		return in
	}
	in.Path, in.Gross = calc.PathWeighed, ptr(quantity.Mass(m.gross))
	in.Tare, in.TareSource, in.TareSD, in.TareN = ptr(quantity.Mass(m.lotTare)), "lot", ptr(quantity.Mass(l.tareSD)), tareStudy
	if way != lotTareLotCapacity {
		in.Tare, in.TareSource = ptr(quantity.Mass(m.ownTare)), "own"
	}
	if way == ownTareOwnCapacity {
		in.Capacity, in.CapacitySource, in.CapacityN = ptr(quantity.Volume(m.ownCapacity)), "own", 0
	}
	return in
}

// share of the differences within the criterion; a refused package is outside.
func share(list []outcome, tpo float64, perfect bool) float64 {
	in := 0
	for i := range list {
		if math.Abs(list[i].difference(tpo, perfect)) <= criterion {
			in++
		}
	}
	return float64(in) / float64(len(list))
}

// upTo is the highest TPO, in steps of 10 ppb to 400, up to which 95 % of the
// differences meet the criterion; 0 where not even 10 ppb does.
func upTo(list []outcome, perfect bool) (best float64) {
	for tpo := 10.0; tpo <= 400 && share(list, tpo, perfect) >= 0.95; tpo += 10 {
		best = tpo
	}
	return best
}

// spread of the computed over the true TPO that comes of the volumes alone,
// with its mean error, and the share of packages that were refused. The SD is
// taken between the 15.87 and 84.13 % points, so that low fills and refused
// packages do not make it.
func spread(list []outcome) (mean, sd, refused float64) {
	ratio := make([]float64, 0, len(list))
	for i := range list {
		if o := &list[i]; !math.IsNaN(o.volumes) {
			ratio = append(ratio, o.volumes/o.truth-1)
			mean += o.volumes/o.truth - 1
		}
	}
	slices.Sort(ratio)
	at := func(p float64) float64 { return ratio[int(p*float64(len(ratio)))] }
	return mean / float64(len(ratio)), (at(0.8413) - at(0.1587)) / 2, 1 - float64(len(ratio))/float64(len(list))
}

// coverage is the share of the stated 95 % intervals at 100 ppb that hold the
// true TPO.
func coverage(list []outcome) float64 {
	n := 0
	for i := range list {
		if list[i].held {
			n++
		}
	}
	return float64(n) / float64(len(list))
}
