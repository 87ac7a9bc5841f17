package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"ullage/internal/lab"
)

// TrailView is all that was ever written of a record.
type TrailView struct {
	Steps []lab.TrailStep `json:"steps"`
}

// trailRoutes show who wrote what, and prove that nothing was changed since.
func (s *Server) trailRoutes() {
	type trailInput struct {
		Collection string `path:"collection" maxLength:"64"`
		ID         string `path:"id" maxLength:"64"`
	}
	tag := []string{"trail"}
	huma.Register(s.api, describe[TrailView](s, huma.Operation{OperationID: "trail", Method: http.MethodGet, Path: base + "/trail/{collection}/{id}",
		Summary: "Everything that was ever written of a record: who, when, before, after, why", Tags: tag}, 400, 401, 403, 404),
		func(ctx context.Context, in *trailInput) (*reply, error) {
			k, err := lab.ParseKind(in.Collection)
			if err != nil {
				return nil, s.fail(err)
			}
			steps, err := s.Lab.Trail(ctx, k, in.ID)
			return s.answer(TrailView{steps}, err)
		})
	type verifyInput struct {
		Head string `query:"head" doc:"a head that was kept elsewhere" maxLength:"100"`
	}
	huma.Register(s.api, describe[lab.Verified](s, huma.Operation{OperationID: "verify", Method: http.MethodGet, Path: base + "/verify",
		Summary: "Walk every revision and say where the records are not what was written", Tags: tag}, 401, 403, 422),
		func(ctx context.Context, in *verifyInput) (*reply, error) {
			if !s.verifying.TryLock() { // a walk reads everything: one at a time
				return nil, newProblem(lab.Busy, "path", "verify", "another walk is going on", "ask again in a minute")
			}
			defer s.verifying.Unlock()
			var kept []lab.ChainHead
			if in.Head != "" {
				h, err := lab.ParseChainHead(in.Head)
				if err != nil {
					return nil, s.fail(err)
				}
				kept = append(kept, h)
			}
			v, err := s.Lab.VerifyChain(ctx, kept...)
			return s.answer(v, err)
		})
}
