package api

import (
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"ullage/internal/ingest"
	"ullage/internal/lab"
	"ullage/internal/store"
)

const aLog = "Date,Time,Lot,Beer,Format,Line,Head,Shaken DO (ppb),Temp (°C),Gross (g)\n" +
	"2026-10-05,09:40,V118,Vellumrook,Can 355,C6,1,44,3.8,371.9\n2026-10-05,09:44,V118,Vellumrook,Can 355,C6,2,high,3.8,372.4\n"

// importBench is a server that imports.
func importBench(t *testing.T, opt store.SQLiteOptions) *bench {
	b := newBench(t, opt)
	desk := ingest.NewDesk(b.srv.Lab)
	b.srv.Import = desk
	t.Cleanup(func() {
		if err := desk.Close(); err != nil {
			t.Error(err)
		}
	})
	b.put(200, "beers", "beer", 0, obj{"name": "Vellumrook", "sg": 1.010})
	b.put(200, "formats", "can", 0, obj{"name": "Can 355", "kind": "can", "nominal_ml": 355})
	b.put(200, "lines", "line", 0, obj{"name": "C6", "heads": 6})
	return b
}

func (b *bench) receive(status int, body string) (up lab.ImportUpload) {
	b.Helper()
	resp, text := b.send("POST", "/api/v1/imports/files?name=log.csv&time_zone=Europe/Berlin", body, "Content-Type", "application/octet-stream")
	if resp.StatusCode != status {
		b.Fatalf("status %d, want %d: %s", resp.StatusCode, status, text)
	}
	if err := json.Unmarshal(text, &up); err != nil {
		b.Fatal(err)
	}
	return up
}

func (b *bench) finished(id string) obj {
	b.Helper()
	for range 200 {
		p := b.do(200, "GET", "/api/v1/imports/"+id+"/progress", nil)
		if p["doing"] == "done" || p["doing"] == "failed" {
			return p
		}
		time.Sleep(20 * time.Millisecond)
	}
	b.Fatal("never done")
	return nil
}

func TestImportOverHTTP(t *testing.T) {
	b := importBench(t, store.SQLiteOptions{})
	up := b.receive(200, aLog)
	if c := up.Preview.Counts; c.Samples != 1 || c.Faulty != 1 || up.Preview.Mapping.TimeZone != "Europe/Berlin" || len(up.Preview.Questions) != 1 {
		t.Fatalf("%+v", up.Preview)
	}
	f := up.Preview.Faults[0]
	if f.File != "log.csv" || f.Row != 3 || f.Field != "do_shaken" || f.Value != "high" || f.Mend == "" {
		t.Errorf("%+v", f)
	}
	path := "/api/v1/imports/files/" + up.ID
	m := up.Preview.Mapping
	refused := b.do(422, "POST", path+"/confirm", obj{"mapping": m, "by": "Quality tech"})
	if text, _ := json.Marshal(refused); !strings.Contains(string(text), "a question is open") {
		t.Errorf("%s", text)
	}
	m.Sure = []string{"time_zone"}
	if p := b.do(200, "POST", path+"/preview", m); len(p["questions"].([]any)) != 0 {
		t.Errorf("%v", p["questions"])
	}
	if l := b.do(200, "GET", "/api/v1/samples", nil); len(l["records"].([]any)) != 0 {
		t.Error("a preview wrote samples")
	}
	started := b.do(200, "POST", path+"/confirm", obj{"mapping": m, "by": "Quality tech"})
	id := started["import_id"].(string)
	if p := b.finished(id); p["doing"] != "done" || p["counts"].(obj)["created"] != 2.0 {
		t.Errorf("%v", p)
	}
	if l := b.do(200, "GET", "/api/v1/samples", nil); len(l["records"].([]any)) != 1 {
		t.Errorf("%v", l)
	}
	if l := b.do(200, "GET", "/api/v1/imports", nil); len(l["records"].([]any)) != 1 || b.do(200, "GET", "/api/v1/imports/"+id, nil)["state"] != "done" {
		t.Errorf("%v", l)
	}
	b.do(422, "POST", "/api/v1/imports/"+id+"/undo", obj{"by": "", "reason": ""})
	b.do(200, "POST", "/api/v1/imports/"+id+"/undo", obj{"by": "Quality tech", "reason": "a try"})
	if p := b.finished(id); p["counts"].(obj)["archived"] != 2.0 {
		t.Errorf("%v", p)
	}
	if b.do(200, "GET", "/api/v1/imports/"+id, nil)["state"] != "undone" {
		t.Error("not undone on record")
	}
}

func TestImportRefusals(t *testing.T) {
	b := importBench(t, store.SQLiteOptions{})
	b.receive(422, "\x89PNG\x00\x00\x00\x01\x00\x00\x00")
	b.receive(422, "")
	if resp, text := b.send("POST", "/api/v1/imports/files", aLog, "Content-Type", "text/plain"); resp.StatusCode != http.StatusUnsupportedMediaType {
		t.Errorf("a form's content type: %d %s", resp.StatusCode, text)
	}
	if resp, text := b.send("POST", "/api/v1/imports/files", aLog, "Content-Type", "application/octet-stream", "Sec-Fetch-Site", "cross-site"); resp.StatusCode != http.StatusForbidden {
		t.Errorf("from another site: %d %s", resp.StatusCode, text)
	}
	b.do(404, "POST", "/api/v1/imports/files/none/preview", lab.ImportMapping{Target: "samples"})
	b.do(404, "POST", "/api/v1/imports/none/undo", obj{"by": "x", "reason": "y"})
	b.do(404, "GET", "/api/v1/imports/none/progress", nil)
	up := b.receive(200, aLog)
	path := "/api/v1/imports/files/" + up.ID + "/preview"
	b.do(422, "POST", path, obj{"target": "samples", "unheard": 1})
	m := up.Preview.Mapping
	m.Columns[7].Unit, m.TimeZone, m.Decimal = "furlong", "Mars/Base", ";"
	p := b.do(422, "POST", path, m)
	if n := len(p["errors"].([]any)); n != 3 {
		t.Errorf("%d errors, want one for each of three values: %v", n, p["errors"])
	}
}

// A phone that goes out of reach in the middle of sending leaves nothing.
func TestImportCutOff(t *testing.T) {
	b := importBench(t, store.SQLiteOptions{})
	r, w := io.Pipe()
	req, err := http.NewRequest("POST", b.http.URL+"/api/v1/imports/files?name=log.csv", r)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/octet-stream")
	go func() {
		_, _ = w.Write([]byte(aLog))
		_ = w.CloseWithError(io.ErrUnexpectedEOF)
	}()
	if resp, err := http.DefaultClient.Do(req); err == nil {
		resp.Body.Close()
		t.Errorf("answered %d to half a file", resp.StatusCode)
	}
	if up := b.receive(200, aLog); up.Preview.Counts.Rows != 2 {
		t.Errorf("%+v", up.Preview.Counts)
	}
}

func TestNoImporter(t *testing.T) {
	b := newBench(t, store.SQLiteOptions{})
	b.do(404, "GET", "/api/v1/imports/x/progress", nil)
	b.receive(404, aLog)
}
