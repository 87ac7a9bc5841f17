package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"syscall"
	"time"

	"github.com/google/uuid"

	"ullage/internal/lab"
)

// Desk keeps the files that were sent, until they are imported or a day has
// passed, and runs one import or undo at a time behind them. It forgets both
// when the server stops: what was written stays, and is found again by its
// import record. Of several servers on one database each has its own desk: a
// file is confirmed on the one that received it.
type Desk struct {
	Lab *lab.Service

	folder folder
	ctx    context.Context
	cancel context.CancelFunc
	jobs   sync.WaitGroup
	mu     sync.Mutex
	files  map[string]*waiting
	last   map[string]lab.ImportProgress // by import
	busy   bool
}

type waiting struct {
	File
	facts
	id string
	at time.Time
}

const (
	keepFile = 24 * time.Hour
	maxFiles = 20
)

// NewDesk makes a desk, and removes what servers left behind that were killed.
func NewDesk(svc *lab.Service) *Desk {
	sweep()
	ctx, cancel := context.WithCancel(context.Background())
	return &Desk{Lab: svc, ctx: ctx, cancel: cancel, files: map[string]*waiting{}, last: map[string]lab.ImportProgress{}}
}

// Close ends what runs, between two chunks, and removes the files.
func (d *Desk) Close() error {
	d.cancel()
	d.jobs.Wait()
	return d.folder.remove()
}

func (d *Desk) now() time.Time {
	if d.Lab.Now != nil {
		return d.Lab.Now()
	}
	return time.Now()
}

// Receive stores a file, and answers with a proposed mapping and its preview.
// zone is the sender's time zone, proposed where the brewery has none.
func (d *Desk) Receive(ctx context.Context, name, zone string, body io.Reader) (lab.ImportUpload, error) {
	if err := d.Lab.May(ctx, lab.DoImport); err != nil {
		return lab.ImportUpload{}, err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return lab.ImportUpload{}, err
	}
	dir, err := d.folder.enter()
	if err != nil {
		return lab.ImportUpload{}, err
	}
	w := &waiting{id: id.String(), at: d.now(), File: File{Path: filepath.Join(dir, id.String()), Name: shorten(name, 150), keep: true}}
	if err := save(w.Path, body); err != nil {
		return lab.ImportUpload{}, errors.Join(err, d.drop(&w.File))
	}
	if w.facts, err = w.inspect(); err != nil {
		return lab.ImportUpload{}, errors.Join(err, d.drop(&w.File))
	}
	if _, err := time.LoadLocation(zone); err != nil || zone == "Local" {
		zone = ""
	}
	pre, err := preview(ctx, d.Lab, &w.File, w.facts, nil, zone)
	if err != nil {
		return lab.ImportUpload{}, errors.Join(err, d.drop(&w.File))
	}
	d.keep(w)
	return lab.ImportUpload{ID: w.id, FileName: w.label(), Bytes: w.size, SHA256: w.sum, Workbook: w.workbook, Sheets: w.sheets,
		Fields: Fields(), Preview: pre}, nil
}

// drop removes a file, and the folder with the last one.
func (d *Desk) drop(f *File) error { return errors.Join(f.remove(), d.folder.leave()) }

// remove takes the file off the disk, and its copies.
func (f *File) remove() error {
	copies, err := filepath.Glob(f.Path + ".*")
	for _, path := range append(copies, f.Path) {
		err = errors.Join(err, os.Remove(path))
	}
	return err
}

func save(path string, body io.Reader) (err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return disk(err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	n, err := io.Copy(f, io.LimitReader(body, MaxFile+1))
	if err != nil {
		return disk(err)
	}
	if n > MaxFile {
		return &lab.Error{Class: lab.TooLarge, Faults: []lab.Fault{{Field: "file", Message: fmt.Sprintf("is larger than %d MB", MaxFile>>20), Mend: "split it into parts of a year each"}}}
	}
	return nil
}

func disk(err error) error {
	if errors.Is(err, syscall.ENOSPC) {
		return &lab.Error{Class: lab.Full, Err: err, Faults: []lab.Fault{{Field: "file", Message: "the server's disk is full", Mend: "make room, then send the file again"}}}
	}
	return err
}

// keep remembers a file, and forgets those that are old or too many.
func (d *Desk) keep(w *waiting) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.files[w.id] = w
	var list []*waiting
	for _, f := range d.files {
		list = append(list, f)
	}
	slices.SortFunc(list, func(a, b *waiting) int { return b.at.Compare(a.at) })
	for i, f := range list {
		if i >= maxFiles || d.now().Sub(f.at) > keepFile {
			delete(d.files, f.id)
			_ = d.drop(&f.File) // one being read stays until it is closed
		}
	}
}

// done forgets a file that was imported.
func (d *Desk) done(w *waiting) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.files[w.id] == nil {
		return nil
	}
	delete(d.files, w.id)
	return d.drop(&w.File)
}

func (d *Desk) file(id string) (*waiting, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if w := d.files[id]; w != nil {
		return w, nil
	}
	return nil, &lab.Error{Class: lab.NotFound, Faults: []lab.Fault{{Field: "path.id", Value: id, Message: "this file is no longer here", Mend: "send it again: nothing of it was written"}}}
}

// Preview reads a file under a mapping. Without columns they are proposed anew.
func (d *Desk) Preview(ctx context.Context, id string, m lab.ImportMapping) (lab.ImportPreview, error) {
	if err := d.Lab.May(ctx, lab.DoImport); err != nil {
		return lab.ImportPreview{}, err
	}
	w, err := d.file(id)
	if err != nil {
		return lab.ImportPreview{}, err
	}
	return preview(ctx, d.Lab, &w.File, w.facts, &m, m.TimeZone)
}

// Confirm begins to write a file, and answers at once.
func (d *Desk) Confirm(ctx context.Context, id string, m lab.ImportMapping, by string) (lab.ImportProgress, error) {
	if err := d.Lab.May(ctx, lab.DoImport); err != nil {
		return lab.ImportProgress{}, err
	}
	w, err := d.file(id)
	if err != nil {
		return lab.ImportProgress{}, err
	}
	f := w.File
	f.By = by
	return d.start(ctx, func(ctx context.Context, tell func(lab.ImportProgress)) (lab.ImportProgress, error) {
		p, err := Import(ctx, d.Lab, f, m, tell)
		if err == nil { // else it can be tried again
			err = d.done(w)
		}
		return p, err
	})
}

// Undo begins to undo an import, and answers at once.
func (d *Desk) Undo(ctx context.Context, importID, by, reason string) (lab.ImportProgress, error) {
	return d.start(ctx, func(ctx context.Context, tell func(lab.ImportProgress)) (lab.ImportProgress, error) {
		return Undo(ctx, d.Lab, importID, by, reason, tell)
	})
}

// start runs a job behind the answer, which waits only for the job's first word:
// what is refused is refused in the answer.
func (d *Desk) start(asked context.Context, job func(context.Context, func(lab.ImportProgress)) (lab.ImportProgress, error)) (lab.ImportProgress, error) {
	if err := d.Lab.May(asked, lab.DoImport); err != nil {
		return lab.ImportProgress{}, err
	}
	ctx := d.ctx // it goes on when the one who asked has left, and still acts as them
	if p, ok := lab.Who(asked); ok {
		ctx = lab.As(ctx, p)
	}
	d.mu.Lock()
	if d.busy || d.ctx.Err() != nil {
		d.mu.Unlock()
		return lab.ImportProgress{}, &lab.Error{Class: lab.Conflict, Faults: []lab.Fault{{Field: "import", Message: "another import is being written or undone", Mend: "wait until it is done, then try again"}}}
	}
	d.busy = true
	d.jobs.Add(1)
	d.mu.Unlock()
	type word struct {
		p   lab.ImportProgress
		err error
	}
	first := make(chan word, 1)
	go func() {
		defer d.jobs.Done()
		told := false
		p, err := job(ctx, func(p lab.ImportProgress) {
			told = true
			if p.Doing != "done" { // that is said below, when the next may begin
				d.note(p)
			}
			select {
			case first <- word{p, nil}:
			default:
			}
		})
		d.mu.Lock()
		d.busy = false
		d.mu.Unlock()
		if err != nil {
			p.Doing, p.Failure = "failed", err.Error()
		}
		if told { // else it was refused before it began, and the answer says so
			d.note(p)
		}
		select {
		case first <- word{p, err}:
		default:
		}
	}()
	w := <-first
	return w.p, w.err
}

func (d *Desk) note(p lab.ImportProgress) {
	p.Faults = slices.Clone(p.Faults)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.last[p.ImportID] = p
}

// Progress tells how far an import is; of one from before the server started,
// what its record says.
func (d *Desk) Progress(ctx context.Context, importID string) (lab.ImportProgress, error) {
	if err := d.Lab.May(ctx, lab.DoImport); err != nil {
		return lab.ImportProgress{}, err
	}
	d.mu.Lock()
	p, ok := d.last[importID]
	d.mu.Unlock()
	if ok {
		return p, nil
	}
	return recorded(ctx, d.Lab, importID)
}
