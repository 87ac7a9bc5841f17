package compare

import "testing"

// A batch packaged on other gas, or held to other limits, says so; what is as
// it was does not differ.
func TestGasAndLimitsAmongTheChanges(t *testing.T) {
	made := func(note string, red float64, kinds ...string) *features {
		f, mean := newFeatures(), 90.0
		r := PastRun{EventsKnown: true, Limits: []PastLimit{{Quantity: "tpo", Mean: &mean, Red: &red}, {Quantity: "do_tank"}}}
		for _, k := range kinds {
			if k == "gas_change" {
				r.GasChanges = append(r.GasChanges, note)
			}
		}
		f.ofRun(&r)
		return f
	}
	before := []*features{made("", 200), made("", 200, "stop")}
	for _, c := range []struct {
		name string
		now  *features
		want map[string]ChangedThing // by what; only what is looked at
	}{
		{"alike", made("", 200, "note"), map[string]ChangedThing{"gas": {Now: "no change on record"}, "limit": {Now: "mean 90, red 200 ppb"}}},
		{"next bundle", made("CO2 from the next bundle", 200, "gas_change"), map[string]ChangedThing{"gas": {Now: "CO2 from the next bundle", Differs: true}, "limit": {Now: "mean 90, red 200 ppb"}}},
		{"not said which", made(" ", 200, "gas_change"), map[string]ChangedThing{"gas": {Now: "changed", Differs: true}, "limit": {Now: "mean 90, red 200 ppb"}}},
		{"another limit", made("", 150), map[string]ChangedThing{"gas": {Now: "no change on record"}, "limit": {Now: "mean 90, red 150 ppb", Differs: true}}},
	} {
		got := differences(c.now, before)
		if len(got) != len(c.want) {
			t.Errorf("%s: %+v", c.name, got)
		}
		for _, x := range got {
			w := c.want[x.What]
			if x.Now != w.Now || x.Differs != w.Differs || x.Batches != 2 || x.What == "gas" && x.Before != "no change on record" || x.What == "limit" && (x.Of != "tpo" || x.Before != "mean 90, red 200 ppb") {
				t.Errorf("%s: %+v, want %+v", c.name, x, w)
			}
		}
	}
}
