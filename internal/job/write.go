// Package job writes the job folder: plan.json, print files, cut sheets,
// lists. A folder is whole or absent, and the same plan gives the same bytes.
package job

import (
	"context"
	"fmt"
	"strings"

	"groundwork/internal/book"
	"groundwork/internal/plan"
	"groundwork/internal/sheet"
	"groundwork/internal/solid"
	"groundwork/internal/whole"
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
type File = whole.File

// folder is what a job lies in.
var folder = whole.Folder{Marker: "plan.json", Holds: "a job"}

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
	if err := folder.Write(dir, o.Replace, files); err != nil {
		return fmt.Errorf("job: %w", err)
	}
	return nil
}

// Ready says whether a job may be written to dir: it must be free, or hold a
// job that is to be replaced. The error wraps fs.ErrExist if only replace is
// wanting.
func Ready(dir string, replace bool) error {
	if err := folder.Ready(dir, replace); err != nil {
		return fmt.Errorf("job: %w", err)
	}
	return nil
}
