package ingest

import (
	"strings"

	"ullage/core/quantity"
	"ullage/internal/lab"
)

// The targets of a mapping.
const (
	samples = "samples"
	lots    = "format_lots"
)

// sort tells how the cells of a field are read.
type sort int

const (
	aQuantity sort = iota // a number with a unit
	aCount                // a whole number
	aText
	aDate   // a date, perhaps with a clock
	aClock  // a clock without a date
	aChoice // one of a few words
	aName   // of a record
)

// field is something a column can hold.
type field struct {
	key    string
	name   string // as a person says it
	sort   sort
	kind   *quantity.Kind
	units  []string   // offered, most usual first
	band   [2]float64 // of usual values, base unit
	words  []string   // headers, as words; all words of one must stand in the header
	target string
}

var (
	oxygenUnits = []string{"ppb", "ppm", "µg/L", "mg/L"}
	massUnits   = []string{"g", "kg", "oz", "lb"}
	volumeUnits = []string{"mL", "cL", "L", "fl oz"}
	packageBand = [2]float64{5, 3000}
)

// fields of both targets, in the order in which a person is offered them.
var fields = []field{
	{key: "taken_at", name: "Date and time of reading", sort: aDate, target: samples, words: []string{"taken at", "date time", "datetime", "timestamp", "read at", "date and time", "zeitpunkt", "measured at", "sampled"}},
	{key: "date", name: "Date", sort: aDate, target: samples, words: []string{"date", "day", "datum", "fecha"}},
	{key: "time", name: "Time of reading", sort: aClock, target: samples, words: []string{"time", "time read", "read", "uhrzeit", "zeit", "hour", "clock"}},
	{key: "closed_at", name: "Time of closing", sort: aDate, target: samples, words: []string{"closed", "closed at", "time closed", "closing", "fill time", "filled", "filled at", "seamed", "crowned", "verschlossen"}},
	{key: "code", name: "Run or lot code", sort: aText, target: samples, words: []string{"run", "lot", "code", "run code", "lot code", "batch", "lot no", "run no", "charge", "los", "lot number", "batch code"}},
	{key: "beer", name: "Beer", sort: aName, target: samples, words: []string{"beer", "brand", "product", "sorte", "bier", "recipe"}},
	{key: "format", name: "Package format", sort: aName, target: samples, words: []string{"format", "package", "pack", "container", "gebinde", "size", "package format", "pack size"}},
	{key: "line", name: "Filling line", sort: aName, target: samples, words: []string{"line", "filler", "linie", "filling line", "packaging line"}},
	{key: "set_no", name: "Set", sort: aCount, target: samples, words: []string{"set", "set no", "set number", "round"}},
	{key: "head", name: "Filling head", sort: aCount, target: samples, words: []string{"head", "valve", "lane", "filling head", "head no", "ventil", "füllventil", "fill head", "filler head"}},
	{key: "station", name: "Closing station", sort: aCount, target: samples, words: []string{"station", "chuck", "seamer", "crowner", "closing station"}},
	{key: "kind", name: "Kind: shaken, unshaken, inlet", sort: aChoice, target: samples, words: []string{"kind", "sample kind", "shaken or not", "state", "sample type", "type"}},
	{key: "do_shaken", name: "Shaken DO", kind: quantity.ShakenDO(0).Kind(), units: oxygenUnits, band: packageBand, target: samples, words: []string{"shaken", "shaken do", "do shaken", "shaken o2", "shaken oxygen", "geschüttelt"}},
	{key: "do_unshaken", name: "Unshaken DO", kind: quantity.UnshakenDO(0).Kind(), units: oxygenUnits, band: packageBand, target: samples, words: []string{"unshaken", "unshaken do", "not shaken", "do unshaken", "unshaken o2", "ungeschüttelt"}},
	{key: "do_inlet", name: "DO in the line at the filler's inlet", kind: quantity.DO(0).Kind(), units: oxygenUnits, band: [2]float64{1, 1000}, target: samples, words: []string{"inlet", "inlet do", "filler inlet", "line do", "do inlet", "do line"}},
	{key: "do", name: "DO, of the kind said elsewhere", kind: quantity.ShakenDO(0).Kind(), units: oxygenUnits, band: packageBand, target: samples, words: []string{"do", "oxygen", "o2", "reading", "dissolved oxygen", "sauerstoff", "do reading", "meter"}},
	{key: "tpo_direct", name: "TPO, read directly by an instrument", kind: quantity.TPO(0).Kind(), units: oxygenUnits, band: packageBand, target: samples, words: []string{"direct", "direct tpo", "tpo direct", "tpo direct reading", "direct reading", "tpo read directly", "direct total oxygen"}},
	{key: "tpo", name: "TPO, as the log has it", kind: quantity.TPO(0).Kind(), units: oxygenUnits, band: packageBand, target: samples, words: []string{"tpo", "total package oxygen", "total oxygen", "total o2"}},
	{key: "temperature", name: "Temperature of the beer", kind: quantity.Temperature(0).Kind(), units: []string{"°C", "°F"}, band: [2]float64{-2, 30}, target: samples, words: []string{"temperature", "temp", "beer temperature", "beer temp", "temperatur", "t"}},
	{key: "gross", name: "Gross weight", kind: quantity.Mass(0).Kind(), units: massUnits, band: [2]float64{60, 60000}, target: samples, words: []string{"gross", "gross weight", "full weight", "weight", "full", "brutto", "mass", "gewicht", "weight full"}},
	{key: "tare", name: "Tare", kind: quantity.Mass(0).Kind(), units: massUnits, band: [2]float64{5, 15000}, target: samples, words: []string{"tare", "empty", "empty weight", "tara", "tare weight", "weight empty"}},
	{key: "gap", name: "Rim down to beer, in the neck", kind: quantity.Length(0).Kind(), units: []string{"mm", "cm", "in"}, band: [2]float64{10, 150}, target: samples, words: []string{"gap", "fill height", "rim to beer", "ullage height", "neck gap", "füllhöhe"}},
	{key: "shake", name: "Shaking time", kind: quantity.Minutes(0).Kind(), units: []string{"min", "s"}, band: [2]float64{1, 15}, target: samples, words: []string{"shake", "shake time", "shaking time", "minutes shaken"}},
	{key: "capacity", name: "Capacity, brimful", kind: quantity.Volume(0).Kind(), units: volumeUnits, band: [2]float64{100, 62000}, target: samples, words: []string{"capacity", "brimful", "brimful capacity", "brimful volume", "randvoll"}},
	{key: "sg", name: "Specific gravity of the beer", kind: quantity.SpecificGravity(0).Kind(), units: []string{"SG", "°P"}, band: [2]float64{0.99, 1.06}, target: samples, words: []string{"sg", "gravity", "specific gravity", "final gravity", "fg", "plato", "extract", "extrakt"}},
	{key: "co2", name: "Carbonation", kind: quantity.Carbonation(0).Kind(), units: []string{"vol", "g/L"}, band: [2]float64{1.4, 4.6}, target: samples, words: []string{"co2", "carbonation", "volumes co2", "co2 volumes"}},
	{key: "abv", name: "Alcohol by volume", kind: quantity.Alcohol(0).Kind(), units: []string{"%"}, band: [2]float64{0, 16}, target: samples, words: []string{"abv", "alcohol", "alkohol"}},
	{key: "flags", name: "Flags: foam, dent, low fill, bulged", sort: aText, target: samples, words: []string{"flag", "flags", "defect", "condition"}},
	{key: "taken_by", name: "Who read it", sort: aText, target: samples, words: []string{"by", "who", "technician", "tech", "operator", "initials", "analyst", "name", "prüfer"}},
	{key: "note", name: "Note", sort: aText, target: samples, words: []string{"note", "notes", "comment", "comments", "remark", "remarks", "bemerkung"}},

	{key: "format", name: "Package format", sort: aText, target: lots, words: []string{"format", "package", "package format", "container", "gebinde", "format name"}},
	{key: "kind", name: "Kind: can, bottle, keg", sort: aChoice, target: lots, words: []string{"kind", "package kind", "type", "art"}},
	{key: "nominal", name: "Nominal volume", kind: quantity.Volume(0).Kind(), units: volumeUnits, band: [2]float64{100, 60000}, target: lots, words: []string{"nominal", "nominal volume", "volume", "size", "contents", "nennvolumen"}},
	{key: "closure", name: "Closure", sort: aText, target: lots, words: []string{"closure", "end", "crown", "verschluss"}},
	{key: "lot", name: "Lot", sort: aText, target: lots, words: []string{"lot", "delivery", "lot name", "mould", "mold", "charge", "lot no", "name"}},
	{key: "from", name: "First day in force", sort: aDate, target: lots, words: []string{"from", "date", "in force", "since", "datum", "ab", "in force from", "valid from"}},
	{key: "capacity", name: "Capacity, mean", kind: quantity.Volume(0).Kind(), units: volumeUnits, band: [2]float64{100, 62000}, target: lots, words: []string{"capacity", "brimful", "capacity mean", "brimful capacity", "mean capacity"}},
	{key: "capacity_sd", name: "Capacity, spread (SD)", kind: quantity.Volume(0).Kind(), units: volumeUnits, band: [2]float64{0.05, 60}, target: lots, words: []string{"capacity sd", "capacity spread", "sd capacity", "brimful sd", "capacity s"}},
	{key: "capacity_n", name: "Packages measured for capacity", sort: aCount, target: lots, words: []string{"capacity n", "n capacity", "measured", "capacity count"}},
	{key: "capacity_source", name: "Capacity from: lot, drawing", sort: aChoice, target: lots, words: []string{"capacity source", "capacity from", "source"}},
	{key: "tare", name: "Tare, mean", kind: quantity.Mass(0).Kind(), units: massUnits, band: [2]float64{5, 15000}, target: lots, words: []string{"tare", "empty weight", "tare mean", "tara", "mean tare", "empty"}},
	{key: "tare_sd", name: "Tare, spread (SD)", kind: quantity.Mass(0).Kind(), units: massUnits, band: [2]float64{0.02, 100}, target: lots, words: []string{"tare sd", "tare spread", "sd tare", "tara sd", "tare s"}},
	{key: "tare_n", name: "Packages weighed for tare", sort: aCount, target: lots, words: []string{"tare n", "n tare", "weighed", "tare count"}},
	{key: "neck_gap", name: "Neck: rim down to beer", kind: quantity.Length(0).Kind(), units: []string{"mm", "cm", "in"}, band: [2]float64{10, 150}, target: lots, words: []string{"neck gap", "gap", "rim to beer"}},
	{key: "neck_headspace", name: "Neck: headspace at that distance", kind: quantity.Volume(0).Kind(), units: volumeUnits, band: [2]float64{2, 100}, target: lots, words: []string{"neck headspace", "headspace"}},
	{key: "neck_ml_per_mm", name: "Neck: volume per height", kind: quantity.VolumePerLength(0).Kind(), units: []string{"mL/mm"}, band: [2]float64{0.05, 10}, target: lots, words: []string{"neck ml per mm", "ml per mm", "ml mm"}},
	{key: "note", name: "Note", sort: aText, target: lots, words: []string{"note", "notes", "comment", "remark", "bemerkung"}},
}

func fieldOf(target, key string) *field {
	for i := range fields {
		if fields[i].target == target && fields[i].key == key {
			return &fields[i]
		}
	}
	return nil
}

// Fields lists what a column can be.
func Fields() []lab.ImportField {
	out := make([]lab.ImportField, len(fields))
	for i, f := range fields {
		out[i] = lab.ImportField{Target: f.target, Field: f.key, Name: f.name, Units: f.units}
	}
	return out
}

// wordsOf cuts a header into words in lower case, and takes out what stands in
// brackets or looks like a unit of a kind: "Temp. (°F)" is temp and °F.
func wordsOf(header string) (words []string, inBrackets string) {
	h := strings.ToLower(marks.Replace(header))
	if i := strings.IndexAny(h, "([{"); i >= 0 {
		if j := strings.IndexAny(h[i:], ")]}"); j > 0 {
			inBrackets = strings.TrimSpace(h[i+1 : i+j])
			h = h[:i] + " " + h[i+j+1:]
		}
	}
	words = strings.FieldsFunc(h, func(r rune) bool { return strings.ContainsRune(" _-./,:;#|\t\n", r) })
	return words, inBrackets
}

// headerUnit finds the unit that a header names for a field.
func headerUnit(f *field, header string) string {
	words, in := wordsOf(header)
	candidates := []string{in}
	for n := min(len(words), 3); n > 0; n-- {
		candidates = append(candidates, strings.Join(words[len(words)-n:], " "), strings.Join(words[len(words)-n:], "/"))
	}
	for _, c := range candidates {
		if u := unitNamed(f, c); u != "" {
			return u
		}
	}
	if f.key == "sg" {
		for _, w := range words {
			switch w {
			case "sg":
				return "SG"
			case "plato":
				return "°P"
			}
		}
	}
	return ""
}

var unitWords = map[string]string{"µg/l": "ppb", "ug/l": "ppb", "μg/l": "ppb", "mg/l": "ppm", "p": "°P", "plato": "°P", "deg p": "°P", "sg": "SG",
	"deg c": "°C", "deg f": "°F", "grams": "g", "gram": "g", "ounces": "oz", "floz": "fl oz", "minutes": "min", "vols": "vol", "volumes": "vol", "sec": "s", "seconds": "s"}

// unitNamed gives the field's own spelling of a unit.
func unitNamed(f *field, text string) string {
	text = strings.TrimSpace(strings.ReplaceAll(text, "º", "°"))
	if text == "" {
		return ""
	}
	for _, u := range f.units {
		if strings.EqualFold(u, text) || strings.EqualFold(strings.TrimPrefix(u, "°"), text) {
			return u
		}
	}
	if u := unitWords[text]; u != "" && u != text {
		return unitNamed(f, u)
	}
	return ""
}

// choices of the fields that hold words.
var choices = map[string]map[string]string{
	samples + "/kind": {
		"shaken": "shaken", "s": "shaken", "shake": "shaken", "yes": "shaken", "y": "shaken", "equilibrated": "shaken", "geschüttelt": "shaken",
		"unshaken": "unshaken", "u": "unshaken", "not shaken": "unshaken", "no": "unshaken", "n": "unshaken", "still": "unshaken", "ungeschüttelt": "unshaken",
		"inlet": "inlet", "i": "inlet", "line": "inlet", "filler inlet": "inlet", "in line": "inlet",
	},
	lots + "/kind": {
		"can": "can", "cans": "can", "dose": "can", "bottle": "bottle", "bottles": "bottle", "glass": "bottle", "flasche": "bottle", "keg": "keg", "kegs": "keg", "fass": "keg",
	},
	lots + "/capacity_source": {"lot": "lot", "measured": "lot", "weighed": "lot", "drawing": "drawing", "nominal": "drawing", "supplier": "drawing"},
}
