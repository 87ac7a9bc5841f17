package api

import (
	"context"
	"encoding/json"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"ullage/core/verdict"
	"ullage/internal/lab"
)

// judgeRoutes answer what was judged; nothing of it is stored. Decisions are
// records, in the collection of that name.
func (s *Server) judgeRoutes() {
	huma.Register(s.api, describe[verdict.Report](s, huma.Operation{OperationID: "judge-run", Method: http.MethodGet,
		Path: base + "/runs/{id}/judgement", Summary: "Judge a run from its records as they stand",
		Description: "The same judgement as the command line's and the browser's: verdict of the lot and of the last set with reasons, causes, heads, held spans. The person decides: write a decision.",
		Tags:        []string{"runs"}}, 404, 422),
		func(ctx context.Context, in *idInput) (*reply, error) {
			j, err := s.Lab.JudgeRun(ctx, in.ID)
			if err != nil {
				return nil, s.fail(err)
			}
			return s.done(json.Marshal(j))
		})

	type compareInput struct {
		By       string `query:"by" required:"true" enum:"beer,format,line,head,station,month,run"`
		BeerID   string `query:"beer_id" maxLength:"64"`
		FormatID string `query:"format_id" maxLength:"64"`
		LineID   string `query:"line_id" maxLength:"64" doc:"needed by head and station"`
		From     string `query:"from" maxLength:"10" doc:"first day, such as 2026-11-01"`
		To       string `query:"to" maxLength:"10" doc:"last day"`
	}
	huma.Register(s.api, describe[lab.Comparison](s, huma.Operation{OperationID: "compare", Method: http.MethodGet,
		Path: base + "/compare", Summary: "TPO of runs side by side: by beer, format, line, head, station, month or run", Tags: []string{"runs"}}, 422),
		func(ctx context.Context, in *compareInput) (*reply, error) {
			c, err := s.Lab.Compare(ctx, lab.CompareQuery{By: in.By, BeerID: in.BeerID, FormatID: in.FormatID, LineID: in.LineID, From: in.From, To: in.To})
			if err != nil {
				return nil, s.fail(err)
			}
			return s.done(json.Marshal(c))
		})

	type monthInput struct {
		Month string `path:"month" maxLength:"7" doc:"such as 2026-11"`
	}
	huma.Register(s.api, describe[lab.Month](s, huma.Operation{OperationID: "month", Method: http.MethodGet,
		Path: base + "/months/{month}", Summary: "A month: runs as judged, capability, causes by the beer they touched", Tags: []string{"runs"}}, 422),
		func(ctx context.Context, in *monthInput) (*reply, error) {
			m, err := s.Lab.Month(ctx, in.Month)
			if err != nil {
				return nil, s.fail(err)
			}
			return s.done(json.Marshal(m))
		})
}
