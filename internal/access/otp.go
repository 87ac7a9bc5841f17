package access

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha1"
	"crypto/subtle"
	"encoding/base32"
	"encoding/binary"
	"fmt"
	"net/url"
	"strings"
	"time"

	"rsc.io/qr"

	"ullage/internal/lab"
)

// Time-based one-time codes by RFC 6238 with the parameters every app knows:
// HMAC-SHA-1, six digits, steps of 30 s from 1970. One step to each side is
// accepted for the way and the clock (RFC 6238 §5.2).
const (
	codeStep   = 30 // s
	codeDigits = 6
	codeWindow = 1
	codeSkew   = 40 // steps within which a clock that is off is recognised: 20 min
	seedBytes  = 20 // 160 bits, as RFC 4226 §4 recommends
)

// hotp is the one-time code of a count (RFC 4226 §5.3).
func hotp(seed []byte, count uint64, digits int) string {
	mac := hmac.New(sha1.New, seed)
	_ = binary.Write(mac, binary.BigEndian, count) // a hash takes everything
	sum := mac.Sum(nil)
	at := sum[len(sum)-1] & 0xf
	n := binary.BigEndian.Uint32(sum[at:]) & 0x7fffffff
	mod := uint32(1)
	for range digits {
		mod *= 10
	}
	return fmt.Sprintf("%0*d", digits, n%mod)
}

func stepAt(t time.Time) int64 { return t.Unix() / codeStep }

// findCode tells of which step a code is, 0 if of none within reach; the step
// nearest to now wins. Every step is computed and compared, right or not.
func findCode(seed []byte, code string, now, reach int64) int64 {
	found := int64(0)
	for d := reach; d >= 0; d-- {
		for _, step := range []int64{now - d, now + d} {
			if step > 0 && subtle.ConstantTimeCompare([]byte(hotp(seed, uint64(step), codeDigits)), []byte(code)) == 1 {
				found = step
			}
		}
	}
	return found
}

// checkTOTP gives the step of a code that counts: within the window, and newer
// than the last one that was accepted. Other codes of the seed are told what is
// wrong; of codes still to come that is said only where ahead is true, for the
// answer would tell a guesser which code to keep.
func checkTOTP(seed []byte, code string, now time.Time, last int64, ahead bool) (int64, error) {
	at := stepAt(now)
	step := findCode(seed, code, at, codeSkew)
	off := step - at
	no := func(message, mend string) (int64, error) {
		return 0, refuse(lab.Forbidden, "code", nil, message, mend)
	}
	switch {
	case step == 0 || off > codeWindow && !ahead:
		return no("is not right", "type the code that the app shows now; if it is refused again, let the phone set its clock by itself")
	case off > codeWindow:
		return no("is one still to come: the clock of the phone is about "+minutes(off)+" fast", "let the phone set its clock by itself")
	case step <= last:
		return no("was used already", "wait for the next code")
	case off < -codeWindow:
		return no("is an old one: it was typed late, or the clock of the phone is about "+minutes(-off)+" slow", "let the phone set its clock by itself, and type the newest code")
	}
	return step, nil
}

func minutes(steps int64) string {
	if steps < 4 {
		return fmt.Sprintf("%d s", steps*codeStep)
	}
	return fmt.Sprintf("%d min", (steps*codeStep+30)/60)
}

var plain32 = base32.StdEncoding.WithPadding(base32.NoPadding)

func newSeed() []byte {
	b := make([]byte, seedBytes)
	rand.Read(b) // never fails: it stops the program instead
	return b
}

// Picture is a QR code to draw: a square of Size modules, and the dark ones as
// the path of an SVG.
type Picture struct {
	Size int    `json:"size" doc:"modules along a side, without the quiet zone of 4 around it"`
	Path string `json:"path" doc:"dark modules, as the d of an SVG path"`
}

func picture(text string) (Picture, error) {
	c, err := qr.Encode(text, qr.M)
	if err != nil {
		return Picture{}, err
	}
	var b strings.Builder
	for y := range c.Size {
		for x := 0; x < c.Size; x++ {
			n := 0
			for x+n < c.Size && c.Black(x+n, y) {
				n++
			}
			if n > 0 {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", x, y, n, n)
				x += n
			}
		}
	}
	return Picture{c.Size, b.String()}, nil
}

// keyURI is what authenticator apps read from the picture.
func keyURI(name string, seed []byte) string {
	q := url.Values{"secret": {plain32.EncodeToString(seed)}, "issuer": {"Ullage"}, "algorithm": {"SHA1"},
		"digits": {fmt.Sprint(codeDigits)}, "period": {fmt.Sprint(codeStep)}}
	return "otpauth://totp/" + url.PathEscape("Ullage:"+name) + "?" + q.Encode()
}

// The recovery codes: ten of 120 random bits, so that a plain hash keeps them
// (ASVS 6.5.2 asks for 112), in six groups of four.
const (
	codesMade  = 10
	codeBytes  = 15
	codeLength = codeBytes * 8 / 5
)

// newRecoveryCode leaves out letters and digits that look alike.
func newRecoveryCode() string {
	b := make([]byte, codeBytes)
	rand.Read(b)
	text := base32.NewEncoding(recoveryLetters).EncodeToString(b)
	var parts []string
	for ; text != ""; text = text[4:] {
		parts = append(parts, text[:4])
	}
	return strings.Join(parts, "-")
}

const recoveryLetters = "abcdefghjkmnpqrstuvwxyz023456789"

// cleanCode takes out what people put between the groups.
func cleanCode(code string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune(" -\t\u00a0\u2011\u2013", r) {
			return -1
		}
		return r
	}, strings.ToLower(code))
}
