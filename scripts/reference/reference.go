// Package reference runs the Python scripts beside it for tests that compare
// the core with independent libraries, live. It is for tests alone; nothing of
// the program imports it.
package reference

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// Run feeds a script of this folder and returns what it prints. Without a
// Python that has the named module the test is skipped, or fails where
// ULLAGE_REQUIRE_PYTHON=1. ULLAGE_PYTHON names the interpreter to use.
func Run(t testing.TB, script, module string, stdin []byte) []byte {
	t.Helper()
	python := find(module)
	if python == "" {
		reason := "no Python with the module " + module + " (Debian: python3-" + module + "); set ULLAGE_PYTHON to one that has it"
		if os.Getenv("ULLAGE_REQUIRE_PYTHON") == "1" {
			t.Fatal(reason)
		}
		t.Skip(reason)
	}
	_, here, _, _ := runtime.Caller(0)
	cmd := exec.Command(python, "-B", filepath.Join(filepath.Dir(here), script))
	cmd.Stdin = bytes.NewReader(stdin)
	var complaint bytes.Buffer
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", script, err, strings.TrimSpace(complaint.String()))
	}
	return out
}

func find(module string) string {
	candidates := []string{"python3", "/usr/bin/python3"}
	if p := os.Getenv("ULLAGE_PYTHON"); p != "" {
		candidates = []string{p}
	}
	for _, p := range candidates {
		if exec.Command(p, "-c", "import "+module).Run() == nil {
			return p
		}
	}
	return ""
}
