package api

import (
	"context"
	"net/http"
	"time"

	"ullage/internal/access"
	"ullage/internal/lab"
)

// SignOn is single sign-on through a provider; access.OIDC is one.
type SignOn interface {
	// Name is shown on the sign-in page.
	Name() string
	// Start gives the address to send the browser to, and a secret that has to
	// come back with it. Again has the person show anew who they are.
	Start(ctx context.Context, again bool) (address, secret string, err error)
	// Finish begins a session from what the provider sent back.
	Finish(ctx context.Context, secret string, answer map[string]string, from access.From) (access.Entry, error)
}

const signOnCookie = "ullage-sign-on"

// signOnRoutes are for browsers, not for programs: they are not in the description.
func (s *Server) signOnRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET "+base+"/session/sign-on", func(w http.ResponseWriter, r *http.Request) {
		if s.SignOn == nil || s.Access == nil {
			writeProblem(w, problem(s.fail(noAccounts())))
			return
		}
		// A session is begun by who is here: another site's page cannot begin one
		// behind its reader's back, with a provider that asks nothing any more.
		if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" && site != "none" {
			w.Header().Set("Cache-Control", "no-store")
			http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
			return
		}
		address, secret, err := s.SignOn.Start(r.Context(), r.URL.Query().Has("again"))
		w.Header().Set("Cache-Control", "no-store")
		if err != nil {
			_ = s.fail(err)
			http.Redirect(w, r, "/sign-in#sign-on=failed", http.StatusSeeOther)
			return
		}
		s.setSignOn(w, r, secret)
		http.Redirect(w, r, address, http.StatusSeeOther)
	})
	mux.HandleFunc("GET "+access.SignOnPath, func(w http.ResponseWriter, r *http.Request) {
		if s.SignOn == nil || s.Access == nil {
			writeProblem(w, problem(s.fail(noAccounts())))
			return
		}
		from, secret := fromOf(r.Context()), ""
		if c, err := r.Cookie(signOnName(from)); err == nil {
			secret = c.Value
		}
		q := r.URL.Query()
		e, err := s.SignOn.Finish(r.Context(), secret, map[string]string{"state": q.Get("state"), "code": q.Get("code")}, from)
		s.setSignOn(w, r, "")
		w.Header().Set("Cache-Control", "no-store")
		to := "/"
		if err != nil {
			_ = s.fail(err)
			to = "/sign-in#sign-on=failed"
		} else {
			c := cookie(from, sessionCookie, e.Secret, e.Until)
			http.SetCookie(w, &c)
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
	})
}

func signOnName(from access.From) string {
	if from.Secure {
		return hostPrefix + signOnCookie
	}
	return signOnCookie
}

// setSignOn keeps the secret of the way to the provider and back. It has to come
// along from the provider's site, so it is Lax where the session's is Strict.
func (s *Server) setSignOn(w http.ResponseWriter, r *http.Request, secret string) {
	c := cookie(fromOf(r.Context()), signOnCookie, secret, lab.At(time.Now().Add(10*time.Minute)))
	c.SameSite = http.SameSiteLaxMode
	http.SetCookie(w, &c)
}
