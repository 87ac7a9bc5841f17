package verdict

import (
	"fmt"
	"math"
)

// recordCauses are what the record itself shows: slips of unit, the meter's
// check, and late readings where too few are left to fit their size.
func (r *run) recordCauses(known []Cause) []Cause {
	var out []Cause
	if c, ok := r.unitSlips(); ok {
		out = append(out, c)
	}
	out = append(out, r.meterOffsets()...)
	late := false
	for _, c := range known {
		late = late || c.Kind == KindLate
	}
	if first, n := r.firstLate(); n > 0 && !late {
		at := r.in.Samples[first].at()
		c := Cause{Kind: KindLate, Where: stamp(at), From: at, To: at, Packages: n, NextTest: nextTest(&found{term: term{kind: KindLate}})}
		r.lateWords(&c)
		out = append(out, c)
	}
	return out
}

func (r *run) firstLate() (first, n int) {
	for _, i := range r.order {
		if r.late[i] > 0 {
			if n == 0 {
				first = i
			}
			n++
		}
	}
	return first, n
}

// lateWords says which readings are late; the size is what their delay changed.
func (r *run) lateWords(c *Cause) {
	first, n := r.firstLate()
	s := &r.in.Samples[first]
	longest := 0.0
	for i, h := range r.late {
		if h > longest {
			longest = h
			c.To = r.in.Samples[i].at()
		}
	}
	c.Where, c.From, c.Packages = stamp(s.at()), s.at(), n
	if c.To.Before(c.From) {
		c.To = c.From
	}
	c.Evidence = fmt.Sprintf("%s up to %s h after closing, limit %.0f min (live yeast: %.0f): oxygen was consumed before the reading", plural(n, "package was read", "packages were read"),
		number(longest), r.rules.LateMinutes, r.rules.YeastMinutes)
	if c.PPB != 0 {
		c.Evidence += fmt.Sprintf("; they read %s ppb against the others", signed(c.PPB))
	}
	c.Errors = 0
}

// unitSlips are readings typed in another unit. The size is typed less meant.
func (r *run) unitSlips() (Cause, bool) {
	if len(r.slips) == 0 {
		return Cause{}, false
	}
	first := r.slips[0]
	c := Cause{Kind: KindUnitSlip, Packages: len(r.slips)}
	low, high, n := math.Inf(1), math.Inf(-1), 0.0
	channel := 0
	for _, s := range r.slips {
		channel = max(channel, s.channel)
	}
	for _, s := range r.slips {
		at := r.in.Samples[s.sample].at()
		if c.From.IsZero() || at.Before(c.From) {
			c.From, first = at, s
		}
		if at.After(c.To) {
			c.To = at
		}
		if s.channel == channel {
			d := s.typed - s.likely
			c.PPB += d
			n++
			low, high = math.Min(low, d), math.Max(high, d)
		}
	}
	c.PPB, c.Low95, c.High95 = c.PPB/n, low, high
	c.Where = stamp(c.From)
	c.Evidence = fmt.Sprintf("%s about 1,000 times off the others (%s %s ppb; meant may be %s): ppm typed as ppb, or the reverse; set aside, not corrected",
		plural(len(r.slips), "reading is", "readings are"), channelName(first.channel), number(first.typed), number(first.likely))
	c.NextTest = nextTest(&found{term: term{kind: KindUnitSlip}})
	return c, true
}

// meterOffset is what a check found of the DO meter, as TPO of the packages it
// was calculated for, and of the instrument that reads TPO directly.
func (r *run) meterOffsets() []Cause {
	var out []Cause
	calculated, direct := r.shares()
	k := r.factor()
	if math.IsNaN(k) {
		k = 1
	}
	if m := r.in.Meter; m.Offset != 0 && calculated > 0 {
		out = append(out, r.meterOffset(m, k, calculated, fmt.Sprintf("the meter's check found it %s ppb off; through the factor %.2f from shaken DO that is %s ppb of TPO in every package",
			signed(m.Offset), k, signed(m.Offset*k))))
	}
	if m := r.directMeter(); m.Offset != 0 && direct > 0 {
		out = append(out, r.meterOffset(m, 1, direct, fmt.Sprintf("the check of the direct TPO instrument found it %s ppb off, in every package that it read", signed(m.Offset))))
	}
	return out
}

// meterOffset is one of them: factor from its reading to TPO, share of the
// packages it read.
func (r *run) meterOffset(m Meter, factor, share float64, evidence string) Cause {
	n := 0.0
	for _, v := range r.use[2] {
		if !math.IsNaN(v) {
			n++
		}
	}
	half := 1.959964 * m.OffsetU * factor
	off := m.Offset * factor
	c := Cause{Kind: KindMeter, Where: stamp(r.time(0)), From: r.time(0), To: r.time(r.end), PPB: off, RunMean: off * share, Packages: int(math.Round(n * share)),
		Low95: off - half, High95: off + half, NextTest: nextTest(&found{term: term{kind: KindMeter}}), Evidence: evidence}
	if m.OffsetU > 0 {
		c.Errors = math.Abs(m.Offset) / m.OffsetU
	}
	return c
}
