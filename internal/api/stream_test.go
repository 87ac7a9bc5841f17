package api

import (
	"bufio"
	"net/http"
	"strings"
	"testing"
	"time"

	"ullage/internal/store"
)

// events reads a stream until it has n events, then hangs up.
func (b *bench) events(path string, n int, header ...string) (ids, data []string) {
	b.Helper()
	req, err := http.NewRequestWithContext(b.Context(), "GET", b.http.URL+path, nil)
	if err != nil {
		b.Fatal(err)
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		b.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != 200 || resp.Header.Get("Content-Type") != "text/event-stream" {
		b.Fatalf("stream: %d %s", resp.StatusCode, resp.Header.Get("Content-Type"))
	}
	timer := time.AfterFunc(5*time.Second, func() { resp.Body.Close() })
	defer timer.Stop()
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 1<<20)
	for len(data) < n && lines.Scan() {
		if id, ok := strings.CutPrefix(lines.Text(), "id: "); ok {
			ids = append(ids, id)
		}
		if d, ok := strings.CutPrefix(lines.Text(), "data: "); ok {
			data = append(data, d)
		}
	}
	if len(data) < n {
		b.Fatalf("%d events of %d", len(data), n)
	}
	return ids, data
}

// A run is followed live; after a break the stream goes on where it was, and
// nothing between the view and the stream is missed.
func TestStream(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	b.put(200, "samples", "0", 0, b.sample(40))
	view := b.do(200, "GET", "/api/v1/runs/"+b.id("run")+"/view", nil)
	b.put(200, "samples", "1", 0, b.sample(41)) // between view and stream
	b.id("2")
	go func() {
		time.Sleep(50 * time.Millisecond)
		s := b.sample(42)
		s["id"] = b.id("2")
		b.do(200, "PUT", "/api/v1/samples/"+b.id("2"), obj{"base_rev": 0, "record": s})
	}()
	path := "/api/v1/runs/" + b.id("run") + "/stream"
	ids, data := b.events(path+"?since="+view["cursor"].(string), 2)
	if !strings.Contains(data[0], b.id("1")) || !strings.Contains(data[1], b.id("2")) {
		t.Errorf("%v", data)
	}
	b.put(200, "tanks", "t", 0, obj{"name": "not of this run", "kind": "fermenter"})
	b.put(200, "events", "e", 0, obj{"run_id": b.id("run"), "kind": "stop", "at": "2026-11-05T11:58:00Z"})
	_, data = b.events(path, 2, "Last-Event-ID", ids[0])
	if !strings.Contains(data[0], b.id("2")) || !strings.Contains(data[1], `"collection":"events"`) {
		t.Errorf("after the break: %v", data)
	}
	_, data = b.events("/api/v1/stream?since=0", 10)
	if !strings.Contains(data[0], `"collection":"beers"`) {
		t.Errorf("from the start: %v", data[0])
	}
	resp, _ := b.send("GET", path, nil, "Last-Event-ID", "abc")
	if resp.StatusCode != 422 {
		t.Errorf("a bad Last-Event-ID: %d", resp.StatusCode)
	}
}
