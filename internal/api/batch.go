package api

import (
	"context"
	"encoding/json"
	"net/http"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"ullage/internal/lab"
)

// MaxWrites is the most writes one batch holds.
const MaxWrites = 2000

// Writes is many writes in one request, done in order.
type Writes struct {
	SentAt lab.Time    `json:"sent_at,omitzero" doc:"the device's clock at sending"`
	Writes []WriteItem `json:"writes" maxItems:"2000"`
}

// WriteItem is one write of a batch.
type WriteItem struct {
	Collection lab.Kind `json:"collection" enum:"brewery,people,beers,formats,format_lots,limits,lines,instruments,meter_checks,studies,tanks,batches,brews,moves,readings,cellar_limits,runs,events,samples,rules,decisions"`
	ID         string   `json:"id,omitempty" doc:"empty: the record's own"`
	BaseRev    int      `json:"base_rev" minimum:"0"`
	Record     any      `json:"record"`
}

// WriteAnswers answers each write, in the order sent.
type WriteAnswers struct {
	Answers []WriteAnswer `json:"answers"`
}

// WriteAnswer answers one write: it stands (created, updated, unchanged), or
// problem says why not.
type WriteAnswer struct {
	Collection lab.Kind      `json:"collection"`
	ID         string        `json:"id"`
	Status     lab.Status    `json:"status" enum:"created,updated,unchanged,conflict,refused"`
	Record     any           `json:"record,omitempty" doc:"as it now stands"`
	Warnings   []lab.Warning `json:"warnings,omitempty"`
	Problem    *Problem      `json:"problem,omitempty"`
}

// Changes is a stretch of the database's one order of writes.
type Changes struct {
	Changes []Change `json:"changes"`
	Cursor  string   `json:"cursor" doc:"send as since to go on"`
	More    bool     `json:"more" doc:"ask again at once"`
}

// Change is one revision, where it stands in the order, and what it is of.
type Change struct {
	Cursor     string   `json:"cursor"`
	Collection lab.Kind `json:"collection"`
	Record     any      `json:"record"`
}

const refused lab.Status = "refused"

func (s *Server) batchRoutes() {
	op := describe[WriteAnswers](s, huma.Operation{OperationID: "batch", Method: http.MethodPost, Path: base + "/batch",
		Summary:     "Many writes, one answer each",
		Description: "Writes are done in order; one that is refused does not hold up the others. A later one may refer to an earlier one.",
		Tags:        []string{"sync"}, MaxBodyBytes: MaxBatch, SkipValidateBody: true}, 400, 413, 415, 422, 503, 507)
	type input struct {
		ContentType string `header:"Content-Type" hidden:"true"`
		RawBody     []byte `contentType:"application/json"`
	}
	huma.Register(s.api, op, func(ctx context.Context, in *input) (*reply, error) {
		if err := needJSON(in.ContentType); err != nil {
			return nil, err
		}
		return s.batch(ctx, in.RawBody)
	})
	takes[Writes](s, s.api.OpenAPI().Paths[op.Path].Post)

	type since struct {
		Since string `query:"since" default:"0" doc:"cursor of the answer before; 0 for everything" maxLength:"20"`
		Limit int    `query:"limit" default:"500" minimum:"1" maximum:"1000"`
	}
	huma.Register(s.api, describe[Changes](s, huma.Operation{OperationID: "changes", Method: http.MethodGet,
		Path: base + "/changes", Summary: "All new revisions after a cursor", Tags: []string{"sync"}}, 422),
		func(ctx context.Context, in *since) (*reply, error) { return s.changes(ctx, in.Since, in.Limit) })
}

func (s *Server) batch(ctx context.Context, body []byte) (*reply, error) {
	var req struct {
		SentAt lab.Time   `json:"sent_at,omitzero"`
		Writes []envelope `json:"writes"`
	}
	if err := lab.DecodeStrict(body, &req); err != nil {
		return nil, s.fail(err)
	}
	if len(req.Writes) > MaxWrites {
		return nil, newProblem(lab.TooLarge, "writes", len(req.Writes), "too many writes in one batch",
			"send at most "+strconv.Itoa(MaxWrites)+" at once")
	}
	answers := make([]WriteAnswer, len(req.Writes))
	var writes []lab.Write
	var from []int
	for i, e := range req.Writes {
		answers[i] = WriteAnswer{Collection: lab.Kind(e.Collection), ID: e.ID}
		k, err := lab.ParseKind(e.Collection)
		if err != nil {
			answers[i].Status, answers[i].Problem = refused, problem(err)
			continue
		}
		sent := e.SentAt
		if sent.IsZero() {
			sent = req.SentAt
		}
		writes = append(writes, lab.Write{Kind: k, ID: e.ID, BaseRev: e.BaseRev, Record: e.Record, SentAt: sent})
		from = append(from, i)
	}
	for j, a := range s.Lab.Batch(ctx, writes) {
		s.metrics.write(a)
		answers[from[j]] = s.batchAnswer(a)
	}
	// A full disk or a stopped database is not one write's fault: say so at the
	// top, so that a phone keeps everything and tries again later.
	for _, a := range answers {
		if a.Problem != nil && a.Problem.Status >= 500 {
			return nil, a.Problem
		}
	}
	return s.done(json.Marshal(WriteAnswers{answers}))
}

func (s *Server) batchAnswer(a lab.Answer) WriteAnswer {
	out := WriteAnswer{Collection: a.Kind, ID: a.ID, Status: a.Status, Warnings: a.Warnings}
	if a.Err != nil {
		_ = s.fail(a.Err) // logs the server's own failures
		out.Problem = problem(a.Err)
		out.Status = refused
		if lab.ClassOf(a.Err) == lab.Conflict {
			out.Status = lab.Clash
		}
		return out
	}
	out.Record = a.Record
	return out
}

func (s *Server) changes(ctx context.Context, since string, limit int) (*reply, error) {
	after, err := parseCursor("query.since", since)
	if err != nil {
		return nil, err
	}
	revs, err := s.Lab.Changes(ctx, after, "", limit)
	if err != nil {
		return nil, s.fail(err)
	}
	out := Changes{Changes: make([]Change, len(revs)), Cursor: strconv.FormatInt(after, 10), More: len(revs) == limit}
	for i, r := range revs {
		out.Changes[i] = change(r)
		out.Cursor = out.Changes[i].Cursor
	}
	return s.done(json.Marshal(out))
}

func change(r lab.Revision) Change {
	return Change{Cursor: strconv.FormatInt(r.Seq, 10), Collection: r.Kind, Record: r.Body}
}

func parseCursor(field, s string) (int64, error) {
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < 0 {
		return 0, newProblem(lab.Invalid, field, s, "is not a cursor", "send back the cursor of an answer, or 0")
	}
	return n, nil
}
