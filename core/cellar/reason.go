package cellar

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"ullage/core/quantity"
	"ullage/core/uncertainty"
	"ullage/core/way"
)

// judge gives the state of a step with its reason and what to check next.
func (n *network) judge(st *Step, v *way.Place, d *difference) {
	may, by := n.MayFall(st.Covers, v.Batch)
	st.State = stateOf(st.Delta, st.Resolved, st.Budget)
	st.Consumed = st.State == "negative" && by == "yeast"
	half := uncertainty.Normal95 * st.U
	switch st.State {
	case "not_resolved":
		st.Reason = fmt.Sprintf("%s is inside what meters and sampling scatter by: not resolved, which is not zero", way.PlusMinus(st.Delta, half))
		if st.Budget != nil && st.High95 <= *st.Budget {
			st.Reason += fmt.Sprintf("; at most %s ppb, within its %s", quantity.Figure(st.High95), quantity.Figure(*st.Budget))
		} else if st.Budget != nil {
			st.NextCheck = fmt.Sprintf("read both sides within 5 min with one meter, %d times each, to tell it from its %s ppb", n.repeats(st), quantity.Figure(*st.Budget))
		}
	case "within":
		st.Reason = fmt.Sprintf("%s, within its %s", way.PlusMinus(st.Delta, half), quantity.Figure(*st.Budget))
		if st.High95 > *st.Budget {
			st.Reason += "; the interval reaches above it"
		}
	case "over":
		st.Reason = fmt.Sprintf("%s, over its %s", way.PlusMinus(st.Delta, half), quantity.Figure(*st.Budget))
		if st.Low95 <= *st.Budget {
			st.Reason += "; the interval still holds the budget"
		}
		st.NextCheck = nextCheck(st)
	case "no_budget":
		st.Reason = way.PlusMinus(st.Delta, half)
		if by == "gas" || st.Kind == way.StepOxygenation {
			st.Reason += ", wanted here"
		}
	case "negative":
		n.fell(st, v, d, may, by)
	}
}

// repeats is how often both sides must be read for the interval to be half the
// budget, up to ten.
func (n *network) repeats(st *Step) int {
	if *st.Budget <= 0 {
		return 10
	}
	k := math.Pow(uncertainty.Normal95*st.U/(*st.Budget/2), 2)
	return int(min(10, max(2, math.Ceil(k))))
}

// fell explains a reading below the one before it, by what can have done it.
func (n *network) fell(st *Step, v *way.Place, d *difference, may bool, by string) {
	half := uncertainty.Normal95 * st.U
	head := way.PlusMinus(st.Delta, half)
	if may && by == "yeast" && v.Value > 0 && d.before > v.Value && st.Hours != nil && *st.Hours > 0.2 {
		h := *st.Hours * math.Ln2 / math.Log(d.before/v.Value)
		st.HalfLifeH = &h
	}
	switch {
	case by == "yeast" && slices.Contains(st.Covers, way.StepFermentation):
		st.Reason = head + ", taken up by the yeast, as it should be"
	case by == "yeast":
		st.Reason = head + ", taken up by yeast"
		if st.HalfLifeH != nil {
			st.Reason += fmt.Sprintf(", half of it in %s h", quantity.Figure(*st.HalfLifeH))
		}
		st.Reason += "; oxygen gone is not harm undone"
		st.NextCheck = "find what brought it in; the fall is the yeast's work, not a repair"
	case by == "stripping":
		st.Reason = head + ", stripped by CO2 that bubbled through and left, or an offset between the meters"
		st.NextCheck = "read both sides with one meter; stripping costs aroma and foam, once only"
	case by == "gas":
		st.Reason = head + ": gas that was dissolved under pressure came out again"
		st.NextCheck = "read in the tank after the bubbles have gone; use the tank's figure"
	case by == "addition":
		st.Reason = head + ", below what was added: the figure of the addition is too high, or a reading is wrong"
		st.NextCheck = "read the added liquid itself"
	case len(d.meters) > 1:
		st.Reason = head + fmt.Sprintf(" where nothing takes oxygen up; two meters read it (%s): an offset between them is likeliest", strings.Join(d.meters, ", "))
		st.NextCheck = "zero both meters and swap them: does the step follow the meter?"
	default:
		st.Reason = head + " where nothing takes oxygen up: a sample is mislabelled, the readings are in the wrong order, or the one before it was not flushed"
		st.NextCheck = "read both points again within 5 min; check point and time of both records"
		if st.Hours != nil && *st.Hours > 12 {
			st.Reason += fmt.Sprintf("; over %s h yeast or sulphite may have consumed it", quantity.Figure(*st.Hours))
		}
	}
	if !st.Consumed && by == "" && st.Hours != nil && *st.Hours < 0 {
		st.Reason += "; by their times the later point was read first"
	}
}

func describe(covers []string) string {
	words := make([]string, len(covers))
	for i, k := range covers {
		words[i] = way.StepWord(k)
	}
	return strings.Join(words, " + ")
}

// nextCheck is what would confirm or find the cause (common practice).
func nextCheck(st *Step) string {
	switch {
	case len(st.Covers) > 1 && st.Kind == way.StepTransfer:
		return "no reading separates " + describe(st.Covers) + ": bracket them, upstream and downstream within 5 min, and halve the flow: a fixed leak doubles its ppb"
	case len(st.Covers) > 1:
		return "no reading separates " + describe(st.Covers) + ": read between them next time"
	}
	switch st.Kind {
	case way.StepDryHop:
		return "purge of the doser and of the hop bag: cycles, gas, time open; dose while yeast is still active"
	case way.StepTransfer:
		return "purge record of line and receiving tank; suction pressure, seals, clamps; halve the flow: a fixed leak doubles its ppb"
	case way.StepCentrifuge:
		return "DO of the sealing water; hydro-hermetic seal; read between discharges and just after one"
	case way.StepFilter:
		return "slurry tank under CO2, DO of its water; air in the shell: read the first ten minutes each minute"
	case way.StepCarbonation:
		return "oxygen in the CO2 (30 ppm v/v brings 22 ppb with each g/L); vent the first gas of a cylinder"
	case way.StepHold:
		return "oxygen in the top gas; DO against the level while the tank empties"
	case way.StepLine:
		return "purge of the line, pump seal, dead legs; read the start of the line and the filler inlet together"
	case way.StepFilling:
		return "one set unshaken for each head; purge and pre-evacuation of the filler"
	case way.StepHeadspace:
		return "foam on the rim, jetter, cover gas, time to the lid"
	}
	return "bracket it: read upstream and downstream within 5 min"
}
