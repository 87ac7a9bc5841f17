package lab

import (
	"context"
	"slices"
	"testing"
)

// Every collection and every deed has its line in the table, and the table is
// what a guarded laboratory does for each role alone.
func TestPermits(t *testing.T) {
	s := &Service{Guarded: true}
	for _, k := range Kinds() {
		if _, ok := writers[k]; !ok {
			t.Errorf("%s has no line: only an administrator can write it", k)
		}
		for _, r := range Roles() {
			err := s.MayWrite(As(context.Background(), Principal{Roles: []Role{r}}), k)
			if may := slices.Contains(WhoMayWrite(k), r); (err == nil) != may {
				t.Errorf("%s writes %s: %v", r, k, err)
			}
		}
		if err := s.MayWrite(context.Background(), k); ClassOf(err) != NoSession {
			t.Errorf("nobody writes %s: %v", k, err)
		}
	}
	for k := range writers {
		if !slices.Contains(Kinds(), k) {
			t.Errorf("%s is no collection any more", k)
		}
	}
	for _, d := range []Deed{DoRead, DoHistory, DoJudge, DoRecompute, DoRelease, DoImport, DoExport, DoAccounts, DoBackup} {
		if len(deeds[d]) == 0 {
			t.Errorf("nobody may %s", d)
		}
		for _, r := range Roles() {
			err := s.May(As(context.Background(), Principal{Roles: []Role{r}}), d)
			if may := slices.Contains(WhoMay(d), r); (err == nil) != may {
				t.Errorf("%s may %s: %v", r, d, err)
			}
		}
		if err := s.May(context.Background(), d); ClassOf(err) != NoSession {
			t.Errorf("nobody may %s: %v", d, err)
		}
	}
	// What nobody thought of nobody may, and only who administers writes.
	if err := s.May(As(context.Background(), Principal{Roles: Roles()}), "something new"); ClassOf(err) != Forbidden {
		t.Errorf("a deed without a line: %v", err)
	}
	if got := WhoMayWrite("something_new"); !slices.Equal(got, []Role{RoleAdminister}) {
		t.Errorf("a collection without a line: %v", got)
	}
	// The line writes its two collections and reads.
	for _, k := range Kinds() {
		if slices.Contains(WhoMayWrite(k), RoleLine) != (k == KindSamples || k == KindEvents) {
			t.Errorf("the line and %s", k)
		}
	}
	if err := (&Service{}).May(context.Background(), DoExport); err != nil {
		t.Errorf("at the command line: %v", err)
	}
}
