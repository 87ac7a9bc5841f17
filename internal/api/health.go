package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"ullage/internal/lab"
)

// health answers 200 when the database answers.
func (s *Server) health(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), 2*time.Second)
	defer cancel()
	if err := s.Lab.Store.Ping(ctx); err != nil {
		s.Log.Error("health check", "err", err)
		writeProblem(w, newProblem(lab.Busy, "database", nil, "does not answer", "look at the server's log"))
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_ = json.NewEncoder(w).Encode(map[string]string{"status": "ok", "version": s.Version})
}

// metrics counts what an operator watches. It is written by hand in the text
// form of Prometheus: eight series do not justify a library.
type metrics struct {
	start   time.Time
	streams atomic.Int64
	mu      sync.Mutex
	writes  map[string]int64
	byCode  map[int]int64
	buckets [len(bounds) + 1]int64
	seconds float64
}

var bounds = [...]float64{0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5}

func newMetrics(now time.Time) *metrics {
	return &metrics{start: now, writes: map[string]int64{}, byCode: map[int]int64{}}
}

func (m *metrics) write(a lab.Answer) {
	status := string(a.Status)
	if a.Err != nil {
		status = string(lab.ClassOf(a.Err))
	}
	m.mu.Lock()
	m.writes[status]++
	m.mu.Unlock()
}

func (m *metrics) request(code int, d time.Duration) {
	i := 0
	for i < len(bounds) && d.Seconds() > bounds[i] {
		i++
	}
	m.mu.Lock()
	m.byCode[code]++
	m.buckets[i]++
	m.seconds += d.Seconds()
	m.mu.Unlock()
}

func (s *Server) metricsPage(w http.ResponseWriter, r *http.Request) {
	head, err := s.Lab.Store.Head(r.Context())
	if err != nil {
		writeProblem(w, problem(err))
		return
	}
	w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	m := s.metrics
	m.mu.Lock()
	defer m.mu.Unlock()
	series := func(name, kind, help string) {
		fmt.Fprintf(w, "# HELP %s %s\n# TYPE %s %s\n", name, help, name, kind)
	}
	series("ullage_http_requests_total", "counter", "Requests answered, by status; live streams not counted.")
	var total int64
	for _, code := range sortedKeys(m.byCode) {
		fmt.Fprintf(w, "ullage_http_requests_total{code=\"%d\"} %d\n", code, m.byCode[code])
		total += m.byCode[code]
	}
	series("ullage_http_request_seconds", "histogram", "Time to answer a request.")
	var sum int64
	for i, b := range bounds {
		sum += m.buckets[i]
		fmt.Fprintf(w, "ullage_http_request_seconds_bucket{le=\"%g\"} %d\n", b, sum)
	}
	fmt.Fprintf(w, "ullage_http_request_seconds_bucket{le=\"+Inf\"} %d\n", total)
	fmt.Fprintf(w, "ullage_http_request_seconds_sum %g\nullage_http_request_seconds_count %d\n", m.seconds, total)
	series("ullage_writes_total", "counter", "Writes of records, by what became of them.")
	for _, status := range sortedKeys(m.writes) {
		fmt.Fprintf(w, "ullage_writes_total{status=%q} %d\n", status, m.writes[status])
	}
	series("ullage_live_streams", "gauge", "Live streams open.")
	fmt.Fprintf(w, "ullage_live_streams %d\n", m.streams.Load())
	series("ullage_revisions", "gauge", "Position of the newest revision.")
	fmt.Fprintf(w, "ullage_revisions %d\n", head)
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	series("ullage_memory_bytes", "gauge", "Memory obtained from the system.")
	fmt.Fprintf(w, "ullage_memory_bytes %d\n", mem.Sys)
	series("ullage_goroutines", "gauge", "Goroutines.")
	fmt.Fprintf(w, "ullage_goroutines %d\n", runtime.NumGoroutine())
	series("ullage_start_time_seconds", "gauge", "When the server started, seconds since 1970.")
	fmt.Fprintf(w, "ullage_start_time_seconds %d\n", m.start.Unix())
}
