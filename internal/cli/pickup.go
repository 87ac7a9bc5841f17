package cli

import (
	"bytes"
	"fmt"
	"io"
	"math"

	"ullage/core/calc"
	"ullage/core/cellar"
	"ullage/core/quantity"
	"ullage/core/way"
)

// PickupCmd draws the oxygen map of a list of readings.
type PickupCmd struct {
	File string `arg:"" placeholder:"FILE" help:"CSV file of readings; - for standard input."`

	Budget  map[string]float64 `placeholder:"STEP=PPB" group:"Limits" help:"Pickup that a step may have: transfer=12, centrifuge=10, filter=30, carbonation=2, hold=2, dry_hop=8, line=5, filling=20, headspace=60 are the starting points."`
	Explain bool               `group:"Output" help:"Print the derivation line by line: equation, numbers, source."`
	Format  string             `enum:"text,json" default:"text" group:"Output" help:"text or json."`
}

// Help is the long help of the command.
func (PickupCmd) Help() string {
	return `  ullage pickup way.csv
  ullage pickup way.csv --explain --budget transfer=10

Columns, in the order of the way: step, point, taken_at, do_ppb, volume_hl,
flow_hl_h, temperature_c, and where known meter, u_ppb, id. Only point and do_ppb
must be there; another unit in a name converts (do_ppm, flow_l_min). step is your
own word; a change of it begins a new move.

Points: wort_cooled, wort_oxygenated, pitched_12h, fermentation_end,
dry_hop_before, dry_hop_1h, dry_hop_24h, tank_before, centrifuge_in,
centrifuge_out, filter_in, filter_out, carbonation_before, carbonation_after,
tank_after, tank_rested, tank_hold, line_start, filler_inlet, unshaken, tpo.

It prints what each step brought with its 95 % interval, as ppb, grams and an air
leak, what is over its budget and what to check, where the readings contradict
each other, and the causes that flow tests and traces show. docs/cellar.md works
an example by hand and explains the JSON.`
}

// pickupRow is a row as a file holds it.
type pickupRow struct {
	ID          name                  `json:"id,omitempty" help:"name of the reading"`
	Step        name                  `json:"step,omitempty" help:"your word for the step"`
	Point       string                `json:"point" need:"yes" help:"point of the way, such as tank_before"`
	Taken       name                  `json:"taken_at,omitempty" help:"when, like 2026-03-02T07:25:00+01:00"`
	DO          *quantity.DO          `json:"do_ppb" need:"yes" help:"DO read"`
	U           *quantity.DO          `json:"u_ppb,omitempty" help:"standard uncertainty of the meter"`
	Volume      *quantity.Volume      `json:"volume_ml,omitempty" help:"volume there"`
	Flow        *quantity.Flow        `json:"flow_hl_h,omitempty" help:"flow then"`
	Temperature *quantity.Temperature `json:"temperature_c,omitempty" help:"temperature then"`
	Meter       name                  `json:"meter,omitempty" help:"meter that read it"`
}

func (c *PickupCmd) Run(s *streams) error {
	options := map[string]any{}
	if c.Explain {
		options["explain"] = true
	}
	var budgets []way.Budget
	for _, step := range way.DefaultBudgets() {
		if v, ok := c.Budget[step.Step]; ok {
			budgets = append(budgets, way.Budget{Step: step.Step, PPB: v})
			delete(c.Budget, step.Step)
		}
	}
	for step := range c.Budget {
		return &quantity.Error{Field: "--budget", Value: step, Message: "is no step with a budget", Mend: "use transfer, centrifuge, filter, carbonation, hold, dry_hop, line, filling or headspace"}
	}
	if budgets != nil {
		options["budgets"] = budgets
	}
	return runStudy(s, c.File, c.Format, "pickup", options, asItIs[pickupRow], printPickup)
}

func printPickup(w io.Writer, a calc.Answer) error {
	m := a.Result.(cellar.Map)
	var b bytes.Buffer
	fmt.Fprintf(&b, "%-26s %8s %7s %8s  %s\n", "Point", "ppb", "± 95 %", "grams", "limit")
	for i := range m.Nodes {
		nodeLine(&b, &m.Nodes[i], m.Reconciliation.Needed)
	}
	fmt.Fprintf(&b, "\n%-34s %15s %7s %8s %9s  %s\n", "Step", "ppb, ± 95 %", "budget", "grams", "air", "")
	for i := range m.Steps {
		stepLine(&b, &m.Steps[i])
	}
	moveLines(&b, &m)
	closureLine(&b, &m)
	if r := &m.Reconciliation; r.Needed {
		fmt.Fprintf(&b, "\nReadings against each other: ")
		if r.Consistent {
			fmt.Fprintf(&b, "within their scatter (chi² %.2f on %d, P %s); reading %s moved most\n", r.Chi2, r.DF, probability(r.P), r.MovedMost)
		} else {
			fmt.Fprintf(&b, "they contradict (chi² %.1f on %d, P %s); reading %s moved most\n", r.Chi2, r.DF, probability(r.P), r.MovedMost)
		}
	}
	if len(m.Diagnosis) == 0 {
		fmt.Fprintf(&b, "\nCauses: nothing resolved\n")
	} else {
		fmt.Fprintf(&b, "\nCauses, the largest first\n")
	}
	for _, f := range m.Diagnosis {
		fmt.Fprintf(&b, "  %s, %s: %s\n    next: %s\n", f.Kind, f.Where, f.Evidence, f.NextCheck)
	}
	for _, text := range m.Assumptions {
		fmt.Fprintf(&b, "  assumed: %s\n", text)
	}
	odd(&b, a.Warnings)
	derivation(&b, a.Derivation)
	_, err := w.Write(b.Bytes())
	return err
}

func nodeLine(b *bytes.Buffer, n *cellar.Node, needed bool) {
	if n.DO == nil {
		fmt.Fprintf(b, "  %-24s %8s\n", "not read", "")
		return
	}
	fmt.Fprintf(b, "  %-24s %8s %7s %8s", way.PointWord(n.Point), ppb(*n.DO), ppb(1.96*n.U), grams(n.Grams))
	if n.Green > 0 {
		fmt.Fprintf(b, "  %s (%s, %s)", n.State, ppb(n.Green), ppb(n.Red))
	} else if n.State != "" {
		fmt.Fprintf(b, "  %s", n.State)
	}
	if needed && n.Reconciled != nil && math.Abs(*n.Reconciled-*n.DO) >= 0.05 {
		fmt.Fprintf(b, "  reconciled %s", ppb(*n.Reconciled))
	}
	b.WriteString("\n")
}

// marks say the state of a step by more than its words.
var marks = map[string]string{"over": "!", "within": " ", "not_resolved": "~", "negative": "-", "no_budget": " "}

func stepLine(b *bytes.Buffer, s *cellar.Step) {
	budget := ""
	if s.Budget != nil {
		budget = ppb(*s.Budget)
	}
	air := ""
	if s.AirMLMin != nil && s.Resolved {
		air = fmt.Sprintf("%.3g mL/min", *s.AirMLMin)
	}
	fmt.Fprintf(b, "%s %-32s %7s ± %5s %7s %8s %11s\n", marks[s.State], covered(s.Covers), fmt.Sprintf("%+.1f", s.Delta), ppb(1.96*s.U), budget, grams(s.Grams), air)
	if s.State == "over" || s.State == "negative" || s.State == "not_resolved" && s.NextCheck != "" {
		fmt.Fprintf(b, "    %s\n", s.Reason)
		if s.NextCheck != "" {
			fmt.Fprintf(b, "    next: %s\n", s.NextCheck)
		}
	}
}

func covered(covers []string) string {
	text := ""
	for i, k := range covers {
		if i > 0 {
			text += " + "
		}
		text += way.StepWord(k)
	}
	return text
}

func moveLines(b *bytes.Buffer, m *cellar.Map) {
	for i, t := range m.Moves {
		if i == 0 {
			fmt.Fprintf(b, "\nWhole moves\n")
		}
		budget := ""
		if t.Budget != nil {
			budget = ppb(*t.Budget)
		}
		air := ""
		if t.AirMLMin != nil && t.Resolved {
			air = fmt.Sprintf("%.3g mL/min", *t.AirMLMin)
		}
		fmt.Fprintf(b, "%s %-32s %7s ± %5s %7s %8s %11s\n", marks[t.State], t.Move, fmt.Sprintf("%+.1f", t.Delta), ppb((t.High95-t.Low95)/2), budget, grams(t.Grams), air)
	}
}

func closureLine(b *bytes.Buffer, m *cellar.Map) {
	for _, p := range m.Package {
		if p.TPO == nil {
			continue
		}
		fmt.Fprintf(b, "\nTPO %s ppb", ppb(*p.TPO))
		sep := " ="
		for _, part := range []struct {
			v    *float64
			word string
		}{{p.Tank, "tank"}, {p.Line, "line"}, {p.Filler, "filler"}, {p.Headspace, "headspace"}} {
			if part.v != nil {
				fmt.Fprintf(b, "%s %s %s", sep, part.word, ppb(*part.v))
				sep = " +"
			}
		}
		if c := p.Closure; c != nil {
			word := "closes"
			if !c.Within {
				word = "does not close"
			}
			fmt.Fprintf(b, "; %s, residual %+.1f of ± %s allowed", word, c.Residual, ppb(c.Allowed))
		}
		b.WriteString("\n")
	}
}

func ppb(v float64) string {
	if math.Abs(v) >= 1000 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.1f", v)
}

func grams(g *float64) string {
	if g == nil {
		return ""
	}
	return fmt.Sprintf("%.3f", *g)
}
