package quantity

import "strings"

// Minus makes the hyphen before a number in a sentence the minus sign it stands
// for (U+2212, as the SI brochure 9th ed. prints it). A hyphen after a letter or
// digit joins words, dates or codes and stays. For prose only: programs and
// tables at a terminal keep the ASCII hyphen, which can be read back.
func Minus(s string) string {
	if !strings.Contains(s, "-") {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		joins := i > 0 && (s[i-1] >= 0x80 || s[i-1] == '-' || alnum(s[i-1]))
		if s[i] == '-' && !joins && i+1 < len(s) && (digit(s[i+1]) || s[i+1] == '.' && i+2 < len(s) && digit(s[i+2])) {
			b.WriteString("−")
		} else {
			b.WriteByte(s[i])
		}
	}
	return b.String()
}

func digit(c byte) bool { return c >= '0' && c <= '9' }

func alnum(c byte) bool { return digit(c) || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '_' }

// Parted sets commas between the thousands of a plain decimal, such as "4100.5":
// "4,100.5". For prose only, as Minus.
func Parted(s string) string {
	start := strings.IndexFunc(s, func(r rune) bool { return r >= '0' && r <= '9' })
	if start < 0 {
		return s
	}
	end := start
	for end < len(s) && digit(s[end]) {
		end++
	}
	for i := end - 3; i > start; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
