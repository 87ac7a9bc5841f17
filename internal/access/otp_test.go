package access

import (
	"encoding/hex"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ullage/internal/lab"
)

// The seed of both tables: RFC 4226 appendix D, RFC 6238 appendix B (SHA-1).
var rfcSeed = []byte("12345678901234567890")

// Source: RFC 4226 (2005), appendix D, table 2; RFC 6238 (2011), appendix B,
// table 1, lines of SHA-1.
func TestCodesOfTheStandards(t *testing.T) {
	for count, want := range []string{"755224", "287082", "359152", "969429", "338314", "254676", "287922", "162583", "399871", "520489"} {
		if got := hotp(rfcSeed, uint64(count), 6); got != want {
			t.Errorf("RFC 4226, count %d: %s, want %s", count, got, want)
		}
	}
	for at, want := range map[int64]string{59: "94287082", 1111111109: "07081804", 1111111111: "14050471", 1234567890: "89005924", 2000000000: "69279037", 20000000000: "65353130"} {
		if got := hotp(rfcSeed, uint64(stepAt(time.Unix(at, 0))), 8); got != want {
			t.Errorf("RFC 6238, time %d: %s, want %s", at, got, want)
		}
		// Ours are the last six of the eight digits.
		if step, err := checkTOTP(rfcSeed, want[2:], time.Unix(at, 0), 0, false); err != nil || step != at/30 {
			t.Errorf("RFC 6238, time %d: step %d, %v", at, step, err)
		}
	}
}

// A code counts in its own step and the two beside it, once, and not after a
// newer one; outside of it the clock is named within reach, never a code to keep.
func TestWindow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.SliceOfN(rapid.Byte(), seedBytes, seedBytes).Draw(t, "seed")
		now := time.Unix(rapid.Int64Range(1e6, 4e9).Draw(t, "now"), 0)
		off := rapid.Int64Range(-codeSkew-5, codeSkew+5).Draw(t, "off")
		at := stepAt(now)
		code := hotp(seed, uint64(at+off), codeDigits)
		for d := int64(-codeSkew); d <= codeSkew; d++ {
			if d != off && hotp(seed, uint64(at+d), codeDigits) == code {
				t.Skip("two steps have the same code")
			}
		}
		step, err := checkTOTP(seed, code, now, 0, false)
		_, atHome := checkTOTP(seed, code, now, 0, true)
		inside := off >= -codeWindow && off <= codeWindow
		switch {
		case inside && (err != nil || step != at+off):
			t.Fatalf("off %d: step %d of %d, %v", off, step, at, err)
		case !inside && err == nil:
			t.Fatalf("off %d was accepted", off)
		case off > codeWindow && !strings.Contains(err.Error(), "is not right"):
			t.Fatalf("a code still to come is told: %v", err)
		case off > codeWindow && off <= codeSkew && !strings.Contains(atHome.Error(), "fast"):
			t.Fatalf("setting up with a clock that is fast: %v", atHome)
		case off < -codeWindow && off >= -codeSkew && !strings.Contains(err.Error(), "slow"):
			t.Fatalf("a clock that is slow: %v", err)
		}
		if inside {
			if _, err := checkTOTP(seed, code, now, step, false); err == nil || !strings.Contains(err.Error(), "used already") {
				t.Fatalf("again: %v", err)
			}
			if _, err := checkTOTP(seed, code, now, step+1, false); err == nil {
				t.Fatal("after a newer one")
			}
		}
	})
	for off, want := range map[int64]string{-3: "90 s slow", -4: "2 min slow", -40: "20 min slow"} {
		now := time.Unix(1.7e9, 0)
		_, err := checkTOTP(rfcSeed, hotp(rfcSeed, uint64(stepAt(now)+off), 6), now, 0, false)
		if lab.ClassOf(err) != lab.Forbidden || !strings.Contains(err.Error(), want) {
			t.Errorf("%d steps: %v, want %s", off, err, want)
		}
	}
}

func TestRecoveryCodesAreRandom(t *testing.T) {
	seen := map[string]bool{}
	form := regexp.MustCompile(`^([a-z0-9]{4}-){5}[a-z0-9]{4}$`)
	letters := map[rune]int{}
	for range 2000 {
		c := newRecoveryCode()
		if !form.MatchString(c) || seen[c] || strings.ContainsAny(c, "il1o") || len(cleanCode(c)) != codeLength {
			t.Fatal(c)
		}
		seen[c] = true
		for _, r := range cleanCode(c) {
			letters[r]++
		}
	}
	if len(letters) != 32 || codeBytes*8 < 112 {
		t.Errorf("%d letters, %d bits", len(letters), codeBytes*8)
	}
	for r, n := range letters { // 48000 letters over 32: 1500 each, standard deviation 38
		if n < 1250 || n > 1750 {
			t.Errorf("%c came %d times", r, n)
		}
	}
	if a, b := newSeed(), newSeed(); len(a) != 20 || hex.EncodeToString(a) == hex.EncodeToString(b) {
		t.Error("seeds are not random")
	}
}

// The picture says the address, module by module, as the encoder made it.
func TestPicture(t *testing.T) {
	uri := keyURI("quality.tech", rfcSeed)
	if want := "otpauth://totp/Ullage:quality.tech?algorithm=SHA1&digits=6&issuer=Ullage&period=30&secret=GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"; uri != want {
		t.Errorf("%s\nwant %s", uri, want)
	}
	p, err := picture(uri)
	if err != nil {
		t.Fatal(err)
	}
	dark := map[string]bool{}
	for _, m := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`).FindAllStringSubmatch(p.Path, -1) {
		x, _ := strconv.Atoi(m[1])
		n, _ := strconv.Atoi(m[3])
		if m[3] != m[4] {
			t.Fatal(m)
		}
		for i := range n {
			dark[fmt.Sprintf("%d %s", x+i, m[2])] = true
		}
	}
	// Three finder patterns: a dark ring of seven around a light one.
	for _, at := range [][2]int{{0, 0}, {p.Size - 7, 0}, {0, p.Size - 7}} {
		for i := range 7 {
			for _, xy := range [][2]int{{i, 0}, {i, 6}, {0, i}, {6, i}} {
				if !dark[fmt.Sprintf("%d %d", at[0]+xy[0], at[1]+xy[1])] {
					t.Fatalf("no finder pattern at %v", at)
				}
			}
		}
		if dark[fmt.Sprintf("%d %d", at[0]+1, at[1]+1)] || !dark[fmt.Sprintf("%d %d", at[0]+3, at[1]+3)] {
			t.Fatalf("no finder pattern at %v", at)
		}
	}
	if n := len(dark); n < p.Size*p.Size/3 || n > p.Size*p.Size*2/3 {
		t.Errorf("%d of %d modules are dark", n, p.Size*p.Size)
	}
}
