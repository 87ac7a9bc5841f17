package calc

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"ullage/core/quantity"
)

// check refuses what cannot be, before anything is computed.
func (in *TPOInput) check() error {
	if in.Temperature == nil {
		return missing("temperature_c")
	}
	if in.ShakenDO == nil {
		return missing("shaken_do_ppb")
	}
	if err := in.checkWords(); err != nil {
		return err
	}
	if t := float64(*in.Temperature); t < -5 || t > 45 {
		return refuse("temperature_c", t, "°C is outside -5 to 45, where beer in a package is read", "check the unit: 39.2 °F is 4 °C")
	}
	if in.WaterT != nil && (*in.WaterT < 0 || *in.WaterT > 40) {
		return refuse("water_temperature_c", float64(*in.WaterT), "°C is outside 0 to 40, where the density of water is known", "check the unit")
	}
	if *in.ShakenDO < 0 {
		return refuse("shaken_do_ppb", float64(*in.ShakenDO), "ppb is below zero", "check the zero of the meter")
	}
	if in.SG != nil && (*in.SG < 0.95 || *in.SG > 1.2) {
		return refuse("sg", float64(*in.SG), "is outside 0.95 to 1.2", `write 1.0105, or an extract with its unit, "2.6 °P"`)
	}
	if in.AirDensity != nil && (*in.AirDensity < 0 || *in.AirDensity > 2) {
		return refuse("air_density_kg_m3", float64(*in.AirDensity), "kg/m³ is no density of air", "usual is 1.2; at 1,500 m about 1.0")
	}
	if in.CO2 != nil && *in.CO2 > 10 {
		return refuse("co2_vol", float64(*in.CO2), "volumes is more than any beer holds", "check the unit: 5 g/L is 2.53 vol")
	}
	if in.ABV != nil && *in.ABV > 30 {
		return refuse("abv_pct", float64(*in.ABV), "% is more than any beer holds", "check the value")
	}
	return in.checkSpreads()
}

func (in *TPOInput) checkWords() error {
	for _, w := range [...]struct {
		field, value string
		known        [4]string
	}{
		{"tare_source", in.TareSource, [4]string{"own", "lot"}},
		{"capacity_source", in.CapacitySource, [4]string{"own", "lot", "drawing"}},
		{"package", in.Package, [4]string{"can", "bottle", "keg"}},
		{"path", in.Path, [4]string{PathAuto, PathWeighed, PathFillHeight, PathAssumed}},
	} {
		if w.value != "" && w.value != w.known[0] && w.value != w.known[1] && w.value != w.known[2] && w.value != w.known[3] {
			mend := "use " + w.known[0]
			for _, k := range w.known[1:] {
				if k != "" {
					mend += ", " + k
				}
			}
			return &quantity.Error{Field: w.field, Value: w.value, Message: "is not known", Mend: mend}
		}
	}
	for _, c := range in.Corrections {
		switch c {
		case CorrectCO2, CorrectPressure:
			if in.CO2 == nil {
				return &quantity.Error{Field: "co2_vol", Message: "is missing for the correction " + c, Mend: "give the carbonation in volumes"}
			}
		case CorrectExpansion, CorrectBeer:
			if in.ABV == nil || in.SG == nil {
				return &quantity.Error{Field: "abv_pct", Message: "is missing, or sg is, for the correction " + c, Mend: "give alcohol and gravity"}
			}
		default:
			return &quantity.Error{Field: "corrections", Value: c, Message: "is not known", Mend: "use co2, pressure, expansion, beer"}
		}
	}
	return checkMethod(in.Uncertainty)
}

func (in *TPOInput) checkSpreads() error {
	if in.TareSD != nil && *in.TareSD < 0 {
		return refuse("tare_sd_g", float64(*in.TareSD), "g is below zero", "a standard deviation is 0 or more")
	}
	if in.CapacitySD != nil && *in.CapacitySD < 0 {
		return refuse("capacity_sd_ml", float64(*in.CapacitySD), "mL is below zero", "a standard deviation is 0 or more")
	}
	if in.FillSD != nil && *in.FillSD < 0 {
		return refuse("fill_sd_ml", float64(*in.FillSD), "mL is below zero", "a standard deviation is 0 or more")
	}
	for key, u := range in.U {
		if !slices.Contains(effectKeys, key) {
			return &quantity.Error{Field: "u", Value: key, Message: "is no effect of this calculation", Mend: "known are " + strings.Join(effectKeys, ", ")}
		}
		if u < 0 || math.IsNaN(u) || math.IsInf(u, 0) {
			return refuse("u."+key, u, "is no standard uncertainty", "give a number from 0 up")
		}
	}
	if in.Trials < 0 || in.Trials > 10_000_000 {
		return refuse("trials", float64(in.Trials), "is outside 1 to 10,000,000", "1,000,000 is plenty")
	}
	return nil
}

// checkVolumes refuses a package that cannot be, and names the likely cause.
func (in *TPOInput) checkVolumes(path uint8, s *state) error {
	beer, headspace := float64(s.pack.Beer), float64(s.pack.Headspace)
	if s.capacity <= 0 {
		field := "capacity_ml"
		if in.Capacity == nil {
			field = "capacity_water_g"
		}
		return refuse(field, s.capacity, "mL is no capacity", "give the volume of the closed package filled to the brim")
	}
	if path == weighed && *in.Gross <= *in.Tare {
		return refuse("gross_g", float64(*in.Gross), "g is not above the tare of "+format(float64(*in.Tare), 1)+" g", "check that gross and tare are not exchanged")
	}
	if beer <= 0 {
		return refuse("beer_ml", beer, "mL of beer is not possible", "check fill height, capacity and units")
	}
	if headspace > 0 {
		return nil
	}
	why := "the beer fills " + format(beer, 1) + " mL of a capacity of " + format(s.capacity, 1) + " mL"
	switch path {
	case weighed:
		return refuse("headspace_ml", headspace, "mL: "+why, "the tare is too low, the capacity is of another package, or a unit slipped")
	case byHeight:
		return refuse("headspace_ml", headspace, "mL: the fill height gives no headspace", "check gap_mm against neck_gap_mm, both from the rim down")
	}
	return refuse("headspace_ml", headspace, "mL: "+why, "the capacity is of another package, or it is the nominal volume; measure it to the brim")
}

func refuse(field string, v float64, message, mend string) error {
	return &quantity.Error{Field: field, Value: strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64), Message: message, Mend: mend}
}
