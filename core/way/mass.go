package way

import (
	"ullage/core/oxygen"
	"ullage/core/quantity"
)

const (
	// LitresPerHL turns hL into L.
	LitresPerHL = 100

	airT = quantity.Temperature(20) // of the air that a leak is given in
)

// Grams of oxygen in a volume of hL at a concentration of ppb (eq. 38).
func Grams(ppb, hl float64) float64 { return ppb * hl * LitresPerHL / 1e6 }

// AirLeak is the air, mL a minute at 20 °C and 1 atm, that brings so many ppb
// into a flow of hL/h (eq. 39).
func AirLeak(ppb, flowHLH float64) float64 {
	return ppb * flowHLH * LitresPerHL / 60 / oxygen.AirMicrograms(airT)
}
