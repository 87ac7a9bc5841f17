package access

import (
	"bufio"
	"bytes"
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"ullage/internal/lab"
)

// The seeds of one-time codes have to be read again, so they cannot be hashed.
// They lie in the database sealed (AES-256-GCM) under a key that does not: the
// key file, of lines of 64 hexadecimal digits. New seeds take the first; those
// below it, of a server that was joined or put back, open what they sealed.

// keyFileText heads a new key file.
const keyFileText = "# Keys under which second factors lie in the database. Keep a copy of this\n" +
	"# file, and keep it apart from the copies of the database.\n"

type sealKey []byte

// name tells keys apart; it says nothing of the key.
func (k sealKey) name() string {
	sum := sha256.Sum256(append([]byte("ullage second factor key "), k...))
	return hex.EncodeToString(sum[:4])
}

func (k sealKey) gcm() (cipher.AEAD, error) {
	b, err := aes.NewCipher(k)
	if err != nil {
		return nil, err
	}
	return cipher.NewGCMWithRandomNonce(b)
}

// keys reads the key file; none if there is none yet.
func (s *Service) keys() ([]sealKey, error) {
	if s.KeyFile == "" {
		return nil, refuse(lab.Invalid, "key file", nil, "is not set on this server", "give it a place for the key of second factors")
	}
	body, err := os.ReadFile(s.KeyFile)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the key of second factors: %w", err)
	}
	var out []sealKey
	lines := bufio.NewScanner(bytes.NewReader(body))
	for n := 1; lines.Scan(); n++ {
		text := strings.TrimSpace(lines.Text())
		if text == "" || text[0] == '#' {
			continue
		}
		k, err := hex.DecodeString(text)
		if err != nil || len(k) != 32 {
			return nil, fmt.Errorf("%s, line %d: is not a key of 64 hexadecimal digits; put the right file back", s.KeyFile, n)
		}
		out = append(out, k)
	}
	return out, nil
}

// sealingKey gives the key for new seeds, made at first use.
func (s *Service) sealingKey() (sealKey, error) {
	keys, err := s.keys()
	if err != nil {
		return nil, err
	}
	if len(keys) > 0 {
		return keys[0], nil
	}
	k := make(sealKey, 32)
	rand.Read(k)
	if err := os.MkdirAll(filepath.Dir(s.KeyFile), 0o700); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(s.KeyFile, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) { // made meanwhile, or one without a key in it
		if keys, err = s.keys(); err == nil && len(keys) > 0 {
			return keys[0], nil
		}
		return nil, fmt.Errorf("%s holds no key: put the right file back, or take it away", s.KeyFile)
	}
	if err != nil {
		return nil, fmt.Errorf("make the key of second factors: %w", err)
	}
	_, err = f.WriteString(keyFileText + hex.EncodeToString(k) + "\n")
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		_ = os.Remove(s.KeyFile) // half a key would stand in the way
		return nil, err
	}
	s.Log.Info("access", "what", "key of second factors made", "file", s.KeyFile)
	return k, nil
}

// seal hides a seed; what it is bound to has to be said again to open it.
func (s *Service) seal(seed []byte, owner string) (string, error) {
	k, err := s.sealingKey()
	if err != nil {
		return "", err
	}
	g, err := k.gcm()
	if err != nil {
		return "", err
	}
	return k.name() + ":" + base64.RawStdEncoding.EncodeToString(g.Seal(nil, nil, seed, []byte(owner))), nil
}

// errNoKey is of a seed whose key this server does not have.
var errNoKey = refuse(lab.Forbidden, "code", nil, "cannot be checked: this server lacks the key that the second factor was set up under",
	"use a recovery code; or an administrator puts the key file back, or takes the second factor off")

func (s *Service) open(sealed, owner string) ([]byte, error) {
	name, text, _ := strings.Cut(sealed, ":")
	keys, err := s.keys()
	if err != nil {
		return nil, err
	}
	for _, k := range keys {
		if k.name() != name {
			continue
		}
		g, err := k.gcm()
		if err != nil {
			return nil, err
		}
		body, err := base64.RawStdEncoding.DecodeString(text)
		if err != nil {
			return nil, err
		}
		return g.Open(nil, nil, body, []byte(owner))
	}
	return nil, errNoKey
}

// Unreadable counts the second factors whose key this server does not have.
func (s *Service) Unreadable(ctx context.Context) (n int, err error) {
	keys, err := s.keys()
	if err != nil {
		return 0, err
	}
	have := map[string]bool{}
	for _, k := range keys {
		have[k.name()] = true
	}
	err = list(ctx, s, kindFactor, "", func(_ lab.Item, f factor) {
		if name, _, _ := strings.Cut(f.Seed, ":"); !have[name] {
			n++
		}
	})
	return n, err
}
