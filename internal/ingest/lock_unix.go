//go:build unix

package ingest

import (
	"errors"
	"os"
	"syscall"
)

// lockFile takes the lock of a file until it is closed; false where another one
// holds it. The system gives it back when a process ends, however it ends.
func lockFile(f *os.File) (bool, error) {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return false, nil
	}
	return err == nil, err
}
