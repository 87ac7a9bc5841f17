// Package access knows who someone is: accounts with passwords and second
// factors, sessions, one-time links, PINs on registered devices, API tokens. What each may do with
// the records is lab's table; what people are called is a record of lab's.
//
// No secret is kept: passwords and PINs as argon2id hashes, all others, which
// are random, as SHA-256. The one exception are the seeds of one-time codes,
// which lie sealed under a key that the database does not hold. None is logged,
// or stands in an address that reaches the server.
package access

import (
	"context"
	"encoding/json"
	"log/slog"
	"time"

	"github.com/google/uuid"

	"ullage/internal/lab"
)

// How long things last. A session ends by itself after idle time without a
// request, and after its whole time in any case.
const (
	SessionIdle  = 7 * 24 * time.Hour
	SessionWhole = 30 * 24 * time.Hour
	PINIdle      = 30 * time.Minute
	PINWhole     = 12 * time.Hour
	LinkWhole    = 7 * 24 * time.Hour
	AdminLink    = 24 * time.Hour
	MaxToken     = 366 * 24 * time.Hour
	MaxDevice    = 366 * 24 * time.Hour
)

// Service is the use cases of access over a vault.
type Service struct {
	Vault lab.Vault
	Lab   *lab.Service     // its table of permissions, and the people
	Now   func() time.Time // nil: time.Now
	Log   *slog.Logger     // nil: slog.Default()
	// KeyFile is where the key lies under which second factors are kept; made at
	// first use. Empty: none can be set up.
	KeyFile string

	limits  limiter
	hashing chan struct{}
}

// New makes a service beside a laboratory.
func New(svc *lab.Service, log *slog.Logger) *Service {
	if log == nil {
		log = slog.Default()
	}
	return &Service{Vault: svc.Store.Vault(), Lab: svc, Now: svc.Now, Log: log, limits: newLimiter(), hashing: make(chan struct{}, 4)}
}

func (s *Service) now() time.Time {
	if s.Now == nil {
		return time.Now()
	}
	return s.Now()
}

// The kinds of items.
const (
	kindAccount = "account"
	kindName    = "account name" // key: the name; owner: its account
	kindSubject = "sign-on"      // key: hash of issuer and subject; owner: its account
	kindSession = "session"
	kindLink    = "link"
	kindToken   = "token"
	kindDevice  = "device"
	kindEvent   = "event"
)

func refuse(c lab.Class, field string, value any, message, mend string) *lab.Error {
	return &lab.Error{Class: c, Faults: []lab.Fault{{Field: field, Value: value, Message: message, Mend: mend}}}
}

func newID() (string, error) {
	id, err := uuid.NewV7()
	return id.String(), err
}

// load reads an item's body, with its version for a later save.
func load[T any](ctx context.Context, s *Service, kind, key string) (v T, it lab.Item, err error) {
	it, err = s.Vault.Item(ctx, kind, key, lab.At(s.now()))
	if err == nil {
		err = json.Unmarshal(it.Body, &v)
	}
	return v, it, err
}

func (s *Service) save(ctx context.Context, it lab.Item, v any) error {
	var err error
	if it.Body, err = json.Marshal(v); err != nil {
		return err
	}
	return s.Vault.PutItem(ctx, it)
}

func list[T any](ctx context.Context, s *Service, kind, owner string, take func(lab.Item, T)) error {
	items, err := s.Vault.Items(ctx, kind, owner)
	if err != nil {
		return err
	}
	for _, it := range items {
		if !it.Expires.IsZero() && !it.Expires.After(s.now()) {
			continue
		}
		var v T
		if err := json.Unmarshal(it.Body, &v); err != nil {
			return err
		}
		take(it, v)
	}
	return nil
}

// LogEntry is something about accounts that an auditor asks for.
type LogEntry struct {
	At      lab.Time `json:"at"`
	What    string   `json:"what"`
	Account string   `json:"account,omitempty" doc:"name of the account it is about"`
	By      string   `json:"by,omitempty" doc:"name of the account that did it"`
	From    string   `json:"from,omitempty" doc:"network address"`
}

const keepEvents = 400 * 24 * time.Hour

// note logs what happened and keeps it. A failure to keep is logged, and stops
// nobody from signing in.
func (s *Service) note(ctx context.Context, what, account, from string) {
	e := LogEntry{At: lab.At(s.now()), What: what, Account: account, From: from}
	if p, ok := lab.Who(ctx); ok {
		e.By = p.Name
	}
	s.Log.Info("access", "what", what, "account", account, "by", e.By, "from", from)
	id, err := newID()
	if err == nil {
		err = s.save(ctx, lab.Item{Kind: kindEvent, Key: id, Expires: lab.At(s.now().Add(keepEvents))}, e)
	}
	if err != nil {
		s.Log.Error("keep an access event", "err", err)
	}
}

// Events lists what happened to accounts, newest first, 400 days back.
func (s *Service) Events(ctx context.Context) ([]LogEntry, error) {
	if err := s.Lab.May(ctx, lab.DoAccounts); err != nil {
		return nil, err
	}
	out := []LogEntry{}
	err := list(ctx, s, kindEvent, "", func(_ lab.Item, e LogEntry) { out = append(out, e) })
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out, err
}

// Sweep deletes what has expired; to be called now and then.
func (s *Service) Sweep(ctx context.Context) error { return s.Vault.Sweep(ctx, lab.At(s.now())) }
