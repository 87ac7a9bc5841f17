package calc

import (
	"fmt"
	"math"

	"ullage/core/oxygen"
	"ullage/core/quantity"
)

// explain is the derivation of a figure, line by line, with the numbers.
func explain(in *TPOInput, e *Evaluator, out *TPOResult) []Step {
	var s state
	e.model.at(&e.x, &s)
	steps := explainPartition(in, e, &s)
	steps = append(steps, explainVolumes(in, e, &s)...)
	x := &e.x
	steps = append(steps,
		Step{"18", "TPO", "C (β + K V_h / V_b)",
			fmt.Sprintf("%s × (%s + %.4f × %.4f / %.4f)", num(x[xDO]), num(x[xBeta]), s.k, s.pack.Headspace, s.pack.Beer),
			out.TPO, "ppb", "Henry's law and mass balance"},
		Step{"19", "m", "TPO V_b", fmt.Sprintf("%.4f × %.4f / 1000", out.TPO, s.pack.Beer), out.Oxygen, "µg", "mass balance"},
		Step{"19", "share", "K V_h / (β V_b + K V_h)",
			fmt.Sprintf("%.4f × %.4f / (%s × %.4f + %.4f × %.4f)", s.k, s.pack.Headspace, num(x[xBeta]), s.pack.Beer, s.k, s.pack.Headspace),
			out.HeadspaceShare, "", "mass balance"})
	if out.U > 0 && out.Trials == 0 {
		steps = append(steps, Step{"33", "u", "√ Σ (∂TPO/∂effect · u_effect)²", sumOfParts(out), out.U, "ppb", "JCGM 100:2008"})
	}
	if out.Trials > 0 {
		steps = append(steps, Step{"35", "u", "standard deviation of the trials", fmt.Sprintf("%d trials, seed 1", out.Trials), out.U, "ppb", "JCGM 101:2008"})
	}
	return steps
}

func explainPartition(in *TPOInput, e *Evaluator, s *state) []Step {
	t := *in.Temperature
	kelvins := float64(t) + 273.15
	c, u := float64(oxygen.AirSaturation(t))/1000, float64(oxygen.VapourPressure(t))/oxygen.Atmosphere
	theta := oxygen.RealGasTerm(t)
	steps := []Step{
		{"1", "C*", "exp(−139.34411 + 1.575701e5/T − 6.642308e7/T² + 1.243800e10/T³ − 8.621949e11/T⁴)", fmt.Sprintf("T = %.2f K", kelvins), c, "mg/L", "Benson & Krause 1984, eq. 32"},
		{"2", "P_wv", "exp(11.8571 − 3840.70/T − 216961/T²)", fmt.Sprintf("T = %.2f K", kelvins), u, "atm", "USGS OWQ memo 2011.03"},
		{"3", "θ", "0.000975 − 1.426e-5 t + 6.436e-8 t²", fmt.Sprintf("t = %s °C", num(float64(t))), theta, "1/atm", "USGS OWQ memo 2011.03"},
		{"6", "K", "0.20946 (1 − P_wv)(1 − θ) · 101325 · 31.9988 / (R T C*)",
			fmt.Sprintf("0.20946 × (1 − %.6f) × (1 − %.6f) × 101325 × 31.9988 / (8.314463 × %.2f × %.5f)", u, theta, kelvins, c), e.model.k, "", "from eq. 1–3"},
	}
	if e.x[xPartition] != 1 {
		steps = append(steps, Step{"26", "K(P)", "K × fugacity, compressibility and Poynting factor", fmt.Sprintf("%.4f × %.5f", e.model.k, e.x[xPartition]), s.k, "", "Weiss 1974 for CO2; cross term from memory"})
	}
	return steps
}

func explainVolumes(in *TPOInput, e *Evaluator, s *state) []Step {
	x := &e.x
	var steps []Step
	if e.model.byWater {
		steps = append(steps, Step{"14", "V_c", "W_w (1 − ρ_a/8000) / (ρ_w(t_w) − ρ_a)",
			fmt.Sprintf("%s × 1000 × (1 − %s/8000) / (%.4f − %s)", num(x[xCapacity]), num(x[xAir]), float64(oxygen.WaterDensity(quantity.Temperature(x[xWaterT]))), num(x[xAir])),
			s.capacity, "mL", "OIML D 28; Tanaka et al. 2001"})
	}
	switch e.model.path {
	case weighed:
		water := float64(oxygen.WaterDensity(*in.Temperature))
		steps = append(steps, Step{"12", "ρ_b", "SG ρ_w(t)", densityNumbers(x, water), s.density, "kg/m³", "Tanaka et al. 2001"})
		numbers := fmt.Sprintf("(%s − %s) × 1000 × (1 − %s/8000) / (%.4f − %s)", num(x[xGross]), num(x[xTare]), num(x[xAir]), s.density, num(x[xAir]))
		formula, equation := "(W_gross − W_tare)(1 − ρ_a/8000) / (ρ_b − ρ_a)", "13"
		if x[xGas] != 0 {
			formula, equation = "[(W_gross − W_tare)(1 − ρ_a/8000) − (ρ_g − ρ_a) V_c] / (ρ_b − ρ_g)", "25"
			numbers = fmt.Sprintf("[(%s − %s) × 1000 × (1 − %s/8000) − %.4f × %.3f] / (%.4f − %.4f)", num(x[xGross]), num(x[xTare]), num(x[xAir]), x[xGas], s.capacity, s.density, x[xGas]+x[xAir])
		}
		steps = append(steps, Step{equation, "V_b", formula, numbers, float64(s.pack.Beer), "mL", "OIML D 28"},
			Step{"15", "V_h", "V_c − V_b", fmt.Sprintf("%.4f − %.4f", s.capacity, s.pack.Beer), float64(s.pack.Headspace), "mL", "geometry"})
	case byHeight:
		steps = append(steps, Step{"16", "V_h", "V_h,ref + (h − h_ref) a",
			fmt.Sprintf("%s + (%s − %s) × %s", num(float64(*in.NeckHeadspace)), num(float64(*in.Gap)), num(float64(*in.NeckGap)), num(float64(*in.NeckPerMM))),
			float64(s.pack.Headspace), "mL", "geometry"},
			Step{"15", "V_b", "V_c − V_h", fmt.Sprintf("%.4f − %.4f", s.capacity, s.pack.Headspace), float64(s.pack.Beer), "mL", "geometry"})
	default:
		steps = append(steps, Step{"17", "V_h", "V_c − V_nominal", fmt.Sprintf("%.4f − %s", s.capacity, num(x[xFill])), float64(s.pack.Headspace), "mL", "assumed fill"})
	}
	return steps
}

func densityNumbers(x *[xCount]float64, water float64) string {
	text := fmt.Sprintf("%s × %.4f", num(x[xSG]), water)
	if x[xExpansion] != 1 {
		text += fmt.Sprintf(" × %.6f (expansion, eq. 27)", x[xExpansion])
	}
	if x[xDensityRise] != 0 {
		text += fmt.Sprintf(" + %.4f (dissolved CO2, eq. 24)", x[xDensityRise])
	}
	return text
}

func sumOfParts(out *TPOResult) string {
	text := "√("
	for i, part := range out.Budget {
		if i == 4 {
			return text + " + …)"
		}
		if i > 0 {
			text += " + "
		}
		text += fmt.Sprintf("%.2f²", math.Abs(part.U))
	}
	return text + ")"
}

func num(v float64) string { return fmt.Sprintf("%.10g", v) }
