package access

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"ullage/internal/lab"
)

func TestTokens(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	e := h.person(ctx, "quality.tech", lab.RoleRead, lab.RoleEnter)
	tech := lab.As(t.Context(), e.Principal)
	for _, in := range []NewToken{{Name: "a", Roles: []lab.Role{lab.RoleReview}, Days: 1}, {Name: "a", Roles: []lab.Role{lab.RoleAdminister}, Days: 1},
		{Name: "a", Roles: []lab.Role{"all"}, Days: 1}, {Name: "a", Days: 1}, {Name: "", Roles: []lab.Role{lab.RoleRead}, Days: 1}, {Name: "a", Roles: []lab.Role{lab.RoleRead}, Days: 500}} {
		_, err := h.NewToken(tech, in)
		h.class("a token asked for", err, lab.Invalid)
	}
	_, err := h.NewToken(ctx, NewToken{Name: "a", Roles: []lab.Role{lab.RoleAdminister}, Days: 1})
	h.class("a token that administers", err, lab.Invalid)
	tok, err := h.NewToken(tech, NewToken{Name: "probe", Roles: []lab.Role{lab.RoleRead}, Days: 30})
	if err != nil {
		t.Fatal(err)
	}
	p, err := h.ResolveToken(t.Context(), tok.Secret)
	if err != nil || p.Has(lab.RoleEnter) || !p.Has(lab.RoleRead) || p.Person != e.Principal.Person {
		t.Errorf("%+v, %v", p, err)
	}
	_, err = h.NewToken(lab.As(t.Context(), p), NewToken{Name: "b", Roles: []lab.Role{lab.RoleRead}, Days: 300})
	h.class("a token makes a token", err, lab.Forbidden)
	other := h.person(ctx, "cellar", lab.RoleRead)
	h.class("a token of someone else", h.Revoke(lab.As(t.Context(), other.Principal), tok.ID), lab.NotFound)
	if _, err := h.ResolveToken(t.Context(), tok.Secret); err != nil {
		t.Error(err)
	}
	h.clock = h.clock.Add(30 * 24 * time.Hour)
	_, err = h.ResolveToken(t.Context(), tok.Secret)
	h.class("after its end", err, lab.NoSession)
	tech = lab.As(t.Context(), h.signIn("quality.tech", password+"quality.tech").Principal)
	two, _ := h.NewToken(tech, NewToken{Name: "probe", Roles: []lab.Role{lab.RoleRead}, Days: 3})
	if err := h.Revoke(ctx, two.ID); err != nil {
		t.Fatal(err)
	}
	_, err = h.ResolveToken(t.Context(), two.Secret)
	h.class("revoked", err, lab.NoSession)
}

func TestHandOver(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	e := h.person(ctx, "quality.tech", lab.RoleRead, lab.RoleReview)
	tech := lab.As(t.Context(), e.Principal)
	h.class("a PIN without the password", h.SetPIN(tech, "wrong wrong wrong", "482915"), lab.Forbidden)
	if err := h.SetPIN(tech, password+"quality.tech", "482915"); err != nil {
		t.Fatal(err)
	}
	id := e.Principal.Account
	_, err := h.SignInPIN(t.Context(), id, "482915", From{})
	h.class("on a device that is not registered", err, lab.Forbidden)
	_, err = h.Holders(t.Context(), "")
	h.class("who has a PIN, for anyone", err, lab.Forbidden)
	reg, err := h.Register(ctx, NewDevice{Name: "Lab tablet", Kind: "shared"})
	if err != nil {
		t.Fatal(err)
	}
	from := From{Device: reg.Secret, Addr: "10.0.0.3"}
	_, err = h.ResolveDevice(t.Context(), reg.Secret)
	h.class("a shared device with nobody signed in", err, lab.NoSession)
	list, err := h.Holders(t.Context(), reg.Secret)
	if err != nil || len(list) != 1 || list[0].Account != id {
		t.Fatalf("%v, %v", list, err)
	}
	in, err := h.SignInPIN(t.Context(), id, "482915", from)
	if err != nil {
		t.Fatal(err)
	}
	p, err := h.Resolve(t.Context(), in.Secret)
	if err != nil || !p.Has(lab.RoleEnter) || p.Has(lab.RoleReview, lab.RoleAdminister) || p.Device != reg.Device.ID {
		t.Errorf("%+v, %v", p, err)
	}
	_, err = h.SetPassword(lab.As(t.Context(), p), password, "a wholly new sentence", from)
	h.class("a password changed by PIN", err, lab.Forbidden)
	h.clock = h.clock.Add(PINIdle + time.Minute)
	_, err = h.Resolve(t.Context(), in.Secret)
	h.class("idle too long for a PIN", err, lab.NoSession)
	for range 5 {
		_, err = h.SignInPIN(t.Context(), id, "000001", from)
		h.class("a wrong PIN", err, lab.NoSession)
	}
	_, err = h.SignInPIN(t.Context(), id, "482915", from)
	h.class("the right PIN after five wrong ones", err, lab.TooMany)
	if _, err := h.SignIn(t.Context(), "quality.tech", password+"quality.tech", From{}); err != nil {
		t.Fatal(err)
	}
	in, err = h.SignInPIN(t.Context(), id, "482915", from)
	if err != nil {
		t.Fatalf("after the password: %v", err)
	}
	if err := h.Unregister(ctx, reg.Device.ID); err != nil {
		t.Fatal(err)
	}
	_, err = h.Resolve(t.Context(), in.Secret)
	h.class("a PIN session of a device that ended", err, lab.NoSession)
}

func TestLineDevice(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	reg, err := h.Register(ctx, NewDevice{Name: "Line C6", Kind: "line", Days: 10})
	if err != nil {
		t.Fatal(err)
	}
	p, err := h.ResolveDevice(t.Context(), reg.Secret)
	if err != nil || !slices.Equal(p.Roles, []lab.Role{lab.RoleLine}) || p.Person == "" {
		t.Fatalf("%+v, %v", p, err)
	}
	_, err = h.Export(lab.As(t.Context(), p))
	h.class("a line device exports", err, lab.Forbidden)
	h.clock = h.clock.Add(10 * 24 * time.Hour)
	_, err = h.ResolveDevice(t.Context(), reg.Secret)
	h.class("after its days", err, lab.NoSession)
	ctx = lab.As(t.Context(), h.signIn("brewmaster", password).Principal)
	reg, _ = h.Register(ctx, NewDevice{Name: "Line C6", Kind: "line"})
	if err := h.Unregister(ctx, reg.Device.ID); err != nil {
		t.Fatal(err)
	}
	_, err = h.ResolveDevice(t.Context(), reg.Secret)
	h.class("unregistered", err, lab.NoSession)
}

// Export asks lab, as a request would.
func (h *house) Export(ctx context.Context) (lab.Manifest, error) {
	return h.Lab.Export(ctx, func(string) (io.Writer, error) { return io.Discard, nil })
}

// No secret stands in the log or in the database.
func TestSecretsAreNotKept(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	e := h.person(ctx, "quality.tech", lab.RoleRead, lab.RoleEnter)
	tech := lab.As(t.Context(), e.Principal)
	link, err1 := h.Invite(ctx, e.Principal.Account)
	tok, err2 := h.NewToken(tech, NewToken{Name: "probe", Roles: []lab.Role{lab.RoleRead}, Days: 30})
	reg, err3 := h.Register(ctx, NewDevice{Name: "tablet", Kind: "shared"})
	err4 := h.SetPIN(tech, password+"quality.tech", "482915")
	_, _ = h.SignIn(t.Context(), "quality.tech", "mistyped my password", From{})
	if err := errors.Join(err1, err2, err3, err4); err != nil {
		t.Fatal(err)
	}
	kept := h.log.String()
	for _, kind := range []string{kindAccount, kindName, kindSession, kindLink, kindToken, kindDevice, kindEvent} {
		items, err := h.Vault.Items(t.Context(), kind, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, it := range items {
			kept += it.Key + string(it.Body)
		}
	}
	for name, secret := range map[string]string{"password": password, "PIN": "482915", "session": e.Secret, "link": link.Secret, "token": tok.Secret, "device": reg.Secret, "wrong password": "mistyped my password"} {
		if strings.Contains(kept, secret) {
			t.Errorf("the %s stands where it should not", name)
		}
	}
	if !strings.Contains(kept, "$argon2id$v=19$m=64,t=1,p=1$") || asShipped.Memory < 19*1024 || asShipped.Iterations < 2 {
		t.Errorf("passwords are not hashed as they should be: %+v", asShipped)
	}
}
