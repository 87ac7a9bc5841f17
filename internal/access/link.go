package access

import (
	"context"

	"ullage/internal/lab"
)

// firstAdmin owns the link of a server that has no administrator yet.
const firstAdmin = "first administrator"

// AdminLink makes the one-time link of a server without an administrator. Again
// makes a new one where one was made before; made is false where it was, or
// where an administrator is there.
func (s *Service) AdminLink(ctx context.Context, again bool) (link Link, made bool, err error) {
	if n, err := s.administrators(ctx, ""); err != nil || n > 0 {
		if err == nil && again {
			err = refuse(lab.Invalid, "new-admin-link", nil, "there is an administrator already", "who makes links for others on the page Accounts")
		}
		return link, false, err
	}
	before, err := s.Vault.Items(ctx, kindLink, firstAdmin)
	if err != nil || len(before) > 0 && !again && before[0].Expires.After(s.now()) {
		return link, false, err
	}
	link, err = s.link(ctx, &account{ID: firstAdmin, Roles: []lab.Role{lab.RoleAdminister}}, AdminLink)
	return link, err == nil, err
}

// Accept is what the holder of a link sends. Name and PersonName are for the
// first administrator; other accounts have theirs.
type Accept struct {
	Link       string `json:"link" maxLength:"100"`
	Password   string `json:"password" maxLength:"256"`
	Name       string `json:"name,omitempty" maxLength:"64" doc:"first administrator: what to sign in with"`
	PersonName string `json:"person_name,omitempty" maxLength:"200" doc:"first administrator: what stands on records"`
}

var deadLink = refuse(lab.NoSession, "link", nil, "was used already, or is too old", "ask an administrator for a new one")

// LinkFor tells whose link a secret is, without using it up.
func (s *Service) LinkFor(ctx context.Context, secret string) (name string, first bool, err error) {
	it, err := s.Vault.Item(ctx, kindLink, hashOf(secret), lab.At(s.now()))
	if err != nil {
		return "", false, orElse(err, deadLink)
	}
	if it.Owner == firstAdmin {
		return "", true, nil
	}
	a, _, err := load[account](ctx, s, kindAccount, it.Owner)
	return a.Name, false, err
}

// Accept sets the password of a link's account, uses the link up, ends the
// account's other sessions and begins one; half of one where the second factor is
// on: a link stands for the password alone.
func (s *Service) Accept(ctx context.Context, in Accept, from From) (Entry, error) {
	counts := []counted{{"link " + from.Addr, 20}}
	if err := s.limits.start(s.now(), counts); err != nil {
		return Entry{}, err
	}
	name, first, err := s.LinkFor(ctx, in.Link)
	if err != nil {
		return Entry{}, err
	}
	if first {
		if name, err = cleanName(in.Name); err != nil {
			return Entry{}, err
		}
	}
	s.limits.right(counts)
	if err := s.passwordFor(ctx, in.Password, name, in.PersonName); err != nil {
		return Entry{}, err
	}
	hash, err := s.hash(ctx, in.Password)
	if err != nil {
		return Entry{}, err
	}
	it, err := s.Vault.Item(ctx, kindLink, hashOf(in.Link), lab.At(s.now()))
	if err != nil {
		return Entry{}, orElse(err, deadLink)
	}
	// Of two who use it at once, one has it.
	if was, err := s.Vault.DropItem(ctx, kindLink, it.Key); err != nil || !was {
		return Entry{}, orElse(err, deadLink)
	}
	a, item, err := s.accepted(ctx, it.Owner, name, in.PersonName)
	if err != nil {
		if first { // nothing came of it: the link stays good
			_ = s.Vault.PutItem(ctx, lab.Item{Kind: kindLink, Key: it.Key, Owner: it.Owner, Expires: it.Expires, Body: it.Body})
		}
		return Entry{}, err
	}
	a.Password = hash
	if err := s.save(ctx, item, a); err != nil {
		return Entry{}, err
	}
	item.Version++
	if err := s.endSessions(ctx, a.ID); err != nil {
		return Entry{}, err
	}
	return s.further(ctx, &a, item, "link", from)
}

func (s *Service) accepted(ctx context.Context, owner, name, person string) (account, lab.Item, error) {
	if owner == firstAdmin {
		roles := []lab.Role{lab.RoleRead, lab.RoleEnter, lab.RoleReview, lab.RoleAdminister}
		a, err := s.create(ctx, NewAccount{Name: name, PersonName: person, Roles: roles})
		if err != nil {
			return a, lab.Item{}, err
		}
		owner = a.ID
	}
	a, it, err := load[account](ctx, s, kindAccount, owner)
	if err == nil && a.Off {
		err = deadLink
	}
	return a, it, err
}

// SetPassword changes the password of who asks, and ends their other sessions.
func (s *Service) SetPassword(ctx context.Context, old, next string, from From) (Entry, error) {
	p, err := s.proved(ctx)
	if err != nil {
		return Entry{}, err
	}
	a, it, err := s.proven(ctx, p, "old", old)
	if err != nil {
		return Entry{}, err
	}
	if err := s.passwordFor(ctx, next, a.Name, ""); err != nil {
		return Entry{}, err
	}
	if a.Password, err = s.hash(ctx, next); err != nil {
		return Entry{}, err
	}
	if err := s.save(ctx, it, a); err != nil {
		return Entry{}, err
	}
	it.Version++
	if err := s.endSessions(ctx, a.ID); err != nil {
		return Entry{}, err
	}
	s.note(ctx, "password changed", a.Name, from.Addr)
	return s.renew(ctx, &a, it, "password", lab.At(s.now()), from)
}

// proven asks once more for the password of who asks.
func (s *Service) proven(ctx context.Context, p lab.Principal, field, password string) (account, lab.Item, error) {
	counts := []counted{{"again " + p.Account, 5}}
	if err := s.limits.start(s.now(), counts); err != nil {
		return account{}, lab.Item{}, err
	}
	a, it, err := load[account](ctx, s, kindAccount, p.Account)
	if err != nil {
		return a, it, err
	}
	ok, err := s.matches(ctx, password, a.Password)
	if err == nil && !ok {
		err = refuse(lab.Forbidden, field, nil, "is not the password", "type the password you signed in with")
	}
	if err == nil {
		s.limits.right(counts)
	}
	return a, it, err
}

// SetPIN sets the PIN by which who asks takes over a registered device; empty
// takes it away.
func (s *Service) SetPIN(ctx context.Context, password, pin string) error {
	p, err := s.proved(ctx)
	if err != nil {
		return err
	}
	a, it, err := s.proven(ctx, p, "password", password)
	if err != nil {
		return err
	}
	a.PIN, a.PINWrong = "", 0
	if pin != "" {
		if err := checkPIN(pin); err != nil {
			return err
		}
		if a.PIN, err = s.hash(ctx, pin); err != nil {
			return err
		}
	}
	s.note(ctx, "PIN changed", a.Name, "")
	return s.save(ctx, it, a)
}
