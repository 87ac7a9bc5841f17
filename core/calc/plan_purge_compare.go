package calc

import (
	"fmt"
	"math"

	"ullage/core/process"
	"ullage/core/quantity"
)

// compare is what each method alone needs for the same oxygen in the gas. Cycles
// take the pressures of the plan where it has them, else 1 bar gauge; vacuum
// appears only where the plan names one.
func (s *site) compare(y float64) []PurgeOption {
	factor := process.FactorFor(s.start, s.gasOxygen, quantity.Fraction(y))
	if !(factor > 1e-12 && factor <= 1) {
		return nil
	}
	high, vacuum, works := s.station+100, quantity.Pressure(0), quantity.Fraction(0)
	for _, step := range s.list {
		switch step.Method {
		case process.Sweep:
			works = step.Works
		case process.Pressure:
			high = step.High
		case process.Vacuum:
			vacuum = step.Low
		}
	}
	bar := func(p quantity.Pressure) float64 { return float64(p-s.station) / 100 }
	list := []PurgeOption{
		s.option("sweep_mixed", "sweep, perfectly mixed", process.Step{Method: process.Sweep, Cells: 1, Works: works}, factor, "gas that jets in mixes"),
		s.option("sweep_calm", "sweep, calm (3 tanks in series)", process.Step{Method: process.Sweep, Cells: 3, Works: works}, factor, "slow, from below, through a diffuser; an assumed mixing"),
		s.option("sweep_plug", "sweep, plug flow", process.Step{Method: process.Sweep}, factor, "the least there can be; no vessel does it"),
		s.option("pressure", fmt.Sprintf("pressure cycles to %.3g bar gauge", bar(high)), process.Step{Method: process.Pressure, Low: s.station, High: high}, factor, "within the vessel's rating; wait after each filling, gas warms"),
		s.option("displacement", "filled with liquid and pushed out", process.Step{Method: process.Displacement}, factor, "the pocket it may leave; needs a vessel full to the top"),
	}
	if vacuum > 0 {
		list = append(list, s.option("vacuum", fmt.Sprintf("vacuum cycles to %.3g bar absolute", float64(vacuum)/100), process.Step{Method: process.Vacuum, Low: vacuum, High: s.station}, factor, "only a vessel rated for vacuum"))
	}
	return list
}

func (s *site) option(key, label string, step process.Step, factor float64, note string) PurgeOption {
	step = step.For(factor)
	if step.Method == process.Pressure || step.Method == process.Vacuum {
		step.Cycles = math.Ceil(step.Cycles - 1e-9)
	}
	y := float64(process.Purged(s.start, s.gasOxygen, step))
	_, upper, _, _, _ := s.figures(y)
	kg := float64(step.Used(s.gas, s.vessel, s.t, s.station)) / 1000
	return PurgeOption{key, label, s.shown(step, 0), unitOf(step.Method), 1e6 * y, upper, kg, s.cost(kg), s.minutes(kg), note}
}

// reading holds what was read in the gas against the plan.
func (s *site) reading(read float64, r *PurgeResult) *PurgeReading {
	out := &PurgeReading{PPMV: 1e6 * read, Planned: r.PPMV, Ratio: 1}
	if r.Oxygen > 0 {
		out.Ratio = read / r.Oxygen
	} else if read > 0 {
		out.Ratio = 1e6 * read // ppm v/v against none
	}
	_, out.Upper, _, _, _ = s.figures(read)
	step := s.list[s.focus()]
	if step.Method != process.Displacement {
		unit := process.Step{Method: step.Method, Cells: step.Cells, Works: step.Works, Low: step.Low, High: step.High}
		if f := process.FactorFor(s.start, s.gasOxygen, quantity.Fraction(read)); f > 0 && f <= 1 {
			worth := unit.For(f).Amount()
			out.Worth = &worth
		}
		if f := float64((quantity.Fraction(r.Oxygen) - s.gasOxygen) / (quantity.Fraction(read) - s.gasOxygen)); f > 0 && f < 1 {
			more := unit.For(f).Amount()
			out.More = &more
		}
	}
	switch {
	case read < 0.8*float64(s.gasOxygen):
		out.Word, out.Says = "below_floor", "below what the purge gas itself holds: check the meter's zero, and the gas figure"
	case out.Ratio > 1.25:
		out.Word, out.Says = "worse", "more oxygen than planned: gas not where it should go (dead leg, short circuit), a leak, less gas than thought, or a meter not flushed"
	case out.Ratio < 0.8:
		out.Word, out.Says = "better", "less oxygen than planned: nearer to plug flow than assumed; read a second point, high up, before stopping earlier"
	default:
		out.Word, out.Says = "as_planned", "as planned, within 25 %"
	}
	return out
}

func (s *site) warnings(in *PurgeInput, w []Warning) []Warning {
	if in.Beer == nil {
		w = warn(w, "beer_is_vessel", "beer_ml", "", "the beer is taken to fill the vessel, so no gas is left above it", "give the beer that goes in")
	}
	if in.Altitude != nil && in.Station == nil {
		w = warn(w, "no_barometer", "altitude_m", format(float64(*in.Altitude), 0)+" m", "weather moves the pressure at an altitude by ±3 %", "use a barometer where it matters")
	}
	if in.GasOxygen == nil {
		w = warn(w, "gas_taken_as_pure", "gas_oxygen_fraction", "", "the purge gas is taken to hold no oxygen, so no floor shows", "give its oxygen: the ISBT guideline is 30 ppm v/v at most")
	} else if s.gas == process.CO2 && s.gasOxygen > process.GuidelineCO2 {
		w = warn(w, "gas_above_guideline", "gas_oxygen_fraction", format(1e6*float64(s.gasOxygen), 0)+" ppm", "more than the 30 ppm v/v of the ISBT guideline for beverage CO2", "check the delivery and the first gas of a stood vessel")
	}
	for i, step := range s.list {
		if step.Method == process.Pressure && step.High > s.station+300 {
			w = warn(w, "high_pressure", "high_kpa", format(float64(step.High), 0)+" kPa", "far above what beer tanks are usually rated for", "read the vessel's plate; check gauge against absolute")
		}
		if step.Method == process.Sweep && step.Cells != 1 && i == len(s.list)-1 {
			w = warn(w, "mixing_assumed", "cells", format(float64(step.Cells), 0), "how calmly the gas moves is assumed", "read the gas once and give it as the reading")
		}
	}
	return w
}

func (s *site) hazards(room bool) []string {
	list := []string{process.HazardEntry}
	if s.gas == process.CO2 {
		list = append(list, process.HazardCO2, process.HazardCaustic)
	} else {
		list = append(list, process.HazardNitrogen)
	}
	if room {
		list = append(list, process.HazardRoom)
	}
	for _, step := range s.list {
		switch step.Method {
		case process.Pressure, process.Displacement:
			list = append(list, process.HazardPressure)
		case process.Vacuum:
			list = append(list, process.HazardVacuum)
		}
	}
	if s.fills || s.at > s.station {
		list = append(list, process.HazardPressure)
	}
	return list
}

const sourcePurge = "Crowl & Louvar, Chemical Process Safety; NFPA 69 (from memory)"

// working is the derivation.
func (s *site) working(r *PurgeResult) working {
	var w working
	for _, step := range s.list {
		f := step.Factor()
		switch {
		case step.Method == process.Displacement:
			w.line("P4", "F", "V_pocket / V", fmt.Sprintf("%.4g mL / %.6g mL", s.shown(step, 0), float64(s.vessel)), f, "", "volume balance")
		case step.Method != process.Sweep:
			w.line("P3", "F", "(p_low / p_high)^k", fmt.Sprintf("(%.6g / %.6g)^%.4g", float64(step.Low), float64(step.High), step.Cycles), f, "", sourcePurge)
		case step.Cells == 1:
			w.line("P1", "F", "e^−wN", fmt.Sprintf("e^−(%.4g × %.5g)", step.Working(), step.Volumes), f, "", sourcePurge)
		case step.Cells == 0:
			w.line("P1", "F", "1 − wN, not below 0", fmt.Sprintf("1 − %.4g × %.5g", step.Working(), step.Volumes), f, "", "plug flow")
		default:
			w.line("P2", "F", "1/n Σ_i e^−nwN Σ_{k<i} (nwN)^k / k!", fmt.Sprintf("n = %d, w = %.4g, N = %.5g", step.Cells, step.Working(), step.Volumes), f, "", "tanks in series")
		}
	}
	w.line("P5", "y", "y_g + (y_0 − y_g) Π F", fmt.Sprintf("%.4g + (%.6g − %.4g) Π F", float64(s.gasOxygen), float64(s.start), float64(s.gasOxygen)), r.Oxygen, "mol/mol", sourcePurge)
	p, partial := s.end(r.Oxygen)
	w.line("P6", "m", "y P V M / (R T)", fmt.Sprintf("%.5g kPa O2 × %.6g L × 31.9988 / (8.314463 × %.2f)", partial, float64(s.vessel)/1000, float64(s.t)+273.15), r.Milligrams*1000, "µg", "ideal gas")
	w.line("P7", "upper", "m / V_b", fmt.Sprintf("%.5g mg / %.6g L", r.Milligrams, float64(s.beer)/1000), r.Upper, "ppb", "mass balance")
	w.line("P8", "equilibrium", "m_h / (V_b + K V_h)", fmt.Sprintf("headspace %.5g L at %.4g °C", float64(s.vessel-s.beer)/1000, float64(s.beerT)), r.Equilibrium, "ppb", "Henry's law, oxygen kept")
	w.line("P9", "contact", "S(t) y P", fmt.Sprintf("S(%.4g °C) × %.5g kPa, at %.5g kPa", float64(s.beerT), partial, float64(p)), r.Contact, "ppb", "Benson & Krause 1984")
	w.line("P10", "gas", "Σ V ρ N, Σ V k (ρ_high − ρ_low)", fmt.Sprintf("ρ(%.4g °C, %.6g kPa) = %.5g kg/m³", float64(s.t), float64(s.at), float64(s.gas.Density(s.t, s.at))), r.Gas, "kg", "real CO2, Weiss 1974; ideal N2")
	if r.RoomPPM != nil {
		w.line("P11", "room", "V_released / V_room", fmt.Sprintf("%.5g m³ released", r.Released), *r.RoomPPM, "ppm", "average, if all stayed and mixed")
	}
	return w
}
