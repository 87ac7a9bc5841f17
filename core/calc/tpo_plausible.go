package calc

import (
	"math"

	"ullage/core/quantity"
)

// plausible appends what is unlikely, to ask about (bands of common practice).
func (in *TPOInput) plausible(s *state, out *TPOResult, w []Warning) []Warning {
	do := float64(*in.ShakenDO)
	w = oxygenBand(w, "shaken_do", "shaken_do_ppb", do)
	if in.UnshakenDO != nil {
		w = oxygenBand(w, "unshaken_do", "unshaken_do_ppb", float64(*in.UnshakenDO))
		w = in.pair(w, do/float64(*in.UnshakenDO))
	}
	if in.InletDO != nil {
		w = oxygenBand(w, "inlet_do", "inlet_do_ppb", float64(*in.InletDO))
	}
	t := float64(*in.Temperature)
	if t < -2 || t > 35 {
		w = warn(w, "temperature_unlikely", "temperature_c", format(t, 1)+" °C", "beer is rarely read at this temperature", "did the thermometer show °F, "+format((t-32)/1.8, 1)+" °C?")
	}
	if out.TPO > 3000 || out.TPO < 5 {
		w = warn(w, "tpo_unlikely", "tpo_ppb", format(out.TPO, 1)+" ppb", "TPO of a package is usually 5 to 3,000 ppb", "check unit, temperature and package")
	}
	if share := out.Headspace / out.Beer; share < 0.01 || share > 0.12 {
		w = warn(w, "headspace_unlikely", "headspace_ml", format(out.Headspace, 1)+" mL", "the headspace is usually 1 to 12 % of the beer; here "+format(100*share, 1)+" %", "check tare, capacity and package")
	}
	w = in.weights(w, s)
	if in.CO2 != nil && (*in.CO2 < 0.8 || *in.CO2 > 4.5) {
		w = warn(w, "co2_unlikely", "co2_vol", in.CO2.Format(2), "carbonation is usually 0.8 to 4.5 volumes", "check the unit: 5 g/L is 2.53 vol")
	}
	w = in.delay(w)
	if e := in.TareSource; e != "own" && in.kind() == "bottle" && out.Path == PathWeighed {
		w = warn(w, "lot_tare_of_glass", "tare_g", in.Tare.Format(1), "glass weights scatter, so a lot tare makes this figure worse than no weighing", "measure the fill height, or weigh this bottle empty")
	}
	if out.Path == PathAssumed {
		w = warn(w, "fill_assumed", "nominal_ml", in.Nominal.Format(1), "the fill is assumed, so a low fill is not seen: a true fill below it gives a TPO above the one shown", "weigh the package")
	}
	if in.WaterT == nil && in.CapacityWater != nil {
		w = warn(w, "water_temperature_assumed", "water_temperature_c", "", "the water's temperature is not given; 20 °C is taken", "give it: 10 °C more or less is 0.2 % of the capacity")
	}
	return w
}

// oxygenBand asks about a reading that looks like a unit slip or is unlikely.
func oxygenBand(w []Warning, code, field string, ppb float64) []Warning {
	if ppb >= 1 && ppb <= 500 {
		return w
	}
	shown := format(ppb, 3) + " ppb"
	switch {
	case ppb > 0 && ppb < 1:
		return warn(w, code+"_unit", field, shown, "this looks like ppm typed as ppb", "did you mean "+format(ppb*1000, 0)+" ppb?")
	case ppb > 10000:
		return warn(w, code+"_unit", field, shown, "readings of finished beer are ppb; this looks 1000 times too high", "did you mean "+format(ppb/1000, 1)+" ppb?")
	case ppb > 500:
		return warn(w, code+"_unlikely", field, shown, "readings of finished beer are usually below 500 ppb", "check unit and sample; if it is true, something is wrong before this point")
	case ppb == 0:
		return warn(w, code+"_unlikely", field, shown, "a reading of zero may be oxygen already consumed, or no reading", "check the time to reading and the meter")
	}
	return w
}

func (in *TPOInput) pair(w []Warning, ratio float64) []Warning {
	switch {
	case ratio == 1:
		return warn(w, "pair_equal", "unshaken_do_ppb", in.UnshakenDO.Format(1), "shaken and unshaken DO are equal", "was one reading typed twice?")
	case ratio < 0.3 || ratio > 4:
		return warn(w, "pair_unlikely", "unshaken_do_ppb", in.UnshakenDO.Format(1), "shaken over unshaken DO is "+format(ratio, 2)+", usually 0.3 to 4", "are the two exchanged, or of different packages?")
	}
	return w
}

// weights compares the beer with the declared volume.
func (in *TPOInput) weights(w []Warning, s *state) []Warning {
	if in.Nominal == nil || *in.Nominal <= 0 || in.Gross == nil || in.Tare == nil {
		return w
	}
	off := float64(s.pack.Beer)/float64(*in.Nominal) - 1
	switch {
	case math.Abs(off) > 0.08:
		return warn(w, "package_unlikely", "gross_g", in.Gross.Format(1), "the weights mean "+format(float64(s.pack.Beer), 1)+" mL, "+format(100*off, 0)+" % off the declared "+in.Nominal.Format(0), "is this another package, or a wrong tare?")
	case off < -0.015:
		return warn(w, "low_fill", "gross_g", in.Gross.Format(1), "low fill: "+format(float64(*in.Nominal)-float64(s.pack.Beer), 1)+" mL below the declared "+in.Nominal.Format(0), "a finding of its own; note head and valve")
	}
	return w
}

func (in *TPOInput) delay(w []Warning) []Warning {
	if in.Since == nil {
		return w
	}
	m := *in.Since
	switch {
	case m < 0:
		return warn(w, "clock", "minutes_since_closing_min", m.Format(0), "read before it was closed", "check both clocks")
	case m > 120:
		return warn(w, "read_late", "minutes_since_closing_min", m.Format(0), "read more than 2 h after closing: oxygen has been consumed, so the true TPO at closing was higher", "read sooner; never pass a lot on a late low number")
	case in.Yeast && m > 15:
		return warn(w, "read_late", "minutes_since_closing_min", m.Format(0), "live yeast consumes oxygen within minutes", "read within 10 min of closing")
	}
	return w
}

func warn(w []Warning, code, field, value, message, mend string) []Warning {
	return append(w, Warning{Code: code, Field: field, Value: value, Message: quantity.Minus(message), Mend: quantity.Minus(mend)})
}
