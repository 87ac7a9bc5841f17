package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"

	"ullage/core/calc"
	"ullage/core/quantity"
	"ullage/internal/batch"
)

// AgreeCmd compares calculated with direct TPO.
type AgreeCmd struct {
	File string `arg:"" placeholder:"FILE" help:"CSV file of pairs; - for standard input."`

	Margin     *quantity.TPO `placeholder:"5" group:"Rules" help:"The mean difference must lie within ± this, ppb; 5 when not said (common practice)."`
	MinPairs   int           `name:"min-pairs" placeholder:"10" group:"Rules" help:"Pairs before anything may stand in; 10 when not said (common practice)."`
	ErrorRatio float64       `name:"error-ratio" placeholder:"1" group:"Rules" help:"Deming line: error variance of the calculated figure over that of the direct one."`

	SG          *quantity.SpecificGravity `name:"sg" placeholder:"1.010" group:"Raw columns" help:"Gravity, where the file has no column of it."`
	Temperature *quantity.Temperature     `placeholder:"4C" group:"Raw columns" help:"Temperature of the packages, where the file has none."`
	Tare        *quantity.Mass            `placeholder:"13.4g" group:"Raw columns" help:"Empty package, where the file has none."`
	Capacity    *quantity.Volume          `placeholder:"373.5mL" group:"Raw columns" help:"Capacity, where the file has none."`

	Format string `enum:"text,json" default:"text" group:"Output" help:"text or json."`
}

// Help is the long help of the command.
func (AgreeCmd) Help() string {
	return `  ullage agree pairs.csv
  ullage agree pairs.csv --margin 8 --format json

Columns: id, calculated_ppb, direct_ppb, and where known calculated_u_ppb,
direct_u_ppb, beer_ml, headspace_ml. Or raw readings: the columns of "ullage tpo"
with direct_ppb, and the TPO is calculated first.

A difference is calculated − direct; the direct reading is x of the lines. The
verdict is one of: may stand in, not yet shown, differs. A bad row is reported and
left out; the exit code is then 1. docs/instruments.md explains every figure.`
}

// pairRow is a pair as a file holds it. A package's own columns go to TPOInput.
type pairRow struct {
	ID          name             `json:"id" help:"name of the pair"`
	Calculated  *quantity.TPO    `json:"calculated_ppb" help:"TPO calculated from shaken DO and volumes"`
	Direct      *quantity.TPO    `json:"direct_ppb" need:"yes" help:"TPO read directly, ppb"`
	CalculatedU *quantity.TPO    `json:"calculated_u_ppb" help:"its standard uncertainty"`
	DirectU     *quantity.TPO    `json:"direct_u_ppb" help:"its standard uncertainty"`
	Beer        *quantity.Volume `json:"beer_ml" help:"volume of the beer"`
	Headspace   *quantity.Volume `json:"headspace_ml" help:"volume of the headspace"`
}

// name is a cell that keeps its spelling.
type name string

func (c *AgreeCmd) Run(s *streams) error {
	options := map[string]any{}
	if c.Margin != nil {
		options["margin_ppb"] = *c.Margin
	}
	if c.MinPairs != 0 {
		options["min_pairs"] = c.MinPairs
	}
	if c.ErrorRatio != 0 {
		options["error_ratio"] = c.ErrorRatio
	}
	var e calc.Evaluator
	return runStudy(s, c.File, c.Format, "agree", options, func(p *pairRow, in *calc.TPOInput) (any, error) {
		return c.pair(&e, p, in)
	}, func(w io.Writer, a calc.Answer) error {
		r := a.Result.(calc.AgreeResult)
		return printAgreement(w, &r, a.Warnings)
	})
}

// pair takes a row as it is, or calculates its TPO.
func (c *AgreeCmd) pair(e *calc.Evaluator, p *pairRow, in *calc.TPOInput) (any, error) {
	if p.Calculated != nil {
		return p, nil
	}
	if in.ShakenDO == nil {
		return nil, &quantity.Error{Field: "calculated_ppb", Message: "is missing, and shaken_do_ppb too", Mend: "give the calculated TPO, or what ullage tpo needs of a package"}
	}
	fallback(&in.SG, c.SG)
	fallback(&in.Temperature, c.Temperature)
	fallback(&in.Tare, c.Tare)
	fallback(&in.Capacity, c.Capacity)
	var out calc.TPOResult
	if _, err := e.Evaluate(in, &out, nil); err != nil {
		return nil, err
	}
	total, u, beer, headspace := quantity.TPO(out.TPO), quantity.TPO(out.U), quantity.Volume(out.Beer), quantity.Volume(out.Headspace)
	p.Calculated, p.Beer, p.Headspace = &total, &beer, &headspace
	fallback(&p.CalculatedU, &u)
	return p, nil
}

func fallback[T any](into **T, otherwise *T) {
	if *into == nil {
		*into = otherwise
	}
}

// runStudy reads a file into rows, runs a calculation of the table over them,
// and prints its answer. A row that the calculation refuses is reported with its
// line, like one that could not be read, and the others go on.
func runStudy[A, B any](s *streams, file, format, calculation string, options map[string]any, row func(*A, *B) (any, error), show func(io.Writer, calc.Answer) error) error {
	in, source, err := open(s, file)
	if err != nil {
		return err
	}
	defer in.Close()
	var rows []any
	table, err := batch.ReadTable(in, source, func(text string) { fmt.Fprintf(s.err, "%s: columns %s\n", source, text) }, func(a *A, b *B) error {
		r, err := row(a, b)
		if err == nil {
			rows = append(rows, r)
		}
		return err
	})
	for _, f := range table.Faults {
		fmt.Fprintln(s.err, f)
	}
	if err != nil {
		return err
	}
	if len(rows) == 0 {
		return &quantity.Error{Field: "FILE", Value: source, Message: "holds no row that can be used", Mend: "see ullage " + commandOf(calculation) + " --help for its columns"}
	}
	answer, refused, err := study(s, source, calculation, options, rows, table.Lines)
	if err != nil {
		return err
	}
	if refused += len(table.Faults); refused > 0 {
		fmt.Fprintf(s.err, "%s: %d rows, %d refused\n", source, table.Rows, refused)
	}
	if format == "json" {
		err = printFlat(s.out, answer)
	} else {
		err = show(s.out, answer)
	}
	if err == nil && refused > 0 {
		return errFaults
	}
	return err
}

// commandOf is the command behind a calculation.
func commandOf(calculation string) string {
	if calculation == "buy-next" {
		return "study instruments"
	}
	return strings.Replace(calculation, "study-", "study ", 1)
}

var inRows = regexp.MustCompile(`^rows\[(\d+)\]\.?`)

// study runs the calculation, and again without each row that it refuses.
func study(s *streams, source, calculation string, options map[string]any, rows []any, lines []int) (answer calc.Answer, refused int, err error) {
	answer, _, refused, err = sift(s, source, calculation, options, rows, lines)
	return answer, refused, err
}

// sift is study with the rows that were used.
func sift(s *streams, source, calculation string, options map[string]any, rows []any, lines []int) (answer calc.Answer, used []any, refused int, err error) {
	for {
		input := map[string]any{"rows": rows}
		for k, v := range options {
			input[k] = v
		}
		text, err := json.Marshal(input)
		if err != nil {
			return answer, rows, refused, err
		}
		answer, err = calc.Do(calculation, text)
		e, ok := err.(*quantity.Error)
		if !ok {
			return answer, rows, refused, err
		}
		at := inRows.FindStringSubmatch(e.Field)
		if at == nil {
			return answer, rows, refused, inFile(e, source, len(rows))
		}
		i, _ := strconv.Atoi(at[1])
		named := *e
		named.Field = e.Field[len(at[0]):]
		if i >= len(rows) || len(rows) == 1 || refused >= 1000 {
			return answer, rows, refused, batch.Fault{File: source, Line: lines[min(i, len(lines)-1)], Err: &named}
		}
		fmt.Fprintln(s.err, batch.Fault{File: source, Line: lines[i], Err: &named})
		rows, lines = append(rows[:i:i], rows[i+1:]...), append(lines[:i:i], lines[i+1:]...)
		refused++
	}
}

// inFile says of which file the rows as a whole were refused.
func inFile(e *quantity.Error, source string, n int) error {
	if e.Field != "rows" {
		return e
	}
	named := *e
	if strings.Contains(e.Message, e.Value) { // said once is enough
		named.Value = ""
	}
	named.Field, named.Message = source, fmt.Sprintf("%s (%d rows could be used)", e.Message, n)
	return &named
}

// printFlat writes the fields of a result, with the warnings beside them, and
// the derivation where there is one. A result that holds its own warnings keeps
// those.
func printFlat(w io.Writer, a calc.Answer) error {
	if a.Warnings == nil {
		a.Warnings = []calc.Warning{}
	}
	text, err := plainJSON(a.Result)
	if err != nil {
		return err
	}
	var own struct {
		Warnings json.RawMessage `json:"warnings"`
	}
	if err := json.Unmarshal(text, &own); err != nil {
		return err
	}
	text = bytes.TrimSuffix(text, []byte("}"))
	for _, part := range []struct {
		name string
		v    any
		skip bool
	}{{"warnings", a.Warnings, own.Warnings != nil}, {"derivation", a.Derivation, len(a.Derivation) == 0}} {
		if part.skip {
			continue
		}
		more, err := plainJSON(part.v)
		if err != nil {
			return err
		}
		text = append(append(text, `,"`+part.name+`":`...), more...)
	}
	var out bytes.Buffer
	if err := json.Indent(&out, append(text, '}'), "", "  "); err != nil {
		return err
	}
	_, err = w.Write(append(out.Bytes(), '\n'))
	return err
}

// plainJSON leaves <, > and & as they are.
func plainJSON(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	err := enc.Encode(v)
	return bytes.TrimSpace(b.Bytes()), err
}

// printAgreement writes the study for a person: the verdict first, then the
// figures it rests on, then the pairs that lie outside.
func printAgreement(w io.Writer, r *calc.AgreeResult, warnings []calc.Warning) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "Verdict: %s\n%s\n", r.Verdict, r.Sentence)
	for _, c := range r.Because {
		fmt.Fprintf(&b, "  %s: %s\n    look at: %s\n", c.Kind, c.Text, c.Look)
	}
	fmt.Fprintf(&b, "\nCalculated − direct, %d pairs, direct %.0f to %.0f ppb\n", r.N, r.DirectLow, r.DirectHigh)
	line := func(label string, v, low, high float64, more string) {
		fmt.Fprintf(&b, "  %-26s %+8.2f ppb   95 %%: %+.2f to %+.2f%s\n", label, v, low, high, more)
	}
	is := "not equivalent"
	if r.Equivalent {
		is = "equivalent"
	}
	line("bias", r.Bias, r.BiasLow95, r.BiasHigh95, "")
	fmt.Fprintf(&b, "  %-26s %8s       90 %%: %+.2f to %+.2f, %s (p %s)\n", "within ±"+strconv.FormatFloat(r.Margin, 'f', -1, 64)+" ppb", "", r.BiasLow90, r.BiasHigh90, is, probability(r.EquivalentP))
	line("limits of agreement, low", r.LoaLow, r.LoaLowLow, r.LoaLowHigh, "")
	line("limits of agreement, high", r.LoaHigh, r.LoaHighLow, r.LoaHighHigh, "")
	fit := func(label string, a, aLow, aHigh, v, low, high *float64) {
		if a == nil || v == nil || aLow == nil || aHigh == nil || low == nil || high == nil {
			return
		}
		fmt.Fprintf(&b, "  %-26s %+8.2f + %.3f × direct   95 %%: %+.2f to %+.2f; %.3f to %.3f\n", label, *a, *v, *aLow, *aHigh, *low, *high)
	}
	fit("Deming line", r.DemingIntercept, r.DemingInterceptLow, r.DemingInterceptHigh, r.DemingSlope, r.DemingSlopeLow, r.DemingSlopeHigh)
	fit("Passing–Bablok line", r.PBIntercept, r.PBInterceptLow, r.PBInterceptHigh, r.PBSlope, r.PBSlopeLow, r.PBSlopeHigh)
	if r.Concordance != nil && r.ConcordanceLow != nil && r.ConcordanceHigh != nil {
		fmt.Fprintf(&b, "  %-26s %8.4f       95 %%: %.4f to %.4f\n", "concordance", *r.Concordance, *r.ConcordanceLow, *r.ConcordanceHigh)
	}
	fmt.Fprintf(&b, "  %-26s %d of %d within max(%s ppb, 2u)\n", "single pairs", r.Within, r.N, strconv.FormatFloat(r.Margin, 'f', -1, 64))
	if r.PairsMore != nil {
		fmt.Fprintf(&b, "  %-26s %d (4 times in 5, if mean and spread stay); %d more\n", "pairs that would show it", *r.PairsNeeded, *r.PairsMore)
	}
	shown := 0
	for _, p := range r.Pairs {
		if p.Within {
			continue
		}
		if shown++; shown > 10 {
			b.WriteString("  … --format json lists all pairs\n")
			break
		}
		fmt.Fprintf(&b, "  outside: %s %.1f − %.1f = %+.1f ppb, allowed ±%.1f\n", p.ID, p.Calculated, p.Direct, p.Difference, p.Allowed)
	}
	odd(&b, warnings)
	_, err := w.Write(b.Bytes())
	return err
}
