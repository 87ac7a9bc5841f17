package ullage_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// avoided are packages that the program does without, and the requirements of
// OWASP ASVS 5.0.0 that rest on it.
var avoided = map[string]string{
	"os/exec": "1.2.5: it starts no program", "plugin": "1.2.5", "unsafe": "1.4.1: memory is Go's", "C": "1.4.1", "text/template": "1.3.7: text is written, not filled in",
	"encoding/gob": "1.5.2: what is read has known types", "encoding/xml": "1.2.7, 1.5.1: workbooks are the library's to read", "net/smtp": "1.3.11: no mail", "net/rpc": "1.5.2",
	"net/http/httputil": "1.3.6: it passes no request on", "net/http/cgi": "1.2.5", "math/rand": "7.2.3: math/rand/v2 with a seed, or crypto/rand", "crypto/md5": "no weak hash", "crypto/sha1": "no weak hash", "crypto/des": "no weak cipher", "crypto/rc4": "no weak cipher",
}

// despite are the files that may import one of them all the same, and why.
var despite = map[string]string{
	"internal/access/otp.go crypto/sha1": "HMAC-SHA-1 is what RFC 6238 and the phones speak; collisions do not weaken it as a keyed code",
}

// avoidedModules are kinds of services it does not speak to.
var avoidedModules = regexp.MustCompile(`(?i)ldap|xpath|latex|memcache|gomail|sendgrid|twilio|websocket|graphql|saml|markdown|jsonp|expr-lang|goja|otto`)

// mayAsk are the files that may open a connection to somewhere else, each to an
// address of its operator.
var mayAsk = map[string]string{"internal/access/oidc.go": "the sign-on provider", "internal/cli/serve_tls.go": "the certificate authority", "internal/store/postgres.go": "the database"}

// asks are what opens one.
var asks = map[string][]string{"net": {"Dial", "DialTimeout", "Dialer", "DialTCP"}, "http": {"Get", "Post", "Head", "PostForm", "NewRequest", "NewRequestWithContext", "Client", "DefaultClient", "Transport", "DefaultTransport"},
	"tls": {"Dial", "Dialer", "Client"}, "oidc": {"NewProvider"}, "acme": {"Client"}, "pgx": {"Connect", "ParseConfig"}, "stdlib": {"OpenDB"}}

// TestSourceAvoids: the program does without what most holes are made of.
func TestSourceAvoids(t *testing.T) {
	files := 0
	for _, top := range []string{"cmd", "core", "internal", "web"} {
		err := filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
			if err == nil && d.IsDir() && d.Name() == "node_modules" {
				return filepath.SkipDir
			}
			if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			files++
			return avoidsGo(t, filepath.ToSlash(path))
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	mod, err := os.ReadFile("go.mod")
	if err != nil || files < 200 {
		t.Fatalf("%d files, %v", files, err)
	}
	if m := avoidedModules.Find(mod); m != nil {
		t.Errorf("go.mod has a module of %s: docs/security.md says that there is none", m)
	}
}

func avoidsGo(t *testing.T, path string) error {
	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, path, nil, 0)
	if err != nil {
		return err
	}
	for _, im := range f.Imports {
		name, _ := strconv.Unquote(im.Path.Value)
		if why := avoided[name]; why != "" && despite[path+" "+name] == "" {
			t.Errorf("%s imports %s (%s)", path, name, why)
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch x := n.(type) {
		case *ast.SelectorExpr:
			if id, ok := x.X.(*ast.Ident); ok && slices.Contains(asks[id.Name], x.Sel.Name) && mayAsk[path] == "" {
				t.Errorf("%s: %s.%s opens a connection", fset.Position(x.Pos()), id.Name, x.Sel.Name)
			}
		case *ast.CallExpr:
			made, ok := x.Fun.(*ast.SelectorExpr)
			if !ok || len(x.Args) == 0 {
				return true
			}
			id, _ := made.X.(*ast.Ident)
			if id == nil {
				return true
			}
			switch id.Name + "." + made.Sel.Name {
			case "regexp.MustCompile", "regexp.Compile", "template.New":
				if !constant(x.Args[0]) {
					t.Errorf("%s: made of something that is not constant", fset.Position(x.Pos()))
				}
			case "template.HTML", "template.JS", "template.URL", "template.CSS", "template.HTMLAttr":
				t.Errorf("%s: text that is not encoded", fset.Position(x.Pos()))
			}
		}
		return true
	})
	return nil
}

func constant(e ast.Expr) bool {
	switch x := e.(type) {
	case *ast.BasicLit:
		return true
	case *ast.BinaryExpr:
		return constant(x.X) && constant(x.Y)
	case *ast.Ident:
		return x.Obj != nil && x.Obj.Kind == ast.Con
	}
	return false
}

// avoidedWeb is what the app's source does without.
var avoidedWeb = []struct{ pattern, why string }{
	{`\{@html`, "3.2.2: text is shown as text"}, {`\.(inner|outer)HTML\b|insertAdjacentHTML|document\.write|srcdoc`, "3.2.2"},
	{`\beval\(|new Function\(|setTimeout\(\s*['"\x60]|import\(\s*[a-z]+\s*\)`, "1.3.2: no text is run"},
	{`javascript:|href=\{[^}]*\bdata:`, "1.2.2: no address that runs"},
	{`window\.(open|opener|parent|top)\b|addEventListener\(\s*['"]message['"]\s*,`, "3.5.5: no messages between windows"},
	{`document\.cookie`, "3.3.4: cookies are not the scripts'"},
	{`<iframe|<object|<embed|<applet`, "3.7.1"},
}

// elsewhere is an address; namesOnly are hosts in names of formats, which nobody asks.
var (
	elsewhere = regexp.MustCompile(`https?://([a-zA-Z0-9.-]+)`)
	namesOnly = []string{"localhost", "127.0.0.1", "www.w3.org", "schemas.openxmlformats.org"}
)

// TestWebAvoids: nor does the app that runs in the browser.
func TestWebAvoids(t *testing.T) {
	files := 0
	err := filepath.WalkDir("web/src", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasSuffix(path, ".test.ts") || strings.Contains(path, "gen") && strings.HasSuffix(path, ".d.ts") {
			return err
		}
		body, err := os.ReadFile(path)
		files++
		for _, a := range avoidedWeb {
			if m := regexp.MustCompile(a.pattern).FindString(string(body)); m != "" {
				t.Errorf("%s holds %q (%s)", path, m, a.why)
			}
		}
		for _, m := range elsewhere.FindAllStringSubmatch(string(body), -1) {
			if !slices.Contains(namesOnly, m[1]) {
				t.Errorf("%s holds %s (14.2.3: nobody else is asked)", path, m[0])
			}
		}
		return err
	})
	if err != nil || files < 150 {
		t.Fatalf("%d files, %v", files, err)
	}
}
