package api

import (
	"fmt"
	"strings"
	"sync"
	"testing"

	"ullage/internal/store"
)

// The run takes what is in force when it starts; later changes do not reach it.
func TestSnapshot(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	want := obj{"number": 1, "rev": 1, "format_lot_id": b.id("lot"), "in_force": obj{"sg": 1.01, "co2_vol": 2.45, "tare_g": 13.4,
		"capacity_ml": 373.5, "capacity_sd_ml": 0.7, "nominal_ml": 355, "package": "can",
		"limits": []any{obj{"quantity": "tpo", "mean_green_ppb": 110, "single_red_ppb": 200}}}}
	b.want(b.do(200, "GET", "/api/v1/runs/"+b.id("run"), nil), want)
	b.put(200, "beers", "beer", 1, obj{"name": "Vellumrook", "sg": 1.02})
	b.put(200, "format_lots", "newer", 0, obj{"format_id": b.id("can"), "name": "June", "from": "2026-11-01", "tare_g": 13.1, "capacity_ml": 374.6})
	b.put(200, "format_lots", "future", 0, obj{"format_id": b.id("can"), "name": "Next", "from": "2026-12-01", "tare_g": 99})
	b.put(200, "limits", "can only", 0, obj{"beer_id": b.id("beer"), "format_id": b.id("can"), "quantity": "tpo", "mean_green_ppb": 90})
	b.want(b.do(200, "GET", "/api/v1/runs/"+b.id("run"), nil), want)
	got := b.put(200, "runs", "second", 0, b.run())["record"].(obj)
	b.want(got, obj{"number": 2, "format_lot_id": b.id("newer"), "in_force": obj{"sg": 1.02, "tare_g": 13.1, "limits": []any{obj{"mean_green_ppb": 90}}}})
	r := b.run()
	r["format_lot_id"], r["in_force"] = b.id("lot"), obj{"sg": 1.0095}
	b.want(b.put(200, "runs", "third", 0, r)["record"].(obj), obj{"in_force": obj{"sg": 1.0095, "tare_g": 13.4}})
	b.put(200, "formats", "bottle", 0, obj{"name": "Bottle 330", "kind": "bottle", "nominal_ml": 330})
	r = b.run()
	r["format_id"], r["format_lot_id"] = b.id("bottle"), b.id("lot")
	b.want(b.put(422, "runs", "fourth", 0, r), obj{"errors": []any{obj{"location": "record.format_lot_id"}}})
	delete(r, "format_lot_id")
	b.want(b.put(200, "runs", "fifth", 0, r), obj{"warnings": []any{obj{"field": "in_force.capacity_ml"}, obj{"field": "in_force.tare_g"}}})
}

// A sample: the server computes, raw inputs stay, a correction needs who and
// why, and the older result stays visible.
func TestSampleAndCorrection(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	first := b.put(200, "samples", "s", 0, b.sample(48))["record"].(obj)
	b.want(first, obj{"rev": 1, "raw": obj{"do_ppb": "48"}, "result": obj{"method": "tpo/1", "computed_by": "server", "path": "weighed"}})
	tpo := first["result"].(obj)["tpo_ppb"].(float64)
	// By hand (docs/method.md): 4 °C, K = 22.28; 359.2 g at 1.010 is about 355.1 mL;
	// headspace about 18.4 mL; 48 × (1 + 22.28 × 18.4/355.1) is about 103 ppb.
	if tpo < 99 || tpo > 107 {
		t.Errorf("TPO %v ppb, by hand about 103", tpo)
	}
	fixed := b.sample(84)
	b.want(b.put(422, "samples", "s", 1, fixed), obj{"errors": []any{obj{"location": "record.reason", "mend": contains("why")}}})
	fixed["reason"] = "digits swapped"
	delete(fixed, "by")
	b.want(b.put(422, "samples", "s", 1, fixed), obj{"errors": []any{obj{"location": "record.by"}}})
	fixed["by"] = "Brewmaster"
	second := b.put(200, "samples", "s", 1, fixed)["record"].(obj)
	b.want(second, obj{"rev": 2, "by": "Brewmaster", "reason": "digits swapped", "raw": obj{"do_ppb": "84"},
		"results_before": []any{obj{"tpo_ppb": tpo}}})
	revs := b.do(200, "GET", "/api/v1/samples/"+b.id("s")+"/revisions", nil)
	b.want(revs, obj{"revisions": []any{
		obj{"rev": 1, "inputs": obj{"do_ppb": 48}, "raw": obj{"do_ppb": "48"}, "result": obj{"tpo_ppb": tpo}},
		obj{"rev": 2, "inputs": obj{"do_ppb": 84}}}})
	moved := b.sample(84)
	moved["run_id"], moved["reason"] = b.id("other"), "wrong run"
	b.put(200, "runs", "other", 0, b.run())
	b.want(b.put(422, "samples", "s", 2, moved), obj{"errors": []any{obj{"location": "record.run_id"}}})
}

// What is odd is said and stored; what is impossible is refused.
func TestWarnings(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	field := func(name string) func(any) bool {
		return func(v any) bool {
			for _, w := range v.([]any) {
				if w.(obj)["field"] == name && w.(obj)["message"] != "" {
					return true
				}
			}
			return false
		}
	}
	for name, c := range map[string]struct {
		change func(s, in obj)
		field  string
	}{
		"ppm for ppb":      {func(_, in obj) { in["do_ppb"] = 0.048 }, "result.shaken_do_ppb"},
		"wrong package":    {func(_, in obj) { in["gross_g"] = 330 }, "result.gross_g"},
		"no headspace":     {func(_, in obj) { in["gross_g"] = 399 }, "result.headspace_ml"},
		"old temperature":  {func(_, in obj) { in["temperature_at"] = "2026-11-05T08:00:00Z" }, "inputs.temperature_at"},
		"short shake":      {func(_, in obj) { in["shake_min"] = 0.2 }, "inputs.shake_min"},
		"read late":        {func(s, _ obj) { s["closed_at"] = "2026-11-05T09:00:00Z"; s["taken_at"] = "2026-11-05T11:59:00Z" }, "result.minutes_since_closing_min"},
		"unshaken, shaken": {func(s, _ obj) { s["kind"] = "unshaken" }, "inputs.shake_min"},
		"before the run":   {func(s, _ obj) { s["closed_at"] = "2026-11-05T09:00:00Z"; s["taken_at"] = "2026-11-05T09:10:00Z" }, "taken_at"},
		"no weight":        {func(_, in obj) { delete(in, "gross_g") }, "result.gross_g"},
	} {
		s := b.sample(48)
		c.change(s, s["inputs"].(obj))
		got := b.put(200, "samples", name, 0, s)
		if !field(c.field)(got["warnings"]) {
			t.Errorf("%s: no warning on %s in %v", name, c.field, got["warnings"])
		}
	}
	for name, change := range map[string]func(s, in obj){
		"tare above gross": func(s, in obj) { s["tare_source"] = "own"; in["tare_g"] = 400 },
		"own tare missing": func(s, _ obj) { s["tare_source"] = "own" },
		"below zero":       func(_, in obj) { in["do_ppb"] = -3 },
		"boiling":          func(_, in obj) { in["temperature_c"] = 140 },
		"taken before":     func(s, _ obj) { s["closed_at"] = "2026-11-05T11:59:00Z" },
	} {
		s := b.sample(48)
		change(s, s["inputs"].(obj))
		b.put(422, "samples", name, 0, s)
	}
}

// A double tap, a lost answer, two tabs: the same content is stored once.
func TestDoubleTap(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	id := b.id("s")
	var wg sync.WaitGroup
	var mu sync.Mutex
	count := map[any]int{}
	for i := range 10 {
		wg.Go(func() {
			s := b.sample(48)
			s["id"], s["device_at"] = id, fmt.Sprintf("2026-11-05T11:59:%02dZ", i) // taps differ in time only
			got := b.do(200, "PUT", "/api/v1/samples/"+id, obj{"base_rev": 0, "record": s})
			mu.Lock()
			defer mu.Unlock()
			count[got["status"]]++
		})
	}
	wg.Wait()
	if count["created"] != 1 || count["unchanged"] != 9 {
		t.Errorf("%v", count)
	}
	b.want(b.do(200, "GET", "/api/v1/samples?run_id="+b.id("run"), nil), obj{"records": []any{obj{"id": id, "rev": 1}}})
	run := b.run()
	run["id"] = b.id("run")
	b.want(b.do(200, "PUT", "/api/v1/runs/"+b.id("run"), obj{"base_rev": 0, "record": run}), obj{"status": "unchanged", "record": obj{"number": 1}})
}

// Two phones write into one run: all samples are there, once each; where both
// correct the same sample, the second is shown both versions.
func TestTwoPhones(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	b.put(200, "samples", "s", 0, b.sample(48))
	var wg sync.WaitGroup
	for phone := range 2 {
		names := make([]string, 20)
		for i := range names {
			names[i] = b.id(fmt.Sprint(phone, i))
		}
		wg.Go(func() {
			writes := []any{}
			for i, id := range names {
				s := b.sample(float64(40 + i))
				s["id"], s["device_id"] = id, fmt.Sprint("phone ", phone)
				writes = append(writes, obj{"collection": "samples", "base_rev": 0, "record": s})
			}
			for range 2 { // the first answer was lost
				b.do(200, "POST", "/api/v1/batch", obj{"writes": writes, "sent_at": "2026-11-05T12:00:01Z"})
			}
		})
	}
	wg.Wait()
	view := b.do(200, "GET", "/api/v1/runs/"+b.id("run")+"/view", nil)
	if n := len(view["samples"].([]any)); n != 41 {
		t.Errorf("%d samples, want 41", n)
	}
	one, two := b.sample(50), b.sample(51)
	one["reason"], two["reason"] = "misread", "misread"
	b.put(200, "samples", "s", 1, one)
	got := b.put(409, "samples", "s", 1, two)
	b.want(got, obj{"title": "Someone else wrote first", "current": obj{"rev": 2, "inputs": obj{"do_ppb": 50}}, "yours": obj{"inputs": obj{"do_ppb": 51}},
		"errors": []any{obj{"location": "base_rev", "value": 1, "mend": contains("base_rev 2")}}})
	b.want(b.put(200, "samples", "s", 1, one), obj{"status": "unchanged", "record": obj{"rev": 2}})
	b.put(200, "samples", "s", 2, two) // sent again on what stands
}

// A phone whose clock is a day wrong: both clocks stay, and it is said.
func TestClockADayWrong(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	put := func(name, sentAt, deviceAt string) obj {
		s := b.sample(48)
		s["id"], s["device_at"] = b.id(name), deviceAt
		body := obj{"base_rev": 0, "record": s}
		if sentAt != "" {
			body["sent_at"] = sentAt
		}
		return b.do(200, "PUT", "/api/v1/samples/"+b.id(name), body)
	}
	b.want(put("ahead", "2026-11-06T12:00:00Z", "2026-11-06T11:59:00+00:00"), obj{
		"record":   obj{"device_at": "2026-11-06T11:59:00.000Z", "server_at": "2026-11-05T12:00:00.000Z", "clock_skew_s": 86400},
		"warnings": []any{obj{"field": "sent_at", "message": contains("24 h 0 min ahead of"), "mend": contains("clock")}}})
	b.want(put("behind", "2026-11-04T12:00:00Z", "2026-11-04T11:59:00Z"), obj{
		"record": obj{"clock_skew_s": -86400}, "warnings": []any{obj{"field": "sent_at", "message": contains("behind")}}})
	b.want(put("waited offline", "2026-11-05T12:00:02Z", "2026-11-05T09:00:00+02:00"), obj{
		"record": obj{"device_at": "2026-11-05T09:00:00.000+02:00", "clock_skew_s": 2}, "warnings": []any{}})
	b.want(put("no sent_at, ahead", "", "2026-11-05T12:06:00Z"), obj{"warnings": []any{obj{"field": "device_at", "message": contains("6 min ahead of")}}})
	b.want(put("no sent_at, old", "", "2026-11-05T09:00:00Z"), obj{"warnings": []any{obj{"field": "device_at", "message": contains("3 h 0 min before it arrived")}}})
}

// The device's own result is kept where the server's differs.
func TestDeviceResult(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	server := b.put(200, "samples", "s", 0, b.sample(48))["record"].(obj)["result"].(obj)
	same := b.sample(48)
	same["result"] = obj{"method": "tpo/1", "path": "weighed", "tpo_ppb": server["tpo_ppb"].(float64) + 0.02, "computed_by": "device"}
	b.want(b.put(200, "samples", "same", 0, same), obj{"warnings": []any{}, "record": obj{"result": obj{"computed_by": "server"}, "results_before": nil}})
	other := b.sample(48)
	other["result"] = obj{"method": "tpo/0", "path": "weighed", "tpo_ppb": 99, "computed_by": "device"}
	b.want(b.put(200, "samples", "other", 0, other), obj{"warnings": []any{obj{"field": "result.tpo_ppb", "value": 99}},
		"record": obj{"result": obj{"method": "tpo/1"}, "results_before": []any{obj{"method": "tpo/0", "tpo_ppb": 99, "computed_by": "device"}}}})
}

// A corrected tare of the run computes its samples again; a phone that corrects
// a sample on the revision before that is not turned away.
func TestRecompute(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	before := b.put(200, "samples", "s", 0, b.sample(48))["record"].(obj)["result"].(obj)["tpo_ppb"]
	run := b.do(200, "GET", "/api/v1/runs/"+b.id("run"), nil)
	run["in_force"].(obj)["tare_g"] = 12.4
	run["reason"], run["by"] = "tare of the wrong lot", "Brewmaster"
	b.put(200, "runs", "run", 1, run)
	got := b.do(200, "GET", "/api/v1/samples/"+b.id("s"), nil)
	b.want(got, obj{"rev": 2, "by": "Brewmaster", "reason": contains("computed again"), "raw": obj{"do_ppb": "48"},
		"results_before": []any{obj{"tpo_ppb": before}}, "result": obj{"tpo_ppb": func(v any) bool { return v.(float64) < before.(float64) }}})
	b.want(b.do(200, "POST", "/api/v1/runs/"+b.id("run")+"/recompute", nil), obj{"changed": 0})
	late := b.sample(50)
	late["reason"] = "misread"
	b.want(b.put(200, "samples", "s", 1, late), obj{"status": "updated", "record": obj{"rev": 3, "inputs": obj{"do_ppb": 50}}})
}

// A full disk answers 507 and loses nothing that was answered.
func TestDiskFull(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{MaxPages: 90})
	b.setUp()
	kept := 0
	for i := 0; ; i++ {
		s := b.sample(48)
		s["id"], s["note"] = b.id(fmt.Sprint(i)), strings.Repeat("n", 500)
		resp, text := b.send("PUT", "/api/v1/samples/"+s["id"].(string), obj{"base_rev": 0, "record": s})
		if resp.StatusCode == 200 {
			kept++
			continue
		}
		if resp.StatusCode != 507 || !strings.Contains(string(text), "nothing of this request was kept") || kept == 0 {
			t.Fatalf("after %d: %d %s", kept, resp.StatusCode, text)
		}
		break
	}
	got := b.do(507, "POST", "/api/v1/batch", obj{"writes": []any{obj{"collection": "tanks", "base_rev": 0,
		"record": obj{"id": b.id("t"), "name": "T", "kind": "fermenter", "note": strings.Repeat("n", 4000)}}}})
	b.want(got, obj{"title": "The server's disk is full"})
	if n := len(b.do(200, "GET", "/api/v1/samples?limit=1000&run_id="+b.id("run"), nil)["records"].([]any)); n != kept {
		t.Errorf("%d samples, %d answered", n, kept)
	}
}

func TestPages(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	for i := range 25 {
		b.put(200, "tanks", fmt.Sprint("t", i), 0, obj{"name": fmt.Sprint(i), "kind": "fermenter"})
	}
	var names []string
	for path := "/api/v1/tanks?limit=10"; path != ""; {
		page := b.do(200, "GET", path, nil)
		for _, r := range page["records"].([]any) {
			names = append(names, r.(obj)["name"].(string))
		}
		path = ""
		if next, ok := page["next"].(string); ok {
			path = "/api/v1/tanks?limit=10&after=" + next
		}
	}
	if len(names) != 25 || names[0] != "0" || names[24] != "24" {
		t.Error(names)
	}
	b.want(b.do(200, "GET", "/api/v1/tanks?limit=1&order=newest", nil), obj{"records": []any{obj{"name": "24"}}})
	changes := b.do(200, "GET", "/api/v1/changes?limit=20", nil)
	b.want(changes, obj{"more": true})
	rest := b.do(200, "GET", "/api/v1/changes?since="+changes["cursor"].(string), nil)
	b.want(rest, obj{"more": false, "changes": []any{obj{"collection": "tanks", "record": obj{"name": "20"}}, obj{}, obj{}, obj{}, obj{}}})
	b.want(b.do(200, "GET", "/api/v1/changes?since="+rest["cursor"].(string), nil), obj{"changes": []any{}, "cursor": rest["cursor"]})
}

func TestToday(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	b.put(200, "instruments", "meter", 0, obj{"name": "Meter 1", "kind": "do_meter", "check_every_days": 1, "last_checked_at": "2026-11-04T07:00:00Z"})
	b.put(200, "instruments", "scale", 0, obj{"name": "Scale", "kind": "scale", "check_every_days": 30, "last_checked_at": "2026-11-04T07:00:00Z"})
	s := b.sample(48)
	s["inputs"].(obj)["temperature_at"] = "2026-11-05T11:10:00Z"
	b.put(200, "samples", "s", 0, s)
	held := b.run()
	held["status"], held["ended_at"], held["hold"] = "ended", "2026-11-05T11:30:00Z", obj{"state": "held", "reason": "head 4"}
	b.put(200, "runs", "held", 0, held)
	b.want(b.do(200, "GET", "/api/v1/today", nil), obj{
		"now": "2026-11-05T12:00:00.000Z", "runs": []any{obj{"id": b.id("run")}}, "held": []any{obj{"id": b.id("held")}},
		"results": []any{obj{"id": b.id("s")}},
		"due": []any{
			obj{"what": "meter_check", "at": "2026-11-05T07:00:00.000Z", "instrument_id": b.id("meter"), "why": contains("Meter 1")},
			obj{"what": "sample", "at": "2026-11-05T12:20:00.000Z", "run_id": b.id("run"), "why": contains("30 min")},
			obj{"what": "temperature", "at": "2026-11-05T14:10:00.000Z", "run_id": b.id("run"), "why": contains("11:10")},
		}})
}

// A repeated start of a run is the same run; numbers are not used up by it.
func TestRunNumbers(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	for range 3 {
		b.put(200, "runs", "run", 0, b.run())
	}
	b.want(b.put(200, "runs", "next", 0, b.run()), obj{"record": obj{"number": 2}})
	r := b.run()
	r["status"], r["ended_at"] = "ended", "2026-11-05T11:59:00Z"
	b.want(b.put(200, "runs", "run", 1, r), obj{"record": obj{"number": 1, "rev": 2, "in_force": obj{"tare_g": 13.4}}})
	b.want(b.put(200, "runs", "run", 0, b.run()), obj{"status": "unchanged", "record": obj{"rev": 2, "status": "ended"}})
	b.want(b.put(200, "runs", "run", 2, b.run()), obj{"status": "updated", "record": obj{"rev": 3, "status": "going"}})
}
