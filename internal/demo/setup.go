package demo

import (
	"math"
	"time"

	"ullage/core/oxygen"
	"ullage/core/quantity"
	"ullage/internal/lab"
)

// capWeek, serviceWeek and canLotWeek are when, in the history, the cell of a
// meter was renewed, the bottle filler serviced and a new lot of cans begun.
const (
	serviceWeek = 9
	capWeek     = 14
	canLotWeek  = 16
)

// setUp writes what a brewery enters before its first run.
func (b *builder) setUp() {
	at := b.begins.AddDate(0, 0, -4).Add(9 * time.Hour)
	b.people(at)
	by := b.ref("head")
	desk := func(key string) lab.Meta { return meta(b.named(key, at), by, "desk", at) }
	var ws []write
	var cans []canLot
	add := func(r lab.Record) { ws = append(ws, write{record: r}) }
	for _, x := range brews {
		a := oxygen.Balling(quantity.Extract(x.plato), quantity.Plato(quantity.SpecificGravity(x.sg)))
		add(&lab.Beer{Meta: desk(x.key), Name: x.name, Style: x.style, SG: lab.Num(x.sg), ABVPct: lab.Num(round(float64(a.AlcoholByVolume), 0.1)),
			CO2Vol: lab.Num(x.co2), YeastInPackage: x.yeast, Note: x.note})
	}
	for _, x := range geometries {
		add(&lab.Format{Meta: desk(x.key), Name: x.name, PackageKind: x.kind, NominalML: lab.Num(x.nominal), Closure: x.closure})
		lot := x
		if x.key == "can355" {
			lot.capacity -= earlierCanLot
		}
		l := b.lot(desk(x.key+"/lot1"), lot, "lot 1", at)
		add(l)
		if x.kind == "can" {
			cans = append(cans, canLot{l, lot})
		}
	}
	for _, x := range []string{"C6", "B16", "K2"} {
		p := b.plants[x]
		add(&lab.Line{Meta: desk(x), Name: p.name, Heads: len(p.fill), Stations: len(p.stations),
			PackagesPerMin: lab.Num(math.Round(p.perMin*1000) / 1000), SampleEveryMin: lab.Num(p.everyMin)})
	}
	for _, x := range tanks {
		add(&lab.Tank{Meta: desk(x.key), Name: x.name, TankKind: x.kind, VolumeHL: lab.Num(x.hl)})
	}
	for _, x := range meters {
		add(b.instrument(desk(x.key), x, at, ""))
	}
	for _, c := range cans {
		ws = append(ws, b.lotStudies(c.lot, c.geo, at)...)
	}
	b.add(at.Add(20*time.Minute), ws...)
	b.limits(at.Add(30 * time.Minute))
	b.secondCanLot()
}

// canLot is a lot of cans and what its cans truly are.
type canLot struct {
	lot *lab.FormatLot
	geo geometry
}

func (b *builder) people(at time.Time) {
	zone := b.now.Location().String()
	if _, err := time.LoadLocation(zone); err != nil || zone == "Local" {
		zone = ""
	}
	id := b.named("head", at)
	ws := []write{{record: &lab.Brewery{Meta: meta(lab.BreweryID, id, "desk", at), Name: Name, AltitudeM: lab.Num(310), TimeZone: zone}}}
	for _, p := range staff {
		if p.key != "head" {
			b.named(p.key, at)
		}
		ws = append(ws, write{record: &lab.Person{Meta: meta(b.ref(p.key), id, "desk", at), Name: p.name, Initials: p.initials, Role: p.role,
			Units: lab.Units{Temperature: "c", Volume: "ml", Gravity: p.gravity, Oxygen: "ppb"}}})
	}
	b.add(at, ws...)
}

// lot as a study of ten packages found it.
func (b *builder) lot(m lab.Meta, x geometry, name string, from time.Time) *lab.FormatLot {
	ten := 10
	l := &lab.FormatLot{Meta: m, FormatID: b.ref(x.key), Name: x.name + ", " + name, From: from.Format(time.DateOnly),
		CapacityML: lab.Num(x.capacity), CapacitySDML: lab.Num(x.capacitySD), CapacityN: &ten, CapacitySource: "lot",
		TareG: lab.Num(x.tare), TareSDG: lab.Num(x.tareSD), TareN: &ten}
	if x.kind == "bottle" {
		l.NeckGapMM, l.NeckHeadspaceML, l.NeckMLPerMM = lab.Num(x.neckGap), lab.Num(x.headspace), lab.Num(x.neckPerMM)
	}
	return l
}

func (b *builder) secondCanLot() {
	from := b.begins.AddDate(0, 0, 7*(canLotWeek-1))
	at := from.Add(6 * time.Hour)
	l := b.lot(meta(b.named("can355/lot2", at), b.ref("tech"), "bench", at), geometryOf("can355"), "lot 2", from)
	l.Note = "capacity 1.1 mL above lot 1: new tools at the supplier"
	b.add(at.Add(time.Minute), append([]write{{record: l}}, b.lotStudies(l, geometryOf("can355"), at)...)...)
}

// lotFor is the lot a run uses, with what its packages truly are.
func (b *builder) lotFor(format string, start time.Time) (id string, g geometry) {
	g = geometryOf(format)
	if format != "can355" {
		return b.ref(format + "/lot1"), g
	}
	if b.week(start) >= canLotWeek {
		return b.ref("can355/lot2"), g
	}
	g.capacity -= earlierCanLot
	return b.ref("can355/lot1"), g
}

func (b *builder) limits(at time.Time) {
	var ws []write
	add := func(beer, format, quantity string, x [3]float64, note string) {
		l := &lab.Limit{Meta: meta(b.id(at), b.ref("head"), "desk", at), BeerID: b.ref(beer), Quantity: quantity,
			MeanGreenPpb: lab.Num(x[0]), SingleGreenPpb: lab.Num(x[1]), Note: note}
		if format != "" {
			l.FormatID = b.ref(format)
		}
		if x[2] > 0 {
			l.SingleRedPpb = lab.Num(x[2])
		}
		ws = append(ws, write{record: l})
	}
	for _, x := range brews {
		add(x.key, "", "tpo", x.limit, "")
		add(x.key, "", "do_inlet", x.inlet, "")
		add(x.key, "", "do_tank", [3]float64{x.inlet[0] - 5, x.inlet[0], x.inlet[0] + 20}, "")
	}
	add("vellumrook", "can355", "tpo", [3]float64{120, 180, 250}, "small can: its headspace weighs more")
	add("quernlight", "bottle355", "tpo", [3]float64{95, 130, 165}, "")
	b.add(at, ws...)
}

// checks writes the revisions of the instruments: the renewed cell, and the
// newest check of each, so that the balance is overdue and the platform scale is due soon.
func (b *builder) checks() {
	renewed := b.begins.AddDate(0, 0, 7*(capWeek-1)).Add(6 * time.Hour)
	ago := func(d time.Duration) time.Time { return b.now.Add(-d) }
	const day = 24 * time.Hour
	for _, c := range []struct {
		key  string
		rev  int
		at   time.Time
		note string
	}{
		{"meter1", 1, renewed, "optical cell, at the can line; sensor cap renewed, zero check before it 6 ppb, after it 0 ppb"},
		{"meter1", 2, ago(2*day + time.Hour), "optical cell, at the can line; zero check 0 ppb"},
		{"meter2", 1, ago(6*day + 14*time.Hour), "optical cell, laboratory; zero check 0.4 ppb"},
		{"meter3", 1, ago(200 * time.Minute), "spare; zero check 14 ppb: out of use until the cell is renewed"},
		{"meter4", 1, ago(9 * day), "optical cell, wide range, in the wort line; 8.8 mg/L in water saturated with air at 20 °C and 977 hPa"},
		{"balance", 1, ago(31 * day), "200 g reads 200.0 g"},
		{"platform", 1, ago(89*day + 10*time.Hour), "20 kg reads 20.00 kg"},
		{"probe", 1, ago(60 * day), "ice point 0.1 °C"},
	} {
		for _, x := range meters {
			if x.key != c.key {
				continue
			}
			r := b.instrument(meta(b.ref(c.key), b.ref("tech"), "bench", c.at), x, c.at, c.note)
			r.Reason = "check"
			if c.key == "meter1" {
				r.SensorReplacedAt = lab.At(renewed)
			}
			b.add(c.at.Add(time.Second), write{r, c.rev})
		}
	}
}
