package api

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"ullage/internal/lab"
	"ullage/internal/store"
)

// speed is a server on SQLite with a run to write samples into.
func speed(b *testing.B) (url, run string, sample func() (id string, body []byte), client *http.Client) {
	st, err := store.OpenSQLite(context.Background(), filepath.Join(b.TempDir(), "ullage.db"), store.SQLiteOptions{})
	if err != nil {
		b.Fatal(err)
	}
	service := &lab.Service{Store: st, Calc: lab.TPO}
	s := &Server{Lab: service, Log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	srv := httptest.NewServer(s.Handler())
	b.Cleanup(func() { s.Shutdown(); srv.Close(); st.Close() })
	id := func() string { return uuid.Must(uuid.NewV7()).String() }
	beer, format, line, run := id(), id(), id(), id()
	for _, w := range []lab.Write{
		{Kind: lab.KindBeers, Record: json.RawMessage(`{"id":"` + beer + `","name":"Vellumrook","sg":1.01}`)},
		{Kind: lab.KindFormats, Record: json.RawMessage(`{"id":"` + format + `","name":"Can","kind":"can","nominal_ml":355}`)},
		{Kind: lab.KindLines, Record: json.RawMessage(`{"id":"` + line + `","name":"C6","heads":6}`)},
		{Kind: lab.KindRuns, Record: json.RawMessage(`{"id":"` + run + `","beer_id":"` + beer + `","format_id":"` + format + `","line_id":"` + line +
			`","status":"going","started_at":"2026-11-05T06:30:00Z","in_force":{"capacity_ml":373.5,"capacity_sd_ml":0.7,"tare_g":13.4,"tare_sd_g":0.12}}`)},
	} {
		if a := service.Put(context.Background(), w); a.Err != nil {
			b.Fatal(a.Err)
		}
	}
	sample = func() (string, []byte) {
		id := id()
		return id, []byte(`{"base_rev":0,"sent_at":"` + time.Now().UTC().Format(time.RFC3339Nano) + `","record":{"id":"` + id + `","run_id":"` + run +
			`","set_no":3,"head":4,"station":1,"kind":"shaken","closed_at":"2026-11-05T06:40:00Z","taken_at":"2026-11-05T06:55:00Z","by":"Quality tech",` +
			`"device_id":"phone-1","device_at":"2026-11-05T06:55:02Z","raw":{"temperature_c":"4","gross_g":"372.6","do_ppb":"48","shake_min":"5"},` +
			`"inputs":{"temperature_c":4,"gross_g":372.6,"do_ppb":48,"shake_min":5},"tare_source":"lot"}}`)
	}
	return srv.URL, run, sample, &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 100}}
}

// BenchmarkSampleWrites: 50 clients over HTTP, each sample checked, computed
// and durable before its answer. Clients and server share the machine.
func BenchmarkSampleWrites(b *testing.B) {
	url, _, sample, client := speed(b)
	took := make([]time.Duration, b.N)
	var next atomic.Int64
	var wg sync.WaitGroup
	b.ResetTimer()
	start := time.Now()
	for range 50 {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < b.N; i = int(next.Add(1)) - 1 {
				id, body := sample()
				t0 := time.Now()
				if err := send(client, url+"/api/v1/samples/"+id, body); err != "" {
					b.Error(err)
					return
				}
				took[i] = time.Since(t0)
			}
		})
	}
	wg.Wait()
	total := time.Since(start)
	slices.Sort(took)
	b.ReportMetric(float64(b.N)/total.Seconds(), "writes/s")
	b.ReportMetric(float64(took[b.N/2].Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(took[b.N*99/100].Microseconds())/1000, "p99-ms")
}

func send(client *http.Client, url string, body []byte) string {
	req, err := http.NewRequest("PUT", url, bytes.NewReader(body))
	if err != nil {
		return err.Error()
	}
	req.Header.Set("Content-Type", "application/json")
	resp, err := client.Do(req)
	if err != nil {
		return err.Error()
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != 200 || !strings.Contains(string(text), `"tpo_ppb":`) {
		return string(text)
	}
	return ""
}

// BenchmarkRunView reads a run of 5,000 samples over HTTP, packed.
func BenchmarkRunView(b *testing.B) {
	url, run, sample, client := speed(b)
	for range 5 {
		var writes []json.RawMessage
		for range 1000 {
			_, body := sample()
			writes = append(writes, bytes.Replace(body, []byte(`{`), []byte(`{"collection":"samples",`), 1))
		}
		body, err := json.Marshal(map[string]any{"writes": writes})
		if err != nil {
			b.Fatal(err)
		}
		resp, err := client.Post(url+"/api/v1/batch", "application/json", bytes.NewReader(body))
		if err != nil || resp.StatusCode != 200 {
			b.Fatal(resp, err)
		}
		resp.Body.Close()
	}
	var n int64
	for b.Loop() {
		resp, err := client.Get(url + "/api/v1/runs/" + run + "/view")
		if err != nil {
			b.Fatal(err)
		}
		n, err = io.Copy(io.Discard, resp.Body)
		resp.Body.Close()
		if err != nil || n < 1_000_000 {
			b.Fatal(n, err)
		}
	}
	b.ReportMetric(float64(n)/1e6, "MB")
}
