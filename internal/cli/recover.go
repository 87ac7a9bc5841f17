package cli

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"ullage/internal/access"
	"ullage/internal/lab"
)

// RecoverCmd lets the holder of an account in again.
type RecoverCmd struct {
	database
	Name       string `arg:"" help:"The name that its holder signs in with."`
	LostFactor bool   `help:"Also take the second factor off, where the phone and the recovery codes are lost."`
}

// Help is the long help.
func (RecoverCmd) Help() string {
	return `Makes a new one-time link for an account, where no administrator is there to do it
on the page Accounts. Who can run this holds the database anyway. Stop a server on
SQLite first; it is noted among what happened to accounts. The link sets a new
password; the second factor stays on unless it is said to be lost, and its holder
is told that it was taken off.

  ullage recover --data ullage-data brewmaster
  ullage recover --data ullage-data --lost-factor brewmaster`
}

// Run prints the link.
func (c *RecoverCmd) Run(s *streams) error {
	ctx := context.Background()
	st, err := c.open(ctx)
	if err != nil {
		return err
	}
	svc := access.New(&lab.Service{Store: st}, slog.New(slog.DiscardHandler))
	link, err := svc.Recover(ctx, c.Name, c.LostFactor)
	if err = errors.Join(err, st.Close()); err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "start the server, then open its address followed by this, once, until %s:\n/sign-in#link=%s\n",
		link.Until.Format(time.DateOnly), link.Secret)
	return err
}
