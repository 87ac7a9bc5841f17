package access

import (
	"context"
	"crypto/subtle"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"

	"ullage/internal/lab"
)

// OIDC is single sign-on by OpenID Connect: authorization code with PKCE, a
// state and a nonce. It opens accounts that an administrator made; it makes none.
type OIDC struct {
	access *Service
	name   string
	issuer string
	asked  OIDCConfig
	mu     sync.Mutex
	known  *provider // nil until the provider has described itself
}

// provider is what a provider says of itself.
type provider struct {
	verify *oidc.IDTokenVerifier
	config oauth2.Config
}

// OIDCConfig says which provider.
type OIDCConfig struct {
	Issuer, ClientID, ClientSecret string
	Name                           string // shown on the sign-in page
	PublicURL                      string // this server's own address, as browsers know it
}

// SignOnPath is where the provider sends browsers back to, below the public address.
const SignOnPath = "/api/v1/session/sign-on/done"

// NewOIDC asks the provider for its description. One that cannot be reached is
// asked again when somebody signs on: the rest of the server does not wait for it.
func NewOIDC(ctx context.Context, s *Service, c OIDCConfig) (*OIDC, error) {
	// Keys and secrets come and go over that line: in the clear only to this machine.
	if u, err := url.Parse(c.Issuer); err != nil || u.Scheme != "https" && !loopback(u.Hostname()) {
		return nil, fmt.Errorf("single sign-on: %q is not an https address; check --oidc-issuer", c.Issuer)
	}
	o := &OIDC{access: s, name: c.Name, issuer: c.Issuer, asked: c}
	_, err := o.provider(ctx)
	if away, is := errors.AsType[*url.Error](err); is && strings.HasPrefix(c.Issuer, "http") {
		s.Log.Warn("single sign-on: the provider cannot be reached yet", "err", away)
		return o, nil
	}
	if err != nil {
		return nil, fmt.Errorf("single sign-on: %w; check --oidc-issuer", err)
	}
	return o, nil
}

const describeWithin = 10 * time.Second

func (o *OIDC) provider(ctx context.Context) (*provider, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.known != nil {
		return o.known, nil
	}
	ctx, cancel := context.WithTimeout(ctx, describeWithin)
	defer cancel()
	c := o.asked
	p, err := oidc.NewProvider(ctx, c.Issuer)
	if err != nil {
		return nil, err
	}
	o.known = &provider{verify: p.Verifier(&oidc.Config{ClientID: c.ClientID}),
		config: oauth2.Config{ClientID: c.ClientID, ClientSecret: c.ClientSecret, Endpoint: p.Endpoint(),
			RedirectURL: strings.TrimSuffix(c.PublicURL, "/") + SignOnPath, Scopes: []string{oidc.ScopeOpenID, "email", "profile"}}}
	return o.known, nil
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Name is shown on the sign-in page.
func (o *OIDC) Name() string { return o.name }

const (
	kindStart  = "sign-on start"
	startWhole = 10 * time.Minute
)

// start is what the vault holds between going to the provider and coming back.
type start struct {
	State    string `json:"state"`
	Nonce    string `json:"nonce"`
	Verifier string `json:"verifier"`
	Again    bool   `json:"again,omitempty"`
}

// Start gives the address to send the browser to, and a secret to come back with.
// Again asks the provider not to answer from its own session, but to have the
// person show who they are.
func (o *OIDC) Start(ctx context.Context, again bool) (address, secret string, err error) {
	p, err := o.provider(ctx)
	if err != nil {
		o.access.Log.Warn("access", "what", "single sign-on refused", "why", "the provider cannot be reached", "err", err)
		return "", "", refuse(lab.Busy, "sign-on", nil, "the provider cannot be reached", "sign in by password, or try again later")
	}
	v := start{Verifier: oauth2.GenerateVerifier(), Again: again}
	v.State, _ = newSecret()
	v.Nonce, _ = newSecret()
	secret, hash := newSecret()
	err = o.access.save(ctx, lab.Item{Kind: kindStart, Key: hash, Expires: lab.At(o.access.now().Add(startWhole))}, v)
	ask := []oauth2.AuthCodeOption{oidc.Nonce(v.Nonce), oauth2.S256ChallengeOption(v.Verifier)}
	if again {
		ask = append(ask, oauth2.SetAuthURLParam("prompt", "login"), oauth2.SetAuthURLParam("max_age", "0"))
	}
	return p.config.AuthCodeURL(v.State, ask...), secret, err
}

// Finish begins a session from what the provider sent back: state and code.
func (o *OIDC) Finish(ctx context.Context, secret string, answer map[string]string, from From) (Entry, error) {
	s := o.access
	no := func(why string, err error) (Entry, error) {
		s.Log.Warn("access", "what", "single sign-on refused", "why", why, "err", err, "from", from.Addr)
		return Entry{}, refuse(lab.NoSession, "sign-on", nil, "did not work: "+why, "try again, or ask an administrator")
	}
	v, it, err := load[start](ctx, s, kindStart, hashOf(secret))
	if err != nil {
		return no("it was not begun here, or too long ago", err)
	}
	if was, err := s.Vault.DropItem(ctx, kindStart, it.Key); err != nil || !was {
		return no("it was used already", err)
	}
	if subtle.ConstantTimeCompare([]byte(answer["state"]), []byte(v.State)) != 1 {
		return no("the answer is not to this question", nil)
	}
	p, err := o.provider(ctx)
	if err != nil {
		return no("the provider cannot be reached", err)
	}
	tok, err := p.config.Exchange(ctx, answer["code"], oauth2.VerifierOption(v.Verifier))
	if err != nil {
		return no("the provider did not confirm it", errors.New("exchange failed")) // its text may hold the code
	}
	raw, _ := tok.Extra("id_token").(string)
	id, err := p.verify.Verify(ctx, raw)
	if err != nil || subtle.ConstantTimeCompare([]byte(id.Nonce), []byte(v.Nonce)) != 1 {
		return no("the provider's answer cannot be trusted", err)
	}
	a, item, err := o.account(ctx, id)
	if err != nil || a.Off {
		return no("there is no account for you", err)
	}
	proved, err := o.provedAt(id, v.Again)
	if err != nil {
		return no("the provider did not ask you again", err)
	}
	return s.begin(ctx, &a, item, "sign-on", proved, from)
}

// provedAt tells when the person showed the provider who they are. One that does
// not say so is taken at its word that it was now.
func (o *OIDC) provedAt(id *oidc.IDToken, again bool) (lab.Time, error) {
	var claims struct {
		AuthTime float64 `json:"auth_time"`
	}
	if err := id.Claims(&claims); err != nil {
		return lab.Time{}, err
	}
	now := o.access.now()
	if claims.AuthTime <= 0 {
		return lab.At(now), nil
	}
	at := time.Unix(int64(claims.AuthTime), 0)
	if again && now.Sub(at) > ProofWhole {
		return lab.Time{}, errors.New("auth_time is too long ago")
	}
	if at.After(now) { // its clock may be a little ahead
		at = now
	}
	return lab.At(at), nil
}

// account finds the account of a subject: known from before, else the one whose
// name is the e-mail address that the provider has verified.
func (o *OIDC) account(ctx context.Context, id *oidc.IDToken) (account, lab.Item, error) {
	s := o.access
	key := hashOf(o.issuer + "\x00" + id.Subject)
	known, err := s.Vault.Item(ctx, kindSubject, key, lab.At(s.now()))
	if err == nil {
		return load[account](ctx, s, kindAccount, known.Owner)
	}
	if lab.ClassOf(err) != lab.NotFound {
		return account{}, lab.Item{}, err
	}
	var claims struct {
		Email    string `json:"email"`
		Verified bool   `json:"email_verified"`
	}
	if err := id.Claims(&claims); err != nil {
		return account{}, lab.Item{}, err
	}
	name, err := cleanName(claims.Email)
	if err != nil || !claims.Verified {
		return account{}, lab.Item{}, errors.New("no verified e-mail address")
	}
	a, it, err := s.byName(ctx, name)
	if err != nil {
		return a, it, err
	}
	return a, it, s.save(ctx, lab.Item{Kind: kindSubject, Key: key, Owner: a.ID}, struct{}{})
}
