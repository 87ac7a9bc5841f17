package cli

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"

	"ullage/core/calc"
	"ullage/internal/batch"
)

// printTPO writes one result for a person: the kind in words, value, interval,
// limit and judgement first, then where it comes from.
func printTPO(w io.Writer, c *tpoCommand, r *calc.TPOResult, a calc.Answer) error {
	var b bytes.Buffer
	headline(&b, r)
	fmt.Fprintf(&b, "\n  beer %.2f mL, headspace %.2f mL of %.2f mL (%s: %s)\n", r.Beer, r.Headspace, r.Capacity, words[r.Path], r.PathReason)
	fmt.Fprintf(&b, "  oxygen %.1f µg: beer %s |%s| headspace %s\n", r.Oxygen, percent(1-r.HeadspaceShare), bar(1-r.HeadspaceShare), percent(r.HeadspaceShare))
	fmt.Fprintf(&b, "  shaken DO %s × %.3f (1 + %.3f × %.2f / %.2f), as much as %.3f mL of air\n", c.ShakenDO, r.TotalToDissolved, r.PartitionRatio, r.Headspace, r.Beer, r.Air)
	figures(&b, r)
	odd(&b, a.Warnings)
	budget(&b, r)
	derivation(&b, a.Derivation)
	_, err := w.Write(b.Bytes())
	return err
}

var words = map[string]string{calc.PathWeighed: "weighed", calc.PathFillHeight: "by fill height", calc.PathAssumed: "assumed fill"}

func headline(b *bytes.Buffer, r *calc.TPOResult) {
	fmt.Fprintf(b, "TPO, calculated   %s ppb", batch.Digits(r.TPO, r.U))
	if r.U > 0 {
		fmt.Fprintf(b, "   95 %%: %s to %s", batch.Digits(r.Low95, r.U), batch.Digits(r.High95, r.U))
	}
	if l := r.Limit; l != nil {
		fmt.Fprintf(b, "   limit %g: %s (probability above %s); shaken DO at the limit %.1f ppb", l.Limit, judge(l.ProbabilityAbove), probability(l.ProbabilityAbove), l.ShakenDO)
	}
	b.WriteByte('\n')
}

func judge(above float64) string {
	switch {
	case above <= 0.05:
		return "below"
	case above >= 0.95:
		return "above"
	case above < 0.5:
		return "probably below"
	}
	return "probably above"
}

func probability(p float64) string {
	switch {
	case p < 0.001:
		return "< 0.1 %"
	case p > 0.999:
		return "> 99.9 %"
	}
	return fmt.Sprintf("%.1f %%", 100*p)
}

// bar draws the beer's share of the oxygen.
func bar(beer float64) string {
	const width = 24
	n := int(math.Round(beer * width))
	return strings.Repeat("=", n) + strings.Repeat(".", width-n)
}

func figures(b *bytes.Buffer, r *calc.TPOResult) {
	if s := r.Split; s != nil {
		fmt.Fprintf(b, "  came in: ")
		if s.Inlet != nil {
			fmt.Fprintf(b, "filler inlet %.1f, liquid at the filler %+.1f, ", *s.Inlet, *s.LiquidPickup)
		}
		fmt.Fprintf(b, "headspace %+.1f ppb\n", s.Headspace)
	}
	for _, c := range r.Corrections {
		fmt.Fprintf(b, "  correction %-9s %+.2f ppb\n", c.Name, c.Change)
	}
	if r.BeerCorrected != nil && len(r.Corrections) == 0 {
		fmt.Fprintf(b, "  corrected for the solubility in beer %.1f ppb\n", *r.BeerCorrected)
	}
	if r.FillBias != nil {
		fmt.Fprintf(b, "  the nominal fill instead would change it by %+.1f ppb\n", *r.FillBias)
	}
	for _, p := range r.Paths {
		if !p.Used {
			fmt.Fprintf(b, "  %s: %s ppb, headspace %.2f mL", words[p.Path], batch.Digits(p.TPO, p.U), p.Headspace)
			if p.U > 0 {
				fmt.Fprintf(b, ", ± %s", batch.Digits(2*p.U, p.U))
			}
			b.WriteByte('\n')
		}
	}
}

func odd(b *bytes.Buffer, list []calc.Warning) {
	for _, w := range list {
		fmt.Fprintf(b, "  ? %s", w.Message)
		if w.Value != "" {
			fmt.Fprintf(b, " (%s %s)", w.Field, w.Value)
		}
		fmt.Fprintf(b, " — %s\n", w.Mend)
	}
}

func budget(b *bytes.Buffer, r *calc.TPOResult) {
	if r.U == 0 {
		return
	}
	fmt.Fprintf(b, "\nStandard uncertainty %s ppb", batch.Digits(r.U, r.U))
	if r.Trials > 0 {
		fmt.Fprintf(b, " (Monte Carlo, %d trials; parts to first order)", r.Trials)
	}
	b.WriteByte('\n')
	for _, part := range r.Budget {
		if part.Share < 0.005 {
			break
		}
		fmt.Fprintf(b, "  %-52s %6.2f ppb  %3.0f %%\n", part.Name, math.Abs(part.U), 100*part.Share)
	}
	if n := r.Next; n != nil {
		fmt.Fprintf(b, "Best next: %s; the 95 %% interval becomes ± %s ppb, %s less.\n", n.What, batch.Digits(2*n.U, n.U), batch.Digits(n.Gain, n.U))
	}
}

func derivation(b *bytes.Buffer, steps []calc.Step) {
	if len(steps) == 0 {
		return
	}
	fmt.Fprintf(b, "\nDerivation (equations of docs/method.md)\n")
	for _, s := range steps {
		fmt.Fprintf(b, "  (%s) %s = %s\n       = %s\n       = %.6g %s   [%s]\n", s.Equation, s.Symbol, s.Formula, s.Numbers, s.Value, s.Unit, s.Source)
	}
}
