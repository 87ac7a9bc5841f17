package api

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"

	"ullage/internal/lab"
	"ullage/internal/store"
)

// year writes the cellar of a year at 14,000 hL: 280 fermentations of 50 hL in
// twelve fermenters, each moved to a bright tank and packaged, 5,040 readings.
func year(b *testing.B) (h *Server, last string) {
	ctx := context.Background()
	st, err := store.OpenSQLite(ctx, filepath.Join(b.TempDir(), "ullage.db"), store.SQLiteOptions{})
	if err != nil {
		b.Fatal(err)
	}
	end := time.Date(2026, 11, 1, 12, 0, 0, 0, time.UTC)
	service := &lab.Service{Store: st, Calc: lab.TPO, Now: func() time.Time { return end }}
	id := func() string { return uuid.Must(uuid.NewV7()).String() }
	var ws []lab.Write
	add := func(r lab.Record) string {
		m := r.Base()
		if m.ID == "" {
			m.ID = id()
		}
		text, err := json.Marshal(r)
		if err != nil {
			b.Fatal(err)
		}
		ws = append(ws, lab.Write{Kind: r.Kind(), Record: text})
		return m.ID
	}
	beer := add(&lab.Beer{Name: "Quernlight", SG: lab.Num(1.008)})
	meter := add(&lab.Instrument{Name: "DO meter 2", InstrumentKind: "do_meter", UAbs: lab.Num(0.8), URel: lab.Num(0.02)})
	format := add(&lab.Format{Name: "Can", PackageKind: "can", NominalML: lab.Num(355)})
	line := add(&lab.Line{Name: "C6", Heads: 6})
	var tanks []string
	for i := range 15 {
		kind := "fermenter"
		if i >= 12 {
			kind = "bright_tank"
		}
		tanks = append(tanks, add(&lab.Tank{Name: fmt.Sprintf("T%02d", i), TankKind: kind, VolumeHL: lab.Num(55)}))
	}
	readings := 0
	for i := range 280 {
		made := end.Add(time.Duration(i-280) * 31 * time.Hour)
		fill := made.AddDate(0, 0, 14)
		fv := add(&lab.Batch{Code: fmt.Sprintf("F%03d", i), BeerID: beer, TankID: tanks[i%12], VolumeHL: lab.Num(50), MadeAt: lab.At(made), Status: "empty"})
		bright := add(&lab.Batch{Code: fmt.Sprintf("B%03d", i), BeerID: beer, TankID: tanks[12+i%3], VolumeHL: lab.Num(48), MadeAt: lab.At(fill), Status: "empty"})
		for k := range 2 {
			add(&lab.Brew{Code: fmt.Sprintf("G%03d", 2*i+k), BatchID: fv, At: lab.At(made.Add(time.Duration(k) * 5 * time.Hour)), VolumeHL: lab.Num(25), Minutes: lab.Num(40),
				GasFlowNLMin: lab.Num(0.65), DOMgL: lab.Num(9), CarryOverMgL: lab.Num(0.5)})
		}
		move := add(&lab.Move{MoveKind: "transfer", FromBatchID: fv, ToBatchID: bright, StartedAt: lab.At(fill), EndedAt: lab.At(fill.Add(time.Hour)), VolumeHL: lab.Num(48), FlowHLH: lab.Num(48), Via: []string{"hose", "filter", "carbonation"}})
		read := func(batch, move, point string, at time.Time, do float64) {
			readings++
			add(&lab.Reading{BatchID: batch, MoveID: move, Point: point, At: lab.At(at), DOPpb: lab.Num(do + float64(readings%7)/5), MeterID: meter, TemperatureC: lab.Num(2), Raw: "as read"})
		}
		read(fv, "", "wort_oxygenated", made.Add(time.Hour), 9000)
		read(fv, "", "pitched_12h", made.Add(13*time.Hour), 200)
		read(fv, "", "fermentation_end", made.AddDate(0, 0, 8), 3)
		for k := range 4 {
			at := fill.Add(time.Duration(10+12*k) * time.Minute)
			read(fv, move, "filter_in", at, 4)
			read(bright, move, "filter_out", at.Add(2*time.Minute), 12)
		}
		read(bright, move, "carbonation_before", fill.Add(40*time.Minute), 12)
		read(bright, move, "carbonation_after", fill.Add(44*time.Minute), 14)
		read(fv, move, "tank_before", fill.Add(-5*time.Minute), 3)
		read(bright, "", "tank_after", fill.Add(70*time.Minute), 15)
		read(bright, "", "tank_rested", fill.Add(16*time.Hour), 15)
		read(bright, "", "tank_hold", fill.Add(17*time.Hour), 15)
		read(bright, "", "line_start", fill.Add(18*time.Hour), 17)
		run := add(&lab.Run{BeerID: beer, FormatID: format, LineID: line, BatchID: bright, StartedAt: lab.At(fill.Add(18 * time.Hour)), EndedAt: lab.At(fill.Add(21 * time.Hour)), Status: "ended", DOMeterID: meter})
		for k := range 30 {
			at := fill.Add(18*time.Hour + time.Duration(5*k)*time.Minute)
			s := &lab.Sample{RunID: run, SampleKind: []string{"shaken", "shaken", "unshaken", "inlet"}[k%4], TakenAt: lab.At(at), Inputs: lab.Inputs{DOPpb: lab.Num(20 + float64(k%5))}}
			add(s)
		}
		last = bright
	}
	b.Logf("%d records, %d readings", len(ws), readings)
	for from := 0; from < len(ws); from += 2000 {
		for _, a := range service.Batch(ctx, ws[from:min(from+2000, len(ws))]) {
			if a.Err != nil {
				b.Fatal(a.Err)
			}
		}
	}
	s := &Server{Lab: service, Log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	b.Cleanup(func() { s.Shutdown(); st.Close() })
	return s, last
}

// BenchmarkCellarYear: the cellar's pages on a year of records.
func BenchmarkCellarYear(b *testing.B) {
	s, last := year(b)
	h := s.Handler()
	for _, path := range []string{"cellar", "transfers?step=transfer", "transfers?step=filter", "brews/trend", "batches/" + last + "/map", "batches/" + last + "/changes"} {
		b.Run(path[:min(len(path), 24)], func(b *testing.B) {
			size := 0
			for b.Loop() {
				w := httptest.NewRecorder()
				h.ServeHTTP(w, httptest.NewRequest("GET", base+"/"+path, nil))
				if w.Code != 200 {
					b.Fatal(w.Code, w.Body)
				}
				size = w.Body.Len()
			}
			b.ReportMetric(float64(size)/1000, "kB")
		})
	}
}
