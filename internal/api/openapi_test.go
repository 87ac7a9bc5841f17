package api

import (
	"flag"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"ullage/internal/lab"
)

var update = flag.Bool("update", false, "write the golden files anew")

// The committed description is what the web app's types are generated from: a
// change of the API must show in a review.
func TestOpenAPIGolden(t *testing.T) {
	s := &Server{Lab: &lab.Service{}}
	s.Handler()
	got, err := s.OpenAPI()
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile("openapi.json", got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		t.Error("openapi.json is not what the routes say; run go test ./internal/api -run OpenAPI -update and review the change")
	}
}

// A client takes what it may write from the description: every collection but
// the imports, which the server writes itself.
func TestBatchNamesEveryCollection(t *testing.T) {
	f, _ := reflect.TypeFor[WriteItem]().FieldByName("Collection")
	var want []string
	for _, k := range lab.Kinds() {
		if k != lab.KindImports {
			want = append(want, string(k))
		}
	}
	got := strings.Split(f.Tag.Get("enum"), ",")
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("a batch takes %v; want %v", got, want)
	}
}
