package lab

import (
	"errors"
	"math"
	"sync"

	"ullage/core/calc"
	"ullage/core/quantity"
)

var evaluators = sync.Pool{New: func() any { return new(calc.Evaluator) }}

// TPO is the [Calculator] of the product: calculation "tpo" of core/calc on a
// sample's numbers and its run's snapshot, first-order uncertainty, no
// corrections beyond the trade's figure.
func TPO(s *Sample, run *Run) (Result, error) {
	e := evaluators.Get().(*calc.Evaluator)
	defer evaluators.Put(e)
	var out calc.TPOResult
	in := tpoInput(s, run)
	from := run.InForce.Instruments.of(in)
	warnings, err := e.Evaluate(in, &out, nil)
	res := Result{Method: calc.MethodVersion, TPOBy: Calculated}
	for _, w := range warnings {
		res.Warnings = append(res.Warnings, Warning{Field: w.Field, Value: orNil(w.Value), Message: w.Message, Mend: w.Mend})
	}
	if err != nil {
		if q, ok := errors.AsType[*quantity.Error](err); ok {
			err = &Error{Class: Invalid, Faults: []Fault{{Field: q.Field, Value: orNil(q.Value), Message: q.Message, Mend: q.Mend}}}
		}
		return res, err
	}
	res.Path, res.UFrom = out.Path, from.used(out.Path)
	// As recorded: 0.01 ppb and 0.01 mL are far below any uncertainty here, and
	// above the last digits in which a browser may differ.
	res.BeerML, res.HeadspaceML = recorded(out.Beer), recorded(out.Headspace)
	res.TPOPpb, res.TPOUPpb = recorded(out.TPO), recorded(out.U)
	res.TPOLow95Ppb, res.TPOHigh95Ppb = recorded(out.Low95), recorded(out.High95)
	return res, nil
}

func orNil(s string) any {
	if s == "" {
		return nil
	}
	return s
}

func recorded(x float64) *float64 { return Num(math.Round(x*100) / 100) }

// tpoInput maps a sample and its run's snapshot to the calculation's input, as
// the web app does.
func tpoInput(s *Sample, run *Run) *calc.TPOInput {
	in, f := &s.Inputs, &run.InForce
	out := &calc.TPOInput{
		Temperature: as[quantity.Temperature](in.TemperatureC), ShakenDO: as[quantity.ShakenDO](in.DOPpb),
		Gross: as[quantity.Mass](in.GrossG), Tare: as[quantity.Mass](f.TareG), TareSD: as[quantity.Mass](f.TareSDG), TareSource: "lot",
		Capacity: as[quantity.Volume](f.CapacityML), CapacitySD: as[quantity.Volume](f.CapacitySDML), CapacitySource: "lot",
		SG: as[quantity.SpecificGravity](f.SG), ABV: as[quantity.Alcohol](f.ABVPct), CO2: as[quantity.Carbonation](f.CO2Vol),
		Nominal: as[quantity.Volume](f.NominalML), Package: f.Package, Yeast: f.YeastInPackage,
		Path: calc.PathAuto, Uncertainty: "gum",
	}
	if f.CapacitySource != "" {
		out.CapacitySource = f.CapacitySource
	}
	if ownTare(s) {
		out.Tare, out.TareSD, out.TareSource = as[quantity.Mass](in.TareG), nil, "own"
	}
	if in.GrossG == nil && in.GapMM != nil {
		out.Tare, out.TareSD = nil, nil
	}
	if in.GapMM != nil {
		out.Gap, out.NeckGap = as[quantity.Length](in.GapMM), as[quantity.Length](f.NeckGapMM)
		out.NeckHeadspace, out.NeckPerMM = as[quantity.Volume](f.NeckHeadspaceML), as[quantity.VolumePerLength](f.NeckMLPerMM)
	}
	if !s.ClosedAt.IsZero() {
		out.Since = as[quantity.Minutes](Num(s.TakenAt.Sub(s.ClosedAt.Time).Minutes()))
	}
	return out
}

// ownTare tells whether this package itself was weighed empty.
func ownTare(s *Sample) bool {
	return s.TareSource == "own" || (s.TareSource == "" && s.Inputs.TareG != nil)
}

func as[Q ~float64](x *float64) *Q {
	if x == nil {
		return nil
	}
	q := Q(*x)
	return &q
}
