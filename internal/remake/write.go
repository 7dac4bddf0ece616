package remake

import (
	"bytes"
	"context"
	"fmt"

	"groundwork/internal/draw"
	"groundwork/internal/job"
	"groundwork/internal/solid"
	"groundwork/internal/whole"
)

// folder is what lies in one that was made again.
var folder = whole.Folder{Marker: "remake.txt", Holds: "parts made again"}

// Files makes every file, in a fixed order. What the job folder has too is made
// by the job: its own bytes, of fewer parts.
func (r *Result) Files(ctx context.Context, k *solid.Kernel, o job.Options) ([]job.File, error) {
	o.Sheet = r.options.Sheet
	var out []job.File
	one := func(name string, as string) error {
		f, ok, err := job.One(ctx, k, r.Part, o, name)
		switch {
		case err != nil:
			return fmt.Errorf("remake: %w", err)
		case !ok:
			return fmt.Errorf("remake: a job has no file %s", name) // a fault of the program
		}
		f.Name = as
		out = append(out, f)
		return nil
	}
	var names job.Names
	var wanted []string
	for _, l := range r.Part.Printing.Loads {
		wanted = append(wanted, names.Load(l.ID))
	}
	for _, p := range r.Part.Printing.Prints {
		wanted = append(wanted, names.Segment(p.Segment))
	}
	if len(r.Part.Printing.Loads) > 0 {
		wanted = append(wanted, "core/cards.txt")
	}
	for _, l := range r.Part.FixturePrinting.Loads {
		wanted = append(wanted, names.FixtureLoad(l.ID))
	}
	for _, f := range r.Part.Fixtures.Fixtures {
		for _, p := range f.Parts {
			wanted = append(wanted, p.File())
		}
	}
	if len(r.Part.FixturePrinting.Loads) > 0 {
		wanted = append(wanted, "fixtures/cards.txt")
	}
	if len(r.Part.Patterns) > 0 {
		wanted = append(wanted, "veneer/patterns.csv", "veneer/sheet-cuts.csv")
	}
	if len(r.Part.Patterns)+len(r.Part.Cores.Segments) > 0 { // fixtures' parts bear none
		wanted = append(wanted, "labels.pdf")
	}
	for _, name := range wanted {
		if err := one(name, name); err != nil {
			return nil, err
		}
	}
	for i, b := range r.Part.Sheets.Blanks {
		d, err := r.Part.Sheets.Drawing(ctx, k, i, r.Part.Patterns, r.Part.Shop, r.options.Sheet)
		if err != nil {
			return nil, fmt.Errorf("remake: %w", err)
		}
		d.Title += ", kit " + r.Job.Revision()
		for _, f := range []struct {
			ext   string
			write func(*bytes.Buffer) error
		}{
			{"svg", func(w *bytes.Buffer) error { return draw.WriteSVG(w, d) }},
			{"dxf", func(w *bytes.Buffer) error { return draw.WriteDXF(w, d) }},
		} {
			var w bytes.Buffer
			if err := f.write(&w); err != nil {
				return nil, fmt.Errorf("remake: %s: %w", b.ID, err)
			}
			out = append(out, job.File{Name: names.Blank(b.ID, f.ext), Data: w.Bytes()})
		}
	}
	return append(out, job.File{Name: folder.Marker, Data: []byte(r.Text())}), nil
}

// Ready says whether what is made again may be written to dir: it must be free,
// or hold what was made again earlier and is to be replaced. The error wraps
// fs.ErrExist if only replace is wanting.
func Ready(dir string, replace bool) error {
	if err := folder.Ready(dir, replace); err != nil {
		return fmt.Errorf("remake: %w", err)
	}
	return nil
}

// Write makes every file and puts the folder in place, whole or not at all.
func (r *Result) Write(ctx context.Context, k *solid.Kernel, dir string, o job.Options) error {
	if err := Ready(dir, o.Replace); err != nil {
		return err
	}
	files, err := r.Files(ctx, k, o)
	if err != nil {
		return err
	}
	if err := folder.Write(dir, o.Replace, files); err != nil {
		return fmt.Errorf("remake: %w", err)
	}
	return nil
}
