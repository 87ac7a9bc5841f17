package access

import (
	"strings"
	"testing"
	"time"

	"ullage/internal/lab"
)

// A password is compared as it was typed: every sign, case and space counts, to
// the last of 256 bytes.
func TestPasswordsAreExact(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	long := strings.Repeat("malt hops yeast water ", 12)[:250] + "Ende. "
	e, err := h.SetPassword(ctx, password, long, From{})
	if err != nil {
		t.Fatal(err)
	}
	for _, near := range []string{long[:len(long)-1], strings.TrimSpace(long), strings.ToLower(long), long[:72], " " + long[:255], long + " "} {
		_, err := h.SignIn(t.Context(), "brewmaster", near, From{Addr: near[:8] + string(rune(len(near)))})
		h.class("nearly the password", err, lab.NoSession)
	}
	if _, err := h.SignIn(t.Context(), "brewmaster", long, From{}); err != nil || e.Secret == "" {
		t.Errorf("the password itself: %v", err)
	}
}

// Nothing asks for a new password because of its age.
func TestPasswordsDoNotAge(t *testing.T) {
	h := newHouse(t)
	h.admin()
	h.clock = h.clock.AddDate(9, 0, 0)
	e, err := h.SignIn(t.Context(), "brewmaster", password, From{})
	if err != nil {
		t.Fatal(err)
	}
	if p, err := h.Resolve(t.Context(), e.Secret); err != nil || !p.Has(lab.RoleAdminister) {
		t.Errorf("%+v, %v", p, err)
	}
}

// Secrets have 256 random bits and never come twice.
func TestSessionSecrets(t *testing.T) {
	seen, ones := map[string]bool{}, map[byte]int{}
	for range 2000 {
		s, hash := newSecret()
		if len(s) != 43 || seen[s] || hash == s || hash != hashOf(s) {
			t.Fatalf("%q, %q", s, hash)
		}
		seen[s] = true
		for i := range 42 { // the last sign holds two bits only
			ones[s[i]]++
		}
	}
	// 84,000 signs over 64 kinds: each about 1312 times, standard deviation 36.
	for sign, n := range ones {
		if n < 1312-7*36 || n > 1312+7*36 {
			t.Errorf("%q came %d times", sign, n)
		}
	}
	if len(ones) != 64 {
		t.Errorf("%d kinds of signs", len(ones))
	}
}

// What ended is deleted: sessions, links, and what happened to accounts after
// its 400 days.
func TestSweepTakesWhatEnded(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	if _, err := h.Create(ctx, NewAccount{Name: "quality.tech", Roles: []lab.Role{lab.RoleRead}}); err != nil {
		t.Fatal(err)
	}
	left := func() (n int) {
		for _, kind := range []string{kindSession, kindLink, kindEvent} {
			items, err := h.Vault.Items(t.Context(), kind, "")
			if err != nil {
				t.Fatal(err)
			}
			n += len(items)
		}
		return n
	}
	before := left()
	for _, c := range []struct {
		after time.Duration
		gone  bool
	}{{time.Hour, false}, {keepEvents + 24*time.Hour, true}} {
		h.clock = h.clock.Add(c.after)
		if err := h.Sweep(t.Context()); err != nil {
			t.Fatal(err)
		}
		if n := left(); (n == 0) != c.gone || !c.gone && n != before {
			t.Errorf("%v later %d of %d are left", c.after, n, before)
		}
	}
}

// Sign-ins, failures and too many tries are logged with their way and address,
// and without the name that was tried, which may be a password.
func TestFailuresAreLogged(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	e := h.person(ctx, "quality.tech", lab.RoleRead, lab.RoleEnter)
	for range 8 {
		_, _ = h.SignIn(t.Context(), "typed-into-the-wrong-field", "wrong wrong wrong", From{Addr: "10.9.9.9"})
	}
	reg, err := h.Register(ctx, NewDevice{Name: "Lab tablet", Kind: "shared"})
	if err != nil {
		t.Fatal(err)
	}
	if err := h.SetPIN(lab.As(t.Context(), e.Principal), password+"quality.tech", "482915"); err != nil {
		t.Fatal(err)
	}
	_, _ = h.SignInPIN(t.Context(), e.Principal.Account, "000001", From{Device: reg.Secret, Addr: "10.0.0.3"})
	_, _ = h.SignInPIN(t.Context(), e.Principal.Account, "482915", From{Device: reg.Secret, Addr: "10.0.0.3"})
	log := h.log.String()
	for _, want := range []string{`what="wrong password" from=10.9.9.9`, `what="too many tries" from=10.9.9.9`, `what="wrong PIN" account=quality.tech`, `what="signed in by pin" account=quality.tech`,
		`what="signed in by link" account=brewmaster`} {
		if !strings.Contains(log, want) {
			t.Errorf("the log lacks %s", want)
		}
	}
	if strings.Contains(log, "typed-into") {
		t.Error("the name that was tried stands in the log")
	}
	events, err := h.Events(ctx)
	if err != nil || len(events) < 5 || events[0].What != "signed in by pin" || events[1].What != "wrong PIN" || events[1].From != "10.0.0.3" {
		t.Errorf("%+v, %v", events, err)
	}
}
