package cli

import "regexp"

var (
	belowZero = regexp.MustCompile(`^-\.?\d`)
	longFlag  = regexp.MustCompile(`^--[a-z][a-z0-9-]*$`)
	shortFlag = regexp.MustCompile(`^-[a-zA-Z]$`)
)

// belowZeros joins a value below zero to the option before it, for which a
// parser would take it to be another: beer is filled at -1C.
func belowZeros(args []string) []string {
	out := make([]string, 0, len(args))
	for i, a := range args {
		if a == "--" {
			return append(out, args[i:]...)
		}
		last := len(out) - 1
		switch {
		case !belowZero.MatchString(a) || last < 0:
			out = append(out, a)
		case longFlag.MatchString(out[last]):
			out[last] += "=" + a
		case shortFlag.MatchString(out[last]):
			out[last] += a
		default:
			out = append(out, a)
		}
	}
	return out
}
