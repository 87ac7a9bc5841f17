package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"time"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"ullage/internal/lab"
)

// SQLiteOptions are for tests; the zero value is right otherwise.
type SQLiteOptions struct {
	// MaxPages stops the file from growing, as a full disk does. 0: no limit.
	MaxPages int
}

// OpenSQLite opens the file at path, making it if need be. Only one server at a
// time may have it open. A file of an older release is first copied beside
// itself, then brought up to date; one of a newer release is refused.
//
// What may be lost: nothing that was answered, as long as the disk keeps its
// promise to sync.
func OpenSQLite(ctx context.Context, path string, opt SQLiteOptions) (lab.Store, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	unlock, err := lockFile(ctx, abs)
	if err != nil {
		return nil, err
	}
	s, err := openSQLite(ctx, abs, opt)
	if err != nil {
		return nil, errors.Join(err, unlock())
	}
	s.onClose = append(s.onClose, unlock)
	return s, nil
}

// ReadSQLite opens an existing file of this release for reading, also while a
// server has it open.
func ReadSQLite(ctx context.Context, path string) (lab.Store, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if _, err := os.Stat(abs); err != nil {
		return nil, noDatabase(abs)
	}
	s := newSQLite()
	if s.read, err = openFile(abs, 2, "deferred", "busy_timeout(5000)", "query_only(1)"); err != nil {
		return nil, err
	}
	s.write, s.w = s.read, closedWriter()
	err = migrate(ctx, goose.DialectSQLite3, "sqlite", s.read, func(version int64) error {
		return &lab.Error{Class: lab.Invalid, Faults: []lab.Fault{{Field: "version", Value: version, Message: "the database is of an older release",
			Mend: "start ullage serve on it once: that copies it and brings it up to date"}}}
	})
	if err == nil {
		err = s.ready(ctx)
	}
	if err != nil {
		return nil, errors.Join(err, s.read.Close())
	}
	return s, nil
}

func newSQLite() *db {
	return &db{stmts: map[string]*sql.Stmt{}, dialect: dialect{name: "sqlite", linkSQL: linkSQL, class: sqliteClass, instant: func(t lab.Time) any {
		if t.IsZero() {
			return nil
		}
		return t.UnixMicro()
	}}}
}

func openSQLite(ctx context.Context, abs string, opt SQLiteOptions) (*db, error) {
	s := newSQLite()
	pragmas := []string{"busy_timeout(5000)", "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "trusted_schema(0)"}
	if opt.MaxPages > 0 {
		pragmas = append(pragmas, "max_page_count("+strconv.Itoa(opt.MaxPages)+")")
	}
	private(abs)
	var err error
	if s.write, err = openFile(abs, 1, "immediate", pragmas...); err != nil {
		return nil, err
	}
	if s.read, err = openFile(abs, 4, "deferred", append(pragmas, "query_only(1)")...); err != nil {
		return nil, errors.Join(err, s.write.Close())
	}
	copyFirst := func(version int64) error {
		to := fmt.Sprintf("%s.before-v%d-%s", abs, version+1, time.Now().UTC().Format("20060102T150405Z"))
		return copyTo(ctx, s.write, to)
	}
	err = migrate(ctx, goose.DialectSQLite3, "sqlite", s.write, copyFirst)
	if err == nil {
		err = s.ready(ctx)
	}
	if err != nil {
		if sqliteClass(err) != lab.Internal {
			err = s.fail("open "+abs, err)
		}
		return nil, errors.Join(err, s.read.Close(), s.write.Close())
	}
	s.w = newWriter(s)
	return s, nil
}

// copyTo writes a whole and consistent copy, the log included.
func copyTo(ctx context.Context, conn *sql.DB, path string) error {
	private(path)
	_, err := conn.ExecContext(ctx, `VACUUM INTO ?`, path)
	return err
}

// private makes an empty file that only its owner reads, for SQLite to fill: it
// would make one that everybody reads, and hashes of passwords lie in it. What
// fails here fails again when SQLite opens the file, which then says it.
func private(path string) {
	if f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600); err == nil {
		_ = f.Close()
	}
}

func openFile(abs string, conns int, lock string, pragmas ...string) (*sql.DB, error) {
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(abs), RawQuery: url.Values{"_txlock": {lock}, "_pragma": pragmas}.Encode()}
	conn, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	conn.SetMaxOpenConns(conns)
	conn.SetMaxIdleConns(conns)
	return conn, nil
}

// lockFile keeps a second server off the database. The lock is an open
// transaction on a small file beside it: the system drops it when the process
// ends, however it ends.
func lockFile(ctx context.Context, abs string) (unlock func() error, err error) {
	if err := os.MkdirAll(filepath.Dir(abs), 0o750); err != nil {
		return nil, fmt.Errorf("make the data folder: %w", err)
	}
	if err := writable(filepath.Dir(abs)); err != nil {
		return nil, err
	}
	conn, err := openFile(abs+".lock", 1, "exclusive", "busy_timeout(0)", "journal_mode(MEMORY)")
	if err != nil {
		return nil, err
	}
	tx, err := conn.BeginTx(context.WithoutCancel(ctx), nil)
	if err != nil {
		err = errors.Join(err, conn.Close())
		if sqliteClass(err) == lab.Busy {
			return nil, &lab.Error{Class: lab.Busy, Text: "another server has this database open", Faults: []lab.Fault{{
				Field: "data", Value: abs, Message: "is in use", Mend: "stop the other server, or give this one its own --data folder"}}}
		}
		return nil, fmt.Errorf("lock %s: %w", abs, err)
	}
	return func() error { return errors.Join(tx.Rollback(), conn.Close()) }, nil
}

// writable says in words what the database would say in a number.
func writable(dir string) error {
	f, err := os.CreateTemp(dir, ".writable-*")
	if err == nil {
		return errors.Join(f.Close(), os.Remove(f.Name()))
	}
	class := lab.Internal
	if errors.Is(err, syscall.ENOSPC) {
		class = lab.Full
	}
	return &lab.Error{Class: class, Err: err, Faults: []lab.Fault{{Field: "data", Value: dir, Message: "cannot be written",
		Mend: "give this user the folder, make room, or name another --data folder"}}}
}

func sqliteClass(err error) lab.Class {
	e, ok := errors.AsType[*sqlite.Error](err)
	if !ok {
		return lab.ClassOf(err)
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_FULL:
		return lab.Full
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return lab.Busy
	}
	return lab.Internal
}
