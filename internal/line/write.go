package line

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// marker is the file by which a folder is known to hold a line.
const marker = "line.json"

// Ready says whether a line may be written to dir: it must be free, or hold a
// line that is to be replaced. The error wraps fs.ErrExist if only replace is
// wanting.
func Ready(dir string, replace bool) error {
	switch entries, err := os.ReadDir(dir); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return fmt.Errorf("line: %s: %w", dir, err)
	case len(entries) == 0:
	case !slices.ContainsFunc(entries, func(e os.DirEntry) bool { return e.Name() == marker }):
		return fmt.Errorf("line: %s holds other things than a line; choose another folder", dir)
	case !replace:
		return fmt.Errorf("line: %s holds a line already: %w", dir, fs.ErrExist)
	}
	return nil
}

// Write makes table.html, table.xlsx, table.csv and line.json, and puts the
// folder in place whole or not at all.
func (t *Table) Write(dir string, replace bool) error {
	if err := Ready(dir, replace); err != nil {
		return err
	}
	parent := filepath.Dir(dir)
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return fmt.Errorf("line: %w", err)
	}
	tmp, err := os.MkdirTemp(parent, "."+filepath.Base(dir)+"-*")
	if err != nil {
		return fmt.Errorf("line: %w", err)
	}
	defer os.RemoveAll(tmp)
	fresh, old := filepath.Join(tmp, "new"), filepath.Join(tmp, "old")
	if err := os.Mkdir(fresh, 0o755); err != nil {
		return fmt.Errorf("line: %w", err)
	}
	for _, f := range []struct {
		name string
		make func() ([]byte, error)
	}{{"table.html", t.HTML}, {"table.xlsx", t.XLSX}, {"table.csv", t.CSV}, {marker, t.JSON}} {
		data, err := f.make()
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(fresh, f.name), data, 0o644); err != nil {
			return fmt.Errorf("line: %w", err)
		}
	}
	if err := os.Rename(dir, old); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("line: %w", err)
	}
	if err := os.Rename(fresh, dir); err != nil {
		os.Rename(old, dir) // put back what was there
		return fmt.Errorf("line: %w", err)
	}
	return nil
}
