//go:build unix

package store

import (
	"errors"
	"os"
	"syscall"
)

// tryLock takes the lock of an open file, alone or shared with others that
// share it, and reports whether it could be had. The system takes it back when
// the process ends, however it ends.
func tryLock(f *os.File, alone bool) (bool, error) {
	how := syscall.LOCK_SH
	if alone {
		how = syscall.LOCK_EX
	}
	err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) || errors.Is(err, syscall.EINTR) {
		return false, nil
	}
	return err == nil, err
}

func unlock(f *os.File) error { return syscall.Flock(int(f.Fd()), syscall.LOCK_UN) }

// syncFolder sees the names in a folder onto the disk.
func syncFolder(name string) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
