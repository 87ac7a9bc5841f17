package oxygen

import (
	"encoding/json"
	"math"
	"testing"

	"ullage/core/quantity"
	"ullage/scripts/reference"
)

// TestReferenceLibraries compares live with independent libraries and with a
// second implementation of the formulae.
func TestReferenceLibraries(t *testing.T) {
	t.Run("gsw", compareGSW)
	t.Run("iapws", compareIAPWS)
	t.Run("formulae", compareFormulae)
}

func compareGSW(t *testing.T) {
	var ref struct {
		GSW    string
		Points []struct {
			Temperature quantity.Temperature `json:"temperature_c"`
			DO          float64              `json:"do_mg_l"`
		}
	}
	fetch(t, "oxygen_gsw.py", "gsw", &ref)
	if len(ref.Points) != 41 {
		t.Fatalf("%d points", len(ref.Points))
	}
	for _, p := range ref.Points {
		near(t, "air saturation", float64(p.Temperature), float64(AirSaturation(p.Temperature))/1000, p.DO, 5e-4)
		near(t, "air saturation, Garcia and Gordon", float64(p.Temperature), float64(AirSaturationGarciaGordon(p.Temperature))/1000, p.DO, 5e-4)
	}
}

func compareIAPWS(t *testing.T) {
	var ref struct {
		Points []struct {
			Temperature quantity.Temperature `json:"temperature_c"`
			Density     float64              `json:"density_kg_m3"`
			Saturation  float64              `json:"saturation_kpa"`
		}
	}
	fetch(t, "water_iapws.py", "iapws", &ref)
	if len(ref.Points) < 9 {
		t.Fatalf("%d points", len(ref.Points))
	}
	for _, p := range ref.Points {
		at := float64(p.Temperature)
		near(t, "density of water", at, float64(WaterDensity(p.Temperature)), p.Density, 3.5e-6)
		near(t, "density of water, Kell", at, float64(WaterDensityKell(p.Temperature)), p.Density, 4e-6)
		near(t, "saturation pressure", at, float64(SaturationPressure(p.Temperature)), p.Saturation, 3e-4)
		near(t, "vapour pressure, short form", at, float64(VapourPressure(p.Temperature)), p.Saturation, 1.3e-3)
	}
}

// compareFormulae holds the core to the second implementation, within the
// rounding of floating point.
func compareFormulae(t *testing.T) {
	var ref map[string][][]float64
	fetch(t, "formulae.py", "json", &ref)
	for name, of := range map[string]func(x []float64) float64{
		"air_saturation_mg_l": func(x []float64) float64 { return float64(AirSaturation(quantity.Temperature(x[0]))) / 1000 },
		"air_saturation_at_mg_l": func(x []float64) float64 {
			return float64(AirSaturationAt(quantity.Temperature(x[0]), quantity.Pressure(x[1]))) / 1000
		},
		"partition": func(x []float64) float64 { return PartitionRatio(quantity.Temperature(x[0])) },
		"partition_iupac": func(x []float64) float64 {
			return PartitionFromHenry(quantity.Temperature(x[0]), HenryIUPAC(quantity.Temperature(x[0])))
		},
		"water_kg_m3":    func(x []float64) float64 { return float64(WaterDensity(quantity.Temperature(x[0]))) },
		"saturation_kpa": func(x []float64) float64 { return float64(SaturationPressure(quantity.Temperature(x[0]))) },
		"air_kg_m3": func(x []float64) float64 {
			return float64(AirDensity(quantity.Temperature(x[0]), quantity.Pressure(x[1]), quantity.Fraction(x[2])))
		},
		"co2_g_l": func(x []float64) float64 {
			return CO2Concentration(quantity.Temperature(x[0]), quantity.Pressure(x[1]))
		},
		"co2_water_g_l": func(x []float64) float64 { return CO2InWater(quantity.Temperature(x[0]), quantity.Pressure(x[1])) },
		"co2_rise_kg_m3": func(x []float64) float64 {
			return float64(CO2DensityRise(quantity.Temperature(x[0]), quantity.Carbonation(x[1]/quantity.CO2GramsPerVolume), 1008))
		},
		"pressure_factor": func(x []float64) float64 { return PressureFactor(quantity.Temperature(x[0]), quantity.Pressure(x[1])) },
		"sucrose_kg_m3": func(x []float64) float64 {
			return float64(SucroseDensity(quantity.Fraction(x[0]), quantity.Temperature(x[1])))
		},
		"plato":               func(x []float64) float64 { return float64(quantity.Plato(quantity.SpecificGravity(x[0]))) },
		"real_extract":        func(x []float64) float64 { return float64(balling(x).RealExtract) },
		"alcohol_by_mass_pct": func(x []float64) float64 { return 100 * float64(balling(x).AlcoholByMass) },
		"garcia_gordon_mg_l": func(x []float64) float64 {
			return float64(AirSaturationGarciaGordon(quantity.Temperature(x[0]))) / 1000
		},
		"co2_gas_kg_m3": func(x []float64) float64 {
			return float64(CO2GasDensity(quantity.Temperature(x[0]), quantity.Pressure(x[1])))
		},
	} {
		if len(ref[name]) == 0 {
			t.Errorf("the script has no table %s", name)
		}
		for _, row := range ref[name] {
			last := len(row) - 1
			near(t, name, row[0], of(row[:last]), row[last], 1e-11)
		}
		delete(ref, name)
	}
	for name := range ref {
		t.Errorf("nothing here compares the script's table %s", name)
	}
}

func balling(x []float64) Attenuation {
	return Balling(quantity.Extract(x[0]), quantity.Extract(x[1]))
}

// TestPureEthanol is the one check value of OIML R 22 that no beer reaches.
func TestPureEthanol(t *testing.T) {
	near(t, "density of ethanol", 20, float64(EthanolDensity(1, 20)), 789.2391, 2e-7)
}

func fetch(t *testing.T, script, module string, into any) {
	t.Helper()
	if err := json.Unmarshal(reference.Run(t, script, module, nil), into); err != nil {
		t.Fatal(err)
	}
}

func near(t *testing.T, what string, at, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s at %g: %.9g, reference %.9g, off by %.2g of it", what, at, got, want, got/want-1)
	}
}
