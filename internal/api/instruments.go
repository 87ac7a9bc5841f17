package api

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"reflect"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ullage/internal/lab"
)

// StudyReader reads a file as rows of a study; an [Importer] may be one.
type StudyReader interface {
	ReadStudy(kind, name, sheet string, columns map[string]string, body io.Reader) (lab.StudyTable, error)
}

// maxStudyFile is the largest file of readings that is taken, bytes.
const maxStudyFile = 16 << 20

// instrumentRoutes answer what is on record of instruments, what a failed check
// puts in doubt, and what studies say. Nothing here is stored.
func (s *Server) instrumentRoutes(mux *http.ServeMux) {
	tag := []string{"instruments"}
	ask := func(op huma.Operation) huma.Operation { op.Method, op.Tags = http.MethodGet, tag; return op }
	huma.Register(s.api, describe[lab.History](s, ask(huma.Operation{OperationID: "instrument-history", Path: base + "/instruments/{id}/history",
		Summary: "Checks in order with their drift, what is due, sensors, and how well it reads now"}), 404),
		func(ctx context.Context, in *idInput) (*reply, error) {
			return answerOf(ctx, s, in.ID, s.Lab.InstrumentHistory)
		})
	huma.Register(s.api, describe[lab.Consequences](s, ask(huma.Operation{OperationID: "check-consequences", Path: base + "/meter_checks/{id}/consequences",
		Summary:     "Lots that a failed check puts in doubt, judged again under the error it found",
		Description: "Both verdicts take the meter as proven, so that the found error alone makes the difference. A person decides."}), 404),
		func(ctx context.Context, in *idInput) (*reply, error) {
			return answerOf(ctx, s, in.ID, s.Lab.Consequences)
		})
	huma.Register(s.api, describe[lab.Proposal](s, ask(huma.Operation{OperationID: "study-proposal", Path: base + "/studies/{id}/proposal",
		Summary: "What a study of tare, capacity or neck would change of its lot of packages"}), 404, 422),
		func(ctx context.Context, in *idInput) (*reply, error) { return answerOf(ctx, s, in.ID, s.Lab.Propose) })

	type standInInput struct {
		FormatID  string `query:"format_id" required:"true" maxLength:"64"`
		DOMeterID string `query:"do_meter_id" maxLength:"64"`
		At        string `query:"at" maxLength:"40" doc:"start of the run; now when not said"`
	}
	huma.Register(s.api, describe[lab.StandIn](s, ask(huma.Operation{OperationID: "stand-in", Path: base + "/studies/stand_in",
		Summary: "The agreement study in force by which calculated figures may stand in, or why there is none"}), 422),
		func(ctx context.Context, in *standInInput) (*reply, error) {
			q := lab.StandInQuery{FormatID: in.FormatID, DOMeterID: in.DOMeterID}
			if err := q.At.UnmarshalJSON([]byte(strconv.Quote(in.At))); err != nil {
				return nil, newProblem(lab.Invalid, "query.at", in.At, "is not a time", "write it like 2026-11-05T09:40:00Z")
			}
			out, err := s.Lab.StandIn(ctx, q)
			return s.answer(out, err)
		})
	type pairsInput struct {
		FormatID   string    `query:"format_id" maxLength:"64"`
		DOMeterID  string    `query:"do_meter_id" maxLength:"64"`
		TPOMeterID string    `query:"tpo_meter_id" maxLength:"64"`
		From       time.Time `query:"from" doc:"runs started from then on"`
	}
	huma.Register(s.api, describe[lab.Pairs](s, ask(huma.Operation{OperationID: "study-pairs", Path: base + "/studies/pairs",
		Summary: "Packages on record that were read both ways, as rows of an agreement study"}), 422),
		func(ctx context.Context, in *pairsInput) (*reply, error) {
			out, err := s.Lab.Pairs(ctx, lab.PairsQuery{FormatID: in.FormatID, DOMeterID: in.DOMeterID, TPOMeterID: in.TPOMeterID, From: in.From})
			return s.answer(out, err)
		})
	huma.Register(s.api, describe[lab.BuyNext](s, ask(huma.Operation{OperationID: "buy-next", Path: base + "/buy-next",
		Summary: "What a better instrument or weighing would buy, over usual packages of this brewery"}), 422),
		func(ctx context.Context, _ *struct{}) (*reply, error) {
			out, err := s.Lab.BuyNext(ctx)
			return s.answer(out, err)
		})
	s.studyFileRoute(mux)
}

// answerOf answers a use case of one record.
func answerOf[T any](ctx context.Context, s *Server, id string, do func(context.Context, string) (*T, error)) (*reply, error) {
	out, err := do(ctx, id)
	return s.answer(out, err)
}

// studyFileRoute reads a file of readings, as bytes.
func (s *Server) studyFileRoute(mux *http.ServeMux) {
	const path = base + "/studies/read"
	schemas := s.api.OpenAPI().Components.Schemas
	answers := map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{
		"application/json": {Schema: schemas.Schema(reflect.TypeFor[lab.StudyTable](), true, "StudyTable")}}}}
	problems := map[string]*huma.MediaType{"application/problem+json": {Schema: schemas.Schema(reflect.TypeFor[Problem](), true, "Problem")}}
	for status, text := range map[string]string{"404": "Not Found", "413": "Request Entity Too Large", "415": "Unsupported Media Type", "422": "Unprocessable Entity"} {
		answers[status] = &huma.Response{Description: text, Content: problems}
	}
	query := func(name, text string, required bool) *huma.Param {
		return &huma.Param{Name: name, In: "query", Description: text, Required: required, Schema: &huma.Schema{Type: "string"}}
	}
	s.api.OpenAPI().AddOperation(&huma.Operation{OperationID: "read-study", Method: http.MethodPost, Path: path, Tags: []string{"instruments"},
		Summary:     "Read a CSV or XLSX file as rows of a study; nothing is stored",
		Description: "Columns may stand in any order under headings of their own. A row that cannot be read is left out and said with its line.",
		Parameters: []*huma.Param{query("kind", "agreement, tare, capacity, neck, shake, delay, line or repeatability", true), query("name", "the file's name", false),
			query("sheet", "of a workbook; the first when not said", false), query("columns", "JSON: heading to field; an empty field is not read", false)},
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/octet-stream": {Schema: &huma.Schema{Type: "string", Format: "binary"}}}},
		Responses:   answers})
	mux.HandleFunc("POST "+path, func(w http.ResponseWriter, r *http.Request) {
		text, err := s.readStudy(w, r)
		if err != nil {
			writeProblem(w, problem(err))
			return
		}
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Cache-Control", "no-store")
		_, _ = w.Write(text)
	})
}

func (s *Server) readStudy(w http.ResponseWriter, r *http.Request) ([]byte, error) {
	reader, ok := s.Import.(StudyReader)
	if !ok {
		return nil, noImports()
	}
	if t := r.Header.Get("Content-Type"); t != "application/octet-stream" {
		p := newProblem(lab.Malformed, "header.Content-Type", t, "is not application/octet-stream", "send the file's bytes and say so in the header")
		p.Status, p.Title = http.StatusUnsupportedMediaType, "The body's type is not taken"
		return nil, p
	}
	if err := s.Lab.MayWrite(r.Context(), lab.KindStudies); err != nil {
		return nil, s.fail(err)
	}
	q := r.URL.Query()
	columns := map[string]string{}
	if text := q.Get("columns"); text != "" {
		if err := lab.DecodeStrict([]byte(text), &columns); err != nil {
			return nil, newProblem(lab.Invalid, "query.columns", text, "is not JSON of heading to field", `write {"Calc TPO": "calculated_ppb"}`)
		}
	}
	table, err := reader.ReadStudy(q.Get("kind"), q.Get("name"), q.Get("sheet"), columns, http.MaxBytesReader(w, r.Body, maxStudyFile))
	if _, big := errors.AsType[*http.MaxBytesError](err); big {
		return nil, newProblem(lab.TooLarge, "file", q.Get("name"), "is larger than 16 MB", "send the sheet with the readings alone")
	}
	if err != nil {
		return nil, s.fail(err)
	}
	return json.Marshal(table)
}
