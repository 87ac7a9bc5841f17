package access

import (
	"bytes"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/json"
	"slices"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"

	"ullage/internal/lab"
)

// commonTable holds the passwords of twelve and more characters among the most
// used million of published leaks, as short hashes in order; scripts/passwords
// makes it.
//
//go:embed common.bin
var commonTable []byte

const commonSize = 5 // bytes of SHA-256

// common tells whether a password is one of the table's, whatever its case, and
// with spaces or signs around or in it.
func common(password string) bool {
	low := strings.ToLower(password)
	bare := func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }
	for _, text := range []string{low, strings.TrimFunc(low, bare), strings.ReplaceAll(low, " ", "")} {
		sum := sha256.Sum256([]byte(text))
		n := len(commonTable) / commonSize
		at := func(i int) []byte { return commonTable[i*commonSize : (i+1)*commonSize] }
		i := sort.Search(n, func(i int) bool { return bytes.Compare(at(i), sum[:commonSize]) >= 0 })
		if i < n && bytes.Equal(at(i), sum[:commonSize]) {
			return true
		}
	}
	return false
}

// product is the words of this program that everybody who tries would try.
var product = []string{"ullage", "administrator", "brewmaster", "brewery", "brewhouse", "password"}

const (
	shortestWord = 4    // shorter ones are part of other words
	restOfWords  = 8    // characters that a password must have besides them
	mostNames    = 1000 // of beers
)

// contextWords are what is near at hand to guess from: the program's words, the
// brewery's name, its beers' names, the account's name and its person's.
func (s *Service) contextWords(ctx context.Context, account, person, personName string) ([]string, error) {
	ctx = lab.As(ctx, lab.Principal{Name: "password rules", Roles: []lab.Role{lab.RoleRead}, Via: "server"})
	words := append(slices.Clone(product), split(account)...)
	words = append(words, split(personName)...)
	add := func(body json.RawMessage, err error) error {
		if lab.ClassOf(err) == lab.NotFound {
			return nil
		}
		var named struct{ Name string }
		if err == nil {
			err = json.Unmarshal(body, &named)
		}
		words = append(words, split(named.Name)...)
		return err
	}
	if person != "" {
		if err := add(s.Lab.Get(ctx, lab.KindPeople, person)); err != nil {
			return nil, err
		}
	}
	if err := add(s.Lab.Get(ctx, lab.KindBrewery, lab.BreweryID)); err != nil {
		return nil, err
	}
	beers, err := s.Lab.List(ctx, lab.Query{Kind: lab.KindBeers, Limit: mostNames})
	for _, b := range beers.Records {
		if err == nil {
			err = add(b, nil)
		}
	}
	return words, err
}

// split gives the words of a name that are long enough to look for, in lower case.
func split(name string) (out []string) {
	for _, w := range strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
		if utf8.RuneCountInString(w) >= shortestWord {
			out = append(out, w)
		}
	}
	return out
}

// besides counts the letters and digits that are left of a password, in lower
// case, when the words are struck out, the longest first.
func besides(low string, words []string) int {
	words = slices.Clone(words)
	slices.SortFunc(words, func(a, b string) int { return len(b) - len(a) })
	for _, w := range words {
		low = strings.ReplaceAll(low, w, " ")
	}
	n := 0
	for _, r := range low {
		if !unicode.IsSpace(r) && !unicode.IsPunct(r) {
			n++
		}
	}
	return n
}

// passwordFor checks a password that is to be an account's. personName is that
// of a person who is not on record yet.
func (s *Service) passwordFor(ctx context.Context, password, account, personName string) error {
	person := ""
	a, _, err := s.byName(ctx, account)
	if err == nil {
		person = a.Person
	} else if lab.ClassOf(err) != lab.NotFound {
		return err
	}
	words, err := s.contextWords(ctx, account, person, personName)
	if err != nil {
		return err
	}
	return checkPassword(password, words)
}
