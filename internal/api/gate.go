package api

import (
	"context"
	"net/http"
	"regexp"
	"runtime"
	"sync"
	"time"

	"ullage/internal/lab"
)

// costly are answers that keep a core or the disk busy for more than a moment.
var costly = regexp.MustCompile(`^/api/v1/(calc/[^/]+|export|compare|verify|buy-next|months/.*|.*/report|studies/read|imports/files(/.*)?)$`)

const (
	costlyOfOne = 8                // under way or waiting, of one sender
	costlyWait  = 20 * time.Second // for a free place, then 503
)

// gate lets few costly answers be made at once, and few of them for one sender:
// whoever asks for many waits behind himself, not before the others.
type gate struct {
	places chan struct{}
	mu     sync.Mutex
	of     map[string]int
}

func newGate() *gate {
	return &gate{places: make(chan struct{}, max(2, runtime.GOMAXPROCS(0))), of: map[string]int{}}
}

// enter waits for a place; leave gives it back.
func (g *gate) enter(ctx context.Context, sender string, wait time.Duration) (leave func(), err error) {
	g.mu.Lock()
	if g.of[sender] >= costlyOfOne {
		g.mu.Unlock()
		return nil, newProblemErr(lab.TooMany, "request", nil, "as many answers of this kind as one sender may have are being made", "wait for them, then ask again")
	}
	g.of[sender]++
	g.mu.Unlock()
	forget := func() {
		g.mu.Lock()
		defer g.mu.Unlock()
		if g.of[sender]--; g.of[sender] == 0 {
			delete(g.of, sender)
		}
	}
	late := time.NewTimer(wait)
	defer late.Stop()
	select {
	case g.places <- struct{}{}:
		return func() { <-g.places; forget() }, nil
	case <-ctx.Done():
		err = ctx.Err()
	case <-late.C:
		err = newProblemErr(lab.Busy, "request", nil, "the server has much to compute", "try again in a minute")
	}
	forget()
	return nil, err
}

// inTurn puts the gate before costly answers.
func (s *Server) inTurn(next http.Handler) http.Handler {
	g := newGate()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !costly.MatchString(r.URL.Path) {
			next.ServeHTTP(w, r)
			return
		}
		sender := s.from(r).Addr
		if p, ok := lab.Who(r.Context()); ok && p.Account != "" {
			sender = p.Account
		}
		leave, err := g.enter(r.Context(), sender, costlyWait)
		if err != nil {
			w.Header().Set("Retry-After", "20")
			writeProblem(w, problem(s.fail(err)))
			return
		}
		defer leave()
		next.ServeHTTP(w, r)
	})
}
