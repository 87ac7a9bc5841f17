package calc

import (
	"ullage/core/quantity"
	"ullage/core/verdict"
)

// Which TPO counts where a package has both, the first when nothing is said.
const (
	CountsDirect     = "direct"
	CountsCalculated = "calculated"
)

// DirectU is the standard uncertainty of a direct TPO reading that says none,
// ppb: the larger of 1 ppb and 2 % (common practice).
func DirectU(reading float64) float64 { return max(directPPB, directShare*reading) }

// TakeDirect gives a package its direct TPO reading, ppb; nil leaves it as it
// is. Beside a calculated TPO the one counts that by says, and the other is kept
// with it. Alone it counts in any case.
func TakeDirect(s *verdict.Sample, reading, u *quantity.TPO, by string) error {
	if reading == nil {
		return nil
	}
	v := float64(*reading)
	if !(v >= 0) {
		return refuse("direct_ppb", v, "ppb is below zero", "type it again, or check the zero of the instrument")
	}
	own := DirectU(v)
	if u != nil {
		if own = float64(*u); !(own >= 0) {
			return refuse("direct_u_ppb", own, "ppb is below zero", "leave it out where it is not known")
		}
	}
	if s.TPO > 0 && by == CountsCalculated {
		s.Beside = v
		return nil
	}
	// The factor from shaken DO has no part in a direct reading.
	s.Direct, s.Beside, s.TPO, s.U, s.Factor = true, s.TPO, v, own, 0
	return nil
}
