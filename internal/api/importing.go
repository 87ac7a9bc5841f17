package api

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"reflect"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ullage/internal/lab"
)

// Importer reads old logs; internal/ingest is one.
type Importer interface {
	// Receive stores a file and proposes how to read it.
	Receive(ctx context.Context, name, zone string, body io.Reader) (lab.ImportUpload, error)
	// Preview reads a whole file under a mapping, and writes nothing.
	Preview(ctx context.Context, id string, m lab.ImportMapping) (lab.ImportPreview, error)
	// Confirm begins to write a file.
	Confirm(ctx context.Context, id string, m lab.ImportMapping, by string) (lab.ImportProgress, error)
	// Undo begins to archive what an import wrote.
	Undo(ctx context.Context, importID, by, reason string) (lab.ImportProgress, error)
	// Progress tells how far either is.
	Progress(ctx context.Context, importID string) (lab.ImportProgress, error)
}

// ConfirmImport asks for a file to be written.
type ConfirmImport struct {
	Mapping lab.ImportMapping `json:"mapping"`
	By      string            `json:"by" doc:"who imports: id of a person, or a name"`
}

// UndoImport asks for an import to be undone.
type UndoImport struct {
	By     string `json:"by" doc:"who undoes it"`
	Reason string `json:"reason" doc:"why; it stands on every record"`
}

const imports = base + "/imports"

// importRoutes adds the import of old logs. A file is sent, read under a mapping
// as often as a person likes, confirmed once, and may be undone.
func (s *Server) importRoutes(mux *http.ServeMux) {
	s.receiveRoute(mux)
	tag := []string{"imports"}
	huma.Register(s.api, describe[List[lab.Import]](s, huma.Operation{OperationID: "list-imports", Method: http.MethodGet, Path: imports,
		Summary: "List imports", Tags: tag}, 422), func(ctx context.Context, in *ListParams) (*reply, error) {
		return s.list(ctx, lab.KindImports, *in, "")
	})
	huma.Register(s.api, describe[lab.Import](s, huma.Operation{OperationID: "get-import", Method: http.MethodGet, Path: imports + "/{id}",
		Summary: "Read one import", Tags: tag}, 404), func(ctx context.Context, in *idInput) (*reply, error) {
		body, err := s.Lab.Get(ctx, lab.KindImports, in.ID)
		return s.done(body, err)
	})
	importing[lab.ImportMapping, lab.ImportPreview](s, huma.Operation{OperationID: "preview-import", Path: imports + "/files/{id}/preview",
		Summary: "Read a file under a mapping; nothing is written", Description: "A mapping without columns is proposed anew for its header row, sheet, separator and target.", Tags: tag},
		func(ctx context.Context, id string, m lab.ImportMapping) (lab.ImportPreview, error) {
			return s.Import.Preview(ctx, id, m)
		})
	importing[ConfirmImport, lab.ImportProgress](s, huma.Operation{OperationID: "confirm-import", Path: imports + "/files/{id}/confirm",
		Summary: "Write a file as one import", Description: "Answers when the writing has begun; ask for its progress. The same file under the same mapping makes the same records.", Tags: tag},
		func(ctx context.Context, id string, in ConfirmImport) (lab.ImportProgress, error) {
			return s.Import.Confirm(ctx, id, in.Mapping, in.By)
		})
	importing[UndoImport, lab.ImportProgress](s, huma.Operation{OperationID: "undo-import", Path: imports + "/{id}/undo",
		Summary: "Archive everything an import wrote", Description: "Nothing is deleted: each record gets a revision with who and why.", Tags: tag},
		func(ctx context.Context, id string, in UndoImport) (lab.ImportProgress, error) {
			return s.Import.Undo(ctx, id, in.By, in.Reason)
		})
	huma.Register(s.api, describe[lab.ImportProgress](s, huma.Operation{OperationID: "import-progress", Method: http.MethodGet,
		Path: imports + "/{id}/progress", Summary: "How far an import, or its undo, is", Tags: tag}, 404),
		func(ctx context.Context, in *idInput) (*reply, error) {
			if err := s.mayImport(ctx); err != nil {
				return nil, err
			}
			p, err := s.Import.Progress(ctx, in.ID)
			return s.answer(p, err)
		})
}

func (s *Server) mayImport(ctx context.Context) error {
	if err := s.Lab.May(ctx, lab.DoImport); err != nil {
		return s.fail(err)
	}
	if s.Import != nil {
		return nil
	}
	return noImports()
}

func noImports() error {
	return newProblem(lab.NotFound, "path", imports, "this server does not import logs", "ask its operator")
}

// importing is a POST that reads In strictly and answers Out.
func importing[In, Out any](s *Server, op huma.Operation, do func(context.Context, string, In) (Out, error)) {
	op.Method, op.MaxBodyBytes, op.SkipValidateBody = http.MethodPost, MaxRecord, true
	op = describe[Out](s, op, 400, 404, 409, 413, 415, 422, 503, 507)
	huma.Register(s.api, op, func(ctx context.Context, in *raw) (*reply, error) {
		if err := s.mayImport(ctx); err != nil {
			return nil, err
		}
		if err := needJSON(in.ContentType); err != nil {
			return nil, err
		}
		var body In
		if err := lab.DecodeStrict(in.RawBody, &body); err != nil {
			return nil, s.fail(err)
		}
		out, err := do(ctx, in.ID, body)
		return s.answer(out, err)
	})
	takes[In](s, s.api.OpenAPI().Paths[op.Path].Post)
}

func (s *Server) answer(v any, err error) (*reply, error) {
	if err != nil {
		return nil, s.fail(err)
	}
	return s.done(json.Marshal(v))
}

// receiveRoute takes a file as it is, without holding it in memory.
func (s *Server) receiveRoute(mux *http.ServeMux) {
	schemas := s.api.OpenAPI().Components.Schemas
	answers := map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{
		"application/json": {Schema: schemas.Schema(reflect.TypeFor[lab.ImportUpload](), true, "ImportUpload")}}}}
	problems := map[string]*huma.MediaType{"application/problem+json": {Schema: schemas.Schema(reflect.TypeFor[Problem](), true, "Problem")}}
	for status, text := range map[string]string{"413": "Request Entity Too Large", "415": "Unsupported Media Type", "422": "Unprocessable Entity", "500": "Internal Server Error", "507": "Insufficient Storage"} {
		answers[status] = &huma.Response{Description: text, Content: problems}
	}
	s.api.OpenAPI().AddOperation(&huma.Operation{OperationID: "receive-import", Method: http.MethodPost, Path: imports + "/files",
		Summary: "Send a CSV or XLSX file; it is read, not written", Tags: []string{"imports"},
		Description: "Answers with a proposed mapping, the questions it leaves open, and a preview with the faults of each row. The file is kept for a day.",
		Parameters: []*huma.Param{
			{Name: "name", In: "query", Description: "the file's name", Schema: &huma.Schema{Type: "string"}},
			{Name: "time_zone", In: "query", Description: "IANA name, proposed where the brewery has none", Schema: &huma.Schema{Type: "string"}}},
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/octet-stream": {Schema: &huma.Schema{Type: "string", Format: "binary"}}}},
		Responses:   answers})
	mux.HandleFunc("POST "+imports+"/files", func(w http.ResponseWriter, r *http.Request) {
		if err := s.mayImport(r.Context()); err != nil {
			writeProblem(w, problem(err))
			return
		}
		if t := r.Header.Get("Content-Type"); t != "application/octet-stream" {
			p := newProblem(lab.Malformed, "header.Content-Type", t, "is not application/octet-stream", "send the file's bytes and say so in the header")
			p.Status, p.Title = http.StatusUnsupportedMediaType, "The body's type is not taken"
			writeProblem(w, p)
			return
		}
		// A large file over a brewery's Wi-Fi takes longer than any other request.
		rc := http.NewResponseController(w)
		_ = rc.SetReadDeadline(time.Now().Add(15 * time.Minute))
		_ = rc.SetWriteDeadline(time.Now().Add(20 * time.Minute))
		up, err := s.Import.Receive(r.Context(), r.URL.Query().Get("name"), r.URL.Query().Get("time_zone"), r.Body)
		if err != nil {
			writeProblem(w, problem(s.fail(err)))
			return
		}
		text, err := json.Marshal(up)
		if err != nil {
			writeProblem(w, problem(s.fail(err)))
			return
		}
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Cache-Control", "no-store")
		_, _ = w.Write(text)
	})
}
