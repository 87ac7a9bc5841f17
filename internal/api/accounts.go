package api

import (
	"context"
	"net/http"

	"ullage/internal/access"
	"ullage/internal/lab"
)

// Accounts lists accounts.
type Accounts struct {
	Accounts []access.Account `json:"accounts"`
}

// Tokens lists API tokens.
type Tokens struct {
	Tokens []access.Token `json:"tokens"`
}

// Devices lists registered devices.
type Devices struct {
	Devices []access.Device `json:"devices"`
}

// AccessEvents lists what happened to accounts.
type AccessEvents struct {
	Events []access.LogEntry `json:"events"`
}

func (s *Server) factorRule(ctx context.Context) (access.Rule, error) { return s.Access.Rule(ctx) }

func (s *Server) accountRoutes() {
	gets(s, "accounts", "/accounts", "Every account", func(ctx context.Context) (Accounts, error) {
		list, err := s.Access.Accounts(ctx)
		return Accounts{list}, err
	})
	posts(s, "new-account", "/accounts", "Make an account; answers with the link for its holder", func(ctx context.Context, _ string, in access.NewAccount) (access.Link, []http.Cookie, error) {
		l, err := s.Access.Create(ctx, in)
		return l, nil, err
	})
	posts(s, "change-account", "/accounts/{id}", "Set an account's roles, or switch it off", func(ctx context.Context, id string, in access.AccountChange) (access.Account, []http.Cookie, error) {
		a, err := s.Access.Change(ctx, id, in)
		return a, nil, err
	})
	posts(s, "account-link", "/accounts/{id}/link", "A new link for an account whose password is not set, or forgotten", func(ctx context.Context, id string, _ None) (access.Link, []http.Cookie, error) {
		l, err := s.Access.Invite(ctx, id)
		return l, nil, err
	})
	posts(s, "end-account-sessions", "/accounts/{id}/end-sessions", "Sign an account out everywhere", func(ctx context.Context, id string, _ None) (None, []http.Cookie, error) {
		return None{}, nil, s.Access.EndSessions(ctx, id)
	})
	posts(s, "take-factor-off", "/accounts/{id}/take-factor-off", "Take a lost second factor off an account; its holder is told", func(ctx context.Context, id string, _ None) (access.Account, []http.Cookie, error) {
		a, err := s.Access.TakeFactorOff(ctx, id)
		return a, nil, err
	})
	gets(s, "factor-rule", "/accounts/second-factor", "Of whom a second factor is required", s.factorRule)
	posts(s, "set-factor-rule", "/accounts/second-factor", "Require a second factor of some, all or nobody", func(ctx context.Context, _ string, in access.Rule) (access.Rule, []http.Cookie, error) {
		r, err := s.Access.SetRule(ctx, in)
		return r, nil, err
	})
	gets(s, "access-events", "/accounts/events", "What happened to accounts, newest first", func(ctx context.Context) (AccessEvents, error) {
		list, err := s.Access.Events(ctx)
		return AccessEvents{list}, err
	})
	gets(s, "tokens", "/tokens", "My API tokens; everyone's for an administrator", func(ctx context.Context) (Tokens, error) {
		list, err := s.Access.Tokens(ctx)
		return Tokens{list}, err
	})
	posts(s, "new-token", "/tokens", "Make an API token; its secret is shown once", func(ctx context.Context, _ string, in access.NewToken) (access.MadeToken, []http.Cookie, error) {
		t, err := s.Access.NewToken(ctx, in)
		return t, nil, err
	})
	posts(s, "revoke-token", "/tokens/{id}/revoke", "End an API token", func(ctx context.Context, id string, _ None) (None, []http.Cookie, error) {
		return None{}, nil, s.Access.Revoke(ctx, id)
	})
	gets(s, "devices", "/devices", "Registered devices", func(ctx context.Context) (Devices, error) {
		list, err := s.Access.Devices(ctx, fromOf(ctx).Device)
		return Devices{list}, err
	})
	posts(s, "register-device", "/devices", "Register this browser as a shared device, or as one at the line", func(ctx context.Context, _ string, in access.NewDevice) (access.Device, []http.Cookie, error) {
		d, err := s.Access.Register(ctx, in)
		if err != nil {
			return access.Device{}, nil, err
		}
		from := fromOf(ctx)
		cookies := []http.Cookie{cookie(from, deviceCookie, d.Secret, d.Until)}
		if d.Device.Kind == "line" { // it acts as itself from now on, not as who registered it
			cookies = append(cookies, cookie(from, sessionCookie, "", lab.Time{}))
			err = s.Access.SignOut(ctx, access.From{Session: from.Session})
		}
		return d.Device, cookies, err
	})
	posts(s, "unregister-device", "/devices/{id}/end", "End a registered device", func(ctx context.Context, id string, _ None) (None, []http.Cookie, error) {
		return None{}, nil, s.Access.Unregister(ctx, id)
	})
}
