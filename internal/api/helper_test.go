package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/uuid"

	"ullage/core/calc"
	"ullage/internal/lab"
	"ullage/internal/store"
)

var noon = time.Date(2026, 11, 5, 12, 0, 0, 0, time.UTC)

// bench is a server with an empty database and a clock that stands.
type bench struct {
	*testing.T
	srv  *Server
	http *httptest.Server
	mu   sync.Mutex
	ids  map[string]string
	now  atomic.Pointer[time.Time]
}

type table struct{}

func (table) List() ([]byte, error) { return json.Marshal(calc.List()) }
func (table) Run(name string, in []byte) ([]byte, error) {
	return []byte(calc.RunText(name, string(in))), nil
}

func newBench(t *testing.T, opt store.SQLiteOptions) *bench {
	t.Helper()
	st, err := store.OpenSQLite(context.Background(), filepath.Join(t.TempDir(), "ullage.db"), opt)
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{T: t, ids: map[string]string{}}
	b.now.Store(&noon)
	b.srv = &Server{Lab: &lab.Service{Store: st, Calc: lab.TPO, Now: func() time.Time { return *b.now.Load() }},
		Calc: table{}, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		Web: fstest.MapFS{"index.html": {Data: []byte("<h1>app</h1>")}, "_app/immutable/a.js": {Data: []byte("1")}, "service-worker.js": {Data: []byte("2")}}}
	b.http = httptest.NewServer(b.srv.Handler())
	t.Cleanup(func() { b.srv.Shutdown(); b.http.Close(); st.Close() })
	return b
}

// id gives the same new id for the same name.
func (b *bench) id(name string) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.ids[name] == "" {
		b.ids[name] = uuid.Must(uuid.NewV7()).String()
	}
	return b.ids[name]
}

type obj = map[string]any

// send makes a request; a body that is no string or bytes is sent as JSON.
func (b *bench) send(method, path string, body any, header ...string) (*http.Response, []byte) {
	b.Helper()
	var r io.Reader
	switch v := body.(type) {
	case nil:
	case string:
		r = bytes.NewReader([]byte(v))
	case []byte:
		r = bytes.NewReader(v)
	default:
		text, err := json.Marshal(v)
		if err != nil {
			b.Fatal(err)
		}
		r = bytes.NewReader(text)
	}
	req, err := http.NewRequest(method, b.http.URL+path, r)
	if err != nil {
		b.Fatal(err)
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		b.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		b.Fatal(err)
	}
	return resp, text
}

// do sends and decodes; the status must be the one wanted.
func (b *bench) do(status int, method, path string, body any) obj {
	b.Helper()
	resp, text := b.send(method, path, body)
	if resp.StatusCode != status {
		b.Fatalf("%s %s: status %d, want %d\n%s", method, path, resp.StatusCode, status, text)
	}
	var got obj
	if err := json.Unmarshal(text, &got); err != nil {
		b.Fatalf("%s %s: %v\n%s", method, path, err, text)
	}
	return got
}

// put writes a record of the collection under the named id.
func (b *bench) put(status int, collection, name string, baseRev int, record obj) obj {
	b.Helper()
	id := b.id(name)
	if collection == "brewery" {
		id = lab.BreweryID
	}
	record["id"] = id
	return b.do(status, "PUT", "/api/v1/"+collection+"/"+id, obj{"base_rev": baseRev, "record": record})
}

// setUp enters what a run needs and starts one, "run".
func (b *bench) setUp() {
	b.Helper()
	b.put(200, "beers", "beer", 0, obj{"name": "Vellumrook", "sg": 1.010, "co2_vol": 2.45, "abv_pct": 5.4})
	b.put(200, "formats", "can", 0, obj{"name": "Can 355", "kind": "can", "nominal_ml": 355})
	b.put(200, "format_lots", "lot", 0, obj{"format_id": b.id("can"), "name": "May", "from": "2026-05-01", "capacity_ml": 373.5,
		"capacity_sd_ml": 0.7, "capacity_source": "lot", "tare_g": 13.4, "tare_sd_g": 0.12})
	b.put(200, "limits", "limit", 0, obj{"beer_id": b.id("beer"), "quantity": "tpo", "mean_green_ppb": 110, "single_red_ppb": 200})
	b.put(200, "lines", "line", 0, obj{"name": "C6", "heads": 6, "stations": 2, "sample_every_min": 30})
	b.put(200, "runs", "run", 0, b.run())
}

func (b *bench) run() obj {
	return obj{"beer_id": b.id("beer"), "format_id": b.id("can"), "line_id": b.id("line"), "status": "going",
		"started_at": "2026-11-05T11:00:00Z"}
}

func (b *bench) sample(doPpb float64) obj {
	return obj{"run_id": b.id("run"), "kind": "shaken", "head": 1, "closed_at": "2026-11-05T11:40:00Z",
		"taken_at": "2026-11-05T11:50:00Z", "by": "Quality tech", "tare_source": "lot",
		"raw":    obj{"do_ppb": fmt.Sprint(doPpb), "gross_g": "372.6", "temperature_c": "4"},
		"inputs": obj{"do_ppb": doPpb, "gross_g": 372.6, "temperature_c": 4, "shake_min": 5}}
}

// has compares a part of decoded JSON: each field of want must be in got.
func has(got, want any, at string) []string {
	switch want := want.(type) {
	case obj:
		g, ok := got.(obj)
		if !ok {
			return []string{fmt.Sprintf("%s is %v, want an object", at, got)}
		}
		var bad []string
		for k, v := range want {
			bad = append(bad, has(g[k], v, at+"."+k)...)
		}
		return bad
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(want) {
			return []string{fmt.Sprintf("%s is %v, want %d items", at, got, len(want))}
		}
		var bad []string
		for i := range want {
			bad = append(bad, has(g[i], want[i], fmt.Sprintf("%s[%d]", at, i))...)
		}
		return bad
	case func(any) bool:
		if !want(got) {
			return []string{fmt.Sprintf("%s is %v, which will not do", at, got)}
		}
		return nil
	case int:
		return has(got, float64(want), at)
	}
	if got != want {
		return []string{fmt.Sprintf("%s is %v, want %v", at, got, want)}
	}
	return nil
}

func (b *bench) want(got obj, want obj) {
	b.Helper()
	for _, bad := range has(got, want, "answer") {
		b.Error(bad)
	}
}
