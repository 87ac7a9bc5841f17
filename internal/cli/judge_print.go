package cli

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"ullage/core/verdict"
)

var verdictWords = map[string]string{
	verdict.Release: "RELEASE", verdict.Conditional: "CONDITIONAL: shorter code, cold chain, or local and draught first", verdict.Hold: "HOLD",
	verdict.KeepGoing: "keep going", verdict.Retest: "re-test", verdict.StopLine: "stop",
}

// printJudgement writes a judgement for a person: the decision and its reasons
// first, then what is held, then where the oxygen came from.
func printJudgement(w io.Writer, j *verdict.Judgement) error {
	var b bytes.Buffer
	printLot(&b, j)
	fmt.Fprintf(&b, "\nLine, last set: %s%s\n", verdictWords[j.Line.Verdict], wrongWords(j.Line.ProbabilityWrong, j.Line.Wrong))
	printReasons(&b, j.Line.Reasons)
	printHeld(&b, j.Held)
	printSplit(&b, j.Split)
	printCauses(&b, j.Causes)
	printHeads(&b, j.Heads)
	if c := j.Capability; c != nil && c.Upper != nil {
		fmt.Fprintf(&b, "\nCapability against %.0f ppb, logarithms: Ppk %.2f (95 %%: %.2f to %.2f), expected above it %s\n", c.Upper.Limit, c.Ppk.Value, c.Ppk.Interval.Low, c.Ppk.Interval.High, probability(c.Outside))
	}
	for _, a := range j.Aside {
		fmt.Fprintf(&b, "  ? set aside: %s%s %s\n", idWords(a.ID), a.At.Format(time.RFC3339), a.Why)
	}
	_, err := w.Write(b.Bytes())
	return err
}

func printLot(b *bytes.Buffer, j *verdict.Judgement) {
	fmt.Fprintf(b, "Lot: %s%s\n", verdictWords[j.Verdict], wrongWords(j.ProbabilityWrong, j.Wrong))
	if j.Verdict != j.WithMeter {
		fmt.Fprintf(b, "  with a proven meter: %s\n", verdictWords[j.WithMeter])
	}
	if len(j.Held) > 0 && j.Rest != j.WithMeter {
		fmt.Fprintf(b, "  outside the held spans, with a proven meter: %s\n", verdictWords[j.Rest])
	}
	printReasons(b, j.Reasons)
	if j.Ways != nil {
		fmt.Fprintf(b, "  %s\n", j.Ways.Sentence)
	}
	if j.Rules.FromDefault {
		b.WriteString("  ? the limits are starting points from common practice, not your specification: give --limit and --single-limit\n")
	}
	b.WriteString("  The person decides. This is quality, not food safety.\n")
}

func wrongWords(p *float64, what string) string {
	switch {
	case p != nil:
		return fmt.Sprintf("   (wrong if %s: %s)", what, probability(*p))
	case what != "":
		return "   (" + what + ")"
	}
	return ""
}

func printReasons(b *bytes.Buffer, list []verdict.Reason) {
	for _, r := range list {
		mark := "ok "
		if !r.Passed {
			mark = "NOT"
		}
		fmt.Fprintf(b, "  %s %-16s %s\n", mark, r.Rule, r.Text)
	}
}

func printHeld(b *bytes.Buffer, list []verdict.HeldSpan) {
	if len(list) == 0 {
		return
	}
	b.WriteString("\nHold\n")
	for _, h := range list {
		who, until := "all heads", ""
		if h.Head != "" {
			who = "head " + h.Head
		}
		if h.Open {
			until = ", no good reading after it yet"
		}
		fmt.Fprintf(b, "  %s to %s, %s, %.0f min of running%s", h.From.Format(time.RFC3339), h.To.Format(time.RFC3339), who, h.Minutes, until)
		if h.Packages != nil {
			fmt.Fprintf(b, ", %s", countOf(*h.Packages, "package"))
		}
		if h.Pallets != nil {
			fmt.Fprintf(b, " on %s", countOf(*h.Pallets, "pallet"))
		}
		fmt.Fprintf(b, "\n    why: %s\n    freed by: %s\n", h.Why, h.FreedBy)
	}
}

func printSplit(b *bytes.Buffer, s *verdict.Split) {
	if s == nil {
		return
	}
	fmt.Fprintf(b, "\nMean TPO %.1f ppb", s.TPO)
	for _, part := range []struct {
		name string
		v    *float64
	}{{"tank", s.Tank}, {"line", s.Line}, {"filler inlet", s.Inlet}, {"liquid at the filler", s.LiquidPickup}, {"headspace", s.Headspace}} {
		if part.v != nil && !(part.name == "filler inlet" && s.Tank != nil) {
			fmt.Fprintf(b, "; %s %.1f", part.name, *part.v)
		}
	}
	b.WriteByte('\n')
}

func printCauses(b *bytes.Buffer, list []verdict.Cause) {
	b.WriteString("\nWhere it came from\n")
	if len(list) == 0 {
		b.WriteString("  nothing stands out from ordinary scatter\n")
	}
	for i, c := range list {
		where := c.Where
		switch c.Kind {
		case verdict.KindHead, verdict.KindStation:
			where = c.Kind + " " + c.Where
		case verdict.KindLowFill:
			if !strings.Contains(c.Where, "T") {
				where = "head " + c.Where
			}
		}
		interval := ""
		if c.Low95 != c.High95 {
			interval = fmt.Sprintf("   95 %%: %.0f to %.0f", c.Low95, c.High95)
		}
		fmt.Fprintf(b, "  %d. %-12s %-22s %+.0f ppb%s\n     %s\n     next: %s\n", i+1, c.Kind, where, c.PPB, interval, c.Evidence, c.NextTest)
	}
}

func printHeads(b *bytes.Buffer, list []verdict.HeadMean) {
	if len(list) < 2 {
		return
	}
	top := 0.0
	for _, h := range list {
		top = math.Max(top, h.High95)
	}
	b.WriteString("\nHead    n   TPO ppb   95 %\n")
	for _, h := range list {
		at := func(v float64) int { return int(math.Round(v / top * 40)) }
		row := []rune(strings.Repeat(" ", 41))
		for i := at(h.Low95); i <= at(h.High95) && i < len(row); i++ {
			row[i] = '-'
		}
		row[min(at(h.Mean), len(row)-1)] = 'o'
		fmt.Fprintf(b, "%-6s %2d %9.1f   %-13s %s %s\n", h.Head, h.N, h.Mean, fmt.Sprintf("%.0f to %.0f", h.Low95, h.High95), strings.TrimRight(string(row), " "), h.Outside)
	}
}

func idWords(id string) string {
	if id == "" {
		return ""
	}
	return id + ", "
}

func countOf(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
