package cli

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha1"
	"encoding/base32"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"ullage/internal/access"
	"ullage/internal/lab"
)

// withFactor makes a database whose only administrator has a second factor.
func withFactor(t *testing.T) database {
	t.Helper()
	d := database{Data: t.TempDir()}
	st, err := d.open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	a := access.New(&lab.Service{Store: st, Guarded: true}, slog.New(slog.DiscardHandler))
	a.KeyFile = d.factorKey("")
	first, _, err := a.AdminLink(t.Context(), false)
	if err != nil {
		t.Fatal(err)
	}
	in, err := a.Accept(t.Context(), access.Accept{Link: first.Secret, Password: "eleven casks of old ale", Name: "brewmaster"}, access.From{})
	if err != nil {
		t.Fatal(err)
	}
	ctx := lab.As(t.Context(), in.Principal)
	e, err := a.NewFactor(ctx)
	if err == nil {
		_, _, err = a.ConfirmFactor(ctx, oneTime(e.Secret), access.From{})
	}
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// oneTime is what an app shows now (RFC 6238).
func oneTime(secret string) string {
	key, _ := base32.StdEncoding.DecodeString(secret)
	mac := hmac.New(sha1.New, key)
	_ = binary.Write(mac, binary.BigEndian, time.Now().Unix()/30)
	sum := mac.Sum(nil)
	return fmt.Sprintf("%06d", binary.BigEndian.Uint32(sum[sum[19]&15:])&0x7fffffff%1000000)
}

// recovered opens the link that recover prints at a running server, as its
// holder's browser does, and gives the answer.
func recovered(t *testing.T, d database, password string, flags ...string) map[string]any {
	t.Helper()
	out := command(t, 0, append([]string{"recover", "--data", d.Data, "brewmaster"}, flags...)...)
	link := regexp.MustCompile(`/sign-in#link=([\w-]{43})\n`).FindStringSubmatch(out)
	if link == nil {
		t.Fatal(out)
	}
	p := startServer(t, "--addr", "127.0.0.1:0", "--data", d.Data)
	defer func() { _ = p.cmd.Process.Kill(); _ = p.cmd.Wait() }()
	post := func(path string, body map[string]any) map[string]any {
		t.Helper()
		text, _ := json.Marshal(body)
		resp, err := http.Post(p.url+"/api/v1"+path, "application/json", bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		answer, _ := io.ReadAll(resp.Body)
		var got map[string]any
		if err := json.Unmarshal(answer, &got); err != nil || resp.StatusCode != 200 {
			t.Fatalf("%s: %d %s\n%s", path, resp.StatusCode, answer, p.log)
		}
		return got
	}
	if whose := post("/session/link", map[string]any{"link": link[1]}); whose["name"] != "brewmaster" {
		t.Fatal(whose)
	}
	return post("/session/accept", map[string]any{"link": link[1], "password": password})
}

// The recover link, opened at a server: a new password does not go round the
// second factor; said to be lost, it is off, and its holder is told.
func TestRecoverOpened(t *testing.T) {
	d := withFactor(t)
	if got := recovered(t, d, "a wholly new sentence"); got["signed_in"] != false || got["step"] != "code" {
		t.Errorf("the password alone: %v", got)
	}
	got := recovered(t, d, "another new sentence", "--lost-factor")
	told, _ := json.Marshal(got["notices"])
	if got["signed_in"] != true || !strings.Contains(string(told), "taken off by the command line") {
		t.Errorf("with the factor lost: %v", got)
	}
	if out := command(t, 1, "recover", "--data", d.Data, "--lost-factor", "brewmaster"); !strings.Contains(out, "no second factor on") {
		t.Error(out)
	}
}

// A copy holds no key. Put back beside it, second factors work; elsewhere restore
// and the server's log say what is missing.
func TestRestoreWithoutTheKey(t *testing.T) {
	d := withFactor(t)
	to := t.TempDir()
	command(t, 0, "backup", "--data", d.Data, to)
	names, err := copies(to)
	if err != nil || len(names) != 1 {
		t.Fatal(names, err)
	}
	copied := filepath.Join(to, names[0])
	key, err := os.ReadFile(d.factorKey(""))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Fields(string(key))
	if body, _ := os.ReadFile(copied); bytes.Contains(body, []byte(lines[len(lines)-1])) {
		t.Error("the copy holds the key")
	}
	if out := command(t, 0, "restore", "--data", d.Data, copied); strings.Contains(out, "second factor") {
		t.Errorf("with the key beside it: %s", out)
	}
	other := database{Data: t.TempDir()}
	out := command(t, 0, "restore", "--data", other.Data, copied)
	if !strings.Contains(out, "second factors whose key is not in "+other.factorKey("")+": 1;") {
		t.Errorf("without the key: %s", out)
	}
	p := startServer(t, "--addr", "127.0.0.1:0", "--data", other.Data)
	_ = p.cmd.Process.Kill()
	_ = p.cmd.Wait()
	if !strings.Contains(p.log.String(), "codes of second factors cannot be checked") {
		t.Errorf("the log: %s", p.log)
	}
	if err := os.WriteFile(other.factorKey(""), key, 0o600); err != nil {
		t.Fatal(err)
	}
	st, err := other.open(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	a := access.New(&lab.Service{Store: st}, slog.New(slog.DiscardHandler))
	a.KeyFile = other.factorKey("")
	if n, err := a.Unreadable(t.Context()); err != nil || n != 0 {
		t.Errorf("with the key put back: %d, %v", n, err)
	}
}
