package calc

import (
	"math"

	"ullage/core/oxygen"
	"ullage/core/quantity"
	"ullage/core/uncertainty"
)

// Evaluator computes TPO for many packages with one working memory. It serves
// one goroutine.
type Evaluator struct {
	// Each spreads Monte Carlo trials over cores; nil keeps them on one.
	Each func(n int, do func(i int))

	problem  uncertainty.Problem
	first    uncertainty.First
	firstU   float64 // of the last propagation to first order
	x        [xCount]float64
	loadings []uncertainty.Loading
	model    evaluator
	call     uncertainty.Model
	slopes   func(x, into []float64) bool
}

// TPO computes one package with all detail.
func TPO(in *TPOInput) (Answer, error) {
	var e Evaluator
	return e.Answer(in)
}

// Answer is Detail, with the derivation where it is asked for.
func (e *Evaluator) Answer(in *TPOInput) (Answer, error) {
	var out TPOResult
	warnings, err := e.Detail(in, &out)
	if err != nil {
		return Answer{}, err
	}
	answer := Answer{Result: out, Warnings: warnings}
	if in.Explain {
		answer.Derivation = explain(in, e, &out)
	}
	return answer, nil
}

// Evaluate computes the figure and its uncertainty, appends what is odd to
// warnings and leaves the detail of out empty. It is the fast way for a batch.
func (e *Evaluator) Evaluate(in *TPOInput, out *TPOResult, warnings []Warning) ([]Warning, error) {
	path, err := e.prepare(in)
	if err != nil {
		return warnings, err
	}
	var s state
	e.model.at(&e.x, &s)
	if err := in.checkVolumes(path, &s); err != nil {
		return warnings, err
	}
	*out = TPOResult{}
	e.fill(out, &s)
	if in.Uncertainty != None {
		e.propagate(in, out)
	}
	return in.plausible(&s, out, warnings), nil
}

// prepare checks the input and sets up the chosen path: vector, effects, model.
func (e *Evaluator) prepare(in *TPOInput) (uint8, error) {
	if err := in.check(); err != nil {
		return noPath, err
	}
	path, err := e.choose(in)
	if err != nil {
		return noPath, err
	}
	e.setUp(in, path)
	return path, nil
}

// choose takes the open path of the least uncertainty among the measured ones.
// An assumed fill is taken only where nothing is measured or where it is asked
// for: it cannot see a low fill, however small its assumed spread.
func (e *Evaluator) choose(in *TPOInput) (uint8, error) {
	if in.Capacity == nil && in.CapacityWater == nil {
		return noPath, &quantity.Error{Field: "capacity_ml", Message: "is missing, and capacity_water_g too", Mend: "give one of them"}
	}
	if in.Capacity != nil && in.CapacityWater != nil {
		return noPath, &quantity.Error{Field: "capacity_water_g", Message: "is given beside capacity_ml", Mend: "keep one of them"}
	}
	canWeigh, canHeight := in.allows(weighed), in.allows(byHeight)
	switch in.Path {
	case PathWeighed:
		return demand(canWeigh, weighed, in.lacksWeighing())
	case PathFillHeight:
		return demand(canHeight, byHeight, in.lacksHeight())
	case PathAssumed:
		return demand(in.allows(assumed), assumed, "nominal_ml")
	}
	switch {
	case canWeigh && canHeight:
		if e.uncertaintyOf(in, byHeight) < e.uncertaintyOf(in, weighed) {
			return byHeight, nil
		}
		return weighed, nil
	case canWeigh:
		return weighed, nil
	case canHeight:
		return byHeight, nil
	case in.Gross != nil || in.Tare != nil:
		return noPath, missing(in.lacksWeighing())
	case in.Gap != nil:
		return noPath, missing(in.lacksHeight())
	case in.Nominal != nil:
		return assumed, nil
	}
	return noPath, missing(in.lacksWeighing())
}

// allows tells whether all inputs of a path are there.
func (in *TPOInput) allows(path uint8) bool {
	switch path {
	case weighed:
		return in.Gross != nil && in.Tare != nil && in.SG != nil
	case byHeight:
		return in.Gap != nil && in.NeckGap != nil && in.NeckHeadspace != nil && in.NeckPerMM != nil
	}
	return in.Nominal != nil
}

func demand(open bool, path uint8, lacks string) (uint8, error) {
	if !open {
		return noPath, missing(lacks)
	}
	return path, nil
}

func (in *TPOInput) lacksWeighing() string {
	switch {
	case in.Gross == nil:
		return "gross_g"
	case in.Tare == nil:
		return "tare_g"
	}
	return "sg"
}

func (in *TPOInput) lacksHeight() string {
	switch {
	case in.Gap == nil:
		return "gap_mm"
	case in.NeckGap == nil:
		return "neck_gap_mm"
	case in.NeckHeadspace == nil:
		return "neck_headspace_ml"
	}
	return "neck_ml_per_mm"
}

// uncertaintyOf is the standard uncertainty by one path; +Inf where the path
// leads to no possible package.
func (e *Evaluator) uncertaintyOf(in *TPOInput, path uint8) float64 {
	e.setUp(in, path)
	var s state
	e.model.at(&e.x, &s)
	if in.checkVolumes(path, &s) != nil {
		return math.Inf(1)
	}
	return e.first.Propagate(&e.problem, e.call).U
}

// setUp fills the vector, the model and the effects for one path.
func (e *Evaluator) setUp(in *TPOInput, path uint8) {
	v := volumes{path: path, byWater: in.CapacityWater != nil}
	e.x = [xCount]float64{xSG: 1, xWaterT: 20, xAir: float64(oxygen.StandardAirDensity), xPartition: 1, xBeta: 1, xExpansion: 1}
	x := &e.x
	x[xDO] = float64(*in.ShakenDO)
	x[xTemperature] = float64(*in.Temperature)
	set(x, xGross, in.Gross)
	set(x, xTare, in.Tare)
	set(x, xCapacity, in.Capacity)
	set(x, xCapacity, in.CapacityWater)
	set(x, xWaterT, in.WaterT)
	set(x, xSG, in.SG)
	set(x, xAir, in.AirDensity)
	switch path {
	case byHeight:
		n := oxygen.Neck{Gap: *in.NeckGap, Headspace: *in.NeckHeadspace, PerLength: *in.NeckPerMM}
		x[xNeck] = float64(n.Filled(*in.Gap, 0).Headspace)
	case assumed:
		x[xFill] = float64(*in.Nominal)
	}
	for _, c := range in.Corrections {
		in.correct(x, c)
	}
	if e.call == nil {
		e.call, e.slopes = e.model.tpo, e.model.gradient
	}
	e.model.volumes = v
	e.problem.Values = x[:]
	e.problem.Gradient = nil
	if in.CapacitySource != "drawing" { // there the density of the air counts
		e.problem.Gradient = e.slopes
	}
	e.problem.NewModel = v.newModel
	e.effects(in, v)
}

func set[Q ~float64](x *[xCount]float64, i int, q *Q) {
	if q != nil {
		x[i] = float64(*q)
	}
}

// correct moves the vector by one named correction (eq. 23–27).
func (in *TPOInput) correct(x *[xCount]float64, name string) {
	t := *in.Temperature
	switch name {
	case CorrectCO2:
		beer := oxygen.BeerDensity(quantity.SpecificGravity(x[xSG]), t)
		x[xDensityRise] = float64(oxygen.CO2DensityRise(t, *in.CO2, beer))
		x[xGas] = float64(oxygen.CO2GasDensity(t, oxygen.CO2Pressure(t, *in.CO2))) - x[xAir]
	case CorrectPressure:
		x[xPartition] = oxygen.PressureFactor(t, oxygen.CO2Pressure(t, *in.CO2))
	case CorrectExpansion:
		re, abw := oxygen.FinishedBeer(*in.SG, *in.ABV)
		x[xExpansion] = oxygen.Expansion(t, abw, quantity.Fraction(re/100))
	case CorrectBeer:
		re, _ := oxygen.FinishedBeer(*in.SG, *in.ABV)
		x[xBeta] = oxygen.SolubilityInBeer(re, *in.ABV)
	}
}

// fill writes the figure (eq. 18, 19, 21).
func (e *Evaluator) fill(out *TPOResult, s *state) {
	c, beta := quantity.ShakenDO(e.x[xDO]), e.x[xBeta]
	total := s.pack.Total(c, beta, s.k)
	liquid, gas := s.pack.Split(c, beta, s.k)
	out.Beer, out.Headspace = float64(s.pack.Beer), float64(s.pack.Headspace)
	out.PartitionRatio, out.BeerDensity, out.Capacity = s.k, s.density, s.capacity
	out.TotalToDissolved = s.pack.TotalToDissolved(beta, s.k)
	out.TPO = float64(total)
	out.Liquid, out.Gas, out.Oxygen = float64(liquid), float64(gas), float64(liquid+gas)
	out.HeadspaceShare = s.k * out.Headspace / (beta*out.Beer + s.k*out.Headspace)
	out.Air = float64(total) * out.Beer / 1000 / airAt20
	out.Path, out.Method = pathNames[e.model.path], MethodVersion
}

// airAt20 is the oxygen in a mL of dry air at 20 °C and 1 atm, µg.
var airAt20 = oxygen.AirMicrograms(20)

// propagate adds the uncertainty by the asked method; first order always runs,
// for the budget.
func (e *Evaluator) propagate(in *TPOInput, out *TPOResult) {
	r := e.first.Propagate(&e.problem, e.call)
	e.firstU = r.U
	out.U, out.Low95, out.High95, out.DoF, out.Coverage = r.U, r.Low95, r.High95, r.DoF, r.K
	if in.Uncertainty == MonteCarlo {
		mc := uncertainty.MonteCarlo(&e.problem, uncertainty.Options{Seed: 1, Max: in.Trials, Fixed: in.Trials > 0, Each: e.Each})
		out.U, out.Low95, out.High95, out.Trials, out.Coverage = mc.U, mc.Low95, mc.High95, mc.Trials, 0
	}
}
