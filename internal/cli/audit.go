package cli

import (
	"context"
	"errors"
	"fmt"
	"io"

	"ullage/internal/lab"
)

// AuditCmd proves that the records are what was written.
type AuditCmd struct {
	Verify auditVerify `cmd:"" help:"Walk every revision and say where the records are not what was written."`
	Head   auditHead   `cmd:"" help:"Print the newest position and its hash, to keep elsewhere."`
	Trail  auditTrail  `cmd:"" help:"Everything that was ever written of one record: who, when, before, after, why."`
}

// Help is the long help.
func (AuditCmd) Help() string {
	return `Each revision carries a hash over itself and the hash before it. A walk finds a
record that was changed, deleted, put in, moved or hidden in the database behind
the program's back, and where.

  ullage audit verify                     also while a server runs on the folder
  ullage audit head                       print the head; keep it elsewhere
  ullage audit verify --head 1234:9f2c…   and prove what was written before it
  ullage audit trail samples 0198c5b0-…   one record

Who can write the database and computes every hash anew is found only by a head
kept elsewhere: on a signed paper, in a mail, in another system. Decisions on
lots carry the head of their day.`
}

type auditVerify struct {
	database
	Kept []string `name:"head" placeholder:"POSITION:HASH" help:"A head that was kept; may be given again."`
}

func (c *auditVerify) Run(s *streams) error {
	var kept []lab.ChainHead
	for _, text := range c.Kept {
		h, err := lab.ParseChainHead(text)
		if err != nil {
			return err
		}
		kept = append(kept, h)
	}
	return c.with(func(ctx context.Context, svc *lab.Service) error {
		v, err := svc.VerifyChain(ctx, kept...)
		if err != nil {
			return err
		}
		return sayVerified(s.out, v, len(kept))
	})
}

func sayVerified(out io.Writer, v lab.Verified, kept int) error {
	for _, b := range v.Broken {
		fmt.Fprintf(out, "position %d", b.Seq)
		if b.ID != "" {
			fmt.Fprintf(out, ", %s %s", b.Kind, b.ID)
		}
		if b.Rev > 0 {
			fmt.Fprintf(out, " revision %d", b.Rev)
		}
		fmt.Fprintf(out, ": %s\n", b.What)
	}
	fmt.Fprintf(out, "%d revisions, %d signed decisions, %d kept heads; head %s\n", v.Revisions, v.Signed, kept, v.Head)
	if len(v.Broken) > 0 {
		fmt.Fprintln(out, "the records are NOT what was written")
		return errFaults
	}
	fmt.Fprintln(out, "the records are what was written")
	return nil
}

type auditHead struct{ database }

func (c *auditHead) Run(s *streams) error {
	return c.with(func(ctx context.Context, svc *lab.Service) error {
		h, err := svc.Store.ChainHead(ctx)
		if err == nil {
			_, err = fmt.Fprintln(s.out, h)
		}
		return err
	})
}

type auditTrail struct {
	database
	Collection string `arg:"" help:"Such as samples, runs, decisions."`
	ID         string `arg:"" help:"Of the record."`
}

func (c *auditTrail) Run(s *streams) error {
	k, err := lab.ParseKind(c.Collection)
	if err != nil {
		return err
	}
	return c.with(func(ctx context.Context, svc *lab.Service) error {
		steps, err := svc.Trail(ctx, k, c.ID)
		for _, t := range steps {
			sayStep(s.out, t)
		}
		return err
	})
}

func sayStep(out io.Writer, t lab.TrailStep) {
	fmt.Fprintf(out, "revision %d by %s, %s", t.Rev, t.By, t.ServerAt.Format("2006-01-02 15:04:05 UTC"))
	for _, p := range [][2]string{{" on device ", t.DeviceID}, {", signed in by ", t.Via}, {", server ", t.Server}, {"; why: ", t.Reason}} {
		if p[1] != "" {
			fmt.Fprint(out, p[0], p[1])
		}
	}
	fmt.Fprintln(out)
	for _, ch := range t.Changes {
		if t.Rev == 1 {
			fmt.Fprintf(out, "  %s: %v\n", ch.Field, ch.After)
			continue
		}
		fmt.Fprintf(out, "  %s: %v -> %v\n", ch.Field, orNothing(ch.Before), orNothing(ch.After))
	}
	if !t.Holds {
		fmt.Fprintln(out, "  this revision is NOT what was written")
	}
}

func orNothing(v any) any {
	if v == nil {
		return "(nothing)"
	}
	return v
}

// with opens the records for reading.
func (d *database) with(do func(context.Context, *lab.Service) error) error {
	ctx := context.Background()
	st, err := d.openToRead(ctx)
	if err != nil {
		return err
	}
	return errors.Join(do(ctx, &lab.Service{Store: st}), st.Close())
}
