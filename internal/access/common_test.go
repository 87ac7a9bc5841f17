package access

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/alexedwards/argon2id"

	"ullage/internal/lab"
)

// At least the 3000 most used passwords that are long enough are refused
// (OWASP ASVS 5.0.0, 6.2.4), also in another case or between signs.
func TestCommonPasswords(t *testing.T) {
	n := len(commonTable) / commonSize
	if n < 3000 || len(commonTable)%commonSize != 0 {
		t.Fatalf("%d passwords in the table", n)
	}
	for i := commonSize; i < len(commonTable); i += commonSize {
		if bytes.Compare(commonTable[i-commonSize:i], commonTable[i:i+commonSize]) >= 0 {
			t.Fatal("the table is not in order")
		}
	}
	// From the top of the list, and from its end.
	for _, text := range []string{"1qaz2wsx3edc", "q1w2e3r4t5y6", "qwerty123456", "QWERTY123456", "qwerty123456!", " 123456 qwerty ", "motherfucker", "sonyericsson", "leavemealone",
		"passwordpassword", "encyclopedia", "thisisstupid", "29 palms"} {
		if common(text) == (text == "29 palms") {
			t.Errorf("%q: %v", text, common(text))
		}
	}
	for _, text := range []string{password, "twelve kegs of new stout", "a wholly new sentence"} {
		if common(text) {
			t.Errorf("%q is taken for one that leaked", text)
		}
	}
	h := newHouse(t)
	ctx := h.admin()
	_, err := h.SetPassword(ctx, password, "1qaz2wsx3edc", From{})
	if h.class("a password that leaked", err, lab.Invalid); !strings.Contains(err.Error(), "leaked") {
		t.Error(err)
	}
}

// Names of the house do not make a password, and are allowed in one.
func TestContextWords(t *testing.T) {
	h := newHouse(t)
	ctx := h.admin()
	for kind, id := range map[lab.Kind]string{lab.KindBrewery: lab.BreweryID, lab.KindBeers: "0198c5b0-0000-7000-8000-000000000001"} {
		name := map[lab.Kind]string{lab.KindBrewery: "Ostrelweir Brewhouse", lab.KindBeers: "Vellumrook"}[kind]
		body, _ := json.Marshal(map[string]any{"id": id, "name": name})
		if err := h.Lab.Put(ctx, lab.Write{Kind: kind, ID: id, Record: body}).Err; err != nil {
			t.Fatal(err)
		}
	}
	link, err := h.Create(ctx, NewAccount{Name: "quality.tech", PersonName: "Wilhelmina Torquay", Roles: []lab.Role{lab.RoleRead}})
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"Ostrelweir2026", "ostrelweir brewhouse", "VELLUMROOK-2026!", "vellumrook vellumrook", "WilhelminaTorquay1", "quality.tech 2026", "Ullage-Brewmaster-1"} {
		_, err := h.Accept(t.Context(), Accept{Link: link.Secret, Password: text}, From{})
		if h.class(text, err, lab.Invalid); err != nil && !strings.Contains(err.Error(), "names of this place") {
			t.Errorf("%q: %v", text, err)
		}
	}
	if _, err := h.Accept(t.Context(), Accept{Link: link.Secret, Password: "vellumrook tastes of plums"}, From{}); err != nil {
		t.Error(err)
	}
}

// Whoever names no account is made to wait as long as for one: the hash that
// stands in asks the same work, and is nobody's.
func TestStandIn(t *testing.T) {
	got, _, _, err := argon2id.DecodeHash(standIn())
	if err != nil || *got != *params {
		t.Errorf("%+v, %v", got, err)
	}
	if ok, err := argon2id.ComparePasswordAndHash("no such account", standIn()); ok || err != nil {
		t.Error(ok, err)
	}
}
