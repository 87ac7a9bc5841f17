package ingest

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"ullage/internal/lab"
)

// FuzzStudyFile reads whatever bytes as readings of any kind of study: rows that
// can be said as JSON, or a refusal with a mend.
func FuzzStudyFile(f *testing.F) {
	kinds := []string{"agreement", "tare", "capacity", "neck", "shake", "delay", "line", "repeatability"}
	examples, err := filepath.Glob("../../examples/studies/*.csv")
	if err != nil || len(examples) == 0 {
		f.Fatal(err)
	}
	for i, path := range examples {
		text, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(uint8(i), text[:min(len(text), 2000)], `{}`)
	}
	f.Add(uint8(1), []byte("empty;lot\n13,4;A\n;B\n\"x\n"), `{"empty":"empty_g","lot":""}`)
	f.Add(uint8(0), []byte("PK\x03\x04"), `{"a":"no_such_field"}`)
	f.Add(uint8(7), []byte("tpo,tpo,do\n1e999,-,NaN\n"), `null`)
	b := newBench(f)
	f.Fuzz(func(t *testing.T, kind uint8, body []byte, columns string) {
		c := *b
		c.TB = t
		named := map[string]string{}
		if lab.DecodeStrict([]byte(columns), &named) != nil {
			named = nil
		}
		table, err := ReadStudy(c.file("study", body), kinds[int(kind)%len(kinds)], "", named)
		if err != nil {
			if lab.ClassOf(err) != lab.Invalid {
				t.Fatalf("refused as %s: %v", lab.ClassOf(err), err)
			}
			return
		}
		if _, err := json.Marshal(table); err != nil || len(table.Rows) != len(table.Lines) || len(table.Rows) > maxStudyRows {
			t.Fatalf("%d rows of %d lines, %v", len(table.Rows), len(table.Lines), err)
		}
		for _, x := range table.Faults {
			if x.Message == "" {
				t.Fatalf("%+v", x)
			}
		}
	})
}
