package calc_test

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ullage/core/calc"
	"ullage/core/quantity"
	"ullage/core/uncertainty"
)

// tpo runs one package and gives the typed result.
func tpo(t testing.TB, in object) calc.TPOResult {
	t.Helper()
	out, err := calc.Do("tpo", encode(t, in))
	if err != nil {
		t.Fatalf("%v: %v", in, err)
	}
	return out.Result.(calc.TPOResult)
}

// The oxygen of liquid and gas adds up, and every figure follows from the volumes.
func TestTPOHangsTogether(t *testing.T) {
	for _, in := range []object{examples["tpo"], bottle, with(bottle, object{"abv_pct": 5, "co2_vol": 2.5, "corrections": []string{"co2", "pressure", "expansion", "beer"}})} {
		r := tpo(t, in)
		do := in["shaken_do_ppb"].(int)
		for what, pair := range map[string][2]float64{
			"oxygen":   {r.Liquid + r.Gas, r.Oxygen},
			"TPO":      {r.Oxygen / r.Beer * 1000, r.TPO},
			"share":    {r.Gas / r.Oxygen, r.HeadspaceShare},
			"ratio":    {r.TPO / float64(do), r.TotalToDissolved},
			"capacity": {r.Beer + r.Headspace, r.Capacity},
			"air":      {r.Air * 278.62964, r.Oxygen}, // µg in a mL of dry air at 20 °C: 0.20946 · 101325 · 31.9988 / (8.314463 · 293.15)
			"interval": {(r.High95 - r.Low95) / 2, r.Coverage * r.U},
		} {
			if !near(pair[0], pair[1], 1e-6) {
				t.Errorf("%s: %v and %v", what, pair[0], pair[1])
			}
		}
		if r.Method != calc.MethodVersion {
			t.Error(r.Method)
		}
	}
}

// The can of method.md's chain by hand: ρ_b = 1.0105 × 999.9749 (4 °C, Tanaka),
// V_b = 359 × 1000 × (1 − 1.2/8000) / (ρ_b − 1.2), K(4 °C) = 22.282.
func TestTPOByHand(t *testing.T) {
	r := tpo(t, examples["tpo"])
	beer := 359 * 1000 * (1 - 1.2/8000) / (1.0105*999.9749 - 1.2)
	want := 48 * (1 + 22.282*(373.5-beer)/beer)
	if math.Abs(r.Beer-beer) > 1e-3 || math.Abs(r.TPO-want) > 0.01 {
		t.Errorf("V_b %v, want %v; TPO %v, want %v", r.Beer, beer, r.TPO, want)
	}
}

func TestTPOIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		base := object{
			"temperature_c": rapid.Float64Range(0, 30).Draw(t, "t"), "gross_g": rapid.Float64Range(365, 372).Draw(t, "gross"), "tare_g": 13.4,
			"capacity_ml": rapid.Float64Range(371, 376).Draw(t, "capacity"), "sg": rapid.Float64Range(1.005, 1.02).Draw(t, "sg"),
			"shaken_do_ppb": rapid.Float64Range(5, 400).Draw(t, "do"), "uncertainty": "none",
		}
		value := func(in object) float64 {
			out, err := calc.Do("tpo", encodeRapid(t, in))
			if err != nil {
				t.Fatal(err)
			}
			return out.Result.(calc.TPOResult).TPO
		}
		was := value(base)
		for field, step := range map[string]float64{"temperature_c": 0.1, "gross_g": -0.1, "tare_g": 0.1, "capacity_ml": 0.1, "sg": 0.0005, "shaken_do_ppb": 0.1} {
			if now := value(with(base, object{field: base[field].(float64) + step})); now <= was {
				t.Errorf("%s by %v: TPO from %v to %v", field, step, was, now)
			}
		}
	})
}

func TestPathChoice(t *testing.T) {
	height := object{"path": nil}
	own := object{"tare_source": "own", "capacity_source": "own"}
	for _, c := range []struct {
		in           object
		path, reason string
		open         int
	}{
		{with(bottle, height), "fill_height", "the smallest uncertainty of the ways", 3},
		{with(bottle, object{"gap_mm": nil}), "weighed", "the smallest uncertainty of the measured ways|cannot see a low fill|the smallest uncertainty of the ways", 2},
		{with(bottle, object{"path": "weighed"}), "weighed", "asked for", 3},
		{with(bottle, object{"path": "assumed"}), "assumed", "asked for", 3},
		{with(examples["tpo"], object{"path": "auto"}), "weighed", "the smallest uncertainty of the ways", 2},
		{with(examples["tpo"], object{"nominal_ml": nil}), "weighed", "the only way", 1},
		{with(examples["tpo"], object{"gross_g": nil, "tare_g": nil}), "assumed", "the only way", 1},
		{with(bottle, own), "", "the smallest uncertainty of the", 3},
		// An assumed fill with a tiny spread is still not taken over a weighing.
		{with(examples["tpo"], object{"fill_sd_ml": 0.01}), "weighed", "cannot see a low fill", 2},
	} {
		r := tpo(t, c.in)
		if c.path != "" && r.Path != c.path || !regexp.MustCompile(c.reason).MatchString(r.PathReason) || len(r.Paths) != c.open {
			t.Errorf("%v: %s because %q of %d; want %s because %q of %d", c.in, r.Path, r.PathReason, len(r.Paths), c.path, c.reason, c.open)
		}
		best := math.Inf(1)
		for _, p := range r.Paths {
			alone := tpo(t, with(c.in, object{"path": p.Path}))
			if !near(p.TPO, alone.TPO, 1e-12) || !near(p.U, alone.U, 1e-9) || !near(p.Headspace, alone.Headspace, 1e-12) {
				t.Errorf("path %s: %+v, asked for alone %v ± %v", p.Path, p, alone.TPO, alone.U)
			}
			if p.Path != calc.PathAssumed {
				best = min(best, p.U)
			}
			if p.Used != (p.Path == r.Path) {
				t.Errorf("%s is marked wrongly", p.Path)
			}
		}
		if c.in["path"] == nil && len(r.Paths) == 3 && r.U > best*(1+1e-9) {
			t.Errorf("%v: took %v where %v was open", c.in, r.U, best)
		}
	}
}

// Each correction by itself changes the figure by what it says, in the
// direction that physics gives it.
func TestCorrections(t *testing.T) {
	base := with(examples["tpo"], object{"co2_vol": 2.5, "abv_pct": 5})
	plain := tpo(t, base)
	all := tpo(t, with(base, object{"corrections": []string{"co2", "pressure", "expansion", "beer"}}))
	if len(all.Corrections) != 4 || len(plain.Corrections) != 0 {
		t.Fatalf("%v, %v", all.Corrections, plain.Corrections)
	}
	sum := 0.0
	for _, c := range all.Corrections {
		alone := tpo(t, with(base, object{"corrections": []string{c.Name}}))
		if math.Abs(alone.TPO-plain.TPO-c.Change) > 1e-9 {
			t.Errorf("%s: says %v, changes %v", c.Name, c.Change, alone.TPO-plain.TPO)
		}
		sum += c.Change
		// CO2 makes the beer denser, so smaller, but the gas weighs too; it raises
		// K; beer dissolves less oxygen than water and shrinks more when cold.
		bound := map[string][2]float64{"co2": {0.003, 0.013}, "pressure": {0.003, 0.01}, "expansion": {0, 0.015}, "beer": {-0.04, -0.01}}[c.Name]
		if share := c.Change / plain.TPO; share < bound[0] || share > bound[1] {
			t.Errorf("%s changes TPO by %.2f %%, expected %v", c.Name, 100*share, bound)
		}
		if c.Name == "beer" && (alone.BeerCorrected == nil || plain.BeerCorrected == nil || !near(*plain.BeerCorrected, alone.TPO, 1e-12)) {
			t.Errorf("beer-corrected %v, with the correction %v", plain.BeerCorrected, alone.TPO)
		}
	}
	if math.Abs(all.TPO-plain.TPO-sum) > 0.1*math.Abs(sum)+0.05 {
		t.Errorf("together %v, in sum %v", all.TPO-plain.TPO, sum)
	}
	// A correction narrows what it corrects.
	for key, name := range map[string]string{"beer": "beer", "pressure": "pressure", "co2": "co2", "expansion": "expansion"} {
		with1 := tpo(t, with(base, object{"corrections": []string{name}}))
		if a, b := part(with1, key), part(plain, key); math.Abs(a) >= math.Abs(b) {
			t.Errorf("%s: part %v with the correction, %v without", key, a, b)
		}
	}
}

func part(r calc.TPOResult, key string) float64 {
	for _, c := range r.Budget {
		if c.Key == key {
			return c.U
		}
	}
	return 0
}

// effects are the names that "u" takes, as the refusal lists them.
func effects(t *testing.T) []string {
	e := refused(t, "tpo", encode(t, with(examples["tpo"], object{"u": object{"none": 1}})))
	list := strings.Split(strings.TrimPrefix(e.Mend, "known are "), ", ")
	if len(list) < 15 {
		t.Fatal(list)
	}
	return list
}

// Every effect can be set, alone carries the whole uncertainty, and does so in
// proportion.
func TestUncertaintyByEffect(t *testing.T) {
	zero := object{}
	for _, key := range effects(t) {
		zero[key] = 0
	}
	for _, key := range effects(t) {
		used := false
		for _, base := range []object{
			with(bottle, object{"path": "weighed", "tare_source": "own", "capacity_source": "drawing"}), with(bottle, object{"path": "weighed"}),
			with(bottle, object{"path": "fill_height"}), with(bottle, object{"path": "assumed"}),
		} {
			one := tpo(t, with(base, object{"u": with(zero, object{key: 1e-4})}))
			two := tpo(t, with(base, object{"u": with(zero, object{key: 2e-4})}))
			if one.U == 0 {
				continue
			}
			used = true
			if len(one.Budget) != 1 || one.Budget[0].Key != key || !near(one.Budget[0].Share, 1, 1e-6) || !near(two.U, 2*one.U, 1e-3) {
				t.Errorf("%s: %+v, twice %v", key, one.Budget, two.U)
			}
			if key == "meter" && !near(one.U, 1e-4*one.TotalToDissolved, 1e-6) {
				t.Errorf("meter: u %v, want %v", one.U, 1e-4*one.TotalToDissolved)
			}
		}
		if !used {
			t.Errorf("%s has no effect on any path", key)
		}
	}
	if r := tpo(t, with(bottle, object{"u": zero})); r.U != 0 || !near(r.Low95, r.TPO, 1e-12) || len(r.Budget) != 0 {
		t.Errorf("nothing unknown: ± %v, %v", r.U, r.Budget)
	}
}

// Own and lot tare and capacity, and the size of a study.
func TestSources(t *testing.T) {
	can := examples["tpo"]
	lot, ownTare, ownBoth := tpo(t, can), tpo(t, with(can, object{"tare_source": "own"})), tpo(t, with(can, object{"tare_source": "own", "capacity_source": "own"}))
	if !(lot.U > ownTare.U && ownTare.U > ownBoth.U) {
		t.Errorf("u falls not from lot to own: %v, %v, %v", lot.U, ownTare.U, ownBoth.U)
	}
	if lot.TPO != ownBoth.TPO {
		t.Error("the source changes the figure")
	}
	known := tpo(t, with(can, object{"tare_sd_g": 0.12, "capacity_sd_ml": 0.7}))
	study := tpo(t, with(can, object{"tare_sd_g": 0.12, "tare_n": 10, "capacity_sd_ml": 0.7, "capacity_n": 5}))
	if !near(part(study, "capacity"), part(known, "capacity")*math.Sqrt(1.2), 1e-6) || !near(part(study, "tare"), part(known, "tare")*math.Sqrt(1.1), 1e-6) {
		t.Errorf("studies of 5 and 10: %v, %v; known spreads: %v, %v", part(study, "capacity"), part(study, "tare"), part(known, "capacity"), part(known, "tare"))
	}
	if known.DoF != 0 || known.Coverage != 1.959963984540054 || study.DoF < 4 || study.Coverage <= 1.96 {
		t.Errorf("degrees of freedom %v, k %v; known %v, %v", study.DoF, study.Coverage, known.DoF, known.Coverage)
	}
	if !near(part(known, "capacity")/0.7, part(tpo(t, with(can, object{"capacity_sd_ml": 1.4})), "capacity")/1.4, 1e-3) {
		t.Error("capacity_sd_ml is not followed")
	}
	// Heavy glass holds less: both lot values together are worse than their
	// spreads alone would be.
	glass := with(bottle, object{"path": "weighed"})
	if together, own := tpo(t, glass), tpo(t, with(glass, object{"capacity_source": "own", "u": object{"capacity": 1.384}})); together.U >= own.U {
		t.Errorf("lot tare and lot capacity %v, uncorrelated %v", together.U, own.U)
	}
	keg := object{"temperature_c": 4, "gross_g": 40200, "tare_g": 9900, "capacity_ml": 30600, "sg": 1.0105, "shaken_do_ppb": 48}
	if r := tpo(t, keg); math.Abs(part(r, "scale_gross")/part(r, "gravity")) < 0.5 {
		t.Errorf("a keg is weighed as finely as a can: %v", r.Budget)
	}
}

func TestLimitSplitAndBias(t *testing.T) {
	in := with(examples["tpo"], object{"limit_ppb": 105, "unshaken_do_ppb": 35, "inlet_do_ppb": 22})
	r := tpo(t, in)
	if at := tpo(t, with(in, object{"shaken_do_ppb": r.Limit.ShakenDO})); !near(at.TPO, 105, 1e-12) {
		t.Errorf("at the reading of the limit TPO is %v", at.TPO)
	}
	if want := uncertainty.Above(r.TPO, r.U, r.DoF, 105); r.Limit.ProbabilityAbove != want || want < 0.05 || want > 0.5 {
		t.Errorf("probability above %v, want %v", r.Limit.ProbabilityAbove, want)
	}
	if got := *r.Split.Inlet + *r.Split.LiquidPickup + r.Split.Headspace; !near(got, r.TPO, 1e-12) || *r.Split.LiquidPickup != 13 {
		t.Errorf("the split adds up to %v of %v: %+v", got, r.TPO, r.Split)
	}
	if assumed := tpo(t, with(in, object{"path": "assumed"})); !near(*r.FillBias, assumed.TPO-r.TPO, 1e-9) {
		t.Errorf("bias of the nominal fill %v, want %v", *r.FillBias, assumed.TPO-r.TPO)
	}
	if bare := tpo(t, with(examples["tpo"], object{"nominal_ml": nil})); bare.Limit != nil || bare.Split != nil || bare.FillBias != nil || bare.BeerCorrected != nil {
		t.Errorf("%+v", bare)
	}
}

func TestUncertaintyMethods(t *testing.T) {
	gum, none := tpo(t, examples["tpo"]), tpo(t, with(examples["tpo"], object{"uncertainty": "none"}))
	if none.U != 0 || none.Budget != nil || none.Next != nil || none.TPO != gum.TPO {
		t.Errorf("none: %+v", none)
	}
	in := with(examples["tpo"], object{"uncertainty": "monte-carlo"})
	a, b := tpo(t, in), tpo(t, in)
	if a.U != b.U || a.Low95 != b.Low95 || a.Trials == 0 || !near(a.U, gum.U, 0.02) || math.Abs(a.High95-gum.High95) > 0.2 {
		t.Errorf("Monte Carlo %v ± %v to %v, again %v; first order ± %v to %v", a.TPO, a.U, a.High95, b.U, gum.U, gum.High95)
	}
	if a.TPO != gum.TPO {
		t.Error("the method of uncertainty changes the figure")
	}
	if fixed := tpo(t, with(in, object{"trials": 30_000})); fixed.Trials != 30_000 {
		t.Errorf("%d trials", fixed.Trials)
	}
}

// An evaluator used for many packages gives what a new one gives for each.
func TestEvaluatorKeepsNothing(t *testing.T) {
	var kept calc.Evaluator
	for i := range 40 {
		in := can()
		*in.Temperature = quantity.Temperature(2 + i%5)
		if i%3 == 0 {
			in.Gross, in.Tare = nil, nil
		}
		if i%4 == 0 {
			in.CapacityWater, in.Capacity = ptr(quantity.Mass(372.4)), nil
		}
		if i%7 == 3 {
			in.CO2, in.Corrections = ptr(quantity.Carbonation(2.5)), []string{"co2", "pressure"}
		}
		var fresh calc.Evaluator
		var a, b calc.TPOResult
		wa, ea := kept.Evaluate(in, &a, nil)
		wb, eb := fresh.Evaluate(in, &b, nil)
		if ea != nil || eb != nil || !slices.Equal(wa, wb) || !near(a.TPO, b.TPO, 1e-14) || !near(a.U, b.U, 1e-12) || a.Path != b.Path {
			t.Fatalf("package %d: %+v, %v; fresh %+v, %v", i, a, ea, b, eb)
		}
		*in.ShakenDO = -1
		if _, err := kept.Evaluate(in, &a, nil); err == nil {
			t.Fatal("a reading below zero passes")
		}
	}
}
