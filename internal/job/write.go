// Package job writes the job folder: plan.json, print files, cut sheets,
// lists. A folder is whole or absent, and the same plan gives the same bytes.
package job

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"groundwork/internal/book"
	"groundwork/internal/plan"
	"groundwork/internal/sheet"
	"groundwork/internal/solid"
)

// Names are the names of files in a job folder. Those of fixtures' parts and
// drawings are their own: fixture.Part.File.
type Names struct{ FaceDown bool }

func (Names) Piece() string                { return "piece.3mf" }
func (Names) Load(id string) string        { return "core/" + id + ".3mf" }
func (Names) Segment(id string) string     { return "core/segments/" + fileName(id) + ".stl" }
func (Names) Blank(id, ext string) string  { return "veneer/" + id + "." + ext }
func (Names) FixtureLoad(id string) string { return "fixtures/" + id + ".3mf" }
func (Names) Chart(i int) string           { return fmt.Sprintf("calendar/chart-%d.svg", i+1) }
func (Names) Parcel(id string) string      { return "kit/" + fileName(id) + ".svg" }

// fileName keeps an ID from naming another folder.
func fileName(id string) string {
	return strings.Map(func(r rune) rune {
		if r == '/' || r == '\\' || r == ':' {
			return '-'
		}
		return r
	}, id)
}

// Options steer Write.
type Options struct {
	Replace bool          // take the place of a job folder that is there
	Sheet   sheet.Options // how cut sheets are drawn
	Book    book.Options
	Maker   string // who is told in the book; "" for the shop's name
	Notes   string // the maker's own words, for the book
	Licence string // under which the files may be used; "" leaves a line to write it on
}

// File is one file of a job folder.
type File struct {
	Name string // slash-separated, below the folder
	Data []byte
}

// Write makes every file of the job and puts the folder in place by renaming.
// It returns an error that wraps fs.ErrExist if dir is there and is not to be
// replaced, and never replaces a folder that is not a job folder.
func Write(ctx context.Context, k *solid.Kernel, p *plan.Plan, dir string, o Options) error {
	if err := Ready(dir, o.Replace); err != nil {
		return err
	}
	files, err := Files(ctx, k, p, o)
	if err != nil {
		return err
	}
	parent := filepath.Dir(dir)
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return fmt.Errorf("job: %w", err)
	}
	tmp, err := os.MkdirTemp(parent, "."+filepath.Base(dir)+"-*")
	if err != nil {
		return fmt.Errorf("job: %w", err)
	}
	defer os.RemoveAll(tmp)
	fresh := filepath.Join(tmp, "new")
	if err := os.Mkdir(fresh, 0o755); err != nil {
		return fmt.Errorf("job: %w", err)
	}
	for _, f := range files {
		name := filepath.Join(fresh, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			return fmt.Errorf("job: %w", err)
		}
		if err := os.WriteFile(name, f.Data, 0o644); err != nil {
			return fmt.Errorf("job: %w", err)
		}
	}
	old := filepath.Join(tmp, "old")
	if err := os.Rename(dir, old); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("job: %w", err)
	}
	if err := os.Rename(fresh, dir); err != nil {
		os.Rename(old, dir) // put back what was there
		return fmt.Errorf("job: %w", err)
	}
	return nil
}

// Ready says whether a job may be written to dir: it must be free, or hold a
// job that is to be replaced. The error wraps fs.ErrExist if only replace is
// wanting.
func Ready(dir string, replace bool) error {
	switch entries, err := os.ReadDir(dir); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return fmt.Errorf("job: %s: %w", dir, err)
	case len(entries) == 0:
	case !slices.ContainsFunc(entries, func(e os.DirEntry) bool { return e.Name() == "plan.json" }):
		return fmt.Errorf("job: %s holds other things than a job; choose another folder", dir)
	case !replace:
		return fmt.Errorf("job: %s holds a job already: %w", dir, fs.ErrExist)
	}
	return nil
}
