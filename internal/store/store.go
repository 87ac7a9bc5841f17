package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"ullage/internal/lab"
)

// db is a store on either database. dialect holds all that differs.
type db struct {
	dialect
	read, write *sql.DB
	hub         hub
	w           *writer
	stmts       map[string]*sql.Stmt // the writer's
	byID        *sql.Stmt            // Get's: half of all reads
	onClose     []func() error
}

type dialect struct {
	name    string
	numbers bool                  // placeholders are $1, $2, …
	instant func(lab.Time) any    // how a time is stored
	begin   string                // run first in a transaction that appends
	end     string                // run last in it
	linkSQL string                // chains
	inOne   string                // one statement that appends, where the database knows one
	class   func(error) lab.Class // of a failure
}

var _ lab.Store = (*db)(nil)

// q rewrites the placeholders of a query for the dialect.
func (d *dialect) q(text string) string {
	if !d.numbers {
		return text
	}
	var b strings.Builder
	n := 0
	for _, r := range text {
		if r != '?' {
			b.WriteRune(r)
			continue
		}
		n++
		b.WriteString("$" + strconv.Itoa(n))
	}
	return b.String()
}

// fail gives an error its class and says what was being done.
func (d *dialect) fail(doing string, err error) error {
	if err == nil {
		return nil
	}
	if _, ok := errors.AsType[*lab.Error](err); ok || errors.Is(err, context.Canceled) {
		return err
	}
	e := &lab.Error{Class: d.class(err), Text: doing, Err: err}
	switch e.Class {
	case lab.Full:
		e.Faults = []lab.Fault{{Field: "database", Message: "the server's disk is full: nothing of this request was kept",
			Mend: "keep it and send it again when there is room"}}
	case lab.Busy:
		e.Faults = []lab.Fault{{Field: "database", Message: "the database does not answer now", Mend: "send it again in a few seconds"}}
	}
	return e
}

const columns = `r.seq, r.kind, r.id, r.rev, r.run_id, r.is_open, r.hash, r.body, r.by_whom, r.device_id, r.device_at, r.server_at `

const getSQL = `SELECT ` + columns + `FROM newest n JOIN revision r ON r.seq = n.seq WHERE n.kind = ? AND n.id = ?`

func (s *db) Get(ctx context.Context, k lab.Kind, id string) (lab.Revision, error) {
	rev, err := scan(s.byID.QueryRowContext(ctx, string(k), id))
	if errors.Is(err, sql.ErrNoRows) {
		return rev, lab.NoSuch(k, id)
	}
	return rev, s.fail("read a record", err)
}

// ready prepares what needs the tables.
func (s *db) ready(ctx context.Context) (err error) {
	if err = s.fillChain(ctx); err != nil {
		return s.fail("chain the revisions", err)
	}
	s.byID, err = s.read.PrepareContext(ctx, s.q(getSQL))
	return s.fail("prepare", err)
}

func (s *db) Revisions(ctx context.Context, k lab.Kind, id string) ([]lab.Revision, error) {
	revs, err := s.query(ctx, "read revisions", `SELECT `+columns+`FROM revision r WHERE r.kind = ? AND r.id = ? ORDER BY r.rev`,
		string(k), id)
	if err == nil && len(revs) == 0 {
		return nil, lab.NoSuch(k, id)
	}
	return revs, err
}

func (s *db) List(ctx context.Context, q lab.Query) ([]lab.Revision, error) {
	text := `SELECT ` + columns + `FROM newest n` + s.listIndex(q) + ` JOIN revision r ON r.seq = n.seq WHERE n.kind = ?`
	args := []any{string(q.Kind)}
	if q.RunID != "" {
		// The second condition lets the partial index be used.
		text += ` AND n.run_id = ? AND n.run_id <> ''`
		args = append(args, q.RunID)
	}
	if q.Open {
		text += ` AND n.is_open = 1`
	}
	order := " ASC"
	if q.After != "" {
		text += ` AND n.id > ?`
		args = append(args, q.After)
	}
	if q.Desc {
		order = " DESC"
		text = strings.Replace(text, "n.id > ?", "n.id < ?", 1)
	}
	text += ` ORDER BY n.id` + order + ` LIMIT ?`
	return s.query(ctx, "list records", text, append(args, q.Limit)...)
}

// listIndex names the index of a list to SQLite, which would else walk all
// records of the kind: it takes any primary key for better than a partial index.
func (s *db) listIndex(q lab.Query) string {
	switch {
	case s.numbers:
	case q.RunID != "":
		return ` INDEXED BY newest_of_run`
	case q.Open:
		return ` INDEXED BY newest_open`
	}
	return ""
}

func (s *db) Changes(ctx context.Context, after int64, runID string, limit int) ([]lab.Revision, error) {
	if runID == "" {
		return s.query(ctx, "read changes", `SELECT `+columns+`FROM revision r WHERE r.seq > ? ORDER BY r.seq LIMIT ?`, after, limit)
	}
	return s.query(ctx, "read changes", `SELECT `+columns+`FROM revision r
		WHERE r.run_id = ? AND r.run_id <> '' AND r.seq > ? ORDER BY r.seq LIMIT ?`, runID, after, limit)
}

func (s *db) Head(ctx context.Context) (int64, error) {
	var seq int64
	err := s.read.QueryRowContext(ctx, `SELECT coalesce(max(seq), 0) FROM revision`).Scan(&seq)
	return seq, s.fail("read the newest position", err)
}

func (s *db) NextNumber(ctx context.Context, name string) (int, error) {
	var n int
	err := s.write.QueryRowContext(ctx, s.q(`INSERT INTO counter (name, value) VALUES (?, 1)
		ON CONFLICT (name) DO UPDATE SET value = counter.value + 1 RETURNING value`), name).Scan(&n)
	return n, s.fail("give a number", err)
}

func (s *db) RaiseNumber(ctx context.Context, name string, n int) error {
	_, err := s.write.ExecContext(ctx, s.q(`INSERT INTO counter (name, value) VALUES (?, ?)
		ON CONFLICT (name) DO UPDATE SET value = excluded.value WHERE counter.value < excluded.value`), name, n)
	return s.fail("raise a number", err)
}

func (s *db) Subscribe() (<-chan struct{}, func()) { return s.hub.subscribe() }

func (s *db) Ping(ctx context.Context) error {
	var one int
	return s.fail("ask the database", s.read.QueryRowContext(ctx, `SELECT 1`).Scan(&one))
}

// Close waits for the writes under way.
func (s *db) Close() error {
	s.w.stop()
	errs := []error{s.read.Close()}
	if s.write != s.read {
		errs = append(errs, s.write.Close())
	}
	for _, f := range s.onClose {
		errs = append(errs, f())
	}
	return errors.Join(errs...)
}

func (s *db) query(ctx context.Context, doing, text string, args ...any) ([]lab.Revision, error) {
	rows, err := s.read.QueryContext(ctx, s.q(text), args...)
	if err != nil {
		return nil, s.fail(doing, err)
	}
	defer rows.Close()
	var out []lab.Revision
	for rows.Next() {
		r, err := scan(rows)
		if err != nil {
			return nil, s.fail(doing, err)
		}
		out = append(out, r)
	}
	return out, s.fail(doing, rows.Err())
}

func scan(rows interface{ Scan(...any) error }) (lab.Revision, error) {
	var r lab.Revision
	var open int
	var body string
	var deviceAt, serverAt instant
	err := rows.Scan(&r.Seq, &r.Kind, &r.ID, &r.Rev, &r.RunID, &open, &r.Hash, &body, &r.By, &r.DeviceID, &deviceAt, &serverAt)
	r.Open, r.Body = open == 1, []byte(body)
	r.DeviceAt, r.ServerAt = deviceAt.Time, serverAt.Time
	return r, err
}

// instant reads a time as either database keeps it.
type instant struct{ lab.Time }

func (t *instant) Scan(v any) error {
	switch v := v.(type) {
	case nil:
		t.Time = lab.Time{}
	case int64:
		t.Time = lab.At(time.UnixMicro(v))
	case time.Time:
		t.Time = lab.At(v)
	default:
		return fmt.Errorf("a time is stored as %T", v)
	}
	return nil
}
