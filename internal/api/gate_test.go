package api

import (
	"context"
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
