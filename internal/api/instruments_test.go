package api

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"ullage/internal/store"
)

// measured is a bench with a run of twelve cans read with a meter, on a balance
// and with a thermometer of their own, which passed a zero check before it.
func measured(t *testing.T) *bench {
	b := newBench(t, store.SQLiteOptions{})
	b.put(200, "brewery", "home", 0, obj{"name": "Ostrelweir Brewhouse", "altitude_m": 310})
	b.put(200, "instruments", "meter", 0, obj{"name": "DO meter 1", "kind": "do_meter", "resolution": 1, "u_abs": 1.5, "u_rel": 0.02, "u_drift": 0.6, "check_every_days": 7,
		"checks": []any{obj{"against": "air", "limit": 2, "every_days": 30}}})
	b.put(200, "instruments", "balance", 0, obj{"name": "Balance", "kind": "scale", "resolution": 0.1, "u_abs": 0.03})
	b.put(200, "instruments", "probe", 0, obj{"name": "Thermometer 1", "kind": "thermometer", "resolution": 0.1, "u_abs": 0.1})
	b.check("before", "2026-10-30T06:00:00Z", obj{"against": "zero", "read": 1})
	b.setUp()
	return b
}

func (b *bench) check(name, at string, more obj) obj {
	b.Helper()
	r := obj{"instrument_id": b.id("meter"), "at": at, "by": "Quality tech"}
	for k, v := range more {
		r[k] = v
	}
	return b.put(200, "meter_checks", name, 0, r)
}

func (b *bench) readRun(name string, start time.Time, do float64) {
	b.Helper()
	r := b.run()
	r["started_at"], r["ended_at"], r["status"] = start.Format(time.RFC3339), start.Add(2*time.Hour).Format(time.RFC3339), "ended"
	r["do_meter_id"], r["scale_id"], r["thermometer_id"] = b.id("meter"), b.id("balance"), b.id("probe")
	b.put(200, "runs", name, 0, r)
	for i := range 12 {
		x := b.sample(do + float64(i%3))
		x["run_id"], x["head"] = b.id(name), i%6+1
		x["closed_at"], x["taken_at"] = start.Add(time.Duration(i*9)*time.Minute).Format(time.RFC3339), start.Add(time.Duration(i*9+8)*time.Minute).Format(time.RFC3339)
		b.put(200, "samples", fmt.Sprintf("%s/%d", name, i), 0, x)
	}
}

func (b *bench) get(path string) obj { b.Helper(); return b.do(200, "GET", "/api/v1/"+path, nil) }

func num(v any) float64 { f, _ := v.(float64); return f }

// Every reading's uncertainty is its instrument's: resolution/√12, u_abs, drift
// since the last pass and u_rel, and the result names where it came from.
func TestUncertaintyComesFromTheInstruments(t *testing.T) {
	b := measured(t)
	b.readRun("one", time.Date(2026, 11, 5, 6, 0, 0, 0, time.UTC), 40)
	s := b.get("samples/" + b.id("one/0"))
	from := map[string]float64{}
	for _, x := range s["result"].(obj)["u_from"].([]any) {
		from[x.(obj)["effect"].(string)] = num(x.(obj)["u"])
	}
	days := 6.0 // since the pass of 30 October
	want := map[string]float64{
		"meter":       math.Sqrt(1.5*1.5 + 1.0/12 + math.Pow(0.6*days/30, 2) + 0.8*0.8),
		"scale_gross": math.Sqrt(0.03*0.03 + 0.01/12), "temperature": math.Sqrt(0.1*0.1 + 0.01/12 + 0.1*0.1),
	}
	for k, w := range want {
		if math.Abs(from[k]-w) > 1e-5 {
			t.Errorf("%s: u %v, want %v (all: %v)", k, from[k], w, from)
		}
	}
	if len(from) != len(want) {
		t.Errorf("u_from %v", from)
	}
	u := num(s["result"].(obj)["tpo_u_ppb"])
	// Another meter than was said: the run's results are computed again with its error.
	b.put(200, "instruments", "rough", 0, obj{"name": "Rough", "kind": "do_meter", "u_abs": 5})
	r := b.get("runs/" + b.id("one"))
	r["do_meter_id"], r["by"], r["reason"] = b.id("rough"), "Quality tech", "the other meter was used"
	b.want(b.do(200, "PUT", "/api/v1/runs/"+b.id("one"), obj{"base_rev": 1, "record": r})["record"].(obj), obj{"in_force": obj{"instruments": obj{"do_meter": obj{"name": "Rough", "u_abs": 5}, "scale": obj{"name": "Balance"}}}})
	again := b.get("samples/" + b.id("one/0"))
	if v := num(again["result"].(obj)["tpo_u_ppb"]); again["rev"] != 2.0 || v < 2*u {
		t.Errorf("with the rough meter: revision %v, u %v, before %v", again["rev"], v, u)
	}
	if before := again["results_before"].([]any); len(before) != 1 || num(before[0].(obj)["tpo_u_ppb"]) != u {
		t.Errorf("the older result is gone: %v", before)
	}

	// The same package in a run that names no instruments takes the usual ones.
	b.put(200, "samples", "plain", 0, b.sample(40))
	p := b.get("samples/" + b.id("plain"))["result"].(obj)
	if p["u_from"] != nil || num(p["tpo_u_ppb"]) >= u || num(p["tpo_u_ppb"]) <= 0 {
		t.Errorf("without instruments: %v, with: u %v", p, u)
	}
}

func TestTheServerJudgesACheckByItsReading(t *testing.T) {
	b := measured(t)
	for _, c := range []struct {
		name string
		send obj
		want obj
	}{
		{"zero passes", obj{"against": "zero", "read": 2}, obj{"outcome": "passed", "expected": 0, "limit": 3, "unit": "ppb", "offset_ppb": 2}},
		{"zero fails", obj{"against": "zero", "read": 5}, obj{"outcome": "failed", "offset_ppb": 5}},
		// 9.09 mg/L at 20 °C and 1013 hPa × (977 − 23.4) / (1013.25 − 23.4), trade.md 6.7.
		{"air by station pressure, with the meter's own limit", obj{"against": "air", "read": 8700, "temperature_c": 20, "pressure_kpa": 97.7},
			obj{"outcome": "passed", "unit": "ppb", "expected": func(v any) bool { return math.Abs(num(v)-9090*(977-23.4)/(1013.25-23.4)) < 15 },
				"limit": func(v any) bool { return math.Abs(num(v)-0.02*8760) < 2 }}},
		{"air by the brewery's altitude", obj{"against": "air", "read": 8200, "temperature_c": 20}, obj{"outcome": "failed", "altitude_m": 310,
			"slope_pct": func(v any) bool { return num(v) < -5 && num(v) > -8 }, "slope_u_pct": func(v any) bool { return num(v) > 1.5 && num(v) < 2.5 }}},
		{"balance", obj{"instrument_id": b.id("balance"), "against": "mass", "read": 200.2, "expected": 200}, obj{"outcome": "failed", "unit": "g", "limit": 0.1}},
		{"ice", obj{"instrument_id": b.id("probe"), "against": "ice", "read": 0.2}, obj{"outcome": "passed", "unit": "c", "expected": 0, "limit": 0.3}},
		{"response is noted", obj{"against": "response", "read": 45}, obj{"outcome": "passed", "unit": "s"}},
		{"what was sent stays", obj{"against": "zero", "read": 5, "limit": 6, "outcome": "failed"}, obj{"outcome": "failed", "limit": 6}},
	} {
		got := b.check(c.name, "2026-11-05T06:30:00Z", c.send)
		t.Log(c.name)
		b.want(got["record"].(obj), c.want)
	}
	r := obj{"id": b.id("no"), "instrument_id": b.id("meter"), "at": "2026-11-05T06:30:00Z", "against": "air", "read": 8700}
	p := b.do(422, "PUT", "/api/v1/meter_checks/"+b.id("no"), obj{"base_rev": 0, "record": r})
	if e := p["errors"].([]any)[0].(obj); e["location"] != "record.temperature_c" || e["mend"] == "" {
		t.Errorf("air without a temperature: %v", e)
	}
}

// A failed check opens again every lot since the last pass, and no other; it
// shows which would be judged otherwise, and rewrites nothing.
func TestAFailedCheckOpensLotsAgain(t *testing.T) {
	b := measured(t)
	day := func(n, hour int) time.Time { return time.Date(2026, 11, n, hour, 0, 0, 0, time.UTC) }
	b.readRun("old", day(2, 7), 40)
	b.check("pass", "2026-11-03T06:00:00Z", obj{"against": "zero", "read": 1})
	b.readRun("fine", day(3, 7), 30)  // far below the limit, corrected or not
	b.readRun("close", day(4, 7), 48) // its TPO passes the limit by what the meter read too low
	b.readRun("open", day(4, 11), 40) // nobody decided
	decide := func(name, run, word string) {
		b.do(200, "PUT", "/api/v1/decisions/"+b.id(name), obj{"base_rev": 0, "record": obj{"run_id": b.id(run), "proposed": "hold", "decision": word, "condition": "tap room, this week", "why": "before the check", "by": "Brewmaster"}})
	}
	decide("d1", "fine", "conditional")
	decide("d2", "close", "conditional")
	decide("d3", "old", "conditional")
	answer := b.check("fail", "2026-11-05T06:00:00Z", obj{"against": "zero", "read": -9})
	ws := fmt.Sprint(answer["warnings"])
	if !strings.Contains(ws, "run 3, run 4") || strings.Contains(ws, "run 2") || strings.Contains(ws, "run 5") {
		t.Errorf("warnings: %v", ws)
	}
	for _, name := range []string{"fine", "close"} {
		b.want(b.get("runs/"+b.id(name)), obj{"rev": 2, "hold": obj{"state": "held", "check_id": b.id("fail"), "reopened_at": "2026-11-05T12:00:00.000Z",
			"reason": func(v any) bool {
				return strings.Contains(v.(string), "DO meter 1") && strings.Contains(v.(string), "−9.0 ppb") && strings.Contains(v.(string), "2026-11-03")
			}}})
	}
	b.want(b.get("runs/"+b.id("old")), obj{"rev": 1})
	b.want(b.get("runs/"+b.id("open")), obj{"rev": 1})
	b.want(b.get("decisions/"+b.id("d1")), obj{"rev": 1, "decision": "conditional"})

	c := b.get("meter_checks/" + b.id("fail") + "/consequences")
	b.want(c, obj{"outcome": "failed", "since": "2026-11-03T06:00:00.000Z", "found": obj{"offset_ppb": -9}, "changing": 1, "reopened": 2})
	runs := c["runs"].([]any)
	if len(runs) != 3 {
		t.Fatalf("%d runs in doubt, want 3: %v", len(runs), runs)
	}
	b.want(runs[0].(obj), obj{"run_id": b.id("fine"), "reopened": true, "changes": false, "readings": 12, "as_read": obj{"verdict": "release"}, "corrected": obj{"verdict": "release"},
		"decision": obj{"verdict": "conditional", "by": "Brewmaster"}})
	// 9 ppb of shaken DO are some 19 ppb of TPO in this can at 4 °C.
	b.want(runs[1].(obj), obj{"run_id": b.id("close"), "changes": true, "as_read": obj{"verdict": "release"}, "mean_change_ppb": func(v any) bool { return num(v) > 17 && num(v) < 21 }})
	if v := runs[1].(obj)["corrected"].(obj)["verdict"]; v == "release" {
		t.Errorf("corrected: %v", runs[1])
	}
	b.want(runs[2].(obj), obj{"run_id": b.id("open"), "reopened": false})
	before := b.get("samples/" + b.id("close/0"))
	b.want(before, obj{"rev": 1, "inputs": obj{"do_ppb": 48}})

	// Writing the check again opens nothing twice; a decision from before lets nothing go.
	r := b.get("runs/" + b.id("close"))
	r["hold"] = obj{"state": "released", "reason": "try"}
	p := b.do(422, "PUT", "/api/v1/runs/"+b.id("close"), obj{"base_rev": 2, "record": r})
	if e := p["errors"].([]any)[0].(obj); e["location"] != "record.hold.state" {
		t.Errorf("release by an old decision: %v", e)
	}
	later := noon.Add(time.Hour)
	b.now.Store(&later)
	decide("d4", "close", "conditional")
	done := b.do(200, "PUT", "/api/v1/runs/"+b.id("close"), obj{"base_rev": 2, "record": r})["record"].(obj)
	b.want(done, obj{"rev": 3, "hold": obj{"state": "released", "check_id": b.id("fail"), "reopened_at": "2026-11-05T12:00:00.000Z"}})
	c = b.get("meter_checks/" + b.id("fail") + "/consequences")
	b.want(c, obj{"reopened": 2})
	// Decided anew: the decision of then is shown still, and no longer counts.
	b.want(c["runs"].([]any)[1].(obj), obj{"reopened": true, "decision": obj{"verdict": "conditional", "at": func(v any) bool { return v.(string) < later.Format(time.RFC3339) }, "counts": func(v any) bool { return v == nil }}})
	b.want(b.get("meter_checks/"+b.id("pass")+"/consequences"), obj{"runs": []any{}, "changing": 0})
}

func TestHistoryOfAnInstrument(t *testing.T) {
	b := measured(t)
	for i, read := range []float64{0, 1, 2, 3} {
		b.check(fmt.Sprint("z", i), time.Date(2026, 9, 1+10*i, 6, 0, 0, 0, time.UTC).Format(time.RFC3339), obj{"against": "zero", "read": read})
	}
	b.check("air", "2026-10-01T07:00:00Z", obj{"against": "air", "read": 8700, "temperature_c": 20, "pressure_kpa": 97.7, "sensor_replaced": true, "note": "new cap"})
	h := b.get("instruments/" + b.id("meter") + "/history")
	b.want(h, obj{"now": "2026-11-05T12:00:00.000Z", "last_pass_at": "2026-10-30T06:00:00.000Z", "uses": 0,
		"sensor": obj{"replaced_at": "2026-10-01T07:00:00.000Z", "age_days": 35.2}, "u": obj{"known": true, "rel": 0.02, "since_check_days": 6.3}})
	series := h["series"].([]any)
	b.want(series[0].(obj), obj{"against": "zero", "unit": "ppb", "limit": 3})
	b.want(series[1].(obj), obj{"against": "air", "unit": "%", "limit": 2})
	due := h["due"].([]any)
	b.want(due[0].(obj), obj{"against": "air", "at": "2026-10-31T07:00:00.000Z", "last_outcome": "passed"})
	b.want(due[1].(obj), obj{"at": "2026-11-06T06:00:00.000Z", "every_days": 7})
	today := b.get("today")["due"].([]any)
	if len(today) != 3 { // both checks, and the sample of the run going on
		t.Errorf("due today: %v", today)
	}
	for i := range 5 { // after the new cap: 1 ppb in 10 days
		b.check(fmt.Sprint("y", i), time.Date(2026, 10, 2+5*i, 6, 0, 0, 0, time.UTC).Format(time.RFC3339), obj{"against": "zero", "read": 0.5 * float64(i)})
	}
	d := b.get("instruments/" + b.id("meter") + "/history")["series"].([]any)[0].(obj)["drift"].(obj)
	if v := num(d["per_30_days"]); v < 1 || v > 3.5 || num(d["n"]) != 6 {
		t.Errorf("drift %v", d)
	}
}
