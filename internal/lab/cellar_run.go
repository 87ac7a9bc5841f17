package lab

import (
	"math"
	"slices"

	"ullage/core/cellar"
)

// commonShare of the variance of one reading is the meter's and the lot's own:
// it is the same in all readings of a run and does not average out (our
// judgement; core/cellar takes the same).
const commonShare = 0.5

// slipFactor: readings so many times off the median are in another unit.
const slipFactor = 100

// run is what its readings say of the beer's last steps: means, and their
// standard uncertainties.
func (b *cellarBook) run(r *Run, samples []*Sample) cellar.Run {
	out := cellar.Run{ID: r.ID, Batch: r.BatchID, Started: r.StartedAt.Time}
	var inlet, unshaken, total, totalU []float64
	for _, s := range samples {
		switch {
		case s.Archived || s.Inputs.DOPpb == nil:
		case s.SampleKind == "inlet":
			inlet = append(inlet, *s.Inputs.DOPpb)
		case s.SampleKind == "unshaken":
			unshaken = append(unshaken, *s.Inputs.DOPpb)
		case s.Result != nil && s.Result.TPOPpb != nil:
			total = append(total, *s.Result.TPOPpb)
			totalU = append(totalU, numOr(s.Result.TPOUPpb, 0))
		}
	}
	one := func(v float64) float64 { return b.meterU(r.DOMeterID, v) }
	out.Inlet, out.InletU = runMean(inlet, one)
	out.Unshaken, out.UnshakenU = runMean(unshaken, one)
	out.TPO, out.TPOU = runMean(total, func(float64) float64 { return mean(totalU) })
	return out
}

// runMean is the mean of a run's readings without those in another unit, and its
// standard uncertainty from their scatter and what they share; one is the
// standard uncertainty of a single one.
func runMean(v []float64, one func(float64) float64) (*float64, float64) {
	if len(v) == 0 {
		return nil, 0
	}
	sorted := slices.Sorted(slices.Values(v))
	middle := sorted[len(sorted)/2]
	kept := slices.DeleteFunc(slices.Clone(v), func(x float64) bool { return middle > 0 && (x*slipFactor < middle || x > middle*slipFactor) })
	m := mean(kept)
	u := one(m)
	if n := float64(len(kept)); n > 1 {
		var ss float64
		for _, x := range kept {
			ss += (x - m) * (x - m)
		}
		u = math.Sqrt(ss/(n-1)/n + commonShare*u*u)
	}
	return &m, u
}

func mean(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
