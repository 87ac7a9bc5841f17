package ingest

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"ullage/internal/lab"
)

// Import reads a file under a mapping and writes what it holds, as one import
// that can be undone. The same file under the same mapping makes the same
// records, however often it is imported. progress may be nil.
//
// Questions that the mapping leaves open are refused; rows with a fault are
// left out. An error after the writing began leaves the records written so
// far, in an import of state "writing": run it again, or undo it.
func Import(ctx context.Context, svc *lab.Service, f File, m lab.ImportMapping, progress func(lab.ImportProgress)) (lab.ImportProgress, error) {
	if progress == nil {
		progress = func(lab.ImportProgress) {}
	}
	k, err := f.inspect()
	if err != nil {
		return lab.ImportProgress{}, err
	}
	r, err := prepare(ctx, svc, &f, k, &m, m.TimeZone)
	if err != nil {
		return lab.ImportProgress{}, err
	}
	if err := answered(r.out.Questions); err != nil {
		return lab.ImportProgress{}, err
	}
	rec, rev, err := identify(ctx, svc, &f, k, &r.out.Mapping)
	if err != nil {
		return lab.ImportProgress{}, err
	}
	p := lab.ImportProgress{ImportID: rec.ID, Doing: "reading"}
	progress(p)
	err = f.each(k, r.m, 0, func(row rowText) error {
		if row.n%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		r.tell(row, r.read(row))
		return nil
	})
	if err != nil {
		return p, err
	}
	r.finish()
	p.Counts, p.Doing = r.out.Counts, "writing"
	p.Total = p.Counts.Samples + p.Counts.Runs + p.Counts.Formats + p.Counts.Lots
	if p.Counts.Samples+p.Counts.Lots+p.Counts.Formats == 0 {
		return p, refuse("file", f.Name, "holds no row that can be read in", "see the faults in the preview")
	}
	err = r.write(ctx, svc, &rec, rev, &p, progress)
	return p, err
}

func answered(open []lab.ImportQuestion) error {
	if len(open) == 0 {
		return nil
	}
	e := &lab.Error{Class: lab.Invalid}
	for _, q := range open {
		e.Faults = append(e.Faults, lab.Fault{Field: "mapping.sure", Value: q.ID, Message: "a question is open: " + q.Text, Mend: "answer it, then name it in sure"})
	}
	return e
}

// write stores what the first reading found, then reads the file again for the
// samples.
func (r *reading) write(ctx context.Context, svc *lab.Service, rec *lab.Import, rev int, p *lab.ImportProgress, progress func(lab.ImportProgress)) error {
	done := rec.State == "done"
	if !done {
		rec.State, rec.Counts = "writing", r.out.Counts
		if err := keepRecord(ctx, svc, rec, &rev, "imported from "+r.label); err != nil {
			return err
		}
	}
	w := &writer{svc: svc, by: rec.By, device: lab.DeviceOf(rec.ID), file: r.label, p: p, tell: progress, warnings: map[string]bool{}}
	if err := r.writeSetup(ctx, w); err != nil {
		return err
	}
	if r.m.Target == lots {
		if err := r.writeLots(ctx, w); err != nil {
			return err
		}
	} else if err := r.writeSamples(ctx, w); err != nil {
		return err
	}
	if !done || p.Counts.Created+p.Counts.Revived > 0 {
		rec.State, rec.Counts = "done", p.Counts
		if err := keepRecord(ctx, svc, rec, &rev, "imported from "+r.label); err != nil {
			return err
		}
	}
	p.Doing, p.Done = "done", p.Total
	progress(*p)
	return nil
}

// writeSetup makes the records that names in the file ask for, as far as the
// rows use them, and the formats of lots.
func (r *reading) writeSetup(ctx context.Context, w *writer) error {
	used := map[string]bool{}
	for _, g := range r.order {
		if g.n > 0 {
			used[g.beerID], used[g.formatID], used[g.lineID] = true, true, true
		}
	}
	for id, n := range r.refs.made {
		if used[id] {
			w.p.Total++
			if err := w.add(ctx, newRecord(n, id, w.by), 0); err != nil {
				return err
			}
		}
	}
	for _, f := range r.formats {
		if f.made != nil {
			if err := w.add(ctx, f.made, 0); err != nil {
				return err
			}
		}
	}
	return w.flush(ctx)
}

func (r *reading) writeLots(ctx context.Context, w *writer) error {
	r.rewind()
	err := r.f.each(r.k, r.m, 0, func(row rowText) error {
		if d := r.read(row); d.lot != nil && !d.faulty() && !d.repeats {
			return w.add(ctx, d.lot, d.row)
		}
		return ctx.Err()
	})
	if err != nil {
		return err
	}
	return w.flush(ctx)
}

func (r *reading) writeSamples(ctx context.Context, w *writer) error {
	for _, g := range r.order {
		if g.n == 0 {
			continue
		}
		// The day is part of the id, for the order of runs.
		day := time.Date(g.from.Year(), g.from.Month(), g.from.Day(), 0, 0, 0, 0, time.UTC)
		g.id = derived(day.UnixMilli(), "run", g.key)
		run := &lab.Run{Meta: lab.Meta{ID: g.id}, BeerID: g.beerID, FormatID: g.formatID, LineID: g.lineID, Code: g.code, Status: "ended",
			StartedAt: lab.At(g.from), EndedAt: lab.At(g.to)}
		run.InForce.SG, run.InForce.CO2Vol, run.InForce.ABVPct = rounded(g.sg), rounded(g.co2), rounded(g.abv)
		run.InForce.CapacityML, run.InForce.TareG = rounded(g.cap), rounded(g.tar)
		if err := w.add(ctx, run, 0); err != nil {
			return err
		}
	}
	if err := w.flush(ctx); err != nil {
		return err
	}
	r.rewind()
	err := r.f.each(r.k, r.m, 0, func(row rowText) error {
		d := r.read(row)
		if d.faulty() {
			return nil
		}
		for _, s := range d.samples {
			s.RunID = d.group.id
			if err := w.add(ctx, s, d.row); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return w.flush(ctx)
}

// keepRecord writes the import's own record.
func keepRecord(ctx context.Context, svc *lab.Service, rec *lab.Import, rev *int, reason string) error {
	rec.Reason, rec.DeviceID = reason, lab.DeviceOf(rec.ID)
	body, err := json.Marshal(rec)
	if err != nil {
		return err
	}
	a := svc.Put(ctx, lab.Write{Kind: lab.KindImports, ID: rec.ID, BaseRev: *rev, Record: body})
	if a.Err != nil {
		return a.Err
	}
	var stored lab.Meta
	if err := json.Unmarshal(a.Record, &stored); err != nil {
		return err
	}
	*rev = stored.Rev
	return nil
}

// identify finds the import that this file and mapping already had, or begins one.
func identify(ctx context.Context, svc *lab.Service, f *File, k facts, m *lab.ImportMapping) (lab.Import, int, error) {
	by := f.By
	if by == "" {
		by = "import"
	}
	rec := lab.Import{FileName: f.label(), SHA256: k.sum, Bytes: k.size, Mapping: *m}
	b, err := before(ctx, svc, k.sum, m)
	if err != nil {
		return rec, 0, err
	}
	if b != nil && !b.SameMapping && b.State != "undone" {
		return rec, 0, &lab.Error{Class: lab.Conflict, Faults: []lab.Fault{{Field: "file", Value: f.label(),
			Message: fmt.Sprintf("was imported on %s with another mapping", b.At.Format("2 January 2006")),
			Mend:    "undo that import first: else every reading would be there twice"}}}
	}
	if b == nil || !b.SameMapping {
		id, err := uuid.NewV7()
		if err != nil {
			return rec, 0, err
		}
		rec.ID, rec.By = id.String(), by
		return rec, 0, nil
	}
	body, err := svc.Get(ctx, lab.KindImports, b.ID)
	if err != nil {
		return rec, 0, err
	}
	if err := json.Unmarshal(body, &rec); err != nil {
		return rec, 0, err
	}
	rev := rec.Rev
	rec.By = by
	return rec, rev, nil
}

// before finds the newest import of the same file that stands, else one of the
// same mapping, else any.
func before(ctx context.Context, svc *lab.Service, sum string, m *lab.ImportMapping) (*lab.ImportBefore, error) {
	var best *lab.ImportBefore
	rank := func(b *lab.ImportBefore) int {
		n := 0
		if b.State != "undone" {
			n += 2
		}
		if b.SameMapping {
			n++
		}
		return n
	}
	err := eachRecord(ctx, svc, lab.KindImports, func(body json.RawMessage) error {
		var rec lab.Import
		if err := json.Unmarshal(body, &rec); err != nil {
			return err
		}
		if rec.SHA256 != sum || rec.Archived {
			return nil
		}
		b := &lab.ImportBefore{ID: rec.ID, At: rec.ServerAt, By: rec.By, State: rec.State, SameMapping: sameMapping(&rec.Mapping, m)}
		if best == nil || rank(b) >= rank(best) {
			best = b
		}
		return nil
	})
	return best, err
}

// sameMapping compares what decides how a file is read.
func sameMapping(a, b *lab.ImportMapping) bool {
	text := func(m lab.ImportMapping) string {
		m.Sure = nil
		m.Columns = slices.Clone(m.Columns)
		for i := range m.Columns {
			m.Columns[i].Why = ""
		}
		m.Names = slices.Clone(m.Names)
		slices.SortFunc(m.Names, func(x, y lab.ImportName) int {
			return slices.Compare([]string{x.Field, x.Text}, []string{y.Field, y.Text})
		})
		out, err := json.Marshal(m)
		if err != nil {
			return err.Error()
		}
		return string(out)
	}
	return text(*a) == text(*b)
}
