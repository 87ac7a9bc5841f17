package api

import (
	"context"
	"net/http"

	"ullage/internal/access"
)

// SignOn is single sign-on through a provider; access.OIDC is one.
type SignOn interface {
	// Name is shown on the sign-in page.
	Name() string
	// Start gives the address to send the browser to, and a secret that has to
	// come back with it.
	Start(ctx context.Context) (address, secret string, err error)
	// Finish begins a session from what the provider sent back.
	Finish(ctx context.Context, secret string, answer map[string]string, from access.From) (access.Entry, error)
}

func (s *Server) signOnRoutes(*http.ServeMux) {}
