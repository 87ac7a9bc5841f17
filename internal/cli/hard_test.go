package cli

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A folder that cannot be written is said at the start, with its name and the
// mend; nothing is half made.
func TestReadOnlyFolder(t *testing.T) {
	top := t.TempDir()
	dir := filepath.Join(top, "data")
	if err := os.Mkdir(dir, 0o555); err != nil {
		t.Fatal(err)
	}
	binary := filepath.Join(top, "server")
	data, err := os.ReadFile(os.Args[0])
	if err == nil {
		err = os.WriteFile(binary, data, 0o755)
	}
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(binary, "--open", "--addr", "127.0.0.1:0", "--data", dir)
	cmd.Env = append(os.Environ(), asServer+"=1")
	if os.Getuid() == 0 { // root may write anywhere: try as somebody who may not
		for p := top; p != "/" && p != os.TempDir(); p = filepath.Dir(p) {
			if err := os.Chmod(p, 0o755); err != nil {
				t.Fatal(err)
			}
		}
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	}
	done := make(chan struct{})
	time.AfterFunc(20*time.Second, func() {
		select {
		case <-done:
		default:
			_ = cmd.Process.Kill()
		}
	})
	out, err := cmd.CombinedOutput()
	close(done)
	if err == nil || !strings.Contains(string(out), dir) || !strings.Contains(string(out), "cannot be written") {
		t.Errorf("%v: %s", err, out)
	}
	if left, _ := os.ReadDir(dir); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}
