package api

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"ullage/internal/lab"
	"ullage/internal/store"
)

const badID = "0198c5b0-0000-4000-8000-000000000001" // version 4

func contains(part string) func(any) bool {
	return func(v any) bool { s, ok := v.(string); return ok && strings.Contains(s, part) }
}

// Each request goes to a server with the set-up of bench.setUp. A refusal must
// name the field, the value and the mend.
func TestScenarios(t *testing.T) {
	const any7 = "0198c5b0-0000-7000-8000-00000000abcd"
	tanks := "/api/v1/tanks/" + any7
	for _, c := range []struct {
		name, method, path string
		body               any
		status             int
		want               obj
	}{
		{"create", "PUT", tanks, obj{"base_rev": 0, "record": obj{"id": any7, "name": "BBT 3", "kind": "bright_tank", "volume_hl": 50}}, 200,
			obj{"status": "created", "record": obj{"id": any7, "rev": 1, "name": "BBT 3", "server_at": "2026-11-05T12:00:00.000Z"}, "warnings": []any{}}},
		{"id from the address", "PUT", tanks, obj{"base_rev": 0, "record": obj{"name": "BBT 3", "kind": "bright_tank"}}, 200,
			obj{"record": obj{"id": any7}}},
		{"server's fields are ignored", "PUT", tanks, obj{"base_rev": 0, "record": obj{"name": "T", "kind": "fermenter", "rev": 77, "server_at": "2020-01-01T00:00:00Z"}}, 200,
			obj{"record": obj{"rev": 1, "server_at": "2026-11-05T12:00:00.000Z"}}},
		{"unknown field", "PUT", tanks, obj{"base_rev": 0, "record": obj{"name": "T", "kind": "fermenter", "volume": 50}}, 422,
			obj{"errors": []any{obj{"location": "record.volume", "message": "there is no such field", "mend": contains("correct its name")}}}},
		{"unknown field of the envelope", "PUT", tanks, obj{"base_revision": 0, "record": obj{}}, 422,
			obj{"errors": []any{obj{"location": "base_revision"}}}},
		{"wrong type", "PUT", tanks, obj{"base_rev": 0, "record": obj{"name": "T", "kind": "fermenter", "volume_hl": "50"}}, 422,
			obj{"errors": []any{obj{"location": "record.volume_hl", "value": "string", "mend": "send a number"}}}},
		{"bad choice", "PUT", tanks, obj{"base_rev": 0, "record": obj{"name": "T", "kind": "bath"}}, 422,
			obj{"errors": []any{obj{"location": "record.kind", "value": "bath", "mend": "use fermenter, bright_tank, kettle_side"}}}},
		{"all faults at once", "PUT", tanks, obj{"base_rev": 0, "record": obj{"volume_hl": -1}}, 422,
			obj{"errors": []any{obj{"location": "record.name"}, obj{"location": "record.kind"}, obj{"location": "record.volume_hl", "value": -1}}}},
		{"id of another version", "PUT", "/api/v1/tanks/" + badID, obj{"base_rev": 0, "record": obj{"name": "T", "kind": "fermenter"}}, 422,
			obj{"errors": []any{obj{"location": "record.id", "value": badID, "mend": "use version 7"}}}},
		{"two ids", "PUT", tanks, obj{"base_rev": 0, "record": obj{"id": badID, "name": "T", "kind": "fermenter"}}, 422,
			obj{"errors": []any{obj{"location": "record.id", "value": badID}}}},
		{"correct what is not there", "PUT", tanks, obj{"base_rev": 3, "record": obj{"name": "T", "kind": "fermenter"}}, 404,
			obj{"errors": []any{obj{"location": "base_rev", "value": 3, "mend": "send it with base_rev 0"}}}},
		{"broken UTF-8", "PUT", tanks, "{\"base_rev\":0,\"record\":{\"name\":\"\xff\"}}", 400,
			obj{"errors": []any{obj{"location": "body", "value": "byte 32", "message": "the text is not valid UTF-8"}}}},
		{"half of JSON", "PUT", tanks, `{"base_rev":0,"record":{"na`, 400, obj{"errors": []any{obj{"location": "body"}}}},
		{"two JSON values", "PUT", tanks, `{"base_rev":0,"record":{"name":"T","kind":"fermenter"}}{}`, 400, obj{"errors": []any{obj{"location": "body"}}}},
		{"no body", "PUT", tanks, "", 400, obj{}},
		{"null", "PUT", tanks, "null", 400, obj{"errors": []any{obj{"location": "record"}}}},
		{"record null", "PUT", tanks, `{"base_rev":0,"record":null}`, 422, obj{}},
		{"a time that is none", "PUT", "/api/v1/instruments/" + any7, obj{"base_rev": 0, "record": obj{"name": "M", "kind": "scale", "last_checked_at": "yesterday"}}, 422,
			obj{"errors": []any{obj{"value": "yesterday", "mend": contains("2026-")}}}},
		{"reference to nothing", "PUT", "/api/v1/batches/" + any7, obj{"base_rev": 0, "record": obj{"code": "B1", "beer_id": any7}}, 422,
			obj{"errors": []any{obj{"location": "record.beer_id", "value": any7, "message": "there is no such record in beers"}}}},
		{"second brewery", "PUT", "/api/v1/brewery/" + any7, obj{"base_rev": 0, "record": obj{"name": "B"}}, 422,
			obj{"errors": []any{obj{"location": "record.id", "mend": "use " + lab.BreweryID}}}},
		{"red below green", "PUT", "/api/v1/limits/" + any7, obj{"base_rev": 0, "record": obj{"beer_id": "BEER", "quantity": "tpo", "single_green_ppb": 200, "single_red_ppb": 100}}, 422,
			obj{"errors": []any{obj{"location": "record.single_red_ppb", "value": 100}}}},
		{"missing record", "GET", tanks, nil, 404, obj{"title": "Not found", "errors": []any{obj{"location": "id", "value": any7}}}},
		{"missing revisions", "GET", tanks + "/revisions", nil, 404, obj{}},
		{"unknown collection", "GET", "/api/v1/kettles", nil, 404, obj{"errors": []any{obj{"location": "path"}}}},
		{"unknown query", "GET", "/api/v1/tanks?page=2", nil, 422, obj{"errors": []any{obj{"location": "query.page"}}}},
		{"limit too high", "GET", "/api/v1/tanks?limit=100000", nil, 422, obj{"errors": []any{obj{"location": "query.limit", "value": 100000}}}},
		{"cursor that is none", "GET", "/api/v1/changes?since=abc", nil, 422, obj{"errors": []any{obj{"location": "query.since", "value": "abc"}}}},
		{"calculation", "POST", "/api/v1/calc/headspace-air", obj{"tpo_ppb": 100, "beer_ml": 355}, 200, obj{"result": func(v any) bool { return v != nil }}},
		{"wort by rules, learned, with the spread of an entry", "POST", "/api/v1/calc/wort-oxygen", obj{"wort_l_min": 50, "extract_plato": 12, "temperature_c": 12, "efficiency_pct": 60, "carried_ppm": 0.5, "fills": []any{obj{"wort_hl": 25, "u": obj{"wort": "2 %"}}, obj{"wort_hl": 25, "gassed": false}}}, 200,
			obj{"result": obj{"target_ppb": 9000, "target": obj{"source": "common practice"}, "mixed_ppb": 9000}, "uncertainty": obj{"gas_nl_min": func(v any) bool { return num(v.(obj)["u"]) > 0 }}}},
		{"refused calculation", "POST", "/api/v1/calc/tpo", obj{"temperature_c": 4}, 422, obj{"error": obj{"field": "shaken_do_ppb"}}},
		{"no run", "GET", "/api/v1/runs/" + any7 + "/view", nil, 404, obj{}},
		{"too many writes", "POST", "/api/v1/batch", `{"writes":[` + strings.Repeat(`{},`, MaxWrites) + `{}]}`, 413, obj{"errors": []any{obj{"location": "writes", "value": MaxWrites + 1}}}},
		{"batch: one answer each", "POST", "/api/v1/batch", obj{"writes": []any{
			obj{"collection": "tanks", "id": any7, "base_rev": 0, "record": obj{"name": "T", "kind": "fermenter"}},
			obj{"collection": "kettles", "base_rev": 0, "record": obj{}},
			obj{"collection": "tanks", "base_rev": 0, "record": obj{"name": "no id", "kind": "fermenter"}},
			obj{"collection": "tanks", "id": any7, "base_rev": 0, "record": obj{"name": "other", "kind": "fermenter"}},
			obj{"collection": "tanks", "id": any7, "base_rev": 1, "record": obj{"name": "T2", "kind": "fermenter"}},
		}}, 200, obj{"answers": []any{
			obj{"status": "created", "id": any7, "record": obj{"rev": 1}},
			obj{"status": "refused", "problem": obj{"status": 400, "errors": []any{obj{"location": "collection", "value": "kettles"}}}},
			obj{"status": "refused", "problem": obj{"status": 422, "errors": []any{obj{"location": "record.id"}}}},
			obj{"status": "conflict", "problem": obj{"status": 409, "current": obj{"name": "T"}, "yours": obj{"name": "other"}}},
			obj{"status": "updated", "record": obj{"rev": 2, "name": "T2"}},
		}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, store.SQLiteOptions{})
			if body, ok := c.body.(obj); ok && strings.Contains(c.name, "red below") {
				b.setUp()
				body["record"].(obj)["beer_id"] = b.id("beer")
			}
			got := b.do(c.status, c.method, c.path, c.body)
			b.want(got, c.want)
			if c.status >= 400 && got["error"] == nil {
				b.want(got, obj{"status": c.status, "title": func(v any) bool { return v != "" && v != nil }})
			}
		})
	}
}

func TestBodyTooLarge(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	big := strings.Repeat("x", 10<<20)
	for path, body := range map[string]any{
		"/api/v1/tanks/" + b.id("t"): obj{"base_rev": 0, "record": obj{"note": big}},
		"/api/v1/batch":              obj{"writes": []any{}, "x": big},
	} {
		method := "PUT"
		if strings.HasSuffix(path, "batch") {
			method = "POST"
		}
		got := b.do(413, method, path, body)
		b.want(got, obj{"title": "The request is too large", "errors": []any{obj{"location": "body", "mend": contains("several parts")}}})
	}
	// Eight megabytes of batch are taken.
	rows := []any{}
	for range 1500 {
		rows = append(rows, obj{"collection": "tanks", "base_rev": 0, "record": obj{"id": b.id(strings.Repeat("r", len(rows)+1)), "name": "T",
			"kind": "fermenter", "note": strings.Repeat("n", 3500)}})
	}
	answers := b.do(200, "POST", "/api/v1/batch", obj{"writes": rows})["answers"].([]any)
	for _, a := range answers {
		b.want(a.(obj), obj{"status": "created"})
	}
}

func TestOtherSitesMayNotWrite(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	body := obj{"base_rev": 0, "record": obj{"name": "T", "kind": "fermenter"}}
	path := "/api/v1/tanks/" + b.id("t")
	resp, text := b.send("PUT", path, body, "Origin", "https://elsewhere.example")
	if resp.StatusCode != 403 || !strings.Contains(string(text), "another site") {
		t.Errorf("%d %s", resp.StatusCode, text)
	}
	resp, _ = b.send("PUT", path, body, "Content-Type", "text/plain")
	if resp.StatusCode != 415 {
		t.Errorf("a form's content type: %d", resp.StatusCode)
	}
	resp, _ = b.send("PUT", path, body, "Sec-Fetch-Site", "same-origin")
	if resp.StatusCode != 200 {
		t.Errorf("our own page: %d", resp.StatusCode)
	}
}

// A page whose name was bent to this machine cannot read.
func TestOwnHost(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.srv.Hosts = []string{"localhost", "::1"}
	h := b.srv.Handler()
	for host, want := range map[string]int{"localhost:8020": 200, "LOCALHOST": 200, "[::1]:8020": 200, "evil.example:8020": 421, "": 421} {
		r := httptest.NewRequest("GET", "/api/v1/today", nil)
		r.Host = host
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != want {
			t.Errorf("%q: %d, want %d", host, w.Code, want)
		}
	}
}

// Every link of the docs page leads somewhere on it.
func TestDocsLinks(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	_, page := b.send("GET", "/api/docs", nil)
	links := regexp.MustCompile(`href="#([^"]+)"`).FindAllStringSubmatch(string(page), -1)
	if len(links) < 50 {
		t.Errorf("%d links", len(links))
	}
	for _, l := range links {
		if !strings.Contains(string(page), `id="`+l[1]+`"`) {
			t.Errorf("#%s leads nowhere", l[1])
		}
	}
}

func TestPagesAndHeaders(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	for path, want := range map[string]struct {
		status       int
		cache, holds string
	}{
		"/":                    {200, "no-store", "app"},
		"/runs/x/sample":       {200, "no-store", "app"}, // a page of the app
		"/_app/immutable/a.js": {200, "public, max-age=31536000, immutable", "1"},
		"/service-worker.js":   {200, "no-store", "2"},
		"/missing.js":          {404, "", ""},
		"/../../etc/passwd":    {200, "no-store", "app"},
		"/healthz":             {200, "no-store", `"ok"`},
		"/metrics":             {200, "no-store", "ullage_revisions 0"},
		"/api/docs":            {200, "", "schema-Sample"},
		"/api/openapi.json":    {200, "", `"openapi": "3.1.0"`},
		"/api/nothing":         {404, "no-store", "no such route"},
	} {
		resp, text := b.send("GET", path, nil)
		if resp.StatusCode != want.status || (want.cache != "" && resp.Header.Get("Cache-Control") != want.cache) ||
			!strings.Contains(string(text), want.holds) {
			t.Errorf("%s: %d, cache %q\n%.300s", path, resp.StatusCode, resp.Header.Get("Cache-Control"), text)
		}
		for _, h := range []string{"X-Content-Type-Options", "Content-Security-Policy", "Referrer-Policy", "X-Frame-Options"} {
			if resp.Header.Get(h) == "" {
				t.Errorf("%s lacks %s", path, h)
			}
		}
	}
	resp, text := b.send("GET", "/api/v1/tanks", nil, "Accept-Encoding", "gzip")
	if resp.Header.Get("Content-Encoding") != "gzip" || http.DetectContentType(text) != "application/x-gzip" {
		t.Error("a list is not packed")
	}
}
