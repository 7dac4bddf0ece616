// Package whole puts a folder of files in its place whole or not at all.
package whole

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// File is one file of a folder.
type File struct {
	Name string // slash-separated, below the folder
	Data []byte
}

// Folder is a kind of folder that a program writes.
type Folder struct {
	Marker string // name of the file by which one is known: "plan.json"
	Holds  string // what is in it, in words: "a job"
}

// Ready says whether such a folder may be written to dir: it must be free, or hold
// what is to be replaced. What holds other things is never replaced. The error
// wraps fs.ErrExist if only replace is wanting.
func (f Folder) Ready(dir string, replace bool) error {
	switch entries, err := os.ReadDir(dir); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return fmt.Errorf("%s: %w", dir, err)
	case len(entries) == 0:
	case !slices.ContainsFunc(entries, func(e os.DirEntry) bool { return e.Name() == f.Marker }):
		return fmt.Errorf("%s holds other things than %s; choose another folder", dir, f.Holds)
	case !replace:
		return fmt.Errorf("%s holds %s already: %w", dir, f.Holds, fs.ErrExist)
	}
	return nil
}

// Write writes the files beside dir and puts them in its place by renaming. After
// an error dir is as it was.
func (f Folder) Write(dir string, replace bool, files []File) error {
	if err := f.Ready(dir, replace); err != nil {
		return err
	}
	parent := filepath.Dir(dir)
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return err
	}
	tmp, err := os.MkdirTemp(parent, "."+filepath.Base(dir)+"-*")
	if err != nil {
		return err
	}
	stranded := false
	defer func() {
		if !stranded {
			os.RemoveAll(tmp)
		}
	}()
	fresh, old := filepath.Join(tmp, "new"), filepath.Join(tmp, "old")
	if err := os.Mkdir(fresh, 0o755); err != nil {
		return err
	}
	for _, file := range files {
		if !filepath.IsLocal(filepath.FromSlash(file.Name)) {
			return fmt.Errorf("%q is no name below a folder", file.Name)
		}
		name := filepath.Join(fresh, filepath.FromSlash(file.Name))
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(name, file.Data, 0o644); err != nil {
			return err
		}
	}
	if err := os.Rename(dir, old); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Rename(fresh, dir); err != nil {
		if back := os.Rename(old, dir); back != nil && !errors.Is(back, fs.ErrNotExist) {
			stranded = true
			return fmt.Errorf("%w; what was in %s is in %s now", errors.Join(err, back), dir, old)
		}
		return err
	}
	return nil
}
