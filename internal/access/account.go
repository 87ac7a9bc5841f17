package access

import (
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"ullage/internal/lab"
)

// account is what the vault holds of one.
type account struct {
	ID       string     `json:"id"`
	Name     string     `json:"name"`
	Person   string     `json:"person"`
	Roles    []lab.Role `json:"roles"`
	Password string     `json:"password,omitempty"` // argon2id
	PIN      string     `json:"pin,omitempty"`      // argon2id
	PINWrong int        `json:"pin_wrong,omitempty"`
	Off      bool       `json:"off,omitempty"`
	Made     lab.Time   `json:"made"`
	SignedIn lab.Time   `json:"signed_in,omitzero"`
	Told     []Notice   `json:"told,omitempty"`
}

// Account is what an administrator sees of one.
type Account struct {
	ID       string     `json:"id"`
	Name     string     `json:"name" doc:"what its holder types to sign in"`
	PersonID string     `json:"person_id" doc:"the person who stands on what it writes"`
	Roles    []lab.Role `json:"roles"`
	Ready    bool       `json:"ready" doc:"it has a password, or signed in through single sign-on"`
	HasPIN   bool       `json:"has_pin"`
	Off      bool       `json:"off" doc:"it may not sign in"`
	MadeAt   lab.Time   `json:"made_at"`
	SignedIn lab.Time   `json:"signed_in_at,omitzero" doc:"last time, by a password, a link or single sign-on"`
	Factor   bool       `json:"has_factor" doc:"its second factor is on"`
}

func (a *account) shown() Account {
	roles := a.Roles
	if roles == nil {
		roles = []lab.Role{}
	}
	return Account{ID: a.ID, Name: a.Name, PersonID: a.Person, Roles: roles, Ready: a.Password != "" || !a.SignedIn.IsZero(), HasPIN: a.PIN != "",
		Off: a.Off, MadeAt: a.Made, SignedIn: a.SignedIn}
}

func (a *account) principal(via string) lab.Principal {
	return lab.Principal{Account: a.ID, Person: a.Person, Name: a.Name, Roles: a.Roles, Via: via}
}

var goodName = regexp.MustCompile(`^[a-z0-9][a-z0-9._@+-]{1,63}$`)

func cleanName(name string) (string, error) {
	n := strings.ToLower(strings.TrimSpace(name))
	if !goodName.MatchString(n) {
		return "", refuse(lab.Invalid, "name", fmt.Sprintf("%.80s", name), "is not a name to sign in with", "use 2 to 64 letters, digits and . _ - @ +, such as quality.tech")
	}
	return n, nil
}

func checkRoles(roles []lab.Role) error {
	if len(roles) == 0 {
		return refuse(lab.Invalid, "roles", nil, "are missing", "give at least read")
	}
	for _, r := range roles {
		if !slices.Contains(lab.Roles(), r) {
			return refuse(lab.Invalid, "roles", string(r), "is no role", "use read, enter, review, administer or line")
		}
	}
	return nil
}

func (s *Service) byName(ctx context.Context, name string) (account, lab.Item, error) {
	it, err := s.Vault.Item(ctx, kindName, name, lab.At(s.now()))
	if err != nil {
		return account{}, it, err
	}
	return load[account](ctx, s, kindAccount, it.Owner)
}

// Accounts lists all.
func (s *Service) Accounts(ctx context.Context) ([]Account, error) {
	if err := s.Lab.May(ctx, lab.DoAccounts); err != nil {
		return nil, err
	}
	out := []Account{}
	err := list(ctx, s, kindAccount, "", func(_ lab.Item, a account) { out = append(out, a.shown()) })
	if err == nil {
		on := map[string]bool{}
		err = list(ctx, s, kindFactor, "", func(it lab.Item, _ factor) { on[it.Key] = true })
		for i := range out {
			out[i].Factor = on[out[i].ID]
		}
	}
	return out, err
}

// NewAccount asks for an account. With no PersonID a person of the name is made.
type NewAccount struct {
	Name       string     `json:"name" maxLength:"64"`
	PersonID   string     `json:"person_id,omitempty" maxLength:"64" doc:"empty: a new person"`
	PersonName string     `json:"person_name,omitempty" maxLength:"200" doc:"of a new person; empty: the name"`
	Roles      []lab.Role `json:"roles"`
}

// Link is a secret that works once.
type Link struct {
	Account Account  `json:"account"`
	Secret  string   `json:"secret" doc:"shown once; the address is /sign-in#link= and this"`
	Until   lab.Time `json:"until"`
}

// Create makes an account, and the link by which its holder sets a password.
func (s *Service) Create(ctx context.Context, in NewAccount) (Link, error) {
	if _, err := s.mayProved(ctx); err != nil {
		return Link{}, err
	}
	a, err := s.create(ctx, in)
	if err != nil {
		return Link{}, err
	}
	s.note(ctx, "account made", a.Name, "")
	return s.link(ctx, &a, LinkWhole)
}

func (s *Service) create(ctx context.Context, in NewAccount) (account, error) {
	name, err := cleanName(in.Name)
	if err == nil {
		err = checkRoles(in.Roles)
	}
	if err != nil {
		return account{}, err
	}
	a := account{Name: name, Person: in.PersonID, Roles: in.Roles, Made: lab.At(s.now())}
	if a.ID, err = newID(); err != nil {
		return a, err
	}
	if err := s.save(ctx, lab.Item{Kind: kindName, Key: name, Owner: a.ID}, struct{}{}); lab.ClassOf(err) == lab.Conflict {
		return a, refuse(lab.Conflict, "name", name, "is another account's", "choose another name")
	} else if err != nil {
		return a, err
	}
	if a.Person == "" {
		a.Person, err = s.newPerson(ctx, in.PersonName, name)
	} else {
		_, err = s.Lab.Get(ctx, lab.KindPeople, a.Person)
	}
	if err == nil {
		err = s.save(ctx, lab.Item{Kind: kindAccount, Key: a.ID}, a)
	}
	if err != nil {
		_, _ = s.Vault.DropItem(ctx, kindName, name)
	}
	return a, err
}

// newPerson writes a person; the first one of all writes himself.
func (s *Service) newPerson(ctx context.Context, name, fallback string) (string, error) {
	if strings.TrimSpace(name) == "" {
		name = fallback
	}
	id, err := newID()
	if err != nil {
		return "", err
	}
	body, err := json.Marshal(lab.Person{Meta: lab.Meta{ID: id, By: id}, Name: name, Initials: initials(name)})
	if err != nil {
		return "", err
	}
	if _, ok := lab.Who(ctx); !ok {
		ctx = lab.As(ctx, lab.Principal{Person: id, Name: fallback, Roles: []lab.Role{lab.RoleAdminister}, Via: "link"})
	}
	return id, s.Lab.Put(ctx, lab.Write{Kind: lab.KindPeople, ID: id, Record: body}).Err
}

func initials(name string) string {
	out := ""
	for _, w := range strings.Fields(name) {
		if r := []rune(w); len(out) < 3 {
			out += strings.ToUpper(string(r[0]))
		}
	}
	return out
}

// AccountChange is what an administrator may change of an account.
type AccountChange struct {
	Roles []lab.Role `json:"roles"`
	Off   bool       `json:"off" doc:"it may not sign in; its sessions and tokens end"`
}

// Change sets roles, or switches an account off. The last administrator stays.
func (s *Service) Change(ctx context.Context, id string, in AccountChange) (Account, error) {
	if _, err := s.mayProved(ctx); err != nil {
		return Account{}, err
	}
	if err := checkRoles(in.Roles); err != nil {
		return Account{}, err
	}
	a, it, err := load[account](ctx, s, kindAccount, id)
	if err != nil {
		return Account{}, err
	}
	if in.Off || !slices.Contains(in.Roles, lab.RoleAdminister) {
		others, err := s.administrators(ctx, id)
		if err == nil && others == 0 && slices.Contains(a.Roles, lab.RoleAdminister) {
			err = refuse(lab.Invalid, "roles", a.Name, "is the last administrator", "make another one first")
		}
		if err != nil {
			return Account{}, err
		}
	}
	what := fmt.Sprintf("roles %v", in.Roles)
	if in.Off {
		what = "switched off"
	}
	a.Roles, a.Off = in.Roles, in.Off
	if err := s.save(ctx, it, a); err != nil {
		return Account{}, err
	}
	s.note(ctx, what, a.Name, "")
	if a.Off {
		return a.shown(), s.endSessions(ctx, id)
	}
	r, _, err := s.rule(ctx)
	if err == nil { // the new roles may be of those that need a second factor
		err = s.endUnfactored(ctx, r, &a)
	}
	return a.shown(), err
}

// administrators counts those who can sign in, or could with their link.
func (s *Service) administrators(ctx context.Context, but string) (int, error) {
	n := 0
	err := list(ctx, s, kindAccount, "", func(_ lab.Item, a account) {
		if a.ID != but && !a.Off && slices.Contains(a.Roles, lab.RoleAdminister) && a.shown().Ready {
			n++
		}
	})
	return n, err
}

// Invite makes a new link for an account: first password, or a forgotten one.
func (s *Service) Invite(ctx context.Context, id string) (Link, error) {
	if _, err := s.mayProved(ctx); err != nil {
		return Link{}, err
	}
	a, _, err := load[account](ctx, s, kindAccount, id)
	if err != nil {
		return Link{}, err
	}
	s.note(ctx, "link made", a.Name, "")
	return s.link(ctx, &a, LinkWhole)
}

// EndSessions signs an account out everywhere; its devices and tokens stay.
func (s *Service) EndSessions(ctx context.Context, id string) error {
	if _, err := s.mayProved(ctx); err != nil {
		return err
	}
	a, _, err := load[account](ctx, s, kindAccount, id)
	if err != nil {
		return err
	}
	s.note(ctx, "signed out everywhere", a.Name, "")
	return s.endSessions(ctx, id)
}

// Recover makes a new link for an account by its name, for whoever holds the
// database: it asks for no permission beyond the laboratory's own. With
// lostFactor it takes the second factor off as well.
func (s *Service) Recover(ctx context.Context, name string, lostFactor bool) (Link, error) {
	if err := s.Lab.May(ctx, lab.DoAccounts); err != nil {
		return Link{}, err
	}
	clean, err := cleanName(name)
	if err != nil {
		return Link{}, err
	}
	a, _, err := s.byName(ctx, clean)
	if err != nil {
		return Link{}, orElse(err, refuse(lab.NotFound, "name", clean, "is no account's", "an administrator sees the names on the page Accounts"))
	}
	if lostFactor {
		if _, err := s.takeOff(ctx, a.ID, "the command line"); err != nil {
			return Link{}, orElse(err, refuse(lab.Invalid, "lost-factor", a.Name, "has no second factor on", "leave it out: a link for the password is all it takes"))
		}
	}
	s.note(ctx, "link made at the command line", a.Name, "")
	return s.link(ctx, &a, LinkWhole)
}

// link replaces the links of an account by a new one.
func (s *Service) link(ctx context.Context, a *account, whole time.Duration) (Link, error) {
	if err := s.dropAll(ctx, kindLink, a.ID); err != nil {
		return Link{}, err
	}
	secret, hash := newSecret()
	until := lab.At(s.now().Add(whole))
	err := s.save(ctx, lab.Item{Kind: kindLink, Key: hash, Owner: a.ID, Expires: until}, struct{}{})
	return Link{a.shown(), secret, until}, err
}

func (s *Service) dropAll(ctx context.Context, kind, owner string) error {
	items, err := s.Vault.Items(ctx, kind, owner)
	for _, it := range items {
		if err == nil {
			_, err = s.Vault.DropItem(ctx, kind, it.Key)
		}
	}
	return err
}
