package cli

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"ullage/internal/access"
	"ullage/internal/lab"
	"ullage/internal/store"
)

// BackupCmd copies the database of a running server.
type BackupCmd struct {
	database
	To   string `arg:"" optional:"" default:"ullage-backup" placeholder:"DIR" help:"Folder for the copies; made if missing." type:"path"`
	Keep int    `name:"keep-days" placeholder:"DAYS" help:"Then delete copies that are older and not the last of their month; 0: keep all."`
}

// Help is the long help.
func (BackupCmd) Help() string {
	return `Copies the SQLite database, also while a server writes to it, and checks the copy
by opening it: every page, and the whole chain of revisions. Put the folder on
another disk, and copy it to another place.

  ullage backup --data ullage-data /mnt/backup
  ullage serve --backup-dir /mnt/backup --backup-every 6h   the same, by itself
  ullage restore /mnt/backup/ullage-20261105T120000Z.db     and back

A copy holds the hashes of passwords: keep it as you keep the database. The key of
second factors, second-factor.key beside the database, is not in it: keep a copy of
that too, elsewhere.
PostgreSQL has its own tools: see docs/operating.md.`
}

// Run makes one copy.
func (c *BackupCmd) Run(s *streams) error {
	if c.DB != "" {
		return errPostgresCopies
	}
	done, err := backup(context.Background(), c.file(), c.To, c.Keep, time.Now())
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s\n%d revisions, checked; head %s\n", done.Path, done.Revisions, done.Head)
	return nil
}

var errPostgresCopies = errors.New("a PostgreSQL database is copied by pg_dump and put back by pg_restore: see docs/operating.md")

const (
	backupName = "ullage-20060102T150405Z.db"
	// keptMonths is how long the last copy of each month stays.
	keptMonths = 120
)

// backup makes a checked copy in a folder, then deletes what is too old. A copy
// that did not check out is an error, and nothing is deleted.
func backup(ctx context.Context, file, dir string, keepDays int, now time.Time) (store.Copy, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return store.Copy{}, err
	}
	done, err := store.BackupSQLite(ctx, file, filepath.Join(dir, now.UTC().Format(backupName)))
	if err != nil || keepDays <= 0 {
		return done, err
	}
	names, err := copies(dir)
	if err != nil {
		return done, err
	}
	for _, name := range tooOld(names, now, keepDays) {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			return done, err
		}
	}
	return done, nil
}

// copies lists the copies of a folder, oldest first; other files are not ours.
func copies(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, e := range entries {
		if _, err := time.Parse(backupName, e.Name()); err == nil && e.Type().IsRegular() {
			out = append(out, e.Name())
		}
	}
	slices.Sort(out)
	return out, nil
}

// tooOld picks from names, oldest first, what is older than keepDays and not the
// last of its month; of those too, what is older than ten years. The newest copy
// always stays, also when the clock jumped.
func tooOld(names []string, now time.Time, keepDays int) (out []string) {
	for i, name := range names[:max(0, len(names)-1)] {
		at, _ := time.Parse(backupName, name)
		next, _ := time.Parse(backupName, names[i+1])
		lastOfMonth := at.Format("2006-01") != next.Format("2006-01")
		young := now.Sub(at) < time.Duration(keepDays)*24*time.Hour
		if !young && (!lastOfMonth || now.AddDate(0, -keptMonths, 0).After(at)) {
			out = append(out, name)
		}
	}
	return out
}

// backups makes copies until ctx ends: at once if the newest is too old, then
// every so often. A failure is logged, and the next time it is tried again.
type backups struct {
	file, dir string
	every     time.Duration
	keepDays  int
	log       *slog.Logger
}

func (b backups) run(ctx context.Context) {
	wait := time.Duration(0)
	if names, err := copies(b.dir); err == nil && len(names) > 0 {
		at, _ := time.Parse(backupName, names[len(names)-1])
		wait = min(b.every, max(0, b.every-time.Since(at)))
	}
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		wait = b.every
		start := time.Now()
		done, err := backup(ctx, b.file, b.dir, b.keepDays, start)
		switch {
		case ctx.Err() != nil:
		case err != nil:
			b.log.Error("backup failed", "dir", b.dir, "err", err)
			wait = min(b.every, 10*time.Minute)
		default:
			b.log.Info("backup", "file", done.Path, "revisions", done.Revisions, "head", done.Head.String(), "took", time.Since(start).Round(time.Millisecond))
		}
	}
}

// RestoreCmd puts a copy in place.
type RestoreCmd struct {
	database
	File   string `arg:"" help:"A copy that backup made, or one that a release made before it changed the database." type:"existingfile"`
	DryRun bool   `help:"Check the copy and say what would happen; change nothing."`
}

// Help is the long help.
func (RestoreCmd) Help() string {
	return `Checks a copy, brings it up to this release and puts it in the place of the
database. What was in place is kept beside it under another name. Stop the server
first; a dry run may be made while it runs. Everybody has to sign in again.

  ullage restore --dry-run /mnt/backup/ullage-20261105T120000Z.db
  ullage restore --data ullage-data /mnt/backup/ullage-20261105T120000Z.db`
}

// Run restores.
func (c *RestoreCmd) Run(s *streams) error {
	if c.DB != "" {
		return errPostgresCopies
	}
	r, err := store.RestoreSQLite(context.Background(), c.File, c.file(), c.DryRun, time.Now())
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s: whole and checked, %d revisions", c.File, r.Copy.Revisions)
	if !r.Copy.Newest.IsZero() {
		fmt.Fprintf(s.out, ", the newest of %s", r.Copy.Newest.UTC().Format("2006-01-02 15:04 UTC"))
	}
	fmt.Fprintln(s.out)
	switch {
	case r.Now == nil:
		fmt.Fprintf(s.out, "%s: nothing is there yet\n", c.file())
	case r.Foreign:
		fmt.Fprintf(s.out, "%s: holds OTHER records, that did not grow out of this copy\n", c.file())
	default:
		fmt.Fprintf(s.out, "%s: has %d revisions that the copy does not have\n", c.file(), r.Lost)
	}
	if c.DryRun {
		fmt.Fprintln(s.out, "dry run: nothing was changed")
		return nil
	}
	if r.Aside != "" {
		fmt.Fprintf(s.out, "what was there is kept: %s\n", strings.TrimSpace(r.Aside))
	}
	if err := c.tellFactors(s); err != nil {
		return err
	}
	fmt.Fprintln(s.out, "restored: start the server")
	return nil
}

// tellFactors says where the key of second factors is missing, before people
// stand at a door that does not open.
func (c *RestoreCmd) tellFactors(s *streams) error {
	ctx := context.Background()
	st, err := c.openToRead(ctx)
	if err != nil {
		return err
	}
	a := access.New(&lab.Service{Store: st}, slog.New(slog.DiscardHandler))
	a.KeyFile = c.factorKey("")
	n, err := a.Unreadable(ctx)
	if err = errors.Join(err, st.Close()); err != nil || n == 0 {
		return err
	}
	_, err = fmt.Fprintf(s.out, "second factors whose key is not in %s: %d; put it there, or where --factor-key says, or their holders sign in by recovery codes\n", a.KeyFile, n)
	return err
}
