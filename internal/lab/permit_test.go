package lab

import (
	"context"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strings"
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
	for _, d := range []Deed{DoRead, DoHistory, DoJudge, DoRecompute, DoRelease, DoImport, DoExport, DoAccounts} {
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
	// What the app is told is what would be refused, no more and no less.
	for _, r := range Roles() {
		p := Principal{Roles: []Role{r}}
		needs := p.Needs()
		for _, k := range Kinds() {
			want := s.MayWrite(As(context.Background(), p), k) != nil
			if roles, told := needs["write "+string(k)]; told != want || told && !slices.Equal(roles, WhoMayWrite(k)) {
				t.Errorf("%s is told of writing %s: %v %v", r, k, told, roles)
			}
		}
		for d := range deeds {
			if _, told := needs[string(d)]; told != (s.May(As(context.Background(), p), d) != nil) {
				t.Errorf("%s is told of %s: %v", r, d, told)
			}
		}
	}
	if n := Open().Needs(); len(n) != 0 {
		t.Errorf("a server without accounts needs %v", n)
	}
	if err := (&Service{}).May(context.Background(), DoExport); err != nil {
		t.Errorf("at the command line: %v", err)
	}
}

// Every use case asks who may do it: it calls May or MayWrite, or another that does.
func TestEveryUseCaseAsks(t *testing.T) {
	files := token.NewFileSet()
	pkgs, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	asks := map[string]bool{"May": true, "MayWrite": true, "Batch": true} // Batch asks for each write, in prepare
	calls := map[string][]string{}
	for _, name := range pkgs {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(files, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok || fn.Recv == nil || !fn.Name.IsExported() || !takesContext(fn) || receiver(fn) != "Service" {
				continue
			}
			calls[fn.Name.Name] = called(fn.Body)
		}
	}
	if len(calls) < 15 {
		t.Fatalf("only %d use cases were found", len(calls))
	}
	for again := true; again; {
		again = false
		for name, list := range calls {
			if !asks[name] && slices.ContainsFunc(list, func(c string) bool { return asks[c] }) {
				asks[name], again = true, true
			}
		}
	}
	for name := range calls {
		if !asks[name] {
			t.Errorf("Service.%s asks nobody: begin it with s.May(ctx, DoRead), DoJudge, … (permit.go)", name)
		}
	}
}

func takesContext(fn *ast.FuncDecl) bool {
	if len(fn.Type.Params.List) == 0 {
		return false
	}
	sel, ok := fn.Type.Params.List[0].Type.(*ast.SelectorExpr)
	return ok && sel.Sel.Name == "Context"
}

func receiver(fn *ast.FuncDecl) string {
	star, ok := fn.Recv.List[0].Type.(*ast.StarExpr)
	if !ok {
		return ""
	}
	id, _ := star.X.(*ast.Ident)
	return id.Name
}

// called lists the methods of s that a body calls.
func called(body *ast.BlockStmt) (out []string) {
	ast.Inspect(body, func(n ast.Node) bool {
		if sel, ok := n.(*ast.SelectorExpr); ok {
			if id, ok := sel.X.(*ast.Ident); ok && id.Name == "s" {
				out = append(out, sel.Sel.Name)
			}
		}
		return true
	})
	return out
}

// What ParseChainHead takes it prints again; what it refuses says how to write it.
func FuzzChainHead(f *testing.F) {
	f.Add("12:" + strings.Repeat("a", 64))
	f.Add("x")
	f.Fuzz(func(t *testing.T, text string) {
		h, err := ParseChainHead(text)
		if err != nil {
			if ClassOf(err) != Invalid {
				t.Fatal(err)
			}
			return
		}
		again, err := ParseChainHead(h.String())
		if err != nil || again != h {
			t.Fatalf("%q: %v, %v", text, again, err)
		}
	})
}

// No two revisions share the text that is hashed: moving a byte from one field
// to the next changes the hash.
func FuzzChainHash(f *testing.F) {
	f.Add("kind", "id", "body", 1)
	f.Fuzz(func(t *testing.T, a, b, c string, n int) {
		r := Revision{Kind: Kind(a), ID: b, Body: []byte(c), Rev: n}
		moved := Revision{Kind: Kind(a + b), Body: []byte(c), Rev: n}
		if b != "" && ChainHash("", r) == ChainHash("", moved) {
			t.Fatalf("%q %q", a, b)
		}
		if ChainHash("x", r) == ChainHash("", r) {
			t.Fatal("the hash before does not count")
		}
	})
}
