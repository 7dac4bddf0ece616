package folder

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// tryLock takes the lock of an open file for this process, which the system
// takes back when the process ends however it ends. It reports whether it was
// free.
func tryLock(f *os.File) (bool, error) {
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, new(windows.Overlapped))
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return false, nil
	}
	return err == nil, err
}

func unlock(f *os.File) error {
	return windows.UnlockFileEx(windows.Handle(f.Fd()), 0, 1, 0, new(windows.Overlapped))
}

// flush sees a file onto the disk. Windows has no such call for the names in a
// folder; its file system keeps a journal of them.
func flush(f *os.File) error {
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return nil
	}
	return f.Sync()
}
