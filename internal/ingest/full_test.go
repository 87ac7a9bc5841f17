package ingest

import (
	"context"
	"strings"
	"testing"

	"ullage/internal/lab"
)

// fullStore has room for so many more requests.
type fullStore struct {
	lab.Store
	room int
}

func (f *fullStore) Append(ctx context.Context, revs []lab.Revision) ([]lab.Outcome, error) {
	if f.room--; f.room < 0 {
		return nil, &lab.Error{Class: lab.Full, Faults: []lab.Fault{{Field: "database", Message: "the server's disk is full: nothing of this request was kept", Mend: "send it again when there is room"}}}
	}
	return f.Store.Append(ctx, revs)
}

// A disk that fills up in the middle: said, nothing lost of what was there, and
// done whole once there is room.
func TestFullDisk(t *testing.T) {
	b := newBench(t)
	f := b.csv(longLog(3000))
	m := b.sure(b.proposed(f))
	st := &fullStore{Store: b.svc.Store, room: 4}
	b.svc.Store = st
	p, err := Import(bg, b.svc, f, m, nil)
	if lab.ClassOf(err) != lab.Full || !strings.Contains(err.Error(), "disk is full") {
		t.Fatal(err)
	}
	st.room = 3
	if _, err := Undo(bg, b.svc, p.ImportID, "Quality tech", "no room", nil); err == nil && st.room < 0 {
		t.Error("an undo without room says it is done")
	}
	st.room = 1000
	if again := b.imported(f, m); again.ImportID != p.ImportID || again.Counts.Refused != 0 {
		t.Errorf("%+v", again)
	}
	if n := len(all[lab.Sample](b, lab.KindSamples)); n != 3000 {
		t.Errorf("%d samples", n)
	}
}
