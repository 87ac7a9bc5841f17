package api

import (
	"context"
	"encoding/json"
	"net/http"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"ullage/internal/lab"
)

// RunView is all of one run.
type RunView struct {
	Run     lab.Run      `json:"run"`
	Samples []lab.Sample `json:"samples"`
	Events  []lab.Event  `json:"events"`
	Cursor  string       `json:"cursor" doc:"open the stream with since set to this: nothing is missed"`
}

// TodayView is what needs someone now.
type TodayView struct {
	Now     lab.Time     `json:"now" doc:"the server's clock"`
	Runs    []lab.Run    `json:"runs" doc:"runs going on"`
	Held    []lab.Run    `json:"held" doc:"runs whose lot is on hold"`
	Due     []lab.Due    `json:"due" doc:"what is to be done, the most urgent first"`
	Results []lab.Sample `json:"results" doc:"the newest samples, newest first"`
}

// Recomputed tells how many results changed.
type Recomputed struct {
	Changed int `json:"changed"`
}

func (s *Server) runRoutes() {
	huma.Register(s.api, describe[RunView](s, huma.Operation{OperationID: "view-run", Method: http.MethodGet,
		Path: base + "/runs/{id}/view", Summary: "A run with its samples and events", Tags: []string{"runs"}}, 404),
		func(ctx context.Context, in *idInput) (*reply, error) {
			v, err := s.Lab.View(ctx, in.ID)
			if err != nil {
				return nil, s.fail(err)
			}
			return s.done(json.Marshal(struct {
				Run     json.RawMessage   `json:"run"`
				Samples []json.RawMessage `json:"samples"`
				Events  []json.RawMessage `json:"events"`
				Cursor  string            `json:"cursor"`
			}{v.Run, v.Samples, v.Events, strconv.FormatInt(v.Cursor, 10)}))
		})

	type recomputeInput struct {
		ID string `path:"id" maxLength:"64"`
		By string `query:"by" doc:"who asks" maxLength:"200"`
	}
	huma.Register(s.api, describe[Recomputed](s, huma.Operation{OperationID: "recompute-run", Method: http.MethodPost,
		Path: base + "/runs/{id}/recompute", Summary: "Compute all results of a run again; older ones are kept",
		Tags: []string{"runs"}}, 404, 503, 507),
		func(ctx context.Context, in *recomputeInput) (*reply, error) {
			n, err := s.Lab.Recompute(ctx, in.ID, in.By)
			if err != nil {
				return nil, s.fail(err)
			}
			return s.done(json.Marshal(Recomputed{n}))
		})

	huma.Register(s.api, describe[TodayView](s, huma.Operation{OperationID: "today", Method: http.MethodGet,
		Path: base + "/today", Summary: "Runs going on, lots on hold, what is due, last results", Tags: []string{"runs"}}),
		func(ctx context.Context, _ *struct{}) (*reply, error) {
			t, err := s.Lab.Today(ctx)
			if err != nil {
				return nil, s.fail(err)
			}
			return s.done(json.Marshal(t))
		})
}
