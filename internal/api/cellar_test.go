package api

import (
	"testing"

	"ullage/internal/store"
)

// cellar enters a fermenter with 48 hL, a bright tank and a meter.
func (b *bench) cellar() {
	b.Helper()
	b.setUp()
	b.put(200, "instruments", "meter", 0, obj{"name": "DO meter 2", "kind": "do_meter", "u_abs": 0.8, "u_rel": 0.02})
	b.put(200, "instruments", "balance", 0, obj{"name": "Balance", "kind": "scale"})
	b.put(200, "tanks", "fv", 0, obj{"name": "FV12", "kind": "fermenter", "volume_hl": 100})
	b.put(200, "tanks", "bbt", 0, obj{"name": "BBT3", "kind": "bright_tank", "volume_hl": 50, "headspace_bar": 0.8})
	b.put(200, "batches", "wort", 0, obj{"code": "V-118", "beer_id": b.id("beer"), "tank_id": b.id("fv"), "volume_hl": 48,
		"made_at": "2026-10-20T08:00:00Z", "status": "fermenting"})
	b.put(200, "batches", "bright", 0, obj{"code": "V-118 B", "beer_id": b.id("beer"), "tank_id": b.id("bbt"), "volume_hl": 46,
		"made_at": "2026-11-04T08:00:00Z", "status": "bright"})
}

func (b *bench) move(change obj) obj {
	return with(obj{"kind": "transfer", "from_batch_id": b.id("wort"), "to_batch_id": b.id("bright"), "started_at": "2026-11-04T08:00:00Z",
		"ended_at": "2026-11-04T08:50:00Z", "volume_hl": 47, "flow_hl_h": 60, "via": []any{"centrifuge", "hose"}}, change)
}

func (b *bench) reading(change obj) obj {
	return with(obj{"batch_id": b.id("bright"), "move_id": b.id("move"), "point": "centrifuge_out", "at": "2026-11-04T08:20:00Z",
		"raw": "24 ppb", "do_ppb": 24, "meter_id": b.id("meter"), "by": "Cellar"}, change)
}

func with(record, change obj) obj {
	for k, v := range change {
		if record[k] = v; v == nil {
			delete(record, k)
		}
	}
	return record
}

// What cannot be is refused with the field and the mend; what is odd is kept
// with a warning.
func TestCellarRecords(t *testing.T) {
	field := func(f string, mend func(any) bool) obj {
		return obj{"errors": []any{obj{"location": "record." + f, "mend": mend}}}
	}
	warned := func(f string, message func(any) bool) obj {
		return obj{"warnings": []any{obj{"field": f, "message": message}}}
	}
	some := func(v any) bool { return v != nil }
	for name, c := range map[string]struct {
		collection string
		status     int
		record     func(*bench) obj
		want       obj
	}{
		"a reading":           {"readings", 200, func(b *bench) obj { return b.reading(nil) }, obj{"warnings": []any{}}},
		"ppm after the yeast": {"readings", 422, func(b *bench) obj { return b.reading(obj{"do_ppb": 4100}) }, field("do_ppb", contains("send 4.1 ppb, or 4100 ppb with confirmed: event"))},
		"1000 ppb is asked":   {"readings", 422, func(b *bench) obj { return b.reading(obj{"do_ppb": 1000}) }, field("do_ppb", contains("1 ppb"))},
		"an event":            {"readings", 200, func(b *bench) obj { return b.reading(obj{"do_ppb": 4100, "confirmed": "event"}) }, obj{"warnings": []any{}}},
		"wort in mg/L": {"readings", 200, func(b *bench) obj {
			return b.reading(obj{"batch_id": b.id("wort"), "move_id": nil, "point": "wort_oxygenated", "do_ppb": 9500})
		}, obj{"warnings": []any{}}},
		"wort as typed": {"readings", 200, func(b *bench) obj {
			return b.reading(obj{"batch_id": b.id("wort"), "move_id": nil, "point": "wort_oxygenated", "do_ppb": 9.5})
		}, warned("do_ppb", contains("0.0095 mg/L"))},
		"gas space alone": {"readings", 200, func(b *bench) obj { return b.reading(obj{"point": "tank_gas", "do_ppb": nil, "gas_o2_pct": 0.4}) }, obj{}},
		"gas in ppm":      {"readings", 200, func(b *bench) obj { return b.reading(obj{"point": "tank_gas", "do_ppb": nil, "gas_o2_pct": 30}) }, warned("gas_o2_pct", contains("air"))},
		"gas in beer":     {"readings", 422, func(b *bench) obj { return b.reading(obj{"gas_o2_pct": 0.4}) }, field("gas_o2_pct", contains("tank_gas"))},
		"nothing read":    {"readings", 422, func(b *bench) obj { return b.reading(obj{"do_ppb": nil}) }, field("do_ppb", some)},
		"a balance reads": {"readings", 422, func(b *bench) obj { return b.reading(obj{"meter_id": b.id("balance")}) }, field("meter_id", contains("meter"))},
		"no such point":   {"readings", 422, func(b *bench) obj { return b.reading(obj{"point": "mash"}) }, field("point", contains("wort_cooled"))},
		"after the move":  {"readings", 200, func(b *bench) obj { return b.reading(obj{"at": "2026-11-04T12:20:00Z"}) }, warned("at", contains("within the move"))},
		"too much":        {"moves", 422, func(b *bench) obj { return b.move(obj{"volume_hl": 52}) }, field("volume_hl", contains("this volume"))},
		"emptied twice":   {"moves", 422, func(b *bench) obj { return b.move(obj{"kind": "dump", "to_batch_id": nil}) }, field("volume_hl", some)},
		"a cycle": {"moves", 422, func(b *bench) obj {
			return b.move(obj{"from_batch_id": b.id("bright"), "to_batch_id": b.id("wort"), "volume_hl": nil})
		}, field("to_batch_id", contains("new batch"))},
		"to itself": {"moves", 422, func(b *bench) obj { return b.move(obj{"to_batch_id": b.id("wort"), "volume_hl": 1}) }, field("to_batch_id", contains("recirculation"))},
		"round the hops": {"moves", 200, func(b *bench) obj {
			return b.move(obj{"kind": "recirculation", "to_batch_id": b.id("wort"), "flow_hl_h": nil})
		}, obj{"warnings": []any{}}},
		"from nowhere":      {"moves", 422, func(b *bench) obj { return b.move(obj{"from_batch_id": nil}) }, field("from_batch_id", some)},
		"hops without what": {"moves", 422, func(b *bench) obj { return b.move(obj{"kind": "addition", "from_batch_id": nil}) }, field("addition", contains("what"))},
		"dry hop": {"moves", 200, func(b *bench) obj {
			return b.move(obj{"kind": "addition", "from_batch_id": nil, "to_batch_id": b.id("wort"), "via": nil, "volume_hl": nil, "addition": obj{"what": "dry_hop", "amount_kg": 24}})
		}, obj{"warnings": []any{}}},
		"flow and times": {"moves", 200, func(b *bench) obj {
			return b.move(obj{"kind": "recirculation", "to_batch_id": b.id("wort"), "flow_hl_h": 600})
		}, warned("flow_hl_h", contains("hL/h"))},
		"backwards": {"moves", 422, func(b *bench) obj { return b.move(obj{"ended_at": "2026-11-04T07:50:00Z", "volume_hl": 0.5}) }, field("ended_at", some)},
		"two in a tank": {"batches", 422, func(b *bench) obj {
			return obj{"code": "D-9", "beer_id": b.id("beer"), "tank_id": b.id("fv"), "made_at": "2026-11-03T08:00:00Z"}
		}, field("made_at", contains("tank"))},
		"not said empty": {"batches", 200, func(b *bench) obj {
			return obj{"code": "D-9", "beer_id": b.id("beer"), "tank_id": b.id("bbt"), "made_at": "2026-11-05T08:00:00Z"}
		}, warned("tank_id", contains("V-118 B"))},
		"larger than the tank": {"batches", 200, func(b *bench) obj {
			return obj{"code": "D-9", "beer_id": b.id("beer"), "tank_id": b.id("bbt"), "volume_hl": 480}
		}, warned("volume_hl", contains("50 hL"))},
		"a brew":              {"brews", 200, func(b *bench) obj { return b.brew(nil) }, obj{"warnings": []any{}}},
		"a brew in ppb":       {"brews", 422, func(b *bench) obj { return b.brew(obj{"do_mg_l": 9300}) }, field("do_mg_l", some)},
		"less after the gas":  {"brews", 422, func(b *bench) obj { return b.brew(obj{"carry_over_mg_l": 9.9}) }, field("carry_over_mg_l", some)},
		"limits":              {"cellar_limits", 200, func(b *bench) obj { return obj{"what": "step", "step": "centrifuge", "green_ppb": 10, "red_ppb": 25} }, obj{}},
		"limits exchanged":    {"cellar_limits", 422, func(b *bench) obj { return obj{"what": "step", "step": "centrifuge", "green_ppb": 25, "red_ppb": 10} }, field("red_ppb", some)},
		"a limit of no point": {"cellar_limits", 422, func(b *bench) obj { return obj{"what": "point", "step": "hold", "point": "tank_hold", "green_ppb": 25} }, field("step", some)},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, store.SQLiteOptions{})
			b.cellar()
			b.put(200, "moves", "move", 0, b.move(nil))
			b.want(b.put(c.status, c.collection, "new", 0, c.record(b)), c.want)
		})
	}
}

func (b *bench) brew(change obj) obj {
	return with(obj{"code": "G-301", "batch_id": b.id("wort"), "at": "2026-10-20T08:00:00Z", "volume_hl": 24, "sg": 1.049, "temperature_c": 12,
		"minutes": 40, "gas": "oxygen", "target_mg_l": 9.5, "carry_over_mg_l": 0.5, "do_mg_l": 9.3, "gas_flow_nl_min": 0.6}, change)
}

// A reading is corrected with a reason, and is found by its batch.
func TestCorrectAReading(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.cellar()
	b.put(200, "moves", "move", 0, b.move(nil))
	b.put(200, "readings", "r", 0, b.reading(nil))
	b.want(b.put(422, "readings", "r", 1, b.reading(obj{"do_ppb": 42})), obj{"errors": []any{obj{"location": "record.reason"}}})
	b.put(200, "readings", "r", 1, b.reading(obj{"do_ppb": 42, "reason": "digits exchanged"}))
	list := b.do(200, "GET", "/api/v1/readings?batch_id="+b.id("bright"), nil)
	b.want(list, obj{"records": []any{obj{"do_ppb": 42, "rev": 2}}})
	b.want(b.do(200, "GET", "/api/v1/readings?batch_id="+b.id("wort"), nil), obj{"records": []any{}})
	b.want(b.do(200, "GET", "/api/v1/readings/"+b.id("r")+"/revisions", nil), obj{"revisions": []any{obj{"do_ppb": 24}, obj{"do_ppb": 42}}})
}

// A batch from two brews to its run: map, board, changes, transfers and brews say
// what the records hold; with nothing on record they say that.
func TestCellarAnswers(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.want(b.do(200, "GET", "/api/v1/cellar", nil), obj{"tanks": []any{}})
	b.want(b.do(200, "GET", "/api/v1/transfers", nil), obj{"steps": []any{}, "summary": []any{}})
	b.want(b.do(200, "GET", "/api/v1/brews/trend", nil), obj{"brews": []any{}, "trend": obj{"n": 0}})
	b.cellar()
	b.want(b.do(200, "GET", "/api/v1/batches/"+b.id("bright")+"/map", nil), obj{"map": obj{"steps": []any{}, "diagnosis": []any{}}})
	b.want(b.do(200, "GET", "/api/v1/batches/"+b.id("bright")+"/changes", nil), obj{"why": contains("no move and no reading")})
	for path, status := range map[string]int{"batches/" + b.id("none") + "/map": 404, "batches/" + b.id("none") + "/changes": 404, "transfers?step=mash": 422, "transfers?from=soon": 422} {
		b.do(status, "GET", "/api/v1/"+path, nil)
	}

	b.put(200, "brews", "g1", 0, b.brew(nil))
	b.put(200, "moves", "move", 0, b.move(nil))
	for name, r := range map[string]obj{
		"1": {"batch_id": b.id("wort"), "move_id": nil, "point": "fermentation_end", "at": "2026-10-30T08:00:00Z", "do_ppb": 3},
		"2": {"batch_id": b.id("wort"), "point": "centrifuge_in", "at": "2026-11-04T08:10:00Z", "do_ppb": 6},
		"3": {"point": "centrifuge_out", "at": "2026-11-04T08:12:00Z", "do_ppb": 40},
		"4": {"move_id": nil, "point": "tank_after", "at": "2026-11-04T09:00:00Z", "do_ppb": 42},
		"5": {"move_id": nil, "point": "tank_rested", "at": "2026-11-05T10:40:00Z", "do_ppb": 41},
	} {
		b.put(200, "readings", name, 0, b.reading(r))
	}
	run := b.run()
	run["batch_id"] = b.id("bright")
	b.put(200, "runs", "run", 1, run)
	b.put(200, "samples", "s1", 0, with(b.sample(46), obj{"kind": "inlet", "closed_at": nil, "taken_at": "2026-11-05T11:05:00Z", "inputs": obj{"do_ppb": 46}, "raw": obj{}}))
	b.put(200, "samples", "s2", 0, with(b.sample(60), obj{"kind": "unshaken", "inputs": obj{"do_ppb": 60}, "raw": obj{}}))
	b.put(200, "samples", "s3", 0, b.sample(48))

	m := b.do(200, "GET", "/api/v1/batches/"+b.id("bright")+"/map", nil)
	over := 0
	for _, s := range m["map"].(obj)["steps"].([]any) {
		if x := s.(obj); x["state"] == "over" && x["kind"] == "centrifuge" && x["delta_ppb"] == 34.0 {
			over++
		}
	}
	if over != 1 {
		t.Errorf("the centrifuge is not over its budget by the map: %v", m["map"].(obj)["steps"])
	}
	b.want(m, obj{"map": obj{"package": []any{obj{"run": b.id("run"), "tank_ppb": 41, "line_ppb": 5, "filler_ppb": 14}}}})
	b.want(b.do(200, "GET", "/api/v1/runs/"+b.id("run")+"/judgement", nil), obj{"split": obj{"tank_ppb": 41, "line_ppb": 5, "liquid_pickup_ppb": 14}})
	b.want(b.do(200, "GET", "/api/v1/transfers?step=centrifuge&from=2026-11-04&to=2026-11-04", nil), obj{"steps": []any{obj{"delta_ppb": 34, "from_tank": "FV12", "tank": "BBT3", "state": "over"}}})
	b.want(b.do(200, "GET", "/api/v1/transfers?step=centrifuge&from=2026-11-05", nil), obj{"steps": []any{}})
	b.want(b.do(200, "GET", "/api/v1/brews/trend", nil), obj{"brews": []any{obj{"code": "G-301", "gas_nl_min": 0.6, "efficiency_fraction": func(v any) bool {
		x, _ := v.(float64) // (9.3 - 0.5) mg/L × 2400 L / (0.6 NL/min × 40 min × 1429 mg/NL)
		return x > 0.6157 && x < 0.6159
	}}}})
	b.want(b.do(200, "GET", "/api/v1/cellar", nil), obj{"tanks": []any{obj{"tank": obj{"name": "FV12"}, "last": obj{"point": "centrifuge_in"}, "left_hl": 1},
		obj{"tank": obj{"name": "BBT3"}, "beer": "Vellumrook", "last": obj{"point": "tank_rested", "state": "watch", "green_ppb": 30, "limit_from": "starting point", "age_h": 4.0 / 3}}}})

	// The brewery's own limit, of this beer, goes before the starting point.
	b.put(200, "cellar_limits", "all", 0, obj{"what": "point", "point": "tank_rested", "green_ppb": 20, "red_ppb": 35})
	b.put(200, "cellar_limits", "own", 0, obj{"what": "point", "point": "tank_rested", "beer_id": b.id("beer"), "green_ppb": 45})
	b.want(b.do(200, "GET", "/api/v1/cellar", nil), obj{"tanks": []any{obj{}, obj{"last": obj{"state": "ok", "green_ppb": 45, "red_ppb": 50, "limit_from": "own"}}}})
}

// A brew in which air gave more than air can is asked about: 9.45 mg/L in water at
// 18 °C (Benson & Krause), times 10^(-6.5e-4 × 127 g/L) for the wort.
func TestAirHasACeiling(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.cellar()
	b.want(b.put(200, "brews", "air", 0, b.brew(obj{"gas": "air", "do_mg_l": 12.5, "temperature_c": 18})), obj{"warnings": []any{obj{"field": "do_mg_l", "message": contains("7.8 mg/L")}}})
	b.want(b.put(200, "brews", "pressed", 0, b.brew(obj{"gas": "air", "do_mg_l": 12.5, "temperature_c": 18, "line_bar": 1.5})), obj{"warnings": []any{}})
}

// A reading whose move was archived stays on the map of its batch.
func TestArchivedMove(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.cellar()
	b.put(200, "moves", "move", 0, b.move(nil))
	b.put(200, "readings", "r", 0, b.reading(nil))
	b.put(200, "moves", "move", 1, b.move(obj{"archived": true}))
	b.want(b.do(200, "GET", "/api/v1/batches/"+b.id("bright")+"/map", nil), obj{"map": obj{"nodes": []any{obj{"point": "centrifuge_out", "do_ppb": 24}}}})
}
