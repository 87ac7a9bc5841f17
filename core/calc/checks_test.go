package calc

import (
	"encoding/json"
	"maps"
	"math"
	"testing"

	"ullage/checks"
	"ullage/core/uncertainty"
	"ullage/scripts/reference"
)

// TestChecks runs every case of checks/ that this table answers.
func TestChecks(t *testing.T) {
	files, err := checks.Load()
	if err != nil {
		t.Fatal(err)
	}
	checked := map[string]bool{}
	for _, f := range files {
		for i := range f.Cases {
			c := &f.Cases[i]
			checked[c.Calc] = true
			t.Run(c.ID, func(t *testing.T) {
				answer, err := Run(c.Calc, c.Input)
				if err != nil {
					t.Fatal(err)
				}
				findings, err := c.Compare(answer)
				if err != nil {
					t.Fatal(err)
				}
				for _, got := range findings {
					if got.Got == nil {
						t.Errorf("%s: %s has no such output", got.Output, c.Calc)
					} else if !got.OK {
						t.Errorf("%s = %v, want %v ± %.3g (%s)", got.Output, got.Got, got.Want, got.Allowed, f.SourceOf(c))
					}
				}
			})
		}
	}
	for _, c := range List() {
		if !checked[c.Name] {
			t.Errorf("no case checks %s", c.Name)
		}
	}
}

// packages are a can, a bottle and a keg, and the other ways to a capacity and a
// headspace, with every effect of their path, in ppb, g, mL, K, kg/m³ or as a share.
var packages = []struct {
	name        string
	input       map[string]any
	correlation float64 // of the lot's tare and capacity
	u           map[string]float64
}{
	{"can", map[string]any{"package": "can", "temperature_c": 4.0, "shaken_do_ppb": 48.0, "gross_g": 372.4, "tare_g": 13.4, "capacity_ml": 373.5, "sg": 1.0105}, 0,
		map[string]float64{"meter": 1, "shaking": 0.48, "temperature": 0.2, "scale_gross": 0.05, "scale_adjustment": 1e-4, "tare": 0.12, "capacity": 0.7, "gravity": 2e-4,
			"partition": 0.002, "pressure": 0.008, "beer": 0.0375, "co2": 0.52, "gas": 2.5, "expansion": 2.8e-4}},
	{"bottle", map[string]any{"package": "bottle", "temperature_c": 20.0, "shaken_do_ppb": 24.0, "gross_g": 536.8, "tare_g": 204.2, "capacity_ml": 346.0, "sg": 1.008}, -0.6,
		map[string]float64{"meter": 1, "shaking": 0.24, "temperature": 0.2, "scale_gross": 0.05, "scale_adjustment": 1e-4, "tare": 3, "capacity": 1.4, "gravity": 2e-4,
			"partition": 0.002, "pressure": 0.008, "beer": 0.0375, "co2": 0.52, "gas": 2.5, "expansion": 0}},
	{"keg", map[string]any{"package": "keg", "temperature_c": 3.0, "shaken_do_ppb": 30.0, "gross_g": 40240.0, "tare_g": 9900.0, "tare_source": "own", "capacity_ml": 30600.0, "sg": 1.009}, 0,
		map[string]float64{"meter": 1, "shaking": 0.3, "temperature": 0.5, "scale_gross": 5, "scale_tare": 5, "scale_adjustment": 1e-4, "capacity": 50, "gravity": 2e-4,
			"partition": 0.002, "pressure": 0.008, "beer": 0.0375, "co2": 0.52, "gas": 2.5, "expansion": 3e-4}},
	{"can with its capacity by water", map[string]any{"package": "can", "temperature_c": 12.0, "shaken_do_ppb": 60.0, "gross_g": 372.4, "tare_g": 13.4, "tare_source": "own", "capacity_water_g": 372.6, "water_temperature_c": 18.5, "capacity_source": "own", "sg": 1.0105}, 0,
		map[string]float64{"meter": 1.2, "shaking": 0.6, "temperature": 0.2, "scale_gross": 0.05, "scale_tare": 0.05, "scale_adjustment": 5e-4, "capacity": 0.2, "gravity": 2e-4,
			"partition": 0.002, "pressure": 0.008, "beer": 0.0375, "co2": 0.52, "gas": 2.5, "expansion": 1e-4}},
	{"can with its capacity from a drawing", map[string]any{"package": "can", "temperature_c": 4.0, "shaken_do_ppb": 60.0, "gross_g": 372.4, "tare_g": 13.4, "capacity_ml": 373.5, "capacity_source": "drawing", "sg": 1.0105}, 0,
		map[string]float64{"meter": 1.2, "shaking": 0.6, "temperature": 0.2, "scale_gross": 0.05, "scale_adjustment": 1e-4, "tare": 0.12, "capacity": 1.1, "gravity": 2e-4, "air": 0.05,
			"partition": 0.002, "pressure": 0.008, "beer": 0.0375, "co2": 0.52, "gas": 2.5, "expansion": 2.8e-4}},
	{"bottle by fill height", map[string]any{"package": "bottle", "temperature_c": 20.0, "shaken_do_ppb": 24.0, "capacity_ml": 346.0, "gap_mm": 55.0, "neck_gap_mm": 55.0, "neck_headspace_ml": 15.6, "neck_ml_per_mm": 0.24}, 0,
		map[string]float64{"meter": 1, "shaking": 0.24, "temperature": 0.2, "neck": 0.3, "capacity": 1.4, "partition": 0.002, "pressure": 0.008, "beer": 0.0375}},
}

func tpoOf(t *testing.T, i int, more map[string]any) TPOResult {
	t.Helper()
	input := map[string]any{"u": packages[i].u}
	maps.Copy(input, packages[i].input)
	maps.Copy(input, more)
	text, err := json.Marshal(input)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := Do("tpo", text)
	if err != nil {
		t.Fatal(err)
	}
	return answer.Result.(TPOResult)
}

// TestUncertaintiesLibrary compares first order with exact derivatives of an
// independent library, part by part.
func TestUncertaintiesLibrary(t *testing.T) {
	var list []map[string]any
	for _, p := range packages {
		one := map[string]any{"air_density_kg_m3": 1.2, "correlation": p.correlation, "u": p.u}
		maps.Copy(one, p.input)
		list = append(list, one)
	}
	text, err := json.Marshal(list)
	if err != nil {
		t.Fatal(err)
	}
	var ref struct {
		Packages []struct {
			TPO   float64 `json:"tpo_ppb"`
			U     float64 `json:"tpo_u_ppb"`
			Parts map[string]float64
		}
	}
	if err := json.Unmarshal(reference.Run(t, "tpo_uncertainties.py", "uncertainties", text), &ref); err != nil {
		t.Fatal(err)
	}
	for i, p := range packages {
		r, want := tpoOf(t, i, nil), ref.Packages[i]
		t.Logf("%s: %.4f ± %.4f ppb, library %.4f ± %.4f", p.name, r.TPO, r.U, want.TPO, want.U)
		if math.Abs(r.TPO/want.TPO-1) > 1e-11 || math.Abs(r.U/want.U-1) > 1e-5 {
			t.Errorf("%s: TPO %.12g ± %.8g ppb, library %.12g ± %.8g", p.name, r.TPO, r.U, want.TPO, want.U)
		}
		for _, part := range r.Budget {
			if math.Abs(math.Abs(part.U)-want.Parts[part.Key]) > 1e-5*want.U {
				t.Errorf("%s: %s brings %.6g ppb, library %.6g", p.name, part.Key, part.U, want.Parts[part.Key])
			}
			delete(want.Parts, part.Key)
		}
		for key, u := range want.Parts {
			if u > 1e-9 {
				t.Errorf("%s: %s is not in the budget, library %.6g", p.name, key, u)
			}
		}
	}
}

// TestFirstOrderAgainstMonteCarlo applies JCGM 101, 8.1: both ends of the 95 %
// intervals agree within half a unit of the first digit of u.
func TestFirstOrderAgainstMonteCarlo(t *testing.T) {
	for i, p := range packages {
		first, mc := tpoOf(t, i, nil), tpoOf(t, i, map[string]any{"uncertainty": "monte-carlo", "trials": 1_000_000})
		delta := uncertainty.Tolerance(mc.U, 1)
		low, high := math.Abs(first.Low95-mc.Low95), math.Abs(first.High95-mc.High95)
		t.Logf("%s: u %.4f and %.4f; 95 %% %.2f–%.2f and %.2f–%.2f; δ %.2g", p.name, first.U, mc.U, first.Low95, first.High95, mc.Low95, mc.High95, delta)
		if low > delta || high > delta {
			t.Errorf("%s: the ends differ by %.3g and %.3g, more than %.2g", p.name, low, high, delta)
		}
		if math.Abs(first.U/mc.U-1) > 0.01 {
			t.Errorf("%s: u %.5g by first order, %.5g by Monte Carlo", p.name, first.U, mc.U)
		}
	}
}
