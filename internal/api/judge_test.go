package api

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ullage/internal/store"
)

// judged is a bench with a run of 18 cans, six a set, and the shaken DO of
// each. The meter is checked before and after on request.
func judged(t *testing.T, after string, do func(i int) float64) (*bench, string) {
	b := newBench(t, store.SQLiteOptions{})
	b.setUp()
	run := b.id("run")
	b.do(200, "PUT", "/api/v1/instruments/"+b.id("meter"), obj{"base_rev": 0, "record": obj{"name": "M", "kind": "do_meter", "u_rel": 0.02, "check_every_days": 7}})
	start := noon.Add(-4 * time.Hour)
	at := func(min int) string { return start.Add(time.Duration(min) * time.Minute).Format(time.RFC3339) }
	check := func(name string, min int, outcome string) {
		b.do(200, "PUT", "/api/v1/meter_checks/"+b.id(name), obj{"base_rev": 0, "record": obj{"instrument_id": b.id("meter"), "at": at(min), "outcome": outcome, "offset_ppb": 0}})
	}
	check("before", -20, "passed")
	rec := b.run()
	rec["started_at"], rec["do_meter_id"], rec["status"], rec["ended_at"] = at(0), b.id("meter"), "ended", at(200)
	b.put(200, "runs", "run", 1, rec)
	for i := range 18 {
		s := b.sample(do(i))
		s["head"], s["closed_at"], s["taken_at"] = i%6+1, at(5+i/6*60+i%6), at(12+i/6*60+i%6)
		b.do(200, "PUT", "/api/v1/samples/"+b.id(fmt.Sprint("s", i)), obj{"base_rev": 0, "record": s})
	}
	if after != "" {
		check("after", 220, after)
	}
	return b, run
}

func ordinary(i int) float64 { return 44 + float64(i*7%5) }

func (b *bench) decision(run string, more obj) obj {
	d := obj{"run_id": run, "by": "Brewmaster", "proposed": "release", "decision": "release", "why": "all within"}
	for k, v := range more {
		d[k] = v
	}
	return obj{"base_rev": 0, "record": d}
}

func TestJudgement(t *testing.T) {
	b, run := judged(t, "passed", ordinary)
	j := b.do(200, "GET", "/api/v1/runs/"+run+"/judgement", nil)
	b.want(j, obj{"verdict": "release", "readings": 18, "meter": obj{"before": "passed", "after": "passed"}, "causes": []any{}, "held": []any{},
		"line": obj{"verdict": "keep_going"}, "chart": obj{"hits": []any{}}})
	hash := j["input_hash"]
	again := b.do(200, "GET", "/api/v1/runs/"+run+"/judgement", nil)
	b.want(again, obj{"input_hash": hash})

	// A rule of the brewery is applied at once, and shows in the hash.
	b.do(200, "PUT", "/api/v1/rules/"+b.id("rules"), obj{"base_rev": 0, "record": obj{"min_readings": 30}})
	j = b.do(200, "GET", "/api/v1/runs/"+run+"/judgement", nil)
	b.want(j, obj{"verdict": "hold", "rule": "enough_readings", "rules": obj{"min_readings": 30}, "input_hash": func(v any) bool { return v != hash }})
	// One of the beer goes before the general one.
	b.do(200, "PUT", "/api/v1/rules/"+b.id("rules of the beer"), obj{"base_rev": 0, "record": obj{"beer_id": b.id("beer"), "min_readings": 6}})
	b.want(b.do(200, "GET", "/api/v1/runs/"+run+"/judgement", nil), obj{"verdict": "release", "rules": obj{"min_readings": 6}})
}

func TestUnverifiedMeter(t *testing.T) {
	for _, after := range []string{"", "failed"} {
		b, run := judged(t, after, ordinary)
		j := b.do(200, "GET", "/api/v1/runs/"+run+"/judgement", nil)
		b.want(j, obj{"verdict": "hold", "rule": "meter_proven", "verdict_with_proven_meter": "release"})
		resp, text := b.send("PUT", "/api/v1/decisions/"+b.id("d"), b.decision(run, nil))
		if resp.StatusCode != 422 || !strings.Contains(string(text), "no passed check before and after") {
			t.Errorf("after %q: release answered %d %s", after, resp.StatusCode, text)
		}
		b.do(200, "PUT", "/api/v1/decisions/"+b.id("h"), b.decision(run, obj{"proposed": "hold", "decision": "hold", "why": "meter"}))
	}
}

func TestDecisions(t *testing.T) {
	b, run := judged(t, "passed", ordinary)
	path := "/api/v1/decisions/" + b.id("d")
	a := b.do(200, "PUT", path, b.decision(run, obj{"input_hash": "of another day"}))
	b.want(a, obj{"status": "created", "warnings": []any{obj{"field": "input_hash"}}})
	b.want(b.do(200, "PUT", path, b.decision(run, obj{"input_hash": "of another day"})), obj{"status": "unchanged"})
	// It is never revised.
	d := b.decision(run, obj{"decision": "hold", "why": "changed my mind"})
	d["base_rev"] = 1
	if resp, text := b.send("PUT", path, d); resp.StatusCode != 422 || !strings.Contains(string(text), "a decision stands") {
		t.Errorf("revised: %d %s", resp.StatusCode, text)
	}
	b.want(b.do(200, "PUT", "/api/v1/decisions/"+b.id("d2"), b.decision(run, obj{"decision": "hold", "why": "changed my mind"})),
		obj{"warnings": []any{obj{"field": "decision", "value": "hold"}}})
	for _, bad := range []obj{{"why": ""}, {"by": ""}, {"decision": "conditional"}, {"decision": "sell"}, {"run_id": b.id("nothing")},
		{"held": []any{obj{"from": "2026-11-05T10:00:00Z", "to": "2026-11-05T09:00:00Z"}}}} {
		if resp, text := b.send("PUT", "/api/v1/decisions/"+b.id(fmt.Sprint(bad)), b.decision(run, bad)); resp.StatusCode != 422 {
			t.Errorf("%v: %d %s", bad, resp.StatusCode, text)
		}
	}
	list := b.do(200, "GET", "/api/v1/decisions?run_id="+run, nil)
	b.want(list, obj{"records": []any{obj{"decision": "release"}, obj{"decision": "hold"}}})
}

func TestBadHeadIsHeld(t *testing.T) {
	b, run := judged(t, "passed", func(i int) float64 {
		if i%6 == 3 && i > 6 {
			return 150
		}
		return ordinary(i)
	})
	j := b.do(200, "GET", "/api/v1/runs/"+run+"/judgement", nil)
	held := j["held"].([]any)
	if j["verdict"] != "hold" || len(held) == 0 || held[0].(obj)["head"] != "4" {
		t.Errorf("verdict %v, held %v", j["verdict"], held)
	}
	c := b.do(200, "GET", "/api/v1/compare?by=head&line_id="+b.id("line"), nil)
	groups := c["groups"].([]any)
	if len(groups) != 6 || groups[3].(obj)["key"] != "4" || groups[3].(obj)["outside"] != "above" {
		t.Errorf("heads: %v", groups)
	}
}

func TestCompareAndMonth(t *testing.T) {
	b, run := judged(t, "passed", ordinary)
	slip := b.sample(0.045)
	slip["taken_at"], slip["closed_at"] = "2026-11-05T08:30:00Z", "2026-11-05T08:25:00Z"
	b.do(200, "PUT", "/api/v1/samples/"+b.id("slip"), obj{"base_rev": 0, "record": slip})
	for _, by := range []string{"beer", "format", "line", "month", "run"} {
		b.want(b.do(200, "GET", "/api/v1/compare?by="+by, nil), obj{"by": by, "set_aside": 1, "groups": []any{obj{"n": 18, "runs": 1}}})
	}
	b.want(b.do(200, "GET", "/api/v1/compare?by=run&to=2026-11-04", nil), obj{"groups": []any{}})
	for path, field := range map[string]string{"compare?by=head": "line_id", "compare?by=beer&from=soon": "from", "compare?by=weather": "query.by", "compare": "query.by", "months/soon": "month"} {
		if resp, text := b.send("GET", "/api/v1/"+path, nil); resp.StatusCode != 422 || !strings.Contains(string(text), `"`+field+`"`) {
			t.Errorf("%s: %d %s", path, resp.StatusCode, text)
		}
	}
	m := b.do(200, "GET", "/api/v1/months/2026-11", nil)
	b.want(m, obj{"totals": obj{"runs": 1, "undecided": 1, "hl": func(v any) bool { return v.(float64) >= 0 }},
		"runs": []any{obj{"run_id": run, "readings": 18}}, "beers": []any{obj{"n": 18, "capability": func(v any) bool { return v != nil }}},
		"pareto": []any{obj{"kind": "unit_slip", "runs": 1}}})
	b.want(b.do(200, "GET", "/api/v1/months/2026-10", nil), obj{"runs": []any{}, "beers": []any{}, "pareto": []any{}})
	if resp, _ := b.send("GET", "/api/v1/runs/"+b.id("nothing")+"/judgement", nil); resp.StatusCode != 404 {
		t.Error("no such run:", resp.StatusCode)
	}
}

// The run's own state is no way round the rule: it is released with a signed
// decision or a proven meter.
func TestReleaseOfARun(t *testing.T) {
	release := func(b *bench, run string) (int, string) {
		stored := b.do(200, "GET", "/api/v1/runs/"+run, nil)
		rev := stored["rev"]
		stored["hold"], stored["reason"] = obj{"state": "released", "reason": "all within"}, "all within"
		resp, text := b.send("PUT", "/api/v1/runs/"+run, obj{"base_rev": rev, "record": stored})
		return resp.StatusCode, string(text)
	}
	b, run := judged(t, "failed", ordinary)
	if code, text := release(b, run); code != 422 || !strings.Contains(text, "no passed check before and after") {
		t.Errorf("on a failed meter the run was released: %d %s", code, text)
	}
	b.do(200, "PUT", "/api/v1/decisions/"+b.id("c"), b.decision(run, obj{"proposed": "hold", "decision": "conditional", "condition": "taproom only", "why": "re-tested on another meter"}))
	if code, text := release(b, run); code != 200 {
		t.Errorf("with a signed decision: %d %s", code, text)
	}
	b, run = judged(t, "passed", ordinary)
	if code, text := release(b, run); code != 200 {
		t.Errorf("with a proven meter: %d %s", code, text)
	}
}
