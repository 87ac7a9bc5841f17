package quantity

import (
	"math"
	"slices"
)

// The quantities. Base units: oxygen in liquid µg/L (written ppb), mass g,
// volume mL, length mm, temperature °C, pressure kPa, density kg/m³, time min, flow hL/h.
type (
	DO         = Of[tankDO]     // read in a tank or line
	UnshakenDO = Of[unshakenDO] // read from a package that was not shaken
	ShakenDO   = Of[shakenDO]   // read from a package shaken to equilibrium
	TPO        = Of[tpo]        // all oxygen of a package per litre of its beer
	OxygenMass = Of[oxygenMass] // µg

	Temperature           = Of[temperature]
	TemperatureDifference = Of[temperatureDifference]
	Mass                  = Of[mass]
	Volume                = Of[volume]
	VolumePerLength       = Of[volumePerLength] // mL per mm of neck
	Length                = Of[length]
	Density               = Of[density]
	Pressure              = Of[pressure] // absolute
	GaugePressure         = Of[gaugePressure]
	SpecificGravity       = Of[gravity] // 20/20 °C
	Extract               = Of[extract] // % by mass, °P
	Alcohol               = Of[alcohol] // % by volume
	Carbonation           = Of[carbonation]
	Fraction              = Of[fraction]
	Minutes               = Of[minutes]
	Flow                  = Of[flow]       // of liquid
	WortFlow              = Of[wortFlow]   // of wort, in the unit of its pumps
	GasFlow               = Of[gasFlow]    // at 0 °C and 1 atm
	RoomVolume            = Of[roomVolume] // of a room
	Days                  = Of[days]
	Altitude              = Of[altitude]
	Price                 = Of[price] // of a mass of gas, in any currency
	GasInBeer             = Of[gasInBeer]
	Ingress               = Of[ingress] // of oxygen into a package
)

// CO2GramsPerVolume is the mass of one litre of carbon dioxide at 0 °C and
// 1 atm, g: the real gas (docs/method.md eq. 28; the ideal gas gives 1.9635).
const CO2GramsPerVolume = 1.9767

type (
	tankDO                struct{}
	unshakenDO            struct{}
	shakenDO              struct{}
	tpo                   struct{}
	oxygenMass            struct{}
	temperature           struct{}
	temperatureDifference struct{}
	mass                  struct{}
	volume                struct{}
	volumePerLength       struct{}
	length                struct{}
	density               struct{}
	pressure              struct{}
	gaugePressure         struct{}
	gravity               struct{}
	extract               struct{}
	alcohol               struct{}
	carbonation           struct{}
	fraction              struct{}
	minutes               struct{}
	flow                  struct{}
	wortFlow              struct{}
	gasFlow               struct{}
	roomVolume            struct{}
	days                  struct{}
	altitude              struct{}
	price                 struct{}
	gasInBeer             struct{}
	ingress               struct{}
)

func (tankDO) kind() *Kind                { return kindDO }
func (unshakenDO) kind() *Kind            { return kindUnshakenDO }
func (shakenDO) kind() *Kind              { return kindShakenDO }
func (tpo) kind() *Kind                   { return kindTPO }
func (oxygenMass) kind() *Kind            { return kindOxygenMass }
func (temperature) kind() *Kind           { return kindTemperature }
func (temperatureDifference) kind() *Kind { return kindTemperatureDifference }
func (mass) kind() *Kind                  { return kindMass }
func (volume) kind() *Kind                { return kindVolume }
func (volumePerLength) kind() *Kind       { return kindVolumePerLength }
func (length) kind() *Kind                { return kindLength }
func (density) kind() *Kind               { return kindDensity }
func (pressure) kind() *Kind              { return kindPressure }
func (gaugePressure) kind() *Kind         { return kindGaugePressure }
func (gravity) kind() *Kind               { return kindGravity }
func (extract) kind() *Kind               { return kindExtract }
func (alcohol) kind() *Kind               { return kindAlcohol }
func (carbonation) kind() *Kind           { return kindCarbonation }
func (fraction) kind() *Kind              { return kindFraction }
func (minutes) kind() *Kind               { return kindMinutes }
func (flow) kind() *Kind                  { return kindFlow }
func (wortFlow) kind() *Kind              { return kindWortFlow }
func (gasFlow) kind() *Kind               { return kindGasFlow }
func (roomVolume) kind() *Kind            { return kindRoomVolume }
func (days) kind() *Kind                  { return kindDays }
func (altitude) kind() *Kind              { return kindAltitude }
func (price) kind() *Kind                 { return kindPrice }
func (gasInBeer) kind() *Kind             { return kindGasInBeer }
func (ingress) kind() *Kind               { return kindIngress }

const absoluteZero = -273.15

var (
	oxygenUnits = []Unit{
		{Symbol: "ppb", Suffix: "ppb", Also: []string{"µg/L", "ug/L", "μg/L", "ug_l"}, Scale: 1},
		{Symbol: "ppm", Suffix: "ppm", Also: []string{"mg/L", "mg_l"}, Scale: 1000},
	}
	pressureUnits = []Unit{
		{Symbol: "kPa", Suffix: "kpa", Scale: 1},
		{Symbol: "bar", Suffix: "bar", Scale: 100},
		{Symbol: "mbar", Suffix: "mbar", Scale: 0.1},
		{Symbol: "hPa", Suffix: "hpa", Scale: 0.1},
		{Symbol: "Pa", Suffix: "pa", Scale: 0.001},
		{Symbol: "psi", Suffix: "psi", Scale: 6.894757293168},
		{Symbol: "atm", Suffix: "atm", Scale: 101.325},
		{Symbol: "mmHg", Suffix: "mmhg", Also: []string{"torr"}, Scale: 101.325 / 760},
		{Symbol: "inHg", Suffix: "inhg", Scale: 101.325 / 760 * 25.4},
	}

	kindDO         = &Kind{Name: "DO", Units: oxygenUnits, Min: math.Inf(-1)}
	kindUnshakenDO = &Kind{Name: "unshaken DO", Units: oxygenUnits, Min: math.Inf(-1)}
	kindShakenDO   = &Kind{Name: "shaken DO", Units: oxygenUnits, Min: math.Inf(-1)}
	kindTPO        = &Kind{Name: "TPO", Units: oxygenUnits, Min: math.Inf(-1)}
	kindOxygenMass = &Kind{Name: "oxygen", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "µg", Suffix: "ug", Also: []string{"μg"}, Scale: 1},
		{Symbol: "mg", Suffix: "mg", Scale: 1e3},
		{Symbol: "g", Suffix: "g", Scale: 1e6},
	}}
	kindTemperature = &Kind{Name: "temperature", Min: absoluteZero, Units: []Unit{
		{Symbol: "°C", Suffix: "c", Also: []string{"ºC", "degC", "celsius"}, Scale: 1},
		{Symbol: "°F", Suffix: "f", Also: []string{"ºF", "degF", "fahrenheit"}, Scale: 1 / 1.8, Offset: -32},
		{Symbol: "K", Suffix: "k", Also: []string{"kelvin"}, Scale: 1, Offset: absoluteZero},
	}}
	kindTemperatureDifference = &Kind{Name: "temperature difference", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "K", Suffix: "k", Also: []string{"°C", "c"}, Scale: 1},
		{Symbol: "°F", Suffix: "f", Scale: 1 / 1.8},
	}}
	kindMass = &Kind{Name: "mass", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "g", Suffix: "g", Scale: 1},
		{Symbol: "kg", Suffix: "kg", Scale: 1000},
		{Symbol: "mg", Suffix: "mg", Scale: 0.001},
		{Symbol: "oz", Suffix: "oz", Scale: 28.349523125},
		{Symbol: "lb", Suffix: "lb", Also: []string{"lbs"}, Scale: 453.59237},
	}}
	kindVolume = &Kind{Name: "volume", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "mL", Suffix: "ml", Also: []string{"cm3", "cm³", "cc"}, Scale: 1},
		{Symbol: "cL", Suffix: "cl", Scale: 10},
		{Symbol: "L", Suffix: "l", Also: []string{"litre", "liter"}, Scale: 1000},
		{Symbol: "hL", Suffix: "hl", Scale: 1e5},
		{Symbol: "fl oz", Suffix: "floz", Also: []string{"fl. oz", "fl_oz"}, Scale: 29.5735295625},
		{Symbol: "bbl", Suffix: "bbl", Scale: 117347.765304}, // US beer barrel, 31 US gallons
		{Symbol: "gal", Suffix: "gal", Scale: 3785.411784},   // US gallon
	}}
	kindVolumePerLength = &Kind{Name: "neck volume per height", Units: []Unit{{Symbol: "mL/mm", Suffix: "ml_per_mm", Scale: 1}}}
	kindLength          = &Kind{Name: "length", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "mm", Suffix: "mm", Scale: 1},
		{Symbol: "cm", Suffix: "cm", Scale: 10},
		{Symbol: "m", Suffix: "m", Scale: 1000},
		{Symbol: "in", Suffix: "in", Also: []string{"inch", `"`}, Scale: 25.4},
		{Symbol: "ft", Suffix: "ft", Also: []string{"foot", "feet", "'"}, Scale: 304.8},
	}}
	kindDensity = &Kind{Name: "density", Units: []Unit{
		{Symbol: "kg/m³", Suffix: "kg_m3", Also: []string{"kg/m3", "g/L"}, Scale: 1},
		{Symbol: "g/mL", Suffix: "g_ml", Also: []string{"g/cm3", "g/cm³"}, Scale: 1000},
	}}
	kindPressure      = &Kind{Name: "absolute pressure", Units: said(pressureUnits, "a", "abs")}
	kindGaugePressure = &Kind{Name: "gauge pressure", Units: said(pressureUnits, "g", "gauge"), Min: -101.325}
	kindGravity       = &Kind{Name: "specific gravity", Units: []Unit{{Suffix: "sg", Scale: 1}}, parse: gravityFromPlato}
	kindExtract       = &Kind{Name: "extract", Min: -10, Units: []Unit{{Symbol: "°P", Suffix: "plato", Also: []string{"P", "%", "% w/w"}, Scale: 1}}, parse: platoFromGravity}
	kindAlcohol       = &Kind{Name: "alcohol", Units: []Unit{{Symbol: "% v/v", Suffix: "pct", Also: []string{"%", "ABV", "% vol"}, Scale: 1}}}
	kindCarbonation   = &Kind{Name: "carbonation", Units: []Unit{
		{Symbol: "vol", Suffix: "vol", Also: []string{"vols", "volumes"}, Scale: 1},
		{Symbol: "g/L", Suffix: "g_l", Scale: 1 / CO2GramsPerVolume},
	}}
	kindFraction = &Kind{Name: "fraction", Units: []Unit{
		{Suffix: "fraction", Also: []string{"part"}, Scale: 1},
		{Symbol: "%", Suffix: "pct", Scale: 0.01},
		{Symbol: "ppm v/v", Suffix: "ppmv", Also: []string{"ppm"}, Scale: 1e-6},
	}}
	kindMinutes = &Kind{Name: "time", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "min", Suffix: "min", Also: []string{"minutes"}, Scale: 1},
		{Symbol: "h", Suffix: "h", Also: []string{"hours", "hour"}, Scale: 60},
		{Symbol: "s", Suffix: "s", Also: []string{"seconds"}, Scale: 1.0 / 60},
		{Symbol: "d", Suffix: "d", Also: []string{"days", "day"}, Scale: 1440},
	}}
	kindFlow = &Kind{Name: "flow", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "hL/h", Suffix: "hl_h", Scale: 1},
		{Symbol: "L/h", Suffix: "l_h", Scale: 0.01},
		{Symbol: "L/min", Suffix: "l_min", Scale: 0.6},
		{Symbol: "m³/h", Suffix: "m3_h", Also: []string{"m3/h"}, Scale: 10},
		{Symbol: "bbl/h", Suffix: "bbl_h", Scale: 1.17347765304},
	}}
	kindWortFlow = &Kind{Name: "flow of wort", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "L/min", Suffix: "l_min", Also: []string{"lpm"}, Scale: 1},
		{Symbol: "hL/h", Suffix: "hl_h", Scale: 100.0 / 60},
		{Symbol: "m³/h", Suffix: "m3_h", Also: []string{"m3/h"}, Scale: 1000.0 / 60},
		{Symbol: "gal/min", Suffix: "gal_min", Also: []string{"gpm"}, Scale: 3.785411784},
		{Symbol: "bbl/h", Suffix: "bbl_h", Scale: 117.347765304 / 60},
	}}
	// A standard cubic foot is of 60 °F and 1 atm here (common practice; some take 70 °F).
	kindGasFlow = &Kind{Name: "gas flow", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "NL/min", Suffix: "nl_min", Also: []string{"NL/m", "L/min", "lpm"}, Scale: 1},
		{Symbol: "Nm³/h", Suffix: "nm3_h", Also: []string{"Nm3/h", "m3/h", "m³/h"}, Scale: 1000.0 / 60},
		{Symbol: "scfh", Suffix: "scfh", Scale: 28.316846592 * 273.15 / 288.706 / 60},
	}}
	kindRoomVolume = &Kind{Name: "volume of a room", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "m³", Suffix: "m3", Scale: 1},
		{Symbol: "ft³", Suffix: "ft3", Also: []string{"cu ft", "cuft"}, Scale: 0.028316846592},
	}}
	kindDays = &Kind{Name: "days", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "d", Suffix: "days", Also: []string{"day"}, Scale: 1},
		{Symbol: "weeks", Suffix: "weeks", Also: []string{"w", "wk", "week"}, Scale: 7},
		{Symbol: "months", Suffix: "months", Also: []string{"month"}, Scale: 30},
		{Symbol: "h", Suffix: "hours", Also: []string{"hour"}, Scale: 1.0 / 24},
	}}
	kindAltitude = &Kind{Name: "altitude", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "m", Suffix: "m", Scale: 1},
		{Symbol: "ft", Suffix: "ft", Also: []string{"feet"}, Scale: 0.3048},
	}}
	kindPrice = &Kind{Name: "price", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "/kg", Suffix: "per_kg", Also: []string{"a kg"}, Scale: 1},
		{Symbol: "/lb", Suffix: "per_lb", Also: []string{"a lb"}, Scale: 1 / 0.45359237},
		{Symbol: "/t", Suffix: "per_t", Also: []string{"a t"}, Scale: 0.001},
	}}
	kindGasInBeer = &Kind{Name: "dissolved gas", Units: []Unit{
		{Symbol: "g/L", Suffix: "g_l", Scale: 1},
		{Symbol: "mg/L", Suffix: "mg_l", Scale: 0.001},
	}}
	kindIngress = &Kind{Name: "ingress", Min: math.Inf(-1), Units: []Unit{
		{Symbol: "mL/d", Suffix: "ml_day", Also: []string{"mL/day", "cm3/d", "cc/d"}, Scale: 1},
		{Symbol: "µL/d", Suffix: "ul_day", Also: []string{"µL/day", "uL/d", "uL/day", "μL/d"}, Scale: 0.001},
	}}
)

// said lets people say in a unit that a pressure is absolute or gauge: "2 bara".
func said(units []Unit, endings ...string) []Unit {
	list := slices.Clone(units)
	for i := range list {
		for _, e := range endings {
			list[i].Also = append(slices.Clip(list[i].Also), list[i].Symbol+e)
		}
	}
	return list
}

// examples for messages: a usual number in the base unit.
var examples = map[string]string{
	"DO": "25", "unshaken DO": "40", "shaken DO": "48", "TPO": "110", "oxygen": "38", "temperature": "4",
	"temperature difference": "0.2", "mass": "372.4", "volume": "355", "neck volume per height": "0.24",
	"length": "52", "density": "1.2", "absolute pressure": "101.325", "gauge pressure": "100",
	"specific gravity": "1.0105", "extract": "2.6", "alcohol": "5.0", "carbonation": "2.5", "fraction": "0.5", "time": "12", "flow": "60",
	"flow of wort": "50", "gas flow": "500", "volume of a room": "400", "days": "120", "altitude": "310", "price": "0.4", "dissolved gas": "0.02", "ingress": "0.001",
}
