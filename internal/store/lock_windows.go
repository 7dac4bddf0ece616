package store

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// tryLock takes the lock of an open file, alone or shared with others that
// share it, and reports whether it could be had. The system takes it back when
// the process ends, however it ends.
func tryLock(f *os.File, alone bool) (bool, error) {
	flags := uint32(windows.LOCKFILE_FAIL_IMMEDIATELY)
	if alone {
		flags |= windows.LOCKFILE_EXCLUSIVE_LOCK
	}
	err := windows.LockFileEx(windows.Handle(f.Fd()), flags, 0, 1, 0, new(windows.Overlapped))
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return false, nil
	}
	return err == nil, err
}

func unlock(f *os.File) error {
	return windows.UnlockFileEx(windows.Handle(f.Fd()), 0, 1, 0, new(windows.Overlapped))
}

// syncFolder does nothing: Windows has no such call, its file system keeps a
// journal of names.
func syncFolder(string) error { return nil }
