package api

import (
	"context"
	"net/http"

	"ullage/internal/access"
)

// factorRoutes are the second factor of one's own: setting it up, the step at
// sign-in, and showing again who one is.
func (s *Server) factorRoutes() {
	confirmed := func(ctx context.Context, codes access.RecoveryCodes, e access.Entry, err error) (Confirmed, []http.Cookie, error) {
		v, cookies, err := s.begin(ctx, e, err)
		return Confirmed{codes.Codes, v}, cookies, err
	}
	posts(s, "sign-in-code", "/session/code", "After the password: a code of the second factor", func(ctx context.Context, _ string, in CodeBody) (SessionView, []http.Cookie, error) {
		e, err := s.Access.Second(ctx, in.Code, fromOf(ctx))
		return s.begin(ctx, e, err)
	})
	posts(s, "enrol-first", "/session/enrol", "After the password: set up the second factor that this server requires", func(ctx context.Context, _ string, _ None) (access.Enrolment, []http.Cookie, error) {
		out, err := s.Access.EnrolFirst(ctx, fromOf(ctx))
		return out, nil, err
	})
	posts(s, "confirm-first", "/session/enrol/confirm", "Turn it on by a code of it, and sign in", func(ctx context.Context, _ string, in CodeBody) (Confirmed, []http.Cookie, error) {
		codes, e, err := s.Access.ConfirmFirst(ctx, in.Code, fromOf(ctx))
		return confirmed(ctx, codes, e, err)
	})
	posts(s, "prove", "/me/prove", "Show again who I am; for ten minutes it counts for what changes how people come in", func(ctx context.Context, _ string, in ProveBody) (SessionView, []http.Cookie, error) {
		e, err := s.Access.Prove(ctx, in.Password, in.Code, fromOf(ctx))
		return s.begin(ctx, e, err)
	})
	posts(s, "new-factor", "/me/second-factor", "Begin to set up my second factor, or another in its place", func(ctx context.Context, _ string, _ None) (access.Enrolment, []http.Cookie, error) {
		out, err := s.Access.NewFactor(ctx)
		return out, nil, err
	})
	posts(s, "confirm-factor", "/me/second-factor/confirm", "Turn on my second factor by a code of it; other sessions end", func(ctx context.Context, _ string, in CodeBody) (Confirmed, []http.Cookie, error) {
		codes, e, err := s.Access.ConfirmFactor(ctx, in.Code, fromOf(ctx))
		return confirmed(ctx, codes, e, err)
	})
	posts(s, "factor-off", "/me/second-factor/off", "Turn off my second factor; other sessions end", func(ctx context.Context, _ string, _ None) (SessionView, []http.Cookie, error) {
		e, err := s.Access.FactorOff(ctx, fromOf(ctx))
		return s.begin(ctx, e, err)
	})
	posts(s, "recovery-codes", "/me/second-factor/codes", "Ten new recovery codes; the old ones end", func(ctx context.Context, _ string, _ None) (access.RecoveryCodes, []http.Cookie, error) {
		out, err := s.Access.NewCodes(ctx)
		return out, nil, err
	})
	posts(s, "notices-seen", "/me/notices/seen", "I have read what I was told about my account", func(ctx context.Context, _ string, _ None) (None, []http.Cookie, error) {
		return None{}, nil, s.Access.NoticesSeen(ctx)
	})
}
