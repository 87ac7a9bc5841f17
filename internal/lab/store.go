package lab

import (
	"context"
	"encoding/json"
)

// Revision is one stored revision of one record. Body is its whole JSON.
type Revision struct {
	Seq      int64 // position in the database's one order of writes
	Kind     Kind
	ID       string
	Rev      int
	RunID    string // the run it belongs to, of brews and readings the batch; a run belongs to itself
	Open     bool   // a run that is going, or on hold
	Hash     string // of the content a client sent; decides whether a repeat is the same
	Body     json.RawMessage
	By       string
	DeviceID string
	DeviceAt Time
	ServerAt Time
	// Who was signed in, how, and on which server: kept beside the chain.
	Account, Via, Server string
}

// ChainQuery selects links of the chain, oldest first.
type ChainQuery struct {
	After  int64
	Before int64 // not 0: the newest Limit ones before it
	Kind   Kind  // with ID: of one record, without limit
	ID     string
	Limit  int
}

// Status is what became of a write.
type Status string

// What a store answers to each write.
const (
	Created Status = "created"
	Updated Status = "updated"
	Same    Status = "unchanged" // the same content was already there: nothing written
	Clash   Status = "conflict"  // other content was already there: nothing written
)

// Outcome answers one write. Current is the newest revision after it.
type Outcome struct {
	Status  Status
	Current Revision
}

// Query selects current revisions of one kind, in order of id.
type Query struct {
	Kind  Kind
	RunID string // or batch, as in [Revision]; empty: all
	Open  bool   // only runs that need attention
	After string // id to continue after; empty: from the start
	Desc  bool   // newest id first
	Limit int
}

// Store keeps revisions for good. What Append has answered is on the disk: it
// survives the loss of the process and of the machine's power.
//
// Every method is safe for concurrent use. Errors are *Error; Full means that
// nothing of the request was kept.
type Store interface {
	// Append writes each revision whose Rev is one above the newest stored one
	// of its id, in order, and answers each. Seq is ignored and given.
	Append(ctx context.Context, revs []Revision) ([]Outcome, error)
	// Get gives the newest revision, or an error of class NotFound.
	Get(ctx context.Context, k Kind, id string) (Revision, error)
	// Revisions gives all revisions of a record, oldest first.
	Revisions(ctx context.Context, k Kind, id string) ([]Revision, error)
	// List gives current revisions.
	List(ctx context.Context, q Query) ([]Revision, error)
	// Changes gives revisions after a position, in order; of one run if given.
	Changes(ctx context.Context, after int64, runID string, limit int) ([]Revision, error)
	// Chain gives links of the chain with their revisions.
	Chain(ctx context.Context, q ChainQuery) ([]Link, error)
	// ChainHead gives the newest link as it was written, in a place of its own.
	ChainHead(ctx context.Context) (ChainHead, error)
	// Head gives the position of the newest revision, 0 in an empty database.
	Head(ctx context.Context) (int64, error)
	// NextNumber gives 1, 2, … for a name, each once; numbers may be skipped.
	NextNumber(ctx context.Context, name string) (int, error)
	// RaiseNumber makes NextNumber go on above n.
	RaiseNumber(ctx context.Context, name string, n int) error
	// Subscribe gives a channel that receives after new revisions, at least
	// once after each burst, and a function that ends it.
	Subscribe() (<-chan struct{}, func())
	// Vault is what lies beside the records.
	Vault() Vault
	// Ping tells whether the database answers.
	Ping(ctx context.Context) error
	Close() error
}
