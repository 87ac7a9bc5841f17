package report

import (
	"regexp"
	"testing"
)

// Names of downloads are letters, digits and hyphens, whatever a record is called:
// they stand in a header, and on people's disks.
func TestFileNames(t *testing.T) {
	good := regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
	for name, want := range map[string]string{"Meter 1": "meter-1", "a\"; filename=\"evil.exe": "a-filename-evil-exe", "x\r\nSet-Cookie: y=1": "x-set-cookie-y-1",
		"../../etc/passwd": "etc-passwd", "Überlängliches Bräu": "berl-ngliches-br-u", "醸造所": "unnamed", "": "unnamed", "\u202egpj.exe": "gpj-exe", "%0d%0a": "0d-0a"} {
		if got := slug(name); got != want || !good.MatchString(got) {
			t.Errorf("%q becomes %q, want %q", name, got, want)
		}
	}
}
