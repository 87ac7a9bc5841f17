package access

import (
	"context"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ullage/internal/lab"
)

// phone shows the codes of a seed, by its own clock.
type phone struct {
	h    *house
	seed []byte
}

func (p phone) code(off int64) string {
	return hotp(p.seed, uint64(stepAt(p.h.clock)+off), codeDigits)
}

func (h *house) phone(e Enrolment) phone {
	h.Helper()
	seed, err := plain32.DecodeString(e.Secret)
	if err != nil {
		h.Fatal(err)
	}
	return phone{h, seed}
}

// enrolled sets up the second factor of who acts in ctx.
func (h *house) enrolled(ctx context.Context) (phone, []string, Entry) {
	h.Helper()
	e, err := h.NewFactor(ctx)
	if err != nil {
		h.Fatal(err)
	}
	p := h.phone(e)
	codes, entry, err := h.ConfirmFactor(ctx, p.code(0), From{Addr: "10.0.0.1"})
	if err != nil || len(codes.Codes) != codesMade {
		h.Fatal(codes, err)
	}
	return p, codes.Codes, entry
}

func (h *house) signIn(name, pass string) Entry {
	h.Helper()
	e, err := h.SignIn(h.Context(), name, pass, From{Addr: "10.0.0.1"})
	if err != nil {
		h.Fatal(err)
	}
	return e
}

func half2(e Entry) From { return From{Addr: "10.0.0.1", Half: e.Secret} }

func (h *house) tick() { h.clock = h.clock.Add(codeStep * time.Second) }

func TestSecondFactor(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	before := h.signIn("brewmaster", password)
	start, err := h.NewFactor(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if e := h.signIn("brewmaster", password); e.Step != "" {
		t.Error("a factor that is not confirmed is asked for")
	}
	_, _, err = h.ConfirmFactor(ctx, h.phone(start).code(-30), From{})
	h.class("a code of a clock that is slow", err, lab.Invalid)
	if !strings.Contains(err.Error(), "15 min slow") {
		t.Errorf("the clock is not named: %v", err)
	}
	_, _, err = h.ConfirmFactor(ctx, "000000x", From{})
	h.class("no code", err, lab.Invalid)
	p, codes, e := h.enrolled(ctx)
	_, err = h.Resolve(t.Context(), before.Secret)
	h.class("another session, after the factor was turned on", err, lab.NoSession)
	if _, err := h.Resolve(t.Context(), e.Secret); err != nil {
		t.Error(err)
	}
	if f, err := h.Factor(ctx); err != nil || !f.On || f.CodesLeft != codesMade {
		t.Errorf("%+v, %v", f, err)
	}
	// The half session opens nothing.
	in := h.signIn("brewmaster", password)
	if in.Step != StepCode || in.Principal.Account != "" {
		t.Fatalf("%+v", in)
	}
	_, err = h.Resolve(t.Context(), in.Secret)
	h.class("half a session as a whole one", err, lab.NoSession)
	_, err = h.EnrolFirst(t.Context(), half2(in))
	h.class("half a session sets up another factor", err, lab.NoSession)
	_, _, err = h.ConfirmFirst(t.Context(), p.code(0), half2(in))
	h.class("half a session confirms another factor", err, lab.NoSession)
	_, err = h.Second(t.Context(), p.code(0), half2(in))
	h.class("the code that turned it on", err, lab.Forbidden)
	h.tick()
	_, err = h.Second(t.Context(), p.code(0), From{})
	h.class("a code without half a session", err, lab.NoSession)
	in2, err := h.Second(t.Context(), p.code(0), half2(in))
	if err != nil || in2.Step != "" || !in2.Principal.Has(lab.RoleAdminister) || in2.Secret == in.Secret {
		t.Fatalf("%+v, %v", in2, err)
	}
	if _, err := h.Resolve(t.Context(), in2.Secret); err != nil {
		t.Error(err)
	}
	h.tick()
	_, err = h.Second(t.Context(), p.code(0), half2(in))
	h.class("half a session used again", err, lab.NoSession)
	// A code counts once, in whatever session.
	again := h.signIn("brewmaster", password)
	code := p.code(0)
	if _, err := h.Second(t.Context(), code, half2(again)); err != nil {
		t.Fatal(err)
	}
	again = h.signIn("brewmaster", password)
	_, err = h.Second(t.Context(), code, half2(again))
	h.class("a code used again", err, lab.Forbidden)
	// A recovery code, as it is printed or not, once.
	if _, err := h.Second(t.Context(), strings.ToUpper(strings.ReplaceAll(codes[3], "-", " ")), half2(again)); err != nil {
		t.Errorf("a recovery code: %v", err)
	}
	again = h.signIn("brewmaster", password)
	_, err = h.Second(t.Context(), codes[3], half2(again))
	h.class("a recovery code used again", err, lab.Forbidden)
	h.clock = h.clock.Add(halfWhole)
	_, err = h.Second(t.Context(), codes[4], half2(again))
	h.class("half a session that is too old", err, lab.NoSession)
}

func TestSecondFactorAtOnce(t *testing.T) {
	h := newHouse(t)
	p, codes, _ := h.enrolled(h.admin())
	h.tick()
	for what, code := range map[string]string{"of the app": p.code(0), "of the list": codes[0]} {
		var in []Entry
		for range 8 {
			in = append(in, h.signIn("brewmaster", password))
		}
		var got atomic.Int64
		var wg sync.WaitGroup
		for i, e := range in {
			wg.Go(func() {
				from := half2(e)
				from.Addr = "10.1.0." + string(rune('0'+i))
				if _, err := h.Second(t.Context(), code, from); err == nil {
					got.Add(1)
				}
			})
		}
		wg.Wait()
		if got.Load() != 1 {
			t.Errorf("a code %s let %d in at once", what, got.Load())
		}
	}
}

func TestGuessingCodes(t *testing.T) {
	h := newHouse(t)
	p, _, _ := h.enrolled(h.admin())
	h.tick()
	in := h.signIn("brewmaster", password)
	for range maxWrong {
		_, err := h.Second(t.Context(), "000000", half2(in))
		h.class("a wrong code", err, lab.Forbidden)
	}
	_, err := h.Second(t.Context(), p.code(0), half2(in))
	h.class("the right one, after five wrong ones", err, lab.NoSession)
	in = h.signIn("brewmaster", password)
	_, err = h.Second(t.Context(), p.code(0), half2(in))
	h.class("at once after five wrong ones", err, lab.TooMany)
	tries := 0
	for range 2 * 3600 / 5 { // two hours of someone who knows the password
		h.clock = h.clock.Add(5 * time.Second)
		in, err = h.SignIn(t.Context(), "brewmaster", password, From{Addr: "10.0.0.1"})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := h.Second(t.Context(), "00000a", half2(in)); lab.ClassOf(err) != lab.TooMany {
			tries++
		}
	}
	if tries > 25 {
		t.Errorf("%d codes were tried in two hours", tries)
	}
	in, _ = h.SignIn(t.Context(), "brewmaster", password, From{Addr: "10.0.0.9"})
	e, err := h.Second(t.Context(), p.code(0), From{Addr: "10.0.0.9", Half: in.Secret})
	if err != nil {
		t.Fatalf("the holder, from another address: %v", err)
	}
	told, err := h.Notices(lab.As(t.Context(), e.Principal))
	if err != nil || len(told) == 0 || !strings.Contains(told[0].Text, "Five wrong codes") {
		t.Errorf("not told of the wrong codes: %v, %v", told, err)
	}
}

// A new password by a link does not go round the second factor.
func TestLinkAsksForTheSecondFactor(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	e := h.person(ctx, "quality.tech", lab.RoleRead)
	p, _, _ := h.enrolled(lab.As(t.Context(), e.Principal))
	link, err := h.Invite(ctx, e.Principal.Account)
	if err != nil {
		t.Fatal(err)
	}
	h.tick()
	in, err := h.Accept(t.Context(), Accept{Link: link.Secret, Password: "a wholly new sentence"}, From{})
	if err != nil || in.Step != StepCode {
		t.Fatalf("%+v, %v", in, err)
	}
	if e, err := h.Second(t.Context(), p.code(0), half2(in)); err != nil || e.Principal.Name != "quality.tech" {
		t.Errorf("%+v, %v", e, err)
	}
}

func TestProof(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	other := h.person(ctx, "quality.tech", lab.RoleRead)
	h.clock = h.clock.Add(ProofWhole + time.Second)
	late := map[string]func(context.Context) error{
		"own password": func(c context.Context) error {
			_, err := h.SetPassword(c, password, "a wholly new sentence", From{})
			return err
		},
		"own PIN":          func(c context.Context) error { return h.SetPIN(c, password, "482915") },
		"own factor":       func(c context.Context) error { _, err := h.NewFactor(c); return err },
		"confirm a factor": func(c context.Context) error { _, _, err := h.ConfirmFactor(c, "1", From{}); return err },
		"factor off":       func(c context.Context) error { _, err := h.FactorOff(c, From{}); return err },
		"recovery codes":   func(c context.Context) error { _, err := h.NewCodes(c); return err },
		"token": func(c context.Context) error {
			_, err := h.NewToken(c, NewToken{Name: "x", Roles: []lab.Role{lab.RoleRead}, Days: 1})
			return err
		},
		"sign out everywhere": h.SignOutEverywhere,
		"end a session":       func(c context.Context) error { return h.EndSession(c, "x") },
		"new account": func(c context.Context) error {
			_, err := h.Create(c, NewAccount{Name: "x1", Roles: []lab.Role{lab.RoleRead}})
			return err
		},
		"roles": func(c context.Context) error {
			_, err := h.Change(c, other.Principal.Account, AccountChange{Roles: []lab.Role{lab.RoleRead}})
			return err
		},
		"link":              func(c context.Context) error { _, err := h.Invite(c, other.Principal.Account); return err },
		"another's factor":  func(c context.Context) error { _, err := h.TakeFactorOff(c, other.Principal.Account); return err },
		"another's session": func(c context.Context) error { return h.EndSessions(c, other.Principal.Account) },
		"rule":              func(c context.Context) error { _, err := h.SetRule(c, Rule{Everyone}); return err },
		"device":            func(c context.Context) error { _, err := h.Register(c, NewDevice{Name: "x", Kind: "line"}); return err },
	}
	for what, do := range late {
		h.class(what+", long after signing in", do(ctx), lab.Unproved)
	}
	if _, err := h.Accounts(ctx); err != nil { // to look takes no proof
		t.Error(err)
	}
	session := h.signIn("brewmaster", password)
	h.clock = h.clock.Add(time.Hour)
	from := From{Session: session.Secret}
	_, err := h.Prove(ctx, "not the password", "", from)
	h.class("a wrong password", err, lab.Forbidden)
	e, err := h.Prove(ctx, password, "", from)
	if err != nil || e.Secret == session.Secret {
		t.Fatalf("%+v, %v", e, err)
	}
	_, err = h.Resolve(t.Context(), session.Secret)
	h.class("the session's secret of before", err, lab.NoSession)
	now, err := h.Resolve(t.Context(), e.Secret)
	if err != nil {
		t.Fatal(err)
	}
	proved := lab.As(t.Context(), now)
	for what, do := range late {
		if what == "own password" || what == "sign out everywhere" {
			continue
		}
		if err := do(proved); err != nil && lab.ClassOf(err) == lab.Unproved {
			t.Errorf("%s, right after showing who it is: %v", what, err)
		}
	}
	// With the factor on, the password alone is no proof.
	p, codes, e := h.enrolled(proved)
	h.tick()
	_, err = h.Prove(lab.As(t.Context(), e.Principal), password, "", From{Session: e.Secret})
	h.class("without a code", err, lab.Forbidden)
	if e, err = h.Prove(lab.As(t.Context(), e.Principal), password, p.code(0), From{Session: e.Secret}); err != nil {
		t.Fatal(err)
	}
	if _, err = h.Prove(lab.As(t.Context(), e.Principal), password, codes[0], From{Session: e.Secret}); err != nil {
		t.Errorf("by a recovery code: %v", err)
	}
	h.clock = h.clock.Add(-time.Hour) // a clock that was set back proves nothing
	_, err = h.NewCodes(lab.As(t.Context(), e.Principal))
	h.class("from the time to come", err, lab.Unproved)
}

func TestFactorRule(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	tech := h.person(ctx, "quality.tech", lab.RoleRead, lab.RoleReview)
	reader := h.person(ctx, "taproom", lab.RoleRead)
	_, err := h.SetRule(ctx, Rule{Reviewers})
	h.class("a rule that shuts out who makes it", err, lab.Invalid)
	_, err = h.SetRule(ctx, Rule{"brewers"})
	h.class("a rule for nobody known", err, lab.Invalid)
	_, _, boss := h.enrolled(ctx)
	ctx = lab.As(t.Context(), boss.Principal)
	if r, err := h.Rule(ctx); err != nil || r.RequiredFor != Nobody {
		t.Fatal(r, err)
	}
	if _, err := h.SetRule(ctx, Rule{Reviewers}); err != nil {
		t.Fatal(err)
	}
	_, err = h.Resolve(t.Context(), tech.Secret)
	h.class("the session of one who needs a factor now", err, lab.NoSession)
	for what, s := range map[string]string{"of one who needs none": reader.Secret, "of one who has one": boss.Secret} {
		if _, err := h.Resolve(t.Context(), s); err != nil {
			t.Errorf("the session %s: %v", what, err)
		}
	}
	// Who must and has none is led to it before anything else.
	in := h.signIn("quality.tech", password+"quality.tech")
	if in.Step != StepEnrol {
		t.Fatalf("%+v", in)
	}
	_, err = h.Resolve(t.Context(), in.Secret)
	h.class("half a session as a whole one", err, lab.NoSession)
	_, err = h.Second(t.Context(), "123456", half2(in))
	h.class("a code before there is a factor", err, lab.NoSession)
	start, err := h.EnrolFirst(t.Context(), half2(in))
	if err != nil {
		t.Fatal(err)
	}
	codes, e, err := h.ConfirmFirst(t.Context(), h.phone(start).code(0), half2(in))
	if err != nil || len(codes.Codes) != codesMade || !e.Principal.Has(lab.RoleReview) {
		t.Fatalf("%v %+v, %v", codes, e, err)
	}
	_, err = h.EnrolFirst(t.Context(), half2(in))
	h.class("half a session that served", err, lab.NoSession)
	_, err = h.FactorOff(lab.As(t.Context(), e.Principal), From{})
	h.class("turned off where it is required", err, lab.Invalid)
	// A role that needs one ends the session of who has none.
	if _, err := h.Change(ctx, reader.Principal.Account, AccountChange{Roles: []lab.Role{lab.RoleReview}}); err != nil {
		t.Fatal(err)
	}
	_, err = h.Resolve(t.Context(), reader.Secret)
	h.class("given a role that needs a factor", err, lab.NoSession)
	for rule, want := range map[Required][]lab.Role{Nobody: {}, Administrators: {lab.RoleAdminister}, Reviewers: {lab.RoleAdminister, lab.RoleReview},
		Everyone: {lab.RoleRead, lab.RoleEnter, lab.RoleReview, lab.RoleAdminister}} {
		for _, r := range lab.Roles() {
			asked := false
			for _, w := range want {
				asked = asked || w == r
			}
			if (Rule{rule}).covers([]lab.Role{r}) != asked {
				t.Errorf("required for %s: %s is asked %v", rule, r, !asked)
			}
		}
	}
}

func TestLostFactor(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	e := h.person(ctx, "quality.tech", lab.RoleRead)
	_, codes, session := h.enrolled(lab.As(t.Context(), e.Principal))
	_, err := h.TakeFactorOff(lab.As(t.Context(), session.Principal), e.Principal.Account)
	h.class("by who does not administer", err, lab.Forbidden)
	if _, err := h.TakeFactorOff(ctx, e.Principal.Account); err != nil {
		t.Fatal(err)
	}
	_, err = h.TakeFactorOff(ctx, e.Principal.Account)
	h.class("a second time", err, lab.NotFound)
	_, err = h.Resolve(t.Context(), session.Secret)
	h.class("a session of before", err, lab.NoSession)
	in := h.signIn("quality.tech", password+"quality.tech")
	if in.Step != "" {
		t.Fatalf("still asked for: %+v", in)
	}
	tech := lab.As(t.Context(), in.Principal)
	told, err := h.Notices(tech)
	if err != nil || len(told) != 1 || !strings.Contains(told[0].Text, "taken off by brewmaster") {
		t.Errorf("%v, %v", told, err)
	}
	if err := h.NoticesSeen(tech); err != nil {
		t.Fatal(err)
	}
	if told, _ := h.Notices(tech); len(told) != 0 {
		t.Errorf("told again: %v", told)
	}
	events, err := h.Events(ctx)
	if err != nil || len(events) < 2 || events[1].What != "second factor taken off by brewmaster" || events[1].Account != "quality.tech" {
		t.Errorf("%+v, %v", events, err)
	}
	left, err := h.Vault.Items(t.Context(), kindRecovery, e.Principal.Account)
	if err != nil || len(left) != 0 {
		t.Errorf("%d recovery codes of %d stay, %v", len(left), len(codes), err)
	}
	own, _ := lab.Who(ctx)
	_, err = h.TakeFactorOff(ctx, own.Account)
	h.class("one's own", err, lab.Invalid)
}

// The database alone does not give the codes away, and a server without the key
// says so, while recovery codes still let in.
func TestSeedsAreSealed(t *testing.T) {
	h := newHouse(t)
	p, codes, e := h.enrolled(h.admin())
	info, err := os.Stat(h.KeyFile)
	if err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Fatalf("%v, %v", info, err)
	}
	body, _ := os.ReadFile(h.path)
	wal, _ := os.ReadFile(h.path + "-wal")
	key, _ := os.ReadFile(h.KeyFile)
	lines := strings.Fields(string(key))
	for what, text := range map[string]string{"the seed": string(p.seed), "the seed in base32": plain32.EncodeToString(p.seed),
		"a recovery code": codes[0], "its letters": cleanCode(codes[0]), "the key": lines[len(lines)-1], "a half session": e.Secret} {
		if strings.Contains(string(body)+string(wal), text) || strings.Contains(h.log.String(), text) {
			t.Errorf("the database or the log holds %s", what)
		}
	}
	h.tick()
	aside := h.KeyFile + ".aside"
	if err := os.Rename(h.KeyFile, aside); err != nil {
		t.Fatal(err)
	}
	_, err = h.Second(t.Context(), p.code(0), half2(h.signIn("brewmaster", password)))
	h.class("without the key", err, lab.Forbidden)
	if !strings.Contains(err.Error(), "key") {
		t.Errorf("it does not say why: %v", err)
	}
	if n, err := h.Unreadable(t.Context()); err != nil || n != 1 {
		t.Errorf("%d factors cannot be read, %v; want 1", n, err)
	}
	in, err := h.Second(t.Context(), codes[0], half2(h.signIn("brewmaster", password)))
	if err != nil {
		t.Fatalf("a recovery code without the key: %v", err)
	}
	// Another key is made where there is none; both files together open both.
	ctx := h.person(lab.As(t.Context(), in.Principal), "quality.tech", lab.RoleRead)
	q, _, _ := h.enrolled(lab.As(t.Context(), ctx.Principal))
	old, _ := os.ReadFile(aside)
	now, _ := os.ReadFile(h.KeyFile)
	if err := os.WriteFile(h.KeyFile, append(now, old...), 0o600); err != nil {
		t.Fatal(err)
	}
	h.tick()
	for name, ph := range map[string]phone{"brewmaster": p, "quality.tech": q} {
		pass := password
		if name != "brewmaster" {
			pass += name
		}
		if _, err := h.Second(t.Context(), ph.code(0), half2(h.signIn(name, pass))); err != nil {
			t.Errorf("%s with both keys: %v", name, err)
		}
	}
	if err := os.WriteFile(h.KeyFile, []byte("# nothing\nnot a key\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := h.keys(); err == nil || !strings.Contains(err.Error(), "line 2") {
		t.Errorf("a spoiled file: %v", err)
	}
	if err := os.WriteFile(h.KeyFile, []byte("# nothing\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := h.sealingKey(); err == nil {
		t.Error("an emptied file is written over")
	}
	h.KeyFile = filepath.Join(t.TempDir(), "new", "folder", "k")
	if _, err := h.sealingKey(); err != nil {
		t.Error(err)
	}
	// A seed that is moved to another account does not open there.
	sealed, err := h.seal(p.seed, "one")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.open(sealed, "two"); err == nil {
		t.Error("a seed opens for another account")
	}
}

func TestEndOneSession(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	a, b := h.signIn("brewmaster", password), h.signIn("brewmaster", password)
	if err := h.EndSession(ctx, hashOf(a.Secret)[:12]); err != nil {
		t.Fatal(err)
	}
	_, err := h.Resolve(t.Context(), a.Secret)
	h.class("ended", err, lab.NoSession)
	if _, err := h.Resolve(t.Context(), b.Secret); err != nil {
		t.Error(err)
	}
	other := h.person(ctx, "quality.tech", lab.RoleRead)
	h.class("another's", h.EndSession(ctx, hashOf(other.Secret)[:12]), lab.NotFound)
	if err := h.EndSessions(ctx, other.Principal.Account); err != nil {
		t.Fatal(err)
	}
	_, err = h.Resolve(t.Context(), other.Secret)
	h.class("ended by an administrator", err, lab.NoSession)
}
