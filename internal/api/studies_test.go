package api

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"ullage/internal/ingest"
	"ullage/internal/lab"
)

func pairs(offset float64) []any {
	var rows []any
	for i := range 24 {
		direct := 40 + 5*float64(i)
		rows = append(rows, obj{"id": fmt.Sprint(i), "direct_ppb": direct, "calculated_ppb": direct + offset + float64(i%5-2), "calculated_u_ppb": 4})
	}
	return rows
}

// A run may stand in by an agreement study in force that covers its package and
// its meter, and by no other.
func TestStandIn(t *testing.T) {
	b := measured(t)
	study := obj{"kind": "agreement", "name": "Cans, spring", "at": "2026-10-20T09:00:00Z", "rows": pairs(0), "do_meter_id": b.id("meter"), "settings": obj{"margin_ppb": 5}, "by": "Quality tech"}
	got := b.put(200, "studies", "agree", 0, study)["record"].(obj)
	b.want(got, obj{"method": "agree/1", "result": obj{"verdict": "may stand in", "n": 24, "equivalent": true}})
	run := func(name string, status int, more obj) obj {
		r := b.run()
		r["id"], r["do_meter_id"], r["measured_by"], r["stand_in"] = b.id(name), b.id("meter"), "calculated", true
		for k, v := range more {
			r[k] = v
		}
		return b.do(status, "PUT", "/api/v1/runs/"+b.id(name), obj{"base_rev": 0, "record": r})
	}
	refused := func(name, why string, more obj) {
		t.Helper()
		e := run(name, 422, more)["errors"].([]any)[0].(obj)
		if !strings.Contains(e["message"].(string), why) || e["mend"] == "" {
			t.Errorf("%s: %v, want %q", name, e, why)
		}
	}
	refused("r1", "not in force", nil)
	study["in_force_from"] = "2026-10-25T00:00:00Z"
	p := b.do(422, "PUT", "/api/v1/studies/"+b.id("agree"), obj{"base_rev": 1, "record": study})
	if e := p["errors"].([]any)[0].(obj); e["location"] != "record.format_ids" {
		t.Errorf("in force without packages: %v", e)
	}
	study["format_ids"] = []any{b.id("can")}
	b.put(200, "studies", "agree", 1, study)
	b.put(200, "formats", "bottle", 0, obj{"name": "Bottle", "kind": "bottle", "nominal_ml": 330})
	refused("r2", "other packages", obj{"format_id": b.id("bottle")})
	b.put(200, "instruments", "spare", 0, obj{"name": "Spare", "kind": "do_meter"})
	refused("r3", "another DO meter", obj{"do_meter_id": b.id("spare")})
	refused("r4", "in force from 2026-10-25", obj{"started_at": "2026-10-01T07:00:00Z"})
	refused("r5", "needs no stand-in", obj{"measured_by": "direct"})

	in := run("r6", 200, nil)["record"].(obj)
	b.want(in, obj{"stand_in_study_id": b.id("agree"), "in_force": obj{"stand_in": obj{"study_id": b.id("agree"), "n": 24, "margin_ppb": 5, "lowest_ppb": 40, "highest_ppb": 155,
		"bias_ppb": func(v any) bool { return math.Abs(num(v)) < 0.5 }}}})
	b.want(b.get("studies/stand_in?format_id="+b.id("can")+"&do_meter_id="+b.id("meter")), obj{"study_id": b.id("agree")})
	b.do(422, "GET", "/api/v1/studies/stand_in?format_id="+b.id("bottle"), nil)

	for i := range 6 {
		x := b.sample(float64(20 + 10*i))
		x["run_id"] = b.id("r6")
		b.put(200, "samples", fmt.Sprint("r6/", i), 0, x)
	}
	notes := fmt.Sprint(b.get("runs/" + b.id("r6") + "/judgement")["notes"])
	if !strings.Contains(notes, "stands in for the direct reading") || !strings.Contains(notes, "24 pairs, 40 to 155 ppb") {
		t.Errorf("the judgement says of the stand-in: %s", notes)
	}

	// What is withdrawn later does not reach back: the run keeps its snapshot.
	study["archived"] = true
	b.put(200, "studies", "agree", 2, study)
	in["note"] = "later"
	b.want(b.do(200, "PUT", "/api/v1/runs/"+b.id("r6"), obj{"base_rev": 1, "record": in})["record"].(obj), obj{"in_force": obj{"stand_in": obj{"n": 24}}})
	refused("r7", "withdrawn", obj{"stand_in_study_id": b.id("agree")})

	off := obj{"kind": "agreement", "name": "Off", "at": "2026-10-20T09:00:00Z", "rows": pairs(14), "format_ids": []any{b.id("can")}, "in_force_from": "2026-10-25T00:00:00Z", "id": b.id("off")}
	e := b.do(422, "PUT", "/api/v1/studies/"+b.id("off"), obj{"base_rev": 0, "record": off})["errors"].([]any)[0].(obj)
	if !strings.Contains(e["message"].(string), "The two differ") {
		t.Errorf("a study that differs, in force: %v", e)
	}
}

// Whoever enters readings may keep a study; that calculated figures may stand in
// is for who reviews.
func TestWhoPutsAStudyInForce(t *testing.T) {
	b := measured(t)
	b.srv.Lab.Guarded = true
	put := func(role lab.Role, base int, r obj) error {
		t.Helper()
		r["id"] = b.id("agree")
		text, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		ctx := lab.As(context.Background(), lab.Principal{Account: "a", Roles: []lab.Role{lab.RoleRead, role}})
		return b.srv.Lab.Put(ctx, lab.Write{Kind: lab.KindStudies, BaseRev: base, Record: text}).Err
	}
	study := obj{"kind": "agreement", "name": "Cans", "at": "2026-10-20T09:00:00Z", "rows": pairs(0), "format_ids": []any{b.id("can")}, "by": "Quality tech"}
	if err := put(lab.RoleEnter, 0, study); err != nil {
		t.Fatal(err)
	}
	study["in_force_from"] = "2026-10-25T00:00:00Z"
	if err := put(lab.RoleEnter, 1, study); lab.ClassOf(err) != lab.Forbidden {
		t.Errorf("put in force by who enters: %v", err)
	}
	if err := put(lab.RoleReview, 1, study); err != nil {
		t.Error(err)
	}
	study["note"] = "a spare pair was lost"
	if err := put(lab.RoleEnter, 2, study); err != nil {
		t.Errorf("a note on a study in force: %v", err)
	}
}

func TestStudiesAreDraftsUntilTheyHaveAResult(t *testing.T) {
	b := measured(t)
	tare := obj{"kind": "tare", "name": "Cans of May", "at": "2026-10-20T09:00:00Z", "rows": []any{obj{"empty_g": 13.4}}}
	got := b.put(200, "studies", "tare", 0, tare)
	b.want(got["record"].(obj), obj{"method": "study-tare/1"})
	if got["record"].(obj)["result"] != nil || len(got["warnings"].([]any)) != 1 {
		t.Errorf("one weighing: %v", got)
	}
	tare["in_force_from"] = "2026-10-25T00:00:00Z"
	b.do(422, "PUT", "/api/v1/studies/"+b.id("tare"), obj{"base_rev": 1, "record": tare})
	var rows []any
	for _, g := range []float64{13.3, 13.5, 13.45, 13.6, 13.35, 13.5, 13.4, 13.55} {
		rows = append(rows, obj{"empty_g": g})
	}
	tare["rows"], tare["format_lot_id"] = rows, b.id("lot")
	b.put(200, "studies", "tare", 1, tare)
	p := b.get("studies/" + b.id("tare") + "/proposal")
	b.want(p, obj{"may": true, "base_rev": 1, "record": obj{"tare_g": 13.456, "tare_n": 8, "capacity_ml": 373.5}})
	if n := len(p["changes"].([]any)); n != 3 {
		t.Errorf("%d changes: %v", n, p["changes"])
	}
	record := p["record"].(obj)
	b.put(200, "format_lots", "lot", 1, record)
	b.want(b.get("studies/"+b.id("tare")+"/proposal"), obj{"may": false, "changes": []any{}})
}

func TestBuyNext(t *testing.T) {
	b := measured(t)
	b.do(422, "GET", "/api/v1/buy-next", nil)
	b.readRun("one", time.Date(2026, 11, 5, 6, 0, 0, 0, time.UTC), 40)
	got := b.get("buy-next")
	b.want(got["packages"].([]any)[0].(obj), obj{"id": "Can 355", "run_id": b.id("one")})
	if o := got["result"].(obj)["options"].([]any); len(o) < 3 || num(o[0].(obj)["gain_mean_ppb"]) <= 0 {
		t.Errorf("options %v", o)
	}
	if n := len(got["instruments"].([]any)); n != 3 {
		t.Errorf("%d instruments", n)
	}
}

// A file with headings of its own, columns in any order, a decimal comma and two
// broken rows.
func TestReadAStudysFile(t *testing.T) {
	b := measured(t)
	desk := ingest.NewDesk(b.srv.Lab)
	t.Cleanup(func() { _ = desk.Close() })
	b.srv.Import = desk
	send := func(kind, query, body string) (int, obj) {
		resp, text := b.send("POST", "/api/v1/studies/read?kind="+kind+query, body, "Content-Type", "application/octet-stream")
		var got obj
		if err := json.Unmarshal(text, &got); err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, got
	}
	status, got := send("agreement", "&name=pairs.csv", "Pairs of October;;\nDirect TPO (ppb);Can no.;Calc. TPO [µg/L];Remark\n51,5;A1;50,2;ok\n60,1;A2;n/a;\n70,0;A3;7x;\n80,5;A4;0,0812 ppm;\n")
	if status != http.StatusOK {
		t.Fatal(status, got)
	}
	rows := got["rows"].([]any)
	if len(rows) != 2 || len(got["faults"].([]any)) != 2 {
		t.Fatalf("rows %v, faults %v", rows, got["faults"])
	}
	b.want(rows[0].(obj), obj{"id": "A1", "direct_ppb": 51.5, "calculated_ppb": 50.2})
	b.want(rows[1].(obj), obj{"calculated_ppb": func(v any) bool { return math.Abs(num(v)-81.2) < 1e-9 }})
	b.want(got["faults"].([]any)[0].(obj), obj{"line": 4, "field": "calculated_ppb"})
	b.want(got["faults"].([]any)[1].(obj), obj{"line": 5, "value": "7x", "heading": "Calc. TPO [µg/L]"})
	b.want(got, obj{"decimal": ",", "missing": []any{}})

	_, got = send("agreement", "&columns="+url.QueryEscape(`{"one":"direct_ppb","two":"calculated_ppb","odd":""}`), "one,two,odd\n50,51,9\n")
	b.want(got["rows"].([]any)[0].(obj), obj{"direct_ppb": 50, "calculated_ppb": 51})
	_, got = send("repeatability", "", "Technician,Bottle,TPO\nKM,1,50\nTB,1,51\n")
	b.want(got["rows"].([]any)[1].(obj), obj{"operator": "TB", "package": "1", "reading": 51})
	if status, _ := send("none", "", "a,b\n1,2\n"); status != 422 {
		t.Errorf("an unknown kind: %d", status)
	}
	if resp, _ := b.send("POST", "/api/v1/studies/read?kind=tare", "a"); resp.StatusCode != 415 {
		t.Errorf("JSON: %d", resp.StatusCode)
	}
}
