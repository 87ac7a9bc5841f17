package lab

import (
	"context"
	"encoding/json"
)

// Item is one thing a [Vault] holds: the newest state of it, not its history.
type Item struct {
	Kind    string // account, session, …
	Key     string // an id, or the hash of a secret
	Owner   string // id of the account it belongs to
	Version int    // counts its changes from 1
	Expires Time   // empty: never
	Body    json.RawMessage
}

// Vault keeps what lets people in: accounts, sessions, links, tokens, devices.
// None of it is a record: it is never listed, synced or exported with them, and
// it is deleted when it has served.
type Vault interface {
	// Item gives one, or an error of class NotFound; also for one that expired.
	Item(ctx context.Context, kind, key string, now Time) (Item, error)
	// PutItem stores one whose Version is the one that was read, 0 for a new
	// one; else the error has class Conflict. Version is then one higher.
	PutItem(ctx context.Context, it Item) error
	// DropItem deletes one, and tells whether it was there: of two who drop the
	// same one, one is told so.
	DropItem(ctx context.Context, kind, key string) (bool, error)
	// Items lists those of a kind, of one owner if given, oldest key first.
	Items(ctx context.Context, kind, owner string) ([]Item, error)
	// Sweep deletes what has expired.
	Sweep(ctx context.Context, now Time) error
}
