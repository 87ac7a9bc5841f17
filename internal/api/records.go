package api

import (
	"context"
	"encoding/json"
	"errors"
	"mime"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"ullage/internal/lab"
)

const base = "/api/v1"

func (s *Server) collections() {
	collection[lab.Brewery](s, lab.KindBrewery, "the brewery (one record)", ofNothing)
	collection[lab.Person](s, lab.KindPeople, "people", ofNothing)
	collection[lab.Beer](s, lab.KindBeers, "beers", ofNothing)
	collection[lab.Format](s, lab.KindFormats, "package formats", ofNothing)
	collection[lab.FormatLot](s, lab.KindFormatLots, "tare and capacity of a lot of packages", ofNothing)
	collection[lab.Limit](s, lab.KindLimits, "limits", ofNothing)
	collection[lab.Line](s, lab.KindLines, "filling lines", ofNothing)
	collection[lab.Instrument](s, lab.KindInstruments, "instruments", ofNothing)
	collection[lab.MeterCheck](s, lab.KindMeterChecks, "checks of instruments", ofNothing)
	collection[lab.Study](s, lab.KindStudies, "studies of methods and packages", ofNothing)
	collection[lab.Tank](s, lab.KindTanks, "tanks", ofNothing)
	collection[lab.Batch](s, lab.KindBatches, "batches", ofNothing)
	collection[lab.Brew](s, lab.KindBrews, "brews with their wort oxygenation", ofBatch)
	collection[lab.Move](s, lab.KindMoves, "moves of liquid between vessels", ofNothing)
	collection[lab.Reading](s, lab.KindReadings, "DO readings in the process", ofBatch)
	collection[lab.CellarLimit](s, lab.KindCellarLimits, "limits of points and budgets of steps", ofNothing)
	collection[lab.Run](s, lab.KindRuns, "packaging runs", ofNothing)
	collection[lab.Event](s, lab.KindEvents, "events of a run", ofRun)
	collection[lab.Sample](s, lab.KindSamples, "samples of a run", ofRun)
	collection[lab.RuleSet](s, lab.KindRules, "rules by which limits are applied", ofNothing)
	collection[lab.LotDecision](s, lab.KindDecisions, "decisions on lots", ofRun)
}

// ListParams choose a page.
type ListParams struct {
	After string `query:"after" doc:"next of the page before" maxLength:"64"`
	Limit int    `query:"limit" default:"100" minimum:"1" maximum:"1000"`
	Order string `query:"order" default:"oldest" enum:"oldest,newest" doc:"by id, which is by the making device's clock"`
}

type listOfRun struct {
	ListParams
	RunID string `query:"run_id" doc:"only records of this run" maxLength:"64"`
}

type listOfBatch struct {
	ListParams
	BatchID string `query:"batch_id" doc:"only records of this batch" maxLength:"64"`
}

// owner is what the records of a collection belong to, and can be listed by.
type owner int

const (
	ofNothing owner = iota
	ofRun
	ofBatch
)

type idInput struct {
	ID string `path:"id" maxLength:"64"`
}

// collection makes the four routes every kind of record has.
func collection[T any](s *Server, k lab.Kind, what string, of owner) {
	path, tag := base+"/"+string(k), []string{string(k)}
	list := describe[List[T]](s, huma.Operation{OperationID: "list-" + dashed(k), Method: http.MethodGet,
		Path: path, Summary: "List " + what, Tags: tag}, 422)
	switch of {
	case ofRun:
		huma.Register(s.api, list, func(ctx context.Context, in *listOfRun) (*reply, error) {
			return s.list(ctx, k, in.ListParams, in.RunID)
		})
	case ofBatch:
		huma.Register(s.api, list, func(ctx context.Context, in *listOfBatch) (*reply, error) {
			return s.list(ctx, k, in.ListParams, in.BatchID)
		})
	default:
		huma.Register(s.api, list, func(ctx context.Context, in *ListParams) (*reply, error) {
			return s.list(ctx, k, *in, "")
		})
	}
	huma.Register(s.api, describe[T](s, huma.Operation{OperationID: "get-" + dashed(k), Method: http.MethodGet,
		Path: path + "/{id}", Summary: "Read one of " + what, Tags: tag}, 404),
		func(ctx context.Context, in *idInput) (*reply, error) {
			body, err := s.Lab.Get(ctx, k, in.ID)
			return s.done(body, err)
		})
	huma.Register(s.api, describe[History[T]](s, huma.Operation{OperationID: "revisions-" + dashed(k), Method: http.MethodGet,
		Path: path + "/{id}/revisions", Summary: "Every revision, oldest first", Tags: tag}, 404),
		func(ctx context.Context, in *idInput) (*reply, error) {
			revs, err := s.Lab.Revisions(ctx, k, in.ID)
			if err != nil {
				return nil, s.fail(err)
			}
			return s.done(json.Marshal(map[string]any{"revisions": revs}))
		})
	put := describe[Stored[T]](s, huma.Operation{OperationID: "put-" + dashed(k), Method: http.MethodPut,
		Path: path + "/{id}", Summary: "Write a new revision of one of " + what, Tags: tag, MaxBodyBytes: MaxRecord, SkipValidateBody: true},
		400, 404, 409, 413, 415, 422, 503, 507)
	huma.Register(s.api, put, func(ctx context.Context, in *raw) (*reply, error) { return s.put(ctx, k, in) })
	takes[Put[T]](s, s.api.OpenAPI().Paths[put.Path].Put)
}

func dashed(k lab.Kind) string { return strings.ReplaceAll(string(k), "_", "-") }

func (s *Server) list(ctx context.Context, k lab.Kind, in ListParams, runID string) (*reply, error) {
	p, err := s.Lab.List(ctx, lab.Query{Kind: k, RunID: runID, After: in.After, Limit: in.Limit, Desc: in.Order == "newest"})
	if err != nil {
		return nil, s.fail(err)
	}
	return s.done(json.Marshal(struct {
		Records []json.RawMessage `json:"records"`
		Next    string            `json:"next,omitempty"`
	}{p.Records, p.Next}))
}

// envelope is a write as it arrives.
type envelope struct {
	Collection string          `json:"collection,omitempty"`
	ID         string          `json:"id,omitempty"`
	BaseRev    int             `json:"base_rev"`
	SentAt     lab.Time        `json:"sent_at,omitzero"`
	Record     json.RawMessage `json:"record"`
}

func (s *Server) put(ctx context.Context, k lab.Kind, in *raw) (*reply, error) {
	if err := needJSON(in.ContentType); err != nil {
		return nil, err
	}
	var e struct {
		BaseRev int             `json:"base_rev"`
		SentAt  lab.Time        `json:"sent_at,omitzero"`
		Record  json.RawMessage `json:"record"`
	}
	if err := lab.DecodeStrict(in.RawBody, &e); err != nil {
		return nil, s.fail(err)
	}
	a := s.Lab.Put(ctx, lab.Write{Kind: k, ID: in.ID, BaseRev: e.BaseRev, Record: e.Record, SentAt: e.SentAt})
	s.metrics.write(a)
	if a.Err != nil {
		return nil, s.fail(a.Err)
	}
	return s.done(json.Marshal(stored(a)))
}

func stored(a lab.Answer) any {
	if a.Warnings == nil {
		a.Warnings = []lab.Warning{}
	}
	return struct {
		Status   lab.Status      `json:"status"`
		Record   json.RawMessage `json:"record"`
		Warnings []lab.Warning   `json:"warnings"`
	}{a.Status, a.Record, a.Warnings}
}

// needJSON refuses what a form of another site could send without asking.
func needJSON(contentType string) error {
	if t, _, err := mime.ParseMediaType(contentType); err == nil && t == "application/json" {
		return nil
	}
	p := newProblem(lab.Malformed, "header.Content-Type", contentType, "is not application/json", "send JSON and say so in the header")
	p.Status, p.Title = http.StatusUnsupportedMediaType, "The body's type is not taken"
	return p
}

func (s *Server) done(body []byte, err error) (*reply, error) {
	if err != nil {
		return nil, s.fail(err)
	}
	return jsonReply(http.StatusOK, body), nil
}

// fail makes the answer of an error, and logs what is the server's own.
func (s *Server) fail(err error) error {
	p := problem(err)
	if p.Status >= 500 && !errors.Is(err, context.Canceled) { // a reader that left is no failure
		s.Log.Error("request failed", "status", p.Status, "err", err)
	}
	return p
}
