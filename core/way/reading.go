package way

import (
	"math"
	"slices"
	"time"

	"ullage/core/quantity"
)

// Assumed standard uncertainty of a reading (eq. 41), our judgement of ordinary
// practice: the meter as elsewhere or as given, half of its variance common to
// all its readings, and what tube, flush and bubbles do to one sample.
const (
	meterPPB    = 1.0
	meterShare  = 0.02
	samplePPB   = 1.5
	commonShare = 0.5
	runShare    = 0.04 // of a mean of a run
	runPPB      = 2.0
)

// Spread is the standard uncertainty of a reading: its own part, and the part
// it shares with every reading of its meter.
func Spread(r *Reading) (own, common float64) {
	meter := math.Max(meterPPB, meterShare*math.Abs(r.DO))
	switch {
	case r.whole:
		return r.U, 0
	case r.U > 0:
		meter = r.U
	}
	return math.Hypot(meter*math.Sqrt(1-commonShare), samplePPB), meter * math.Sqrt(commonShare)
}

// Estimate is a value with what is not known of it: its own part, and loadings
// on the adjustment of each meter, which other estimates share.
type Estimate struct {
	Value, own2 float64
	Load        map[string]float64
}

// Variance of an estimate.
func (e *Estimate) Variance() float64 { return e.own2 + e.Shared(e) }

// Shared is the covariance of two different estimates.
func (e *Estimate) Shared(o *Estimate) float64 {
	sum := 0.0
	for m, a := range e.Load {
		sum += a * o.Load[m]
	}
	return sum
}

// Add takes w times another estimate in, independent of it but for the meters.
func (e *Estimate) Add(w float64, o *Estimate) {
	e.Value += w * o.Value
	e.own2 += w * w * o.own2
	for m, a := range o.Load {
		if e.Load == nil {
			e.Load = map[string]float64{}
		}
		e.Load[m] += w * a
	}
}

// mean of the readings of one point: over the volume moved where every reading
// has it, else plain.
func mean(list []*Reading) Estimate {
	w := weights(list)
	var e Estimate
	for i, r := range list {
		own, common := Spread(r)
		one := Estimate{Value: r.DO, own2: own * own, Load: map[string]float64{meterOf(r): common}}
		e.Add(w[i], &one)
	}
	return e
}

// meterOf: readings without a meter were made with one and the same, if at all.
func meterOf(r *Reading) string { return r.Meter }

// weights are shares by the trapezoids of the volume moved, or equal ones.
func weights(list []*Reading) []float64 {
	n := len(list)
	w := make([]float64, n)
	byVolume := n >= 3
	for i, r := range list {
		if r.VolumeHL <= 0 && i > 0 || i > 0 && r.VolumeHL <= list[i-1].VolumeHL {
			byVolume = false
		}
		w[i] = 1 / float64(n)
	}
	if !byVolume {
		return w
	}
	all := list[n-1].VolumeHL - list[0].VolumeHL
	for i := range list {
		before, after := list[max(i-1, 0)].VolumeHL, list[min(i+1, n-1)].VolumeHL
		w[i] = (after - before) / 2 / all
	}
	return w
}

// ByTime sorts readings, those without a time last, in their given order.
func ByTime(list []*Reading) {
	slices.SortStableFunc(list, func(a, b *Reading) int { return Earlier(a.At, b.At) })
}

// Earlier orders times, an unknown one last.
func Earlier(a, b time.Time) int {
	switch {
	case a.IsZero() && b.IsZero():
		return 0
	case a.IsZero():
		return 1
	case b.IsZero():
		return -1
	}
	return a.Compare(b)
}

// check refuses what no reading can be.
func (in *Input) check() error {
	batches := map[string]bool{}
	for i, b := range in.Batches {
		if b.ID == "" || batches[b.ID] {
			return &quantity.Error{Field: entry("batches", i, "id"), Value: b.ID, Message: "is missing or given twice", Mend: "give each batch an id of its own"}
		}
		batches[b.ID] = true
	}
	if in.Focus != "" && !batches[in.Focus] {
		return unknownBatch("focus", in.Focus)
	}
	moves := map[string]*Move{}
	for i := range in.Moves {
		m := &in.Moves[i]
		if m.ID == "" || moves[m.ID] != nil {
			return &quantity.Error{Field: entry("moves", i, "id"), Value: m.ID, Message: "is missing or given twice", Mend: "give each move an id of its own"}
		}
		moves[m.ID] = m
		if m.From != "" && !batches[m.From] {
			return unknownBatch(entry("moves", i, "from"), m.From)
		}
		if m.To != "" && !batches[m.To] {
			return unknownBatch(entry("moves", i, "to"), m.To)
		}
		if m.From == "" && m.To == "" {
			return &quantity.Error{Field: entry("moves", i, "from"), Message: "is missing, and so is to", Mend: "say where the liquid came from or went"}
		}
		if err := positive(entry("moves", i, "volume_hl"), m.VolumeHL, 1e6); err != nil {
			return err
		}
		if err := positive(entry("moves", i, "flow_hl_h"), m.FlowHLH, 1e5); err != nil {
			return err
		}
	}
	for i := range in.Readings {
		if err := in.checkReading(i, batches, moves); err != nil {
			return err
		}
	}
	return in.checkRest(batches)
}

func (in *Input) checkReading(i int, batches map[string]bool, moves map[string]*Move) error {
	r := &in.Readings[i]
	switch {
	case !slices.Contains(Points, r.Point):
		return &quantity.Error{Field: entry("readings", i, "point"), Value: r.Point, Message: "is no point of the way", Mend: "use one of " + list(Points)}
	case r.Batch != "" && !batches[r.Batch]:
		return unknownBatch(entry("readings", i, "batch"), r.Batch)
	case r.Move != "" && moves[r.Move] == nil:
		return &quantity.Error{Field: entry("readings", i, "move"), Value: r.Move, Message: "is no move given", Mend: "give the move, or leave it out"}
	case r.Batch == "" && r.Move == "":
		return &quantity.Error{Field: entry("readings", i, "batch"), Message: "is missing", Mend: "say which batch was read"}
	case !(r.DO >= -20 && r.DO <= 1e5):
		return &quantity.Error{Field: entry("readings", i, "do_ppb"), Value: quantity.Figure(r.DO), Message: "ppb is outside -20 to 100000", Mend: "check the unit: 9.5 ppm is 9500 ppb"}
	case r.U < 0 || r.U > 1e5:
		return &quantity.Error{Field: entry("readings", i, "u_ppb"), Value: quantity.Figure(r.U), Message: "ppb is no standard uncertainty", Mend: "leave it out to have it assumed"}
	}
	return nil
}

func (in *Input) checkRest(batches map[string]bool) error {
	for i, b := range in.Batches {
		if err := positive(entry("batches", i, "volume_hl"), b.VolumeHL, 1e6); err != nil {
			return err
		}
		if b.Yeast != "" && b.Yeast != "yes" && b.Yeast != "no" {
			return &quantity.Error{Field: entry("batches", i, "yeast"), Value: b.Yeast, Message: "is not yes or no", Mend: "say whether live yeast is in this vessel, or leave it out"}
		}
	}
	for i, b := range in.Brews {
		if !batches[b.Batch] {
			return unknownBatch(entry("brews", i, "batch"), b.Batch)
		}
		if err := positive(entry("brews", i, "volume_hl"), b.VolumeHL, 1e6); err != nil {
			return err
		}
	}
	for i, r := range in.Runs {
		if !batches[r.Batch] {
			return unknownBatch(entry("runs", i, "batch"), r.Batch)
		}
		if err := positive(entry("runs", i, "volume_hl"), r.VolumeHL, 1e6); err != nil {
			return err
		}
		for _, v := range []*float64{r.Inlet, r.Unshaken, r.TPO, r.Tank} {
			if v != nil && !(*v >= -20 && *v <= 1e5) {
				return &quantity.Error{Field: entry("runs", i, "tpo_ppb"), Value: quantity.Figure(*v), Message: "ppb is outside -20 to 100000, here or in the other readings of the run", Mend: "check the unit"}
			}
		}
	}
	return nil
}

func positive(field string, v, most float64) error {
	if !(v >= 0 && v <= most) {
		return &quantity.Error{Field: field, Value: quantity.Figure(v), Message: "is below 0 or too large", Mend: "check the value and the unit"}
	}
	return nil
}

func unknownBatch(field, id string) error {
	return &quantity.Error{Field: field, Value: id, Message: "is no batch given", Mend: "give the batch too"}
}
