package access

import (
	"context"
	"slices"

	"ullage/internal/lab"
)

// Required says of whom a second factor is required.
type Required string

// Of whom.
const (
	Nobody         Required = "nobody"
	Administrators Required = "administrators"
	Reviewers      Required = "reviewers" // and administrators
	Everyone       Required = "everyone"  // who has a password
)

const (
	kindRule   = "rule"
	ruleFactor = "second factor"
)

// Rule is what this server requires of accounts with a password.
type Rule struct {
	RequiredFor Required `json:"required_for" enum:"nobody,administrators,reviewers,everyone" doc:"whose second factor is required at sign-in; reviewers: and administrators"`
}

func (r Rule) covers(roles []lab.Role) bool {
	has := func(x lab.Role) bool { return slices.Contains(roles, x) }
	switch r.RequiredFor {
	case Everyone:
		return !has(lab.RoleLine)
	case Reviewers:
		return has(lab.RoleAdminister) || has(lab.RoleReview)
	case Administrators:
		return has(lab.RoleAdminister)
	}
	return false
}

func (s *Service) rule(ctx context.Context) (Rule, lab.Item, error) {
	r, it, err := load[Rule](ctx, s, kindRule, ruleFactor)
	if err != nil && lab.ClassOf(err) == lab.NotFound {
		return Rule{Nobody}, lab.Item{Kind: kindRule, Key: ruleFactor}, nil
	}
	return r, it, err
}

func (s *Service) must(ctx context.Context, roles []lab.Role) (bool, error) {
	r, _, err := s.rule(ctx)
	return r.covers(roles), err
}

// Rule tells of whom a second factor is required.
func (s *Service) Rule(ctx context.Context) (Rule, error) {
	if err := s.Lab.May(ctx, lab.DoAccounts); err != nil {
		return Rule{}, err
	}
	r, _, err := s.rule(ctx)
	return r, err
}

// SetRule sets of whom a second factor is required. Sessions by password of those
// who have none end: they set it up when they sign in. Who sets a rule for
// themselves has one already.
func (s *Service) SetRule(ctx context.Context, in Rule) (Rule, error) {
	p, err := s.mayProved(ctx)
	if err != nil {
		return Rule{}, err
	}
	if !slices.Contains([]Required{Nobody, Administrators, Reviewers, Everyone}, in.RequiredFor) {
		return Rule{}, refuse(lab.Invalid, "required_for", string(in.RequiredFor), "is nobody this server knows", "use nobody, administrators, reviewers or everyone")
	}
	own, _, err := load[account](ctx, s, kindAccount, p.Account)
	if err != nil {
		return Rule{}, err
	}
	if _, on, err := s.factorOf(ctx, p.Account); err != nil || !on && own.Password != "" && in.covers(own.Roles) {
		return Rule{}, orElse(err, refuse(lab.Invalid, "required_for", string(in.RequiredFor), "would shut you out: you have no second factor", "set up your own first, on the page This device"))
	}
	_, it, err := s.rule(ctx)
	if err == nil {
		err = s.save(ctx, it, in)
	}
	if err != nil {
		return Rule{}, err
	}
	s.note(ctx, "second factor required of "+string(in.RequiredFor), "", "")
	var all []account
	err = list(ctx, s, kindAccount, "", func(_ lab.Item, a account) { all = append(all, a) })
	for _, a := range all {
		if err == nil {
			err = s.endUnfactored(ctx, in, &a)
		}
	}
	return in, err
}

// endUnfactored ends an account's sessions by password, if a rule wants a second
// factor of it and it has none. Those by PIN and by single sign-on stay.
func (s *Service) endUnfactored(ctx context.Context, r Rule, a *account) error {
	if !r.covers(a.Roles) {
		return nil
	}
	if _, on, err := s.factorOf(ctx, a.ID); err != nil || on {
		return err
	}
	var keys []string
	err := list(ctx, s, kindSession, a.ID, func(it lab.Item, v session) {
		if v.Via == "password" || v.Via == "link" {
			keys = append(keys, it.Key)
		}
	})
	for _, key := range keys {
		if err == nil {
			_, err = s.Vault.DropItem(ctx, kindSession, key)
		}
	}
	return err
}

// Notice is what the holder of an account is told when next signed in.
type Notice struct {
	At   lab.Time `json:"at"`
	Text string   `json:"text"`
}

const mostNotices = 10

func (a *account) tell(at lab.Time, text string) {
	a.Told = append(a.Told, Notice{at, text})
	if n := len(a.Told) - mostNotices; n > 0 {
		a.Told = a.Told[n:]
	}
}

// Notices lists what who asks has not said to have seen. A shared device, taken
// over by PIN, shows none.
func (s *Service) Notices(ctx context.Context) ([]Notice, error) {
	p, err := strong(ctx)
	if err != nil {
		return []Notice{}, nil
	}
	a, _, err := load[account](ctx, s, kindAccount, p.Account)
	if a.Told == nil {
		a.Told = []Notice{}
	}
	return a.Told, err
}

// NoticesSeen forgets them.
func (s *Service) NoticesSeen(ctx context.Context) error {
	p, err := strong(ctx)
	if err != nil {
		return err
	}
	a, it, err := load[account](ctx, s, kindAccount, p.Account)
	if err != nil || len(a.Told) == 0 {
		return err
	}
	a.Told = nil
	return s.save(ctx, it, a)
}
