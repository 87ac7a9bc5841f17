package access

import (
	"context"
	"slices"
	"strings"

	"ullage/internal/lab"
)

// TokenPrefix begins every API token, so that one that leaked can be searched for.
const TokenPrefix = "ullage_"

// token is what the vault holds of one; its key is the hash of its secret.
type token struct {
	ID    string     `json:"id"`
	Name  string     `json:"name"`
	Roles []lab.Role `json:"roles"`
	Made  lab.Time   `json:"made"`
}

// Token is what its holder, and an administrator, see of one.
type Token struct {
	ID      string     `json:"id"`
	Name    string     `json:"name" doc:"what it is for"`
	Roles   []lab.Role `json:"roles" doc:"what it may, as long as its account may"`
	Account string     `json:"account_id"`
	Made    lab.Time   `json:"made_at"`
	Until   lab.Time   `json:"until"`
}

// NewToken asks for one.
type NewToken struct {
	Name  string     `json:"name" maxLength:"100"`
	Roles []lab.Role `json:"roles" doc:"read, enter or review; no token administers"`
	Days  int        `json:"days" minimum:"1" maximum:"366"`
}

// MadeToken is a token with its secret, shown once.
type MadeToken struct {
	Token
	Secret string `json:"secret" doc:"send it as Authorization: Bearer; it is not shown again"`
}

// NewToken makes one for who asks, with no more roles than they have.
func (s *Service) NewToken(ctx context.Context, in NewToken) (MadeToken, error) {
	p, err := s.proved(ctx)
	if err != nil {
		return MadeToken{}, err
	}
	if in.Name == "" || len(in.Name) > 100 {
		return MadeToken{}, refuse(lab.Invalid, "name", in.Name, "is empty or too long", "say what the token is for")
	}
	if in.Days < 1 || in.Days > 366 {
		return MadeToken{}, refuse(lab.Invalid, "days", in.Days, "cannot be outside 1 to 366", "make a new token when it ends")
	}
	if err := checkRoles(in.Roles); err != nil {
		return MadeToken{}, err
	}
	for _, r := range in.Roles {
		if r == lab.RoleAdminister || !slices.Contains(p.Roles, r) {
			return MadeToken{}, refuse(lab.Invalid, "roles", string(r), "is not a role this token can have", "give roles of your own; no token administers")
		}
	}
	t := token{Name: in.Name, Roles: in.Roles, Made: lab.At(s.now())}
	if t.ID, err = newID(); err != nil {
		return MadeToken{}, err
	}
	secret, _ := newSecret()
	secret = TokenPrefix + secret
	until := lab.At(s.now().Add(days(in.Days, MaxToken)))
	err = s.save(ctx, lab.Item{Kind: kindToken, Key: hashOf(secret), Owner: p.Account, Expires: until}, t)
	s.note(ctx, "token made: "+in.Name, p.Name, "")
	return MadeToken{t.shown(p.Account, until), secret}, err
}

func (t *token) shown(owner string, until lab.Time) Token {
	return Token{t.ID, t.Name, t.Roles, owner, t.Made, until}
}

// Tokens lists those of who asks; of everyone, for an administrator.
func (s *Service) Tokens(ctx context.Context) ([]Token, error) {
	p, err := strong(ctx)
	if err != nil {
		return nil, err
	}
	owner := p.Account
	if p.Has(lab.RoleAdminister) {
		owner = ""
	}
	out := []Token{}
	err = list(ctx, s, kindToken, owner, func(it lab.Item, t token) { out = append(out, t.shown(it.Owner, it.Expires)) })
	return out, err
}

// Revoke ends a token of who asks, or any, for an administrator.
func (s *Service) Revoke(ctx context.Context, id string) error {
	p, err := strong(ctx)
	if err != nil {
		return err
	}
	owner := p.Account
	if p.Has(lab.RoleAdminister) {
		owner = ""
	}
	key := ""
	err = list(ctx, s, kindToken, owner, func(it lab.Item, t token) {
		if t.ID == id {
			key = it.Key
		}
	})
	if err != nil || key == "" {
		return orElse(err, refuse(lab.NotFound, "id", id, "there is no such token of yours", ""))
	}
	s.note(ctx, "token revoked", p.Name, "")
	_, err = s.Vault.DropItem(ctx, kindToken, key)
	return err
}

// ResolveToken tells who an API token stands for, or refuses.
func (s *Service) ResolveToken(ctx context.Context, secret string) (lab.Principal, error) {
	no := refuse(lab.NoSession, "header.Authorization", nil, "is not a token of this server, or one that ended", "make a new token")
	if !strings.HasPrefix(secret, TokenPrefix) || len(secret) > 100 {
		return lab.Principal{}, no
	}
	t, it, err := load[token](ctx, s, kindToken, hashOf(secret))
	if err != nil {
		return lab.Principal{}, orElse(err, no)
	}
	a, _, err := load[account](ctx, s, kindAccount, it.Owner)
	if err != nil || a.Off {
		return lab.Principal{}, orElse(err, no)
	}
	p := limited(a.principal("token"), "")
	p.Roles = slices.DeleteFunc(p.Roles, func(r lab.Role) bool { return !slices.Contains(t.Roles, r) })
	return p, nil
}
