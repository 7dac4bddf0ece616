//go:build unix

package folder

import (
	"errors"
	"os"
	"syscall"
)

// tryLock takes the lock of an open file for this process, which the system
// takes back when the process ends however it ends. It reports whether it was
// free.
func tryLock(f *os.File) (bool, error) {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) || errors.Is(err, syscall.EINTR) {
		return false, nil
	}
	return err == nil, err
}

func unlock(f *os.File) error { return syscall.Flock(int(f.Fd()), syscall.LOCK_UN) }

// flush sees a file, or the names in a folder, onto the disk.
func flush(f *os.File) error { return f.Sync() }
