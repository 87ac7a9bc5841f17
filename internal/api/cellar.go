package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"ullage/core/compare"
	"ullage/internal/lab"
)

// cellarRoutes answer what follows from the cellar's records; nothing of it is
// stored.
func (s *Server) cellarRoutes() {
	tags := []string{"cellar"}
	huma.Register(s.api, describe[lab.Board](s, huma.Operation{OperationID: "cellar-board", Method: http.MethodGet, Path: base + "/cellar",
		Summary: "The cellar: each tank with its batch, the last reading, its age, limit and state, and what is due", Tags: tags}),
		func(ctx context.Context, _ *struct{}) (*reply, error) {
			v, err := s.Lab.CellarBoard(ctx)
			return s.answer(v, err)
		})
	huma.Register(s.api, describe[lab.BatchMap](s, huma.Operation{OperationID: "batch-map", Method: http.MethodGet, Path: base + "/batches/{id}/map",
		Summary: "The oxygen map of a batch, from wort to its packages", Tags: tags,
		Description: "Pick-up of each step with its interval, where the readings contradict each other, blends, the closure to TPO, and what the shape of a transfer says of its cause. input is what calculation batch-map computes it from."}, 404, 422),
		func(ctx context.Context, in *idInput) (*reply, error) {
			v, err := s.Lab.BatchMap(ctx, in.ID)
			return s.answer(v, err)
		})
	huma.Register(s.api, describe[compare.WhatChanged](s, huma.Operation{OperationID: "batch-changes", Method: http.MethodGet, Path: base + "/batches/{id}/changes",
		Summary: "What changed against the last batches of the same beer", Tags: tags}, 404),
		func(ctx context.Context, in *idInput) (*reply, error) {
			v, err := s.Lab.BatchChanges(ctx, in.ID)
			return s.answer(v, err)
		})
	huma.Register(s.api, describe[lab.BrewTrend](s, huma.Operation{OperationID: "brew-trend", Method: http.MethodGet, Path: base + "/brews/trend",
		Summary: "Wort oxygenation over the brews: efficiency, what it does with time, and what the next brew may expect", Tags: tags}),
		func(ctx context.Context, _ *struct{}) (*reply, error) {
			v, err := s.Lab.BrewTrend(ctx)
			return s.answer(v, err)
		})

	type transfersInput struct {
		Step string `query:"step" default:"transfer" enum:"transfer,centrifuge,filter,carbonation,dry_hop,hold,line"`
		From string `query:"from" maxLength:"10" doc:"first day, such as 2026-11-01"`
		To   string `query:"to" maxLength:"10" doc:"last day"`
	}
	huma.Register(s.api, describe[compare.TransferList](s, huma.Operation{OperationID: "transfers", Method: http.MethodGet, Path: base + "/transfers",
		Summary: "Steps of one kind over months, side by side", Tags: tags}, 422),
		func(ctx context.Context, in *transfersInput) (*reply, error) {
			v, err := s.Lab.Transfers(ctx, in.Step, in.From, in.To)
			return s.answer(v, err)
		})
}
