package api

import (
	"context"
	"encoding/json"
	"net/http"
	"unicode/utf8"

	"github.com/danielgtaylor/huma/v2"

	"ullage/internal/lab"
)

// CalcAnswer is what a calculation answers: result, or error.
type CalcAnswer struct {
	Result     any           `json:"result,omitempty"`
	Warnings   []lab.Warning `json:"warnings,omitempty"`
	Derivation []any         `json:"derivation,omitempty"`
	Error      *CalcError    `json:"error,omitempty"`
}

// CalcError says what keeps a calculation from an answer.
type CalcError struct {
	Kind    string `json:"kind"`
	Field   string `json:"field,omitempty"`
	Value   any    `json:"value,omitempty"`
	Message string `json:"message"`
	Mend    string `json:"mend,omitempty"`
}

func (s *Server) calcRoutes() {
	type input struct {
		Name        string `path:"name" maxLength:"64"`
		ContentType string `header:"Content-Type" hidden:"true"`
		RawBody     []byte `contentType:"application/json"`
	}
	op := describe[CalcAnswer](s, huma.Operation{OperationID: "calc", Method: http.MethodPost, Path: base + "/calc/{name}",
		Summary:     "Run a named calculation; nothing is stored",
		Description: "The same table as the command line's and the browser's. A refused input answers 422 with error.",
		Tags:        []string{"calc"}, MaxBodyBytes: MaxRecord, SkipValidateBody: true}, 400, 404, 413, 415, 429, 503)
	huma.Register(s.api, op, func(_ context.Context, in *input) (*reply, error) {
		if err := needJSON(in.ContentType); err != nil {
			return nil, err
		}
		return s.calc(in.Name, in.RawBody)
	})
	takes[map[string]any](s, s.api.OpenAPI().Paths[op.Path].Post)

	huma.Register(s.api, describe[any](s, huma.Operation{OperationID: "list-calc", Method: http.MethodGet, Path: base + "/calc",
		Summary: "The named calculations, with their fields", Tags: []string{"calc"}}),
		func(context.Context, *struct{}) (*reply, error) {
			if s.Calc == nil {
				return nil, noCalc("")
			}
			return s.done(s.Calc.List())
		})
}

func noCalc(name string) error {
	return newProblem(lab.NotFound, "path.name", name, "there is no such calculation", "GET "+base+"/calc lists them")
}

func (s *Server) calc(name string, body []byte) (*reply, error) {
	if s.Calc == nil {
		return nil, noCalc(name)
	}
	if !utf8.Valid(body) {
		return nil, newProblem(lab.Malformed, "body", nil, "the text is not valid UTF-8", "send the text encoded as UTF-8")
	}
	out, err := s.Calc.Run(name, body)
	if err != nil {
		return nil, s.fail(err)
	}
	var e struct {
		Error *struct {
			Kind string `json:"kind"`
		} `json:"error"`
	}
	status := http.StatusOK
	if json.Unmarshal(out, &e) == nil && e.Error != nil {
		status = http.StatusUnprocessableEntity
	}
	return jsonReply(status, out), nil
}
