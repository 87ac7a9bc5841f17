package lab

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// Names of the files of an export. Revisions holds everything; the CSV files
// beside it are for reading in other programs, and are not imported.
const (
	ManifestFile  = "export.json"
	RevisionsFile = "revisions.jsonl"
)

const exportVersion = 1

// Manifest says what an export is and how much it holds.
type Manifest struct {
	Format    string `json:"format"`
	Version   int    `json:"version"`
	MadeAt    Time   `json:"made_at"`
	Revisions int    `json:"revisions"`
}

// exported is one line of the revisions file.
type exported struct {
	Seq        int64           `json:"seq"`
	Collection Kind            `json:"collection"`
	ID         string          `json:"id"`
	Rev        int             `json:"rev"`
	RunID      string          `json:"run_id,omitempty"`
	Open       bool            `json:"open,omitempty"`
	Hash       string          `json:"hash"`
	Record     json.RawMessage `json:"record"`
}

// Export writes all data, as they stood at one moment: every revision as JSON
// lines, the current records of each collection as CSV, and a manifest, last.
// create opens the next file to write; it is written whole before the next.
func (s *Service) Export(ctx context.Context, create func(name string) (io.Writer, error)) (Manifest, error) {
	m := Manifest{Format: "ullage-export", Version: exportVersion, MadeAt: At(s.now())}
	if err := s.May(ctx, DoExport); err != nil {
		return m, err
	}
	head, err := s.Store.Head(ctx)
	if err != nil {
		return m, err
	}
	w, err := create(RevisionsFile)
	if err != nil {
		return m, err
	}
	if m.Revisions, err = s.exportRevisions(ctx, w, head); err != nil {
		return m, err
	}
	for _, k := range Kinds() {
		if w, err = create("csv/" + string(k) + ".csv"); err != nil {
			return m, err
		}
		if err := s.exportCSV(ctx, w, k); err != nil {
			return m, err
		}
	}
	if w, err = create(ManifestFile); err != nil {
		return m, err
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return m, enc.Encode(m)
}

func (s *Service) exportRevisions(ctx context.Context, w io.Writer, head int64) (int, error) {
	buf := bufio.NewWriter(w)
	enc := json.NewEncoder(buf)
	n, after := 0, int64(0)
	for after < head {
		revs, err := s.Store.Changes(ctx, after, "", MaxPage)
		if err != nil {
			return n, err
		}
		for _, r := range revs {
			if after = r.Seq; after > head {
				break
			}
			if err := enc.Encode(exported{r.Seq, r.Kind, r.ID, r.Rev, r.RunID, r.Open, r.Hash, r.Body}); err != nil {
				return n, err
			}
			n++
		}
		if len(revs) == 0 {
			break
		}
	}
	return n, buf.Flush()
}

// Import writes an export into an empty database, whole or not at all. open
// gives a file of the export by its name.
func (s *Service) Import(ctx context.Context, open func(name string) (io.ReadCloser, error)) (Manifest, error) {
	if err := s.May(ctx, DoImport); err != nil {
		return Manifest{}, err
	}
	m, err := readManifest(open)
	if err != nil {
		return m, err
	}
	head, err := s.Store.Head(ctx)
	if err != nil {
		return m, err
	}
	if head != 0 {
		return m, fault(Invalid, "database", head, "is not empty", "import into a new --data folder or a new database")
	}
	f, err := open(RevisionsFile)
	if err != nil {
		return m, err
	}
	defer f.Close()
	revs, lastNumber, err := readRevisions(f)
	if err != nil {
		return m, err
	}
	if len(revs) != m.Revisions {
		return m, fault(Malformed, RevisionsFile, len(revs), fmt.Sprintf("holds not the %d revisions of the manifest", m.Revisions),
			"the file is cut off or changed: export again")
	}
	p, _ := Who(ctx)
	for i := range revs {
		revs[i].Account, revs[i].Via, revs[i].Server = p.Account, viaImport, s.Name
	}
	// One request is one transaction.
	outs, err := s.Store.Append(ctx, revs)
	if err != nil {
		return m, err
	}
	for i, o := range outs {
		if o.Status != Created && o.Status != Updated {
			return m, fault(Conflict, RevisionsFile, revs[i].ID, "is in the database already", "import into an empty database")
		}
	}
	if lastNumber > 0 {
		err = s.Store.RaiseNumber(ctx, "run", lastNumber)
	}
	return m, err
}

func readManifest(open func(string) (io.ReadCloser, error)) (Manifest, error) {
	var m Manifest
	f, err := open(ManifestFile)
	if err != nil {
		return m, fault(Malformed, ManifestFile, nil, "cannot be read: "+err.Error(), "name the zip file or folder that export wrote")
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, 1<<20))
	if err != nil {
		return m, err
	}
	if err := json.Unmarshal(text, &m); err != nil || m.Format != "ullage-export" {
		return m, fault(Malformed, ManifestFile, nil, "is not the manifest of an export", "name the zip file or folder that export wrote")
	}
	if m.Version > exportVersion {
		return m, fault(Malformed, ManifestFile, m.Version, "is of a newer release", "import with that release")
	}
	return m, nil
}

// maxLine bounds one record: far above what a request may send.
const maxLine = 16 << 20

func readRevisions(r io.Reader) (revs []Revision, lastNumber int, err error) {
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, 64<<10), maxLine)
	last := map[string]int{}
	for n := 1; lines.Scan(); n++ {
		rev, record, err := readRevision(lines.Bytes())
		if err == nil && rev.Rev != last[key(rev.Kind, rev.ID)]+1 {
			err = fault(Malformed, "rev", rev.Rev, "does not follow the revision before it", "export again")
		}
		if err != nil {
			return nil, 0, &Error{Class: ClassOf(err), Text: fmt.Sprintf("%s line %d", RevisionsFile, n), Err: err}
		}
		last[key(rev.Kind, rev.ID)] = rev.Rev
		if run, ok := record.(*Run); ok {
			lastNumber = max(lastNumber, run.Number)
		}
		revs = append(revs, rev)
	}
	if err := lines.Err(); err != nil {
		return nil, 0, errors.Join(fault(Malformed, RevisionsFile, nil, "cannot be read to its end", "export again"), err)
	}
	return revs, lastNumber, nil
}

func readRevision(line []byte) (Revision, Record, error) {
	var e exported
	if err := DecodeStrict(line, &e); err != nil {
		return Revision{}, nil, err
	}
	if _, err := ParseKind(string(e.Collection)); err != nil {
		return Revision{}, nil, err
	}
	r, err := Decode(e.Collection, e.Record)
	if err != nil {
		return Revision{}, nil, err
	}
	if err := Check(r); err != nil {
		return Revision{}, nil, err
	}
	rev, err := revision(r, e.Hash)
	if err != nil {
		return rev, nil, err
	}
	if rev.ID != e.ID || rev.Rev != e.Rev || rev.Hash == "" || rev.ServerAt.IsZero() {
		return rev, nil, fault(Malformed, "id", e.ID, "the line and its record do not agree", "export again")
	}
	// The text stays byte for byte, and what was derived from it under the
	// rules of its day.
	rev.Body, rev.RunID, rev.Open = append(json.RawMessage(nil), e.Record...), e.RunID, e.Open
	return rev, r, nil
}
