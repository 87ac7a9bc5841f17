package lab

import (
	"context"
	"encoding/json"
	"errors"
	"time"
)

// Calculator computes the result of a shaken sample of a run. It is pure: the
// service adds when and by whom. An error means that this sample has no TPO;
// its text and faults become the result's warnings.
type Calculator func(s *Sample, run *Run) (Result, error)

// Service is the laboratory's use cases over a [Store].
type Service struct {
	Store Store
	// Now is the server's clock; nil means time.Now.
	Now func() time.Time
	// Guarded refuses whoever may not: a context must say who acts (see [As]).
	// Without it, as at the command line, whoever holds the database may.
	Guarded bool
	// Name is the server's, for the trail.
	Name string
	// Calc computes results; nil leaves samples with what the device computed.
	Calc Calculator
}

func (s *Service) now() time.Time {
	if s.Now == nil {
		return time.Now()
	}
	return s.Now()
}

// Get gives the newest revision of a record.
func (s *Service) Get(ctx context.Context, k Kind, id string) (json.RawMessage, error) {
	if err := s.May(ctx, DoRead); err != nil {
		return nil, err
	}
	rev, err := s.Store.Get(ctx, k, id)
	return rev.Body, err
}

// Revisions gives every revision of a record, oldest first.
func (s *Service) Revisions(ctx context.Context, k Kind, id string) ([]json.RawMessage, error) {
	if err := s.May(ctx, DoHistory); err != nil {
		return nil, err
	}
	revs, err := s.Store.Revisions(ctx, k, id)
	return bodies(revs), err
}

// Page is a part of a list, and where the next part begins.
type Page struct {
	Records []json.RawMessage
	Next    string // empty at the end
}

// MaxPage is the most records one page or one list of changes holds.
const MaxPage = 1000

// List gives a page of current records in order of id.
func (s *Service) List(ctx context.Context, q Query) (Page, error) {
	if err := s.May(ctx, DoRead); err != nil {
		return Page{}, err
	}
	if q.Limit < 1 || q.Limit > MaxPage {
		return Page{}, fault(Invalid, "limit", q.Limit, "cannot be outside 1 to 1000", "ask for less and follow next")
	}
	want := q.Limit
	q.Limit++
	revs, err := s.Store.List(ctx, q)
	if err != nil {
		return Page{}, err
	}
	var p Page
	if len(revs) > want {
		revs = revs[:want]
		p.Next = revs[want-1].ID
	}
	p.Records = bodies(revs)
	return p, nil
}

// all reads every current record of a query.
func (s *Service) all(ctx context.Context, q Query) ([]Revision, error) {
	q.Limit = MaxPage
	var out []Revision
	for {
		revs, err := s.Store.List(ctx, q)
		if err != nil {
			return nil, err
		}
		out = append(out, revs...)
		if len(revs) < q.Limit {
			return out, nil
		}
		q.After = revs[len(revs)-1].ID
	}
}

// View is all of one run. Cursor is a position not later than the records: a
// stream started after it misses nothing.
type View struct {
	Run     json.RawMessage
	Samples []json.RawMessage
	Events  []json.RawMessage
	Cursor  int64
}

// View reads a run with its samples and events.
func (s *Service) View(ctx context.Context, runID string) (View, error) {
	var v View
	var err error
	if err := s.May(ctx, DoRead); err != nil {
		return v, err
	}
	if v.Cursor, err = s.Store.Head(ctx); err != nil {
		return v, err
	}
	if v.Run, err = s.Get(ctx, KindRuns, runID); err != nil {
		return v, err
	}
	samples, err := s.all(ctx, Query{Kind: KindSamples, RunID: runID})
	if err != nil {
		return v, err
	}
	events, err := s.all(ctx, Query{Kind: KindEvents, RunID: runID})
	v.Samples, v.Events = bodies(samples), bodies(events)
	return v, err
}

// Changes gives revisions after a position, in order; of one run if given.
func (s *Service) Changes(ctx context.Context, after int64, runID string, limit int) ([]Revision, error) {
	if err := s.May(ctx, DoRead); err != nil {
		return nil, err
	}
	return s.Store.Changes(ctx, after, runID, limit)
}

func bodies(revs []Revision) []json.RawMessage {
	out := make([]json.RawMessage, len(revs))
	for i, r := range revs {
		out[i] = r.Body
	}
	return out
}

// read gives the newest revision decoded. Stored text was checked when it was
// written, so it is read leniently: a newer release may have added fields.
func read[T any](ctx context.Context, st Store, k Kind, id string) (*T, error) {
	rev, err := st.Get(ctx, k, id)
	if err != nil {
		return nil, err
	}
	return parse[T](rev)
}

func parse[T any](rev Revision) (*T, error) {
	v := new(T)
	if err := json.Unmarshal(rev.Body, v); err != nil {
		return nil, &Error{Class: Internal, Text: string(rev.Kind) + " " + rev.ID + " cannot be read back", Err: err}
	}
	return v, nil
}

func isNotFound(err error) bool {
	e, ok := errors.AsType[*Error](err)
	return ok && e.Class == NotFound
}

// NoSuch is the error of a store that has no such record.
func NoSuch(k Kind, id string) error {
	return fault(NotFound, "id", id, "there is no such record in "+string(k), "check the id, or send the record first")
}
