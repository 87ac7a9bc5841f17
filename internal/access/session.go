package access

import (
	"context"
	"slices"
	"time"

	"ullage/internal/lab"
)

// From is where a request comes from.
type From struct {
	Addr    string // network address, without the port
	Agent   string // what the browser calls itself
	Session string // secret of the session it brought, if any
	Half    string // secret of the half session it brought, if any
	Device  string // secret of the registered device it brought, if any
	Secure  bool   // through TLS
}

// session is what the vault holds of one; its key is the hash of its secret.
type session struct {
	Via    string   `json:"via"`
	Made   lab.Time `json:"made"`
	Seen   lab.Time `json:"seen"`
	Proved lab.Time `json:"proved,omitzero"` // when its holder last showed who they are
	Agent  string   `json:"agent,omitempty"`
	Device string   `json:"device,omitempty"`
}

// Session is what its holder sees of one.
type Session struct {
	ID    string   `json:"id" doc:"not its secret"`
	Via   string   `json:"via" enum:"password,pin,link,sign-on"`
	Made  lab.Time `json:"made_at"`
	Seen  lab.Time `json:"seen_at"`
	Agent string   `json:"agent,omitempty" doc:"what the browser calls itself"`
	This  bool     `json:"this" doc:"the one that asks"`
}

// Entry is a session that was begun, or with a Step half of one: its secret goes
// into a cookie.
type Entry struct {
	Principal lab.Principal
	Secret    string
	Until     lab.Time
	Step      Step // what is asked before the session begins; empty: it has begun
}

var wrong = refuse(lab.NoSession, "password", nil, "name or password is not right", "try again, or ask an administrator for a link")

// SignIn begins a session by name and password, or half of one.
func (s *Service) SignIn(ctx context.Context, name, password string, from From) (Entry, error) {
	clean, err := cleanName(name)
	if err != nil || len(password) > maxPassword {
		clean = "-" // no account's
	}
	counts := byNameAndAddress(clean, from.Addr)
	if err := s.limits.start(s.now(), counts); err != nil {
		s.Log.Warn("access", "what", "too many tries", "from", from.Addr)
		return Entry{}, err
	}
	a, it, err := s.byName(ctx, clean)
	if err != nil && lab.ClassOf(err) != lab.NotFound {
		return Entry{}, err
	}
	hash := a.Password
	if a.Off {
		hash = ""
	}
	ok, err := s.matches(ctx, password, hash)
	if err != nil {
		return Entry{}, err
	}
	if !ok {
		s.Log.Warn("access", "what", "wrong password", "from", from.Addr)
		return Entry{}, wrong
	}
	s.limits.right(counts)
	return s.further(ctx, &a, it, "password", from)
}

// begin makes a session with a secret of its own, whatever the browser brought,
// and ends the one that it brought. Proved is when its holder showed who they
// are in a way that counts for changing how people come in.
func (s *Service) begin(ctx context.Context, a *account, it lab.Item, via string, proved lab.Time, from From) (Entry, error) {
	e, err := s.renew(ctx, a, it, via, proved, from)
	if err == nil {
		s.note(ctx, "signed in by "+via, a.Name, from.Addr)
	}
	return e, err
}

// renew is begin without a word: for one who is signed in already.
func (s *Service) renew(ctx context.Context, a *account, it lab.Item, via string, proved lab.Time, from From) (Entry, error) {
	if from.Session != "" {
		if _, err := s.Vault.DropItem(ctx, kindSession, hashOf(from.Session)); err != nil {
			return Entry{}, err
		}
	}
	if err := s.dropHalf(ctx, from); err != nil {
		return Entry{}, err
	}
	whole := SessionWhole
	if via == "pin" {
		whole = PINWhole
	} else {
		a.SignedIn, a.PINWrong = lab.At(s.now()), 0
		if err := s.save(ctx, it, a); err != nil && lab.ClassOf(err) != lab.Conflict {
			return Entry{}, err
		}
	}
	secret, hash := newSecret()
	now := lab.At(s.now())
	until := lab.At(now.Add(whole))
	dev, _ := s.device(ctx, from.Device)
	err := s.save(ctx, lab.Item{Kind: kindSession, Key: hash, Owner: a.ID, Expires: until},
		session{Via: via, Made: now, Seen: now, Proved: proved, Agent: shorten(from.Agent), Device: dev.ID})
	p := limited(a.principal(via), dev.ID)
	p.Proved = proved
	return Entry{Principal: p, Secret: secret, Until: until}, err
}

func shorten(text string) string {
	if len(text) > 200 {
		return text[:200]
	}
	return text
}

// limited takes from a principal what the way they came in does not allow: a PIN
// is for the day's work, not for signing lots or giving roles.
func limited(p lab.Principal, device string) lab.Principal {
	p.Device = device
	p.Roles = slices.Clone(p.Roles)
	drop := []lab.Role{}
	switch p.Via {
	case "pin":
		drop = []lab.Role{lab.RoleReview, lab.RoleAdminister}
		if p.Has(lab.RoleReview) { // who may sign by password may enter by PIN
			p.Roles = append(p.Roles, lab.RoleEnter)
		}
	case "token":
		drop = []lab.Role{lab.RoleAdminister}
	}
	p.Roles = slices.DeleteFunc(p.Roles, func(r lab.Role) bool { return slices.Contains(drop, r) })
	return p
}

// touchEvery bounds how often a request writes that a session was seen.
const touchEvery = 5 * time.Minute

// Resolve tells who a session's secret stands for, or refuses.
func (s *Service) Resolve(ctx context.Context, secret string) (lab.Principal, error) {
	ended := refuse(lab.NoSession, "session", nil, "has ended", "sign in again")
	if secret == "" || len(secret) > 100 {
		return lab.Principal{}, ended
	}
	ses, it, err := load[session](ctx, s, kindSession, hashOf(secret))
	if err != nil {
		return lab.Principal{}, orElse(err, ended)
	}
	now := s.now()
	idle := SessionIdle
	if ses.Via == "pin" {
		idle = PINIdle
	}
	if now.Sub(ses.Seen.Time) > idle {
		_, err := s.Vault.DropItem(ctx, kindSession, it.Key)
		return lab.Principal{}, orElse(err, ended)
	}
	a, _, err := load[account](ctx, s, kindAccount, it.Owner)
	if err != nil || a.Off {
		return lab.Principal{}, orElse(err, ended)
	}
	if now.Sub(ses.Seen.Time) > min(touchEvery, idle/6) {
		ses.Seen = lab.At(now)
		if err := s.save(ctx, it, ses); err != nil && lab.ClassOf(err) != lab.Conflict {
			s.Log.Warn("a session's time could not be kept", "err", err)
		}
	}
	p := limited(a.principal(ses.Via), ses.Device)
	p.Proved = ses.Proved
	return p, nil
}

// orElse gives the refusal in place of "there is none", and other errors as they are.
func orElse(err error, refusal *lab.Error) error {
	if err == nil || lab.ClassOf(err) == lab.NotFound {
		return refusal
	}
	return err
}

// SignOut ends the session, or half of one, that a browser brings.
func (s *Service) SignOut(ctx context.Context, from From) error {
	_, err := s.Vault.DropItem(ctx, kindSession, hashOf(from.Session))
	if err == nil {
		err = s.dropHalf(ctx, from)
	}
	return err
}

func self(ctx context.Context) (lab.Principal, error) {
	p, ok := lab.Who(ctx)
	if !ok || p.Account == "" {
		return p, refuse(lab.NoSession, "session", nil, "nobody is signed in", "sign in first")
	}
	return p, nil
}

// strong refuses what only a session by password, link or single sign-on may do.
func strong(ctx context.Context) (lab.Principal, error) {
	p, err := self(ctx)
	if err == nil && (p.Via == "pin" || p.Via == "token" || p.Via == "device") {
		return p, refuse(lab.Forbidden, "session", p.Via, "does not allow that", "sign in with the password")
	}
	return p, err
}

// SignOutEverywhere ends all sessions of who asks.
func (s *Service) SignOutEverywhere(ctx context.Context) error {
	p, err := s.proved(ctx)
	if err != nil {
		return err
	}
	s.note(ctx, "signed out everywhere", p.Name, "")
	return s.endSessions(ctx, p.Account)
}

// endSessions ends those of an account, and what was half begun.
func (s *Service) endSessions(ctx context.Context, account string) error {
	err := s.dropAll(ctx, kindSession, account)
	if err == nil {
		err = s.dropAll(ctx, kindHalf, account)
	}
	return err
}

// EndSession ends one session of who asks, by the id that [Service.Sessions] shows.
func (s *Service) EndSession(ctx context.Context, id string) error {
	p, err := s.proved(ctx)
	if err != nil {
		return err
	}
	key := ""
	err = list(ctx, s, kindSession, p.Account, func(it lab.Item, _ session) {
		if it.Key[:12] == id {
			key = it.Key
		}
	})
	if err != nil || key == "" {
		return orElse(err, refuse(lab.NotFound, "id", id, "there is no such session of yours", ""))
	}
	s.note(ctx, "signed out on another device", p.Name, "")
	_, err = s.Vault.DropItem(ctx, kindSession, key)
	return err
}

// Sessions lists those of who asks.
func (s *Service) Sessions(ctx context.Context, secret string) ([]Session, error) {
	p, err := self(ctx)
	if err != nil {
		return nil, err
	}
	out := []Session{}
	err = list(ctx, s, kindSession, p.Account, func(it lab.Item, v session) {
		out = append(out, Session{it.Key[:12], v.Via, v.Made, v.Seen, v.Agent, it.Key == hashOf(secret)})
	})
	return out, err
}
