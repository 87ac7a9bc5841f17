package access

import (
	"context"
	"fmt"
	"time"

	"ullage/internal/lab"
)

// The second factor of an account with a password: one-time codes of an app, and
// ten recovery codes for when the phone is gone.
const (
	kindFactor   = "second factor" // key: its account
	kindEnrol    = "enrolment"     // key: its account
	kindRecovery = "recovery code" // key: hash of account and code; owner: its account

	enrolWhole = 15 * time.Minute
)

// factor is what the vault holds of one, also before it is confirmed.
type factor struct {
	Seed  string   `json:"seed"` // sealed
	Since lab.Time `json:"since"`
	Last  int64    `json:"last,omitempty"` // step of the newest code that was accepted: each counts once
}

// FactorState is what its holder sees of a second factor.
type FactorState struct {
	On        bool     `json:"on"`
	Must      bool     `json:"must" doc:"this server requires it of the account's roles"`
	Since     lab.Time `json:"since,omitzero"`
	CodesLeft int      `json:"codes_left" doc:"recovery codes that were not used yet"`
}

// Enrolment is what an authenticator app needs. It counts once a code of it was
// sent back, within 15 minutes.
type Enrolment struct {
	Secret  string  `json:"secret" doc:"base32, to type in where the picture cannot be read"`
	URI     string  `json:"uri" doc:"what the picture says"`
	Picture Picture `json:"picture"`
}

// RecoveryCodes are shown once.
type RecoveryCodes struct {
	Codes []string `json:"codes"`
}

// Factor tells the state of the second factor of who asks.
func (s *Service) Factor(ctx context.Context) (FactorState, error) {
	p, err := self(ctx)
	if err != nil {
		return FactorState{}, err
	}
	a, _, err := load[account](ctx, s, kindAccount, p.Account)
	if err != nil {
		return FactorState{}, err
	}
	out := FactorState{}
	if out.Must, err = s.must(ctx, a.Roles); err != nil {
		return out, err
	}
	f, on, err := s.factorOf(ctx, p.Account)
	if err != nil || !on {
		return out, err
	}
	left, err := s.Vault.Items(ctx, kindRecovery, p.Account)
	out.On, out.Since, out.CodesLeft = true, f.Since, len(left)
	return out, err
}

func (s *Service) factorOf(ctx context.Context, account string) (f factor, on bool, err error) {
	f, _, err = load[factor](ctx, s, kindFactor, account)
	if err != nil && lab.ClassOf(err) == lab.NotFound {
		return f, false, nil
	}
	return f, err == nil, err
}

// NewFactor begins to set up the second factor of who asks, or one in the place
// of another: the old one counts until the new one is confirmed.
func (s *Service) NewFactor(ctx context.Context) (Enrolment, error) {
	p, err := s.proved(ctx)
	if err != nil {
		return Enrolment{}, err
	}
	a, _, err := load[account](ctx, s, kindAccount, p.Account)
	if err != nil {
		return Enrolment{}, err
	}
	return s.enrol(ctx, &a)
}

func (s *Service) enrol(ctx context.Context, a *account) (Enrolment, error) {
	if a.Password == "" {
		return Enrolment{}, refuse(lab.Invalid, "account", a.Name, "has no password", "its second factor is that of the single sign-on")
	}
	seed := newSeed()
	sealed, err := s.seal(seed, a.ID)
	if err != nil {
		return Enrolment{}, err
	}
	if _, err := s.Vault.DropItem(ctx, kindEnrol, a.ID); err != nil {
		return Enrolment{}, err
	}
	err = s.save(ctx, lab.Item{Kind: kindEnrol, Key: a.ID, Owner: a.ID, Expires: lab.At(s.now().Add(enrolWhole))}, factor{Seed: sealed})
	if err != nil {
		return Enrolment{}, err
	}
	out := Enrolment{Secret: plain32.EncodeToString(seed), URI: keyURI(a.Name, seed)}
	out.Picture, err = picture(out.URI)
	return out, err
}

// ConfirmFactor turns on the second factor that was begun, by a code of it. All
// other sessions of the account end, and the recovery codes are new.
func (s *Service) ConfirmFactor(ctx context.Context, code string, from From) (RecoveryCodes, Entry, error) {
	p, err := s.proved(ctx)
	if err != nil {
		return RecoveryCodes{}, Entry{}, err
	}
	a, it, err := load[account](ctx, s, kindAccount, p.Account)
	if err != nil {
		return RecoveryCodes{}, Entry{}, err
	}
	return s.confirm(ctx, &a, it, code, p.Via, from)
}

func (s *Service) confirm(ctx context.Context, a *account, it lab.Item, code, via string, from From) (out RecoveryCodes, e Entry, err error) {
	f, pending, err := load[factor](ctx, s, kindEnrol, a.ID)
	if err != nil {
		return out, e, orElse(err, refuse(lab.Invalid, "code", nil, "belongs to nothing that was begun", "begin again, and confirm within 15 minutes"))
	}
	counts := codeCounts(a.ID, from.Addr)
	if err := s.limits.start(s.now(), counts); err != nil {
		return out, e, err
	}
	seed, err := s.open(f.Seed, a.ID)
	if err != nil {
		return out, e, err
	}
	if f.Last, err = checkTOTP(seed, cleanCode(code), s.now(), 0, true); err != nil {
		err.(*lab.Error).Class = lab.Invalid
		return out, e, err
	}
	s.limits.right(counts)
	if was, err := s.Vault.DropItem(ctx, kindEnrol, pending.Key); err != nil || !was {
		return out, e, orElse(err, refuse(lab.Conflict, "code", nil, "was confirmed meanwhile", "look at it again"))
	}
	_, old, err := load[factor](ctx, s, kindFactor, a.ID)
	if err != nil && lab.ClassOf(err) != lab.NotFound {
		return out, e, err
	}
	f.Since = lab.At(s.now())
	if err := s.save(ctx, lab.Item{Kind: kindFactor, Key: a.ID, Owner: a.ID, Version: old.Version}, f); err != nil {
		return out, e, err
	}
	if out, err = s.newCodes(ctx, a.ID); err != nil {
		return out, e, err
	}
	s.note(ctx, "second factor set up", a.Name, from.Addr)
	if err := s.endSessions(ctx, a.ID); err != nil {
		return out, e, err
	}
	e, err = s.renew(ctx, a, it, via, lab.At(s.now()), from)
	return out, e, err
}

func codeCounts(account, addr string) []counted {
	return []counted{{"code both " + account + " " + addr, 5}, {"code " + account, 30}, {"code addr " + addr, 60}}
}

// NewCodes gives ten new recovery codes to who asks; the old ones end.
func (s *Service) NewCodes(ctx context.Context) (RecoveryCodes, error) {
	p, err := s.proved(ctx)
	if err != nil {
		return RecoveryCodes{}, err
	}
	if _, on, err := s.factorOf(ctx, p.Account); err != nil || !on {
		return RecoveryCodes{}, orElse(err, factorOff)
	}
	s.note(ctx, "recovery codes made anew", p.Name, "")
	return s.newCodes(ctx, p.Account)
}

var factorOff = refuse(lab.NotFound, "second factor", nil, "is not on", "set it up first")

func (s *Service) newCodes(ctx context.Context, account string) (RecoveryCodes, error) {
	out := RecoveryCodes{}
	if err := s.dropAll(ctx, kindRecovery, account); err != nil {
		return out, err
	}
	for range codesMade {
		code := newRecoveryCode()
		if err := s.save(ctx, lab.Item{Kind: kindRecovery, Key: recoveryKey(account, cleanCode(code)), Owner: account}, struct{}{}); err != nil {
			return RecoveryCodes{}, err
		}
		out.Codes = append(out.Codes, code)
	}
	return out, nil
}

func recoveryKey(account, code string) string { return hashOf("recovery " + account + " " + code) }

// FactorOff turns off the second factor of who asks. Other sessions end.
func (s *Service) FactorOff(ctx context.Context, from From) (Entry, error) {
	p, err := s.proved(ctx)
	if err != nil {
		return Entry{}, err
	}
	a, it, err := load[account](ctx, s, kindAccount, p.Account)
	if err != nil {
		return Entry{}, err
	}
	if must, err := s.must(ctx, a.Roles); err != nil || must {
		return Entry{}, orElse(err, refuse(lab.Invalid, "second factor", nil, "is required of your roles", "set up another one in its place instead"))
	}
	if was, err := s.dropFactor(ctx, a.ID); err != nil || !was {
		return Entry{}, orElse(err, factorOff)
	}
	s.note(ctx, "second factor turned off", a.Name, from.Addr)
	return s.renew(ctx, &a, it, p.Via, lab.At(s.now()), from)
}

// dropFactor takes away factor, codes and sessions, and tells whether it was on.
func (s *Service) dropFactor(ctx context.Context, account string) (was bool, err error) {
	was, err = s.Vault.DropItem(ctx, kindFactor, account)
	for _, kind := range []string{kindEnrol, kindRecovery} {
		if err == nil {
			err = s.dropAll(ctx, kind, account)
		}
	}
	if err == nil && was {
		err = s.endSessions(ctx, account)
	}
	return was, err
}

// TakeFactorOff takes a lost second factor off another's account. Its holder is
// told at the next sign-in.
func (s *Service) TakeFactorOff(ctx context.Context, id string) (Account, error) {
	p, err := s.mayProved(ctx)
	if err != nil {
		return Account{}, err
	}
	if p.Account == id {
		return Account{}, refuse(lab.Invalid, "account", p.Name, "is your own", "turn it off on the page This device")
	}
	return s.takeOff(ctx, id, p.Name)
}

func (s *Service) takeOff(ctx context.Context, id, by string) (Account, error) {
	a, it, err := load[account](ctx, s, kindAccount, id)
	if err != nil {
		return Account{}, err
	}
	if was, err := s.dropFactor(ctx, id); err != nil || !was {
		return Account{}, orElse(err, factorOff)
	}
	s.note(ctx, "second factor taken off by "+by, a.Name, "")
	a.tell(lab.At(s.now()), fmt.Sprintf("Your second factor was taken off by %s. If you did not ask for that, tell an administrator.", by))
	return a.shown(), s.save(ctx, it, a)
}

// factorCode checks the second factor of an account: a code of the app, or a
// recovery code, which is then used up.
func (s *Service) factorCode(ctx context.Context, a *account, code string, from From) error {
	f, it, err := load[factor](ctx, s, kindFactor, a.ID)
	if err != nil {
		return err
	}
	counts := codeCounts(a.ID, from.Addr)
	if err := s.limits.start(s.now(), counts); err != nil {
		return err
	}
	code = cleanCode(code)
	if len(code) == codeLength {
		err = s.recoveryCode(ctx, a, code, from)
	} else {
		err = s.appCode(ctx, f, it, code)
	}
	if err == nil {
		s.limits.right(counts)
	}
	return err
}

func (s *Service) appCode(ctx context.Context, f factor, it lab.Item, code string) error {
	seed, err := s.open(f.Seed, it.Key)
	if err != nil {
		return err
	}
	if f.Last, err = checkTOTP(seed, code, s.now(), f.Last, false); err != nil {
		return err
	}
	// Of two who send the same code at once, one has it.
	if err := s.save(ctx, it, f); lab.ClassOf(err) == lab.Conflict && err != nil {
		return refuse(lab.Forbidden, "code", nil, "was used already", "wait for the next code")
	} else {
		return err
	}
}

func (s *Service) recoveryCode(ctx context.Context, a *account, code string, from From) error {
	was, err := s.Vault.DropItem(ctx, kindRecovery, recoveryKey(a.ID, code))
	if err != nil || !was {
		return orElse(err, refuse(lab.Forbidden, "code", nil, "is not one of the recovery codes, or was used already", "take another one of the list"))
	}
	left, err := s.Vault.Items(ctx, kindRecovery, a.ID)
	s.note(ctx, fmt.Sprintf("recovery code used, %d left", len(left)), a.Name, from.Addr)
	return err
}
