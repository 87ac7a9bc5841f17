package calc

import (
	"math"

	"ullage/core/oxygen"
	"ullage/core/uncertainty"
)

// Assumed standard uncertainties, each replaced by the user's own where given
// (docs/method.md, part 4, says where they come from). None is a property of an
// instrument in particular.
const (
	assumeMeterPPB      = 1.0    // DO meter, the larger of this …
	assumeMeterShare    = 0.02   // … and this share of the reading
	assumeShaking       = 0.01   // equilibrium not quite reached, share of the reading
	assumeTemperature   = 0.2    // K
	assumeScale         = 0.05   // g, one weighing on a 0.1 g scale
	assumeKegScale      = 5.0    // g, one weighing on a 10 g scale
	assumeAdjustment    = 1e-4   // of every weight on one scale
	assumeGravity       = 0.0002 // SG
	assumePartition     = 0.002  // of K
	assumeWaterFilling  = 0.2    // mL, brim and bubbles when a capacity is measured …
	assumeKegFilling    = 0.001  // … and of one above 3 L this share of it
	assumeDrawing       = 0.003  // of a capacity that comes from a drawing
	assumeNeck          = 0.3    // mL of headspace by fill height
	assumeFill          = 0.005  // spread of an unmeasured fill, share of nominal
	assumeLevel         = 1.0    // mL of headspace, spread of a bottle's unmeasured fill level
	assumeAir           = 0.02   // kg/m³
	glassWeightCapacity = -0.6   // correlation of glass weight and capacity

	// What the plain figure leaves out, as half-widths of a rectangle around it,
	// at 2.5 volumes of CO2 where that matters.
	leftOutCO2      = 0.9   // kg/m³
	leftOutGas      = 4.3   // kg/m³
	leftOutPressure = 0.014 // of K
	leftOutBeer     = 0.065 // of the solubility
	leftOutExpand   = 6e-4  // of the density at 0 °C
	usualCO2        = 2.5   // volumes
)

// effectKeys are the names that TPOInput.U takes.
var effectKeys = []string{"meter", "shaking", "temperature", "scale_gross", "scale_tare", "scale_adjustment", "tare", "capacity", "gravity",
	"air", "neck", "fill", "partition", "pressure", "beer", "co2", "gas", "expansion"}

// effects lists what is not known of the vector on this path.
func (e *Evaluator) effects(in *TPOInput, v volumes) {
	e.problem.Effects, e.loadings = e.problem.Effects[:0], e.loadings[:0]
	x := &e.x
	e.add(in, "meter", "DO meter", uncertainty.Normal, 0, xDO, max(assumeMeterPPB, assumeMeterShare*x[xDO]))
	e.add(in, "shaking", "equilibrium of the shaking", uncertainty.Normal, 0, xDO, assumeShaking*x[xDO])
	e.add(in, "temperature", "temperature of the package", uncertainty.Normal, 0, xTemperature, assumeTemperature)
	kind := in.kind()
	switch v.path {
	case weighed:
		e.weighing(in, v, kind)
		e.leftOutOfDensity(in)
	case byHeight:
		e.add(in, "neck", "fill height in the neck", uncertainty.Normal, 0, xNeck, assumeNeck)
		e.capacity(in, v, kind, 0)
	default:
		e.assumedFill(in, v, kind)
	}
	e.add(in, "partition", "oxygen partition ratio", uncertainty.Normal, 0, xPartition, assumePartition)
	co2 := in.co2Share()
	if in.corrects(CorrectPressure) {
		e.add(in, "pressure", "CO2 pressure on the partition ratio", uncertainty.Normal, 0, xPartition, 0.003)
	} else {
		e.add(in, "pressure", "CO2 pressure on the partition ratio, left out", uncertainty.Rectangular, 0, xPartition, leftOutPressure*co2/sqrt3)
	}
	if in.corrects(CorrectBeer) {
		e.add(in, "beer", "solubility of oxygen in beer", uncertainty.Normal, 0, xBeta, oxygen.SolubilityInBeerU)
	} else {
		e.add(in, "beer", "solubility of oxygen in beer, left out", uncertainty.Rectangular, 0, xBeta, leftOutBeer/sqrt3)
	}
}

// assumedFill adds the spread of a fill that nobody measured. A bottle is filled
// to a level, so a larger one holds more beer, not more headspace; where the
// user gives the spread of the fill it is taken as it is.
func (e *Evaluator) assumedFill(in *TPOInput, v volumes, kind string) {
	x := &e.x
	if kind == "bottle" && in.FillSD == nil {
		e.add(in, "fill", "fill level, not measured", uncertainty.Normal, 0, xFill, assumeLevel)
		before := len(e.problem.Effects)
		e.capacity(in, v, kind, 0)
		for i := before; i < len(e.problem.Effects); i++ {
			p := &e.problem.Effects[i]
			e.loadings = append(e.loadings, uncertainty.Loading{Input: xFill, SD: p.On[0].SD})
			p.On = e.loadings[len(e.loadings)-2 : len(e.loadings) : len(e.loadings)]
		}
		return
	}
	sd := assumeFill * x[xFill]
	if in.FillSD != nil {
		sd = float64(*in.FillSD)
	}
	e.add(in, "fill", "fill, not measured", uncertainty.Normal, 0, xFill, sd)
	e.capacity(in, v, kind, 0)
}

const sqrt3 = 1.7320508075688772

// weighing adds what moves the weights. A lot tare and a lot capacity of glass
// go together: heavier glass holds less.
func (e *Evaluator) weighing(in *TPOInput, v volumes, kind string) {
	x := &e.x
	scale := assumeScale
	if x[xGross] > 3000 {
		scale = assumeKegScale
	}
	e.add(in, "scale_gross", "scale, gross", uncertainty.Normal, 0, xGross, scale)
	shared := 0.0
	if in.TareSource == "own" {
		e.add(in, "scale_tare", "scale, tare", uncertainty.Normal, 0, xTare, scale)
	} else {
		sd := tareSpread(kind) * x[xTare]
		if in.TareSD != nil {
			sd = float64(*in.TareSD)
		}
		if u, ok := in.U["tare"]; ok {
			sd = u
		}
		if n := float64(in.TareN); n > 1 {
			sd *= math.Sqrt(1 + 1/n)
		}
		e.effect("tare", "tare of the lot", uncertainty.Normal, dof(in.TareN), xTare, sd)
		if sd > 0 && kind == "bottle" && in.CapacitySource != "own" && in.CapacitySource != "drawing" {
			shared = glassWeightCapacity
		}
	}
	e.capacity(in, v, kind, shared)
	e.adjustment(in, v)
	e.add(in, "gravity", "specific gravity", uncertainty.Normal, 0, xSG, assumeGravity)
	if in.CapacitySource == "drawing" {
		e.add(in, "air", "density of the air", uncertainty.Normal, 0, xAir, assumeAir)
	}
}

// capacity adds the spread of the capacity; shared is its correlation with the
// tare, which is the effect added just before.
func (e *Evaluator) capacity(in *TPOInput, v volumes, kind string, shared float64) {
	x := &e.x
	ml := x[xCapacity] // grams of water are millilitres within 1 %, enough for a spread
	name, sd := "capacity of the lot", capacitySpread(kind)*ml
	switch in.CapacitySource {
	case "own":
		name, sd = "capacity, measured", assumeWaterFilling
		if ml > 3000 {
			sd = assumeKegFilling * ml
		}
	case "drawing":
		name, sd = "capacity, from a drawing", assumeDrawing*ml
	}
	if in.CapacitySD != nil && in.CapacitySource != "own" {
		sd = float64(*in.CapacitySD)
	}
	if u, ok := in.U["capacity"]; ok {
		sd = u
	}
	if n := float64(in.CapacityN); n > 1 {
		sd *= math.Sqrt(1 + 1/n)
	}
	if shared != 0 {
		tare := &e.problem.Effects[len(e.problem.Effects)-1]
		tare.Name = "tare of the lot, with the capacity that goes with it"
		e.loadings = append(e.loadings, uncertainty.Loading{Input: xCapacity, SD: shared * sd})
		tare.On = e.loadings[len(e.loadings)-2 : len(e.loadings) : len(e.loadings)]
		sd *= math.Sqrt(1 - shared*shared)
	}
	e.effect("capacity", name, uncertainty.Normal, dof(in.CapacityN), xCapacity, sd)
}

// adjustment is the error of the scale that all its weights share.
func (e *Evaluator) adjustment(in *TPOInput, v volumes) {
	share := assumeAdjustment
	if u, ok := in.U["scale_adjustment"]; ok {
		share = u
	}
	x, start := &e.x, len(e.loadings)
	e.loadings = append(e.loadings, uncertainty.Loading{Input: xGross, SD: share * x[xGross]}, uncertainty.Loading{Input: xTare, SD: share * x[xTare]})
	if v.byWater {
		e.loadings = append(e.loadings, uncertainty.Loading{Input: xCapacity, SD: share * x[xCapacity]})
	}
	e.next("scale_adjustment", in.named("scale_adjustment", "scale, adjustment common to its weights"), uncertainty.Normal, 0, e.loadings[start:len(e.loadings):len(e.loadings)])
}

// leftOutOfDensity adds what the weight of the gas and the density of the beer
// may be off by.
func (e *Evaluator) leftOutOfDensity(in *TPOInput) {
	x, co2 := &e.x, in.co2Share()
	if in.corrects(CorrectCO2) {
		e.add(in, "co2", "density of dissolved CO2", uncertainty.Normal, 0, xDensityRise, 0.2*x[xDensityRise])
		e.add(in, "gas", "weight of the headspace gas", uncertainty.Normal, 0, xGas, 0.1*x[xGas])
	} else {
		e.add(in, "co2", "density of dissolved CO2, left out", uncertainty.Rectangular, 0, xDensityRise, leftOutCO2*co2/sqrt3)
		e.add(in, "gas", "weight of the headspace gas, left out", uncertainty.Rectangular, 0, xGas, leftOutGas*co2/sqrt3)
	}
	if in.corrects(CorrectExpansion) {
		e.add(in, "expansion", "thermal expansion of the beer", uncertainty.Normal, 0, xExpansion, 5e-5)
	} else {
		e.add(in, "expansion", "thermal expansion unlike water, left out", uncertainty.Rectangular, 0, xExpansion, leftOutExpand*math.Abs(x[xTemperature]-20)/20/sqrt3)
	}
}

// add puts an effect on one input, with the user's standard uncertainty where
// there is one.
func (e *Evaluator) add(in *TPOInput, key, name string, shape uncertainty.Shape, dof float64, input int, sd float64) {
	if len(in.U) > 0 {
		if u, ok := in.U[key]; ok {
			sd = u
		}
		name = in.named(key, name)
	}
	e.effect(key, name, shape, dof, input, sd)
}

// named adds the instrument to the name of its effect.
func (in *TPOInput) named(key, name string) string {
	if of := in.UNames[key]; of != "" {
		return name + ": " + of
	}
	return name
}

func (e *Evaluator) effect(key, name string, shape uncertainty.Shape, dof float64, input int, sd float64) {
	if sd == 0 {
		return
	}
	e.loadings = append(e.loadings, uncertainty.Loading{Input: input, SD: sd})
	n := len(e.loadings)
	e.next(key, name, shape, dof, e.loadings[n-1:n:n])
}

// next writes an effect into the working memory.
func (e *Evaluator) next(key, name string, shape uncertainty.Shape, dof float64, on []uncertainty.Loading) {
	list := e.problem.Effects
	if len(list) == cap(list) {
		list = append(list, uncertainty.Effect{})
	} else {
		list = list[:len(list)+1]
	}
	p := &list[len(list)-1]
	if dof >= 3 { // below, a t distribution has no variance worth the name
		shape = uncertainty.StudentT
	}
	p.Key, p.Name, p.Shape, p.DoF, p.On = key, name, shape, dof, on
	e.problem.Effects = list
}

func (in *TPOInput) corrects(name string) bool {
	for _, c := range in.Corrections {
		if c == name {
			return true
		}
	}
	return false
}

// co2Share scales the left-out effects of CO2 to the beer's carbonation.
func (in *TPOInput) co2Share() float64 {
	if in.CO2 == nil {
		return 1
	}
	return float64(*in.CO2) / usualCO2
}

// kind of package: said, or guessed from how heavy it is empty.
func (in *TPOInput) kind() string {
	switch {
	case in.Package != "":
		return in.Package
	case in.Gap != nil:
		return "bottle"
	case in.Gross == nil || in.Tare == nil:
		return "can"
	case *in.Gross > 3000:
		return "keg"
	case *in.Tare > 0.25**in.Gross:
		return "bottle"
	}
	return "can"
}

// tareSpread and capacitySpread are standard deviations within a lot, as shares
// (common practice; replace them by a study).
func tareSpread(kind string) float64 {
	switch kind {
	case "bottle":
		return 0.015
	case "keg":
		return 0.007
	}
	return 0.01
}

func capacitySpread(kind string) float64 {
	if kind == "bottle" {
		return 0.004
	}
	return 0.002
}

func dof(n int) float64 {
	if n > 1 {
		return float64(n - 1)
	}
	return 0
}
