package ingest

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"ullage/internal/lab"
)

// chunkSize is how many records are written at once: little enough that a
// phone's sample waits a few milliseconds behind them.
const chunkSize = 500

// writer sends records through lab's use cases and counts what became of them.
type writer struct {
	svc      *lab.Service
	by       string
	device   string
	file     string
	p        *lab.ImportProgress
	tell     func(lab.ImportProgress)
	pending  []sent
	warnings map[string]bool
}

type sent struct {
	rec lab.Record
	row int
}

func (w *writer) add(ctx context.Context, r lab.Record, row int) error {
	m := r.Base()
	m.By, m.DeviceID = w.by, w.device
	m.Reason = fmt.Sprintf("imported from %s", w.file)
	if row > 0 {
		m.Reason += fmt.Sprintf(", row %d", row)
	}
	if w.pending = append(w.pending, sent{r, row}); len(w.pending) >= chunkSize {
		return w.flush(ctx)
	}
	return nil
}

// flush writes what waits. An error means that the database does not take
// anything now; the same import can be run again.
func (w *writer) flush(ctx context.Context) error {
	if len(w.pending) == 0 {
		return ctx.Err()
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	writes := make([]lab.Write, len(w.pending))
	for i, s := range w.pending {
		body, err := json.Marshal(s.rec)
		if err != nil {
			return err
		}
		writes[i] = lab.Write{Kind: s.rec.Kind(), ID: s.rec.Base().ID, Record: body}
	}
	var again []sent
	var againWrites []lab.Write
	for i, a := range w.svc.Batch(ctx, writes) {
		current := a.Record
		if e, ok := errors.AsType[*lab.Error](a.Err); ok && e.Class == lab.Conflict {
			current = e.Current
		}
		switch next, err := w.settle(w.pending[i], a, current); {
		case err != nil:
			return err
		case next != nil:
			again, againWrites = append(again, w.pending[i]), append(againWrites, *next)
		}
	}
	for i, a := range w.svc.Batch(ctx, againWrites) {
		if a.Err == nil {
			w.p.Counts.Revived++
		} else if err := w.refused(again[i], a.Err); err != nil {
			return err
		}
	}
	w.p.Done += len(w.pending)
	w.pending = w.pending[:0]
	w.tell(*w.p)
	return nil
}

// settle counts an answer; next is a second write, for a record that an undo
// had archived.
func (w *writer) settle(s sent, a lab.Answer, current json.RawMessage) (next *lab.Write, err error) {
	if a.Err == nil && a.Status == lab.Created {
		w.p.Counts.Created++
		w.notice(s, a)
		return nil, nil
	}
	if a.Err != nil && lab.ClassOf(a.Err) != lab.Conflict {
		return nil, w.refused(s, a.Err)
	}
	old, err := lab.Decode(s.rec.Kind(), current)
	if err != nil {
		return nil, err
	}
	switch {
	case old.Base().Archived:
		return w.revive(s, old)
	case a.Err == nil, shared(s.rec.Kind()), sameContent(s.rec, old):
		w.p.Counts.Unchanged++
	default:
		w.p.Counts.Refused++
		w.fault(s, "is there already with other content, perhaps corrected since", "leave it, or undo the earlier import first")
	}
	return nil, nil
}

// shared tells of records that an import only needs to be there.
func shared(k lab.Kind) bool {
	return k == lab.KindRuns || k == lab.KindBeers || k == lab.KindFormats || k == lab.KindLines
}

// notice passes on, once each, what lab says of new runs: what their results lack.
func (w *writer) notice(s sent, a lab.Answer) {
	if s.rec.Kind() != lab.KindRuns {
		return
	}
	for _, x := range a.Warnings {
		if !w.warnings[x.Message] && len(w.p.Faults) < shownFaults {
			w.warnings[x.Message] = true
			w.p.Faults = append(w.p.Faults, lab.ImportFault{File: w.file, Row: s.row, Field: x.Field, Message: x.Message, Mend: x.Mend, Odd: true})
		}
	}
}

// refused counts a record that lab did not take. What is not the record's own
// fault ends the import.
func (w *writer) refused(s sent, err error) error {
	e, ok := errors.AsType[*lab.Error](err)
	if !ok || e.Class != lab.Invalid && e.Class != lab.Malformed && e.Class != lab.Conflict {
		return err
	}
	w.p.Counts.Refused++
	for _, f := range e.Faults {
		w.fault(s, f.Field+" "+f.Message, f.Mend)
	}
	return nil
}

func (w *writer) fault(s sent, message, mend string) {
	if len(w.p.Faults) < shownFaults {
		w.p.Faults = append(w.p.Faults, lab.ImportFault{File: w.file, Row: s.row, Message: message, Mend: mend})
	}
}

// revive takes a record back that was archived. A run keeps its snapshot.
func (w *writer) revive(s sent, old lab.Record) (*lab.Write, error) {
	rec := s.rec
	if run, ok := old.(*lab.Run); ok {
		now := s.rec.(*lab.Run)
		run.StartedAt, run.EndedAt, run.Meta.Archived = now.StartedAt, now.EndedAt, false
		f, from := &run.InForce, &now.InForce
		for _, v := range [][2]**float64{{&f.SG, &from.SG}, {&f.CO2Vol, &from.CO2Vol}, {&f.ABVPct, &from.ABVPct}, {&f.CapacityML, &from.CapacityML}, {&f.TareG, &from.TareG}} {
			if *v[1] != nil {
				*v[0] = *v[1]
			}
		}
		run.By, run.DeviceID = w.by, w.device
		rec = run
	}
	rec.Base().Reason = "imported again from " + w.file
	base := old.Base().Rev
	body, err := json.Marshal(rec)
	return &lab.Write{Kind: rec.Kind(), ID: rec.Base().ID, BaseRev: base, Record: body}, err
}

// sameContent compares what a person entered, not who, when or what was computed.
func sameContent(a, b lab.Record) bool { return bytes.Equal(content(a), content(b)) }

func content(r lab.Record) []byte {
	m := r.Base()
	saved := *m
	*m = lab.Meta{ID: saved.ID}
	defer func() { *m = saved }()
	if s, ok := r.(*lab.Sample); ok {
		result, before := s.Result, s.ResultsBefore
		s.Result, s.ResultsBefore = nil, nil
		defer func() { s.Result, s.ResultsBefore = result, before }()
	}
	text, err := json.Marshal(r)
	if err != nil {
		return nil
	}
	return text
}
