package demo

import (
	"math/rand/v2"

	"ullage/internal/lab"
)

// geometry of a package: mL and g, mean and standard deviation. All invented,
// in the range of the trade.
type geometry struct {
	key, name, kind, closure string
	nominal                  float64
	capacity, capacitySD     float64
	fill, fillSD             float64
	tare, tareSD             float64 // with its closure
	headspace                float64 // mean
	neckGap, neckPerMM       float64 // mm at the mean headspace; mL/mm
}

var geometries = []geometry{
	{"can355", "Can 355 mL", "can", "seamed end", 355, 373.5, 0.7, 355.5, 1.6, 13.4, 0.12, 18.0, 0, 0},
	{"can440", "Can 440 mL", "can", "seamed end", 440, 460.0, 0.8, 440.6, 1.9, 15.0, 0.14, 19.4, 0, 0},
	{"can473", "Can 473 mL", "can", "seamed end", 473, 494.5, 0.9, 473.6, 2.0, 16.2, 0.15, 20.9, 0, 0},
	{"bottle330", "Bottle 330 mL", "bottle", "crown, 26 mm", 330, 346.0, 1.4, 330.4, 1.5, 204.2, 3.0, 15.6, 62, 0.24},
	{"bottle355", "Bottle 355 mL", "bottle", "crown, 26 mm", 355, 373.5, 1.5, 355.4, 1.6, 209.2, 3.2, 18.1, 68, 0.24},
	{"bottle500", "Bottle 500 mL", "bottle", "crown, 26 mm", 500, 521.0, 2.0, 500.8, 2.0, 314.2, 4.5, 20.2, 75, 0.25},
	{"keg20", "Keg 20 L", "keg", "well-type fitting", 20000, 20450, 40, 20020, 50, 7600, 50, 430, 0, 0},
	{"keg30", "Keg 30 L", "keg", "well-type fitting", 30000, 30600, 50, 30030, 60, 9900, 70, 570, 0, 0},
}

func geometryOf(key string) geometry {
	for _, g := range geometries {
		if g.key == key {
			return g
		}
	}
	panic("demo: no format " + key)
}

// earlierCanLot is by how much the earlier lot of 355 mL cans held less, mL.
const earlierCanLot = 1.1

// plant is a filling line with the habits of its heads and closing stations,
// as factors about 1.
type plant struct {
	key, name  string
	fill, air  []float64 // per head: pick-up while filling; air in the headspace
	stations   []float64
	perMin     float64
	everyMin   float64
	delayMin   float64 // from closing to reading
	bath       bool    // packages are brought to 20 °C before they are shaken
	meter      string
	scale      string
	startHeads int // shaken packages in a start set
	setHeads   int // and in each later one
}

// plants gives the lines. The heads of B16 are drawn once, for good.
func plants(r *rand.Rand) map[string]plant {
	return map[string]plant{
		"C6": {
			key: "C6", name: "C6 can line", perMin: 30, everyMin: 30, delayMin: 9, meter: "meter1", scale: "balance",
			fill: []float64{1.00, 0.94, 1.06, 1.02, 0.97, 1.01}, air: []float64{1.00, 1.05, 0.95, 1.02, 0.98, 1.00},
			stations: []float64{0.99, 1.01}, startHeads: 6, setHeads: 3,
		},
		"B16": {
			key: "B16", name: "B16 bottle line", perMin: 80, everyMin: 30, delayMin: 35, bath: true, meter: "meter2", scale: "balance",
			fill: spreadFactors(r, 16, 0.08), air: spreadFactors(r, 16, 0.10),
			stations: []float64{0.97, 1.00, 1.04, 0.99}, startHeads: 8, setHeads: 4,
		},
		"K2": {
			key: "K2", name: "K2 keg line", perMin: 40.0 / 60, everyMin: 30, delayMin: 4, meter: "meter2", scale: "platform",
			fill: []float64{1, 1}, air: []float64{1, 1}, stations: []float64{1, 1}, startHeads: 2, setHeads: 2,
		},
	}
}

// brew is a beer. Consumption is of oxygen at 20 °C, 1/h.
type brew struct {
	key, name, style, code string
	plato, sg, co2         float64
	yeast                  bool
	consumption            float64
	limit                  [3]float64 // TPO, ppb: mean of a set, single, single that stops the line; 0: none
	inlet                  [3]float64 // DO at the inlet, ppb
	note                   string
}

var brews = []brew{
	{"quernlight", "Quernlight", "pale lager, filtered", "QL", 11.4, 1.008, 2.55, false, 0.006,
		[3]float64{90, 125, 160}, [3]float64{30, 40, 60}, ""},
	{"vellumrook", "Vellumrook", "pale ale, centrifuged", "VR", 12.2, 1.010, 2.45, false, 0.012,
		[3]float64{110, 155, 200}, [3]float64{35, 45, 65}, "dry hop 5 g/L"},
	{"dapplewick", "Dapplewick", "hazy, strong hops", "DW", 15.8, 1.015, 2.4, true, 0.035,
		[3]float64{130, 175, 220}, [3]float64{40, 55, 80}, "dry hop 14 g/L; yeast left in the package: read at once"},
	{"thrumbeck", "Thrumbeck", "stout", "TB", 14.2, 1.018, 2.2, false, 0.02,
		[3]float64{150, 205, 260}, [3]float64{40, 55, 80}, ""},
	{"hobbinwheat", "Hobbinwheat", "wheat, unfiltered", "HW", 12.5, 1.009, 2.9, true, 0.15,
		[3]float64{200, 260, 0}, [3]float64{35, 45, 65}, "yeast in the package: read at once"},
}

func brewOf(key string) brew {
	for _, b := range brews {
		if b.key == key {
			return b
		}
	}
	panic("demo: no beer " + key)
}

// staff by role; the names are initials, of nobody.
var staff = []struct{ key, name, initials, role, gravity string }{
	{"lead", "T. V.", "TV", "Packaging lead", "sg"},
	{"tech", "K. O.", "KO", "Quality technician", "sg"},
	{"second", "M. R.", "MR", "Filler operator", "sg"},
	{"cellar", "J. L.", "JL", "Cellar", "plato"},
	{"brewer", "P. S.", "PS", "Brewer", "plato"},
	{"head", "E. W.", "EW", "Brewmaster", "plato"},
}

// meter is an instrument with what is known of it: uncertainties close to the
// scatter its readings are told with, in record.go.
type meter struct {
	key, name, kind  string
	step, uAbs, uRel float64
	everyDays        float64
	note             string
	low, high, drift float64 // range, and u grown in 30 days
	life             float64 // of the sensor, days
	plan             []lab.CheckPlan
	purchase         string
}

var (
	oxygenPlan = []lab.CheckPlan{{Against: lab.AgainstZero, Limit: lab.Num(3), EveryDays: lab.Num(7)}, {Against: lab.AgainstAir, Limit: lab.Num(3), EveryDays: lab.Num(30)},
		{Against: lab.AgainstResponse, Limit: lab.Num(90), EveryDays: lab.Num(30)}}
	massPlan    = []lab.CheckPlan{{Against: lab.AgainstMass, Limit: lab.Num(0.1)}}
	kegMassPlan = []lab.CheckPlan{{Against: lab.AgainstMass, Limit: lab.Num(10)}}
	icePlan     = []lab.CheckPlan{{Against: lab.AgainstIce, Limit: lab.Num(0.3)}}
)

var meters = []meter{
	{"meter1", "DO meter 1", lab.DOMeter, 1, 0.6, 0.02, 7, "optical cell, at the can line", 0, 2000, 0.4, 365, oxygenPlan, "second-hand, three years ago; next: one that shows 0.1 ppb"},
	{"meter2", "DO meter 2", lab.DOMeter, 0.1, 0.6, 0.02, 7, "optical cell, laboratory", 0, 2000, 0.3, 365, oxygenPlan, ""},
	{"meter3", "DO meter 3", lab.DOMeter, 1, 0.8, 0.02, 14, "spare, optical cell of the oldest build here", 0, 2000, 1.5, 365, nil, "not to be replaced: the laboratory's is to become the spare"},
	{"meter4", "DO meter 4", lab.DOMeter, 10, 50, 0.02, 30, "optical cell, wide range, in the wort line", 0, 45000, 0, 730, nil, ""},
	{"direct", "TPO meter", lab.TPOMeter, 1, 1, 0.02, 0, "reads a whole package; on loan from the laboratory of the malting two valleys on", 5, 5000, 0, 0, nil, ""},
	{"balance", "Balance, 0.1 g", lab.Scale, 0.1, 0.04, 0, 30, "", 1, 3000, 0, 0, massPlan, ""},
	{"fine", "Laboratory balance, 0.01 g", lab.Scale, 0.01, 0.006, 0, 0, "for studies of empty weights and capacities", 0.1, 620, 0, 0, massPlan, ""},
	{"platform", "Platform scale, 10 g", lab.Scale, 10, 5, 0, 90, "", 1000, 60000, 0, 0, kegMassPlan, ""},
	{"probe", "Thermometer 1", lab.Thermometer, 0.1, 0.1, 0, 180, "", -10, 110, 0, 0, icePlan, ""},
	{"baro", "Barometer", lab.Barometer, 0.01, 0.1, 0, 0, "at the bench: station pressure", 80, 110, 0, 0, nil, ""},
}

// stepOf is the smallest step an instrument shows.
func stepOf(key string) float64 {
	for _, m := range meters {
		if m.key == key {
			return m.step
		}
	}
	panic("demo: no instrument " + key)
}

var tanks = []struct {
	key, name, kind string
	hl              float64
}{
	{"fv11", "FV11", "fermenter", 100}, {"fv12", "FV12", "fermenter", 100}, {"fv13", "FV13", "fermenter", 100}, {"fv14", "FV14", "fermenter", 100},
	{"fv21", "FV21", "fermenter", 50}, {"fv22", "FV22", "fermenter", 50}, {"fv23", "FV23", "fermenter", 50}, {"fv24", "FV24", "fermenter", 50},
	{"fv25", "FV25", "fermenter", 50}, {"fv26", "FV26", "fermenter", 50}, {"fv27", "FV27", "fermenter", 50}, {"fv28", "FV28", "fermenter", 50},
	{"bbt1", "BBT1", "bright_tank", 50}, {"bbt2", "BBT2", "bright_tank", 50}, {"bbt3", "BBT3", "bright_tank", 50},
}
