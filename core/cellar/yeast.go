package cellar

import "slices"

// yeastIn tells that a vessel holds yeast, which takes oxygen up.
func (w *way) yeastIn(batch string) bool {
	b := w.in.batch(batch)
	switch {
	case b == nil:
		return false
	case b.Yeast != "":
		return b.Yeast == "yes"
	case b.Vessel != "":
		return b.Vessel == "fermenter"
	}
	for _, r := range w.in.Brews {
		if r.Batch == batch {
			return true
		}
	}
	return slices.ContainsFunc(w.in.Readings, func(r Reading) bool {
		return r.Batch == batch && (IsWort(r.Point) || r.Point == FermentationEnd || r.Point == DryHop1h || r.Point == DryHop24h || r.Point == DryHopBefore)
	})
}

// mayFall tells that oxygen can leave on this step: taken up by yeast, or
// stripped by CO2.
func (w *way) mayFall(covers []string, batch string) (bool, string) {
	has := func(k string) bool { return slices.Contains(covers, k) }
	switch {
	case has(StepFermentation), has(StepDryHop):
		return true, "yeast"
	case has(StepOxygenation):
		return true, "gas" // what was dissolved under pressure comes out again
	case has(StepHold) && w.yeastIn(batch):
		return true, "yeast"
	case has(StepCarbonation):
		return true, "stripping"
	case has(StepAddition):
		return true, "addition"
	}
	return false, ""
}
