package verdict

import (
	"fmt"
	"math"
	"strings"
)

// cause puts what was found into words. Checks are common practice.
func (r *run) cause(x *found) Cause {
	c := Cause{Kind: x.kind, Where: r.where(x), PPB: x.ppb, Low95: x.low, High95: x.high, RunMean: x.runMean,
		From: r.time(math.Max(x.from, 0)), To: r.time(math.Min(x.to, r.end)), Packages: x.rows, Errors: x.errors}
	var e strings.Builder
	fmt.Fprintf(&e, "%s ppb in %s", signed(x.ppb), channelName(x.channel))
	if len(x.also) > 0 {
		e.WriteString(", seen in " + strings.Join(x.also, " and ") + " too")
	}
	fmt.Fprintf(&e, "; %.1f standard errors, %s", x.errors, plural(x.rows, "reading", "readings"))
	if x.event != "" {
		fmt.Fprintf(&e, "; it begins with the %s at %s", strings.ReplaceAll(x.event, "_", " "), clock(c.From))
	}
	if x.said != "" {
		e.WriteString("; " + x.said)
	}
	e.WriteString("; " + r.story(x))
	c.Evidence = e.String()
	c.NextTest = nextTest(x)
	return c
}

func signed(v float64) string {
	if v < 0 {
		return "−" + number(-v)
	}
	return "+" + number(v)
}

func (r *run) where(x *found) string {
	switch {
	case x.head != "":
		return x.head
	case x.station != "":
		return x.station
	}
	return stamp(r.time(math.Max(x.from, 0)))
}

// story is what the readings look like.
func (r *run) story(x *found) string {
	span := r.spanWords(x)
	switch x.kind {
	case KindStartup:
		return fmt.Sprintf("high at the start, falling with a time constant near %.0f min", x.tau)
	case KindRestart:
		return fmt.Sprintf("high after restarts, falling within about %.0f min", math.Max(1, 2*x.tau))
	case KindDrift:
		return "a steady rise over the run on all heads"
	case KindHead:
		if x.headside {
			return "this head against the others" + span + "; its unshaken DO is not high, so the oxygen is in the headspace"
		}
		return "this head against the others" + span
	case KindStation:
		return "packages of this closing station against the others, whatever their head"
	case KindLowFill:
		if x.head != "" {
			return "low fills of this head, with more headspace to hold oxygen" + span
		}
		return "low fills of any head, with more headspace to hold oxygen"
	case KindHeadspace:
		return "all heads" + span + "; unshaken DO does not rise with it, so the oxygen is trapped after filling"
	case KindTank:
		return "all heads" + span + "; DO at the inlet moves with the tank"
	case KindLine:
		return "all heads" + span + "; DO at the inlet moves and the tank does not"
	case KindMeter:
		return "every kind of reading moves by the same amount" + span + ", which oxygen in the beer would not do"
	}
	return "all heads" + span
}

func (r *run) spanWords(x *found) string {
	switch {
	case x.family == KindMeter:
		return ""
	case math.IsInf(x.to, 1) && x.from <= 1:
		return " over the whole run"
	case math.IsInf(x.to, 1):
		return " from " + clock(r.time(x.from)) + " on"
	}
	return " from " + clock(r.time(math.Max(0, x.from))) + " to " + clock(r.time(x.to))
}

// nextTest is what would confirm the cause (common practice).
func nextTest(x *found) string {
	switch x.kind {
	case KindStartup:
		return "read the inlet and one package per head each 5 min of the next start; throw away until both are flat"
	case KindRestart:
		return "after the next stop, take one per head from the first and second round; throw away what stood open between filling and closing"
	case KindDrift:
		return "read a retained package of the first hour again (the meter), then inlet DO, beer temperature and CO2; the slope must go"
	case KindHead:
		if x.headside {
			return "watch the foam of this head at the rim, weigh its fills, then pull three of it in a row"
		}
		return "pull three in a row of this head, shaken and unshaken; swap its seal or purge tube with another head: does the fault move?"
	case KindStation:
		return "pull three in a row of this station; look at its cover gas and chute"
	case KindLowFill:
		return "weigh ten packages of each head; look at the valve and the vent tube"
	case KindHeadspace:
		return "watch the foam at the rim; jetter pressure, cover gas, time to the lid; then one set, shaken and unshaken"
	case KindTank:
		return "read the tank itself and its gas; bracket transfer and carbonation"
	case KindLine:
		return "bracket the line from tank to filler; halve the flow: a leak doubles its ppb"
	case KindMeter:
		return "check zero and air-saturated water; read two packages with another meter before anything else is changed"
	case KindLate:
		return "read packages of the same time again from the retained ones, at once; do not correct the late ones upward"
	case KindUnitSlip:
		return "look at the meter's own log; correct the record with the reason"
	}
	if x.event == GasChange {
		return "measure the oxygen in the new gas, or go back to the old supply: one set must step back"
	}
	return "look in the run log for what changed then: gas, tank, speed, another user of CO2; undo it: one set must step back"
}
