package lab

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"
)

// Write asks for one new revision of one record on top of BaseRev (0: create).
type Write struct {
	Kind    Kind
	ID      string // empty: the record's own
	BaseRev int
	Record  json.RawMessage
	SentAt  Time // the device's clock at sending; tells its skew
}

// Answer says what became of a write. With Err nothing was written; with a
// conflict, Err carries both versions.
type Answer struct {
	Kind     Kind
	ID       string
	Status   Status
	Record   json.RawMessage // as it now stands in the database
	Warnings []Warning
	Err      error
}

// Put writes one revision.
func (s *Service) Put(ctx context.Context, w Write) Answer {
	return s.Batch(ctx, []Write{w})[0]
}

// Batch writes each in order and answers each; one that is refused does not
// hold up the others. A later write may refer to an earlier one.
func (s *Service) Batch(ctx context.Context, ws []Write) []Answer {
	b := &batch{svc: s, pending: map[string]Record{}, known: map[string]Revision{}, runs: map[string]*Run{}, at: s.now()}
	answers := make([]Answer, len(ws))
	var revs []Revision
	var from []int
	for i, w := range ws {
		answers[i] = Answer{Kind: w.Kind, ID: w.ID}
		d, err := b.prepare(ctx, w)
		answers[i].ID = d.rev.ID
		answers[i].Warnings = d.warnings
		switch {
		case err != nil:
			answers[i].Err = err
		case d.done:
			answers[i].Status, answers[i].Record = Same, d.rev.Body
		default:
			revs, from = append(revs, d.rev), append(from, i)
		}
	}
	if len(revs) == 0 {
		return answers
	}
	outs, err := s.Store.Append(ctx, revs)
	for j, i := range from {
		if err != nil {
			answers[i].Err = err
			continue
		}
		answers[i].Status, answers[i].Record = outs[j].Status, outs[j].Current.Body
		if outs[j].Status == Clash {
			answers[i].Err = conflict(outs[j].Current, ws[i])
		}
	}
	if err == nil {
		b.followUp(ctx, outs)
		for j, i := range from {
			answers[i].Warnings = append(answers[i].Warnings, b.reopen(ctx, outs[j])...)
		}
	}
	return answers
}

func conflict(cur Revision, w Write) error {
	return &Error{Class: Conflict, Current: cur.Body, Yours: w.Record, Faults: []Fault{{
		Field: "base_rev", Value: w.BaseRev,
		Message: fmt.Sprintf("revision %d is there already, with other content", cur.Rev),
		Mend:    fmt.Sprintf("compare both, then send yours again with base_rev %d, or drop it", cur.Rev),
	}}}
}

// batch prepares writes that are to be stored together.
type batch struct {
	svc     *Service
	pending map[string]Record   // prepared, not yet stored
	known   map[string]Revision // read for this batch
	runs    map[string]*Run     // the same, decoded
	batches []*Batch            // all that stand, read for this batch of writes
	moves   []*Move             // all that stand, read for this batch
	changed []*Run              // runs whose snapshot this batch corrects
	failed  []*MeterCheck       // checks of this batch that open lots again
	at      time.Time
}

type draft struct {
	rev      Revision
	warnings []Warning
	done     bool // the same content already stands: nothing to write
}

func key(k Kind, id string) string { return string(k) + "/" + id }

// prepare applies the rules to one write and makes the revision to store.
func (b *batch) prepare(ctx context.Context, w Write) (draft, error) {
	d := draft{rev: Revision{ID: w.ID}}
	if w.BaseRev < 0 {
		return d, fault(Invalid, "base_rev", w.BaseRev, "cannot be negative", "use 0 to create, else the revision you edited")
	}
	if len(w.Record) == 0 {
		return d, fault(Malformed, "record", nil, "is missing", "send the whole record")
	}
	if err := b.svc.MayWrite(ctx, w.Kind); err != nil {
		return d, err
	}
	r, err := Decode(w.Kind, w.Record)
	if err != nil {
		return d, inRecord(err)
	}
	m := r.Base()
	if m.ID == "" {
		m.ID = w.ID
	}
	d.rev.ID = m.ID
	if w.ID != "" && m.ID != w.ID {
		return d, fault(Invalid, "record.id", m.ID, "is not the id in the address", "send "+w.ID)
	}
	stamp(ctx, m)
	if err := Check(r); err != nil {
		return d, inRecord(err)
	}
	hash := contentHash(r)
	prev, done, err := b.previous(ctx, w, m.ID, hash)
	if err != nil || done != nil {
		if done != nil {
			d.rev, d.done = *done, true
		}
		return d, err
	}
	base := w.BaseRev
	if prev != nil {
		base = prev.Base().Rev
	}
	m.Rev = base + 1
	m.ServerAt = At(b.at)
	d.warnings = b.clock(m, w.SentAt)
	more, err := b.rules(ctx, r, prev)
	if err != nil {
		return d, inRecord(err)
	}
	d.warnings = append(d.warnings, more...)
	d.rev, err = b.svc.revision(ctx, r, hash)
	if err == nil {
		b.pending[key(w.Kind, m.ID)] = r
	}
	return d, err
}

// revision makes the stored form of a record, with who writes it.
func (s *Service) revision(ctx context.Context, r Record, hash string) (Revision, error) {
	rev, err := revision(r, hash)
	p, _ := Who(ctx)
	rev.Account, rev.Via, rev.Server = p.Account, p.Via, s.Name
	return rev, err
}

// revision makes the stored form of a record.
func revision(r Record, hash string) (Revision, error) {
	m := r.Base()
	body, err := json.Marshal(r)
	if err != nil {
		return Revision{}, &Error{Class: Internal, Text: "cannot write the record as JSON", Err: err}
	}
	rev := Revision{Kind: r.Kind(), ID: m.ID, Rev: m.Rev, Hash: hash, Body: body, By: m.By,
		DeviceID: m.DeviceID, DeviceAt: m.DeviceAt, ServerAt: m.ServerAt}
	switch r := r.(type) {
	case *Run:
		rev.RunID = r.ID
		rev.Open = !r.Archived && (r.Status == "going" || r.Hold.State == "held")
	case *Sample:
		rev.RunID = r.RunID
	case *Event:
		rev.RunID = r.RunID
	case *LotDecision:
		rev.RunID = r.RunID
	case *Reading:
		rev.RunID = r.BatchID
	case *Brew:
		rev.RunID = r.BatchID
	}
	return rev, nil
}

// previous finds the revision a write builds on. done is set when the content
// already stands. Revisions that only recomputed a result do not get in the
// way of a correction typed on an older one.
func (b *batch) previous(ctx context.Context, w Write, id, hash string) (prev Record, done *Revision, err error) {
	if r, ok := b.pending[key(w.Kind, id)]; ok && r.Base().Rev == w.BaseRev {
		return r, nil, nil
	}
	if w.BaseRev == 0 && w.Kind != KindRuns {
		return nil, nil, nil // the store decides
	}
	cur, err := b.svc.Store.Get(ctx, w.Kind, id)
	if isNotFound(err) {
		if w.BaseRev == 0 {
			return nil, nil, nil
		}
		return nil, nil, fault(NotFound, "base_rev", w.BaseRev, "there is no such record here to correct",
			"send it with base_rev 0")
	}
	if err != nil {
		return nil, nil, err
	}
	if cur.Hash == hash && cur.Rev >= w.BaseRev {
		return nil, &cur, nil
	}
	if w.BaseRev > cur.Rev {
		return nil, nil, fault(Invalid, "base_rev", w.BaseRev, fmt.Sprintf("the newest revision is %d", cur.Rev),
			"read the record again")
	}
	if cur.Rev != w.BaseRev {
		revs, err := b.svc.Store.Revisions(ctx, w.Kind, id)
		if err != nil {
			return nil, nil, err
		}
		if err := clashOrSame(&cur, w, hash, revs, &done); err != nil || done != nil {
			return nil, done, err
		}
	}
	r := New(w.Kind)
	if err := json.Unmarshal(cur.Body, r); err != nil {
		return nil, nil, &Error{Class: Internal, Text: "stored record cannot be read back", Err: err}
	}
	return r, nil, nil
}

// clashOrSame decides a write on a base that is no longer the newest.
func clashOrSame(cur *Revision, w Write, hash string, revs []Revision, done **Revision) error {
	onlyRecomputed := w.BaseRev > 0
	for _, r := range revs {
		if r.Rev == w.BaseRev+1 && r.Hash == hash {
			*done = cur
			return nil
		}
		if r.Rev >= w.BaseRev && r.Hash != cur.Hash {
			onlyRecomputed = false
		}
	}
	if onlyRecomputed {
		return nil
	}
	return conflict(*cur, w)
}

// contentHash identifies what a person entered: not who, when, why or on which
// device, nor what the server adds.
func contentHash(r Record) string {
	m := r.Base()
	saved := *m
	*m = Meta{ID: saved.ID, Archived: saved.Archived}
	var undo func()
	switch r := r.(type) {
	case *Run:
		n := r.Number
		hold, stand := r.Hold, r.InForce.StandIn
		r.Number, r.InForce.StandIn = 0, nil
		r.Hold.CheckID, r.Hold.ReopenedAt = "", Time{}
		undo = func() { r.Number, r.Hold, r.InForce.StandIn = n, hold, stand }
	case *Study:
		res, ws, method, at := r.Result, r.Warnings, r.Method, r.ComputedAt
		r.Result, r.Warnings, r.Method, r.ComputedAt = nil, nil, "", Time{}
		undo = func() { r.Result, r.Warnings, r.Method, r.ComputedAt = res, ws, method, at }
	case *Sample:
		res, other, before := r.Result, r.OtherResult, r.ResultsBefore
		r.Result, r.OtherResult, r.ResultsBefore = nil, nil, nil
		undo = func() { r.Result, r.OtherResult, r.ResultsBefore = res, other, before }
	case *LotDecision:
		c := r.Chain
		r.Chain = nil
		undo = func() { r.Chain = c }
	}
	text, err := json.Marshal(r)
	*m = saved
	if undo != nil {
		undo()
	}
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:16])
}

// inRecord puts "record." before the fields of an error about a record.
func inRecord(err error) error {
	e, ok := err.(*Error)
	if !ok || (e.Class != Invalid && e.Class != Malformed) {
		return err
	}
	for i := range e.Faults {
		if e.Faults[i].Field == "body" {
			e.Faults[i].Field = "record"
		} else {
			e.Faults[i].Field = "record." + e.Faults[i].Field
		}
	}
	return e
}
