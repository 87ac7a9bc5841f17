package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"ullage/core/quantity"
	"ullage/core/verdict"
	"ullage/internal/batch"
)

type judgeCommand struct {
	File string `arg:"" placeholder:"FILE" help:"CSV file of a run; - for standard input."`

	Limit       *quantity.TPO `placeholder:"120" group:"Limits" help:"Limit of the mean TPO, ppb. Without it the starting point of 120 is taken, and said."`
	SingleLimit *quantity.TPO `name:"single-limit" placeholder:"250" group:"Limits" help:"No package may be confirmed above it; scaled from --limit when not said."`

	MeterBefore  string       `name:"meter-before" enum:"passed,failed,unknown" default:"unknown" placeholder:"passed|failed" group:"Meter" help:"Its check before the run. Nothing is released on an unverified meter."`
	MeterAfter   string       `name:"meter-after" enum:"passed,failed,unknown" default:"unknown" placeholder:"passed|failed" group:"Meter" help:"Its check after the run."`
	MeterOffset  *quantity.DO `name:"meter-offset" placeholder:"PPB" group:"Meter" help:"What a zero check found the meter to read too high."`
	By           string       `name:"tpo-by" enum:"direct,calculated" default:"direct" placeholder:"direct|calculated" group:"Direct TPO" help:"Which TPO counts where a package has both."`
	DirectBefore string       `name:"direct-before" enum:"passed,failed,unknown" default:"unknown" placeholder:"passed|failed" group:"Direct TPO" help:"Check of the instrument that reads TPO directly, before the run."`
	DirectAfter  string       `name:"direct-after" enum:"passed,failed,unknown" default:"unknown" placeholder:"passed|failed" group:"Direct TPO" help:"Its check after the run."`

	PerMinute float64 `name:"per-minute" placeholder:"30" group:"Line" help:"Packages a minute: counts the held ones."`
	Heads     int     `placeholder:"6" group:"Line" help:"Heads of the filler; those in the file when not said."`
	PerPallet int     `name:"per-pallet" placeholder:"2016" group:"Line" help:"Packages on a pallet: counts the pallets of a held span."`

	Format string `enum:"text,json" default:"text" group:"Output" help:"text or json."`
}

// Help is the long help of the command.
func (judgeCommand) Help() string {
	return `  ullage judge run.csv --limit 110 --single-limit 200 --meter-before passed --meter-after passed

Columns: those of "ullage tpo" with taken_at, closed_at, head, station and event;
direct_ppb (and direct_u_ppb) where an instrument read TPO directly, instead of the
columns of "ullage tpo" or beside them: then --tpo-by says which one counts.
Times are RFC 3339 (2026-03-02T07:25:00+01:00). A row is a package, an inlet or
unshaken reading alone, or an event: start, stop, restart, tank_change,
gas_change, adjustment, end.

It prints the judgement of the lot (release, conditional, hold) and of the last
set (keep going, re-test, stop) with their reasons, the smallest span to hold,
and where the oxygen came from. docs/judging.md explains the rules and the JSON.`
}

func (c *judgeCommand) Run(s *streams) error {
	in, name, err := open(s, c.File)
	if err != nil {
		var e *quantity.Error
		if errors.As(err, &e) {
			e.Field = "FILE"
		}
		return err
	}
	defer in.Close()
	run, err := batch.ReadRun(in, name, c.By, func(text string) { fmt.Fprintf(s.err, "%s: columns %s\n", name, text) })
	for _, f := range run.Faults {
		fmt.Fprintln(s.err, f)
	}
	if err != nil {
		return err
	}
	if len(run.Faults) > 0 {
		fmt.Fprintf(s.err, "%s: %d rows, %d refused\n", name, run.Rows, len(run.Faults))
	}
	if len(run.Samples) == 0 {
		return &quantity.Error{Field: "FILE", Value: name, Message: "holds no reading that can be judged", Mend: "a row needs taken_at and what ullage tpo needs of a package, or direct_ppb"}
	}
	input, err := c.input(run)
	if err != nil {
		return err
	}
	j, err := verdict.Judge(input)
	if err != nil {
		return err
	}
	if c.Format == "json" {
		err = encodeJudgement(s.out, &j)
	} else {
		err = printJudgement(s.out, &j)
	}
	if err == nil && len(run.Faults) > 0 {
		return errFaults
	}
	return err
}

func (c *judgeCommand) input(run batch.Run) (verdict.Input, error) {
	limit := func(flag string, q *quantity.TPO) (float64, error) {
		if q == nil {
			return 0, nil
		}
		if !(*q > 0) {
			return 0, &quantity.Error{Field: flag, Value: fmt.Sprint(float64(*q)), Message: "ppb is not above zero", Mend: "give the limit in ppb"}
		}
		return float64(*q), nil
	}
	mean, err := limit("--limit", c.Limit)
	if err != nil {
		return verdict.Input{}, err
	}
	single, err := limit("--single-limit", c.SingleLimit)
	if err != nil {
		return verdict.Input{}, err
	}
	if c.PerMinute < 0 || c.Heads < 0 || c.PerPallet < 0 {
		return verdict.Input{}, &quantity.Error{Field: "--per-minute", Message: ", --heads or --per-pallet is below zero", Mend: "leave out what is not known"}
	}
	check := func(word string) verdict.Check {
		if word == "unknown" {
			return ""
		}
		return verdict.Check(word)
	}
	in := verdict.Input{Samples: run.Samples, Events: run.Events, Rules: verdict.ForLimit(mean, single),
		Meter: verdict.Meter{Before: check(c.MeterBefore), After: check(c.MeterAfter), URel: run.MeterShare},
		Line:  verdict.Line{Heads: c.Heads, PerMinute: c.PerMinute, PerPallet: c.PerPallet}}
	for _, x := range run.Samples {
		if x.Direct && x.TPO > 0 {
			// As of the DO meter: its uncertainty is taken as common to all readings.
			in.DirectMeter = &verdict.Meter{Before: check(c.DirectBefore), After: check(c.DirectAfter), URel: min(x.U/x.TPO, 0.99)}
			break
		}
	}
	if c.MeterOffset != nil {
		in.Meter.Offset = float64(*c.MeterOffset)
	}
	return in, nil
}

func encodeJudgement(w io.Writer, j *verdict.Judgement) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(j)
}
