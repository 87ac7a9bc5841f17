package way

import "slices"

// YeastIn tells that a vessel holds yeast, which takes oxygen up.
func (w *Way) YeastIn(batch string) bool {
	b := w.In.BatchByID(batch)
	switch {
	case b == nil:
		return false
	case b.Yeast != "":
		return b.Yeast == "yes"
	case b.Vessel != "":
		return b.Vessel == "fermenter"
	}
	for _, r := range w.In.Brews {
		if r.Batch == batch {
			return true
		}
	}
	return slices.ContainsFunc(w.In.Readings, func(r Reading) bool {
		return r.Batch == batch && (IsWort(r.Point) || r.Point == FermentationEnd || r.Point == DryHop1h || r.Point == DryHop24h || r.Point == DryHopBefore)
	})
}

// MayFall tells that oxygen can leave on this step: taken up by yeast, or
// stripped by CO2.
func (w *Way) MayFall(covers []string, batch string) (bool, string) {
	has := func(k string) bool { return slices.Contains(covers, k) }
	switch {
	case has(StepFermentation), has(StepDryHop):
		return true, "yeast"
	case has(StepOxygenation):
		return true, "gas" // what was dissolved under pressure comes out again
	case has(StepHold) && w.YeastIn(batch):
		return true, "yeast"
	case has(StepCarbonation):
		return true, "stripping"
	case has(StepAddition):
		return true, "addition"
	}
	return false, ""
}
