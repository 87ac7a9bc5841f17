package demo

import (
	"time"

	"ullage/internal/lab"
)

// perPallet are packages on a pallet, by format (invented).
var perPallet = []struct {
	format string
	n      int
}{{"can355", 2340}, {"can440", 1848}, {"can473", 1848}, {"bottle330", 1440}, {"bottle355", 1440}, {"bottle500", 960}, {"keg20", 24}, {"keg30", 18}}

// judged adds what a lot is judged with beside its readings: the verifications
// of the meters, rules, and what was decided.
func (b *builder) judged() {
	b.meterChecks()
	b.letGoTooSoon()
	at := b.begins.AddDate(0, 0, -4).Add(10 * time.Hour)
	for _, x := range perPallet {
		n := x.n
		b.add(at, write{record: &lab.RuleSet{Meta: meta(b.id(at), b.ref("head"), "desk", at), FormatID: b.ref(x.format), PerPallet: &n}})
	}
	b.decisions()
}

// decisions beside the holds and releases of decide. The others wait for a person.
func (b *builder) decisions() {
	add := func(run string, at time.Time, d lab.LotDecision) {
		d.Meta, d.RunID = meta(b.id(at), b.ref("head"), "desk", at), b.sum.Scripted[run]
		b.add(at.Add(2*time.Second), write{record: &d})
	}
	for _, x := range scripts() {
		start := b.workday(x.day).Add(time.Duration(x.hour * float64(time.Hour)))
		next := b.workday(x.day - 1).Add(9 * time.Hour)
		switch x.name {
		case "R1", "R2":
			add(x.name, next, lab.LotDecision{Proposed: "release", Rule: "all", Decision: "release", Why: "within limits, meter proven before and after"})
		case "R4":
			add(x.name, next.Add(5*time.Hour), lab.LotDecision{Proposed: "release", Rule: "all", Decision: "release", Why: "cans of head 4 sorted out by their code and destroyed; the rest within the limit"})
		case "R11":
			add(x.name, b.now.Add(-190*time.Minute), lab.LotDecision{Proposed: "hold", Rule: "meter_proven", Decision: "hold", Why: "zero check of DO meter 3 reads 14 ppb: re-test the retained bottles"})
		case "R5":
			from, to := lab.At(start.Add(60*time.Minute)), lab.At(start.Add(160*time.Minute))
			add(x.name, next, lab.LotDecision{Proposed: "hold", Rule: "no_single_above", Decision: "hold", Held: []lab.LotSpan{{From: from, To: to}}, Why: "TPO above the limit on all valves in the second half"})
			add(x.name, start.Add(50*time.Hour), lab.LotDecision{Proposed: "hold", Rule: "no_single_above", Decision: "conditional", Condition: "bottles of the second half destroyed", Why: "the first half within the limit"})
		}
	}
}
