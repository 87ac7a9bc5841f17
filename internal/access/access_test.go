package access

import (
	"context"
	"io"
	"log/slog"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ullage/internal/lab"
	"ullage/internal/store"
)

// house is a service over an empty database with a clock that a test moves.
type house struct {
	*testing.T
	*Service
	clock time.Time
	log   *strings.Builder
	path  string
}

// asShipped are the parameters before the tests make hashing cheap.
var asShipped = *params

func init() { params.Memory, params.Iterations = 64, 1 }

func newHouse(t *testing.T) *house {
	t.Helper()
	path := filepath.Join(t.TempDir(), "ullage.db")
	st, err := store.OpenSQLite(t.Context(), path, store.SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	h := &house{T: t, clock: time.Date(2026, 11, 5, 12, 0, 0, 0, time.UTC), log: &strings.Builder{}, path: path}
	now := func() time.Time { return h.clock }
	h.Service = New(&lab.Service{Store: st, Now: now, Guarded: true}, slog.New(slog.NewTextHandler(io.MultiWriter(h.log), nil)))
	h.KeyFile = filepath.Join(filepath.Dir(path), "second-factor.key")
	return h
}

const password = "eleven casks of old ale"

// admin makes the first administrator and gives a context that acts as them.
func (h *house) admin() context.Context {
	h.Helper()
	link, made, err := h.AdminLink(h.Context(), false)
	if err != nil || !made {
		h.Fatalf("made %v, %v", made, err)
	}
	e, err := h.Accept(h.Context(), Accept{Link: link.Secret, Password: password, Name: "brewmaster", PersonName: "Brewmaster"}, From{Addr: "10.0.0.1"})
	if err != nil {
		h.Fatal(err)
	}
	return lab.As(h.Context(), e.Principal)
}

// person makes an account that has set its password.
func (h *house) person(ctx context.Context, name string, roles ...lab.Role) Entry {
	h.Helper()
	link, err := h.Create(ctx, NewAccount{Name: name, Roles: roles})
	if err != nil {
		h.Fatal(err)
	}
	e, err := h.Accept(h.Context(), Accept{Link: link.Secret, Password: password + name}, From{Addr: "10.0.0.2"})
	if err != nil {
		h.Fatal(err)
	}
	return e
}

func (h *house) class(what string, err error, want lab.Class) {
	h.Helper()
	if err == nil || lab.ClassOf(err) != want {
		h.Errorf("%s: %v, want an error of class %s", what, err, want)
	}
}

func TestFirstAdministrator(t *testing.T) {
	h := newHouse(t)
	link, made, err := h.AdminLink(t.Context(), false)
	if err != nil || !made {
		t.Fatal(made, err)
	}
	if _, made, err = h.AdminLink(t.Context(), false); made || err != nil {
		t.Errorf("a second start made another link: %v, %v", made, err)
	}
	again, made, err := h.AdminLink(t.Context(), true)
	if err != nil || !made {
		t.Fatal(made, err)
	}
	in := Accept{Link: link.Secret, Password: password, Name: "brewmaster", PersonName: "Brewmaster"}
	_, err = h.Accept(t.Context(), in, From{})
	h.class("a link that was replaced", err, lab.NoSession)
	in.Link = again.Secret
	in.Password = "short"
	_, err = h.Accept(t.Context(), in, From{})
	h.class("a short password", err, lab.Invalid)
	in.Password, in.Name = password, "no spaces please"
	_, err = h.Accept(t.Context(), in, From{})
	h.class("a bad name", err, lab.Invalid)
	in.Name = "brewmaster"
	var got atomic.Int64
	var wg sync.WaitGroup
	for range 4 { // the link works once, also for those who come at the same time
		wg.Go(func() {
			if _, err := h.Accept(t.Context(), in, From{}); err == nil {
				got.Add(1)
			}
		})
	}
	wg.Wait()
	if got.Load() != 1 {
		t.Fatalf("%d became administrator", got.Load())
	}
	_, _, err = h.AdminLink(t.Context(), true)
	h.class("a new link with an administrator there", err, lab.Invalid)
	e, err := h.SignIn(t.Context(), " Brewmaster ", password, From{})
	if err != nil || !e.Principal.Has(lab.RoleAdminister) || e.Principal.Person == "" {
		t.Fatalf("%+v, %v", e, err)
	}
	body, err := h.Lab.Get(lab.As(t.Context(), e.Principal), lab.KindPeople, e.Principal.Person)
	if err != nil || !strings.Contains(string(body), `"by":"`+e.Principal.Person) {
		t.Errorf("the person: %s, %v", body, err)
	}
}

func TestAdminLinkEnds(t *testing.T) {
	h := newHouse(t)
	link, _, err := h.AdminLink(t.Context(), false)
	if err != nil {
		t.Fatal(err)
	}
	h.clock = h.clock.Add(AdminLink)
	_, err = h.Accept(t.Context(), Accept{Link: link.Secret, Password: password, Name: "late"}, From{})
	h.class("after a day", err, lab.NoSession)
	if _, made, err := h.AdminLink(t.Context(), false); !made || err != nil {
		t.Errorf("the next start makes a new one: %v, %v", made, err)
	}
}

func TestSessions(t *testing.T) {
	h := newHouse(t)
	h.admin()
	planted := strings.Repeat("x", 43) // what an attacker put into the browser
	e, err := h.SignIn(t.Context(), "brewmaster", password, From{Session: planted})
	if err != nil {
		t.Fatal(err)
	}
	if e.Secret == planted {
		t.Error("the session keeps a secret that the browser brought")
	}
	_, err = h.Resolve(t.Context(), planted)
	h.class("the planted secret", err, lab.NoSession)
	if p, err := h.Resolve(t.Context(), e.Secret); err != nil || p.Name != "brewmaster" {
		t.Errorf("%+v, %v", p, err)
	}
	next, err := h.SignIn(t.Context(), "brewmaster", password, From{Session: e.Secret})
	if err != nil {
		t.Fatal(err)
	}
	_, err = h.Resolve(t.Context(), e.Secret)
	h.class("the session before, after signing in again", err, lab.NoSession)
	for range 3 {
		h.clock = h.clock.Add(SessionIdle - time.Hour)
		if _, err := h.Resolve(t.Context(), next.Secret); err != nil {
			t.Fatalf("used within its idle time: %v", err)
		}
	}
	idle := h.clock
	h.clock = idle.Add(SessionIdle + time.Minute)
	_, err = h.Resolve(t.Context(), next.Secret)
	h.class("idle too long", err, lab.NoSession)
	third, _ := h.SignIn(t.Context(), "brewmaster", password, From{})
	for range 10 {
		h.clock = h.clock.Add(SessionWhole / 10)
		_, err = h.Resolve(t.Context(), third.Secret)
	}
	h.class("older than a session may be", err, lab.NoSession)
	a, _ := h.SignIn(t.Context(), "brewmaster", password, From{})
	b, _ := h.SignIn(t.Context(), "brewmaster", password, From{})
	if err := h.SignOut(t.Context(), From{Session: a.Secret}); err != nil {
		t.Fatal(err)
	}
	_, err = h.Resolve(t.Context(), a.Secret)
	h.class("signed out", err, lab.NoSession)
	if _, err := h.Resolve(t.Context(), b.Secret); err != nil {
		t.Errorf("the other one: %v", err)
	}
	if err := h.SignOutEverywhere(lab.As(t.Context(), b.Principal)); err != nil {
		t.Fatal(err)
	}
	_, err = h.Resolve(t.Context(), b.Secret)
	h.class("signed out everywhere", err, lab.NoSession)
	if err := h.Sweep(t.Context()); err != nil {
		t.Error(err)
	}
}

func TestPasswordChangeEndsOtherSessions(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	other, _ := h.SignIn(t.Context(), "brewmaster", password, From{})
	_, err := h.SetPassword(ctx, "not the password", "a wholly new sentence", From{})
	h.class("without the old password", err, lab.Forbidden)
	e, err := h.SetPassword(ctx, password, "a wholly new sentence", From{})
	if err != nil {
		t.Fatal(err)
	}
	_, err = h.Resolve(t.Context(), other.Secret)
	h.class("a session from before", err, lab.NoSession)
	if _, err := h.Resolve(t.Context(), e.Secret); err != nil {
		t.Errorf("the session of who changed it: %v", err)
	}
	_, err = h.SignIn(t.Context(), "brewmaster", password, From{})
	h.class("the old password", err, lab.NoSession)
}

func TestGuessing(t *testing.T) {
	h := newHouse(t)
	h.admin()
	tries := 0
	var err error
	for range 40 {
		if _, err = h.SignIn(t.Context(), "brewmaster", "wrong wrong wrong", From{Addr: "10.9.9.9"}); lab.ClassOf(err) == lab.TooMany {
			break
		}
		tries++
	}
	if tries != 5 {
		t.Errorf("%d tries before one has to wait, then %v", tries, err)
	}
	_, err = h.SignIn(t.Context(), "brewmaster", password, From{Addr: "10.9.9.9"})
	h.class("the right password while waiting", err, lab.TooMany)
	if _, err = h.SignIn(t.Context(), "brewmaster", password, From{Addr: "10.0.0.7"}); err != nil {
		t.Errorf("from another address: %v", err)
	}
	// An hour of guessing gets few tries.
	for range 3600 {
		h.clock = h.clock.Add(time.Second)
		if _, err = h.SignIn(t.Context(), "brewmaster", "wrong wrong wrong", From{Addr: "10.9.9.9"}); lab.ClassOf(err) != lab.TooMany {
			tries++
		}
	}
	if tries > 20 {
		t.Errorf("%d tries in an hour", tries)
	}
	h.clock = h.clock.Add(longestWait + time.Second)
	if _, err = h.SignIn(t.Context(), "brewmaster", password, From{Addr: "10.9.9.9"}); err != nil {
		t.Errorf("after waiting: %v", err)
	}
	// Names that are none answer the same.
	_, a := h.SignIn(t.Context(), "nobody", password, From{Addr: "10.8.8.8"})
	_, b := h.SignIn(t.Context(), "brewmaster", "wrong wrong wrong", From{Addr: "10.8.8.8"})
	if a.Error() != b.Error() {
		t.Errorf("%q and %q tell whether there is an account", a, b)
	}
	// A hundred at once do not slip through.
	var past atomic.Int64
	var wg sync.WaitGroup
	for range 100 {
		wg.Go(func() {
			if _, err := h.SignIn(t.Context(), "nobody", "wrong wrong wrong", From{Addr: "10.7.7.7"}); lab.ClassOf(err) == lab.NoSession {
				past.Add(1)
			}
		})
	}
	wg.Wait()
	if past.Load() > 5 {
		t.Errorf("%d of a hundred at once were tried", past.Load())
	}
}

func TestPasswords(t *testing.T) {
	for text, good := range map[string]bool{
		"elevenletter": true, "eleven casks": true, "œufs à la coque": true, "12345678901": false, "123456789012": false, "aaaaaaaaaaaa": false,
		"abababababab": false, "qwertyuiopas": false, "password1234": false, "brewmaster1234": false, "": false, strings.Repeat("word ", 60): false,
		strings.Repeat("a sentence ", 20): true, "x\xffyyyyyyyyyyy": false, "ullage ullage ": false, strings.Repeat("é", 64): false,
		"ÆØÅ æøå 🍺🍺🍺 日本": true, "correct horse battery staple, sixty-four characters and more of it": true,
	} {
		if err := checkPassword(text, []string{"brewmaster", "ullage"}); (err == nil) != good {
			t.Errorf("%q: %v", text, err)
		}
	}
	for pin, good := range map[string]bool{"482915": true, "123456": false, "654321": false, "111111": false, "121212": false, "48291": false, "4829a5": false, "1234567890123": false} {
		if err := checkPIN(pin); (err == nil) != good {
			t.Errorf("PIN %q: %v", pin, err)
		}
	}
}

func TestAccounts(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	e := h.person(ctx, "quality.tech", lab.RoleRead, lab.RoleEnter)
	tech := lab.As(t.Context(), e.Principal)
	for what, do := range map[string]func(context.Context) error{
		"accounts": func(c context.Context) error { _, err := h.Accounts(c); return err },
		"create": func(c context.Context) error {
			_, err := h.Create(c, NewAccount{Name: "x1", Roles: []lab.Role{lab.RoleAdminister}})
			return err
		},
		"change": func(c context.Context) error {
			_, err := h.Change(c, e.Principal.Account, AccountChange{Roles: lab.Roles()})
			return err
		},
		"invite":   func(c context.Context) error { _, err := h.Invite(c, e.Principal.Account); return err },
		"sign out": func(c context.Context) error { return h.EndSessions(c, e.Principal.Account) },
		"events":   func(c context.Context) error { _, err := h.Events(c); return err },
		"devices":  func(c context.Context) error { _, err := h.Devices(c, ""); return err },
		"register": func(c context.Context) error { _, err := h.Register(c, NewDevice{Name: "x", Kind: "line"}); return err },
	} {
		h.class(what+" by who enters", do(tech), lab.Forbidden)
		h.class(what+" by nobody", do(t.Context()), lab.NoSession)
	}
	_, err := h.Create(ctx, NewAccount{Name: "Quality.Tech", Roles: []lab.Role{lab.RoleRead}})
	h.class("a name that is taken", err, lab.Conflict)
	list, err := h.Accounts(ctx)
	if err != nil || len(list) != 2 {
		t.Fatalf("%v, %v", list, err)
	}
	boss := list[slices.IndexFunc(list, func(a Account) bool { return a.Name == "brewmaster" })]
	_, err = h.Change(ctx, boss.ID, AccountChange{Roles: []lab.Role{lab.RoleRead}})
	h.class("the last administrator gives it up", err, lab.Invalid)
	_, err = h.Change(ctx, boss.ID, AccountChange{Roles: boss.Roles, Off: true})
	h.class("the last administrator is switched off", err, lab.Invalid)
	second, err := h.SignIn(t.Context(), "quality.tech", password+"quality.tech", From{})
	if err != nil {
		t.Fatal(err)
	}
	if err := h.EndSessions(ctx, e.Principal.Account); err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{e.Secret, second.Secret} {
		_, err = h.Resolve(t.Context(), secret)
		h.class("a session that an administrator ended", err, lab.NoSession)
	}
	if e, err = h.SignIn(t.Context(), "quality.tech", password+"quality.tech", From{}); err != nil {
		t.Fatal(err)
	}
	if _, err := h.Change(ctx, e.Principal.Account, AccountChange{Roles: []lab.Role{lab.RoleRead}}); err != nil {
		t.Fatal(err)
	}
	if p, err := h.Resolve(t.Context(), e.Secret); err != nil || p.Has(lab.RoleEnter) {
		t.Errorf("a role that was taken still counts: %+v, %v", p, err)
	}
	tok, err := h.NewToken(tech, NewToken{Name: "probe", Roles: []lab.Role{lab.RoleRead}, Days: 30})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Change(ctx, e.Principal.Account, AccountChange{Roles: []lab.Role{lab.RoleRead}, Off: true}); err != nil {
		t.Fatal(err)
	}
	_, err = h.Resolve(t.Context(), e.Secret)
	h.class("a session of one switched off", err, lab.NoSession)
	_, err = h.ResolveToken(t.Context(), tok.Secret)
	h.class("a token of one switched off", err, lab.NoSession)
	_, err = h.SignIn(t.Context(), "quality.tech", password+"quality.tech", From{})
	h.class("one switched off signs in", err, lab.NoSession)
	link, err := h.Invite(ctx, e.Principal.Account)
	if err != nil {
		t.Fatal(err)
	}
	_, err = h.Accept(t.Context(), Accept{Link: link.Secret, Password: password}, From{})
	h.class("a link of one switched off", err, lab.NoSession)
}
