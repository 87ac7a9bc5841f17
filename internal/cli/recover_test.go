package cli

import (
	"io"
	"log/slog"
	"regexp"
	"strings"
	"testing"

	"ullage/internal/access"
	"ullage/internal/lab"
)

// Whoever holds the database lets a locked-out administrator in again.
func TestRecover(t *testing.T) {
	d := database{Data: t.TempDir()}
	st, err := d.open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	quiet := slog.New(slog.NewTextHandler(io.Discard, nil))
	a := access.New(&lab.Service{Store: st}, quiet)
	first, _, err := a.AdminLink(t.Context(), false)
	if err == nil {
		_, err = a.Accept(t.Context(), access.Accept{Link: first.Secret, Password: "eleven casks of old ale", Name: "brewmaster"}, access.From{})
	}
	if err != nil {
		t.Fatal(err)
	}
	if out := command(t, 1, "recover", "--data", d.Data, "brewmaster"); !strings.Contains(out, "stop the other server") {
		t.Errorf("while it is open: %s", out)
	}
	st.Close()
	command(t, 1, "recover", "--data", d.Data, "nobody")
	out := command(t, 0, "recover", "--data", d.Data, "Brewmaster")
	secret := regexp.MustCompile(`#link=([\w-]{43})`).FindStringSubmatch(out)
	if secret == nil {
		t.Fatal(out)
	}
	if st, err = d.open(t.Context()); err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	a = access.New(&lab.Service{Store: st, Guarded: true}, quiet)
	e, err := a.Accept(t.Context(), access.Accept{Link: secret[1], Password: "a wholly new sentence"}, access.From{})
	if err != nil || !e.Principal.Has(lab.RoleAdminister) {
		t.Fatalf("%+v, %v", e, err)
	}
	events, err := a.Events(lab.As(t.Context(), e.Principal))
	if err != nil || len(events) < 2 || events[1].What != "link made at the command line" {
		t.Errorf("%+v, %v", events, err)
	}
}
