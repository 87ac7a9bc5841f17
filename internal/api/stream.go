package api

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"ullage/internal/lab"
)

const (
	// heartbeat keeps proxies from closing an idle stream, and finds the dead ones.
	heartbeat = 15 * time.Second
	// slowest is how long a reader may take for one event before it is dropped;
	// it resumes from its last event id.
	slowest = 30 * time.Second
	chunk   = 500
)

// StreamParams choose where a stream begins.
type StreamParams struct {
	LastEventID string `header:"Last-Event-ID" doc:"resume after this event; sent by browsers by themselves" maxLength:"20"`
	Since       string `query:"since" doc:"start after this cursor; absent: only what is new" maxLength:"20"`
}

type runStreamInput struct {
	ID string `path:"id" maxLength:"64"`
	StreamParams
}

func (s *Server) streamRoutes() {
	stream := func(id, path, summary string) huma.Operation {
		op := huma.Operation{OperationID: id, Method: http.MethodGet, Path: base + path, Summary: summary, Tags: []string{"live"},
			Description: "Server-sent events. Each has the name revision, an id to resume from, and a Change as data."}
		op = describe[Change](s, op, 404, 422)
		op.Responses["200"].Content = map[string]*huma.MediaType{"text/event-stream": op.Responses["200"].Content["application/json"]}
		return op
	}
	huma.Register(s.api, stream("stream", "/stream", "Every new revision, live"),
		func(ctx context.Context, in *StreamParams) (*huma.StreamResponse, error) {
			return s.stream(ctx, *in, "")
		})
	huma.Register(s.api, stream("stream-run", "/runs/{id}/stream", "New revisions of one run, live"),
		func(ctx context.Context, in *runStreamInput) (*huma.StreamResponse, error) {
			if _, err := s.Lab.Get(ctx, lab.KindRuns, in.ID); err != nil {
				return nil, s.fail(err)
			}
			return s.stream(ctx, in.StreamParams, in.ID)
		})
}

func (s *Server) stream(ctx context.Context, in StreamParams, runID string) (*huma.StreamResponse, error) {
	var after int64
	var err error
	switch {
	case in.LastEventID != "":
		after, err = parseCursor("header.Last-Event-ID", in.LastEventID)
	case in.Since != "":
		after, err = parseCursor("query.since", in.Since)
	default:
		after, err = s.Lab.Store.Head(ctx)
	}
	if err != nil {
		return nil, s.fail(err)
	}
	return &huma.StreamResponse{Body: func(hc huma.Context) {
		r, w := humago.Unwrap(hc)
		w.Header().Set("Content-Type", "text/event-stream")
		w.Header().Set("Cache-Control", "no-store")
		w.Header().Set("X-Accel-Buffering", "no")
		s.metrics.streams.Add(1)
		defer s.metrics.streams.Add(-1)
		s.follow(r, w, after, runID)
	}}, nil
}

// follow writes revisions after a position until the reader leaves.
func (s *Server) follow(r *http.Request, w http.ResponseWriter, after int64, runID string) {
	ctx := r.Context()
	wake, cancel := s.Lab.Store.Subscribe()
	defer cancel()
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	rc := http.NewResponseController(w)
	send := func(text string) error {
		_ = rc.SetWriteDeadline(time.Now().Add(slowest))
		if _, err := io.WriteString(w, text); err != nil {
			return err
		}
		return rc.Flush()
	}
	if send("retry: 2000\n\n") != nil {
		return
	}
	for {
		last, err := s.sendChanges(ctx, send, after, runID)
		if err != nil {
			return
		}
		after = last
		select {
		case <-wake:
		case <-beat.C:
			// A session that ended hears nothing more.
			if s.stillIn(r) != nil || send(": still here\n\n") != nil {
				return
			}
		case <-ctx.Done():
			return
		case <-s.closing:
			return
		}
	}
}

func (s *Server) sendChanges(ctx context.Context, send func(string) error, after int64, runID string) (int64, error) {
	for {
		revs, err := s.Lab.Changes(ctx, after, runID, chunk)
		if err != nil {
			return after, err
		}
		for _, rev := range revs {
			data, err := json.Marshal(change(rev))
			if err != nil {
				return after, err
			}
			if err := send(fmt.Sprintf("id: %d\nevent: revision\ndata: %s\n\n", rev.Seq, data)); err != nil {
				return after, err
			}
			after = rev.Seq
		}
		if len(revs) < chunk {
			return after, nil
		}
	}
}
