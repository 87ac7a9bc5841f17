package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"ullage/internal/access"
	"ullage/internal/lab"
)

// needs is which roles each thing takes that may not be done.
type needs = map[string][]lab.Role

// SessionView tells the app who uses it.
type SessionView struct {
	Mode      string         `json:"mode" enum:"open,sign-in" doc:"open: no accounts, whoever reaches the server may do everything"`
	SignedIn  bool           `json:"signed_in"`
	AccountID string         `json:"account_id,omitempty"`
	Name      string         `json:"name,omitempty"`
	PersonID  string         `json:"person_id,omitempty" doc:"who stands on what is written"`
	Roles     []lab.Role     `json:"roles"`
	Needs     needs          `json:"needs,omitempty" doc:"what may not be done here and which roles may: a deed such as release, or a write such as \"write samples\". What is not named may be done; empty for nobody, whose roles are not known yet"`
	Via       string         `json:"via,omitempty"`
	Device    *access.Device `json:"device,omitempty" doc:"this browser, if it is registered"`
	SignOn    string         `json:"sign_on,omitempty" doc:"name of the single sign-on, if there is one"`
	// Step is set where the name and password are right, and more is asked.
	Step    string              `json:"step,omitempty" enum:"code,enrol" doc:"what is asked before the session begins: a code of the second factor, or to set it up"`
	Factor  *access.FactorState `json:"factor,omitempty" doc:"the second factor of who is signed in"`
	Notices []access.Notice     `json:"notices,omitempty" doc:"about the account, to be shown until they were seen"`
}

// SignInBody is a name and password.
type SignInBody struct {
	Name     string `json:"name" maxLength:"64"`
	Password string `json:"password" maxLength:"256"`
}

// PINBody takes a shared device over.
type PINBody struct {
	AccountID string `json:"account_id" maxLength:"64"`
	PIN       string `json:"pin" maxLength:"12"`
}

// LinkBody asks whose a link is.
type LinkBody struct {
	Link string `json:"link" maxLength:"100"`
}

// LinkView tells whose a link is.
type LinkView struct {
	Name  string `json:"name,omitempty"`
	First bool   `json:"first" doc:"it makes the first administrator, who chooses a name"`
}

// PasswordBody changes a password.
type PasswordBody struct {
	Old      string `json:"old" maxLength:"256"`
	Password string `json:"password" maxLength:"256"`
}

// OwnPIN sets the PIN for handing over; empty takes it away.
type OwnPIN struct {
	Password string `json:"password" maxLength:"256"`
	PIN      string `json:"pin" maxLength:"12"`
}

// Sessions lists sessions.
type Sessions struct {
	Sessions []access.Session `json:"sessions"`
}

// Holders lists who may take a shared device over.
type Holders struct {
	Holders []access.Holder `json:"holders"`
}

// CodeBody is a code of the second factor.
type CodeBody struct {
	Code string `json:"code" maxLength:"64" doc:"six digits of the app, or a recovery code"`
}

// ProveBody shows again who is signed in.
type ProveBody struct {
	Password string `json:"password" maxLength:"256"`
	Code     string `json:"code,omitempty" maxLength:"64" doc:"where the second factor is on"`
}

// Confirmed is a second factor that was turned on.
type Confirmed struct {
	Codes   []string    `json:"codes" doc:"recovery codes, each good once; they are not shown again"`
	Session SessionView `json:"session"`
}

// None is an answer without content.
type None struct{}

// withCookies is a reply that sets cookies.
type withCookies struct {
	ContentType  string        `header:"Content-Type" hidden:"true"`
	CacheControl string        `header:"Cache-Control" hidden:"true"`
	SetCookie    []http.Cookie `header:"Set-Cookie" hidden:"true"`
	Status       int
	Body         []byte
}

func noAccounts() error {
	return newProblem(lab.NotFound, "path", base+"/session", "this server has no accounts", "start it without --open")
}

// gets is a GET about accounts.
func gets[Out any](s *Server, id, path, summary string, do func(context.Context) (Out, error)) {
	huma.Register(s.api, describe[Out](s, huma.Operation{OperationID: id, Method: http.MethodGet, Path: base + path, Summary: summary,
		Tags: []string{"accounts"}}, 401, 403), func(ctx context.Context, _ *struct{}) (*reply, error) {
		if s.Access == nil {
			return nil, noAccounts()
		}
		out, err := do(ctx)
		return s.answer(out, err)
	})
}

// posts is a POST about accounts, read strictly; it may set cookies.
func posts[In, Out any](s *Server, id, path, summary string, do func(ctx context.Context, id string, in In) (Out, []http.Cookie, error)) {
	op := describe[Out](s, huma.Operation{OperationID: id, Method: http.MethodPost, Path: base + path, Summary: summary, Tags: []string{"accounts"},
		MaxBodyBytes: 16 << 10, SkipValidateBody: true}, 400, 401, 403, 404, 409, 413, 415, 422, 429, 503, 507)
	handle := func(ctx context.Context, id, contentType string, body []byte) (*withCookies, error) {
		if s.Access == nil {
			return nil, noAccounts()
		}
		if err := needJSON(contentType); err != nil {
			return nil, err
		}
		var in In
		if err := lab.DecodeStrict(body, &in); err != nil {
			return nil, s.fail(err)
		}
		out, cookies, err := do(ctx, id, in)
		r, err := s.answer(out, err)
		if err != nil {
			return nil, err
		}
		return &withCookies{r.ContentType, r.CacheControl, cookies, r.Status, r.Body}, nil
	}
	type plain struct {
		ContentType string `header:"Content-Type" hidden:"true"`
		RawBody     []byte `contentType:"application/json"`
	}
	if hasID(path) {
		huma.Register(s.api, op, func(ctx context.Context, in *raw) (*withCookies, error) {
			return handle(ctx, in.ID, in.ContentType, in.RawBody)
		})
	} else {
		huma.Register(s.api, op, func(ctx context.Context, in *plain) (*withCookies, error) {
			return handle(ctx, "", in.ContentType, in.RawBody)
		})
	}
	takes[In](s, s.api.OpenAPI().Paths[op.Path].Post)
}

func hasID(path string) bool {
	for i := range path {
		if path[i] == '{' {
			return true
		}
	}
	return false
}

func (s *Server) sessionRoutes(mux *http.ServeMux) {
	huma.Register(s.api, describe[SessionView](s, huma.Operation{OperationID: "session", Method: http.MethodGet, Path: base + "/session",
		Summary: "Who is signed in", Tags: []string{"accounts"}}), func(ctx context.Context, _ *struct{}) (*reply, error) {
		v, err := s.sessionView(ctx)
		return s.answer(v, err)
	})
	begin := s.begin
	posts(s, "sign-in", "/session", "Sign in by name and password", func(ctx context.Context, _ string, in SignInBody) (SessionView, []http.Cookie, error) {
		e, err := s.Access.SignIn(ctx, in.Name, in.Password, fromOf(ctx))
		return begin(ctx, e, err)
	})
	posts(s, "sign-in-pin", "/session/pin", "Take a shared device over by PIN", func(ctx context.Context, _ string, in PINBody) (SessionView, []http.Cookie, error) {
		e, err := s.Access.SignInPIN(ctx, in.AccountID, in.PIN, fromOf(ctx))
		return begin(ctx, e, err)
	})
	gets(s, "holders", "/session/holders", "Who may take this shared device over", func(ctx context.Context) (Holders, error) {
		h, err := s.Access.Holders(ctx, fromOf(ctx).Device)
		return Holders{h}, err
	})
	posts(s, "look-at-link", "/session/link", "Whose a one-time link is", func(ctx context.Context, _ string, in LinkBody) (LinkView, []http.Cookie, error) {
		name, first, err := s.Access.LinkFor(ctx, in.Link)
		return LinkView{name, first}, nil, err
	})
	posts(s, "accept-link", "/session/accept", "Set a password by a one-time link, and sign in", func(ctx context.Context, _ string, in access.Accept) (SessionView, []http.Cookie, error) {
		e, err := s.Access.Accept(ctx, in, fromOf(ctx))
		return begin(ctx, e, err)
	})
	posts(s, "sign-out", "/session/end", "Sign out", func(ctx context.Context, _ string, _ None) (None, []http.Cookie, error) {
		from := fromOf(ctx)
		return None{}, s.noCookies(from), s.Access.SignOut(ctx, from)
	})
	posts(s, "sign-out-everywhere", "/me/end-sessions", "Sign out on every device", func(ctx context.Context, _ string, _ None) (None, []http.Cookie, error) {
		return None{}, []http.Cookie{cookie(fromOf(ctx), sessionCookie, "", lab.Time{})}, s.Access.SignOutEverywhere(ctx)
	})
	posts(s, "end-my-session", "/me/sessions/{id}/end", "Sign out on another device", func(ctx context.Context, id string, _ None) (None, []http.Cookie, error) {
		return None{}, nil, s.Access.EndSession(ctx, id)
	})
	gets(s, "my-sessions", "/me/sessions", "Where I am signed in", func(ctx context.Context) (Sessions, error) {
		list, err := s.Access.Sessions(ctx, fromOf(ctx).Session)
		return Sessions{list}, err
	})
	posts(s, "my-password", "/me/password", "Change my password; other sessions end", func(ctx context.Context, _ string, in PasswordBody) (SessionView, []http.Cookie, error) {
		e, err := s.Access.SetPassword(ctx, in.Old, in.Password, fromOf(ctx))
		return begin(ctx, e, err)
	})
	posts(s, "my-pin", "/me/pin", "Set my PIN for shared devices", func(ctx context.Context, _ string, in OwnPIN) (None, []http.Cookie, error) {
		return None{}, nil, s.Access.SetPIN(ctx, in.Password, in.PIN)
	})
	s.factorRoutes()
	s.signOnRoutes(mux)
}

// begin answers with a session, or half of one, in a cookie.
func (s *Server) begin(ctx context.Context, e access.Entry, err error) (SessionView, []http.Cookie, error) {
	if err != nil {
		return SessionView{}, nil, err
	}
	from := fromOf(ctx)
	if e.Step != "" {
		cookies := []http.Cookie{cookie(from, halfCookie, e.Secret, e.Until)}
		from.Half = e.Secret
		v, err := s.sessionView(lab.As(withFrom(ctx, from), lab.Principal{}))
		return v, cookies, err
	}
	cookies := []http.Cookie{cookie(from, sessionCookie, e.Secret, e.Until)}
	if from.Half != "" {
		cookies = append(cookies, cookie(from, halfCookie, "", lab.Time{}))
	}
	v, err := s.sessionView(lab.As(ctx, e.Principal))
	return v, cookies, err
}

// noCookies takes away what a browser has of a session.
func (s *Server) noCookies(from access.From) []http.Cookie {
	out := []http.Cookie{cookie(from, sessionCookie, "", lab.Time{})}
	if from.Half != "" {
		out = append(out, cookie(from, halfCookie, "", lab.Time{}))
	}
	return out
}

// sessionView is of the principal of ctx; one without a way in is nobody.
func (s *Server) sessionView(ctx context.Context) (SessionView, error) {
	p, ok := lab.Who(ctx)
	ok = ok && p.Via != ""
	v := SessionView{Mode: "sign-in", SignedIn: ok, AccountID: p.Account, Name: p.Name, PersonID: p.Person, Roles: p.Roles, Via: p.Via}
	if v.Roles == nil {
		v.Roles = []lab.Role{}
	}
	if s.Access == nil {
		v.Mode = "open"
		return v, nil
	}
	if ok {
		v.Needs = p.Needs()
	}
	if s.SignOn != nil {
		v.SignOn = s.SignOn.Name()
	}
	d, is, err := s.Access.ThisDevice(ctx, fromOf(ctx).Device)
	if is {
		v.Device = &d
	}
	if err != nil {
		return v, err
	}
	if !ok {
		step, err := s.Access.AtStep(ctx, fromOf(ctx))
		v.Step = string(step)
		return v, err
	}
	if p.Account == "" {
		return v, nil
	}
	if v.Notices, err = s.Access.Notices(ctx); err != nil {
		return v, err
	}
	f, err := s.Access.Factor(ctx)
	v.Factor = &f
	return v, err
}
