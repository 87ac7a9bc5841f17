package api

import (
	"archive/zip"
	"context"
	"io"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"ullage/internal/lab"
)

// exportRoute gives all data as one zip file.
func (s *Server) exportRoute() {
	op := huma.Operation{OperationID: "export", Method: http.MethodGet, Path: base + "/export", Tags: []string{"sync"},
		Summary:     "All data as a zip file: every revision as JSON lines, current records as CSV",
		Description: "The command import reads it into an empty database.",
		Responses: map[string]*huma.Response{"200": {Description: "OK",
			Content: map[string]*huma.MediaType{"application/zip": {Schema: &huma.Schema{Type: "string", Format: "binary"}}}}},
		Errors: []int{http.StatusForbidden, http.StatusInternalServerError}}
	huma.Register(s.api, op, func(ctx context.Context, _ *struct{}) (*huma.StreamResponse, error) {
		if err := s.Lab.May(ctx, lab.DoExport); err != nil {
			return nil, s.fail(err)
		}
		return &huma.StreamResponse{Body: func(hc huma.Context) {
			r, w := humago.Unwrap(hc)
			// A year of data takes longer than any other answer.
			_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(10 * time.Minute))
			w.Header().Set("Content-Type", "application/zip")
			w.Header().Set("Content-Disposition", `attachment; filename="ullage-export.zip"`)
			w.Header().Set("Cache-Control", "no-store")
			z := zip.NewWriter(w)
			_, err := s.Lab.Export(r.Context(), func(name string) (io.Writer, error) { return z.Create(name) })
			if err == nil {
				err = z.Close()
			}
			if err != nil {
				s.Log.Error("export", "err", err)
				panic(http.ErrAbortHandler)
			}
		}}, nil
	})
}
