package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"ullage/internal/demo"
	"ullage/internal/lab"
	"ullage/internal/store"
)

// DemoCmd serves the invented brewery.
type DemoCmd struct {
	Data      string   `default:"ullage-demo" placeholder:"DIR" help:"Folder of the demo's database; made if missing." type:"path"`
	Addr      string   `default:"127.0.0.1:8020" placeholder:"HOST:PORT" help:"Address to listen on; port 0 takes a free one."`
	Host      []string `placeholder:"NAME" help:"Another name under which a proxy on this machine serves it; may be given again."`
	Fresh     bool     `help:"Build the demo of this folder anew, so that it ends now. What was typed into it is lost."`
	BuildOnly bool     `help:"Build the records and stop, without serving."`
}

// Help is the long help.
func (DemoCmd) Help() string {
	return `Ostrelweir Brewhouse, all of it invented: half a year of packaging runs, twelve
runs in which something is wrong, a lot on hold, and a run that is going on now.
Type into it as you like.

  ullage demo                        build it on first use, then serve it
  ullage demo --fresh                build it anew: today's page is of today again
  ullage demo --build-only           only the records, for "ullage export" or "ullage serve --data ullage-demo"

A folder that holds other records is refused. The numbers come from a model, not
from a plant: they are no evidence about one.`
}

// Run builds what is missing and serves until it is interrupted.
func (c *DemoCmd) Run(s *streams) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return c.run(ctx, s, time.Now())
}

func (c *DemoCmd) run(ctx context.Context, s *streams, now time.Time) error {
	d := database{Data: c.Data}
	there, newest, err := c.look(ctx, &d)
	if err != nil {
		return err
	}
	switch age := now.Sub(newest); {
	case !there || c.Fresh:
		if err := c.build(ctx, s.out, now); err != nil {
			return err
		}
	case age > 12*time.Hour:
		fmt.Fprintf(s.out, "The demo in %s ends %.0f h ago; --fresh builds it anew.\n", c.Data, age.Hours())
	default:
		fmt.Fprintf(s.out, "The demo in %s is there already; --fresh builds it anew.\n", c.Data)
	}
	if c.BuildOnly {
		return nil
	}
	st, err := d.open(ctx)
	if err != nil {
		return err
	}
	at := site{addr: c.Addr, where: d.name(), hosts: c.Host, open: true, anywhere: true}
	serveErr := at.serve(ctx, s, &lab.Service{Store: st, Calc: lab.TPO})
	return errors.Join(serveErr, st.Close())
}

// look tells whether the folder holds this demo, and when its newest record was
// written. It refuses another brewery's database, and one that is in use.
func (c *DemoCmd) look(ctx context.Context, d *database) (there bool, newest time.Time, err error) {
	if _, err := os.Stat(d.file()); errors.Is(err, os.ErrNotExist) {
		return false, newest, nil
	}
	st, err := d.open(ctx)
	if err != nil {
		return false, newest, err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	head, err := st.Head(ctx)
	if err != nil || head == 0 {
		return false, newest, err
	}
	rev, err := st.Get(ctx, lab.KindBrewery, lab.BreweryID)
	if err != nil && lab.ClassOf(err) != lab.NotFound {
		return false, newest, err
	}
	var brewery lab.Brewery
	if err != nil || json.Unmarshal(rev.Body, &brewery) != nil || brewery.Name != demo.Name {
		return false, newest, &lab.Error{Class: lab.Invalid, Faults: []lab.Fault{{Field: "data", Value: c.Data,
			Message: "holds records that are not this demo's", Mend: "name another folder with --data, or serve this one with \"ullage serve\""}}}
	}
	last, err := st.Changes(ctx, head-1, "", 1)
	if err == nil && len(last) == 1 {
		newest = last[0].ServerAt.Time
	}
	return true, newest, err
}

// build makes the database beside its place and moves it there when it is
// whole, so that an interrupted build leaves nothing half done.
func (c *DemoCmd) build(ctx context.Context, out io.Writer, now time.Time) (err error) {
	fmt.Fprintf(out, "Building %s in %s: an invented brewery, nothing in it is real.\n", demo.Name, c.Data)
	if err := os.MkdirAll(c.Data, 0o750); err != nil {
		return err
	}
	part, err := os.MkdirTemp(c.Data, "demo-build-*")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(part)) }()
	from := database{Data: part}
	st, err := store.OpenSQLite(ctx, from.file(), store.SQLiteOptions{})
	if err != nil {
		return err
	}
	sum, err := demo.Fill(ctx, st, demo.Options{Seed: demo.DefaultSeed, Now: now})
	if err = errors.Join(err, st.Close()); err != nil {
		return err
	}
	to := database{Data: c.Data}
	for _, end := range []string{"-wal", "-shm"} { // of the database replaced
		if err := os.Remove(to.file() + end); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	if err := os.Rename(from.file(), to.file()); err != nil {
		return err
	}
	fmt.Fprintf(out, "%d runs, %d samples, %d events\n", sum.Runs, sum.Samples, sum.Events)
	return nil
}
