package api

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"

	"ullage/internal/lab"
	"ullage/internal/store"
)

// What a client says of itself counts only where a proxy alone reaches the server.
func TestForwardedHeaders(t *testing.T) {
	l := newLocked(t)
	headers := []string{"X-Forwarded-Proto", "https", "X-Forwarded-For", "203.0.113.7", "X-Real-IP", "203.0.113.7"}
	resp, _ := l.ask("new", "POST", "/session", obj{"name": "boss", "password": pass}, headers...)
	if c := resp.Cookies(); len(c) != 1 || c[0].Name != "ullage" || resp.Header.Get("Strict-Transport-Security") != "" {
		t.Errorf("cookies %v, HSTS %q", c, resp.Header.Get("Strict-Transport-Security"))
	}
	r := httptest.NewRequest("GET", "/", nil)
	r.RemoteAddr = "10.0.0.5:4000"
	r.Header.Set("X-Forwarded-For", "198.51.100.1, 203.0.113.7")
	if got := l.srv.from(r).Addr; got != "10.0.0.5" {
		t.Errorf("from %s", got)
	}
	l.srv.Proxy = true
	if got := l.srv.from(r).Addr; got != "203.0.113.7" {
		t.Errorf("behind a proxy: from %s, want what the proxy itself saw", got)
	}
	resp, _ = l.send("GET", "/", nil, "X-Forwarded-Proto", "https")
	if got := resp.Header.Get("Strict-Transport-Security"); got != "max-age=31536000; includeSubDomains" {
		t.Errorf("HSTS %q", got)
	}
}

// No answer lets another site's page read it, and no preflight allows one.
func TestNoOtherOrigins(t *testing.T) {
	l := newLocked(t)
	for _, path := range []string{"/", "/api/openapi.json", base + "/calc", base + "/runs", base + "/session", "/healthz"} {
		for _, method := range []string{"GET", "OPTIONS"} {
			resp, _ := l.send(method, path, nil, "Origin", "https://evil.example", "Access-Control-Request-Method", "PUT", "Access-Control-Request-Headers", "content-type")
			for name := range resp.Header {
				if strings.HasPrefix(name, "Access-Control-") {
					t.Errorf("%s %s: %s: %s", method, path, name, resp.Header.Get(name))
				}
			}
			if method == "OPTIONS" && resp.StatusCode < 400 {
				t.Errorf("OPTIONS %s: %d", path, resp.StatusCode)
			}
		}
	}
	if resp, _ := l.send("TRACE", "/", nil, "Cookie", "ullage=x"); resp.StatusCode < 400 {
		t.Errorf("TRACE: %d", resp.StatusCode)
	}
}

// Every answer says what it is, and text says its characters' encoding.
func TestContentTypes(t *testing.T) {
	l := newLocked(t)
	l.srv.Web = fstest.MapFS{"index.html": {Data: []byte("<h1>app</h1>")}, "mark.svg": {Data: []byte("<svg/>")}, "a.css": {Data: []byte("a{}")}, "a.js": {Data: []byte("1")},
		"app.webmanifest": {Data: []byte("{}")}, "core.wasm": {Data: []byte("\x00asm")}, "a.png": {Data: []byte("\x89PNG\r\n\x1a\n")}, "a.woff2": {Data: []byte("wOF2")}}
	l.http.Config.Handler = l.srv.Handler()
	paths := []string{"/", "/mark.svg", "/a.css", "/a.js", "/app.webmanifest", "/core.wasm", "/a.png", "/a.woff2", "/missing.js", "/healthz", "/metrics", "/api/docs", "/api/openapi.json", "/api/none"}
	for _, op := range operations(t, l.srv) {
		if op[0] == "GET" && !strings.HasSuffix(op[1], "stream") {
			paths = append(paths, filled(op[1], l.id("x")))
		}
	}
	for _, path := range paths {
		for _, name := range []string{"boss", "nobody"} {
			req, _ := http.NewRequest("GET", l.http.URL+path, nil)
			resp, err := l.browser(name).Do(req)
			if err != nil {
				t.Fatal(err)
			}
			body, _ := io.ReadAll(resp.Body)
			resp.Body.Close()
			kind, with, err := mime.ParseMediaType(resp.Header.Get("Content-Type"))
			text := strings.HasPrefix(kind, "text/") || strings.HasSuffix(kind, "+xml") || strings.HasSuffix(kind, "/xml")
			if len(body) > 0 && (err != nil || text && !strings.EqualFold(with["charset"], "utf-8")) {
				t.Errorf("%s for %s: %q, %v", path, name, resp.Header.Get("Content-Type"), err)
			}
			if isJSON := json.Valid(body) && len(body) > 1 && body[0] == '{'; strings.HasPrefix(path, base) && resp.StatusCode != 200 && (kind != "application/problem+json" || !isJSON) {
				t.Errorf("%s for %s: %d %s %.100s", path, name, resp.StatusCode, kind, body)
			}
		}
	}
}

// A request that says its length in two ways is read in one, or refused: what
// follows it is never taken for another request.
func TestSmuggling(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	const hidden = "GET /api/v1/hidden HTTP/1.1\r\nHost: x\r\n\r\n"
	for what, head := range map[string]string{
		"both":            fmt.Sprintf("Content-Length: %d\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", len("0\r\n\r\n")+len(hidden)),
		"two lengths":     fmt.Sprintf("Content-Length: 0\r\nContent-Length: %d\r\n\r\n", len(hidden)),
		"an odd encoding": "Transfer-Encoding: chunked, identity\r\nContent-Length: 4\r\n\r\n",
		"a sign":          "Content-Length: +0\r\n\r\n",
		"a folded header": "Transfer-Encoding:\r\n chunked\r\nContent-Length: 3\r\n\r\n",
	} {
		conn, err := net.Dial("tcp", strings.TrimPrefix(b.http.URL, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(conn, "POST /api/v1/calc/tpo HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n%s%s", head, hidden)
		_ = conn.(*net.TCPConn).CloseWrite()
		in := bufio.NewReader(conn)
		first, err := http.ReadResponse(in, nil)
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		_, _ = io.Copy(io.Discard, first.Body)
		rest, _ := io.ReadAll(in)
		conn.Close()
		// With both, chunked counts (RFC 9112, 6.3) and Go closes after it or answers what truly follows.
		if what != "both" && (first.StatusCode != http.StatusBadRequest && first.StatusCode != http.StatusNotImplemented || len(rest) > 0) {
			t.Errorf("%s: %s, then %.60q", what, first.Status, rest)
		}
		if what == "both" && len(rest) > 0 && !strings.HasPrefix(string(rest), "HTTP/1.1 404") {
			t.Errorf("%s: %s, then %.60q", what, first.Status, rest)
		}
	}
}

// The log says who asked what, from where and with what outcome, in one line
// whatever the address holds.
func TestLogLines(t *testing.T) {
	l := newLocked(t)
	l.person("reader", lab.RoleRead)
	var log strings.Builder
	l.srv.Log = slog.New(slog.NewJSONHandler(&log, nil))
	l.as(403, "reader", "GET", "/accounts", nil)
	l.as(401, "nobody", "GET", "/runs", nil)
	l.as(404, "boss", "GET", "/none%0a%7B%22msg%22:%22forged%22%7D%0d%0a", nil)
	l.as(422, "boss", "PUT", "/beers/"+l.id("x"), obj{"base_rev": 0, "record": obj{"name": ""}})
	var got []string
	for _, line := range strings.Split(strings.TrimSpace(log.String()), "\n") {
		var e struct {
			Time, Msg, Request, Method, Path, Account, From string
			Status                                          int
		}
		if err := json.Unmarshal([]byte(line), &e); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		if e.Msg == "forged" || e.Time == "" || !strings.ContainsAny(e.Time, "Z+") {
			t.Errorf("%s", line)
		}
		if e.Msg == "request" {
			got = append(got, fmt.Sprint(e.Status, " ", e.Account, " ", e.From != "" && len(e.Request) == 16))
		}
	}
	if want := "[403 reader true 401  true 404 boss true 422 boss true]"; fmt.Sprint(got) != want {
		t.Errorf("%v, want %s", got, want)
	}
}

// brokenTable fails in the way a fault of ours would.
type brokenTable struct{ table }

func (brokenTable) Run(string, []byte) ([]byte, error) { panic("secret insides at 0xc000") }

// A fault of the server's own is logged with its insides and answered without;
// what it was about is not done, and the next request is served.
func TestPanicIsCaught(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	var log strings.Builder
	b.srv.Log = slog.New(slog.NewJSONHandler(&log, nil))
	b.srv.Calc = brokenTable{}
	resp, text := b.send("POST", base+"/calc/tpo", obj{})
	if resp.StatusCode != 500 || resp.Header.Get("Content-Type") != "application/problem+json" || strings.Contains(string(text), "secret") || strings.Contains(string(text), "goroutine") {
		t.Errorf("%d %s", resp.StatusCode, text)
	}
	if id := resp.Header.Get("X-Request-Id"); !strings.Contains(log.String(), "secret insides") || !strings.Contains(log.String(), id) {
		t.Errorf("the log: %s", log.String())
	}
	if resp, _ := b.send("GET", base+"/calc", nil); resp.StatusCode != 200 {
		t.Errorf("the next request: %d", resp.StatusCode)
	}
	for i, f := range []error{fmt.Errorf("open /var/lib/ullage: secret"), &lab.Error{Class: lab.Internal, Err: fmt.Errorf("SELECT secret"), Faults: []lab.Fault{{Message: "secret"}}}} {
		if p, _ := json.Marshal(problem(f)); strings.Contains(string(p), "secret") {
			t.Errorf("%d: %s", i, p)
		}
	}
}
