package cli

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"strings"
	"testing"
)

// FuzzPickup: any bytes as a file of readings give a map, or a refusal with its
// reason and a mend; never a panic, never JSON that is none.
func FuzzPickup(f *testing.F) {
	way, err := os.ReadFile("../../examples/cellar/way.csv")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(way))
	f.Add("point,do_ppb\ntank_before,5\ntank_after,1e300\n")
	f.Add("point;do_ppb;flow_hl_h\ntank_before;5,5;60\ntank_after;9,1;0\nfilter_in;-3;1e-300\n")
	f.Add("step,point,taken_at,do_ppm,volume_l\n\"a,b\",tank_hold,2026-03-02T07:00:00Z,0.01,5\n,tank_hold,0001-01-01T00:00:00Z,0.02,5\n,tpo,,99,\n")
	f.Add("point,do_ppb,u_ppb\ntpo,0,1e-9\nunshaken,0,1e-9\nwort_cooled,0,\ndry_hop_1h,1,\ndry_hop_24h,0,\n")
	f.Add("point\ndo_ppb")
	f.Fuzz(func(t *testing.T, text string) {
		var out, errOut bytes.Buffer
		err := (&PickupCmd{File: "-", Format: "json", Explain: true}).Run(&streams{strings.NewReader(text), &out, &errOut})
		switch {
		case out.Len() > 0 && !json.Valid(out.Bytes()):
			t.Fatalf("no JSON: %s", out.String())
		case err == nil && out.Len() == 0:
			t.Fatal("nothing was printed")
		case errors.Is(err, errFaults) && errOut.Len() == 0:
			t.Fatal("rows were refused without a reason")
		}
		out.Reset()
		_ = (&PickupCmd{File: "-", Format: "text"}).Run(&streams{strings.NewReader(text), &out, &errOut})
		if strings.Contains(out.String(), "NaN") || strings.Contains(out.String(), "Inf") {
			t.Fatalf("a figure that is none:\n%s", out.String())
		}
	})
}
