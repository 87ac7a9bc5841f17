package lab

import (
	"bytes"
	"encoding/json"
	"io"
	"strings"
	"testing"
)

// FuzzImport reads whatever bytes as the files of an export: revisions that
// follow each other, or a refusal of the sender's making.
func FuzzImport(f *testing.F) {
	line := func(rev int) string {
		body := `{"id":"0198c5b0-0000-7000-8000-000000000001","rev":` + string(rune('0'+rev)) + `,"name":"Vellumrook","server_at":"2026-11-05T12:00:00Z"}`
		return `{"seq":` + string(rune('0'+rev)) + `,"collection":"beers","id":"0198c5b0-0000-7000-8000-000000000001","rev":` + string(rune('0'+rev)) + `,"hash":"h","record":` + body + "}\n"
	}
	f.Add(`{"format":"ullage-export","version":1,"revisions":2}`, []byte(line(1)+line(2)))
	f.Add(`{"format":"ullage-export","version":99}`, []byte(line(2)))
	f.Add(`{"format":`, []byte(strings.Repeat("[", 10000)))
	f.Add(``, []byte("{\"collection\":\"beers\",\"record\":null}\n\n{}"))
	if revs, _, err := readRevisions(strings.NewReader(line(1) + line(2))); err != nil || len(revs) != 2 {
		f.Fatalf("%v, %v", revs, err)
	}
	f.Fuzz(func(t *testing.T, manifest string, lines []byte) {
		_, err := readManifest(func(string) (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(manifest)), nil })
		if err != nil && ClassOf(err) != Malformed {
			t.Fatal(err)
		}
		revs, _, err := readRevisions(bytes.NewReader(lines))
		if err != nil {
			if c := ClassOf(err); c != Malformed && c != Invalid && c != NotFound {
				t.Fatalf("refused as %s: %v", c, err)
			}
			return
		}
		next := map[string]int{}
		for _, r := range revs {
			if next[key(r.Kind, r.ID)]++; r.Rev != next[key(r.Kind, r.ID)] || !json.Valid(r.Body) {
				t.Fatalf("%+v", r)
			}
		}
	})
}
