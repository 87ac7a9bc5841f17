package api

import (
	"context"
	"net"
	"net/http"
	"regexp"
	"strings"

	"ullage/internal/access"
	"ullage/internal/lab"
)

type fromKey struct{}

// fromOf gives where the request of a context came from.
func fromOf(ctx context.Context) access.From {
	f, _ := ctx.Value(fromKey{}).(access.From)
	return f
}

func withFrom(ctx context.Context, f access.From) context.Context {
	return context.WithValue(ctx, fromKey{}, f)
}

// anyone may ask these: pages without records.
var anyone = regexp.MustCompile(`^/api/v1/(session(/.*)?|calc(/.*)?)$`)

// lineReads and lineWrites are all that a device at the line may ask for.
var (
	lineReads  = regexp.MustCompile(`^/api/v1/([a-z_]+(/[0-9a-f-]{36})?|runs/[^/]+/(view|stream))$`)
	lineWrites = regexp.MustCompile(`^/api/v1/(batch|(samples|events)/[^/]+)$`)
)

// identify finds out who asks, and keeps out who may not come in at all. What
// they may do with each record is decided again in lab.
func (s *Server) identify(next http.Handler) http.Handler {
	if s.Access == nil {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			next.ServeHTTP(w, r.WithContext(lab.As(r.Context(), lab.Open())))
		})
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		records := strings.HasPrefix(r.URL.Path, base+"/") || r.URL.Path == "/metrics"
		if !records {
			next.ServeHTTP(w, r)
			return
		}
		from := s.from(r)
		ctx := withFrom(r.Context(), from)
		p, err := s.who(r.WithContext(ctx), from)
		if asks, ok := ctx.Value(askerKey{}).(*asker); ok && err == nil {
			asks.name = p.Name
		}
		switch {
		case err == nil:
			if err = door(p, r); err == nil {
				next.ServeHTTP(w, r.WithContext(lab.As(ctx, p)))
				return
			}
		case lab.ClassOf(err) == lab.NoSession && anyone.MatchString(r.URL.Path):
			next.ServeHTTP(w, r.WithContext(ctx))
			return
		}
		writeProblem(w, problem(s.fail(err)))
	})
}

// who tells whom a request acts as: by its token, else its session, else as a
// device at the line.
func (s *Server) who(r *http.Request, from access.From) (lab.Principal, error) {
	if h := r.Header.Get("Authorization"); h != "" {
		secret, _ := strings.CutPrefix(h, "Bearer ")
		return s.Access.ResolveToken(r.Context(), secret)
	}
	if from.Session != "" {
		p, err := s.Access.Resolve(r.Context(), from.Session)
		if err == nil || from.Device == "" || lab.ClassOf(err) != lab.NoSession {
			return p, err
		}
	}
	return s.Access.ResolveDevice(r.Context(), from.Device)
}

// stillIn asks again whether the sender of a long request may be here.
func (s *Server) stillIn(r *http.Request) error {
	if s.Access == nil {
		return nil
	}
	p, err := s.who(r, fromOf(r.Context()))
	if err == nil {
		err = door(p, r)
	}
	return err
}

// door is the coarse rule for every route, also one that lab has no rule for
// yet: a line device has its few, a reader only reads.
func door(p lab.Principal, r *http.Request) error {
	no := func(mend string) error {
		return newProblemErr(lab.Forbidden, "role", r.Method+" "+r.URL.Path, "this account may not do that", mend)
	}
	reads := r.Method == http.MethodGet || r.Method == http.MethodHead
	switch {
	case anyone.MatchString(r.URL.Path):
	case len(p.Roles) == 0:
		return no("it has no role that counts here; an administrator gives one")
	case !p.Has(lab.RoleRead, lab.RoleEnter, lab.RoleReview, lab.RoleAdminister):
		list := reads && lineReads.MatchString(r.URL.Path) && notForLine[strings.Split(strings.TrimPrefix(r.URL.Path, base+"/"), "/")[0]] == ""
		if !list && (reads || !lineWrites.MatchString(r.URL.Path)) {
			return no("a device at the line enters samples and events; sign in for the rest")
		}
	case r.URL.Path == base+"/batch": // each write of it is answered for itself
	case !reads && !p.Has(lab.RoleEnter, lab.RoleReview, lab.RoleAdminister) && !ownAccount.MatchString(r.URL.Path):
		return no("it takes the role enter, review or administer; an administrator gives it")
	}
	return nil
}

// ownAccount are writes about oneself.
var ownAccount = regexp.MustCompile(`^/api/v1/(me/.*|tokens(/.*)?)$`)

// notForLine are reads of one word that are not a collection the line needs.
var notForLine = map[string]string{"export": "all data", "compare": "judged", "months": "judged", "imports": "old logs", "accounts": "", "tokens": "own"}

func newProblemErr(c lab.Class, field string, value any, message, mend string) error {
	return &lab.Error{Class: c, Faults: []lab.Fault{{Field: field, Value: value, Message: message, Mend: mend}}}
}

// secureNow tells whether the browser talks to us through TLS.
func (s *Server) secureNow(r *http.Request) bool {
	return r.TLS != nil || s.Proxy && r.Header.Get("X-Forwarded-Proto") == "https"
}

const (
	sessionCookie = "ullage"
	halfCookie    = "ullage-half" // between the password and the second factor
	deviceCookie  = "ullage-device"
	hostPrefix    = "__Host-" // browsers then refuse one set by another host, or without TLS
)

func (s *Server) from(r *http.Request) access.From {
	f := access.From{Agent: r.UserAgent()}
	f.Addr, _, _ = net.SplitHostPort(r.RemoteAddr)
	if list := strings.Split(r.Header.Get("X-Forwarded-For"), ","); s.Proxy && list[len(list)-1] != "" {
		f.Addr = strings.TrimSpace(list[len(list)-1]) // what the nearest proxy saw
	}
	prefix := ""
	if f.Secure = s.secureNow(r); f.Secure {
		prefix = hostPrefix
	}
	if c, err := r.Cookie(prefix + sessionCookie); err == nil {
		f.Session = c.Value
	}
	if c, err := r.Cookie(prefix + halfCookie); err == nil {
		f.Half = c.Value
	}
	if c, err := r.Cookie(prefix + deviceCookie); err == nil {
		f.Device = c.Value
	}
	return f
}

// cookie keeps a secret in the browser: no script reads it, no other site's
// request carries it. An empty secret takes it away.
func cookie(from access.From, name, secret string, until lab.Time) http.Cookie {
	c := http.Cookie{Name: name, Value: secret, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: from.Secure, Expires: until.Time}
	if from.Secure {
		c.Name = hostPrefix + name
	}
	if secret == "" {
		c.MaxAge = -1
	}
	return c
}
