// Package ullage_test holds the rules of the house: who may import whom, and
// what the pure core may not touch.
package ullage_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// room is one package, or a folder of them: what of ours it may import, and why
// no more. A name that ends in /... means all below it.
type room struct {
	name    string
	may     []string
	because string
	planned bool // not built yet: it may be missing, and its rule waits for it
	alone   bool // the rule is not for the rooms below it
}

var rooms = []room{
	{name: "core", alone: true, because: "it is a floor, not a room: a package comment and no code"},
	{name: "core/quantity", because: "everything stands on the units; they stand on nothing"},
	{name: "core/stats", because: "statistics know no beer and serve any readings"},
	{name: "core/uncertainty", because: "it propagates any model; the caller knows which"},
	{name: "core/oxygen", may: []string{"core/quantity"}, because: "physics judges nothing and knows no records"},
	{name: "core/process", may: []string{"core/oxygen", "core/quantity", "core/uncertainty"}, because: "planners use physics, not verdicts or doors"},
	{name: "core/verdict", may: []string{"core/stats", "core/quantity", "core/uncertainty"}, because: "a judgement needs readings and limits, not physics or records", planned: true},
	{name: "core/way", may: []string{"core/oxygen", "core/quantity", "core/uncertainty"}, because: "where liquid went and what was read there; it judges nothing and knows no records"},
	{name: "core/causes", may: []string{"core/way", "core/quantity", "core/stats", "core/uncertainty"}, because: "a test is its readings and their scatter; it knows no map and no records"},
	{name: "core/cellar", may: []string{"core/way", "core/causes", "core/oxygen", "core/quantity", "core/uncertainty"}, because: "the map from wort to package is mass balance over the way; it judges no package and knows no records"},
	{name: "core/compare", may: []string{"core/way", "core/cellar", "core/quantity", "core/stats", "core/uncertainty"}, because: "batches beside each other by their maps; it knows no records, so that server and browser both ask it"},
	{name: "core/wort", may: []string{"core/oxygen", "core/quantity", "core/stats", "core/uncertainty"}, because: "the one place where oxygen is wanted: targets, gas and past brews; it knows no map and no records"},
	{name: "core/sampling", may: []string{"core/stats", "core/quantity"}, because: "a plan is statistics and the clock of a run; it reads no record"},
	{name: "core/calc", may: []string{"core/sampling", "core/quantity", "core/oxygen", "core/way", "core/causes", "core/cellar", "core/compare", "core/wort", "core/uncertainty", "core/stats", "core/process", "core/verdict"}, because: "the counter serves every door alike, so it knows none"},
	{name: "checks", because: "published values are data; tests and doors read them, they read nothing"},

	{name: "internal/lab", may: []string{"core/..."}, because: "rules and records must not depend on where they are stored or shown"},
	{name: "internal/store", may: []string{"internal/lab", "core/..."}, because: "a store keeps records; siblings join in cli alone"},
	{name: "internal/access", may: []string{"internal/lab"}, because: "who someone is; what they may do with records is lab's table"},
	{name: "internal/csvtext", because: "text is text: what cells mean is for its users"},
	{name: "internal/ingest", may: []string{"internal/lab", "internal/csvtext", "core/..."}, because: "a reader of files makes drafts; siblings join in cli alone"},
	{name: "internal/batch", may: []string{"internal/lab", "internal/csvtext", "core/..."}, because: "a batch is a file through the counter; siblings join in cli alone"},
	{name: "internal/report", may: []string{"internal/lab", "core/..."}, because: "a report reads records; siblings join in cli alone", planned: true},
	{name: "internal/demo", may: []string{"internal/lab", "core/..."}, because: "the demo goes through lab's use cases as a user does"},
	{name: "internal/api", may: []string{"internal/lab", "internal/access", "core/...", "web"}, because: "the server speaks for lab and the counter; the store is given to it by cli"},
	{name: "internal/cli", may: []string{"internal/...", "core/...", "checks", "web"}, because: "the only joiner"},
	{name: "scripts", may: []string{"core/...", "checks"}, because: "what makes check files or measures is no part of the program"},
	{name: "web", because: "the embedded app is files"},
	{name: "cmd/ullage", may: []string{"internal/cli"}, because: "main only starts; what it starts must be testable"},
	{name: "cmd/wasm", may: []string{"core/calc"}, because: "the browser is a third door to the same counter"},
}

// banned is what no package of core may import, and why.
var banned = map[string]string{
	"os": "no I/O: the same code runs in the browser", "os/exec": "no I/O", "io/fs": "no I/O", "path/filepath": "no I/O",
	"net": "no I/O", "net/http": "no I/O", "database/sql": "no I/O", "embed": "data are given by the caller",
	"log": "a result or an error says all; the caller logs", "log/slog": "a result or an error says all; the caller logs",
	"syscall/js": "cmd/wasm is the browser's door", "syscall": "no I/O", "unsafe": "nothing here needs it",
	"sync": "no goroutine, so nothing to lock", "context": "nothing blocks", "math/rand": "a global source; pass a seeded math/rand/v2",
	"flag": "options are arguments", "testing": "tests live in test files",
}

type goPackage struct {
	ImportPath, Dir string
	Imports         []string
	GoFiles         []string
	IgnoredGoFiles  []string
}

// listed runs go list; wasm lists cmd/wasm as its own system sees it.
func listed(t *testing.T) map[string]goPackage {
	t.Helper()
	all := map[string]goPackage{}
	add := func(env []string, patterns ...string) {
		cmd := exec.Command("go", append([]string{"list", "-e", "-json=ImportPath,Dir,Imports,GoFiles,IgnoredGoFiles"}, patterns...)...)
		cmd.Env = append(os.Environ(), env...)
		cmd.Stderr = os.Stderr
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("go list: %v", err)
		}
		for dec := json.NewDecoder(bytes.NewReader(out)); ; {
			var p goPackage
			if err := dec.Decode(&p); errors.Is(err, io.EOF) {
				return
			} else if err != nil {
				t.Fatal(err)
			}
			if len(p.GoFiles) > 0 {
				all[strings.TrimPrefix(p.ImportPath, "ullage/")] = p
			}
		}
	}
	add(nil, "./...")
	if _, err := os.Stat("cmd/wasm"); err == nil {
		add([]string{"GOOS=js", "GOARCH=wasm"}, "./cmd/wasm")
	}
	return all
}

// roomOf is the rule of a package: its own, or that of the folder it lies in.
func roomOf(name string) *room {
	var best *room
	for i := range rooms {
		r := &rooms[i]
		if (name == r.name || !r.alone && strings.HasPrefix(name, r.name+"/")) && (best == nil || len(r.name) > len(best.name)) {
			best = r
		}
	}
	return best
}

func (r *room) allows(name string) bool {
	if name == r.name || strings.HasPrefix(name, r.name+"/") {
		return true // its own inner rooms
	}
	for _, m := range r.may {
		if base, all := strings.CutSuffix(m, "/..."); name == m || all && strings.HasPrefix(name, base+"/") {
			return true
		}
	}
	return false
}

func (r *room) isIn(all map[string]goPackage) bool {
	for name := range all {
		if roomOf(name) == r {
			return true
		}
	}
	return false
}

// faults of one package against the table.
func faults(name string, imports []string) (list []string) {
	r := roomOf(name)
	if r == nil {
		return []string{name + " has no line in the table of rooms: say what it may import, and why no more"}
	}
	for _, path := range imports {
		if own, ours := strings.CutPrefix(path, "ullage/"); ours && !r.allows(own) {
			list = append(list, fmt.Sprintf("%s may not import %s: %s", name, own, r.because))
		}
		if why, no := banned[path]; no && strings.HasPrefix(name, "core/") {
			list = append(list, fmt.Sprintf("%s may not import %s: %s", name, path, why))
		}
	}
	return list
}

func TestImports(t *testing.T) {
	all := listed(t)
	for name, p := range all {
		for _, fault := range faults(name, p.Imports) {
			t.Error(fault)
		}
	}
	for i := range rooms {
		r := &rooms[i]
		if !r.planned && !r.isIn(all) {
			t.Errorf("%s is in the table and no longer exists: take its line out", r.name)
		}
		for _, m := range r.may {
			base := strings.TrimSuffix(m, "/...")
			if base != "core" && base != "internal" && roomOf(base) == nil {
				t.Errorf("%s may import %s, which is not in the table", r.name, m)
			}
		}
	}
}

// The table refuses what it should: a test of the test.
func TestImportsRefuse(t *testing.T) {
	for _, c := range []struct{ name, path, says string }{
		{"core/quantity", "ullage/core/oxygen", "stand on nothing"},
		{"core/stats", "ullage/core/quantity", "know no beer"},
		{"core/oxygen", "ullage/core/calc", "judges nothing"},
		{"core/calc", "ullage/internal/lab", "knows none"},
		{"core/calc", "os", "no I/O"},
		{"core/uncertainty", "math/rand", "global source"},
		{"internal/lab", "ullage/internal/store", "where they are stored"},
		{"internal/store/storetest", "ullage/internal/api", "join in cli alone"},
		{"internal/api", "ullage/internal/store", "given to it by cli"},
		{"cmd/wasm", "ullage/core/oxygen", "same counter"},
		{"attic", "fmt", "no line in the table"},
		{"core/brewing", "fmt", "no line in the table"},
	} {
		if got := strings.Join(faults(c.name, []string{c.path}), "\n"); !strings.Contains(got, c.says) {
			t.Errorf("%s importing %s: %q, want %q", c.name, c.path, got, c.says)
		}
	}
	for _, c := range [][2]string{{"internal/lab", "ullage/core/calc"}, {"internal/store/storetest", "ullage/internal/store"}, {"internal/cli", "ullage/internal/store"}, {"core/calc", "math"}} {
		if got := faults(c[0], []string{c[1]}); got != nil {
			t.Errorf("%s may import %s: %v", c[0], c[1], got)
		}
	}
}

// What an import list cannot show: the clock, goroutines, the global random
// source, and init functions.
func TestCoreIsPure(t *testing.T) {
	files := token.NewFileSet()
	checked := 0
	err := filepath.WalkDir("core", func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && d.Name() == "testdata" {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(files, path, nil, 0)
		if err != nil {
			return err
		}
		checked++
		for _, fault := range impure(files, file) {
			t.Error(fault)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if checked < 20 {
		t.Errorf("only %d files were read", checked)
	}
}

// seeded are the names of math/rand/v2 that do not touch its global source.
var seeded = map[string]bool{"New": true, "NewPCG": true, "NewChaCha8": true, "NewZipf": true, "Rand": true, "Source": true, "PCG": true, "ChaCha8": true, "Zipf": true}

// ofClock are the names of time that read the clock or wait for it.
var ofClock = map[string]bool{"Now": true, "Since": true, "Until": true, "Sleep": true, "After": true, "AfterFunc": true, "Tick": true, "NewTimer": true, "NewTicker": true, "Local": true, "LoadLocation": true}

func impure(files *token.FileSet, file *ast.File) (list []string) {
	names := map[string]string{} // as the file calls it → import path
	for _, spec := range file.Imports {
		path, _ := strconv.Unquote(spec.Path.Value)
		name := strings.TrimSuffix(path, "/v2")
		name = name[strings.LastIndex(name, "/")+1:]
		if spec.Name != nil {
			name = spec.Name.Name
		}
		names[name] = path
	}
	say := func(at token.Pos, what string) { list = append(list, files.Position(at).String()+": "+what) }
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			say(n.Pos(), "starts a goroutine: the caller does that")
		case *ast.FuncDecl:
			if n.Recv == nil && n.Name.Name == "init" {
				say(n.Pos(), "has an init function: nothing happens before a call")
			}
		case *ast.SelectorExpr:
			of, ok := n.X.(*ast.Ident)
			switch {
			case !ok || of.Obj != nil:
			case names[of.Name] == "time" && ofClock[n.Sel.Name]:
				say(n.Pos(), "time."+n.Sel.Name+": times are given, the clock is the caller's")
			case names[of.Name] == "math/rand/v2" && !seeded[n.Sel.Name]:
				say(n.Pos(), "rand."+n.Sel.Name+" draws from the global source: results must follow a seed")
			}
		}
		return true
	})
	return list
}

func TestImpureIsSeen(t *testing.T) {
	const source = `package p
import ("time"; r "math/rand/v2")
func init() {}
func f() float64 {
	go f()
	_ = time.Now()
	_ = r.New(r.NewPCG(1, 2)).Float64()
	var d time.Duration = time.Second
	_ = d
	return r.Float64()
}`
	files := token.NewFileSet()
	file, err := parser.ParseFile(files, "p.go", source, 0)
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Join(impure(files, file), "\n")
	for _, says := range []string{"p.go:3:1: has an init", "p.go:5:2: starts a goroutine", "p.go:6:6: time.Now", "p.go:10:9: rand.Float64"} {
		if !strings.Contains(got, says) {
			t.Errorf("%q is not seen", says)
		}
	}
	if n := strings.Count(got, "\n") + 1; n != 4 {
		t.Errorf("%d faults, want 4:\n%s", n, got)
	}
}
