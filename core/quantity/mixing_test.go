package quantity_test

import (
	"bufio"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"ullage/core/quantity"
)

// The compiler must refuse each line of testdata/mixing that mixes two kinds of
// oxygen reading, for the reason written on the line, and no other line.
func TestMixingDoesNotCompile(t *testing.T) {
	const file = "testdata/mixing/mixing.go"
	want := map[string]string{}
	source, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer source.Close()
	lines := bufio.NewScanner(source)
	for n := 1; lines.Scan(); n++ {
		if _, says, marked := strings.Cut(lines.Text(), "// want: "); marked {
			want[strconv.Itoa(n)] = says
		}
	}
	if len(want) < 8 {
		t.Fatalf("only %d lines are marked", len(want))
	}
	out, err := exec.Command("go", "build", "-gcflags=-e", "-o", os.DevNull, "./testdata/mixing").CombinedOutput()
	if err == nil {
		t.Fatal("it compiles")
	}
	got := regexp.MustCompile(`(?m)mixing\.go:(\d+):\d+: (.*)$`).FindAllStringSubmatch(string(out), -1)
	if len(got) == 0 {
		t.Fatalf("no compiler errors in: %s", out)
	}
	for _, m := range got {
		says, expected := want[m[1]]
		if !expected {
			t.Errorf("line %s should compile: %s", m[1], m[2])
		} else if !strings.Contains(m[2], says) {
			t.Errorf("line %s: the compiler says %q, want %q", m[1], m[2], says)
		}
		delete(want, m[1])
	}
	for n, says := range want {
		t.Errorf("line %s compiles; want %q", n, says)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"48 ppb", "0.048 ppm", "4 °C", "39.2F", "355 mL", "12 fl oz", "1.0105", "2.6 °P", "1e3", "-5", "NaN", "0x1p-2",
		"1,5", "", "1e999 °F", "2.5 vol", "30 ppm v/v", "5 %", "1 \"", "٣ ppb", "1e308 bbl", ".", "+.e1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, k := range kinds {
			v, err := k.Parse(s)
			if err != nil {
				continue
			}
			if k.Check(v) != nil {
				t.Errorf("%s: %q gave %v", k.Name, s, v)
			}
		}
		var q, back quantity.SpecificGravity
		if q.Set(s) == nil {
			if err := back.Set(q.String()); err != nil || back != q {
				t.Errorf("%q: %v printed and read again is %v, %v", s, float64(q), float64(back), err)
			}
		}
	})
}
