package api

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"ullage/internal/lab"
)

// slowTable computes until it is let go, and counts how many at once.
type slowTable struct {
	table
	mu       sync.Mutex
	at, most int
	begun    chan struct{}
	go2      chan struct{}
}

func (s *slowTable) Run(string, []byte) ([]byte, error) {
	s.mu.Lock()
	s.at++
	s.most = max(s.most, s.at)
	s.mu.Unlock()
	s.begun <- struct{}{}
	<-s.go2
	s.mu.Lock()
	s.at--
	s.mu.Unlock()
	return []byte(`{"result":{}}`), nil
}

// One sender has a few costly answers under way, and the server no more at once
// than it can make; everything else is answered meanwhile.
func TestCostlyAnswersTakeTurns(t *testing.T) {
	slow := &slowTable{begun: make(chan struct{}, 100), go2: make(chan struct{})}
	h := (&Server{Lab: &lab.Service{}, Calc: slow}).Handler()
	ask := func(addr, path string) int {
		r := httptest.NewRequest(http.MethodPost, path, strings.NewReader("{}"))
		r.Header.Set("Content-Type", "application/json")
		r.RemoteAddr = addr + ":1"
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w.Code
	}
	codes := make(chan int, 100)
	for range 30 {
		go func() { codes <- ask("10.0.0.9", "/api/v1/calc/tpo") }()
	}
	for range 30 - costlyOfOne { // refused at once, all but the few
		if c := <-codes; c != http.StatusTooManyRequests {
			t.Errorf("status %d", c)
		}
	}
	go func() { codes <- ask("10.0.0.10", "/api/v1/calc/tpo") }() // another sender waits, and is served
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/api/v1/calc", nil))
	if w.Code != 200 {
		t.Errorf("the list of calculations meanwhile: %d", w.Code)
	}
	close(slow.go2)
	for range costlyOfOne + 1 {
		if c := <-codes; c != 200 {
			t.Errorf("status %d", c)
		}
	}
	if g := newGate(); slow.most > cap(g.places) {
		t.Errorf("%d at once, of %d places", slow.most, cap(g.places))
	}
}

func TestCostlyWaitEnds(t *testing.T) {
	g := newGate()
	for range cap(g.places) {
		g.places <- struct{}{}
	}
	if _, err := g.enter(t.Context(), "a", time.Millisecond); lab.ClassOf(err) != lab.Busy {
		t.Errorf("a server that stays busy: %v", err)
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := g.enter(gone, "a", time.Hour); err == nil || len(g.of) != 0 {
		t.Errorf("a sender that left: %v, %v", err, g.of)
	}
}

// An account has a budget of requests that comes back with time; another's is
// its own.
func TestRequestsAreBounded(t *testing.T) {
	b := &budget{left: map[string]*purse{}}
	now := noon
	for i := range mostAtOnce {
		if b.spend("a", now) > 0 {
			t.Fatalf("refused after %d", i)
		}
	}
	if w := b.spend("a", now); w <= 0 || w > time.Second {
		t.Errorf("beyond the budget: wait %v", w)
	}
	if b.spend("b", now) > 0 {
		t.Error("one sender's requests count for another")
	}
	now = now.Add(2 * time.Second)
	n := 0
	for b.spend("a", now) == 0 {
		n++
	}
	if n != 2*perSecond {
		t.Errorf("%d requests came back in two seconds", n)
	}
	if b.spend("a", now.Add(-time.Hour)) <= 0 {
		t.Error("a clock set back gives requests")
	}
	for i := range mostSenders + 10 {
		b.spend(fmt.Sprint("many ", i), now.Add(time.Duration(i)*time.Second))
	}
	if len(b.left) > mostSenders {
		t.Errorf("%d senders are remembered", len(b.left))
	}

	l := newLocked(t)
	refused := 0
	for range mostAtOnce + 500 {
		r := httptest.NewRequest("GET", base+"/session", nil)
		w := httptest.NewRecorder()
		l.http.Config.Handler.ServeHTTP(w, r)
		if w.Code == http.StatusTooManyRequests && w.Header().Get("Retry-After") != "" {
			refused++
		}
	}
	if refused == 0 {
		t.Error("no request of many was refused")
	}
	l.as(200, "boss", "GET", "/runs", nil) // who is signed in is another sender
}
