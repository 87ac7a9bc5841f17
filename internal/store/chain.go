package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"ullage/internal/lab"
)

const (
	headSQL = `SELECT seq, hash FROM chain_head`
	moveSQL = `UPDATE chain_head SET seq = ?, hash = ?`
	// linkSQL chains one; PostgreSQL has one for many.
	linkSQL  = `INSERT INTO chain (seq, hash, account, via, server) VALUES (?, ?, ?, ?, ?)`
	linksSQL = `INSERT INTO chain (seq, hash, account, via, server)
		SELECT * FROM unnest($1::bigint[], $2::text[], $3::text[], $4::text[], $5::text[])`
)

// chain links what a transaction has stored to what was there before.
func (a *appender) chain(ctx context.Context) error {
	if len(a.fresh) == 0 {
		return nil
	}
	var head lab.ChainHead
	if err := a.head.QueryRowContext(ctx).Scan(&head.Seq, &head.Hash); err != nil {
		return err
	}
	links := linked(&head, a.fresh)
	a.fresh = nil
	if err := a.s.putLinks(ctx, a.link, links); err != nil {
		return err
	}
	_, err := a.move.ExecContext(ctx, head.Seq, head.Hash)
	return err
}

// linked gives the links of revisions after a head, and moves the head.
func linked(head *lab.ChainHead, revs []lab.Revision) []lab.Link {
	links := make([]lab.Link, len(revs))
	for i, r := range revs {
		*head = lab.ChainHead{Seq: r.Seq, Hash: lab.ChainHash(head.Hash, r)}
		links[i] = lab.Link{Seq: r.Seq, Hash: head.Hash, Revision: r}
	}
	return links
}

func (s *db) putLinks(ctx context.Context, stmt *sql.Stmt, links []lab.Link) error {
	if !s.numbers {
		for _, l := range links {
			if _, err := stmt.ExecContext(ctx, l.Seq, l.Hash, l.Revision.Account, l.Revision.Via, l.Revision.Server); err != nil {
				return err
			}
		}
		return nil
	}
	n := len(links)
	seqs, texts := make([]int64, n), [4][]string{make([]string, n), make([]string, n), make([]string, n), make([]string, n)}
	for i, l := range links {
		seqs[i] = l.Seq
		texts[0][i], texts[1][i], texts[2][i], texts[3][i] = l.Hash, l.Revision.Account, l.Revision.Via, l.Revision.Server
	}
	_, err := stmt.ExecContext(ctx, seqs, texts[0], texts[1], texts[2], texts[3])
	return err
}

// fillChain chains the revisions of a release that had no chain: once, when the
// chain is new. One that lost its head is not mended here, but found by a walk.
func (s *db) fillChain(ctx context.Context) (err error) {
	var n int
	if err := s.read.QueryRowContext(ctx, `SELECT count(*) FROM chain_head`).Scan(&n); err != nil || n > 0 || s.w != nil && s.w.closed {
		return err
	}
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, notDone(tx.Rollback()))
		}
	}()
	if s.begin != "" {
		if _, err := tx.ExecContext(ctx, s.begin); err != nil {
			return err
		}
	}
	// Another server may have been first.
	if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM chain_head`).Scan(&n); err != nil || n > 0 {
		return errors.Join(err, tx.Rollback())
	}
	stmt, err := tx.PrepareContext(ctx, s.q(s.linkSQL))
	if err != nil {
		return err
	}
	defer stmt.Close()
	var head lab.ChainHead
	for {
		revs, err := s.revisionsIn(ctx, tx, head.Seq, lab.MaxPage)
		if err != nil {
			return err
		}
		if err := s.putLinks(ctx, stmt, linked(&head, revs)); err != nil {
			return err
		}
		if len(revs) < lab.MaxPage {
			break
		}
	}
	if _, err := tx.ExecContext(ctx, s.q(`INSERT INTO chain_head (id, seq, hash) VALUES (1, ?, ?)`), head.Seq, head.Hash); err != nil {
		return err
	}
	return tx.Commit()
}

func (s *db) revisionsIn(ctx context.Context, tx *sql.Tx, after int64, limit int) (out []lab.Revision, err error) {
	rows, err := tx.QueryContext(ctx, s.q(`SELECT `+columns+`FROM revision r WHERE r.seq > ? ORDER BY r.seq LIMIT ?`), after, limit)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		r, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, rows.Err()
}

// ChainHead gives the newest link as it was written.
func (s *db) ChainHead(ctx context.Context) (lab.ChainHead, error) {
	var h lab.ChainHead
	err := s.read.QueryRowContext(ctx, headSQL).Scan(&h.Seq, &h.Hash)
	if errors.Is(err, sql.ErrNoRows) {
		return h, nil // taken out by hand: the walk finds that it does not fit
	}
	return h, s.fail("read the head of the chain", err)
}

// Chain gives links with their revisions: also those of which one half is gone.
func (s *db) Chain(ctx context.Context, q lab.ChainQuery) ([]lab.Link, error) {
	if q.ID != "" {
		revs, err := s.query(ctx, "read revisions", `SELECT `+columns+`FROM revision r WHERE r.kind = ? AND r.id = ? ORDER BY r.rev`, string(q.Kind), q.ID)
		if err != nil {
			return nil, err
		}
		out := make([]lab.Link, len(revs))
		for i, r := range revs {
			links, err := s.linksOf(ctx, `seq = ?`, r.Seq)
			if err != nil {
				return nil, err
			}
			out[i] = lab.Link{Seq: r.Seq}
			if len(links) == 1 {
				out[i] = links[0]
			}
			out[i].Take(r)
		}
		return out, nil
	}
	if q.Before != 0 {
		return s.linksOf(ctx, `seq < ? ORDER BY seq DESC LIMIT ?`, q.Before, q.Limit)
	}
	revs, err := s.Changes(ctx, q.After, "", q.Limit)
	if err != nil {
		return nil, err
	}
	links, err := s.linksOf(ctx, `seq > ? ORDER BY seq LIMIT ?`, q.After, q.Limit)
	if err != nil {
		return nil, err
	}
	return merge(revs, links, q.Limit), nil
}

func (s *db) linksOf(ctx context.Context, where string, args ...any) (out []lab.Link, err error) {
	rows, err := s.read.QueryContext(ctx, s.q(`SELECT seq, hash, account, via, server FROM chain WHERE `+where), args...)
	if err != nil {
		return nil, s.fail("read the chain", err)
	}
	defer rows.Close()
	for rows.Next() {
		var l lab.Link
		if err := rows.Scan(&l.Seq, &l.Hash, &l.Revision.Account, &l.Revision.Via, &l.Revision.Server); err != nil {
			return nil, s.fail("read the chain", err)
		}
		out = append(out, l)
	}
	return out, s.fail("read the chain", rows.Err())
}

// merge pairs revisions and links by position, as far as both were read.
func merge(revs []lab.Revision, links []lab.Link, limit int) []lab.Link {
	upTo := int64(-1)
	if len(revs) == limit {
		upTo = revs[limit-1].Seq
	}
	if len(links) == limit && (upTo < 0 || links[limit-1].Seq < upTo) {
		upTo = links[limit-1].Seq
	}
	var out []lab.Link
	for len(revs) > 0 || len(links) > 0 {
		var l lab.Link
		switch {
		case len(links) == 0 || len(revs) > 0 && revs[0].Seq < links[0].Seq:
			l = lab.Link{Seq: revs[0].Seq, Revision: revs[0]}
			revs = revs[1:]
		case len(revs) == 0 || links[0].Seq < revs[0].Seq:
			l, links = links[0], links[1:]
		default:
			l = links[0]
			l.Take(revs[0])
			revs, links = revs[1:], links[1:]
		}
		if upTo >= 0 && l.Seq > upTo {
			break
		}
		out = append(out, l)
	}
	return out
}

// Check reads the whole database for damage, as far as the database can tell.
func (s *db) Check(ctx context.Context) error {
	if s.numbers {
		return nil // PostgreSQL checks its pages as it reads them
	}
	rows, err := s.read.QueryContext(ctx, `PRAGMA quick_check(5)`)
	if err != nil {
		return s.fail("check the database", err)
	}
	defer rows.Close()
	var found []error
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return err
		}
		if text != "ok" {
			found = append(found, errors.New(text))
		}
	}
	if err := errors.Join(append(found, rows.Err())...); err != nil {
		return fmt.Errorf("the database is damaged: %w; stop, copy the folder as it is, then restore the newest backup", err)
	}
	return nil
}
