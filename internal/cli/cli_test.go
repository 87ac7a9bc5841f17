package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"ullage": func() { os.Exit(Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// TestScripts runs testdata/*.txtar, which read like a manual: commands, inputs
// and what is printed. The examples of the repository lie in $EXAMPLES.
func TestScripts(t *testing.T) {
	examples, err := filepath.Abs("../../examples")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata",
		RequireExplicitExec: false,
		RequireUniqueNames:  true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("EXAMPLES", examples)
			return nil
		},
	})
}

var console = regexp.MustCompile("(?s)```console\n(.*?)```")

// TestDocumentedCommands runs every console block of the README and of docs/
// and compares what it prints, so that the pictures in words stay true.
func TestDocumentedCommands(t *testing.T) {
	t.Chdir("../..")
	pages, err := filepath.Glob("docs/*.md")
	if err != nil {
		t.Fatal(err)
	}
	ran := 0
	for _, page := range append(pages, "README.md") {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, block := range console.FindAllStringSubmatch(string(text), -1) {
			for _, command := range strings.Split("\n"+block[1], "\n$ ")[1:] {
				line, want, _ := strings.Cut(command, "\n")
				args, ours := strings.CutPrefix(line, "bin/ullage ")
				if !ours {
					continue
				}
				var out bytes.Buffer
				Main(strings.Fields(args), strings.NewReader(""), &out, &out)
				if got := trimLines(out.String()); got != trimLines(want) {
					t.Errorf("%s: $ %s\nprints\n%s\nwhere the page shows\n%s", page, line, got, want)
				}
				ran++
			}
		}
	}
	if ran == 0 {
		t.Error("no documented command was found")
	}
}

func trimLines(s string) string {
	lines := strings.Split(strings.TrimRight(s, "\n"), "\n")
	for i, l := range lines {
		lines[i] = strings.TrimRight(l, " ")
	}
	return strings.Join(lines, "\n")
}
