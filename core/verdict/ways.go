package verdict

import (
	"fmt"
	"math"
)

// Ways is how the TPO of the packages used was found, where any of them was read
// directly or both ways.
type Ways struct {
	Direct     int      `json:"direct"`
	Calculated int      `json:"calculated"`
	Pairs      int      `json:"pairs"`               // packages with both figures
	Difference *float64 `json:"mean_difference_ppb"` // calculated − direct over the pairs; nil without one
	Sentence   string   `json:"sentence"`
}

// ways counts how the TPO of the packages used was found; nil where all of it
// was calculated.
func (r *run) ways() *Ways {
	w := &Ways{}
	sum, counted := 0.0, 0
	for i, v := range r.use[2] {
		if math.IsNaN(v) {
			continue
		}
		s := &r.in.Samples[i]
		sign := 1.0
		if s.Direct {
			w.Direct++
			sign = -1
		} else {
			w.Calculated++
		}
		if s.Beside > 0 {
			w.Pairs++
			sum += sign * (v - s.Beside)
			if s.Direct {
				counted++
			}
		}
	}
	if w.Direct == 0 && w.Pairs == 0 {
		return nil
	}
	w.Sentence = fmt.Sprintf("TPO of %s was read directly, of %d calculated from shaken DO", plural(w.Direct, "package", "packages"), w.Calculated)
	if w.Pairs > 0 {
		d := sum / float64(w.Pairs)
		w.Difference = &d
		which := "the direct one counts"
		switch counted {
		case 0:
			which = "the calculated one counts"
		case w.Pairs:
		default:
			which = fmt.Sprintf("the direct one counts of %d", counted)
		}
		w.Sentence += fmt.Sprintf("; %s both figures, and %s: calculated − direct is %s ppb in the mean", plural(w.Pairs, "package has", "packages have"), which, signed(d))
	}
	return w
}

// directMeter is what is known of the instrument that reads TPO directly.
func (r *run) directMeter() Meter {
	if r.in.DirectMeter == nil {
		return Meter{}
	}
	return *r.in.DirectMeter
}

// shares are the parts of the TPO used that were calculated and read directly.
func (r *run) shares() (calculated, direct float64) {
	w := r.ways()
	if w == nil || w.Direct+w.Calculated == 0 {
		return 1, 0
	}
	direct = float64(w.Direct) / float64(w.Direct+w.Calculated)
	return 1 - direct, direct
}

// shared is the relative standard uncertainty of the run's mean that its
// instruments bring to all of their readings: it does not average out. Two
// instruments are taken as independent of each other.
func (r *run) shared() float64 {
	calculated, direct := r.shares()
	return math.Hypot(calculated*r.in.Meter.URel, direct*r.directMeter().URel)
}

// meter asks that every instrument whose TPO is used was proven.
func (r *run) meter() Reason {
	calculated, direct := r.shares()
	first := provenMeter(r.in.Meter, "the meter")
	if direct == 0 {
		return first
	}
	second := provenMeter(r.directMeter(), "the direct TPO instrument")
	switch {
	case calculated == 0:
		return second
	case !first.Passed && !second.Passed, first.Passed && second.Passed:
		second.Text = first.Text + "; " + second.Text
		return second
	case first.Passed:
		return second
	}
	return first
}

// provenMeter is the rule for one instrument, under the name it has in a sentence.
func provenMeter(m Meter, name string) Reason {
	switch {
	case m.Before == Failed || m.After == Failed:
		when := "before"
		if m.After == Failed {
			when = "after"
		}
		return reason(RuleMeter, false, name+" failed its check "+when+" the run; this reopens every lot since its last good check")
	case m.Offset != 0:
		return reason(RuleMeter, false, fmt.Sprintf("%s's check found it %s ppb off", name, number(m.Offset)))
	case m.Before == Passed && m.After == Passed:
		return reason(RuleMeter, true, name+" was proven before and after the run")
	case m.Before == Passed:
		return reason(RuleMeter, false, name+" is not proven after the run: check it before anything is released")
	case m.After == Passed:
		return reason(RuleMeter, false, name+" was not proven before the run")
	}
	return reason(RuleMeter, false, "nothing says that "+name+" was proven before and after the run; nothing is released on an unverified meter")
}
