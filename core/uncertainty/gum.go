package uncertainty

import (
	"math"
	"sort"
)

// Normal95 is the 97.5 % point of the normal distribution.
const Normal95 = 1.959963984540054

// First is the first-order propagation of JCGM 100 (eq. 33), for use over many
// results: it keeps its working memory.
type First struct {
	Sensitivity []float64 // ∂y/∂x of the last problem
	parts       []float64 // u of each effect, in the problem's order
}

// GUM propagates to first order and lists the budget.
func GUM(p *Problem) Result {
	var f First
	r := f.Propagate(p, p.NewModel())
	r.Budget = f.Budget(p, r.U)
	return r
}

// Propagate gives value, standard uncertainty, Welch–Satterthwaite degrees of
// freedom (eq. 34) and 95 % interval, without the budget. Sensitivities are
// p.Gradient's, or central differences over a hundredth of each input's standard
// uncertainty, one-sided where the other side is NaN; model must be one of
// p.NewModel.
func (f *First) Propagate(p *Problem, model Model) Result {
	f.differentiate(p, model)
	f.parts = f.parts[:0]
	variance, welch := 0.0, 0.0
	for i := range p.Effects {
		e := &p.Effects[i]
		u := 0.0
		for _, l := range e.On {
			u += f.Sensitivity[l.Input] * l.SD
		}
		f.parts = append(f.parts, u)
		variance += u * u
		if e.DoF > 0 && !math.IsInf(e.DoF, 1) {
			welch += u * u * u * u / e.DoF
		}
	}
	r := Result{Value: model(p.Values), U: math.Sqrt(variance)}
	if welch > 0 {
		r.DoF = variance * variance / welch
	}
	r.K = coverage(r.DoF)
	r.Low95, r.High95 = r.Value-r.K*r.U, r.Value+r.K*r.U
	return r
}

// Budget of the last problem propagated, largest part first.
func (f *First) Budget(p *Problem, u float64) []Contribution {
	list := make([]Contribution, 0, len(f.parts))
	for i, part := range f.parts {
		if part == 0 {
			continue
		}
		list = append(list, Contribution{Key: p.Effects[i].Key, Name: p.Effects[i].Name, U: part, Share: part * part / (u * u)})
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].Share > list[j].Share })
	return list
}

func (f *First) differentiate(p *Problem, model Model) {
	f.Sensitivity = append(f.Sensitivity[:0], p.Values...)
	if p.Gradient != nil && p.Gradient(p.Values, f.Sensitivity) {
		return
	}
	for i, x := range p.Values {
		u := p.standardU(i)
		f.Sensitivity[i] = 0
		if u == 0 {
			continue
		}
		h := u / 100
		p.Values[i] = x + h
		above := model(p.Values)
		p.Values[i] = x - h
		below := model(p.Values)
		p.Values[i] = x
		f.Sensitivity[i] = (above - below) / (2 * h)
		switch { // an input at the end of its range, such as no oxygen at all
		case math.IsNaN(below):
			f.Sensitivity[i] = (above - model(p.Values)) / h
		case math.IsNaN(above):
			f.Sensitivity[i] = (model(p.Values) - below) / h
		}
	}
}

// lnCoverage is ln of the 97.5 % point of Student's distribution at 1/ν = 0,
// 1/24 … 1. An exact quantile takes ten times as long as all else of a result.
var lnCoverage = [25]float64{
	0.672926097839, 0.724596699914, 0.778780154920, 0.835516215082, 0.894826760577, 0.956716054115, 1.021171370281,
	1.088163938653, 1.157650179440, 1.229573206589, 1.303864551705, 1.380446041130, 1.459231746382, 1.540129926891,
	1.623044891747, 1.707878721022, 1.794532804049, 1.882909169052, 1.972911594000, 2.064446501260, 2.157423648243,
	2.251756632723, 2.347363235251, 2.444165622608, 2.542090436061,
}

// coverage is the factor of a 95 % interval, from the table by cubic
// interpolation, within 1e-6 of it; below one degree of freedom that of one.
func coverage(dof float64) float64 {
	if dof == 0 {
		return Normal95
	}
	last := len(lnCoverage) - 1
	x := float64(last) / max(dof, 1)
	i := max(1, min(int(x), last-2))
	u, y := x-float64(i), lnCoverage[i-1:i+3]
	return math.Exp(-u*(u-1)*(u-2)/6*y[0] + (u+1)*(u-1)*(u-2)/2*y[1] - (u+1)*u*(u-2)/2*y[2] + (u+1)*u*(u-1)/6*y[3])
}
