package process

import (
	"math"

	"ullage/core/quantity"
)

// Part of a blend.
type Part struct {
	Volume quantity.Volume
	DO     quantity.DO
}

// Blend is the volume-weighted DO of what is run together (eq. P14).
func Blend(parts ...Part) Part {
	var sum Part
	var mass float64
	for _, p := range parts {
		sum.Volume += p.Volume
		mass += float64(p.Volume) * float64(p.DO)
	}
	sum.DO = quantity.DO(mass / float64(sum.Volume))
	return sum
}

// Pellet densities, kg/m³: from memory and common practice. T90 pellets lie at
// about 500 and their hop material, without any gas, has about 1,100; so a
// kilogram holds about 1.1 L of gas, between and inside the pellets.
const (
	PelletBulk     quantity.Density = 500
	PelletMaterial quantity.Density = 1100
)

// HopGas is the gas that a mass of pellets carries in (eq. P15).
func HopGas(m quantity.Mass, bulk, material quantity.Density) quantity.Volume {
	return quantity.Volume(float64(m) * 1000 * (1/float64(bulk) - 1/float64(material)))
}

// HopPurged is the share of the air of pellets that pressure cycles leave when
// the gas inside the pellets exchanges with only a part of each cycle (eq.
// P16): between is the share of the gas that lies between them, inside the
// exchange of the rest, 0 (none) to 1 (as well as between).
func HopPurged(low, high quantity.Pressure, cycles float64, between, inside quantity.Fraction) quantity.Fraction {
	ratio := float64(low / high)
	return between*quantity.Fraction(math.Pow(ratio, cycles)) +
		(1-between)*quantity.Fraction(math.Pow(1-float64(inside)*(1-ratio), cycles))
}

// HoseVolume of a length of pipe or hose (eq. P17).
func HoseVolume(bore, length quantity.Length) quantity.Volume { return Cylinder(bore, length, 0) }
