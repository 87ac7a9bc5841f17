package api

import (
	"crypto/hmac"
	"crypto/sha1"
	"encoding/base32"
	"encoding/binary"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"ullage/internal/access"
	"ullage/internal/lab"
)

// oneTime is the code that an app shows for a secret in base32 (RFC 6238),
// written here a second time, by the standard's words.
func oneTime(t *testing.T, secret string, at time.Time) string {
	t.Helper()
	key, err := base32.StdEncoding.DecodeString(secret)
	if err != nil {
		t.Fatal(err)
	}
	var count [8]byte
	binary.BigEndian.PutUint64(count[:], uint64(at.Unix()/30))
	mac := hmac.New(sha1.New, key)
	mac.Write(count[:])
	sum := mac.Sum(nil)
	o := sum[19] & 15
	return fmt.Sprintf("%06d", (uint32(sum[o]&127)<<24|uint32(sum[o+1])<<16|uint32(sum[o+2])<<8|uint32(sum[o+3]))%1000000)
}

// lockedNow is one whose clock is the machine's: browsers drop cookies that ended.
func lockedNow(t *testing.T) *locked {
	l := newLocked(t)
	l.later(time.Since(*l.now.Load()))
	l.as(200, "boss", "POST", "/session", obj{"name": "boss", "password": pass})
	return l
}

func (l *locked) later(d time.Duration) time.Time {
	at := l.now.Load().Add(d)
	l.now.Store(&at)
	return at
}

// enrolled sets up the second factor of a browser, and gives secret and codes.
func (l *locked) enrolled(name, begin, confirm string) (secret string, codes []any) {
	l.Helper()
	e := l.as(200, name, "POST", begin, obj{})
	secret = e["secret"].(string)
	got := l.as(200, name, "POST", confirm, obj{"code": oneTime(l.T, secret, *l.now.Load())})
	l.want(got, obj{"session": obj{"signed_in": true, "factor": obj{"on": true, "codes_left": 10}}})
	return secret, got["codes"].([]any)
}

// The second step of signing in: half a session in a cookie of its own, which
// opens nothing but the step.
func TestSecondFactorOverHTTP(t *testing.T) {
	l := lockedNow(t)
	secret, codes := l.enrolled("boss", "/me/second-factor", "/me/second-factor/confirm")
	resp, text := l.ask("half", "POST", "/session", obj{"name": "boss", "password": pass})
	c := resp.Cookies()
	if resp.StatusCode != 200 || len(c) != 1 || c[0].Name != halfCookie || !c[0].HttpOnly || c[0].SameSite != http.SameSiteStrictMode || !strings.Contains(string(text), `"step":"code"`) {
		t.Fatalf("%d %v %s", resp.StatusCode, c, text)
	}
	l.want(l.as(200, "half", "GET", "/session", nil), obj{"signed_in": false, "step": "code", "name": nil, "roles": []any{}})
	for _, path := range []string{"/runs", "/export", "/accounts", "/me/sessions", "/tokens", "/changes"} {
		l.as(401, "half", "GET", path, nil)
	}
	for _, path := range []string{"/me/second-factor", "/me/second-factor/off", "/me/second-factor/codes", "/me/prove", "/me/end-sessions", "/session/enrol", "/accounts"} {
		l.as(401, "half", "POST", path, obj{})
	}
	// Its secret is none of a session's.
	if resp, _ := l.send("GET", base+"/runs", nil, "Cookie", sessionCookie+"="+c[0].Value); resp.StatusCode != 401 {
		t.Errorf("half a session in the place of a session: %d", resp.StatusCode)
	}
	l.want(l.as(403, "half", "POST", "/session/code", obj{"code": oneTime(t, secret, *l.now.Load())}), obj{"detail": "code: was used already; wait for the next code"})
	at := l.later(30 * time.Second)
	l.want(l.as(200, "half", "POST", "/session/code", obj{"code": oneTime(t, secret, at)}), obj{"signed_in": true, "step": nil, "name": "boss"})
	l.as(200, "half", "GET", "/runs", nil)
	l.as(401, "half", "POST", "/session/code", obj{"code": codes[0]})
	// Signing out gives up half a session as well.
	l.as(200, "other", "POST", "/session", obj{"name": "boss", "password": pass})
	l.as(200, "other", "POST", "/session/end", obj{})
	l.want(l.as(200, "other", "GET", "/session", nil), obj{"step": nil})
	l.as(401, "other", "POST", "/session/code", obj{"code": codes[0]})
	// A wrong password is refused as ever, with and without a second factor.
	l.person("reader", lab.RoleRead)
	a := l.as(401, "x", "POST", "/session", obj{"name": "boss", "password": "wrong wrong wrong"})
	b := l.as(401, "x", "POST", "/session", obj{"name": "reader", "password": "wrong wrong wrong"})
	if a["detail"] != b["detail"] {
		t.Errorf("%v and %v tell which account has a second factor", a, b)
	}
}

// Where it is required, everybody with a password is led to it; hand-over by PIN,
// tokens, line devices and single sign-on go on as they are.
func TestRequiredOverHTTP(t *testing.T) {
	l := lockedNow(t)
	l.want(l.as(200, "boss", "GET", "/accounts/second-factor", nil), obj{"required_for": "nobody"})
	l.as(422, "boss", "POST", "/accounts/second-factor", obj{"required_for": "everyone"})
	l.person("tech@ostrelweir.example", lab.RoleRead, lab.RoleEnter)
	l.as(200, "tech@ostrelweir.example", "POST", "/me/pin", obj{"password": pass + " tech@ostrelweir.example", "pin": "482915"})
	tok := l.as(200, "tech@ostrelweir.example", "POST", "/tokens", obj{"name": "probe", "roles": []string{"read"}, "days": 3})
	l.enrolled("boss", "/me/second-factor", "/me/second-factor/confirm")
	shared := l.as(200, "boss", "POST", "/devices", obj{"name": "Lab tablet", "kind": "shared"})
	if shared["kind"] != "shared" {
		t.Fatal(shared)
	}
	l.as(200, "boss", "POST", "/accounts/second-factor", obj{"required_for": "everyone"})
	l.as(401, "tech@ostrelweir.example", "GET", "/runs", nil) // its session ended
	if resp, _ := l.send("GET", base+"/runs", nil, "Authorization", "Bearer "+tok["secret"].(string)); resp.StatusCode != 200 {
		t.Errorf("a token: %d", resp.StatusCode)
	}
	holder := l.as(200, "boss", "GET", "/session/holders", nil)["holders"].([]any)[0].(obj)
	l.want(l.as(200, "boss", "POST", "/session/pin", obj{"account_id": holder["account_id"], "pin": "482915"}), obj{"signed_in": true, "via": "pin"})
	l.want(l.as(200, "new", "POST", "/session", obj{"name": "tech@ostrelweir.example", "password": pass + " tech@ostrelweir.example"}), obj{"signed_in": false, "step": "enrol"})
	l.as(401, "new", "GET", "/runs", nil)
	l.enrolled("new", "/session/enrol", "/session/enrol/confirm")
	l.as(200, "new", "GET", "/runs", nil)
	l.want(l.as(422, "new", "POST", "/me/second-factor/off", obj{}), obj{"detail": "second factor: is required of your roles; set up another one in its place instead"})
	p := newProvider(t)
	on, err := access.NewOIDC(t.Context(), l.srv.Access, access.OIDCConfig{Issuer: p.URL, ClientID: "ullage", ClientSecret: "s", Name: "the house", PublicURL: l.http.URL})
	if err != nil {
		t.Fatal(err)
	}
	l.srv.SignOn = on
	resp, err := l.browser("house").Get(l.http.URL + base + "/session/sign-on")
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	l.want(l.as(200, "house", "GET", "/session", nil), obj{"signed_in": true, "via": "sign-on"})
}

// After ten minutes what changes how people come in is refused with a problem of
// its own type, until the password was shown again; programs are not asked.
func TestProofOverHTTP(t *testing.T) {
	l := newLocked(t)
	tok := l.as(200, "boss", "POST", "/tokens", obj{"name": "probe", "roles": []string{"read", "review"}, "days": 3})
	l.later(access.ProofWhole + time.Second)
	for _, ask := range []struct {
		path string
		body obj
	}{{"/accounts", obj{"name": "x", "roles": []string{"read"}}}, {"/me/password", obj{"old": pass, "password": "a wholly new sentence"}}, {"/me/pin", obj{"password": pass, "pin": "482915"}},
		{"/me/second-factor", obj{}}, {"/tokens", obj{"name": "t", "roles": []string{"read"}, "days": 1}}, {"/devices", obj{"name": "C6", "kind": "line"}}, {"/accounts/second-factor", obj{"required_for": "nobody"}}} {
		l.want(l.as(403, "boss", "POST", ask.path, ask.body), obj{"type": "/api/docs#problem-prove_again", "title": "Show again who you are"})
	}
	l.as(200, "boss", "GET", "/accounts", nil)
	l.as(403, "boss", "POST", "/me/prove", obj{"password": "wrong wrong wrong"})
	before := httpRequestLike(l, "boss")
	l.want(l.as(200, "boss", "POST", "/me/prove", obj{"password": pass}), obj{"signed_in": true, "via": "link"})
	if err := l.srv.stillIn(before); lab.ClassOf(err) != lab.NoSession {
		t.Errorf("the session's secret of before still opens: %v", err)
	}
	l.as(200, "boss", "POST", "/accounts", obj{"name": "x1", "roles": []string{"read"}})
	resp, text := l.send("PUT", base+"/beers/"+l.id("one"), obj{"base_rev": 0, "record": obj{"name": "Hobbinwheat"}}, "Authorization", "Bearer "+tok["secret"].(string))
	if resp.StatusCode != 200 {
		t.Errorf("a token, long after it was made: %d %s", resp.StatusCode, text)
	}
}

// A single sign-on is proof as of when the provider says; asked again, the
// provider has to have asked the person.
func TestProofThroughTheProvider(t *testing.T) {
	l := lockedNow(t)
	p := newProvider(t)
	on, err := access.NewOIDC(t.Context(), l.srv.Access, access.OIDCConfig{Issuer: p.URL, ClientID: "ullage", ClientSecret: "s", Name: "the house", PublicURL: l.http.URL})
	if err != nil {
		t.Fatal(err)
	}
	l.srv.SignOn = on
	l.as(200, "boss", "POST", "/accounts", obj{"name": "tech@ostrelweir.example", "roles": []string{"read"}}) // its link is never used: it has no password
	by := func(query string, authTime time.Time) string {
		t.Helper()
		p.claims["auth_time"] = authTime.Unix()
		resp, err := l.browser("house").Get(l.http.URL + base + "/session/sign-on" + query)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		return resp.Request.URL.Path
	}
	token := obj{"name": "t", "roles": []string{"read"}, "days": 1}
	now := *l.now.Load()
	by("", now.Add(-time.Hour))
	if p.asked.Has("prompt") {
		t.Errorf("asked %v", p.asked)
	}
	l.want(l.as(403, "house", "POST", "/tokens", token), obj{"type": "/api/docs#problem-prove_again"})
	if at := by("?again", now.Add(-time.Hour)); at != "/sign-in" {
		t.Errorf("a provider that did not ask again: ended at %s", at)
	}
	if p.asked.Get("prompt") != "login" || p.asked.Get("max_age") != "0" {
		t.Errorf("asked %v", p.asked)
	}
	if at := by("?again", now); at != "/" {
		t.Errorf("ended at %s", at)
	}
	l.as(200, "house", "POST", "/tokens", token)
	l.as(422, "house", "POST", "/me/second-factor", obj{}) // the provider's is its second factor
	l.as(403, "house", "POST", "/me/prove", obj{"password": ""})
}
