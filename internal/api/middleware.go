package api

import (
	"cmp"
	"context"
	"crypto/rand"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"ullage/internal/lab"
)

func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K { return slices.Sorted(maps.Keys(m)) }

// wrap puts around every route: the count, the headers that a browser obeys,
// the refusal of other sites' writes, and the rescue of a panic.
func (s *Server) wrap(next http.Handler) http.Handler {
	guard := http.NewCrossOriginProtection()
	guard.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p := newProblem(lab.Invalid, "header.Origin", r.Header.Get("Origin"), "another site may not write here", "open the app at this server's own address")
		p.Status, p.Title = http.StatusForbidden, "Refused"
		writeProblem(w, p)
	}))
	next = guard.Handler(s.identify(s.inTurn(next)))
	next = s.ownHost(compress(next))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		start := time.Now()
		rec := &recorder{ResponseWriter: w}
		id := rand.Text()[:16]
		asks := &asker{}
		r = r.WithContext(context.WithValue(r.Context(), askerKey{}, asks))
		w.Header().Set("X-Request-Id", id)
		secure(w.Header(), strings.HasPrefix(r.URL.Path, "/api/"))
		if s.secureNow(r) {
			w.Header().Set("Strict-Transport-Security", "max-age=31536000; includeSubDomains")
		}
		defer func() {
			v := recover()
			if v != nil && v != http.ErrAbortHandler {
				s.Log.Error("panic", "request", id, "path", r.URL.Path, "value", v, "stack", string(debug.Stack()))
			}
			if v != nil && rec.status == 0 {
				writeProblem(rec, problem(&lab.Error{Class: lab.Internal}))
			} else if v != nil {
				panic(http.ErrAbortHandler) // half an answer must not look whole
			}
			s.logged(r, id, asks.name, rec.status, time.Since(start))
			if !strings.HasSuffix(r.URL.Path, "/stream") {
				s.metrics.request(max(rec.status, http.StatusOK), time.Since(start))
			}
		}()
		next.ServeHTTP(rec, r)
	})
}

// logged writes one line a request: reads that went well only where debugging is
// on. The query, the body and the headers may hold secrets and are not in it.
func (s *Server) logged(r *http.Request, id, account string, status int, took time.Duration) {
	level := slog.LevelInfo
	switch reads := r.Method == http.MethodGet || r.Method == http.MethodHead; {
	case status >= 500:
		level = slog.LevelError
	case reads && status < 400:
		level = slog.LevelDebug
	}
	s.Log.Log(r.Context(), level, "request", "request", id, "method", r.Method, "path", r.URL.Path, "status", max(status, http.StatusOK),
		"took", took.Round(10*time.Microsecond), "account", account, "from", s.from(r).Addr)
}

// asker is whom identify finds behind a request, for its line in the log.
type asker struct{ name string }

type askerKey struct{}

// ownHost refuses requests addressed to a name that is not ours.
func (s *Server) ownHost(next http.Handler) http.Handler {
	if len(s.Hosts) == 0 {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		name := r.Host
		if host, _, err := net.SplitHostPort(r.Host); err == nil {
			name = host
		}
		if slices.Contains(s.Hosts, strings.Trim(strings.ToLower(name), "[]")) {
			next.ServeHTTP(w, r)
			return
		}
		p := newProblem(lab.Invalid, "header.Host", r.Host, "is not a name of this server",
			"use one of "+strings.Join(s.Hosts, ", ")+", or start ullage serve with --host "+name)
		p.Status, p.Title = http.StatusMisdirectedRequest, "Refused"
		writeProblem(w, p)
	})
}

// secure sets what a browser needs to keep this app to itself. wasm-unsafe-eval
// lets the calculation core start; one style attribute is let through by its hash.
func secure(h http.Header, api bool) {
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
	if !api {
		h.Set("Content-Security-Policy", "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; "+
			"style-src 'self'; style-src-attr 'unsafe-hashes' '"+announcerStyle+"'; img-src 'self' data: blob:; connect-src 'self'; worker-src 'self'; "+
			"object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'")
	} else {
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self' 'unsafe-inline'; "+
			"object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	}
}

// announcerStyle is the hash of the style attribute with which SvelteKit hides the
// element that tells screen readers of a new page (its root.svelte). After a
// change there the browser complains on every page, which the browser tests see.
const announcerStyle = "sha256-S8qMpvofolR8Mpjy4kQvEm7m1q8clzU4dfDH0AmvZjo="

type recorder struct {
	http.ResponseWriter
	status int
}

func (r *recorder) WriteHeader(code int) {
	if r.status == 0 {
		r.status = code
	}
	r.ResponseWriter.WriteHeader(code)
}

func (r *recorder) Write(b []byte) (int, error) {
	if r.status == 0 {
		r.status = http.StatusOK
	}
	return r.ResponseWriter.Write(b)
}

// Unwrap lets http.ResponseController reach the connection.
func (r *recorder) Unwrap() http.ResponseWriter { return r.ResponseWriter }
