package access

import (
	"context"
	"slices"
	"time"

	"ullage/internal/lab"
)

// device is what the vault holds of a registered one; its key is the hash of
// its secret. A shared one is handed over by PIN; a line device needs nobody
// signed in and acts as its own account, which may only enter.
type device struct {
	ID      string   `json:"id"`
	Name    string   `json:"name"`
	Line    bool     `json:"line,omitempty"`
	Account string   `json:"account,omitempty"` // of a line device
	Made    lab.Time `json:"made"`
	By      string   `json:"by"`
}

// Device is what an administrator sees of one.
type Device struct {
	ID    string   `json:"id"`
	Name  string   `json:"name"`
	Kind  string   `json:"kind" enum:"shared,line" doc:"shared: handed over by PIN; line: nobody signs in, and it may only enter"`
	Made  lab.Time `json:"made_at"`
	By    string   `json:"by"`
	Until lab.Time `json:"until"`
	This  bool     `json:"this" doc:"the one that asks"`
}

// NewDevice asks for the browser that sends it to be registered.
type NewDevice struct {
	Name string `json:"name" maxLength:"100"`
	Kind string `json:"kind" enum:"shared,line"`
	Days int    `json:"days,omitempty" minimum:"0" maximum:"366" doc:"until it has to be registered again; 0: 366"`
}

// Registered is a device's secret, for a cookie.
type Registered struct {
	Device Device
	Secret string
	Until  lab.Time
}

func days(n int, most time.Duration) time.Duration {
	if n <= 0 || time.Duration(n)*24*time.Hour > most {
		return most
	}
	return time.Duration(n) * 24 * time.Hour
}

// Register makes the asking browser a registered device.
func (s *Service) Register(ctx context.Context, in NewDevice) (Registered, error) {
	p, err := s.mayProved(ctx)
	if err != nil {
		return Registered{}, err
	}
	if in.Name == "" || len(in.Name) > 100 {
		return Registered{}, refuse(lab.Invalid, "name", in.Name, "is empty or too long", "name the device by its place, such as C6 tablet")
	}
	if in.Kind != "shared" && in.Kind != "line" {
		return Registered{}, refuse(lab.Invalid, "kind", in.Kind, "is no kind of device", "use shared or line")
	}
	d := device{Name: in.Name, Line: in.Kind == "line", Made: lab.At(s.now()), By: p.Name}
	if d.ID, err = newID(); err != nil {
		return Registered{}, err
	}
	if d.Line {
		a, err := s.create(ctx, NewAccount{Name: "line-" + d.ID[len(d.ID)-12:], PersonName: in.Name, Roles: []lab.Role{lab.RoleLine}})
		if err != nil {
			return Registered{}, err
		}
		d.Account = a.ID
	}
	secret, hash := newSecret()
	until := lab.At(s.now().Add(days(in.Days, MaxDevice)))
	err = s.save(ctx, lab.Item{Kind: kindDevice, Key: hash, Owner: d.ID, Expires: until}, d)
	s.note(ctx, "device registered: "+in.Kind, d.Name, "")
	return Registered{d.shown(until, true), secret, until}, err
}

func (d *device) shown(until lab.Time, this bool) Device {
	kind := "shared"
	if d.Line {
		kind = "line"
	}
	return Device{d.ID, d.Name, kind, d.Made, d.By, until, this}
}

// Devices lists all.
func (s *Service) Devices(ctx context.Context, secret string) ([]Device, error) {
	if err := s.Lab.May(ctx, lab.DoAccounts); err != nil {
		return nil, err
	}
	out := []Device{}
	err := list(ctx, s, kindDevice, "", func(it lab.Item, d device) {
		out = append(out, d.shown(it.Expires, it.Key == hashOf(secret)))
	})
	return out, err
}

// Unregister ends a device, its account and the sessions begun on it by PIN.
func (s *Service) Unregister(ctx context.Context, id string) error {
	if err := s.Lab.May(ctx, lab.DoAccounts); err != nil {
		return err
	}
	items, err := s.Vault.Items(ctx, kindDevice, id)
	if err != nil || len(items) == 0 {
		return orElse(err, refuse(lab.NotFound, "id", id, "there is no such device", ""))
	}
	d, it, err := load[device](ctx, s, kindDevice, items[0].Key)
	if err != nil {
		return err
	}
	if _, err := s.Vault.DropItem(ctx, kindDevice, it.Key); err != nil {
		return err
	}
	s.note(ctx, "device unregistered", d.Name, "")
	if d.Line {
		a, ai, err := load[account](ctx, s, kindAccount, d.Account)
		if err != nil {
			return err
		}
		a.Off = true
		return s.save(ctx, ai, a)
	}
	var mine []string
	err = list(ctx, s, kindSession, "", func(it lab.Item, v session) {
		if v.Device == id && v.Via == "pin" {
			mine = append(mine, it.Key)
		}
	})
	for _, key := range mine {
		if err == nil {
			_, err = s.Vault.DropItem(ctx, kindSession, key)
		}
	}
	return err
}

func (s *Service) device(ctx context.Context, secret string) (device, error) {
	if secret == "" || len(secret) > 100 {
		return device{}, refuse(lab.NotFound, "device", nil, "is not registered", "an administrator registers it on the page Accounts")
	}
	d, _, err := load[device](ctx, s, kindDevice, hashOf(secret))
	return d, err
}

// ThisDevice tells what a device's secret stands for; ok is false for none.
func (s *Service) ThisDevice(ctx context.Context, secret string) (d Device, ok bool, err error) {
	found, err := s.device(ctx, secret)
	if lab.ClassOf(err) == lab.NotFound && err != nil {
		return Device{}, false, nil
	}
	return found.shown(lab.Time{}, true), err == nil, err
}

// ResolveDevice tells whom a line device acts as, or refuses.
func (s *Service) ResolveDevice(ctx context.Context, secret string) (lab.Principal, error) {
	no := refuse(lab.NoSession, "session", nil, "nobody is signed in", "sign in, then send it again")
	d, err := s.device(ctx, secret)
	if err != nil || !d.Line {
		return lab.Principal{}, orElse(err, no)
	}
	a, _, err := load[account](ctx, s, kindAccount, d.Account)
	if err != nil || a.Off {
		return lab.Principal{}, orElse(err, no)
	}
	p := a.principal("device")
	p.Roles, p.Device, p.Name = []lab.Role{lab.RoleLine}, d.ID, d.Name
	return p, nil
}

// Holder is someone who can take a shared device over.
type Holder struct {
	Account  string `json:"account_id"`
	PersonID string `json:"person_id"`
	Name     string `json:"name"`
}

// Holders lists who has a PIN, for a shared device to choose from.
func (s *Service) Holders(ctx context.Context, secret string) ([]Holder, error) {
	if d, err := s.device(ctx, secret); err != nil || d.Line {
		return nil, orElse(err, refuse(lab.Forbidden, "device", nil, "is not registered for handing over", "an administrator registers it on the page Accounts"))
	}
	out := []Holder{}
	err := list(ctx, s, kindAccount, "", func(_ lab.Item, a account) {
		if a.PIN != "" && !a.Off {
			out = append(out, Holder{a.ID, a.Person, a.Name})
		}
	})
	return out, err
}

const maxPINWrong = 5

// SignInPIN takes a shared device over. After five wrong PINs the account's PIN
// is good again only after its holder has signed in with the password.
func (s *Service) SignInPIN(ctx context.Context, id, pin string, from From) (Entry, error) {
	if d, err := s.device(ctx, from.Device); err != nil || d.Line {
		return Entry{}, orElse(err, refuse(lab.Forbidden, "device", nil, "is not registered for handing over", "sign in with the password"))
	}
	counts := []counted{{"pin " + from.Device, 10}}
	if err := s.limits.start(s.now(), counts); err != nil {
		return Entry{}, err
	}
	bad := refuse(lab.NoSession, "pin", nil, "is not right", "try again, or sign in with the password")
	a, it, err := load[account](ctx, s, kindAccount, id)
	if err != nil || a.Off || a.PIN == "" {
		return Entry{}, orElse(err, bad)
	}
	if a.PINWrong >= maxPINWrong {
		return Entry{}, refuse(lab.TooMany, "pin", nil, "was wrong five times", "sign in with the password once; then the PIN is good again")
	}
	// Booked as wrong before it is tried: many at once do not get more tries.
	a.PINWrong++
	if err := s.save(ctx, it, a); err != nil {
		return Entry{}, err
	}
	it.Version++
	ok, err := s.matches(ctx, pin, a.PIN)
	if err != nil {
		return Entry{}, err
	}
	if !ok {
		s.note(ctx, "wrong PIN", a.Name, from.Addr)
		return Entry{}, bad
	}
	s.limits.right(counts)
	a.PINWrong = 0
	if err := s.save(ctx, it, a); err != nil {
		return Entry{}, err
	}
	it.Version++
	if !slices.ContainsFunc(a.Roles, func(r lab.Role) bool { return r != lab.RoleAdminister }) {
		return Entry{}, refuse(lab.Forbidden, "roles", a.Name, "has no role for a shared device", "sign in with the password")
	}
	return s.begin(ctx, &a, it, "pin", lab.Time{}, from)
}
