package store

import (
	"context"
	"database/sql"
	"errors"

	"ullage/internal/lab"
)

// vault is one small table beside the revisions.
type vault struct{ s *db }

// Vault gives what lies beside the records.
func (s *db) Vault() lab.Vault { return vault{s} }

const itemColumns = `kind, item_key, owner, version, expires_at, body`

func scanItem(row interface{ Scan(...any) error }) (lab.Item, error) {
	var it lab.Item
	var expires instant
	var body string
	err := row.Scan(&it.Kind, &it.Key, &it.Owner, &it.Version, &expires, &body)
	it.Expires, it.Body = expires.Time, []byte(body)
	return it, err
}

func (v vault) Item(ctx context.Context, kind, key string, now lab.Time) (lab.Item, error) {
	it, err := scanItem(v.s.read.QueryRowContext(ctx, v.s.q(`SELECT `+itemColumns+` FROM vault WHERE kind = ? AND item_key = ?`), kind, key))
	if errors.Is(err, sql.ErrNoRows) || err == nil && !it.Expires.IsZero() && !it.Expires.After(now.Time) {
		// The key may be of a secret: it is not repeated.
		return lab.Item{}, &lab.Error{Class: lab.NotFound, Faults: []lab.Fault{{Field: kind, Message: "there is none, or none any more"}}}
	}
	return it, v.s.fail("read an item", err)
}

func (v vault) PutItem(ctx context.Context, it lab.Item) error {
	args := []any{it.Owner, it.Version + 1, v.s.instant(it.Expires), string(it.Body), it.Kind, it.Key}
	text := `INSERT INTO vault (owner, version, expires_at, body, kind, item_key) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`
	if it.Version > 0 {
		text, args = `UPDATE vault SET owner = ?, version = ?, expires_at = ?, body = ? WHERE kind = ? AND item_key = ? AND version = ?`, append(args, it.Version)
	}
	n, err := v.exec(ctx, "keep an item", text, args...)
	if err == nil && n == 0 {
		return &lab.Error{Class: lab.Conflict, Faults: []lab.Fault{{Field: it.Kind, Message: "was changed meanwhile, or is there already", Mend: "look at it again"}}}
	}
	return err
}

func (v vault) DropItem(ctx context.Context, kind, key string) (bool, error) {
	n, err := v.exec(ctx, "drop an item", `DELETE FROM vault WHERE kind = ? AND item_key = ?`, kind, key)
	return n > 0, err
}

func (v vault) Items(ctx context.Context, kind, owner string) ([]lab.Item, error) {
	text, args := `SELECT `+itemColumns+` FROM vault WHERE kind = ?`, []any{kind}
	if owner != "" {
		text, args = text+` AND owner = ?`, append(args, owner)
	}
	rows, err := v.s.read.QueryContext(ctx, v.s.q(text+` ORDER BY item_key`), args...)
	if err != nil {
		return nil, v.s.fail("list items", err)
	}
	defer rows.Close()
	var out []lab.Item
	for rows.Next() {
		it, err := scanItem(rows)
		if err != nil {
			return nil, v.s.fail("list items", err)
		}
		out = append(out, it)
	}
	return out, v.s.fail("list items", rows.Err())
}

func (v vault) Sweep(ctx context.Context, now lab.Time) error {
	_, err := v.exec(ctx, "sweep", `DELETE FROM vault WHERE expires_at IS NOT NULL AND expires_at <= ?`, v.s.instant(now))
	return err
}

func (v vault) exec(ctx context.Context, doing, text string, args ...any) (int64, error) {
	r, err := v.s.write.ExecContext(ctx, v.s.q(text), args...)
	if err != nil {
		return 0, v.s.fail(doing, err)
	}
	n, err := r.RowsAffected()
	return n, v.s.fail(doing, err)
}
