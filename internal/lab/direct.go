package lab

import (
	"fmt"
	"math"

	"ullage/core/calc"
)

// How a TPO was found. A result without the mark was calculated.
const (
	Calculated = calc.CountsCalculated
	Direct     = calc.CountsDirect
)

// methodDirect is the method of a result that was read and not calculated.
const methodDirect = "direct/1"

// IsDirect tells that the TPO was read by an instrument that reads it directly.
func (r *Result) IsDirect() bool { return r != nil && r.TPOBy == Direct }

// Measured tells that a sample holds a reading at all.
func (s *Sample) Measured() bool { return s.Inputs.DOPpb != nil || s.Inputs.DirectPpb != nil }

// IsPackage tells that a sample is a package that can have a TPO: shaken, or
// read directly.
func (s *Sample) IsPackage() bool { return s.SampleKind == "shaken" || s.SampleKind == Direct }

// ByMethod gives the result of a package found in one way; nil where it has none.
func (s *Sample) ByMethod(by string) *Result {
	for _, r := range []*Result{s.Result, s.OtherResult} {
		if r != nil && r.TPOPpb != nil && r.IsDirect() == (by == Direct) {
			return r
		}
	}
	return nil
}

// Volumes is the result that holds the volumes of beer and headspace: a direct
// reading has none, the calculated figure beside it does.
func (s *Sample) Volumes() *Result {
	if s.Result.IsDirect() && s.OtherResult != nil {
		return s.OtherResult
	}
	return s.Result
}

// directResult is the direct TPO reading of a package with its uncertainty: of
// the run's instrument as it stood at the start, else the larger of 1 ppb and
// 2 % (common practice).
func directResult(s *Sample, run *Run) *Result {
	v := *s.Inputs.DirectPpb
	r := &Result{Method: methodDirect, TPOBy: Direct}
	u := calc.DirectU(v)
	if e := run.InForce.Instruments.TPOMeter; e != nil {
		u = e.At(v)
		r.UFrom = []UFrom{{Effect: Direct, InstrumentID: e.ID, Name: e.Name, U: math.Round(u*1e6) / 1e6}}
	}
	r.TPOPpb, r.TPOUPpb = recorded(v), recorded(u)
	r.TPOLow95Ppb, r.TPOHigh95Ppb = recorded(max(0, v-normal95*u)), recorded(v+normal95*u)
	return r
}

const normal95 = 1.959964

// choose puts the TPO that counts first: the direct reading where there is one,
// unless the run's rule says the calculated one and that has a figure.
func choose(calculated, direct *Result, by string) (counts, other *Result) {
	switch {
	case direct == nil:
		return calculated, nil
	case calculated == nil:
		return direct, nil
	case by == Calculated && calculated.TPOPpb != nil:
		return calculated, direct
	}
	return direct, calculated
}

func (r *Sample) checkDirect(c *checker) {
	in := &r.Inputs
	c.within("inputs.direct_ppb", in.DirectPpb, 0, 1e6, "ppb")
	switch {
	case r.SampleKind == Direct && in.DOPpb != nil:
		c.add("inputs.do_ppb", *in.DOPpb, "is a DO reading on a package that was read directly only", "choose shaken: it may carry the direct TPO reading beside its shaken DO")
	case !r.IsPackage() && in.DirectPpb != nil:
		c.add("inputs.direct_ppb", *in.DirectPpb, "is a TPO reading on "+r.SampleKind+" DO", "choose shaken or direct")
	}
}

// askDirect questions a direct reading that is possible but odd.
func askDirect(v *float64) (message, mend string, odd bool) {
	const low, high = 5, 2000 // ppb (common practice)
	if v == nil || *v >= low && *v <= high {
		return "", "", false
	}
	return fmt.Sprintf("a direct TPO reading is usually %d to %d ppb", low, high), "check the unit: is it ppm?", true
}
