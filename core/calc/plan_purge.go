package calc

import (
	"math"

	"ullage/core/oxygen"
	"ullage/core/process"
	"ullage/core/quantity"
)

// PurgeStep is one way of exchanging the gas, alone or in a sequence.
type PurgeStep struct {
	Method    string                  `json:"method" help:"sweep, pressure, vacuum or displacement"`
	Volumes   *float64                `json:"volumes" help:"sweep: gas turnovers of the vessel"`
	Cells     *float64                `json:"cells" help:"sweep: tanks in series, 1 mixed (when not said), 0 plug, 2–100 between"`
	Works     *quantity.Fraction      `json:"works_fraction" help:"sweep: share of the gas that works, the rest takes a short way out; 1 when not said, 0.2–0.9 in tables of mixing factors (from memory)"`
	Cycles    *float64                `json:"cycles" help:"pressure, vacuum: number of cycles"`
	High      *quantity.Pressure      `json:"high_kpa" help:"pressure, vacuum: upper pressure of a cycle, absolute"`
	HighGauge *quantity.GaugePressure `json:"high_gauge_kpa" help:"the same, gauge"`
	Low       *quantity.Pressure      `json:"low_kpa" help:"lower pressure of a cycle, absolute; the station's when not said"`
	LowGauge  *quantity.GaugePressure `json:"low_gauge_kpa" help:"the same, gauge"`
	Pocket    *quantity.Volume        `json:"pocket_ml" help:"displacement: gas that the liquid leaves in the vessel"`
	Film      *quantity.Volume        `json:"film_ml" help:"displacement: liquid left in the vessel"`
	FilmDO    *quantity.DO            `json:"film_do_ppb" help:"its DO, air-saturated when not said"`
	Space     *quantity.Volume        `json:"space_ml" help:"gas space this step works on, when not the whole vessel"`
}

// PurgeSteps is a sequence.
type PurgeSteps []PurgeStep

// UnmarshalJSON reads the steps with the rules of an input.
func (s *PurgeSteps) UnmarshalJSON(text []byte) (err error) {
	*s, err = decodeList[PurgeStep](text, `[{"method": "pressure", "cycles": 5, "high_gauge_bar": 1}]`)
	if err == nil && len(*s) > 20 {
		err = &quantity.Error{Message: "has more than 20 steps", Mend: "give fewer"}
	}
	return err
}

// PurgeInput is a purge: a vessel, what is done to it, and what goes in then.
type PurgeInput struct {
	numbers
	Vessel    *quantity.Volume        `json:"vessel_ml" help:"volume of the vessel; or its dimensions"`
	Diameter  *quantity.Length        `json:"diameter_mm" help:"inner diameter of a standing cylinder or a hose"`
	Straight  *quantity.Length        `json:"straight_mm" help:"length of its straight part"`
	Cone      *quantity.Length        `json:"cone_mm" help:"height of the cone below it"`
	Method    string                  `json:"method" help:"sweep (when not said), pressure, vacuum or displacement"`
	Volumes   *float64                `json:"volumes" help:"sweep: gas turnovers of the vessel"`
	Cells     *float64                `json:"cells" help:"sweep: tanks in series, 1 mixed (when not said), 0 plug, 2–100 between"`
	Works     *quantity.Fraction      `json:"works_fraction" help:"sweep: share of the gas that works, the rest takes a short way out; 1 when not said, 0.2–0.9 in tables of mixing factors (from memory)"`
	Cycles    *float64                `json:"cycles" help:"pressure, vacuum: number of cycles"`
	High      *quantity.Pressure      `json:"high_kpa" help:"pressure, vacuum: upper pressure of a cycle, absolute"`
	HighGauge *quantity.GaugePressure `json:"high_gauge_kpa" help:"the same, gauge"`
	Low       *quantity.Pressure      `json:"low_kpa" help:"lower pressure of a cycle, absolute; the station's when not said"`
	LowGauge  *quantity.GaugePressure `json:"low_gauge_kpa" help:"the same, gauge"`
	Pocket    *quantity.Volume        `json:"pocket_ml" help:"displacement: gas that the liquid leaves in the vessel"`
	Film      *quantity.Volume        `json:"film_ml" help:"displacement: liquid left in the vessel"`
	FilmDO    *quantity.DO            `json:"film_do_ppb" help:"its DO, air-saturated when not said"`
	Steps     PurgeSteps              `json:"steps" help:"a sequence instead of one method, in order"`

	Target   *quantity.DO       `json:"target_ppb" help:"plan backwards: oxygen the purge may add to the beer"`
	Residual *quantity.Fraction `json:"residual_fraction" help:"plan backwards: oxygen left in the gas (residual_ppmv, residual_pct)"`
	Basis    string             `json:"basis" help:"figure that target_ppb is of: upper (when not said), headspace, equilibrium or contact"`

	Gas         string                  `json:"gas" help:"co2 (when not said) or n2"`
	GasOxygen   *quantity.Fraction      `json:"gas_oxygen_fraction" help:"oxygen in the purge gas (gas_oxygen_ppmv); 0 when not said"`
	Start       *quantity.Fraction      `json:"start_fraction" help:"oxygen in the vessel before; dry air when not said"`
	Temperature *quantity.Temperature   `json:"temperature_c" help:"temperature of the gas in the vessel; 20 °C when not said"`
	Station     *quantity.Pressure      `json:"station_kpa" help:"air pressure of the place; 1 atm when neither it nor the altitude is said"`
	Altitude    *quantity.Altitude      `json:"altitude_m" help:"altitude of the place, where there is no barometer"`
	At          *quantity.Pressure      `json:"at_kpa" help:"pressure while sweeping or pushing out, absolute; the station's when not said"`
	AtGauge     *quantity.GaugePressure `json:"at_gauge_kpa" help:"the same, gauge"`
	Fill        *quantity.Pressure      `json:"fill_kpa" help:"pressure when the beer comes, made with the purge gas; absolute"`
	FillGauge   *quantity.GaugePressure `json:"fill_gauge_kpa" help:"the same, gauge"`
	Beer        *quantity.Volume        `json:"beer_ml" help:"beer that goes in; as much as the vessel when not said"`
	BeerT       *quantity.Temperature   `json:"beer_temperature_c" help:"its temperature; 2 °C when not said"`

	Flow    *quantity.GasFlow    `json:"flow_nl_min" help:"gas flow, litres at 0 °C and 1 atm a minute"`
	Price   *quantity.Price      `json:"price_per_kg" help:"price of the gas, in any currency"`
	Room    *quantity.RoomVolume `json:"room_m3" help:"volume of the room, if the gas goes there"`
	Reading *quantity.Fraction   `json:"reading_fraction" help:"oxygen read in the gas after the purge (reading_ppmv, reading_pct)"`
	Explain bool                 `json:"explain" help:"give the derivation"`
}

// site is what all steps of a purge share.
type site struct {
	gas               process.Gas
	gasOxygen, start  quantity.Fraction
	t, beerT          quantity.Temperature
	station, at, fill quantity.Pressure
	vessel, beer      quantity.Volume
	fills             bool // the fill pressure is given
	flow              *quantity.GasFlow
	price             *quantity.Price
	film              quantity.OxygenMass
	list              []process.Step
	spaces            []quantity.Volume
	open              int // step whose amount a target sets, -1 for none
	basis             string
	lean              bool
	target            float64 // ppb; NaN for none
	residual          float64 // fraction; NaN for none
}

func (in *PurgeInput) site() (*site, error) {
	s := &site{t: or(in.Temperature, 20), beerT: or(in.BeerT, 2), flow: in.Flow, price: in.Price, fills: in.Fill != nil || in.FillGauge != nil, open: -1, lean: in.lean, basis: in.Basis, target: math.NaN(), residual: math.NaN()}
	var errs [8]error
	s.gas, errs[0] = purgeGas(in.Gas)
	s.gasOxygen, errs[1] = fraction("gas_oxygen_fraction", in.GasOxygen, 0)
	s.start, errs[2] = fraction("start_fraction", in.Start, oxygen.DryAirO2)
	s.station, errs[3] = station(in.Station, in.Altitude)
	s.at, errs[4] = absolute("at", in.At, in.AtGauge, s.station, s.station)
	s.fill, errs[5] = absolute("fill", in.Fill, in.FillGauge, s.station, s.station)
	s.vessel, errs[6] = in.vessel()
	s.beer = or(in.Beer, s.vessel)
	errs[7] = bigVolume("beer_ml", s.beer)
	if err := first(errs[:]...); err != nil {
		return nil, err
	}
	switch {
	case s.beer > s.vessel*(1+1e-12):
		return nil, refuse("beer_ml", float64(s.beer), "mL is more than the vessel", "check the units of both volumes")
	case s.t < -8 || s.t > 47:
		return nil, refuse("temperature_c", float64(s.t), "°C is outside -8 to 47", "check the unit")
	case s.beerT < -2 || s.beerT > 40:
		return nil, refuse("beer_temperature_c", float64(s.beerT), "°C is outside -2 to 40", "check the unit")
	case s.basis == "":
		s.basis = "upper"
	}
	if err := first(optional("flow_nl_min", in.Flow, 1e-3, 1e6), optional("price_per_kg", in.Price, 0, 1e6), optional("room_m3", in.Room, 0.1, 1e7)); err != nil {
		return nil, err
	}
	if err := s.addSteps(in); err != nil {
		return nil, err
	}
	return s, s.aim(in)
}

func optional[T ~float64](field string, v *T, low, high float64) error {
	if v == nil {
		return nil
	}
	return between(field, *v, low, high, "check the value and the unit")
}

func (in *PurgeInput) vessel() (quantity.Volume, error) {
	dimensions := in.Diameter != nil || in.Straight != nil || in.Cone != nil
	switch {
	case in.Vessel != nil && dimensions:
		return 0, &quantity.Error{Field: "vessel_ml", Message: "is given twice, as volume and by dimensions", Mend: "keep one of them"}
	case in.Vessel != nil:
		return *in.Vessel, bigVolume("vessel_ml", *in.Vessel)
	case in.Diameter == nil:
		return 0, &quantity.Error{Field: "vessel_ml", Message: "is missing", Mend: "give the volume, or diameter_mm and straight_mm"}
	}
	for _, l := range []*quantity.Length{in.Diameter, in.Straight, in.Cone} {
		if l != nil && !(*l >= 0 && *l <= 1e6) {
			return 0, refuse("diameter_mm", float64(*l), "mm is no dimension of a vessel", "check the unit")
		}
	}
	v := process.Cylinder(*in.Diameter, or(in.Straight, 0), or(in.Cone, 0))
	return v, bigVolume("diameter_mm", v)
}

// addSteps makes the sequence; a single method is a sequence of one.
func (s *site) addSteps(in *PurgeInput) error {
	steps := []PurgeStep(in.Steps)
	single := PurgeStep{in.Method, in.Volumes, in.Cells, in.Works, in.Cycles, in.High, in.HighGauge, in.Low, in.LowGauge, in.Pocket, in.Film, in.FilmDO, nil}
	if len(steps) == 0 {
		steps = []PurgeStep{single}
	} else if single != (PurgeStep{}) {
		return &quantity.Error{Field: "steps", Message: "stands beside a method of its own", Mend: "put all into steps, or leave steps out"}
	}
	for i := range steps {
		if err := s.add(&steps[i]); err != nil {
			if len(in.Steps) > 0 {
				return quantity.In("steps", within(err, i))
			}
			return err
		}
	}
	return nil
}

func (s *site) add(p *PurgeStep) error {
	space := or(p.Space, s.vessel)
	if space <= 0 || space > s.vessel {
		return refuse("space_ml", float64(space), "mL is not between 0 and the vessel", "check the unit")
	}
	step, amount := process.Step{Method: process.Method(p.Method)}, p.Cycles
	var err error
	switch step.Method {
	case "", process.Sweep:
		step.Method, amount = process.Sweep, p.Volumes
		step.Cells, err = cells(p.Cells)
		if err == nil && p.Works != nil {
			step.Works, err = *p.Works, between("works_fraction", float64(*p.Works), 0.01, 1, `write a share, or with its unit: "80 %"`)
		}
	case process.Pressure:
		if p.High == nil && p.HighGauge == nil {
			return missing("high_kpa")
		}
		err = s.cycle(&step, p, s.station, s.station)
	case process.Vacuum:
		if p.Low == nil && p.LowGauge == nil {
			return missing("low_kpa")
		}
		err = s.cycle(&step, p, s.station, s.station)
	case process.Displacement:
		err = s.displace(&step, p)
		amount = nil
		if p.Pocket != nil {
			v := float64(step.Pocket)
			amount = &v
		}
	default:
		return &quantity.Error{Field: "method", Value: p.Method, Message: "is no method of purging here", Mend: "use sweep, pressure, vacuum or displacement"}
	}
	if err != nil {
		return err
	}
	if amount == nil {
		if s.open >= 0 {
			return &quantity.Error{Field: amountField(step.Method), Message: "is missing, and an earlier step lacks its own", Mend: "leave one step open at most"}
		}
		s.open = len(s.list)
	} else if err := between(amountField(step.Method), *amount, 0, 1000, "give 0 to 1000"); err != nil {
		return err
	} else if step.Method == process.Sweep {
		step.Volumes = *amount
	} else {
		step.Cycles = *amount
	}
	s.list, s.spaces = append(s.list, step), append(s.spaces, space)
	return nil
}

func amountField(m process.Method) string {
	switch m {
	case process.Sweep:
		return "volumes"
	case process.Displacement:
		return "pocket_ml"
	}
	return "cycles"
}

func cells(v *float64) (int, error) {
	n := or(v, 1)
	if n != math.Trunc(n) || n < 0 || n > process.MaxCells {
		return 0, refuse("cells", n, "is not a whole number from 0 to 100", "1 is mixed, 0 plug flow, 2 to 5 a calm sweep")
	}
	return int(n), nil
}

func (s *site) cycle(step *process.Step, p *PurgeStep, low, high quantity.Pressure) (err error) {
	if step.Low, err = absolute("low", p.Low, p.LowGauge, s.station, low); err != nil {
		return err
	}
	if step.High, err = absolute("high", p.High, p.HighGauge, s.station, high); err != nil {
		return err
	}
	if step.High < step.Low*1.001 {
		return refuse("high_kpa", float64(step.High), "kPa absolute is not above the lower pressure", "check gauge against absolute")
	}
	return nil
}

func (s *site) displace(step *process.Step, p *PurgeStep) error {
	pocket, film := or(p.Pocket, 0), or(p.Film, 0)
	if pocket < 0 || pocket > s.vessel {
		return refuse("pocket_ml", float64(pocket), "mL is not between 0 and the vessel", "check the unit")
	}
	if film < 0 || film > s.vessel {
		return refuse("film_ml", float64(film), "mL is not between 0 and the vessel", "check the unit")
	}
	do := or(p.FilmDO, oxygen.AirSaturation(min(max(s.t, 0), 40)))
	if do < 0 || do > 1e5 {
		return refuse("film_do_ppb", float64(do), "ppb is no DO of a liquid", "check the unit: 9 ppm is 9000 ppb")
	}
	step.Pocket = quantity.Fraction(pocket / s.vessel)
	s.film += quantity.OxygenMass(float64(film) * float64(do) / 1000)
	return nil
}

// aim reads the target and holds it against the open step.
func (s *site) aim(in *PurgeInput) error {
	switch s.basis {
	case "upper", "headspace", "equilibrium", "contact":
	default:
		return &quantity.Error{Field: "basis", Value: s.basis, Message: "is no figure of a purge", Mend: "use upper, headspace, equilibrium or contact"}
	}
	if in.Target != nil && in.Residual != nil {
		return &quantity.Error{Field: "target_ppb", Message: "or residual_fraction can be the target, not both", Mend: "keep one of them"}
	}
	if in.Target != nil {
		if !(*in.Target > 0 && *in.Target < 1e7) {
			return refuse("target_ppb", float64(*in.Target), "ppb is no target", "give a number above 0")
		}
		s.target = float64(*in.Target)
	}
	if in.Residual != nil {
		if _, err := fraction("residual_fraction", in.Residual, 0); err != nil {
			return err
		}
		s.residual = float64(*in.Residual)
	}
	if in.Target != nil && s.beer >= s.vessel && (s.basis == "headspace" || s.basis == "equilibrium") {
		return &quantity.Error{Field: "basis", Value: s.basis, Message: "is of the gas above the beer, and the beer fills the vessel", Mend: "give the beer that goes in"}
	}
	set := in.Target != nil || in.Residual != nil
	switch {
	case s.open >= 0 && !set:
		return &quantity.Error{Field: amountField(s.list[s.open].Method), Message: "is missing", Mend: "give it, or target_ppb or residual_ppmv to plan backwards"}
	case s.open < 0 && set:
		return &quantity.Error{Field: "target_ppb", Message: "is given, and every step has its amount", Mend: "leave the amount of one step out"}
	}
	return nil
}
