package access

import (
	"context"
	"fmt"
	"time"

	"ullage/internal/lab"
)

// Between the first factor and the second there is half a session. It is no
// session: it opens nothing but the one question it was made for.
const (
	kindHalf  = "half session"
	halfWhole = 5 * time.Minute
	maxWrong  = 5

	// ProofWhole is how long showing who one is counts for what changes how
	// people come in.
	ProofWhole = 10 * time.Minute
)

// Step is what is asked before a session begins.
type Step string

// The steps.
const (
	StepCode  Step = "code"  // the second factor
	StepEnrol Step = "enrol" // this server requires one: set it up
)

// half is what the vault holds of half a session; its key is the hash of its secret.
type half struct {
	Step  Step   `json:"step"`
	Via   string `json:"via"`
	Wrong int    `json:"wrong,omitempty"`
}

var noHalf = refuse(lab.NoSession, "session", nil, "was not begun, or too long ago", "sign in again by name and password")

// further begins the session of who has shown the first factor; or half of one,
// where the second is on, or has to be set up.
func (s *Service) further(ctx context.Context, a *account, it lab.Item, via string, from From) (Entry, error) {
	_, on, err := s.factorOf(ctx, a.ID)
	if err != nil {
		return Entry{}, err
	}
	h := half{Step: StepCode, Via: via}
	whole := halfWhole
	if !on {
		must, err := s.must(ctx, a.Roles)
		if err != nil {
			return Entry{}, err
		}
		if !must {
			return s.begin(ctx, a, it, via, lab.At(s.now()), from)
		}
		h.Step, whole = StepEnrol, enrolWhole
	}
	if err := s.dropHalf(ctx, from); err != nil {
		return Entry{}, err
	}
	secret, hash := newSecret()
	until := lab.At(s.now().Add(whole))
	err = s.save(ctx, lab.Item{Kind: kindHalf, Key: hash, Owner: a.ID, Expires: until}, h)
	return Entry{Secret: secret, Until: until, Step: h.Step}, err
}

func (s *Service) dropHalf(ctx context.Context, from From) error {
	if from.Half == "" {
		return nil
	}
	_, err := s.Vault.DropItem(ctx, kindHalf, hashOf(from.Half))
	return err
}

// AtStep tells what is asked of who brings half a session; empty: nothing.
func (s *Service) AtStep(ctx context.Context, from From) (Step, error) {
	h, _, _, _, err := s.half(ctx, from, "")
	if err != nil && lab.ClassOf(err) == lab.NoSession {
		return "", nil
	}
	return h.Step, err
}

func (s *Service) half(ctx context.Context, from From, want Step) (h half, hit lab.Item, a account, it lab.Item, err error) {
	if from.Half == "" || len(from.Half) > 100 {
		return h, hit, a, it, noHalf
	}
	if h, hit, err = load[half](ctx, s, kindHalf, hashOf(from.Half)); err != nil {
		return h, hit, a, it, orElse(err, noHalf)
	}
	a, it, err = load[account](ctx, s, kindAccount, hit.Owner)
	if err != nil || a.Off || want != "" && h.Step != want {
		return h, hit, a, it, orElse(err, noHalf)
	}
	return h, hit, a, it, nil
}

// Second ends half a session by a code of the second factor, and begins a whole one.
func (s *Service) Second(ctx context.Context, code string, from From) (Entry, error) {
	h, hit, a, it, err := s.half(ctx, from, StepCode)
	if err != nil {
		return Entry{}, err
	}
	// Booked as wrong before it is tried: many at once do not get more tries.
	if h.Wrong++; h.Wrong > maxWrong {
		return Entry{}, orElse(s.dropHalf(ctx, from), noHalf)
	}
	if err := s.save(ctx, hit, h); err != nil {
		return Entry{}, err
	}
	if err := s.factorCode(ctx, &a, code, from); err != nil {
		s.Log.Warn("access", "what", "wrong code", "account", a.Name, "from", from.Addr)
		if h.Wrong == maxWrong && lab.ClassOf(err) == lab.Forbidden {
			s.note(ctx, "five wrong codes after the right password", a.Name, from.Addr)
			a.tell(lab.At(s.now()), fmt.Sprintf("Five wrong codes were tried with your right password, from %s. If that was not you, change the password.", from.Addr))
			if err := s.save(ctx, it, a); err != nil {
				s.Log.Warn("access", "what", "a notice could not be kept", "err", err)
			}
		}
		return Entry{}, orElse(err, noHalf)
	}
	if was, err := s.Vault.DropItem(ctx, kindHalf, hit.Key); err != nil || !was {
		return Entry{}, orElse(err, noHalf)
	}
	return s.begin(ctx, &a, it, h.Via, lab.At(s.now()), from)
}

// EnrolFirst begins to set up the second factor of who may not come in without.
func (s *Service) EnrolFirst(ctx context.Context, from From) (Enrolment, error) {
	_, _, a, _, err := s.half(ctx, from, StepEnrol)
	if err != nil {
		return Enrolment{}, err
	}
	return s.enrol(ctx, &a)
}

// ConfirmFirst turns it on by a code of it, and begins the session.
func (s *Service) ConfirmFirst(ctx context.Context, code string, from From) (RecoveryCodes, Entry, error) {
	h, _, a, it, err := s.half(ctx, from, StepEnrol)
	if err != nil {
		return RecoveryCodes{}, Entry{}, err
	}
	out, e, err := s.confirm(ctx, &a, it, code, h.Via, from)
	if err == nil {
		s.note(ctx, "signed in by "+h.Via, a.Name, from.Addr)
	}
	return out, e, err
}

// Prove asks who is signed in once more for the password, and for a code where
// the second factor is on. The session goes on under a new secret.
func (s *Service) Prove(ctx context.Context, password, code string, from From) (Entry, error) {
	p, err := strong(ctx)
	if err != nil {
		return Entry{}, err
	}
	a, it, err := s.proven(ctx, p, "password", password)
	if err != nil {
		return Entry{}, err
	}
	if err := s.factorCode(ctx, &a, code, from); err != nil && lab.ClassOf(err) != lab.NotFound {
		return Entry{}, err
	}
	s.note(ctx, "showed again who it is", a.Name, from.Addr)
	return s.renew(ctx, &a, it, p.Via, lab.At(s.now()), from)
}

// proved refuses what changes how people come in, unless who asks has shown who
// they are within [ProofWhole].
func (s *Service) proved(ctx context.Context) (lab.Principal, error) {
	p, err := strong(ctx)
	if err != nil {
		return p, err
	}
	if age := s.now().Sub(p.Proved.Time); age > ProofWhole || age < -time.Minute {
		return p, refuse(lab.Unproved, "session", nil, "has not shown for a while who it is", "type the password again, and a code where the second factor is on")
	}
	return p, nil
}

// mayProved is for what administrators change. Who holds the database works
// without accounts, and is asked for nothing.
func (s *Service) mayProved(ctx context.Context) (lab.Principal, error) {
	if err := s.Lab.May(ctx, lab.DoAccounts); err != nil {
		return lab.Principal{}, err
	}
	if !s.Lab.Guarded {
		return lab.Principal{Name: "the command line"}, nil
	}
	return s.proved(ctx)
}
