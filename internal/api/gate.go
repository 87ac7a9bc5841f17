package api

import (
	"context"
	"net/http"
	"regexp"
	"runtime"
	"strconv"
	"strings"
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

// inTurn bounds what a sender asks for, and puts the gate before costly answers.
func (s *Server) inTurn(next http.Handler) http.Handler {
	g, b := newGate(), &budget{left: map[string]*purse{}}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		sender := s.from(r).Addr
		if p, ok := lab.Who(r.Context()); ok && p.Account != "" {
			sender = p.Account
		}
		if s.Access != nil && strings.HasPrefix(r.URL.Path, base+"/") {
			if wait := b.spend(sender, time.Now()); wait > 0 {
				w.Header().Set("Retry-After", strconv.Itoa(1+int(wait.Seconds())))
				writeProblem(w, newProblem(lab.TooMany, "request", nil, "too many requests in a short time", "send less often, or many records in one batch"))
				return
			}
		}
		if !costly.MatchString(r.URL.Path) {
			next.ServeHTTP(w, r)
			return
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

// How many requests one account, or one address without an account, may send:
// far more than people and phones do, far less than a program that went wild.
const (
	mostAtOnce  = 3000
	perSecond   = 50
	mostSenders = 20000
)

// budget counts requests that a sender has left; they come back with time.
type budget struct {
	mu   sync.Mutex
	left map[string]*purse
}

type purse struct {
	n  float64
	at time.Time
}

// spend takes one request; wait is how long until there is one again.
func (b *budget) spend(sender string, now time.Time) (wait time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	p := b.left[sender]
	if p == nil {
		if len(b.left) >= mostSenders { // forget those whose purse is full again
			for k, q := range b.left {
				if now.Sub(q.at) > mostAtOnce/perSecond*time.Second {
					delete(b.left, k)
				}
			}
		}
		p = &purse{mostAtOnce, now}
		b.left[sender] = p
	}
	p.n = min(mostAtOnce, p.n+max(0, now.Sub(p.at).Seconds())*perSecond)
	p.at = now
	if p.n < 1 {
		return time.Duration((1 - p.n) / perSecond * float64(time.Second))
	}
	p.n--
	return 0
}
