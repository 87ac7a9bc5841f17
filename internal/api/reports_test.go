package api

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"ullage/internal/lab"
)

// papers answers with the query it was asked, or refuses.
type papers struct{ asked ReportQuery }

func (p *papers) Report(_ context.Context, q ReportQuery) (ReportFile, error) {
	p.asked = q
	if q.Run == "none" {
		return ReportFile{}, lab.NoSuch(lab.KindRuns, q.Run)
	}
	return ReportFile{"run-7.pdf", "application/pdf", []byte("%PDF")}, nil
}

func TestReportRoutes(t *testing.T) {
	p := &papers{}
	s := &Server{Lab: &lab.Service{}, Report: p}
	h := s.Handler()
	get := func(path string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "http://localhost"+path, nil))
		return w
	}
	w := get("/api/v1/runs/abc/report?kind=lot&paper=letter")
	if w.Code != 200 || w.Body.String() != "%PDF" || w.Header().Get("Content-Type") != "application/pdf" || w.Header().Get("Content-Disposition") != `attachment; filename="run-7.pdf"` {
		t.Errorf("%d %s %v", w.Code, w.Body, w.Header())
	}
	if want := (ReportQuery{Kind: "lot", Run: "abc", Format: "pdf", Paper: "letter"}); p.asked != want {
		t.Errorf("asked %+v, want %+v", p.asked, want)
	}
	get("/api/v1/runs/abc/report?kind=sheet&blank=true&cans=40&hours=3&fault=2&format=csv")
	if want := (ReportQuery{Kind: "sheet", Run: "abc", Format: "csv", Paper: "a4", Blank: true, Hours: 3, Cans: 40, Fault: 2}); p.asked != want {
		t.Errorf("asked %+v, want %+v", p.asked, want)
	}
	get("/api/v1/months/2026-10/report?format=xlsx")
	if want := (ReportQuery{Kind: "month", Month: "2026-10", Format: "xlsx", Paper: "a4"}); p.asked != want {
		t.Errorf("asked %+v, want %+v", p.asked, want)
	}
	get("/api/v1/studies/s1/report")
	if want := (ReportQuery{Kind: "study", Study: "s1", Format: "pdf", Paper: "a4"}); p.asked != want {
		t.Errorf("asked %+v, want %+v", p.asked, want)
	}
	get("/api/v1/instruments/i1/report?year=2026&format=xlsx")
	if want := (ReportQuery{Kind: "instrument", Instrument: "i1", Year: 2026, Format: "xlsx", Paper: "a4"}); p.asked != want {
		t.Errorf("asked %+v, want %+v", p.asked, want)
	}
	for path, status := range map[string]int{"/api/v1/runs/none/report": 404, "/api/v1/runs/abc/report?format=doc": 422, "/api/v1/runs/abc/report?paper=a3": 422, "/api/v1/runs/abc/report?kind=month": 422} {
		if w := get(path); w.Code != status || !strings.Contains(w.Header().Get("Content-Type"), "problem+json") {
			t.Errorf("%s: %d %s", path, w.Code, w.Body)
		}
	}
}

func TestNoReporter(t *testing.T) {
	s := &Server{Lab: &lab.Service{}}
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "http://localhost/api/v1/runs/abc/report", nil))
	if w.Code != 404 || !strings.Contains(w.Body.String(), "makes no reports") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}
