package lab

import (
	"math"
	"slices"
	"time"

	"ullage/core/way"
)

// commonShare of the variance of one reading is the meter's and the lot's own:
// it is the same in all readings of a run and does not average out (our
// judgement; core/cellar takes the same).
const commonShare = 0.5

// slipFactor: readings so many times off the median are in another unit.
const slipFactor = 100

// run is what its readings say of the beer's last steps: means, and their
// standard uncertainties.
func (b *cellarBook) run(d *RunRecords) way.Run {
	r := d.Run
	out := way.Run{ID: r.ID, Batch: r.BatchID, Started: r.StartedAt.Time, Ended: r.EndedAt.Time}
	out.VolumeHL, out.VolumeFrom = d.drawn()
	var inlet []inletAt
	var unshaken, total, totalU []float64
	for _, s := range d.Samples {
		switch {
		case s.Archived || !s.Measured():
		case s.SampleKind == "inlet":
			inlet = append(inlet, inletAt{s.TakenAt.Time, *s.Inputs.DOPpb})
		case s.SampleKind == "unshaken":
			unshaken = append(unshaken, *s.Inputs.DOPpb)
		case s.Result != nil && s.Result.TPOPpb != nil:
			total = append(total, *s.Result.TPOPpb)
			totalU = append(totalU, numOr(s.Result.TPOUPpb, 0))
		}
	}
	for _, x := range d.inletReadings() {
		inlet = append(inlet, inletAt{x.At.Time, *x.DOPpb})
	}
	one := func(v float64) float64 { return b.meterU(r.DOMeterID, v) }
	all := make([]float64, len(inlet))
	for i, x := range inlet {
		all[i] = x.do
	}
	out.Inlet, out.InletU = runMean(all, one)
	out.Unshaken, out.UnshakenU = runMean(unshaken, one)
	out.TPO, out.TPOU = runMean(total, func(float64) float64 { return mean(totalU) })
	d.tankOf(&out, inlet, slipOf(all))
	return out
}

// drawn is the beer that a run took from the tank of its batch, hL, and what it
// was taken from where it was not measured. Of a run that changed its tank, the
// share of the time before.
func (d *RunRecords) drawn() (hl float64, from string) {
	r := d.Run
	end, changed := tankEnd(r, d.Events)
	share, minutes := 1.0, 0.0
	if !r.EndedAt.IsZero() {
		minutes = d.running(r.StartedAt.Time, r.EndedAt.Time)
		if changed && minutes > 0 {
			share = d.running(r.StartedAt.Time, end.Time) / minutes
		}
	}
	each := numOr(r.InForce.NominalML, 0) / 1e5
	switch {
	case r.DrawnHL != nil:
		return *r.DrawnHL * share, ""
	case r.Packages != nil && each > 0:
		return *r.Packages * each * share, "packages"
	case d.Line != nil && numOr(d.Line.PackagesPerMin, 0) > 0 && minutes*each > 0:
		return minutes * *d.Line.PackagesPerMin * each * share, "time"
	}
	return 0, ""
}

// inletAt is a reading at the filler's inlet.
type inletAt struct {
	at time.Time
	do float64
}

// tankOf says what the tank held at the moments of the inlet readings, as the
// judgement does: the mean inlet less the mean pick-up of the line over those
// that have both.
func (d *RunRecords) tankOf(out *way.Run, inlet []inletAt, slip func(float64) bool) {
	tank := TankReadings(d.Run, d.Events, d.Readings)
	line, n := 0.0, 0.0
	for _, x := range inlet {
		if v, ok := TankAt(d.Run, d.Events, tank, x.at); ok && !slip(x.do) {
			line += x.do - v
			n++
		}
	}
	if n > 0 {
		end, _ := tankEnd(d.Run, d.Events)
		out.Tank, out.TankUntil = Num(*out.Inlet-line/n), end.Time
	}
}

// slipOf tells readings in another unit than most.
func slipOf(v []float64) func(float64) bool {
	if len(v) == 0 {
		return func(float64) bool { return false }
	}
	middle := slices.Sorted(slices.Values(v))[len(v)/2]
	return func(x float64) bool { return middle > 0 && (x*slipFactor < middle || x > middle*slipFactor) }
}

// runMean is the mean of a run's readings without those in another unit, and its
// standard uncertainty from their scatter and what they share; one is the
// standard uncertainty of a single one.
func runMean(v []float64, one func(float64) float64) (*float64, float64) {
	if len(v) == 0 {
		return nil, 0
	}
	kept := slices.DeleteFunc(slices.Clone(v), slipOf(v))
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
