package demo

import (
	"fmt"
	"slices"
	"time"

	"ullage/core/oxygen"
	"ullage/core/quantity"
	"ullage/internal/lab"
)

// Wort oxygenation as it truly is: the stone fouls with every brew until it is
// cleaned, and the brewer's setting stays where it is. The float meter is scaled
// for air and oxygen goes through it, so it shows more than flows.
const (
	wortTarget    = 9.5   // mg/L
	wortCarried   = 0.5   // mg/L
	wortHL        = 24.9  // of a brew
	wortMinutes   = 40.0  // of a knock-out
	stoneClean    = 0.70  // share of the gas dissolved
	stoneFouls    = 0.015 // of it, each brew
	stoneBrews    = 17    // between two cleanings
	floatReading  = 0.71  // L/min, as set
	oxygenPerNL   = 1429. // mg in a litre at 0 °C and 1 atm
	molarMassAir  = 28.9655
	firstBrewCode = 301
)

// stone is the share dissolved at the nth brew, from 0.
func stone(n int) float64 { return stoneClean - stoneFouls*float64(n%stoneBrews) }

// trueFlow is what flows, NL/min, when a float meter scaled for air shows reading
// and oxygen at 20 °C and 1 atm goes through it.
func trueFlow(reading float64) float64 {
	return reading * sqrt(molarMassAir/oxygen.MolarMassO2)
}

// brewing tells the 40 brews, in the order of time.
func (b *builder) brewing(fs []*fermentation) {
	n := 0
	for _, f := range slices.SortedFunc(slices.Values(fs), func(a, c *fermentation) int { return a.made.Compare(c.made) }) {
		f.id = b.cellarID(f.made)
		count := 2
		if f.large {
			count = 4
		}
		f.hl = float64(count) * wortHL
		f.batch = &lab.Batch{Meta: meta(f.id, b.ref("brewer"), "desk", f.made), BeerID: b.ref(f.beer), TankID: b.ref(f.tank), Code: f.code,
			VolumeHL: lab.Num(round(f.hl, 0.1)), MadeAt: lab.At(f.made), Status: "fermenting"}
		b.add(f.made, write{record: f.batch})
		f.rev = 1
		var last time.Time
		for i := range count {
			last = f.made.Add(time.Duration(i) * 270 * time.Minute)
			b.brew(f, n, i, count, last)
			n++
		}
		b.pitched(f, last)
	}
}

// wortC is the temperature at which a beer's wort is pitched.
func wortC(beer string) float64 {
	switch beer {
	case "quernlight":
		return 10
	case "hobbinwheat":
		return 17
	}
	return 18
}

// brew tells one knock-out and what was read in its wort.
func (b *builder) brew(f *fermentation, n, i, count int, at time.Time) {
	beer := brewOf(f.beer)
	r := stream(b.seed, fmt.Sprintf("brew %d", n))
	done := at.Add(time.Duration(wortMinutes) * time.Minute)
	hl, carried := normal(r, wortHL, 0.15), max(0.2, normal(r, wortCarried, 0.1))
	dosed := trueFlow(floatReading) * oxygenPerNL * wortMinutes / (hl * 100)
	do := carried + stone(n)*dosed
	generation, hours := 1+n%7, normal(r, 14, 1.5)+max(0, 8.5-do)*1.2
	x := &lab.Brew{Meta: meta(b.cellarID(at), b.ref("brewer"), "brewhouse", done), Code: fmt.Sprintf("%02d-%d", at.Year()%100, firstBrewCode+n),
		BatchID: f.id, At: lab.At(at), VolumeHL: lab.Num(round(hl, 0.1)), SG: lab.Num(round(float64(quantity.Gravity(quantity.Extract(normal(r, beer.plato, 0.1)))), 0.0001)),
		TemperatureC: lab.Num(round(normal(r, wortC(f.beer), 0.3), 0.1)), Minutes: lab.Num(wortMinutes), Gas: "oxygen", TargetMgL: lab.Num(wortTarget),
		CarryOverMgL: lab.Num(round(carried, 0.01)), FloatReading: lab.Num(floatReading), FloatFor: "air", FloatBar: lab.Num(0), FloatTemperatureC: lab.Num(20),
		LineBar: lab.Num(1.2), Yeast: "house ale", YeastSource: "repitch", Generation: &generation,
		PitchMillionML: lab.Num(round(normal(r, beer.plato*0.9, 0.5), 0.1)), HoursToDrop: lab.Num(round(hours, 0.5))}
	switch {
	case f.beer == "quernlight":
		x.Yeast = "house lager"
		x.PitchMillionML = lab.Num(round(normal(r, beer.plato*1.3, 0.6), 0.1))
	case f.beer == "hobbinwheat":
		x.Yeast = "wheat"
	}
	if n > 0 && n%stoneBrews == 0 {
		x.StoneCleaned = true
	}
	if done.Add(time.Duration(hours * float64(time.Hour))).After(b.now) {
		x.HoursToDrop = nil
	}
	c := &cellarHand{b: b, r: r, by: "brewer", device: "brewhouse", meter: "meter4"}
	half := at.Add(20 * time.Minute)
	c.read(lab.Reading{BatchID: f.id, BrewID: x.ID, Point: "wort_cooled", At: lab.At(half), TemperatureC: x.TemperatureC}, carried*1000)
	after := c.read(lab.Reading{BatchID: f.id, BrewID: x.ID, Point: "wort_oxygenated", At: lab.At(half.Add(5 * time.Minute)), TemperatureC: x.TemperatureC, PressureBar: lab.Num(1.2)}, do*1000)
	x.DOMgL = lab.Num(after / 1000)
	b.sum.Brews++
	b.add(done, write{record: x})
	c.flush(done.Add(time.Minute))
}

// pitched is read 12 h after the last brew, and says that the yeast is at work.
func (b *builder) pitched(f *fermentation, last time.Time) {
	at := last.Add(12 * time.Hour)
	if at.Add(10 * time.Minute).After(b.now) {
		return
	}
	c := &cellarHand{b: b, r: stream(b.seed, "pitched "+f.key), by: "brewer", device: "brewhouse", meter: "meter4"}
	c.read(lab.Reading{BatchID: f.id, Point: "pitched_12h", At: lab.At(at), TemperatureC: lab.Num(wortC(f.beer) + 1)}, uniform(c.r, 60, 350))
	c.flush(at.Add(2 * time.Minute))
}
