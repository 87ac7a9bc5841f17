package calc

import (
	"math"

	"ullage/core/uncertainty"
)

// Detail is Evaluate with all that a person asks about one package: the other
// paths, the budget, what a better measurement would buy, corrections, limit
// and split.
func (e *Evaluator) Detail(in *TPOInput, out *TPOResult) ([]Warning, error) {
	warnings, err := e.Evaluate(in, out, nil)
	if err != nil {
		return nil, err
	}
	path := e.model.path
	var s state
	e.model.at(&e.x, &s)
	if in.Uncertainty != None {
		out.Budget = e.first.Budget(&e.problem, e.firstU)
		e.improve(in, out, e.firstU)
	}
	e.limit(in, out, &s)
	in.split(out)
	if in.Nominal != nil && path != assumed && *in.Nominal > 0 && float64(*in.Nominal) < out.Capacity {
		bias := float64(s.pack.AssumedFillBias(*in.Nominal, *in.ShakenDO, e.x[xBeta], s.k))
		out.FillBias = &bias
	}
	e.comparePaths(in, out, path)
	e.corrections(in, out)
	e.setUp(in, path) // leave the evaluator as Evaluate did, for the derivation
	return warnings, nil
}

// comparePaths computes every path open to the user and says why one was used.
func (e *Evaluator) comparePaths(in *TPOInput, out *TPOResult, used uint8) {
	best := used
	bestU := math.Inf(1)
	for _, path := range []uint8{weighed, byHeight, assumed} {
		if !in.allows(path) {
			continue
		}
		u := e.uncertaintyOf(in, path)
		if math.IsInf(u, 1) {
			continue
		}
		var s state
		e.model.at(&e.x, &s)
		p := PathResult{Path: pathNames[path], Headspace: float64(s.pack.Headspace), TPO: e.call(e.x[:]), Used: path == used}
		if in.Uncertainty != None {
			p.U = u
		}
		out.Paths = append(out.Paths, p)
		if u < bestU {
			best, bestU = path, u
		}
	}
	out.PathReason = in.reason(used, best, len(out.Paths))
}

func (in *TPOInput) reason(used, best uint8, open int) string {
	switch {
	case in.Path != "" && in.Path != PathAuto:
		return "asked for"
	case open == 1:
		return "the only way the inputs allow"
	case used == best:
		return "the smallest uncertainty of the ways the inputs allow"
	case best == assumed:
		return "measured; the assumed fill has the smaller spread on paper, but cannot see a low fill"
	}
	return "the smallest uncertainty of the measured ways"
}

// limit judges the figure against a limit (JCGM 106) and turns the limit into
// a reading on the meter for this package.
func (e *Evaluator) limit(in *TPOInput, out *TPOResult, s *state) {
	if in.Limit == nil {
		return
	}
	limit := float64(*in.Limit)
	out.Limit = &LimitResult{
		Limit:            limit,
		ProbabilityAbove: uncertainty.Above(out.TPO, out.U, out.DoF, limit),
		ShakenDO:         float64(s.pack.Shaken(*in.Limit, e.x[xBeta], s.k)),
	}
}

// split says how much came in before the filler, in the liquid at the filler,
// and with the headspace.
func (in *TPOInput) split(out *TPOResult) {
	if in.UnshakenDO == nil {
		return
	}
	unshaken := float64(*in.UnshakenDO)
	out.Split = &SplitResult{Headspace: out.TPO - unshaken}
	if in.InletDO != nil {
		inlet := float64(*in.InletDO)
		pickup := unshaken - inlet
		out.Split.Inlet, out.Split.LiquidPickup = &inlet, &pickup
	}
}

// corrections prints what each asked correction changes by itself, and the
// beer-corrected figure where alcohol and gravity are known.
func (e *Evaluator) corrections(in *TPOInput, out *TPOResult) {
	plain := *in
	plain.Corrections = nil
	e.setUp(&plain, pathOf(out.Path))
	base := e.call(e.x[:])
	with := func(name string) float64 {
		e.setUp(&plain, pathOf(out.Path))
		in.correct(&e.x, name)
		return e.call(e.x[:])
	}
	for _, c := range in.Corrections {
		out.Corrections = append(out.Corrections, Effect{Name: c, Change: with(c) - base})
	}
	if in.ABV != nil && in.SG != nil {
		v := with(CorrectBeer)
		out.BeerCorrected = &v
	}
}

func pathOf(name string) uint8 {
	for i, n := range pathNames {
		if n == name {
			return uint8(i)
		}
	}
	return noPath
}
