package store

import (
	"context"
	"database/sql"
	"errors"
	"sync"

	"ullage/internal/lab"
)

// writer commits in groups: while one commit waits for the disk, requests
// gather, and the next commit takes them all. Each is answered after its
// commit, so an answer still means that it is on the disk.
type writer struct {
	s      *db
	queue  chan *request
	done   chan struct{}
	mu     sync.RWMutex
	closed bool
}

type request struct {
	revs   []lab.Revision
	answer chan answer
}

type answer struct {
	outs []lab.Outcome
	err  error
}

const (
	queueLen = 256
	maxGroup = 2000 // revisions in one commit
)

func newWriter(s *db) *writer {
	w := &writer{s: s, queue: make(chan *request, queueLen), done: make(chan struct{})}
	go w.run()
	return w
}

// closedWriter refuses every write: for a store that is only read.
func closedWriter() *writer {
	w := &writer{queue: make(chan *request), done: make(chan struct{}), closed: true}
	close(w.done)
	return w
}

func (s *db) Append(ctx context.Context, revs []lab.Revision) ([]lab.Outcome, error) {
	req := &request{revs: revs, answer: make(chan answer, 1)}
	if err := s.w.send(ctx, req); err != nil {
		return nil, err
	}
	select {
	case a := <-req.answer:
		return a.outs, a.err
	case <-ctx.Done():
		// It may yet be written. The client was not answered, so it sends the
		// same again and is told that it is there.
		return nil, ctx.Err()
	}
}

func (w *writer) send(ctx context.Context, req *request) error {
	w.mu.RLock()
	defer w.mu.RUnlock()
	if w.closed {
		return &lab.Error{Class: lab.Busy, Text: "the server is stopping",
			Faults: []lab.Fault{{Field: "database", Message: "is closed", Mend: "send it again in a few seconds"}}}
	}
	select {
	case w.queue <- req:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (w *writer) stop() {
	w.mu.Lock()
	if !w.closed {
		w.closed = true
		close(w.queue)
	}
	w.mu.Unlock()
	<-w.done
}

func (w *writer) run() {
	defer close(w.done)
	for req := range w.queue {
		group, n := []*request{req}, len(req.revs)
	gather:
		for n < maxGroup {
			select {
			case more, ok := <-w.queue:
				if !ok {
					break gather
				}
				group = append(group, more)
				n += len(more.revs)
			default:
				break gather
			}
		}
		w.commit(group)
	}
}

// commit stores a group. If that fails, each request is tried alone, so that
// one of them cannot spoil the others.
func (w *writer) commit(group []*request) {
	outs, err := w.s.appendAll(group)
	if err != nil && len(group) > 1 {
		for _, req := range group {
			w.commit([]*request{req})
		}
		return
	}
	if err == nil {
		w.s.hub.wake()
	}
	for i, req := range group {
		if err != nil {
			req.answer <- answer{err: err}
			continue
		}
		req.answer <- answer{outs: outs[i]}
	}
}

// appendAll stores the requests of a group in one transaction.
func (s *db) appendAll(group []*request) (outs [][]lab.Outcome, err error) {
	defer func() { err = s.fail("write revisions", err) }()
	ctx := context.Background() // a commit serves many: no one of them can cancel it
	a, err := s.appender(ctx)
	if err != nil {
		return nil, err
	}
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, notDone(tx.Rollback()))
		}
	}()
	if s.begin != "" {
		if _, err := tx.ExecContext(ctx, s.begin); err != nil {
			return nil, err
		}
	}
	a.join(ctx, tx)
	for _, req := range group {
		out := make([]lab.Outcome, len(req.revs))
		for i, r := range req.revs {
			if out[i], err = a.one(ctx, r); err != nil {
				return nil, err
			}
		}
		outs = append(outs, out)
	}
	if err := a.chain(ctx); err != nil {
		return nil, err
	}
	if s.end != "" {
		if _, err := tx.ExecContext(ctx, s.end); err != nil {
			return nil, err
		}
	}
	return outs, tx.Commit()
}

func notDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}

// appender holds the statements of one transaction.
type appender struct {
	s                             *db
	tx                            *sql.Tx
	newest, insert, upsert, inOne *sql.Stmt
	head, link, move              *sql.Stmt
	fresh                         []lab.Revision // stored, not yet chained
}

const (
	newestSQL = `SELECT rev FROM newest WHERE kind = ? AND id = ?`
	insertSQL = `INSERT INTO revision (kind, id, rev, run_id, is_open, hash, body, by_whom, device_id, device_at, server_at)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING seq`
	upsertSQL = `INSERT INTO newest (kind, id, rev, seq, run_id, is_open) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT (kind, id) DO UPDATE SET rev = excluded.rev, seq = excluded.seq, run_id = excluded.run_id, is_open = excluded.is_open`
)

// prepared keeps the statements that every append uses.
func (s *db) prepared(ctx context.Context, text string) (*sql.Stmt, error) {
	if stmt, ok := s.stmts[text]; ok {
		return stmt, nil
	}
	stmt, err := s.write.PrepareContext(ctx, s.q(text))
	if err == nil {
		s.stmts[text] = stmt
	}
	return stmt, err
}

// appender prepares before the transaction begins: SQLite's one writing
// connection is the transaction's from then on.
func (s *db) appender(ctx context.Context) (*appender, error) {
	a := &appender{s: s}
	need := map[string]**sql.Stmt{newestSQL: &a.newest, insertSQL: &a.insert, upsertSQL: &a.upsert}
	if s.inOne != "" {
		need = map[string]**sql.Stmt{s.inOne: &a.inOne}
	}
	need[headSQL], need[s.linkSQL], need[moveSQL] = &a.head, &a.link, &a.move
	for text, stmt := range need {
		prepared, err := s.prepared(ctx, text)
		if err != nil {
			return nil, err
		}
		*stmt = prepared
	}
	return a, nil
}

func (a *appender) join(ctx context.Context, tx *sql.Tx) {
	a.tx = tx
	for _, stmt := range []**sql.Stmt{&a.newest, &a.insert, &a.upsert, &a.inOne, &a.head, &a.link, &a.move} {
		if *stmt != nil {
			*stmt = tx.StmtContext(ctx, *stmt)
		}
	}
}

// one stores a revision that follows the newest, or says what is there.
func (a *appender) one(ctx context.Context, r lab.Revision) (lab.Outcome, error) {
	open := 0
	if r.Open {
		open = 1
	}
	row := []any{string(r.Kind), r.ID, r.Rev, r.RunID, open, r.Hash, string(r.Body),
		r.By, r.DeviceID, a.s.instant(r.DeviceAt), a.s.instant(r.ServerAt)}
	var done bool
	var err error
	if a.inOne != nil {
		done, err = found(a.inOne.QueryRowContext(ctx, row...), &r.Seq)
	} else {
		done, err = a.stepwise(ctx, &r, row)
	}
	if err != nil {
		return lab.Outcome{}, err
	}
	if !done {
		return a.occupied(ctx, r)
	}
	a.fresh = append(a.fresh, r)
	status := lab.Updated
	if r.Rev == 1 {
		status = lab.Created
	}
	return lab.Outcome{Status: status, Current: r}, nil
}

func found(row *sql.Row, into any) (bool, error) {
	err := row.Scan(into)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	return err == nil, err
}

// stepwise looks, stores and lists; false: the place is taken.
func (a *appender) stepwise(ctx context.Context, r *lab.Revision, row []any) (bool, error) {
	var newest int
	if _, err := found(a.newest.QueryRowContext(ctx, row[0], row[1]), &newest); err != nil || newest != r.Rev-1 {
		return false, err
	}
	if err := a.insert.QueryRowContext(ctx, row...).Scan(&r.Seq); err != nil {
		return false, err
	}
	_, err := a.upsert.ExecContext(ctx, row[0], row[1], row[2], r.Seq, row[3], row[4])
	return err == nil, err
}

// occupied answers a revision whose place is taken, or whose base is missing.
func (a *appender) occupied(ctx context.Context, r lab.Revision) (lab.Outcome, error) {
	out := lab.Outcome{Status: lab.Clash}
	var hash string
	err := a.tx.QueryRowContext(ctx, a.s.q(`SELECT hash FROM revision WHERE kind = ? AND id = ? AND rev = ?`),
		string(r.Kind), r.ID, r.Rev).Scan(&hash)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return out, err
	}
	if err == nil && hash == r.Hash {
		out.Status = lab.Same
	}
	out.Current, err = scan(a.tx.QueryRowContext(ctx, a.s.q(getSQL), string(r.Kind), r.ID))
	if errors.Is(err, sql.ErrNoRows) {
		return lab.Outcome{Status: lab.Clash}, nil // nothing is there to follow
	}
	return out, err
}
