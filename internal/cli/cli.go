// Package cli is the command line. It is the one package that joins the others.
package cli

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"

	"ullage/core/quantity"
)

// Version of the program.
const Version = "0.1.0"

// Exit codes: a refused row or failed check is 1, a wrong call 2.
const (
	exitFaults = 1
	exitUsage  = 2
)

// streams are where a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// commands is the whole command line.
type commands struct {
	TPO     tpoCommand     `cmd:"" name:"tpo" help:"Total package oxygen of one package, or of each row of a CSV file."`
	Calc    calcCommand    `cmd:"" help:"Any calculation of the table by its name; without a name, the list."`
	Check   checkCommand   `cmd:"" help:"Run the published check values on this machine."`
	Plan    planCommand    `cmd:"" help:"Plan a purge, gas, additions, a package in store, a day without a meter."`
	Wort    WortCmd        `cmd:"" help:"Gas for wort: target by gravity and yeast, efficiency learned from past brews, setting of the meter."`
	Pickup  PickupCmd      `cmd:"" help:"Oxygen from wort to package: what each step brought, over budget or not resolved, and why."`
	Judge   judgeCommand   `cmd:"" help:"Judge a run: keep going, re-test or stop; release or hold; where the oxygen came from."`
	Report  ReportCmd      `cmd:"" help:"Run report, lot certificate, month and run sheet, as PDF, XLSX or CSV."`
	Agree   AgreeCmd       `cmd:"" help:"Calculated against direct TPO: may the one stand in for the other?"`
	Meter   CheckMeterCmd  `cmd:"" name:"check-meter" help:"Check a DO meter: zero, air-saturated water, response."`
	Study   StudyCmd       `cmd:"" help:"Studies of tare, capacity, shaking, delay, repeatability, and what to buy next."`
	Demo    DemoCmd        `cmd:"" help:"Serve an invented brewery, built on first use."`
	Serve   ServeCmd       `cmd:"" help:"Serve the app and the HTTP API; the records are kept in a folder."`
	Export  ExportCmd      `cmd:"" help:"Write all records to one zip of JSON and CSV."`
	Import  ImportCmd      `cmd:"" help:"Read such a zip into an empty database."`
	Backup  BackupCmd      `cmd:"" help:"Copy the database, also while a server runs, and check the copy."`
	Restore RestoreCmd     `cmd:"" help:"Put such a copy in place, or only say what that would do."`
	Recover RecoverCmd     `cmd:"" help:"A new one-time link for an account whose password is lost."`
	Audit   AuditCmd       `cmd:"" help:"Prove that the records are what was written; the trail of a record."`
	Version versionCommand `cmd:"" help:"Print the version."`
}

const description = `Ullage keeps account of oxygen from wort to package.

Three readings are never confused: DO is read in a tank or line, shaken DO in a
package shaken to equilibrium, and TPO is all the oxygen of a package, beer and
headspace, per litre of its beer.`

// errFaults ends a command whose faults were already reported.
var errFaults = errors.New("rows were refused")

type exitCode int

// Main runs one command line and returns its exit code.
func Main(args []string, in io.Reader, out, errOut io.Writer) (code int) {
	defer func() {
		if r := recover(); r != nil {
			c, ok := r.(exitCode)
			if !ok {
				panic(r)
			}
			code = int(c)
		}
	}()
	var c commands
	parser, err := kong.New(&c, kong.Name("ullage"), kong.Description(description), kong.UsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, Summary: false}), kong.Writers(out, errOut),
		kong.Exit(func(n int) { panic(exitCode(n)) }))
	if err != nil {
		fmt.Fprintln(errOut, "ullage:", err)
		return exitUsage
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(belowZeros(args))
	if err != nil {
		say(errOut, err)
		return exitUsage
	}
	if err := parsed.Run(&streams{in, out, errOut}); err != nil {
		if !errors.Is(err, errFaults) {
			say(errOut, err)
		}
		return codeOf(err)
	}
	return 0
}

func codeOf(err error) int {
	var e *quantity.Error
	if errors.As(err, &e) && !errors.Is(err, errFaults) {
		return exitUsage
	}
	return exitFaults
}

// say prints an error with its mend on a line of its own.
func say(w io.Writer, err error) {
	var e *quantity.Error
	if !errors.As(err, &e) {
		fmt.Fprintln(w, "ullage:", err)
		return
	}
	shown := *e
	shown.Mend = ""
	text := err.Error()
	if i := strings.Index(text, e.Error()); i >= 0 {
		text = text[:i] + shown.Error()
	}
	fmt.Fprintln(w, "ullage:", text)
	if e.Mend != "" {
		fmt.Fprintln(w, "  mend:", e.Mend)
	}
}

type versionCommand struct{}

func (versionCommand) Run(s *streams) error {
	_, err := fmt.Fprintln(s.out, "ullage", Version)
	return err
}
