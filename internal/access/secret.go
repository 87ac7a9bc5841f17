package access

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"
	"golang.org/x/crypto/argon2"

	"ullage/internal/lab"
)

// params are the smallest argon2id set of OWASP's password storage advice (from
// memory): 19 MiB, two passes, one lane. Four at once bound the memory.
var params = &argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

const (
	minPassword = 12
	maxPassword = 256
	minPIN      = 6
	maxPIN      = 12
)

// newSecret gives 256 random bits to hand out, and the hash to keep.
func newSecret() (secret, hash string) {
	b := make([]byte, 32)
	rand.Read(b) // never fails: it stops the program instead
	secret = base64.RawURLEncoding.EncodeToString(b)
	return secret, hashOf(secret)
}

// hashOf needs no salt and no work: its input has 256 random bits.
func hashOf(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// hash makes the argon2id hash of a password or PIN.
func (s *Service) hash(ctx context.Context, text string) (string, error) {
	if err := s.enter(ctx); err != nil {
		return "", err
	}
	defer func() { <-s.hashing }()
	return argon2id.CreateHash(text, params)
}

// standIn is compared where there is no account, so that the time to answer does
// not tell whether there is one. It is the hash of nothing known: no password has
// it, and making it costs a start of the program no time.
func standIn() string {
	zeros := func(n uint32) string { return base64.RawStdEncoding.EncodeToString(make([]byte, n)) }
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, params.Memory, params.Iterations, params.Parallelism, zeros(params.SaltLength), zeros(params.KeyLength))
}

func (s *Service) matches(ctx context.Context, text, hash string) (bool, error) {
	if err := s.enter(ctx); err != nil {
		return false, err
	}
	defer func() { <-s.hashing }()
	if hash == "" {
		_, err := argon2id.ComparePasswordAndHash(text, standIn())
		return false, err
	}
	return argon2id.ComparePasswordAndHash(text, hash)
}

func (s *Service) enter(ctx context.Context) error {
	select {
	case s.hashing <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// checkPassword asks for length, not for signs: any text of twelve characters
// that is not one thing over and over, none of the passwords that leaked most,
// and more than the words at hand.
func checkPassword(password string, words []string) error {
	no := func(message, mend string) error { return refuse(lab.Invalid, "password", nil, message, mend) }
	switch n := utf8.RuneCountInString(password); {
	case n < minPassword:
		return no("is shorter than 12 characters", "use a sentence of several words")
	case len(password) > maxPassword:
		return no("is longer than 256 bytes", "shorten it")
	case !utf8.ValidString(password):
		return no("is not valid text", "type it again")
	}
	low := strings.ToLower(password)
	if plain(low) {
		return no("is too easy to guess", "use a sentence of several words")
	}
	if common(password) {
		return no("is among the passwords that leaked most often elsewhere", "use a sentence of several words of your own")
	}
	if besides(low, words) < restOfWords {
		return no("is little more than names of this place", "use a sentence of several words, without the brewery's, a beer's or your own name")
	}
	return nil
}

// checkPIN takes digits only, and none that runs or repeats.
func checkPIN(pin string) error {
	if len(pin) < minPIN || len(pin) > maxPIN || strings.Trim(pin, "0123456789") != "" {
		return refuse(lab.Invalid, "pin", nil, "is not 6 to 12 digits", "choose six digits")
	}
	if plain(pin) {
		return refuse(lab.Invalid, "pin", nil, "is too easy to guess", "no run and no repeat, such as 123456 or 121212")
	}
	return nil
}

// plain tells a text that repeats a short piece, or runs along the digits, the
// alphabet or the rows of a keyboard.
func plain(text string) bool {
	for size := 1; size <= 4 && size*2 <= len(text); size++ {
		if strings.Repeat(text[:size], len(text)/size+1)[:len(text)] == text {
			return true
		}
	}
	const rows = "01234567890 9876543210 abcdefghijklmnopqrstuvwxyz qwertyuiop asdfghjkl zxcvbnm password ullage "
	rest := text
	for rest != "" {
		n := 0
		for i := 2; i <= len(rest); i++ {
			if !strings.Contains(rows, rest[:i]) {
				break
			}
			n = i
		}
		if n == 0 {
			return false
		}
		rest = rest[n:]
	}
	return true
}
