package api

import (
	"crypto"
	"crypto/hmac"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"ullage/internal/access"
	"ullage/internal/lab"
)

// provider is a small OpenID provider: it signs in whoever asks as its claims say.
type provider struct {
	*httptest.Server
	t         *testing.T
	key       *rsa.PrivateKey
	claims    obj
	nonce     string
	challenge string
	spoil     string // what it gets wrong
	asked     url.Values
}

func b64(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

func newProvider(t *testing.T) *provider {
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	p := &provider{t: t, key: key, claims: obj{"sub": "s-1", "email": "tech@ostrelweir.example", "email_verified": true}}
	mux := http.NewServeMux()
	p.Server = httptest.NewServer(mux)
	t.Cleanup(p.Close)
	say := func(w http.ResponseWriter, v any) {
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(v)
	}
	mux.HandleFunc("/.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		issuer := p.URL
		if p.spoil == "metadata" {
			issuer = "https://id.ostrelweir.example"
		}
		say(w, obj{"issuer": issuer, "authorization_endpoint": p.URL + "/authorize", "token_endpoint": p.URL + "/token", "jwks_uri": p.URL + "/keys", "id_token_signing_alg_values_supported": []string{"RS256"}})
	})
	mux.HandleFunc("/keys", func(w http.ResponseWriter, _ *http.Request) {
		say(w, obj{"keys": []obj{{"kty": "RSA", "alg": "RS256", "use": "sig", "kid": "k", "n": b64(key.N.Bytes()), "e": b64(big.NewInt(int64(key.E)).Bytes())}}})
	})
	mux.HandleFunc("/authorize", func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		p.asked = q
		p.nonce, p.challenge = q.Get("nonce"), q.Get("code_challenge")
		state := q.Get("state")
		if p.spoil == "state" {
			state = "another"
		}
		http.Redirect(w, r, q.Get("redirect_uri")+"?"+url.Values{"state": {state}, "code": {"c-1"}}.Encode(), http.StatusSeeOther)
	})
	mux.HandleFunc("/token", func(w http.ResponseWriter, r *http.Request) {
		sum := sha256.Sum256([]byte(r.FormValue("code_verifier")))
		if r.FormValue("code") != "c-1" || b64(sum[:]) != p.challenge {
			http.Error(w, `{"error":"invalid_grant"}`, http.StatusBadRequest)
			return
		}
		say(w, obj{"access_token": "a", "token_type": "Bearer", "id_token": p.token()})
	})
	return p
}

func (p *provider) token() string {
	claims := obj{"iss": p.URL, "aud": "ullage", "nonce": p.nonce, "iat": time.Now().Unix(), "exp": time.Now().Add(time.Hour).Unix()}
	for k, v := range p.claims {
		claims[k] = v
	}
	switch p.spoil {
	case "nonce":
		claims["nonce"] = "another"
	case "audience":
		claims["aud"] = "someone else"
	case "expired":
		claims["exp"] = time.Now().Add(-time.Hour).Unix()
	case "issuer":
		claims["iss"] = "https://evil.example"
	case "not yet":
		claims["nbf"] = time.Now().Add(time.Hour).Unix()
	}
	body, _ := json.Marshal(claims)
	text := b64([]byte(`{"alg":"RS256","kid":"k"}`)) + "." + b64(body)
	if p.spoil == "no signature" {
		return b64([]byte(`{"alg":"none"}`)) + "." + b64(body) + "."
	}
	if p.spoil == "key" { // signed with what everybody can read, as if it were a shared secret
		text = b64([]byte(`{"alg":"HS256","kid":"k"}`)) + "." + b64(body)
		mac := hmac.New(sha256.New, p.key.N.Bytes())
		mac.Write([]byte(text))
		return text + "." + b64(mac.Sum(nil))
	}
	sum := sha256.Sum256([]byte(text))
	sig, err := rsa.SignPKCS1v15(rand.Reader, p.key, crypto.SHA256, sum[:])
	if err != nil {
		p.t.Fatal(err)
	}
	if p.spoil == "signature" {
		sig[9] ^= 1
	}
	return text + "." + b64(sig)
}

func TestSingleSignOn(t *testing.T) {
	l := newLocked(t)
	p := newProvider(t)
	on, err := access.NewOIDC(t.Context(), l.srv.Access, access.OIDCConfig{Issuer: p.URL, ClientID: "ullage", ClientSecret: "s", Name: "the house", PublicURL: l.http.URL})
	if err != nil {
		t.Fatal(err)
	}
	l.srv.SignOn = on
	tech := l.person("tech@ostrelweir.example", lab.RoleRead, lab.RoleEnter)
	l.want(l.as(200, "visitor", "GET", "/session", nil), obj{"sign_on": "the house"})
	if at := l.signsOn("visitor"); at != "/#" {
		t.Fatalf("ended at %s", at)
	}
	l.want(l.as(200, "visitor", "GET", "/session", nil), obj{"signed_in": true, "via": "sign-on", "person_id": tech})
	// The same subject is the same account, whatever its address is now.
	p.claims["email"] = "other@ostrelweir.example"
	if at := l.signsOn("again"); at != "/#" {
		t.Errorf("ended at %s", at)
	}
	l.want(l.as(200, "again", "GET", "/session", nil), obj{"person_id": tech})
	for _, spoil := range []string{"state", "nonce", "audience", "expired", "issuer", "signature", "no signature", "key", "not yet"} {
		p.spoil = spoil
		if at := l.signsOn(spoil); at != "/sign-in#sign-on=failed" {
			t.Errorf("wrong %s: ended at %s", spoil, at)
		}
		l.want(l.as(200, spoil, "GET", "/session", nil), obj{"signed_in": false})
	}
	p.spoil = ""
	for what, claims := range map[string]obj{"a stranger": {"sub": "s-2", "email": "stranger@ostrelweir.example", "email_verified": true},
		"an address that is not verified": {"sub": "s-3", "email": "boss", "email_verified": false}, "no address": {"sub": "s-4"}} {
		p.claims = claims
		if at := l.signsOn(what); at != "/sign-in#sign-on=failed" {
			t.Errorf("%s: ended at %s", what, at)
		}
	}
	// An answer that this browser did not ask for.
	resp, err := l.browser("victim").Get(l.http.URL + access.SignOnPath + "?state=x&code=c-1")
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	l.want(l.as(200, "victim", "GET", "/session", nil), obj{"signed_in": false})
	if _, err := access.NewOIDC(t.Context(), l.srv.Access, access.OIDCConfig{Issuer: p.URL + "/none"}); err == nil || !strings.Contains(err.Error(), "--oidc-issuer") {
		t.Error(fmt.Sprint(err))
	}
}

// A session is begun by who sits there, not by another site's page; and only
// with the provider that was named.
func TestSignOnIsAskedFor(t *testing.T) {
	l := newLocked(t)
	p := newProvider(t)
	config := access.OIDCConfig{Issuer: p.URL, ClientID: "ullage", ClientSecret: "s", PublicURL: l.http.URL}
	on, err := access.NewOIDC(t.Context(), l.srv.Access, config)
	if err != nil {
		t.Fatal(err)
	}
	l.srv.SignOn = on
	l.person("tech@ostrelweir.example", lab.RoleRead)
	for site, want := range map[string]bool{"cross-site": false, "same-site": false, "same-origin": true, "none": true, "": true} {
		name := "from " + site
		req, _ := http.NewRequest("GET", l.http.URL+base+"/session/sign-on", nil)
		if site != "" {
			req.Header.Set("Sec-Fetch-Site", site)
		}
		resp, err := l.browser(name).Do(req)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		l.want(l.as(200, name, "GET", "/session", nil), obj{"signed_in": want})
	}
	p.spoil = "metadata"
	if _, err := access.NewOIDC(t.Context(), l.srv.Access, config); err == nil {
		t.Error("a provider that says it is another is taken")
	}
	for _, issuer := range []string{"http://id.ostrelweir.example", "ftp://127.0.0.1", ""} {
		config.Issuer = issuer
		if _, err := access.NewOIDC(t.Context(), l.srv.Access, config); err == nil || !strings.Contains(err.Error(), "--oidc-issuer") {
			t.Errorf("%q: %v", issuer, err)
		}
	}
}

// A provider that is away keeps nobody else from signing in, and is asked again.
func TestProviderAway(t *testing.T) {
	l := newLocked(t)
	p := newProvider(t)
	addr, routes := p.Listener.Addr().String(), p.Config.Handler
	p.Close()
	on, err := access.NewOIDC(t.Context(), l.srv.Access, access.OIDCConfig{Issuer: p.URL, ClientID: "ullage", ClientSecret: "s", PublicURL: l.http.URL})
	if err != nil {
		t.Fatal(err)
	}
	l.srv.SignOn = on
	l.person("tech@ostrelweir.example", lab.RoleRead)
	if at := l.signsOn("visitor"); at != "/sign-in#sign-on=failed" {
		t.Errorf("ended at %s", at)
	}
	l.as(200, "visitor", "POST", "/session", obj{"name": "boss", "password": pass})
	back, err := net.Listen("tcp", addr)
	if err != nil {
		t.Skipf("the provider's port was taken meanwhile: %v", err)
	}
	go func() { _ = http.Serve(back, routes) }()
	t.Cleanup(func() { _ = back.Close() })
	if at := l.signsOn("later"); at != "/#" {
		t.Errorf("when it is back: ended at %s", at)
	}
}

// signsOn follows a browser to the provider and back, to the page it ends at.
func (l *locked) signsOn(name string) string {
	l.Helper()
	resp, err := l.browser(name).Get(l.http.URL + base + "/session/sign-on")
	if err != nil {
		l.Fatal(err)
	}
	resp.Body.Close()
	return resp.Request.URL.Path + "#" + resp.Request.URL.Fragment
}
