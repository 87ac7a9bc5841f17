package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ullage/internal/access"
	"ullage/internal/lab"
	"ullage/internal/store"
)

// operations lists method and path of every operation of the description.
func operations(t *testing.T, s *Server) (out [][2]string) {
	t.Helper()
	text, err := s.OpenAPI()
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Paths map[string]map[string]json.RawMessage `json:"paths"`
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	for path, ops := range doc.Paths {
		for method := range ops {
			out = append(out, [2]string{strings.ToUpper(method), path})
		}
	}
	if len(out) < 60 {
		t.Fatalf("only %d operations", len(out))
	}
	return out
}

func filled(path, with string) string {
	for strings.Contains(path, "{") {
		a, b := strings.Index(path, "{"), strings.Index(path, "}")
		path = path[:a] + with + path[b+1:]
	}
	return path
}

// malformed are bodies that no operation can take.
func malformed() map[string][]byte {
	deep := strings.Repeat("[", 20000)
	return map[string][]byte{
		"nothing": {}, "half": []byte(`{"base_rev":`), "null": []byte("null"), "a list": []byte("[]"), "text": []byte(`"x"`), "a number": []byte("1e999"),
		"deep": []byte(`{"record":` + deep + `}`), "deep objects": []byte(strings.Repeat(`{"record":`, 20000)), "not UTF-8": {'{', '"', 0xff, 0xfe, '"', ':', '1', '}'},
		"NUL": []byte("{\"record\":{\"name\":\"\x00\"}}"), "escaped NUL": []byte(`{"base_rev":0,"record":{"id":"\u0000","name":"\u0000\ud800"}}`),
		"twice": []byte(`{"base_rev":0}{"base_rev":0}`), "unknown": []byte(`{"drop":"table"}`), "huge number": []byte(`{"base_rev":99999999999999999999,"record":{}}`),
		"negative": []byte(`{"base_rev":-1,"record":{}}`), "wrong types": []byte(`{"base_rev":"0","record":"x","writes":{},"mapping":[],"name":[],"password":1}`),
		"empty": []byte(`{}`), "XML": []byte(`<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><x>&a;</x>`),
		"a prototype": []byte(`{"__proto__":{"admin":true},"constructor":{"prototype":{}}}`),
	}
}

// Every operation refuses every malformed body with a problem, never with a
// failure of the server's own, and nothing is stored.
func TestMalformedEverywhere(t *testing.T) {
	for name, s := range map[string]func(*testing.T) *bench{"open": func(t *testing.T) *bench { return newBench(t, store.SQLiteOptions{}) },
		"nobody": func(t *testing.T) *bench { return newLocked(t).bench },
		"signed in": func(t *testing.T) *bench {
			l := newLocked(t)
			was := http.DefaultClient
			http.DefaultClient = l.browser("boss")
			t.Cleanup(func() { http.DefaultClient = was })
			return l.bench
		}} {
		t.Run(name, func(t *testing.T) {
			b := s(t)
			head, _ := b.srv.Lab.Store.Head(t.Context())
			n := 0
			for _, op := range operations(t, b.srv) {
				if op[0] == "GET" || op[1] == base+"/session/end" || op[1] == base+"/me/end-sessions" {
					continue // the two take {} and end the session of this test
				}
				for what, body := range malformed() {
					resp, text := b.send(op[0], filled(op[1], lab.BreweryID), body)
					n++
					harmless := resp.StatusCode == 200 && (op[1] == base+"/batch" || strings.HasPrefix(op[1], base+"/calc/") || strings.HasPrefix(op[1], base+"/session") || strings.HasPrefix(op[1], base+"/me/") || strings.HasSuffix(op[1], "/recompute"))
					if resp.StatusCode >= 500 || resp.StatusCode < 400 && !harmless {
						t.Errorf("%s %s with %s: %d %.200s", op[0], op[1], what, resp.StatusCode, text)
					}
					if resp.StatusCode >= 400 && !strings.HasPrefix(op[1], base+"/calc/") && resp.Header.Get("Content-Type") != "application/problem+json" {
						t.Errorf("%s %s with %s: %s", op[0], op[1], what, resp.Header.Get("Content-Type"))
					}
				}
			}
			if after, _ := b.srv.Lab.Store.Head(t.Context()); after != head {
				t.Errorf("%d revisions were stored", after-head)
			}
			t.Logf("%d malformed requests", n)
		})
	}
}

// nasty is what is tried in every place where text goes in.
var nasty = []string{`'; DROP TABLE revision; --`, `" OR 1=1 --`, `1 UNION SELECT body FROM vault`, `<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `{{7*7}}${7*7}`,
	`../../../../etc/passwd`, `..\..\windows\win.ini`, `%2e%2e%2fetc%2fpasswd`, "a\r\nSet-Cookie: x=1", `=HYPERLINK("http://x")`, "\u202e", strings.Repeat("A", 5000), "%00", `C:\`, "-1", "9e99"}

// Every parameter of every read takes nasty text without failing, and no answer
// is a page that a browser would run.
func TestNastyParameters(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	text, err := b.srv.OpenAPI()
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Paths map[string]map[string]struct {
			Parameters []struct{ Name, In string }
		}
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	n := 0
	for path, ops := range doc.Paths {
		op, ok := ops["get"]
		if !ok || strings.HasSuffix(path, "stream") {
			continue
		}
		for _, p := range op.Parameters {
			for _, evil := range nasty {
				url := filled(path, b.id("run"))
				switch p.In {
				case "query":
					url += "?" + p.Name + "=" + escaped(evil)
				case "path":
					url = filled(path, escaped(evil))
				default:
					continue
				}
				resp, text := b.send("GET", url, nil)
				n++
				if resp.StatusCode >= 500 {
					t.Errorf("%s: %d %.200s", url, resp.StatusCode, text)
				}
				if ct := resp.Header.Get("Content-Type"); strings.HasPrefix(ct, "text/html") && strings.Contains(string(text), evil) && strings.Contains(evil, "<") || resp.Header.Get("X-Content-Type-Options") != "nosniff" {
					t.Errorf("%s: %s, %s", url, ct, resp.Header.Get("X-Content-Type-Options"))
				}
				if strings.Contains(string(text), "root:") || resp.Header.Get("Set-Cookie") != "" {
					t.Errorf("%s: %.200s %v", url, text, resp.Header)
				}
			}
		}
	}
	if n < 500 {
		t.Errorf("only %d requests", n)
	}
	t.Logf("%d requests", n)
}

func escaped(text string) string {
	var out strings.Builder
	for i := range len(text) {
		fmt.Fprintf(&out, "%%%02X", text[i])
	}
	return out.String()
}

// Text that would be SQL, HTML or a formula elsewhere is text here: it comes
// back as it was sent, and the tables are still there.
func TestInjectionIsText(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	for i, evil := range nasty {
		if len(evil) > 200 || strings.ContainsAny(evil, "\r\n") {
			continue
		}
		name := fmt.Sprint("beer ", i)
		b.want(b.put(200, "beers", name, 0, obj{"name": evil, "by": evil}), obj{"record": obj{"name": evil, "by": evil}})
		b.want(b.do(200, "GET", base+"/beers/"+b.id(name), nil), obj{"name": evil})
	}
	if got := b.do(200, "GET", base+"/beers", nil); len(got["records"].([]any)) < 10 {
		t.Errorf("%v", got)
	}
	resp, text := b.send("GET", "/api/docs", nil)
	if resp.StatusCode != 200 || bytes.Contains(text, []byte("<script")) {
		t.Errorf("the docs page has a script, or none: %d", resp.StatusCode)
	}
}

// No address leads out of the embedded app.
func TestPathTraversal(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	for _, path := range []string{"/../../etc/passwd", "/..%2f..%2fetc%2fpasswd", "/%2e%2e/%2e%2e/etc/passwd", "/_app/../../../etc/passwd", "/....//....//etc/passwd", "/..\\..\\etc\\passwd",
		"/%5c..%5c..%5cetc%5cpasswd", "/etc/passwd%00.js", "//etc/passwd", "/index.html/../../../etc/passwd", "/.git/config", "/ullage.db", "/../ullage.db"} {
		conn, err := net.Dial("tcp", strings.TrimPrefix(b.http.URL, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(conn, "GET %s HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n", path) // as it stands, not tidied by a client
		text, err := io.ReadAll(conn)
		conn.Close()
		if err != nil || strings.Contains(string(text), "root:") || strings.Contains(string(text), "SQLite format") {
			t.Errorf("%s: %v %.200s", path, err, text)
		}
	}
}

// Ten megabytes are refused everywhere, without being kept in memory or stored.
func TestTenMegabytes(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	big := []byte(`{"base_rev":0,"record":{"name":"` + strings.Repeat("x", 10<<20) + `"}}`)
	for _, op := range operations(t, b.srv) {
		if op[0] == "GET" || op[1] == imports+"/files" || strings.HasSuffix(op[1], "/read") || strings.HasPrefix(op[1], base+"/studies/") {
			continue
		}
		resp, err := http.DefaultClient.Do(mustRequest(t, op[0], b.http.URL+filled(op[1], b.id("x")), bytes.NewReader(big)))
		if err != nil { // the server hung up in the middle, which is a refusal too
			continue
		}
		resp.Body.Close()
		if resp.StatusCode < 400 || resp.StatusCode >= 500 {
			if strings.HasSuffix(op[1], "/recompute") { // takes no body
				continue
			}
			t.Errorf("%s %s: %d", op[0], op[1], resp.StatusCode)
		}
	}
	if head, _ := b.srv.Lab.Store.Head(t.Context()); head != 0 {
		t.Errorf("%d revisions were stored", head)
	}
}

func mustRequest(t *testing.T, method, url string, body io.Reader) *http.Request {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, url, body)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/json")
	return req
}

// A thousand clients at once: each writes its sample and reads it back.
func TestThousandClients(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	client := &http.Client{Timeout: 60 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: 1000}}
	var good atomic.Int64
	var wg sync.WaitGroup
	for i := range 1000 {
		name := fmt.Sprint("sample ", i)
		id := b.id(name)
		record := b.sample(40 + float64(i%20))
		record["id"] = id
		body, err := json.Marshal(obj{"base_rev": 0, "record": record})
		if err != nil {
			t.Fatal(err)
		}
		wg.Go(func() {
			req := mustRequest(t, "PUT", b.http.URL+base+"/samples/"+id, bytes.NewReader(body))
			resp, err := client.Do(req)
			if err != nil {
				t.Error(err)
				return
			}
			_, _ = io.Copy(io.Discard, resp.Body)
			resp.Body.Close()
			if resp.StatusCode == 200 {
				good.Add(1)
			}
		})
	}
	wg.Wait()
	if good.Load() != 1000 {
		t.Errorf("%d of 1000 were stored", good.Load())
	}
	if v, err := b.srv.Lab.VerifyChain(t.Context()); err != nil || len(v.Broken) > 0 || v.Revisions < 1000 {
		t.Errorf("%+v, %v", v, err)
	}
}

// Clients that send a byte now and then, and readers that do not read, keep
// nobody else from being served.
func TestSlowClients(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	addr := strings.TrimPrefix(b.http.URL, "http://")
	for i := range 300 {
		conn, err := net.Dial("tcp", addr)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		switch i % 3 {
		case 0:
			fmt.Fprintf(conn, "GET /api/v1/runs HTTP/1.1\r\nHo")
		case 1:
			fmt.Fprintf(conn, "PUT /api/v1/beers/%s HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 100000\r\n\r\n{", b.id("x"))
		case 2:
			fmt.Fprintf(conn, "GET /api/v1/stream HTTP/1.1\r\nHost: x\r\n\r\n")
		}
	}
	start := time.Now()
	b.setUp()
	if took := time.Since(start); took > 5*time.Second {
		t.Errorf("six writes took %v beside 300 slow clients", took)
	}
}

// A server's clock that jumps back a year and ahead ten: the order of writes
// stays, nothing is lost, and no session lives longer for it.
func TestClockJumps(t *testing.T) {
	l := newLocked(t)
	l.person("tech", lab.RoleRead, lab.RoleEnter, lab.RoleReview)
	write := func(name string) {
		t.Helper()
		l.as(200, "tech", "PUT", "/beers/"+l.id(name), obj{"base_rev": 0, "record": obj{"name": name}})
	}
	write("before")
	back := noon.AddDate(-1, 0, 0)
	l.now.Store(&back)
	write("a year back")
	ahead := noon.AddDate(10, 0, 0)
	l.now.Store(&ahead)
	l.as(401, "tech", "GET", "/runs", nil)
	late := noon.Add(access.SessionWhole + time.Hour)
	l.now.Store(&late)
	l.as(401, "tech", "GET", "/runs", nil)
	l.now.Store(&noon)
	l.as(200, "tech", "POST", "/session", obj{"name": "tech", "password": pass + " tech"})
	write("after")
	got := l.as(200, "tech", "GET", "/changes?since=0", nil)["changes"].([]any)
	var names []string
	for _, c := range got {
		if c := c.(obj); c["collection"] == "beers" {
			names = append(names, c["record"].(obj)["name"].(string))
		}
	}
	if fmt.Sprint(names) != "[before a year back after]" {
		t.Errorf("%v", names)
	}
	if v, err := l.srv.Lab.VerifyChain(lab.As(t.Context(), lab.Open())); err != nil || len(v.Broken) > 0 {
		t.Errorf("%+v, %v", v, err)
	}
}
