package ingest

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"ullage/internal/lab"
)

// The same file confirmed twice makes the same records, also when it has grown
// by then, and when the first writing was cut off in the middle.
func TestTheSameFileTwice(t *testing.T) {
	b := newBench(t)
	f := b.csv(good)
	m := b.sure(b.proposed(f))
	first := b.imported(f, m)
	head, _ := b.svc.Store.Head(bg)
	second := b.imported(f, m)
	if now, _ := b.svc.Store.Head(bg); now != head || second.ImportID != first.ImportID || second.Counts.Created != 0 || second.Counts.Unchanged != 5 {
		t.Errorf("second: %+v, %d revisions more", second, now-head)
	}
	grown := b.csv(good + "2026-10-06,10:09,10:01,V119,Vellumrook,Can 355,C6,2,49,4.1,371.7\n")
	third := b.imported(grown, b.sure(b.proposed(grown)))
	if third.ImportID == first.ImportID || third.Counts.Created != 1 || third.Counts.Unchanged != 5 || third.Counts.Refused != 0 {
		t.Errorf("grown: %+v", third)
	}
	if n := len(all[lab.Sample](b, lab.KindSamples)); n != 4 {
		t.Errorf("%d samples, want 4", n)
	}
}

func TestCutOffInTheMiddle(t *testing.T) {
	b := newBench(t)
	f := b.csv(longLog(2000))
	m := b.sure(b.proposed(f))
	ctx, stop := context.WithCancel(bg)
	p, err := Import(ctx, b.svc, f, m, func(p lab.ImportProgress) {
		if p.Doing == "writing" && p.Done > 500 {
			stop()
		}
	})
	if !errors.Is(err, context.Canceled) {
		t.Fatal(p, err)
	}
	some := len(all[lab.Sample](b, lab.KindSamples))
	if some == 0 || some == 2000 {
		t.Fatalf("%d samples after the cut", some)
	}
	if r, err := recorded(bg, b.svc, p.ImportID); err != nil || r.Doing != "failed" {
		t.Errorf("%+v %v", r, err)
	}
	again := b.imported(f, m)
	if n := len(all[lab.Sample](b, lab.KindSamples)); n != 2000 || again.Counts.Refused != 0 || again.Counts.Created+again.Counts.Unchanged != 2100 {
		t.Errorf("%d samples, %+v", n, again)
	}
	// And one that was cut off can be undone.
	u, err := Undo(bg, b.svc, p.ImportID, "Quality tech", "a try", nil)
	if err != nil || u.Counts.Archived != 2100 {
		t.Errorf("%+v %v", u, err)
	}
}

func TestUndoAndBack(t *testing.T) {
	b := newBench(t)
	f := b.csv(strings.ReplaceAll(good, "C6", "K2"))
	p := b.proposed(f)
	if len(p.Unknown) != 1 || p.Unknown[0].Text != "K2" || p.Unknown[0].Rows != 3 || p.Unknown[0].Propose.Heads != 2 {
		t.Fatalf("unknown %+v", p.Unknown)
	}
	m := b.sure(p)
	m.Names = []lab.ImportName{p.Unknown[0].Propose}
	done := b.imported(f, m)
	if done.Counts.Created != 6 { // two runs, three samples, the line
		t.Fatalf("%+v", done)
	}
	if _, err := Undo(bg, b.svc, done.ImportID, "", "", nil); err == nil {
		t.Error("undone without who and why")
	}
	u, err := Undo(bg, b.svc, done.ImportID, "Quality tech", "wrong meter", nil)
	if err != nil || u.Counts.Archived != 6 || u.Counts.Kept != 0 {
		t.Fatalf("%+v %v", u, err)
	}
	for _, k := range []lab.Kind{lab.KindSamples, lab.KindRuns} {
		if n := len(all[lab.Meta](b, k)); n != 0 {
			t.Errorf("%d %s left", n, k)
		}
	}
	if n := len(all[lab.Line](b, lab.KindLines)); n != 1 {
		t.Errorf("%d lines, want the one that was there", n)
	}
	revs, err := b.svc.Revisions(bg, lab.KindImports, done.ImportID)
	if err != nil || !strings.Contains(string(revs[len(revs)-1]), `"state":"undone"`) {
		t.Errorf("%s %v", revs, err)
	}
	if u, err = Undo(bg, b.svc, done.ImportID, "Quality tech", "again", nil); err != nil || u.Counts.Archived != 0 {
		t.Errorf("a second undo: %+v %v", u, err)
	}
	back := b.imported(f, m)
	s := all[lab.Sample](b, lab.KindSamples)
	if back.ImportID != done.ImportID || back.Counts.Revived != 6 || len(s) != 3 || s[0].Rev != 3 || s[0].Result.TPOPpb == nil {
		t.Fatalf("back: %+v, %d samples", back, len(s))
	}
	if u, err = Undo(bg, b.svc, done.ImportID, "Quality tech", "no", nil); err != nil || u.Counts.Archived != 6 {
		t.Errorf("undone again: %+v %v", u, err)
	}
}

// What others use by then stays, and a correction by hand is not lost from the
// history.
func TestUndoLeavesWhatIsUsed(t *testing.T) {
	b := newBench(t)
	f := b.csv(good)
	done := b.imported(f, b.sure(b.proposed(f)))
	runs := all[lab.Run](b, lab.KindRuns)
	own := &lab.Sample{Meta: lab.Meta{ID: derived(5, "own")}, RunID: runs[0].ID, SampleKind: "inlet", TakenAt: lab.At(noon), Inputs: lab.Inputs{DOPpb: lab.Num(24)}}
	b.put(own)
	s := all[lab.Sample](b, lab.KindSamples)[1] // the first is the one of its own
	s.Inputs.DOPpb, s.By, s.Reason = lab.Num(45), "Quality tech", "misread"
	b.put(&s)
	u, err := Undo(bg, b.svc, done.ImportID, "Quality tech", "a try", nil)
	if err != nil || u.Counts.Archived != 4 || u.Counts.Kept != 1 {
		t.Errorf("%+v %v", u, err)
	}
	if left := all[lab.Run](b, lab.KindRuns); len(left) != 1 || left[0].ID != runs[0].ID {
		t.Errorf("runs left: %+v", left)
	}
	revs, err := b.svc.Revisions(bg, lab.KindSamples, s.ID)
	if err != nil || len(revs) != 3 || !strings.Contains(string(revs[1]), `"do_ppb":45`) || !strings.Contains(string(revs[2]), "import undone: a try") {
		t.Errorf("%s %v", revs, err)
	}
}

// Another mapping of the same file would count every reading twice.
func TestAnotherMappingIsRefusedUntilUndone(t *testing.T) {
	b := newBench(t)
	f := b.csv(good)
	m := b.sure(b.proposed(f))
	done := b.imported(f, m)
	wrong := m
	wrong.TimeZone = "Europe/Berlin"
	_, err := Import(bg, b.svc, f, wrong, nil)
	if lab.ClassOf(err) != lab.Conflict || !strings.Contains(err.Error(), "undo that import first") {
		t.Fatal(err)
	}
	if _, err := Undo(bg, b.svc, done.ImportID, "Quality tech", "wrong zone", nil); err != nil {
		t.Fatal(err)
	}
	if p := b.imported(f, wrong); p.Counts.Refused != 0 || len(all[lab.Sample](b, lab.KindSamples)) != 3 {
		t.Errorf("%+v", p)
	}
}

// What goes out by export comes in by import: the readings and times of the
// records' own CSV.
func TestRoundTripThroughCSV(t *testing.T) {
	b := newBench(t)
	f := b.csv(longLog(300))
	b.imported(f, b.sure(b.proposed(f)))
	before := all[lab.Sample](b, lab.KindSamples)
	text := "taken at,closed at,run code,beer,format,line,head,kind,do (ppb),temperature (°C),gross (g)\n"
	runs := map[string]lab.Run{}
	for _, r := range all[lab.Run](b, lab.KindRuns) {
		runs[r.ID] = r
	}
	for _, s := range before {
		row, err := json.Marshal([]any{s.TakenAt.Format(time.RFC3339), s.ClosedAt.Format(time.RFC3339), runs[s.RunID].Code, "Vellumrook", "Can 355", "C6", s.Head, s.SampleKind, *s.Inputs.DOPpb, *s.Inputs.TemperatureC, *s.Inputs.GrossG})
		if err != nil {
			t.Fatal(err)
		}
		text += strings.Trim(string(row), "[]") + "\n"
	}
	c := newBench(t)
	g := c.csv(text)
	if p := c.imported(g, c.sure(c.proposed(g))); p.Counts.Faulty+p.Counts.Refused != 0 {
		t.Fatalf("%+v\n%s", p.Counts, faultText(p.Faults))
	}
	after := all[lab.Sample](c, lab.KindSamples)
	if len(after) != len(before) {
		t.Fatalf("%d samples, were %d", len(after), len(before))
	}
	for i := range after {
		x, y := before[i], after[i]
		if x.Result == nil || y.Result == nil || x.Result.TPOPpb == nil || y.Result.TPOPpb == nil {
			t.Fatalf("sample %d without a TPO: %+v %+v was %+v", i, y, y.Result, x.Result)
		}
		if *x.Inputs.DOPpb != *y.Inputs.DOPpb || *x.Inputs.GrossG != *y.Inputs.GrossG || *x.Result.TPOPpb != *y.Result.TPOPpb || !x.TakenAt.Equal(y.TakenAt.Time) || !x.ClosedAt.Equal(y.ClosedAt.Time) || x.Head != y.Head {
			t.Fatalf("sample %d: %+v, was %+v", i, y, x)
		}
	}
}

// Shaken, unshaken and inlet DO of one row are three samples; a TPO of the log
// is kept beside the computed one, and alone where there is no reading.
func TestReadingsOfOneRow(t *testing.T) {
	b := newBench(t)
	f := b.csv("Date,Time,Beer,Format,Line,Head,Shaken DO (ppb),Unshaken DO (ppb),Inlet DO (ppb),Temp (°C),Gross (g),TPO (ppb),Flags,Notes\n" +
		"2026-10-05,09:40,Vellumrook,Can 355,C6,4,44,41,24,3.8,371.9,97,\"Foam, dented\",\"=1+1\"\n" +
		"2026-10-05,09:50,Vellumrook,Can 355,C6,5,,,,3.8,,120,,\n")
	b.imported(f, b.sure(b.proposed(f)))
	s := all[lab.Sample](b, lab.KindSamples)
	kinds := map[string]lab.Sample{}
	for _, x := range s[:3] {
		kinds[x.SampleKind] = x
	}
	if len(s) != 4 || len(kinds) != 3 || *kinds["shaken"].Inputs.DOPpb != 44 || *kinds["unshaken"].Inputs.DOPpb != 41 || *kinds["inlet"].Inputs.DOPpb != 24 {
		t.Fatalf("%d samples: %+v", len(s), kinds)
	}
	if kinds["unshaken"].Inputs.GrossG != nil || kinds["inlet"].Head != 0 || kinds["shaken"].Head != 4 {
		t.Error("weight or head at the wrong reading")
	}
	x := kinds["shaken"]
	if len(x.ResultsBefore) != 1 || *x.ResultsBefore[0].TPOPpb != 97 || x.ResultsBefore[0].Method != fromFile || x.Result.ComputedBy != "server" {
		t.Errorf("result %+v before %+v", x.Result, x.ResultsBefore)
	}
	if strings.Join(x.Flags, " ") != "foam dent" || x.Note != "=1+1" {
		t.Errorf("flags %v note %q", x.Flags, x.Note)
	}
	last := s[3]
	if last.Inputs.DOPpb != nil || last.Result == nil || *last.Result.TPOPpb != 120 || last.Result.Method != fromFile {
		t.Errorf("a TPO alone: %+v", last)
	}
}

func TestImportOfLots(t *testing.T) {
	b := newBench(t)
	f := b.csv("Format;Kind;Nominal (mL);Lot;From;Tare (g);Tare SD (g);Tare n;Capacity (mL);Capacity SD (mL);Capacity n;Capacity source\n" +
		"Can 355;can;355;D-17;01.11.2026;13,4;0,12;10;373,5;0,7;5;measured\n" +
		"Can 440;can;440;D-18;01.11.2026;15,0;0,14;10;460,0;0,8;5;measured\n" +
		"500 mL bottle;;;M4;13.11.2026;312;4,5;10;521;2;5;drawing\n" +
		"Mystery;;;M5;13.11.2026;312;4,5;10;521;2;5;drawing\n")
	p := b.proposed(f)
	if p.Mapping.Target != "format_lots" || p.Counts.Lots != 3 || p.Counts.Formats != 2 || p.Counts.Faulty != 1 || len(p.Questions) != 0 {
		t.Fatalf("%+v %+v %+v\n%s", p.Mapping, p.Counts, p.Questions, faultText(p.Faults))
	}
	done := b.imported(f, p.Mapping)
	if done.Counts.Created != 5 {
		t.Errorf("%+v", done)
	}
	lots := all[lab.FormatLot](b, lab.KindFormatLots)
	if len(lots) != 4 {
		t.Fatalf("%d lots", len(lots))
	}
	for _, l := range lots {
		if l.Name == "D-17" && (l.FormatID != b.can || *l.TareG != 13.4 || *l.CapacityML != 373.5 || *l.TareN != 10 || l.From != "2026-11-01" || l.CapacitySource != "lot") {
			t.Errorf("%+v", l)
		}
	}
	if again := b.imported(f, p.Mapping); again.Counts.Created != 0 || again.Counts.Refused != 0 {
		t.Errorf("again: %+v", again)
	}
	if u, err := Undo(bg, b.svc, done.ImportID, "Quality tech", "a try", nil); err != nil || u.Counts.Archived != 5 {
		t.Errorf("%+v %v", u, err)
	}
}

// Times are of the log's own clock, through a change of the clocks too.
func TestTimeZones(t *testing.T) {
	b := newBench(t)
	f := b.csv(good + "2026-03-29,02:30,,V90,Vellumrook,Can 355,C6,1,44,3.8,371.9\n2026-07-01,23:50,00:10,V91,Vellumrook,Can 355,C6,1,44,3.8,371.9\n")
	p := b.proposed(f)
	m := b.sure(p)
	m.TimeZone = "Europe/Berlin"
	s := drafts(t, b, f, m)
	for i, want := range []string{"2026-10-05T07:40:00Z", "2026-10-05T07:44:00Z", "2026-10-06T08:05:00Z"} {
		if got := s[i].TakenAt.UTC().Format(time.RFC3339); got != want {
			t.Errorf("sample %d at %s, want %s", i, got, want)
		}
	}
	if got := s[4].ClosedAt.UTC().Format(time.RFC3339); got != "2026-06-30T22:10:00Z" {
		t.Errorf("closed after it was read, at %s", got)
	}
	q, err := Preview(bg, b.svc, f, &m, "")
	if err != nil || !strings.Contains(faultText(q.Faults), "02:30 does not exist on that day") {
		t.Errorf("%v\n%s", err, faultText(q.Faults))
	}
}

func TestDesk(t *testing.T) {
	b := newBench(t)
	t.Setenv("TMPDIR", t.TempDir())
	d := NewDesk(b.svc)
	up, err := d.Receive(bg, "log.csv", "Europe/Berlin", strings.NewReader(longLog(3000)))
	if err != nil || up.Preview.Mapping.TimeZone != "Europe/Berlin" || up.Preview.Counts.Samples != 3000 {
		t.Fatalf("%+v %v", up.Preview.Counts, err)
	}
	m := b.sure(up.Preview)
	if _, err := d.Preview(bg, "gone", m); lab.ClassOf(err) != lab.NotFound {
		t.Error(err)
	}
	p, err := d.Confirm(bg, up.ID, m, "Quality tech")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.Confirm(bg, up.ID, m, "Quality tech"); lab.ClassOf(err) != lab.Conflict || !strings.Contains(err.Error(), "another import") {
		t.Errorf("two at once: %v", err)
	}
	wait := func() lab.ImportProgress {
		for range 600 {
			q, err := d.Progress(bg, p.ImportID)
			if err != nil {
				t.Fatal(err)
			}
			if q.Doing == "done" || q.Doing == "failed" {
				return q
			}
			time.Sleep(50 * time.Millisecond)
		}
		t.Fatal("never done")
		return p
	}
	if q := wait(); q.Doing != "done" || q.Counts.Created != 3150 {
		t.Errorf("%+v", q)
	}
	if _, err := d.Undo(bg, p.ImportID, "Quality tech", "a try"); err != nil {
		t.Fatal(err)
	}
	if q := wait(); q.Counts.Archived != 3150 {
		t.Errorf("%+v", q)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	if n := folders(t); n != 0 {
		t.Errorf("%d folders are still there", n)
	}
}

// A workbook on the desk is read from a copy as text, which holds the same.
func TestDeskReadsWorkbooksFromACopy(t *testing.T) {
	b := newBench(t)
	f := b.xlsx([][]any{{"Date", "Time", "Lot", "Beer", "Format", "Line", "Head", "Shaken DO (ppb)", "Notes"},
		{46300, 580.0 / 1440, "V118", "Vellumrook", "Can 355", "C6", 1, 44, "two\nlines, \"quoted\""}, {nil}, {46301, 584.0 / 1440, "V119", "Vellumrook", "Can 355", "C6", 2, 0.047999999999999994, "=1"}},
		func(x *excelize.File) {
			if _, err := x.NewSheet("Other"); err != nil {
				t.Fatal(err)
			}
		})
	d := NewDesk(b.svc)
	defer d.Close()
	up, err := d.Receive(bg, "log.xlsx", "UTC", bytes.NewReader(b.bytes(f)))
	if err != nil {
		t.Fatal(err)
	}
	want := b.proposed(f)
	if diff := cmp.Diff(want, up.Preview); diff != "" || len(up.Sheets) != 2 {
		t.Errorf("the copy reads otherwise:\n%s", diff)
	}
	again, err := d.Preview(bg, up.ID, up.Preview.Mapping)
	if err != nil || cmp.Diff(want.Rows, again.Rows) != "" || again.Rows[1].Row != 4 || again.Rows[1].Cells[7] != "0.048" {
		t.Errorf("%+v %v", again.Rows, err)
	}
	m := lab.ImportMapping{Target: "samples", Sheet: "Other", Decimal: ".", DateOrder: "ymd", TimeZone: "UTC"}
	if _, err := d.Preview(bg, up.ID, m); lab.ClassOf(err) != lab.Invalid {
		t.Errorf("an empty sheet: %v", err)
	}
	m.Sheet = "None"
	if _, err := d.Preview(bg, up.ID, m); lab.ClassOf(err) != lab.Invalid || !strings.Contains(err.Error(), "is not in the workbook") {
		t.Errorf("no such sheet: %v", err)
	}
}
