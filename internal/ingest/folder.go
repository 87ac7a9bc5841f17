package ingest

import (
	"errors"
	"os"
	"path/filepath"
	"sync"
	"time"
)

const (
	folderName = "ullage-import-" // and a random end
	heldName   = "held"           // locked as long as its server lives
)

// folder is where files wait, among the system's temporary ones. It is made for
// the first one and goes with the last.
type folder struct {
	mu   sync.Mutex
	dir  string
	held *os.File
	uses int
}

// enter makes the folder if it is not there. Every enter needs its leave.
func (f *folder) enter() (string, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.dir == "" {
		dir, err := os.MkdirTemp("", folderName)
		if err != nil {
			return "", disk(err)
		}
		held, err := os.OpenFile(filepath.Join(dir, heldName), os.O_CREATE|os.O_RDWR, 0o600)
		if err == nil {
			_, err = lockFile(held)
		}
		if err != nil {
			return "", errors.Join(disk(err), closed(held), os.RemoveAll(dir))
		}
		f.dir, f.held = dir, held
	}
	f.uses++
	return f.dir, nil
}

// leave removes the folder after the last file in it.
func (f *folder) leave() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.uses--; f.uses > 0 {
		return nil
	}
	return f.gone()
}

// remove the folder with all that is in it.
func (f *folder) remove() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.gone()
}

func (f *folder) gone() error {
	if f.dir == "" {
		return nil
	}
	err := errors.Join(closed(f.held), os.RemoveAll(f.dir))
	f.dir, f.held, f.uses = "", nil, 0
	return err
}

func closed(f *os.File) error {
	if f == nil {
		return nil
	}
	return f.Close()
}

// sweep removes the folders of servers that were killed. What cannot be removed,
// another user's say, stays.
func sweep() {
	left, err := filepath.Glob(filepath.Join(os.TempDir(), folderName+"*"))
	if err != nil {
		return
	}
	for _, dir := range left {
		if info, err := os.Lstat(dir); err == nil && info.IsDir() && abandoned(dir, info.ModTime()) {
			_ = os.RemoveAll(dir)
		}
	}
}

// abandoned tells whether nobody holds a folder's lock any more; one without a
// lock may be just being made.
func abandoned(dir string, changed time.Time) bool {
	held, err := os.OpenFile(filepath.Join(dir, heldName), os.O_RDWR, 0)
	if err != nil {
		return os.IsNotExist(err) && time.Since(changed) > time.Hour
	}
	free, err := lockFile(held)
	return free && errors.Join(err, held.Close()) == nil
}
