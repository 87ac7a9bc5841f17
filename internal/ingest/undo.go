package ingest

import (
	"context"
	"encoding/json"
	"slices"

	"ullage/internal/lab"
)

// Undo archives everything an import wrote, as new revisions with who and why:
// nothing is deleted. Runs and set-up records that others use by now are left.
// Undo of what is undone already changes nothing.
func Undo(ctx context.Context, svc *lab.Service, importID, by, reason string, progress func(lab.ImportProgress)) (lab.ImportProgress, error) {
	if progress == nil {
		progress = func(lab.ImportProgress) {}
	}
	p := lab.ImportProgress{ImportID: importID, Doing: "undoing"}
	if by == "" || reason == "" {
		return p, refuse("reason", reason, "or by is missing", "say who undoes the import, and why")
	}
	body, err := svc.Get(ctx, lab.KindImports, importID)
	if err != nil {
		return p, err
	}
	var rec lab.Import
	if err := json.Unmarshal(body, &rec); err != nil {
		return p, err
	}
	rev := rec.Rev
	u := &undoing{svc: svc, by: by, reason: "import undone: " + reason, p: &p, tell: progress, importID: importID}
	if err := u.collect(ctx); err != nil {
		return p, err
	}
	progress(p)
	for _, k := range []lab.Kind{lab.KindSamples, lab.KindRuns, lab.KindFormatLots, lab.KindLines, lab.KindFormats, lab.KindBeers} {
		if err := u.archive(ctx, k); err != nil {
			return p, err
		}
	}
	if p.Counts.Archived > 0 || rec.State != "undone" {
		rec.State, rec.By = "undone", by
		rec.Counts.Archived, rec.Counts.Kept = p.Counts.Archived, p.Counts.Kept
		if err := keepRecord(ctx, svc, &rec, &rev, u.reason); err != nil {
			return p, err
		}
	}
	p.Doing, p.Done = "done", p.Total
	progress(p)
	return p, nil
}

type undoing struct {
	svc      *lab.Service
	by       string
	reason   string
	importID string
	p        *lab.ImportProgress
	tell     func(lab.ImportProgress)
	ids      map[lab.Kind][]string
	used     map[string]bool // what is in use by records that stay
}

// collect finds what the import wrote: its records stand after its own first
// revision, in the database's one order of writes, and carry its mark.
func (u *undoing) collect(ctx context.Context) error {
	own, err := u.svc.Store.Revisions(ctx, lab.KindImports, u.importID)
	if err != nil {
		return err
	}
	after, end := own[0].Seq, own[len(own)-1].Seq
	if last := own[len(own)-1]; stateOf(last) == "writing" {
		if end, err = u.svc.Store.Head(ctx); err != nil {
			return err
		}
	}
	u.ids = map[lab.Kind][]string{}
	seen, mark := map[string]bool{}, lab.DeviceOf(u.importID)
	for after < end {
		revs, err := u.svc.Store.Changes(ctx, after, "", lab.MaxPage)
		if err != nil {
			return err
		}
		if len(revs) == 0 {
			break
		}
		for _, r := range revs {
			if after = r.Seq; r.DeviceID == mark && r.Kind != lab.KindImports && !seen[r.ID] {
				seen[r.ID] = true
				u.ids[r.Kind] = append(u.ids[r.Kind], r.ID)
				u.p.Total++
			}
		}
	}
	return nil
}

func stateOf(r lab.Revision) string {
	var rec lab.Import
	if json.Unmarshal(r.Body, &rec) != nil {
		return ""
	}
	return rec.State
}

// archive puts the records of one kind out of use.
func (u *undoing) archive(ctx context.Context, k lab.Kind) error {
	if len(u.ids[k]) == 0 {
		return nil
	}
	if k != lab.KindSamples {
		if err := u.findUsed(ctx, k); err != nil {
			return err
		}
	}
	for part := range slices.Chunk(u.ids[k], chunkSize) {
		var writes []lab.Write
		for _, id := range part {
			w, err := u.one(ctx, k, id)
			if err != nil {
				return err
			}
			if w != nil {
				writes = append(writes, *w)
			}
		}
		if err := u.send(ctx, writes); err != nil {
			return err
		}
		u.p.Done += len(part)
		u.tell(*u.p)
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

// one makes the archiving write of a record; nil if there is nothing to do.
func (u *undoing) one(ctx context.Context, k lab.Kind, id string) (*lab.Write, error) {
	body, err := u.svc.Get(ctx, k, id)
	if err != nil {
		return nil, err
	}
	r := lab.New(k)
	if err := json.Unmarshal(body, r); err != nil {
		return nil, err
	}
	m := r.Base()
	if m.Archived {
		return nil, nil
	}
	if u.used[id] {
		u.p.Counts.Kept++
		return nil, nil
	}
	base := m.Rev
	m.Archived, m.By, m.Reason = true, u.by, u.reason
	m.DeviceID, m.DeviceAt = "", lab.Time{}
	body, err = json.Marshal(r)
	return &lab.Write{Kind: k, ID: id, BaseRev: base, Record: body}, err
}

// send writes; a record that somebody corrected in between is read again once.
func (u *undoing) send(ctx context.Context, writes []lab.Write) error {
	for _, a := range u.svc.Batch(ctx, writes) {
		if lab.ClassOf(a.Err) == lab.Conflict && a.Err != nil {
			w, err := u.one(ctx, a.Kind, a.ID)
			if err != nil {
				return err
			}
			if w != nil {
				a = u.svc.Put(ctx, *w)
			}
		}
		if a.Err != nil {
			return a.Err
		}
		u.p.Counts.Archived++
	}
	return nil
}

// findUsed learns which ids records that stay refer to.
func (u *undoing) findUsed(ctx context.Context, k lab.Kind) error {
	u.used = map[string]bool{}
	users := []lab.Kind{lab.KindRuns, lab.KindFormatLots, lab.KindLimits, lab.KindBatches,
		lab.KindBrews, lab.KindMoves, lab.KindReadings, lab.KindCellarLimits}
	if k == lab.KindRuns {
		return u.runsUsed(ctx)
	}
	for _, kind := range users {
		err := eachRecord(ctx, u.svc, kind, func(body json.RawMessage) error {
			r := lab.New(kind)
			if err := json.Unmarshal(body, r); err != nil || r.Base().Archived {
				return err
			}
			for _, ref := range r.Refs() {
				u.used[ref.ID] = true
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// runsUsed marks the import's runs that hold samples or events of others.
func (u *undoing) runsUsed(ctx context.Context) error {
	for _, id := range u.ids[lab.KindRuns] {
		for _, kind := range []lab.Kind{lab.KindSamples, lab.KindEvents} {
			q := lab.Query{Kind: kind, RunID: id, Limit: lab.MaxPage}
			for more := true; more && !u.used[id]; {
				page, err := u.svc.List(ctx, q)
				if err != nil {
					return err
				}
				for _, body := range page.Records {
					var m lab.Meta
					if err := json.Unmarshal(body, &m); err != nil {
						return err
					}
					u.used[id] = u.used[id] || !m.Archived
				}
				q.After, more = page.Next, page.Next != ""
			}
		}
	}
	return nil
}

// recorded is the progress of an import as its record has it.
func recorded(ctx context.Context, svc *lab.Service, importID string) (lab.ImportProgress, error) {
	body, err := svc.Get(ctx, lab.KindImports, importID)
	if err != nil {
		return lab.ImportProgress{}, err
	}
	var rec lab.Import
	if err := json.Unmarshal(body, &rec); err != nil {
		return lab.ImportProgress{}, err
	}
	p := lab.ImportProgress{ImportID: importID, Doing: "done", Counts: rec.Counts}
	if rec.State == "writing" {
		p.Doing, p.Failure = "failed", "the server stopped while this was written; import the same file again, or undo it"
	}
	return p, nil
}
