package cli

import (
	"encoding/json"
	"fmt"
	"reflect"
	"regexp"
	"strings"

	"ullage/core/calc"
	"ullage/core/quantity"
)

// planCommand holds the planners: each is a calculation of the table with its
// fields as options.
type planCommand struct {
	Purge    planPurge    `cmd:"" help:"What a purge leaves, takes and costs; or how much of it a target needs."`
	Gas      planGas      `cmd:"" help:"Oxygen that CO2 or nitrogen of some purity brings."`
	Strip    planStrip    `cmd:"" help:"DO after bubbling gas through beer and venting it."`
	Addition planAddition `cmd:"" help:"What push water, finings, hops, hoses and heels bring to a tank."`
	Air      planAir      `cmd:"" help:"Air in a package to TPO, and the air that a target allows."`
	After    planAfter    `cmd:"" help:"Oxygen of a package in store, closures and stores compared."`
	Age      planAge      `cmd:"" help:"Equivalent age from a temperature history."`
	Priming  planPriming  `cmd:"" help:"Sugar to prime beer, and the pressure it ends at."`
	Home     planHome     `cmd:"" help:"A plan for keg, bottle or can without a meter."`
	Wort     WortCmd      `cmd:"" help:"Gas for wort: the same as ullage wort."`
}

// planOutput are the options of every plan.
type planOutput struct {
	Explain bool              `in:"explain" group:"Output" help:"Print the derivation line by line: equation, numbers, source."`
	Format  string            `enum:"text,json" default:"text" group:"Output" help:"text or json."`
	U       map[string]string `name:"u" in:"u" sep:"none" mapsep:"none" placeholder:"FIELD=VALUE" group:"Output" help:"Standard uncertainty of an input by its field name, such as temperature=0.5C, vessel=2%."`
}

type planPurge struct {
	Vessel   *quantity.Volume `in:"vessel_ml" placeholder:"50hL" group:"Vessel" help:"Volume of the vessel."`
	Diameter *quantity.Length `in:"diameter_mm" placeholder:"1600mm" group:"Vessel" help:"Or its inner diameter"`
	Straight *quantity.Length `in:"straight_mm" placeholder:"2400mm" group:"Vessel" help:"with the length of its straight part"`
	Cone     *quantity.Length `in:"cone_mm" placeholder:"900mm" group:"Vessel" help:"and the height of its cone."`
	Beer     *quantity.Volume `in:"beer_ml" placeholder:"45hL" group:"Vessel" help:"Beer that goes in; as much as the vessel when not said."`

	Method    string                  `in:"method" enum:"sweep,pressure,vacuum,displacement," default:"" placeholder:"sweep" group:"Purge" help:"sweep (when not said), pressure, vacuum or displacement."`
	Volumes   *float64                `in:"volumes" placeholder:"5" group:"Purge" help:"sweep: turnovers of the vessel."`
	Cells     *float64                `in:"cells" placeholder:"1" group:"Purge" help:"sweep: tanks in series; 1 mixed, 0 plug, 2 to 5 a calm sweep."`
	Works     *quantity.Fraction      `in:"works_fraction" placeholder:"80%" group:"Purge" help:"sweep: share of the gas that works; the rest takes a short way out."`
	Cycles    *float64                `in:"cycles" placeholder:"8" group:"Purge" help:"pressure, vacuum: cycles."`
	HighGauge *quantity.GaugePressure `in:"high_gauge_kpa" placeholder:"1bar" group:"Purge" help:"pressure: upper gauge pressure of a cycle."`
	High      *quantity.Pressure      `in:"high_kpa" placeholder:"2bar" group:"Purge" help:"The same, absolute."`
	LowGauge  *quantity.GaugePressure `in:"low_gauge_kpa" placeholder:"-0.9bar" group:"Purge" help:"vacuum: lower gauge pressure of a cycle, below zero: --low-gauge=-0.9bar."`
	Low       *quantity.Pressure      `in:"low_kpa" placeholder:"0.1bar" group:"Purge" help:"Lower absolute pressure of a cycle; the station's when not said."`
	Pocket    *quantity.Volume        `in:"pocket_ml" placeholder:"100mL" group:"Purge" help:"displacement: gas that the liquid leaves."`
	Film      *quantity.Volume        `in:"film_ml" placeholder:"1L" group:"Purge" help:"displacement: liquid left behind."`
	FilmDO    *quantity.DO            `name:"film-do" in:"film_do_ppb" placeholder:"9ppm" group:"Purge" help:"Its DO; air-saturated when not said."`
	Step      []string                `sep:"none" placeholder:"METHOD:KEY=VALUE,…" group:"Purge" help:"A sequence instead: --step displacement:pocket=100mL,u-pocket=20mL --step pressure:high-gauge=2bar,cycles=4; u-KEY is the standard uncertainty of KEY."`

	Target   *quantity.DO       `in:"target_ppb" placeholder:"10ppb" group:"Backwards" help:"Oxygen the purge may add to the beer."`
	Residual *quantity.Fraction `in:"residual_fraction" placeholder:"100ppm" group:"Backwards" help:"Or the oxygen to be left in the gas: 100ppm, 0.1%."`
	Basis    string             `in:"basis" enum:"upper,headspace,equilibrium,contact," default:"" placeholder:"upper" group:"Backwards" help:"Figure that --target is of: upper, headspace, equilibrium or contact."`

	Gas         string                  `in:"gas" enum:"co2,n2," default:"" placeholder:"co2" group:"Gas" help:"co2 or n2."`
	GasOxygen   *quantity.Fraction      `in:"gas_oxygen_fraction" placeholder:"30ppm" group:"Gas" help:"Oxygen in it: the floor."`
	Start       *quantity.Fraction      `in:"start_fraction" placeholder:"20.9%" group:"Gas" help:"Oxygen in the vessel before; air when not said."`
	Temperature *quantity.Temperature   `short:"t" in:"temperature_c" placeholder:"20C" group:"Gas" help:"Temperature of the gas in the vessel."`
	BeerT       *quantity.Temperature   `name:"beer-temperature" in:"beer_temperature_c" placeholder:"2C" group:"Gas" help:"Temperature of the beer that comes."`
	Station     *quantity.Pressure      `in:"station_kpa" placeholder:"977hPa" group:"Gas" help:"Air pressure of the place."`
	Altitude    *quantity.Altitude      `in:"altitude_m" placeholder:"310" group:"Gas" help:"Or its altitude, m."`
	AtGauge     *quantity.GaugePressure `in:"at_gauge_kpa" placeholder:"0.2bar" group:"Gas" help:"Gauge pressure while sweeping or pushing out."`
	FillGauge   *quantity.GaugePressure `in:"fill_gauge_kpa" placeholder:"1bar" group:"Gas" help:"Gauge pressure when the beer comes."`

	Flow    *quantity.GasFlow    `in:"flow_nl_min" placeholder:"500" group:"Effort" help:"Gas flow, litres at 0 °C and 1 atm a minute."`
	Price   *quantity.Price      `in:"price_per_kg" placeholder:"0.4" group:"Effort" help:"Price of a kilogram of gas."`
	Room    *quantity.RoomVolume `in:"room_m3" placeholder:"400" group:"Effort" help:"Volume of the room, m³, if the gas goes there."`
	Reading *quantity.Fraction   `in:"reading_fraction" placeholder:"900ppm" group:"Effort" help:"Oxygen read in the gas afterwards, held against the plan."`
	planOutput
}

type planGas struct {
	Oxygen      *quantity.Fraction      `in:"oxygen_fraction" placeholder:"10ppm" help:"Oxygen in the gas."`
	Gas         string                  `in:"gas" enum:"co2,n2," default:"" placeholder:"co2" help:"co2 or n2."`
	CO2         *quantity.Carbonation   `name:"co2" in:"co2_vol" placeholder:"2.5" help:"CO2 dissolved and kept: volumes, or 5g/L."`
	Dissolved   *quantity.GasInBeer     `in:"dissolved_g_l" placeholder:"0.02" help:"Or any gas dissolved, g/L."`
	Temperature *quantity.Temperature   `short:"t" in:"temperature_c" placeholder:"2C" help:"Temperature of the beer."`
	Gauge       *quantity.GaugePressure `in:"pressure_gauge_kpa" placeholder:"1bar" help:"Gauge pressure of the gas on the beer."`
	Altitude    *quantity.Altitude      `in:"altitude_m" placeholder:"310" help:"Altitude of the place, m."`
	Beer        *quantity.Volume        `in:"beer_ml" placeholder:"40hL" help:"Beer below the gas,"`
	Headspace   *quantity.Volume        `in:"headspace_ml" placeholder:"4hL" help:"and the gas space above it."`
	Target      *quantity.DO            `in:"target_ppb" placeholder:"20ppb" help:"Oxygen that the gas dissolved may bring: gives the oxygen it may hold."`
	planOutput
}

type planStrip struct {
	DO          *quantity.DO            `name:"do" short:"d" in:"do_ppb" placeholder:"120ppb" help:"DO before."`
	Temperature *quantity.Temperature   `short:"t" in:"temperature_c" placeholder:"2C" help:"Temperature of the beer."`
	PerBeer     *float64                `name:"gas-per-beer" in:"gas_per_beer" placeholder:"0.4" help:"Volumes of gas for each volume of beer, at its temperature and pressure."`
	Target      *quantity.DO            `in:"target_ppb" placeholder:"40ppb" help:"Or the DO wanted."`
	Efficiency  *quantity.Fraction      `in:"efficiency_fraction" placeholder:"15%" help:"How near to equilibrium the bubbles leave."`
	Gas         string                  `in:"gas" enum:"co2,n2," default:"" placeholder:"co2" help:"co2 or n2."`
	GasOxygen   *quantity.Fraction      `in:"gas_oxygen_fraction" placeholder:"10ppm" help:"Oxygen in it."`
	Pressure    *quantity.Pressure      `in:"pressure_kpa" placeholder:"2bar" help:"Absolute pressure in the vessel,"`
	Gauge       *quantity.GaugePressure `name:"pressure-gauge" in:"pressure_gauge_kpa" placeholder:"1bar" help:"or gauge."`
	Altitude    *quantity.Altitude      `in:"altitude_m" placeholder:"310m" help:"Altitude of the place."`
	Beer        *quantity.Volume        `in:"beer_ml" placeholder:"40hL" help:"Beer, for the gas in kg."`
	planOutput
}

type planAddition struct {
	Beer        *quantity.Volume      `in:"beer_ml" placeholder:"40hL" help:"Beer in the tank."`
	DO          *quantity.DO          `name:"do" short:"d" in:"do_ppb" placeholder:"12ppb" help:"Its DO."`
	Add         []string              `sep:"none" placeholder:"KIND:KEY=VALUE,…" help:"What goes in, again and again: liquid:volume=20L,do=9ppm,name=finings · hops:mass=20kg,cycles=5,gauge=1bar · hose:bore=50mm,length=1000cm,holds=air · heel:volume=10L · air:volume=1L; u-KEY, as u-volume=1L, is the standard uncertainty of KEY."`
	Temperature *quantity.Temperature `short:"t" in:"temperature_c" placeholder:"10C" help:"Temperature of what goes in."`
	Altitude    *quantity.Altitude    `in:"altitude_m" placeholder:"310" help:"Altitude of the place, m."`
	Limit       *quantity.DO          `in:"limit_ppb" placeholder:"50ppb" help:"DO allowed after: gives the DO that the liquids may have."`
	planOutput
}

type planAir struct {
	Beer        *quantity.Volume      `in:"beer_ml" placeholder:"355mL" help:"Volume of the beer."`
	Headspace   *quantity.Volume      `in:"headspace_ml" placeholder:"18mL" help:"Volume of the gas above it."`
	UnshakenDO  *quantity.UnshakenDO  `name:"unshaken-do" in:"unshaken_do_ppb" placeholder:"43ppb" help:"What is in the beer already."`
	Air         *quantity.Volume      `in:"air_ml" placeholder:"0.1mL" help:"Air in the package,"`
	Share       *quantity.Fraction    `in:"air_fraction" placeholder:"2%" help:"or its share of the headspace,"`
	Driven      *quantity.Fraction    `in:"driven_fraction" placeholder:"99%" help:"or the share that foam or gas freed of air,"`
	Residue     *quantity.Volume      `in:"residue_ml" placeholder:"0.5mL" help:"or gas left over caustic."`
	Target      *quantity.TPO         `in:"target_ppb" placeholder:"110ppb" help:"TPO wanted."`
	Temperature *quantity.Temperature `short:"t" in:"temperature_c" placeholder:"20C" help:"Temperature of that gas."`
	Altitude    *quantity.Altitude    `in:"altitude_m" placeholder:"310" help:"Altitude of the place, m."`
	planOutput
}

type planAfter struct {
	TPO         *quantity.TPO         `name:"tpo" in:"tpo_ppb" placeholder:"60ppb" help:"TPO at closing."`
	Beer        *quantity.Volume      `in:"beer_ml" placeholder:"330mL" help:"Volume of the beer."`
	Temperature *quantity.Temperature `short:"t" in:"temperature_c" placeholder:"12C" help:"Temperature of the store."`
	Closure     string                `in:"closure" enum:"can,crown_scavenger,crown_low,crown_pvc,pet_barrier,pet," default:"" placeholder:"crown_low" help:"can, crown_scavenger, crown_low, crown_pvc, pet_barrier or pet."`
	Ingress     *quantity.Ingress     `in:"ingress_ml_day" placeholder:"0.001" help:"Or the oxygen that comes in, mL a day at 20 °C."`
	Uptake      string                `in:"uptake" enum:"bright,unfiltered,yeast," default:"" placeholder:"bright" help:"Kind of beer that takes up oxygen: bright, unfiltered or yeast."`
	HalfLife    *quantity.Days        `in:"half_life_days" placeholder:"5" help:"Half-life of oxygen in this beer at this temperature, days."`
	Keep        *quantity.Days        `in:"keep_days" placeholder:"120" help:"Days it should keep by the short end of the guide: gives the TPO that allows it."`
	Days        *quantity.Days        `in:"days" placeholder:"180" help:"Days to look ahead."`
	Q10         *float64              `name:"q10" in:"q10" placeholder:"3" help:"Ageing with 10 K."`
	Style       *float64              `in:"style_factor" placeholder:"1" help:"Keeping of this beer over a pale beer's: 0.5 hop-forward, 1.5 to 2 dark or strong."`
	planOutput
}

type planAge struct {
	Stay      []string              `sep:"none" placeholder:"14d@20C" help:"A stay, again and again, in any order; 14d@20C:u=1C with the standard uncertainty of its temperature."`
	Logger    string                `placeholder:"FILE" help:"Or a logger's CSV: a head with a column of time (or hours, days) and one of temperature."`
	DateOrder string                `in:"date_order" enum:"dmy,mdy," default:"" placeholder:"dmy" help:"dmy or mdy, where its dates can be read two ways."`
	Reference *quantity.Temperature `in:"reference_c" placeholder:"4C" help:"Temperature of the equivalent age."`
	Q10       *float64              `name:"q10" in:"q10" placeholder:"3" help:"Ageing with 10 K."`
	Code      *quantity.Days        `in:"code_days" placeholder:"120" help:"Code life at that temperature: gives the share used."`
	planOutput
}

type planPriming struct {
	Beer        *quantity.Volume      `in:"beer_ml" placeholder:"20L" help:"Beer to prime."`
	CO2         *quantity.Carbonation `name:"co2" in:"co2_vol" placeholder:"2.4" help:"Carbonation wanted."`
	Highest     *quantity.Temperature `in:"highest_c" placeholder:"20C" help:"Highest temperature since fermentation ended."`
	Unfermented *quantity.Extract     `in:"unfermented_plato" placeholder:"0P" help:"Extract that may still ferment."`
	Package     string                `in:"package" enum:"bottle,heavy_bottle,can,keg,flip_top,pet," default:"" placeholder:"bottle" help:"bottle, heavy_bottle, can, keg, flip_top or pet."`
	Warm        *quantity.Temperature `in:"warm_c" placeholder:"30C" help:"Warmest the package will be."`
	Altitude    *quantity.Altitude    `in:"altitude_m" placeholder:"310" help:"Altitude of the place, m."`
	planOutput
}

type planHome struct {
	Package   string                  `in:"package" enum:"keg,bottle,can," default:"" placeholder:"keg" help:"keg, bottle or can."`
	Beer      *quantity.Volume        `in:"beer_ml" placeholder:"19L" help:"Beer in the package."`
	Headspace *quantity.Volume        `in:"headspace_ml" placeholder:"600mL" help:"Gas above it."`
	Gauge     *quantity.GaugePressure `in:"gauge_kpa" placeholder:"2bar" help:"keg: gauge pressure of a purge cycle."`
	Cycles    *float64                `in:"cycles" placeholder:"5" help:"keg: cycles of the headspace."`
	Altitude  *quantity.Altitude      `in:"altitude_m" placeholder:"310" help:"Altitude of the place, m."`
	planOutput
}

func (c *planPurge) Run(s *streams) error {
	list, err := parts("--step", c.Step, "method")
	if err != nil {
		return err
	}
	return plan(s, "purge", c, map[string]any{"steps": list}, &c.planOutput, printPurge)
}
func (c *planAddition) Run(s *streams) error {
	list, err := parts("--add", c.Add, "kind")
	if err != nil {
		return err
	}
	return plan(s, "addition", c, map[string]any{"additions": list}, &c.planOutput, printAddition)
}
func (c *planGas) Run(s *streams) error   { return plan(s, "gas", c, nil, &c.planOutput, printGas) }
func (c *planStrip) Run(s *streams) error { return plan(s, "strip", c, nil, &c.planOutput, printStrip) }
func (c *planAir) Run(s *streams) error {
	return plan(s, "package-air", c, nil, &c.planOutput, printAir)
}
func (c *planAfter) Run(s *streams) error { return plan(s, "after", c, nil, &c.planOutput, printAfter) }
func (c *planPriming) Run(s *streams) error {
	return plan(s, "priming", c, nil, &c.planOutput, printPriming)
}
func (c *planHome) Run(s *streams) error { return plan(s, "home", c, nil, &c.planOutput, printHome) }

// plan runs a calculation with the options of a command and prints it; also is
// for what goes beside the print.
func plan[R any](s *streams, name string, command any, more map[string]any, out *planOutput, text func(*page, R), also ...func(R)) error {
	fields, flags := map[string]any{}, map[string]string{}
	options(reflect.ValueOf(command).Elem(), fields, flags)
	for k, v := range more {
		if !reflect.ValueOf(v).IsZero() {
			fields[k] = v
		}
	}
	input, err := json.Marshal(fields)
	if err != nil {
		return err
	}
	answer, err := calc.Do(name, input)
	if err != nil {
		return optionOf(err, flags)
	}
	if out.Format == "json" {
		enc := json.NewEncoder(s.out)
		enc.SetIndent("", "  ")
		enc.SetEscapeHTML(false)
		err = enc.Encode(answer)
	} else {
		var p page
		text(&p, answer.Result.(R))
		p.after(answer)
		_, err = s.out.Write(p.Bytes())
	}
	for _, f := range also {
		f(answer.Result.(R))
	}
	return err
}

// options collects what was given, by the field name in the tag "in", and the
// option that each field comes from.
func options(v reflect.Value, fields map[string]any, flags map[string]string) {
	for i := range v.NumField() {
		f, t := v.Field(i), v.Type().Field(i)
		if t.Anonymous {
			options(f, fields, flags)
			continue
		}
		name := t.Tag.Get("in")
		if name == "" {
			continue
		}
		flag := t.Tag.Get("name")
		if flag == "" {
			flag = kebab(t.Name)
		}
		flags[name] = "--" + flag
		if f.IsZero() {
			continue
		}
		if f.Kind() == reflect.Pointer {
			f = f.Elem()
		}
		if f.Kind() == reflect.Float64 {
			fields[name] = f.Float()
		} else {
			fields[name] = f.Interface()
		}
	}
}

func kebab(name string) string {
	var b strings.Builder
	for i, r := range name {
		if i > 0 && r >= 'A' && r <= 'Z' {
			b.WriteByte('-')
		}
		b.WriteRune(r)
	}
	return strings.ToLower(b.String())
}

// optionOf names the option instead of the field of a refused input.
func optionOf(err error, flags map[string]string) error {
	e, ok := err.(*quantity.Error)
	if !ok {
		return err
	}
	named := *e
	if flag := flags[e.Field]; flag != "" {
		named.Field = flag
	}
	// What mends it may be another field: that is an option too.
	named.Mend = fieldWord.ReplaceAllStringFunc(named.Mend, func(word string) string {
		if flag := flags[word]; flag != "" && strings.Contains(word, "_") {
			return flag
		}
		return word
	})
	return &named
}

var fieldWord = regexp.MustCompile(`[a-z][a-z0-9_]*`)

// numberOr is a number, or the text that holds one with its unit.
func numberOr(value string) any {
	var n json.Number
	if json.Unmarshal([]byte(value), &n) == nil && !strings.HasPrefix(value, `"`) {
		return n
	}
	return value
}

// parts reads METHOD:KEY=VALUE,KEY=VALUE into objects; values carry their
// units, and u-KEY is the standard uncertainty of KEY.
func parts(option string, list []string, first string) ([]map[string]any, error) {
	var out []map[string]any
	for _, text := range list {
		head, rest, _ := strings.Cut(text, ":")
		o := map[string]any{first: head}
		for _, pair := range strings.Split(rest, ",") {
			if pair == "" {
				continue
			}
			key, value, ok := strings.Cut(pair, "=")
			if !ok {
				return nil, &quantity.Error{Field: option, Value: text, Message: fmt.Sprintf("has %q, which is not key=value", pair), Mend: "write for example " + option + " " + head + ":volume=20L"}
			}
			key = strings.ReplaceAll(key, "-", "_")
			if of, ok := strings.CutPrefix(key, "u_"); ok {
				own, _ := o["u"].(map[string]any)
				if own == nil {
					own = map[string]any{}
					o["u"] = own
				}
				own[of] = numberOr(value)
				continue
			}
			o[key] = numberOr(value)
		}
		out = append(out, o)
	}
	return out, nil
}
