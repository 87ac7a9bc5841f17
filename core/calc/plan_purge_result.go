package calc

import (
	"fmt"
	"math"

	"ullage/core/process"
	"ullage/core/quantity"
)

// PurgeResult is what a purge leaves, takes and costs. The four ppb figures are
// what the oxygen means for the beer, from the most to the least that can come
// of it: see docs/planners.md.
type PurgeResult struct {
	Oxygen      float64 `json:"oxygen_fraction"` // of the gas after the purge, by mole
	Percent     float64 `json:"oxygen_pct"`
	PPMV        float64 `json:"oxygen_ppmv"`
	Milligrams  float64 `json:"oxygen_mg"`
	Upper       float64 `json:"upper_ppb"`       // all the oxygen of the vessel into the beer
	Headspace   float64 `json:"headspace_ppb"`   // all of the gas left above the beer
	Equilibrium float64 `json:"equilibrium_ppb"` // shared between that gas and the beer
	Contact     float64 `json:"contact_ppb"`     // beer against a gas that is never used up
	Floor       float64 `json:"floor_ppb"`       // upper figure that the purge gas itself sets
	FloorPPMV   float64 `json:"floor_ppmv"`

	Amount  float64 `json:"amount"`       // turnovers, whole cycles, or mL of pocket, of the step planned
	Exact   float64 `json:"amount_exact"` // before cycles are rounded up
	Unit    string  `json:"amount_unit"`
	Planned int     `json:"planned_step"` // from 1; 0 where all was given

	Gas           float64  `json:"gas_kg"`
	GasVolumes    float64  `json:"gas_volumes"` // vessel volumes at station pressure
	Released      float64  `json:"released_m3"` // the same gas at station pressure
	Cost          *float64 `json:"cost,omitempty"`
	Minutes       *float64 `json:"minutes,omitempty"` // of gas flow; venting and waiting come on top
	RoomPPM       *float64 `json:"room_average_ppm,omitempty"`
	RoomOxygenPct *float64 `json:"room_average_oxygen_pct,omitempty"`

	Vessel   float64           `json:"vessel_l"`
	Station  float64           `json:"station_kpa"`
	Steps    []PurgeStepResult `json:"steps"`
	Curve    []PurgePoint      `json:"curve"` // of the step planned, or the last
	Compare  []PurgeOption     `json:"compare"`
	Mixing   *PurgeMixing      `json:"mixing,omitempty"` // of a planned or last sweep
	Reading  *PurgeReading     `json:"reading,omitempty"`
	Cautions []process.Caution `json:"cautions"`
}

// PurgeStepResult is the state after one step.
type PurgeStepResult struct {
	Method string  `json:"method"`
	Amount float64 `json:"amount"`
	Unit   string  `json:"unit"`
	Factor float64 `json:"factor"`
	PPMV   float64 `json:"oxygen_ppmv"`
	Gas    float64 `json:"gas_kg"`
}

// PurgeMixing is the same gas under other mixing: the greatest doubt of a sweep.
type PurgeMixing struct {
	MixedPPMV  float64 `json:"mixed_ppmv"`
	MixedUpper float64 `json:"mixed_upper_ppb"`
	CalmPPMV   float64 `json:"calm_ppmv"` // three tanks in series
	CalmUpper  float64 `json:"calm_upper_ppb"`
}

// PurgePoint is one point of the picture.
type PurgePoint struct {
	Amount float64 `json:"amount"`
	PPMV   float64 `json:"oxygen_ppmv"`
	Upper  float64 `json:"upper_ppb"`
}

// PurgeOption is one method that reaches the same result alone.
type PurgeOption struct {
	Key     string   `json:"key"`
	Label   string   `json:"label"`
	Amount  float64  `json:"amount"`
	Unit    string   `json:"unit"`
	PPMV    float64  `json:"oxygen_ppmv"`
	Upper   float64  `json:"upper_ppb"`
	Gas     float64  `json:"gas_kg"`
	Cost    *float64 `json:"cost,omitempty"`
	Minutes *float64 `json:"minutes,omitempty"`
	Note    string   `json:"note"`
}

// PurgeReading holds a reading of the gas against the plan.
type PurgeReading struct {
	PPMV    float64  `json:"read_ppmv"`
	Planned float64  `json:"planned_ppmv"`
	Ratio   float64  `json:"ratio"`
	Upper   float64  `json:"upper_ppb"`       // what the reading means for the beer
	Worth   *float64 `json:"worth,omitempty"` // mixed turnovers or cycles that the reading is worth
	More    *float64 `json:"more,omitempty"`  // of the same to come to the plan
	Says    string   `json:"says"`
	Word    string   `json:"word"` // better, as_planned, worse, below_floor
}

// Purge computes the plan of a purge.
func Purge(in *PurgeInput) (Answer, error) {
	s, err := in.site()
	if err != nil {
		return Answer{}, err
	}
	exact, err := s.solve()
	if err != nil {
		return Answer{}, err
	}
	r := s.result(exact)
	if in.lean {
		return Answer{Result: r}, nil
	}
	var w []Warning
	if in.Room != nil {
		share := float64(process.RoomShare(r.Released, float64(*in.Room)))
		ppm, o2 := 1e6*share, 20.946*(1-share)
		r.RoomOxygenPct = &o2
		if s.gas == process.CO2 {
			r.RoomPPM = &ppm
			if ppm > 5000 {
				w = warn(w, "room_above_limit", "room_m3", format(float64(*in.Room), 0)+" m³", "the released gas alone would average above the quoted 5,000 ppm shift limit in this room", "vent outdoors; ask your site's safety professional")
			}
		}
	}
	if in.Reading != nil {
		if _, err := fraction("reading_fraction", in.Reading, 0); err != nil {
			return Answer{}, err
		}
		r.Reading = s.reading(float64(*in.Reading), &r)
	}
	w = s.warnings(in, w)
	r.Cautions = process.Cautions(s.hazards(in.Room != nil)...)
	return Answer{Result: r, Warnings: w, Derivation: s.working(&r).when(in.Explain)}, nil
}

// solve sets the amount of the open step so that the target is met, and gives
// the amount before cycles are rounded up.
func (s *site) solve() (float64, error) {
	i := s.open
	if i < 0 {
		return s.list[len(s.list)-1].Amount(), nil
	}
	goal := s.residual
	if !math.IsNaN(s.target) {
		zero, one := s.ppb(0), s.ppb(1)
		goal = (s.target - zero) / (one - zero)
		if one == zero { // no gas above the beer: any purge does
			goal = 1
		}
	}
	others := 1.0
	for j, step := range s.list {
		if j != i {
			others *= step.Factor()
		}
	}
	if float64(s.start) <= goal {
		goal = math.Max(float64(s.start), float64(s.gasOxygen))
	}
	factor := process.FactorFor(s.start, s.gasOxygen, quantity.Fraction(goal)) / others
	if s.start <= s.gasOxygen || others == 0 {
		factor = 1
	}
	if factor <= 0 {
		field, v := "target_ppb", s.target
		if math.IsNaN(v) {
			field, v = "residual_fraction", s.residual
		}
		return 0, refuse(field, v, fmt.Sprintf("is at or below what the purge gas (and a film) brings: %.4g ppb, %.4g ppm v/v", s.ppb(float64(s.gasOxygen)), 1e6*float64(s.gasOxygen)), "use purer gas, or a higher target")
	}
	step := s.list[i].For(math.Min(1, factor))
	exact := step.Amount()
	if step.Method == process.Pressure || step.Method == process.Vacuum {
		step.Cycles = math.Ceil(exact - 1e-9)
	}
	if !(exact <= 1000) {
		return 0, refuse(amountField(step.Method), exact, "is more than anybody purges", "raise the pressure of the cycles, or the target")
	}
	s.list[i] = step
	return exact, nil
}

// end is the pressure that the purge leaves, and the oxygen partial pressure
// once the purge gas has raised it to the pressure of filling.
func (s *site) end(y float64) (p quantity.Pressure, partial float64) {
	last := s.list[len(s.list)-1]
	p = s.at
	switch last.Method {
	case process.Pressure:
		p = last.Low
	case process.Vacuum:
		p = last.High
	}
	partial = y * float64(p)
	if s.fills && s.fill > p {
		partial += float64(s.gasOxygen) * float64(s.fill-p)
		p = s.fill
	}
	return p, partial
}

// figures are what a gas of this oxygen fraction means for the beer.
func (s *site) figures(y float64) (all quantity.OxygenMass, upper, headspace, equilibrium, contact float64) {
	p, partial := s.end(y)
	if p == 0 {
		return s.film, 0, 0, 0, 0
	}
	full := quantity.Fraction(partial / float64(p))
	all = process.OxygenInGas(full, s.vessel, p, s.t) + s.film
	above := process.OxygenInGas(full, max(0, s.vessel-s.beer), p, s.beerT)
	return all, float64(process.Spread(all, s.beer)), float64(process.Spread(above+s.film, s.beer)),
		float64(process.Shared(above+s.film, s.beer, max(0, s.vessel-s.beer), s.beerT)), float64(process.Contact(full, p, s.beerT))
}

// ppb is the figure that the target is of.
func (s *site) ppb(y float64) float64 {
	_, upper, headspace, equilibrium, contact := s.figures(y)
	switch s.basis {
	case "headspace":
		return headspace
	case "equilibrium":
		return equilibrium
	case "contact":
		return contact
	}
	return upper
}

func (s *site) result(exact float64) PurgeResult {
	y := float64(process.Purged(s.start, s.gasOxygen, s.list...))
	r := PurgeResult{Oxygen: y, Percent: 100 * y, PPMV: 1e6 * y, FloorPPMV: 1e6 * float64(s.gasOxygen), Vessel: float64(s.vessel) / 1000, Station: float64(s.station), Planned: s.open + 1}
	all, upper, headspace, equilibrium, contact := s.figures(y)
	r.Milligrams, r.Upper, r.Headspace, r.Equilibrium, r.Contact = float64(all)/1000, upper, headspace, equilibrium, contact
	_, r.Floor, _, _, _ = s.figures(float64(s.gasOxygen))
	left := 1.0
	for i, step := range s.list {
		left *= step.Factor()
		gas := float64(step.Used(s.gas, s.spaces[i], s.t, s.at)) / 1000
		r.Gas += gas
		r.Steps = append(r.Steps, PurgeStepResult{string(step.Method), s.shown(step, i), unitOf(step.Method), step.Factor(), 1e6 * float64(s.gasOxygen+(s.start-s.gasOxygen)*quantity.Fraction(left)), gas})
	}
	i := s.focus()
	r.Amount, r.Unit = s.shown(s.list[i], i), unitOf(s.list[i].Method)
	r.Exact = exact
	if s.list[i].Method == process.Displacement {
		r.Exact *= float64(s.vessel)
	}
	r.Released = r.Gas / float64(s.gas.Density(s.t, s.station))
	r.GasVolumes = r.Released * 1e6 / float64(s.vessel)
	r.Cost, r.Minutes = s.cost(r.Gas), s.minutes(r.Gas)
	if s.lean {
		return r
	}
	r.Curve, r.Compare, r.Mixing = s.curve(), s.compare(y), s.mixing()
	return r
}

// focus is the step that the curve is of: the planned one, else the last.
func (s *site) focus() int {
	if s.open >= 0 {
		return s.open
	}
	return len(s.list) - 1
}

// shown is the amount of a step in its unit.
func (s *site) shown(step process.Step, _ int) float64 {
	if step.Method == process.Displacement {
		return float64(step.Pocket) * float64(s.vessel)
	}
	return step.Amount()
}

func unitOf(m process.Method) string {
	switch m {
	case process.Sweep:
		return "turnovers"
	case process.Displacement:
		return "mL pocket"
	}
	return "cycles"
}

func (s *site) cost(kg float64) *float64 {
	if s.price == nil {
		return nil
	}
	v := kg * float64(*s.price)
	return &v
}

func (s *site) minutes(kg float64) *float64 {
	if s.flow == nil {
		return nil
	}
	v := kg * 1000 / float64(s.gas.Density(0, 101.325)) / float64(*s.flow)
	return &v
}

// mixing is what the planned sweep leaves mixed, and calm.
func (s *site) mixing() *PurgeMixing {
	i := s.focus()
	if s.list[i].Method != process.Sweep {
		return nil
	}
	steps := append([]process.Step(nil), s.list...)
	at := func(cells int) (ppm, upper float64) {
		steps[i].Cells = cells
		y := float64(process.Purged(s.start, s.gasOxygen, steps...))
		_, upper, _, _, _ = s.figures(y)
		return 1e6 * y, upper
	}
	var m PurgeMixing
	m.MixedPPMV, m.MixedUpper = at(1)
	m.CalmPPMV, m.CalmUpper = at(3)
	return &m
}

// curve samples the step of focus from nothing to a quarter past its amount.
func (s *site) curve() []PurgePoint {
	const points = 24
	i := s.focus()
	step := s.list[i]
	if step.Method == process.Displacement {
		return nil
	}
	steps := append([]process.Step(nil), s.list...)
	list := make([]PurgePoint, 0, points+1)
	end := math.Max(1, 1.25*step.Amount())
	for k := range points + 1 {
		amount := end * float64(k) / points
		steps[i].Volumes, steps[i].Cycles = amount, amount
		y := float64(process.Purged(s.start, s.gasOxygen, steps...))
		_, upper, _, _, _ := s.figures(y)
		list = append(list, PurgePoint{amount, 1e6 * y, upper})
	}
	return list
}
