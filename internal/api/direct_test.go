package api

import (
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"
	"time"
)

// directRun is a run of the bench with a direct TPO instrument, twelve cans read
// both ways and two read directly only.
func directRun(b *bench) {
	b.Helper()
	b.put(200, "instruments", "direct", 0, obj{"name": "Direct 1", "kind": "tpo_meter", "u_abs": 1, "u_rel": 0.02, "check_every_days": 7})
	r := b.run()
	start := time.Date(2026, 11, 5, 6, 0, 0, 0, time.UTC)
	r["started_at"], r["ended_at"], r["status"] = start.Format(time.RFC3339), start.Add(2*time.Hour).Format(time.RFC3339), "ended"
	r["do_meter_id"], r["tpo_meter_id"], r["measured_by"] = b.id("meter"), b.id("direct"), "direct"
	b.put(200, "runs", "both", 0, r)
	for i := range 14 {
		x := b.sample(40 + float64(i%3))
		x["run_id"], x["head"] = b.id("both"), i%6+1
		x["closed_at"], x["taken_at"] = start.Add(time.Duration(i*8)*time.Minute).Format(time.RFC3339), start.Add(time.Duration(i*8+9)*time.Minute).Format(time.RFC3339)
		x["inputs"].(obj)["direct_ppb"] = 80 + float64(i%4)
		if i >= 12 {
			x["kind"], x["inputs"] = "direct", obj{"direct_ppb": 90}
			delete(x, "tare_source")
		}
		b.put(200, "samples", fmt.Sprint("both/", i), 0, x)
	}
}

// Both figures of a package are kept, marked, and never exchanged; the direct
// one counts, and its own instrument must be proven.
func TestDirectReadingsOfARun(t *testing.T) {
	b := measured(t)
	directRun(b)
	s := b.get("samples/" + b.id("both/0"))
	b.want(s, obj{"result": obj{"tpo_by": "direct", "tpo_ppb": 80, "tpo_u_ppb": func(v any) bool { return math.Abs(num(v)-math.Hypot(1, 1.6)) < 0.01 }, "u_from": func(v any) bool { return fmt.Sprint(v) != "" }},
		"other_result": obj{"tpo_by": "calculated", "beer_ml": func(v any) bool { return num(v) > 350 }, "tpo_ppb": func(v any) bool { return num(v) > 75 && num(v) < 95 }}})
	b.want(b.get("samples/"+b.id("both/12")), obj{"kind": "direct", "result": obj{"tpo_by": "direct", "tpo_ppb": 90, "method": "direct/1"}, "other_result": func(v any) bool { return v == nil }})

	j := b.get("runs/" + b.id("both") + "/judgement")
	b.want(j, obj{"readings": 14, "tpo_ways": obj{"direct": 14, "calculated": 0, "pairs": 12}, "verdict": "hold", "rule": "meter_proven", "verdict_with_proven_meter": "release"})
	if text := fmt.Sprint(j["notes"]); !strings.Contains(text, "12 packages have both figures, and the direct one counts") {
		t.Errorf("notes: %s", text)
	}
	decide := func(status int, name string) obj {
		return b.do(status, "PUT", "/api/v1/decisions/"+b.id(name), obj{"base_rev": 0, "record": obj{"run_id": b.id("both"), "proposed": "release", "decision": "release", "why": "fresh", "by": "Brewmaster"}})
	}
	if e := decide(422, "no")["errors"].([]any)[0].(obj); !strings.Contains(e["message"].(string), "direct TPO instrument") {
		t.Errorf("released on an instrument that nobody checked: %v", e)
	}
	b.check("d0", "2026-11-05T05:00:00Z", obj{"instrument_id": b.id("direct"), "against": "zero", "read": 1})
	b.check("d1", "2026-11-05T09:00:00Z", obj{"instrument_id": b.id("direct"), "against": "zero", "read": 1})
	b.want(b.get("runs/"+b.id("both")+"/judgement"), obj{"verdict": "release", "direct_meter": obj{"before": "passed", "after": "passed"}})
	decide(200, "yes")

	// The run's rule says the calculated figure: results are exchanged, none is lost.
	r := b.get("runs/" + b.id("both"))
	r["in_force"].(obj)["tpo_by"], r["by"], r["reason"] = "calculated", "Quality tech", "the direct instrument drifted"
	b.do(200, "PUT", "/api/v1/runs/"+b.id("both"), obj{"base_rev": r["rev"], "record": r})
	b.want(b.get("samples/"+b.id("both/0")), obj{"rev": 2, "result": obj{"tpo_by": "calculated"}, "other_result": obj{"tpo_by": "direct", "tpo_ppb": 80}})
	b.want(b.get("samples/"+b.id("both/12")), obj{"rev": 1, "result": obj{"tpo_by": "direct"}})
	b.want(b.get("runs/"+b.id("both")+"/judgement"), obj{"tpo_ways": obj{"direct": 2, "calculated": 12, "pairs": 12}})

	// The pairs are rows of an agreement study.
	p := b.get("studies/pairs?format_id=" + b.id("can"))
	rows := p["rows"].([]any)
	if len(rows) != 12 || p["do_meter_id"] != b.id("meter") || p["tpo_meter_id"] != b.id("direct") {
		t.Fatalf("pairs: %v", p)
	}
	b.want(rows[0].(obj), obj{"direct_ppb": 80, "calculated_ppb": func(v any) bool { return num(v) > 75 }, "headspace_ml": func(v any) bool { return num(v) > 10 }})
	for _, x := range rows {
		delete(x.(obj), "sample_id")
	}
	b.want(b.put(200, "studies", "own", 0, obj{"kind": "agreement", "name": "From runs", "at": "2026-11-05T09:00:00Z", "rows": rows, "by": "Quality tech"})["record"].(obj), obj{"result": obj{"n": 12}})
}

func TestADirectReadingIsNoDO(t *testing.T) {
	b := measured(t)
	directRun(b)
	for name, c := range map[string]struct {
		kind string
		in   obj
		at   string
	}{
		"a DO on a package read directly only": {"direct", obj{"direct_ppb": 90, "do_ppb": 40}, "record.inputs.do_ppb"},
		"a TPO on unshaken DO":                 {"unshaken", obj{"direct_ppb": 90, "do_ppb": 40}, "record.inputs.direct_ppb"},
		"below zero":                           {"direct", obj{"direct_ppb": -1}, "record.inputs.direct_ppb"},
	} {
		e := b.do(422, "PUT", "/api/v1/samples/"+b.id(name), obj{"base_rev": 0, "record": obj{"run_id": b.id("both"), "kind": c.kind, "taken_at": "2026-11-05T07:00:00Z", "inputs": c.in}})["errors"].([]any)[0].(obj)
		if e["location"] != c.at || e["mend"] == "" {
			t.Errorf("%s: %v", name, e)
		}
	}
	odd := b.put(200, "samples", "ppm", 0, obj{"run_id": b.id("both"), "kind": "direct", "taken_at": "2026-11-05T07:00:00Z", "inputs": obj{"direct_ppb": 0.09}})
	if text := fmt.Sprint(odd["warnings"]); !strings.Contains(text, "is it ppm") {
		t.Errorf("0.09 ppb is not asked about: %s", text)
	}
}

// A failed check of the direct instrument opens the lots it read, and corrects
// what it read and nothing else.
func TestAFailedCheckOfTheDirectInstrument(t *testing.T) {
	b := measured(t)
	directRun(b)
	b.check("fail", "2026-11-05T10:00:00Z", obj{"instrument_id": b.id("direct"), "against": "zero", "read": 9})
	c := b.get("meter_checks/" + b.id("fail") + "/consequences")
	b.want(c, obj{"found": obj{"offset": 9, "unit": "ppb", "points": 1}})
	runs := c["runs"].([]any)
	if len(runs) != 1 {
		t.Fatalf("%d runs in doubt: %v", len(runs), runs)
	}
	b.want(runs[0].(obj), obj{"mean_change_ppb": -9, "otherwise": func(v any) bool { return v == nil }})
}

// A scale held against two masses has an offset and a slope, and both are taken
// off; with one mass the assumption is said.
func TestAScaleOffBySlope(t *testing.T) {
	b := measured(t)
	b.readRun("one", time.Date(2026, 11, 4, 7, 0, 0, 0, time.UTC), 40)
	scale := func(name string, more obj) obj {
		m := obj{"instrument_id": b.id("balance"), "against": "mass"}
		for k, v := range more {
			m[k] = v
		}
		return b.check(name, "2026-11-05T0"+fmt.Sprint(len(name))+":00:00Z", m)
	}
	// 0.2 % of the weight: 0.1 g at 50 g, 0.8 g at 400 g, and nothing at zero.
	got := scale("two", obj{"read": 50.1, "expected": 50, "more": []any{obj{"read": 400.8, "expected": 400}}})["record"].(obj)
	b.want(got, obj{"outcome": "failed"})
	c := b.get("meter_checks/" + b.id("two") + "/consequences")
	near := func(want, tolerance float64) func(any) bool {
		return func(v any) bool { return math.Abs(num(v)-want) <= tolerance }
	}
	b.want(c, obj{"found": obj{"offset": near(0, 0.001), "slope_pct": near(0.2, 0.001), "points": 2, "assumed": func(v any) bool { return v == nil }}})
	// The weight falls by 0.002/1.002 × 372.6 = 0.744 g of beer, the headspace grows
	// by as many mL/1.01, and K(4 °C) = 22.3 × 0.737 / 355 × 40 ppb is some 1.9 ppb.
	first := c["runs"].([]any)[0].(obj)
	if v := num(first["mean_change_ppb"]); v < 1.6 || v > 2.3 {
		t.Errorf("mean change %v ppb", v)
	}
	// One heavy mass alone: the offset of 0.8 g would be 0.2 % too, so both say the same here.
	scale("one", obj{"read": 400.8, "expected": 400, "adjusted": true})
	c = b.get("meter_checks/" + b.id("one") + "/consequences")
	b.want(c, obj{"found": obj{"offset": near(0.8, 1e-9), "assumed": "offset", "other_slope_pct": near(0.2, 1e-9)}})
	if text := c["sentence"].(string); !strings.Contains(text, "One reference mass was used") {
		t.Errorf("the assumption is not said: %s", text)
	}
	e := b.do(http.StatusUnprocessableEntity, "PUT", "/api/v1/meter_checks/"+b.id("bare"), obj{"base_rev": 0, "record": obj{"instrument_id": b.id("balance"), "at": "2026-11-05T06:00:00Z", "against": "mass", "outcome": "failed", "more": []any{obj{"read": 1, "expected": 1}}}})
	if x := e["errors"].([]any)[0].(obj); x["location"] != "record.more" {
		t.Errorf("more masses without the first: %v", x)
	}
}
