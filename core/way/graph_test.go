package way

import (
	"maps"
	"slices"
	"strings"
	"testing"
)

func TestConnected(t *testing.T) {
	moves := func(pairs ...string) func(func(from, to string) bool) {
		return func(yield func(from, to string) bool) {
			for _, p := range pairs {
				if from, to, _ := strings.Cut(p, ">"); !yield(from, to) {
					return
				}
			}
		}
	}
	for _, c := range []struct {
		name, focus, want string
		moves             []string
	}{
		{"alone", "a", "a", nil},
		{"down", "a", "a b c", []string{"b>c", "a>b"}},
		{"up", "c", "a b c", []string{"b>c", "a>b"}},
		{"what another brought into it", "a", "a b z", []string{"a>b", "z>b"}},
		{"not what its source gave elsewhere", "b", "a b", []string{"a>b", "a>x"}},
		{"nothing of others", "a", "a b", []string{"a>b", "y>z"}},
		{"dumped, or from outside", "a", "a", []string{"a>", ">a"}},
		{"a circle ends", "a", "a b", []string{"a>b", "b>a"}},
	} {
		got := slices.Sorted(maps.Keys(Connected(c.focus, moves(c.moves...))))
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s: %v, not %s", c.name, got, c.want)
		}
	}
}

func TestOrderRefusesCircles(t *testing.T) {
	in := Input{Batches: []Batch{{ID: "a", Code: "A"}, {ID: "b", Code: "B"}, {ID: "c", Code: "C"}}, Moves: []Move{{From: "b", To: "c"}, {From: "a", To: "b"}}}
	got, err := in.order()
	if err != nil || strings.Join(got, " ") != "a b c" {
		t.Errorf("%v, %v", got, err)
	}
	in.Moves = append(in.Moves, Move{From: "c", To: "a"})
	if _, err := in.order(); err == nil {
		t.Error("liquid that flows into itself")
	}
}
