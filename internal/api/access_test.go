package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/cookiejar"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"ullage/internal/access"
	"ullage/internal/lab"
	"ullage/internal/store"
)

// locked is a bench whose server asks for sign-in, with one browser a name.
type locked struct {
	*bench
	browsers map[string]*http.Client
}

const pass = "eleven casks of old ale"

func newLocked(t *testing.T) *locked {
	b := newBench(t, store.SQLiteOptions{})
	b.srv.Lab.Guarded = true
	b.srv.Access = access.New(b.srv.Lab, b.srv.Log)
	b.srv.Access.KeyFile = filepath.Join(t.TempDir(), "second-factor.key")
	b.http.Config.Handler = b.srv.Handler()
	l := &locked{b, map[string]*http.Client{}}
	link, made, err := b.srv.Access.AdminLink(t.Context(), false)
	if err != nil || !made {
		t.Fatal(made, err)
	}
	l.as(200, "boss", "POST", "/session/accept", obj{"link": link.Secret, "password": pass, "name": "boss", "person_name": "Brewmaster"})
	return l
}

// browser keeps the cookies of one name.
func (l *locked) browser(name string) *http.Client {
	if l.browsers[name] == nil {
		jar, _ := cookiejar.New(nil)
		l.browsers[name] = &http.Client{Jar: jar}
	}
	return l.browsers[name]
}

// as sends as the browser of a name; status 0 takes any.
func (l *locked) as(status int, name, method, path string, body any) obj {
	l.Helper()
	resp, text := l.ask(name, method, path, body)
	if status != 0 && resp.StatusCode != status {
		l.Fatalf("%s: %s %s: status %d, want %d\n%s", name, method, path, resp.StatusCode, status, text)
	}
	var got obj
	_ = json.Unmarshal(text, &got)
	if got == nil {
		got = obj{}
	}
	got["status_code"] = resp.StatusCode
	return got
}

func (l *locked) ask(name, method, path string, body any, header ...string) (*http.Response, []byte) {
	l.Helper()
	was := http.DefaultClient
	http.DefaultClient = l.browser(name)
	defer func() { http.DefaultClient = was }()
	return l.send(method, base+path, body, header...)
}

// person makes an account, and signs its browser in.
func (l *locked) person(name string, roles ...lab.Role) string {
	l.Helper()
	got := l.as(200, "boss", "POST", "/accounts", obj{"name": name, "roles": roles})
	l.as(200, name, "POST", "/session/accept", obj{"link": got["secret"], "password": pass + " " + name})
	return got["account"].(obj)["person_id"].(string)
}

func TestSignInOverHTTP(t *testing.T) {
	l := newLocked(t)
	l.as(401, "nobody", "GET", "/runs", nil)
	l.as(401, "nobody", "GET", "/export", nil)
	l.as(401, "nobody", "POST", "/batch", obj{"writes": []any{}})
	l.as(200, "nobody", "GET", "/calc", nil) // the calculators stay open
	l.want(l.as(200, "nobody", "GET", "/session", nil), obj{"mode": "sign-in", "signed_in": false})
	l.want(l.as(200, "boss", "GET", "/session", nil), obj{"signed_in": true, "name": "boss"})
	for _, page := range []string{"/", "/runs", "/healthz", "/api/docs", "/api/openapi.json"} {
		if resp, _ := l.send("GET", page, nil); resp.StatusCode != 200 {
			t.Errorf("%s: %d", page, resp.StatusCode)
		}
	}
	if resp, _ := l.send("GET", "/metrics", nil); resp.StatusCode != 401 {
		t.Errorf("/metrics for nobody: %d", resp.StatusCode)
	}
	l.as(401, "again", "POST", "/session", obj{"name": "boss", "password": "wrong wrong wrong"})
	resp, _ := l.ask("again", "POST", "/session", obj{"name": "boss", "password": pass})
	c := resp.Cookies()
	if resp.StatusCode != 200 || len(c) != 1 || !c[0].HttpOnly || c[0].SameSite != http.SameSiteStrictMode || c[0].Path != "/" || c[0].Domain != "" {
		t.Errorf("%d, cookies %v", resp.StatusCode, c)
	}
	l.as(200, "again", "POST", "/session/end", obj{})
	l.as(401, "again", "GET", "/runs", nil)
	// Through TLS the cookie is one that browsers bind to this host.
	l.srv.Proxy = true
	resp, _ = l.ask("proxied", "POST", "/session", obj{"name": "boss", "password": pass}, "X-Forwarded-Proto", "https")
	if c := resp.Cookies(); len(c) != 1 || c[0].Name != "__Host-ullage" || !c[0].Secure {
		t.Errorf("cookies %v", c)
	}
	// Another site's page is refused although the browser sends the cookie.
	resp, _ = l.ask("boss", "POST", "/me/end-sessions", obj{}, "Origin", "https://evil.example", "Sec-Fetch-Site", "cross-site")
	if resp.StatusCode != 403 {
		t.Errorf("another site's request: %d", resp.StatusCode)
	}
	l.as(200, "boss", "GET", "/runs", nil)
	resp, _ = l.ask("boss", "POST", "/me/end-sessions", "x=1", "Content-Type", "application/x-www-form-urlencoded")
	if resp.StatusCode != 415 {
		t.Errorf("a form: %d", resp.StatusCode)
	}
}

// A session that the browser brought before signing in is not taken on.
func TestSessionFixation(t *testing.T) {
	l := newLocked(t)
	resp, _ := l.ask("victim", "POST", "/session", obj{"name": "boss", "password": pass}, "Cookie", "ullage=planted-by-someone-else")
	if resp.StatusCode != 200 || resp.Cookies()[0].Value == "planted-by-someone-else" {
		t.Fatalf("%d %v", resp.StatusCode, resp.Cookies())
	}
	if resp, _ := l.send("GET", base+"/runs", nil, "Cookie", "ullage=planted-by-someone-else"); resp.StatusCode != 401 {
		t.Errorf("the planted session: %d", resp.StatusCode)
	}
}

// What is written carries the person of the session, not the client's word.
func TestServerStampsThePerson(t *testing.T) {
	l := newLocked(t)
	tech := l.person("quality.tech", lab.RoleRead, lab.RoleEnter, lab.RoleReview)
	id := l.id("beer")
	l.want(l.as(200, "quality.tech", "PUT", "/beers/"+id, obj{"base_rev": 0, "record": obj{"id": id, "name": "Vellumrook", "by": "somebody else"}}),
		obj{"record": obj{"by": tech, "said_by": "somebody else"}})
	l.want(l.as(200, "quality.tech", "PUT", "/beers/"+id, obj{"base_rev": 1, "record": obj{"id": id, "name": "Vellumrook 2", "by": tech, "said_by": "a lie"}}),
		obj{"record": obj{"by": tech, "said_by": nil}})
	tok := l.as(200, "quality.tech", "POST", "/tokens", obj{"name": "probe", "roles": []string{"read", "review"}, "days": 3})
	resp, text := l.send("PUT", base+"/beers/"+l.id("two"), obj{"base_rev": 0, "record": obj{"name": "Hobbinwheat", "by": "probe"}}, "Authorization", "Bearer "+tok["secret"].(string))
	if resp.StatusCode != 200 || !strings.Contains(string(text), `"by":"`+tech+`","said_by":"probe"`) {
		t.Errorf("by token: %d %s", resp.StatusCode, text)
	}
	resp, _ = l.send("PUT", base+"/samples/"+l.id("three"), obj{"base_rev": 0, "record": l.sample(40)}, "Authorization", "Bearer "+tok["secret"].(string)+"x")
	if resp.StatusCode != 401 {
		t.Errorf("a wrong token: %d", resp.StatusCode)
	}
}

// A stream ends when its session does.
func TestStreamEndsWithItsSession(t *testing.T) {
	l := newLocked(t)
	l.person("reader", lab.RoleRead)
	req, _ := http.NewRequestWithContext(t.Context(), "GET", l.http.URL+base+"/stream", nil)
	resp, err := l.browser("reader").Do(req)
	if err != nil || resp.StatusCode != 200 {
		t.Fatal(resp, err)
	}
	defer resp.Body.Close()
	r := httpRequestLike(l, "reader")
	if err := l.srv.stillIn(r); err != nil {
		t.Fatalf("signed in: %v", err)
	}
	l.as(200, "reader", "POST", "/me/end-sessions", obj{})
	if err := l.srv.stillIn(r); lab.ClassOf(err) != lab.NoSession {
		t.Errorf("after signing out: %v", err)
	}
}

// httpRequestLike is a request as the server sees it from a browser.
func httpRequestLike(l *locked, name string) *http.Request {
	r, _ := http.NewRequestWithContext(l.Context(), "GET", l.http.URL+base+"/stream", nil)
	for _, c := range l.browser(name).Jar.Cookies(r.URL) {
		r.AddCookie(c)
	}
	ctx := r.Context()
	return r.WithContext(withFrom(ctx, l.srv.from(r)))
}

// roles of the table below.
var (
	nobody  = []string{"nobody", "line", "read", "enter", "review", "administer"}
	all     = nobody[1:]
	people  = nobody[2:]
	enters  = []string{"enter", "review"}
	atLine  = []string{"line", "enter", "review"}
	reviews = []string{"review"}
	runs    = []string{"administer"}
)

// mayAsk is who is let through to each operation; what is not here follows the
// rule of [mayByRule].
var mayAsk = map[string][]string{
	"session": nobody, "sign-in": nobody, "sign-in-pin": nobody, "holders": nobody, "look-at-link": nobody, "accept-link": nobody, "sign-out": nobody,
	"sign-in-code": nobody, "enrol-first": nobody, "confirm-first": nobody,
	"prove": people, "new-factor": people, "confirm-factor": people, "factor-off": people, "recovery-codes": people, "notices-seen": people, "end-my-session": people,
	"factor-rule": runs, "set-factor-rule": runs, "take-factor-off": runs, "end-account-sessions": runs,
	"calc": nobody, "list-calc": nobody,
	"my-sessions": people, "my-password": people, "my-pin": people, "sign-out-everywhere": people, "tokens": people, "new-token": people, "revoke-token": people,
	"accounts": runs, "new-account": runs, "change-account": runs, "account-link": runs, "access-events": runs, "devices": runs, "register-device": runs, "unregister-device": runs,
	"changes": all, "stream": all, "stream-run": all, "view-run": all, "today": all, "batch": atLine,
	"put-samples": atLine, "put-events": atLine,
	"put-runs": enters, "put-batches": enters, "put-tanks": enters, "put-format-lots": enters, "put-meter-checks": enters, "put-instruments": enters,
	"put-studies": enters, "put-brews": enters, "put-moves": enters, "put-readings": enters,
	"put-people": {"review", "administer"}, "put-brewery": {"review", "administer"},
	"trail": people, "verify": people,
	"recompute-run": reviews, "export": {"review", "administer"},
	"list-imports": people, "get-import": people, "receive-import": reviews, "preview-import": reviews, "confirm-import": reviews, "undo-import": reviews, "import-progress": reviews,
}

func mayByRule(method, id string) (who []string, exact bool) {
	switch {
	case strings.HasPrefix(id, "list-") || strings.HasPrefix(id, "get-"):
		return all, true
	case strings.HasPrefix(id, "revisions-"):
		return people, true
	case strings.HasPrefix(id, "put-"):
		return reviews, true
	case method == "get":
		return people, false
	}
	return []string{"enter", "review", "administer"}, false // at most; lab may ask for more
}

// TestEveryRouteByEveryRole asks every operation of the API's description as
// nobody and with each role alone, on records that are there.
func TestEveryRouteByEveryRole(t *testing.T) {
	l := newLocked(t)
	for _, r := range lab.Roles()[1:] {
		l.person(string(r), r)
	}
	l.person("setter", lab.Roles()[1:]...)
	l.as(200, "boss", "GET", "/session", nil)
	l.as(200, "line", "GET", "/session", nil)
	boss := l.browser("boss")
	l.browsers["line"] = boss // registers itself as the line's device
	l.as(200, "line", "POST", "/devices", obj{"name": "Line C6", "kind": "line"})
	l.browsers["boss"] = nil
	l.as(200, "boss", "POST", "/session", obj{"name": "boss", "password": pass})
	// The records are written by one who may, through cookies of the default client.
	was := http.DefaultClient
	http.DefaultClient = l.browser("setter")
	l.setUp()
	l.put(200, "samples", "sample", 0, l.sample(44))
	http.DefaultClient = was
	text, err := l.srv.OpenAPI()
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Paths map[string]map[string]struct {
			OperationID string `json:"operationId"`
		} `json:"paths"`
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	asked := 0
	for path, ops := range doc.Paths {
		for method, op := range ops {
			who, exact := mayAsk[op.OperationID], true
			if who == nil {
				who, exact = mayByRule(method, op.OperationID)
			}
			for _, name := range nobody {
				code := l.knock(name, method, path)
				asked++
				refused := code == 401 || code == 403
				switch {
				case slices.Contains(nobody[:1], name) && !slices.Contains(who, name) && code != 401:
					t.Errorf("%s %s by nobody: %d, want 401", method, path, code)
				case name != "nobody" && !slices.Contains(who, name) && code != 403:
					t.Errorf("%s %s (%s) by %s: %d, want 403", method, path, op.OperationID, name, code)
				case slices.Contains(who, name) && exact && refused && !ownRefusal[op.OperationID]:
					t.Errorf("%s %s (%s) by %s: %d, but it may", method, path, op.OperationID, name, code)
				}
			}
		}
	}
	if asked < 400 {
		t.Errorf("only %d requests", asked)
	}
	t.Logf("%d requests", asked)
}

// ownRefusal are operations that answer 401 or 403 also to who may ask them.
var ownRefusal = map[string]bool{"sign-in": true, "sign-in-pin": true, "holders": true, "look-at-link": true, "accept-link": true, "my-password": true, "my-pin": true,
	"sign-in-code": true, "enrol-first": true, "confirm-first": true, "prove": true}

// knock sends a request that would do something, were it let in.
func (l *locked) knock(name, method, path string) int {
	l.Helper()
	collection := strings.Split(strings.TrimPrefix(path, base+"/"), "/")[0]
	if strings.HasPrefix(path, base+"/trail/") {
		collection = "samples"
	}
	named := map[string]string{"runs": "run", "beers": "beer", "formats": "can", "format_lots": "lot", "lines": "line", "samples": "sample", "limits": "limit"}
	id := l.id("none of " + collection)
	if n := named[collection]; n != "" {
		id = l.id(n)
	}
	url := strings.NewReplacer("{id}", id, "{collection}", "samples", "{month}", "2026-11", "{name}", "tpo").Replace(strings.TrimPrefix(path, base))
	if strings.Contains(url, "{") {
		l.Fatalf("%s has a parameter that this test does not know", path)
	}
	if strings.HasSuffix(url, "/compare") {
		url += "?by=run"
	}
	var body any
	header := []string{}
	switch {
	case path == base+"/imports/files":
		body, header = "x", []string{"Content-Type", "application/octet-stream"}
	case path == base+"/batch":
		body = obj{"writes": []obj{{"collection": "samples", "id": l.id("new"), "base_rev": 0, "record": obj{}}}}
	case path == base+"/session/end" || path == base+"/me/end-sessions":
		body, header = "", []string{"Content-Type", "text/plain"} // refused after the door: nobody is signed out
	case method == "put":
		body = obj{"base_rev": 0, "record": obj{"id": id, "archived": true}}
	case method != "get":
		body = obj{}
	}
	if strings.HasSuffix(path, "/stream") {
		req, _ := http.NewRequestWithContext(l.Context(), "GET", l.http.URL+base+url, nil)
		client := *l.browser(name)
		client.Timeout = 5 * time.Second
		resp, err := client.Do(req)
		if err != nil {
			l.Fatal(err)
		}
		resp.Body.Close()
		return resp.StatusCode
	}
	resp, text := l.ask(name, strings.ToUpper(method), url, body, header...)
	if path == base+"/batch" && resp.StatusCode == 200 {
		var got WriteAnswers
		if err := json.Unmarshal(text, &got); err != nil || len(got.Answers) != 1 || got.Answers[0].Problem == nil {
			l.Fatalf("batch: %s", text)
		}
		return got.Answers[0].Problem.Status
	}
	if resp.StatusCode >= 500 {
		l.Errorf("%s %s by %s: %d %s", method, path, name, resp.StatusCode, text)
	}
	return resp.StatusCode
}

// A token of one account is not there for another: ids do not open doors.
func TestOthersThings(t *testing.T) {
	l := newLocked(t)
	l.person("one", lab.RoleRead)
	l.person("two", lab.RoleRead)
	tok := l.as(200, "one", "POST", "/tokens", obj{"name": "mine", "roles": []string{"read"}, "days": 1})
	l.as(404, "two", "POST", fmt.Sprintf("/tokens/%s/revoke", tok["id"]), obj{})
	if got := l.as(200, "two", "GET", "/tokens", nil); len(got["tokens"].([]any)) != 0 {
		t.Errorf("another's tokens: %v", got)
	}
	if got := l.as(200, "boss", "GET", "/tokens", nil); len(got["tokens"].([]any)) != 1 {
		t.Errorf("an administrator sees all: %v", got)
	}
	l.as(200, "one", "POST", fmt.Sprintf("/tokens/%s/revoke", tok["id"]), obj{})
}

// What a browser is told about every page and every answer.
func TestSecurityHeaders(t *testing.T) {
	l := newLocked(t)
	for _, path := range []string{"/", "/runs", base + "/session", base + "/runs", "/api/docs", "/healthz", "/nothing.js"} {
		resp, _ := l.send("GET", path, nil)
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "no-referrer",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin"} {
			if got := resp.Header.Get(name); got != want {
				t.Errorf("%s: %s is %q", path, name, got)
			}
		}
		csp := resp.Header.Get("Content-Security-Policy")
		script := ""
		for _, d := range strings.Split(csp, ";") {
			if strings.HasPrefix(strings.TrimSpace(d), "script-src") {
				script = d
			}
		}
		if !strings.Contains(csp, "default-src") || !strings.Contains(csp, "frame-ancestors 'none'") || !strings.Contains(csp, "object-src 'none'") || !strings.Contains(csp, "base-uri 'none'") || strings.Contains(script, "unsafe-inline") || strings.Contains(script, "'unsafe-eval'") {
			t.Errorf("%s: %s", path, csp)
		}
		if page := script != ""; strings.Contains(csp, "unsafe-inline") && (page || !strings.Contains(csp, "default-src 'none'")) {
			t.Errorf("%s: what may run scripts may have inline style: %s", path, csp)
		}
		if resp.Header.Get("Server") != "" || resp.Header.Get("X-Request-Id") == "" {
			t.Errorf("%s: %v", path, resp.Header)
		}
		if strings.HasPrefix(path, base) && resp.Header.Get("Cache-Control") != "no-store" {
			t.Errorf("%s may be kept: %q", path, resp.Header.Get("Cache-Control"))
		}
	}
}

// The session tells what its account may not do, and which roles may.
func TestSessionTellsNeeds(t *testing.T) {
	l := newLocked(t)
	l.person("reader", lab.RoleRead)
	l.person("lab", lab.RoleRead, lab.RoleEnter)
	for name, c := range map[string]struct{ not, may []string }{
		"reader": {not: []string{"write samples", "write readings", "write meter_checks", "release", "accounts"}, may: []string{"judge", "history"}},
		"lab":    {not: []string{"write decisions", "write limits", "release", "accounts"}, may: []string{"write samples", "write readings", "write meter_checks"}},
		"nobody": {may: []string{"write samples"}}, // not known yet: the server will say
	} {
		needs, _ := l.as(200, name, "GET", "/session", nil)["needs"].(obj)
		for _, w := range c.not {
			if roles, _ := needs[w].([]any); len(roles) == 0 {
				t.Errorf("%s is not told who may %s: %v", name, w, needs)
			}
		}
		for _, w := range c.may {
			if _, told := needs[w]; told {
				t.Errorf("%s may %s, and is told otherwise", name, w)
			}
		}
	}
}
