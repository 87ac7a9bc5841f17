package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"ullage/internal/lab"
)

// Copy is what a checked copy of a database holds.
type Copy struct {
	Path      string
	Revisions int
	Head      lab.ChainHead
	Newest    lab.Time // when the newest revision was stored
}

// BackupSQLite copies the database at path, also while a server writes to it,
// and checks the copy by opening it: its pages, and its whole chain. The copy is
// under the name to only when it is whole.
func BackupSQLite(ctx context.Context, path, to string) (Copy, error) {
	if _, err := os.Stat(path); err != nil {
		return Copy{}, noDatabase(path)
	}
	if _, err := os.Lstat(to); err == nil {
		return Copy{}, fmt.Errorf("%s is there already: choose another name", to)
	}
	conn, err := openFile(path, 1, "deferred", "busy_timeout(10000)")
	if err != nil {
		return Copy{}, err
	}
	part := to + ".part"
	_ = os.Remove(part) // of a copy that was interrupted
	err = errors.Join(copyTo(ctx, conn, part), conn.Close())
	if err == nil {
		err = syncFile(part)
	}
	var c Copy
	if err == nil {
		c, err = InspectSQLite(ctx, part)
	}
	if err == nil {
		err = os.Rename(part, to)
	}
	if err == nil {
		err = syncFile(filepath.Dir(to))
	}
	if err != nil {
		if sqliteClass(err) == lab.Full {
			err = fmt.Errorf("no room for the copy: %w; make room in %s", err, filepath.Dir(to))
		}
		return c, errors.Join(err, removeAll(part))
	}
	c.Path = to
	return c, nil
}

func noDatabase(path string) error {
	return &lab.Error{Class: lab.NotFound, Faults: []lab.Fault{{Field: "data", Value: path, Message: "there is no database",
		Mend: "name the --data folder of the server"}}}
}

// syncFile makes a file, or the names in a folder, survive a loss of power.
func syncFile(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

func removeAll(path string) error {
	var errs []error
	for _, end := range []string{"", "-wal", "-shm", "-journal"} {
		if err := os.Remove(path + end); err != nil && !errors.Is(err, os.ErrNotExist) {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

// InspectSQLite opens a copy of this release's schema and checks all of it.
func InspectSQLite(ctx context.Context, path string) (c Copy, err error) {
	c.Path = path
	st, err := ReadSQLite(ctx, path)
	if err != nil {
		return c, err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	return inspect(ctx, st, path)
}

func inspect(ctx context.Context, st lab.Store, path string) (Copy, error) {
	c := Copy{Path: path}
	if err := st.(*db).Check(ctx); err != nil {
		return c, err
	}
	v, err := (&lab.Service{Store: st}).VerifyChain(ctx)
	if err != nil {
		return c, err
	}
	c.Revisions, c.Head = v.Revisions, v.Head
	if len(v.Broken) > 0 {
		b := v.Broken[0]
		return c, fmt.Errorf("the records are not what was written: position %d: %s; see ullage audit verify", b.Seq, b.What)
	}
	last, err := st.Changes(ctx, v.Head.Seq-1, "", 1)
	if err == nil && len(last) == 1 {
		c.Newest = last[0].ServerAt
	}
	return c, err
}

// Restore is what putting a copy in place would do, or did.
type Restore struct {
	Copy    Copy
	Now     *Copy  // what is in place; nil: nothing
	Lost    int64  // positions written after the copy was made
	Foreign bool   // what is in place did not grow out of the copy
	Aside   string // where what was in place lies now
}

// RestoreSQLite puts a copy in the place of the database at path. The copy is
// first brought up to date and checked beside it; what was in place is kept
// under another name; no server may have it open. With dry nothing is changed,
// and a server may run.
func RestoreSQLite(ctx context.Context, from, path string, dry bool, now time.Time) (r Restore, err error) {
	if _, err := os.Stat(from); err != nil {
		return r, err
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return r, err
	}
	beside := filepath.Dir(abs)
	if !dry {
		unlock, err := lockFile(ctx, abs)
		if err != nil {
			return r, err
		}
		defer func() { err = errors.Join(err, unlock()) }()
	} else if _, err := os.Stat(beside); err != nil {
		beside = "" // a dry run makes no folder that stays
	}
	work, err := os.MkdirTemp(beside, "restore-*")
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	fresh := filepath.Join(work, "ullage.db")
	if r.Copy, err = prepare(ctx, from, fresh); err != nil {
		return r, fmt.Errorf("%s: %w", from, err)
	}
	r.Copy.Path = from
	if err := r.compare(ctx, abs, fresh); err != nil || dry {
		return r, err
	}
	if r.Now != nil {
		r.Aside = fmt.Sprintf("%s.before-restore-%s", abs, now.UTC().Format("20060102T150405Z"))
	}
	return r, swap(abs, fresh, r.Aside)
}

// prepare makes a private copy, of this release's schema and without anybody
// signed in, and checks it.
func prepare(ctx context.Context, from, fresh string) (c Copy, err error) {
	if err := copyOut(ctx, from, fresh); err != nil {
		return c, err
	}
	s, err := openSQLite(ctx, fresh, SQLiteOptions{})
	if err != nil {
		return c, fmt.Errorf("is not a database of this program: %w", err)
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if _, err := s.write.ExecContext(ctx, `DELETE FROM vault WHERE kind IN ('session', 'half session', 'link', 'enrolment')`); err != nil {
		return c, err
	}
	return inspect(ctx, s, fresh)
}

// copyOut copies through the database, so that a log beside it is not left out.
func copyOut(ctx context.Context, from, to string) error {
	conn, err := openFile(from, 1, "deferred", "busy_timeout(5000)")
	if err != nil {
		return err
	}
	if err := errors.Join(copyTo(ctx, conn, to), conn.Close()); err != nil {
		return fmt.Errorf("cannot be read as a database: %w", err)
	}
	return nil
}

// compare says what of the database in place the copy does not have.
func (r *Restore) compare(ctx context.Context, abs, fresh string) error {
	if _, err := os.Stat(abs); errors.Is(err, os.ErrNotExist) {
		return nil
	}
	r.Now = &Copy{Path: abs}
	st, err := ReadSQLite(ctx, abs)
	if err != nil {
		return nil // damaged, or of an older release: it is only put aside
	}
	h, err := st.ChainHead(ctx)
	if err == nil {
		r.Now.Head, r.Lost = h, max(0, h.Seq-r.Copy.Head.Seq)
		var at []lab.Link
		if at, err = st.Chain(ctx, lab.ChainQuery{After: r.Copy.Head.Seq - 1, Limit: 1}); err == nil {
			r.Foreign = r.Copy.Head.Seq > 0 && (len(at) == 0 || at[0].Hash != r.Copy.Head.Hash)
		}
	}
	if err != nil { // as above
		r.Now.Head = lab.ChainHead{}
	}
	return st.Close()
}

// swap puts fresh in place. What was there is moved whole, its log with it.
func swap(abs, fresh, aside string) error {
	if aside != "" {
		for _, end := range []string{"-wal", "-shm", ""} {
			if err := os.Rename(abs+end, aside+end); err != nil && !errors.Is(err, os.ErrNotExist) {
				return fmt.Errorf("put the database aside: %w", err)
			}
		}
	}
	if err := syncFile(fresh); err != nil {
		return err
	}
	if err := os.Rename(fresh, abs); err != nil {
		return fmt.Errorf("put the copy in place: %w; the database before it is %s", err, aside)
	}
	return syncFile(filepath.Dir(abs))
}
