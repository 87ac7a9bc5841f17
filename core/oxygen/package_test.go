package oxygen_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// draw is a usual package with a reading, its temperature and solubility.
type drawn struct {
	pack oxygen.Package
	do   quantity.ShakenDO
	beta float64
	k    float64
	t    quantity.Temperature
}

func draw(t *rapid.T) drawn {
	beer := rapid.Float64Range(50, 60000).Draw(t, "beer")
	temp := rapid.Float64Range(0, 40).Draw(t, "t")
	return drawn{
		pack: oxygen.Package{Beer: quantity.Volume(beer), Headspace: quantity.Volume(beer * rapid.Float64Range(1e-4, 0.3).Draw(t, "headspace share"))},
		do:   quantity.ShakenDO(rapid.Float64Range(0.1, 20000).Draw(t, "do")),
		beta: rapid.Float64Range(0.85, 1).Draw(t, "beta"),
		k:    oxygen.PartitionRatio(quantity.Temperature(temp)),
		t:    quantity.Temperature(temp),
	}
}

func near(got, want, relative float64) bool {
	return math.Abs(got-want) <= relative*math.Max(math.Abs(got), math.Abs(want))
}

// The oxygen in liquid and gas is TPO times the volume of beer.
func TestMassBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		liquid, gas := d.pack.Split(d.do, d.beta, d.k)
		total := float64(d.pack.Total(d.do, d.beta, d.k)) * float64(d.pack.Beer) / 1000
		if !near(float64(liquid+gas), total, 1e-12) {
			t.Fatalf("%v + %v µg is not %v µg", float64(liquid), float64(gas), total)
		}
	})
}

// The balance by an independent route: moles of gas at the oxygen partial
// pressure that Henry's law gives the reading, with the real-gas term.
func TestTotalFromMoles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		atm := float64(d.do) / oxygen.Solubility(d.t)
		theta := 0.000975 + float64(d.t)*(-1.426e-5+float64(d.t)*6.436e-8)
		kelvins := float64(d.t) + 273.15
		moles := atm * 101325 * float64(d.pack.Headspace) * 1e-6 / (8.314462618 * kelvins) * (1 - theta)
		micrograms := moles*31.9988e6 + d.beta*float64(d.do)*float64(d.pack.Beer)/1000
		if got := float64(d.pack.Total(d.do, d.beta, d.k)) * float64(d.pack.Beer) / 1000; !near(got, micrograms, 1e-12) {
			t.Fatalf("%v µg, by moles %v µg", got, micrograms)
		}
	})
}

func TestTotalIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		base := d.pack.Total(d.do, d.beta, d.k)
		up := rapid.Float64Range(1.0001, 1.5).Draw(t, "factor")
		more, less := d.pack, d.pack
		more.Headspace *= quantity.Volume(up)
		less.Beer /= quantity.Volume(up)
		for name, higher := range map[string]quantity.TPO{
			"reading": d.pack.Total(d.do*quantity.ShakenDO(up), d.beta, d.k), "headspace": more.Total(d.do, d.beta, d.k),
			"less beer": less.Total(d.do, d.beta, d.k), "solubility": d.pack.Total(d.do, d.beta*up, d.k), "K": d.pack.Total(d.do, d.beta, d.k*up),
		} {
			if higher <= base {
				t.Errorf("more %s gives %v, not above %v", name, float64(higher), float64(base))
			}
		}
		if d.t < 39 && oxygen.PartitionRatio(d.t+1) <= d.k {
			t.Errorf("K falls from %v to the next degree", d.t)
		}
	})
}

func TestInverses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		total := d.pack.Total(d.do, d.beta, d.k)
		if back := d.pack.Shaken(total, d.beta, d.k); !near(float64(back), float64(d.do), 1e-14) {
			t.Errorf("shaken DO %v came back as %v", float64(d.do), float64(back))
		}
		if back := d.pack.FromAir(d.pack.Air(total, d.t), d.t); !near(float64(back), float64(total), 1e-14) {
			t.Errorf("TPO %v came back from air as %v", float64(total), float64(back))
		}
		vol := rapid.Float64Range(0.1, 5).Draw(t, "carbonation")
		gl := oxygen.CO2Concentration(d.t, oxygen.CO2Pressure(d.t, quantity.Carbonation(vol)))
		if !near(gl/quantity.CO2GramsPerVolume, vol, 1e-13) {
			t.Errorf("%v volumes came back as %v", vol, gl/quantity.CO2GramsPerVolume)
		}
	})
}

// Each way to the volumes finds a package again from what it would weigh or show.
func TestVolumesFromMeasurements(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		air, beer := quantity.Density(rapid.Float64Range(0.9, 1.3).Draw(t, "air")), oxygen.BeerDensity(1.0105, d.t)
		capacity := d.pack.Beer + d.pack.Headspace
		unit := float64(oxygen.VolumeFromWeight(1, beer, air)) // mL a gram
		same := func(way string, got oxygen.Package) {
			if !near(float64(got.Beer), float64(d.pack.Beer), 1e-12) || math.Abs(float64(got.Headspace-d.pack.Headspace)) > 1e-12*float64(capacity) {
				t.Errorf("%s: %v became %v", way, d.pack, got)
			}
		}
		same("weighed", oxygen.Weighed(quantity.Mass(float64(d.pack.Beer)/unit), beer, air, capacity))
		same("assumed", oxygen.Assumed(d.pack.Beer, capacity))
		neck := oxygen.Neck{Gap: 50, Headspace: d.pack.Headspace - 2.4, PerLength: 0.24}
		same("fill height", neck.Filled(60, capacity))
		// With gas: true masses of beer and gas, the empty package full of air.
		gas := quantity.Density(rapid.Float64Range(1, 12).Draw(t, "gas"))
		grams := (float64(beer-air)*float64(d.pack.Beer) + float64(gas-air)*float64(d.pack.Headspace)) / 1000
		weight := quantity.Mass(grams / (1 - float64(air)/8000))
		same("weighed with gas", oxygen.WeighedWithGas(weight, beer, air, gas, capacity))
		a, b := oxygen.Weighed(weight, beer, air, capacity), oxygen.WeighedWithGas(weight, beer, air, air, capacity)
		if !near(float64(a.Beer), float64(b.Beer), 1e-12) {
			t.Errorf("gas as heavy as air changes %v to %v", a, b)
		}
	})
}

// A weight in air: the mass whose buoyancy and that of the weights balance.
func TestWeightsInAir(t *testing.T) {
	const mass, rho, air = 355.0, 1009.0, 1.2
	shown := mass * (1 - air/rho) / (1 - air/8000.0)
	if got := oxygen.MassFromWeight(quantity.Mass(shown), rho, air); !near(float64(got), mass, 1e-14) {
		t.Errorf("got %v g", float64(got))
	}
	if got := oxygen.VolumeFromWeight(quantity.Mass(shown), rho, air); !near(float64(got), mass/rho*1000, 1e-14) {
		t.Errorf("got %v mL", float64(got))
	}
}

func TestAssumedFillBias(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		capacity := d.pack.Beer + d.pack.Headspace
		fill := capacity * quantity.Volume(rapid.Float64Range(0.8, 0.999).Draw(t, "fill"))
		bias := d.pack.AssumedFillBias(fill, d.do, d.beta, d.k)
		want := float64(d.do) * d.k * float64(capacity) * (1/float64(fill) - 1/float64(d.pack.Beer))
		if math.Abs(float64(bias)-want) > 1e-9*float64(d.do) {
			t.Errorf("bias %v, want %v", float64(bias), want)
		}
		if (fill > d.pack.Beer) != (bias < 0) && fill != d.pack.Beer {
			t.Errorf("an assumed fill of %v above a true %v gives a bias of %v", fill, d.pack.Beer, bias)
		}
	})
}

func TestCapacityAt(t *testing.T) {
	// 500 mL, 10 K warmer at 7e-5 per kelvin, 2 bar at 0.4 mL per bar: 0.35 + 0.8.
	if got := oxygen.CapacityAt(500, 10, 7e-5, 200, 0.4); !near(float64(got), 501.15, 1e-14) {
		t.Errorf("got %v", float64(got))
	}
	if got := oxygen.CapacityAt(500, 0, 7e-5, 0, 0.4); got != 500 {
		t.Errorf("unchanged conditions give %v", float64(got))
	}
}

// Balling's relations against their inverse: original extract found back.
func TestBallingCloses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		oe := rapid.Float64Range(6, 25).Draw(t, "original")
		ae := rapid.Float64Range(-1, oe-1).Draw(t, "apparent")
		a := oxygen.Balling(quantity.Extract(oe), quantity.Extract(ae))
		if !near(float64(a.OriginalRecovered), oe, 1e-3) {
			t.Errorf("original %v °P came back as %v", oe, float64(a.OriginalRecovered))
		}
		re, abw := oxygen.FinishedBeer(quantity.Gravity(quantity.Extract(ae)), a.AlcoholByVolume)
		if math.Abs(float64(re-a.RealExtract)) > 0.02 || math.Abs(float64(abw-a.AlcoholByMass)) > 1e-9 {
			t.Errorf("%v, %v °P: finished beer gives %v °P and %v, Balling %v and %v", oe, ae, float64(re), float64(abw), float64(a.RealExtract), float64(a.AlcoholByMass))
		}
	})
}
