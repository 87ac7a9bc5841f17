package api

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ullage/internal/access"
	"ullage/internal/ingest"
	"ullage/internal/lab"
	"ullage/internal/store"
)

// fuzzServer is a server with accounts and imports, and the session of who may
// do everything.
func fuzzServer(f *testing.F) (s *Server, handler http.Handler, session string) {
	st, err := store.OpenSQLite(context.Background(), filepath.Join(f.TempDir(), "ullage.db"), store.SQLiteOptions{})
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { st.Close() })
	quiet := slog.New(slog.NewTextHandler(io.Discard, nil))
	s = &Server{Lab: &lab.Service{Store: st, Calc: lab.TPO, Guarded: true}, Calc: table{}, Log: quiet}
	desk := ingest.NewDesk(s.Lab)
	f.Cleanup(func() { desk.Close() })
	s.Access, s.Import = access.New(s.Lab, quiet), desk
	s.Access.KeyFile = filepath.Join(f.TempDir(), "second-factor.key")
	handler = s.Handler()
	link, _, err := s.Access.AdminLink(context.Background(), false)
	if err != nil {
		f.Fatal(err)
	}
	e, err := s.Access.Accept(context.Background(), access.Accept{Link: link.Secret, Password: pass, Name: "boss"}, access.From{})
	if err != nil {
		f.Fatal(err)
	}
	return s, handler, e.Secret
}

// FuzzBodies sends any bytes to any operation that writes, of a server with
// accounts, acting as who may do everything. No answer is the server's own
// failure, and what is refused says why.
func FuzzBodies(f *testing.F) {
	s, handler, session := fuzzServer(f)
	var ops [][2]string
	for path, item := range s.api.OpenAPI().Paths {
		for method, op := range map[string]bool{http.MethodPut: item.Put != nil, http.MethodPost: item.Post != nil} {
			// Those about oneself end the session, or hash a password: see FuzzOwnBodies.
			if op && !ownBody(path) {
				ops = append(ops, [2]string{method, path})
			}
		}
	}
	for _, body := range malformed() {
		f.Add(uint(0), body)
	}
	for i, body := range []string{`{"base_rev":0,"record":{"name":"Vellumrook","sg":1.01}}`, `{"writes":[{"collection":"beers","base_rev":0,"record":{"id":"0198c5b0-0000-7000-8000-000000000001","name":"x"}}]}`,
		`{"name":"x","roles":["read"],"days":3}`, `{"roles":["read"],"off":true}`, `{"temperature_c":4,"do_ppb":44}`} {
		f.Add(uint(i), []byte(body))
	}
	f.Fuzz(func(t *testing.T, which uint, body []byte) {
		op := ops[which%uint(len(ops))]
		r := httptest.NewRequest(op[0], filled(op[1], "0198c5b0-0000-7000-8000-000000000001"), bytes.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		r.AddCookie(&http.Cookie{Name: sessionCookie, Value: session})
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, r)
		if w.Code >= 500 || w.Code < 200 {
			t.Fatalf("%s %s: %d %s", op[0], op[1], w.Code, w.Body)
		}
		if w.Code >= 400 && w.Body.Len() < 10 {
			t.Fatalf("%s %s: %d says nothing", op[0], op[1], w.Code)
		}
	})
}

func ownBody(path string) bool {
	return path == base+"/session" || strings.HasPrefix(path, base+"/session/") || strings.HasPrefix(path, base+"/me/")
}

// FuzzOwnBodies sends any bytes to the operations about oneself, signing in
// among them, as somebody who is not signed in; and reads them as each body.
func FuzzOwnBodies(f *testing.F) {
	s, handler, _ := fuzzServer(f)
	var paths []string
	for path, item := range s.api.OpenAPI().Paths {
		if item.Post != nil && ownBody(path) {
			paths = append(paths, strings.TrimPrefix(path, base))
		}
	}
	slices.Sort(paths)
	for i := range paths {
		for _, body := range []string{`{"name":"boss","password":"x"}`, `{"account_id":"x","pin":"482915"}`, `{"link":"x","password":"eleven casks","name":"n","person_name":"N"}`, `{}`,
			`{"old":"x","password":"y"}`, `{"code":"123456"}`} {
			f.Add(uint(i), []byte(body))
		}
	}
	for _, body := range malformed() {
		f.Add(uint(0), body)
	}
	f.Fuzz(func(t *testing.T, which uint, body []byte) {
		path := paths[which%uint(len(paths))]
		r := httptest.NewRequest(http.MethodPost, base+path, bytes.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		r.RemoteAddr = fmt.Sprintf("10.%d.%d.%d:1", which>>16&255, which>>8&255, which&255)
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, r)
		if w.Code >= 500 || w.Code < 200 || w.Code < 300 && path != "/session/end" {
			t.Fatalf("%s: %d %s", path, w.Code, w.Body)
		}
		for _, v := range []any{&SignInBody{}, &PINBody{}, &LinkBody{}, &access.Accept{}, &PasswordBody{}, &OwnPIN{}, &CodeBody{}, &ProveBody{}, &access.AccountChange{}, &access.Rule{}, &access.NewToken{}, &access.NewDevice{}, &access.NewAccount{}} {
			if err := lab.DecodeStrict(body, v); err != nil && lab.ClassOf(err) != lab.Malformed && lab.ClassOf(err) != lab.Invalid {
				t.Fatalf("%T: %v", v, err)
			}
		}
	})
}

// FuzzQuery sends any text as path and query to the server.
func FuzzQuery(f *testing.F) {
	st, err := store.OpenSQLite(context.Background(), filepath.Join(f.TempDir(), "ullage.db"), store.SQLiteOptions{})
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { st.Close() })
	handler := (&Server{Lab: &lab.Service{Store: st}, Calc: table{}, Log: slog.New(slog.NewTextHandler(io.Discard, nil))}).Handler()
	for _, p := range []string{"/api/v1/runs?limit=5&after=x", "/api/v1/changes?since=0", "/api/v1/compare?by=run", "/api/v1/months/2026-11", "/%2e%2e/etc", "/api/v1/trail/samples/x", "//x", "/api/v1/runs/x/report?format=csv"} {
		f.Add(p)
	}
	f.Fuzz(func(t *testing.T, target string) {
		if strings.Contains(target, "stream") {
			return // it answers as long as one listens
		}
		r, err := http.NewRequest(http.MethodGet, "http://x"+target, nil)
		if err != nil || !strings.HasPrefix(target, "/") {
			return
		}
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, r)
		if w.Code >= 500 {
			t.Fatalf("%s: %d %s", target, w.Code, w.Body)
		}
	})
}
