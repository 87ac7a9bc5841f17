package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"ullage/core/sampling"
	"ullage/internal/api"
	"ullage/internal/lab"
	"ullage/internal/report"
)

// ReportCmd makes papers from the records.
type ReportCmd struct {
	Run        reportRunCmd        `cmd:"" help:"The report of a run: judgement, charts, every reading with its raw inputs."`
	Lot        reportLotCmd        `cmd:"" help:"The certificate of a lot: one page for a customer or an auditor."`
	Batch      reportBatchCmd      `cmd:"" help:"The way of a batch from wort to package: pick-up of each step, what to look at, what changed."`
	Month      reportMonthCmd      `cmd:"" help:"What was packaged in a month: by beer and line, causes, runs."`
	Sheet      reportSheetCmd      `cmd:"" help:"The run sheet for the clipboard: the sampling plan with due times, or filled."`
	Study      reportStudyCmd      `cmd:"" help:"A study: what it says, its charts, figures and readings."`
	Instrument reportInstrumentCmd `cmd:"" help:"An instrument's year: checks with their drift, sensors, what is due."`
}

// Help is the long help.
func (ReportCmd) Help() string {
	return `Papers are written to a file named after them, or where -o says; "-o -" is the
standard output. NUMBER is a run's short number or the code on its packages.

  ullage report run 143                         run-143.pdf
  ullage report run 143 --format xlsx           inputs, and formulas that find TPO in the sheet
  ullage report lot 143 --paper letter
  ullage report batch VR-26-138                 its way from wort to package
  ullage report month 2026-10
  ullage report sheet 143 --blank --cans 40     the plan of the run, to write on
  ullage report sheet --line "C6 can line"      before a run is entered
  ullage report study "Calculated against direct TPO, cans of line C6"
  ullage report instrument "DO meter 1" --year 2026

A paper decides nothing: it prints the decision that a person recorded, and what
the rules propose. What is not on record is printed as "not recorded".`
}

// reportOutput is what the papers have in common.
type reportOutput struct {
	database
	Format string `default:"pdf" enum:"pdf,xlsx,csv" help:"pdf, xlsx or csv."`
	Paper  string `default:"a4" enum:"a4,letter" help:"a4 or letter."`
	Out    string `short:"o" placeholder:"FILE" help:"Where to write it; - is the standard output."`
}

type reportRunCmd struct {
	reportOutput
	Number string `arg:"" help:"Number of the run, or the code on its packages."`
}

type reportLotCmd struct {
	reportOutput
	Number string `arg:"" help:"Number of the run, or the code on its packages."`
}

type reportBatchCmd struct {
	reportOutput
	Code string `arg:"" help:"Code of the batch."`
}

type reportMonthCmd struct {
	reportOutput
	Month string `arg:"" help:"Month, like 2026-10."`
}

type reportSheetCmd struct {
	reportOutput
	Number  string  `arg:"" optional:"" help:"Number of the run, or the code on its packages; without it, --line."`
	Line    string  `placeholder:"NAME" help:"Line of a run that is not entered yet."`
	Blank   bool    `help:"To write on, though there are readings."`
	Hours   float64 `placeholder:"H" help:"Expected running time; 4 when not said."`
	Every   float64 `placeholder:"MIN" help:"Minutes between sets; those of the line when not said."`
	Heads   int     `placeholder:"N" help:"Filling heads; those of the line when not said."`
	Cans    int     `placeholder:"N" help:"Packages that may be opened; no limit when not said."`
	Fault   float64 `placeholder:"X" help:"The fault to catch: TPO of a head over that of the others; 1.5 when not said."`
	Scatter float64 `placeholder:"S" help:"Scatter of single packages, as a share; 0.3 when not said (common practice: 0.2 to 0.35)."`
}

type reportStudyCmd struct {
	reportOutput
	Name string `arg:"" help:"Name of the study, or its id."`
}

type reportInstrumentCmd struct {
	reportOutput
	Name string `arg:"" help:"Name of the instrument, or its id."`
	Year int    `placeholder:"2026" help:"Calendar year; this one when not said."`
}

// Run makes the report of a study.
func (c *reportStudyCmd) Run(s *streams) error {
	return c.write(s, report.Request{Kind: report.KindStudy, Study: c.Name})
}

// Run makes the report of an instrument's year.
func (c *reportInstrumentCmd) Run(s *streams) error {
	return c.write(s, report.Request{Kind: report.KindInstrument, Instrument: c.Name, Year: c.Year})
}

// Run makes the report of a run.
func (c *reportRunCmd) Run(s *streams) error {
	return c.write(s, report.Request{Kind: report.KindRun, Run: c.Number})
}

// Run makes the certificate of a lot.
func (c *reportLotCmd) Run(s *streams) error {
	return c.write(s, report.Request{Kind: report.KindLot, Run: c.Number})
}

// Run makes the report of a batch.
func (c *reportBatchCmd) Run(s *streams) error {
	return c.write(s, report.Request{Kind: report.KindBatch, Batch: c.Code})
}

// Run makes the month.
func (c *reportMonthCmd) Run(s *streams) error {
	return c.write(s, report.Request{Kind: report.KindMonth, Month: c.Month})
}

// Run makes the run sheet.
func (c *reportSheetCmd) Run(s *streams) error {
	return c.write(s, report.Request{Kind: report.KindSheet, Run: c.Number, Line: c.Line, Blank: c.Blank,
		Plan: sampling.Input{Heads: c.Heads, Minutes: 60 * c.Hours, Every: c.Every, Budget: c.Cans, Fault: c.Fault, Scatter: c.Scatter}})
}

func (c *reportOutput) write(s *streams, q report.Request) (err error) {
	ctx := context.Background()
	if c.DB == "" {
		if _, err := os.Stat(c.file()); errors.Is(err, os.ErrNotExist) {
			return &lab.Error{Class: lab.NotFound, Faults: []lab.Fault{{Field: "data", Value: c.Data, Message: "there is no database", Mend: "name the folder with --data"}}}
		}
	}
	st, err := c.openToRead(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	service := &lab.Service{Store: st, Calc: lab.TPO}
	if q.Run != "" {
		if q.Run, err = report.FindRun(ctx, service, q.Run); err != nil {
			return err
		}
	}
	if q.Batch != "" {
		if q.Batch, err = report.FindBatch(ctx, service, q.Batch); err != nil {
			return err
		}
	}
	if q.Study, err = report.FindNamed(ctx, service, lab.KindStudies, q.Study); err != nil {
		return err
	}
	if q.Instrument, err = report.FindNamed(ctx, service, lab.KindInstruments, q.Instrument); err != nil {
		return err
	}
	q.Format, q.Paper, q.Now = c.Format, c.Paper, time.Now()
	f, err := report.Make(ctx, service, q)
	if err != nil {
		return err
	}
	if c.Out == "-" {
		_, err = s.out.Write(f.Body)
		return err
	}
	name := cmp.Or(c.Out, f.Name)
	if err := os.WriteFile(name, f.Body, 0o644); err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "%s, %d kB\n", name, (len(f.Body)+1023)/1024)
	return err
}

// reporter is internal/report as the API wants it.
type reporter struct{ lab *lab.Service }

func (r reporter) Report(ctx context.Context, q api.ReportQuery) (api.ReportFile, error) {
	now := time.Now
	if r.lab.Now != nil {
		now = r.lab.Now
	}
	f, err := report.Make(ctx, r.lab, report.Request{Kind: q.Kind, Run: q.Run, Batch: q.Batch, Month: q.Month, Format: q.Format, Paper: q.Paper, Blank: q.Blank, Now: now(),
		Study: q.Study, Instrument: q.Instrument, Year: q.Year,
		Plan: sampling.Input{Minutes: 60 * q.Hours, Budget: q.Cans, Fault: q.Fault}})
	return api.ReportFile{Name: f.Name, Type: f.Type, Body: f.Body}, err
}
