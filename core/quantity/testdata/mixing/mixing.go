// Command mixing must not compile: each marked line mixes two quantities that a
// person might confuse.
package main

import "ullage/core/quantity"

func report(quantity.TPO) {}

func main() {
	tank, unshaken, shaken, total := quantity.DO(20), quantity.UnshakenDO(35), quantity.ShakenDO(48), quantity.TPO(110)

	_ = tank + unshaken                                  // want: mismatched types
	_ = unshaken + shaken                                // want: mismatched types
	_ = shaken + total                                   // want: mismatched types
	_ = total - tank                                     // want: mismatched types
	_ = shaken < total                                   // want: mismatched types
	_ = tank == shaken                                   // want: mismatched types
	report(shaken)                                       // want: cannot use shaken
	total = unshaken                                     // want: cannot use unshaken
	_ = quantity.Mass(1) + quantity.Volume(1)            // want: mismatched types
	_ = quantity.Pressure(1) + quantity.GaugePressure(1) // want: mismatched types

	// These are meant and must compile.
	_ = shaken + 1
	_ = total / 2
	_ = total - quantity.TPO(unshaken)
	report(total)
}
