// Package job writes the job folder: plan.json, print files, cut sheets,
// lists. A folder is whole or absent, and the same plan gives the same bytes.
package job

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/plan"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/unit"
)

// Names are the names of files in a job folder.
type Names struct{ FaceDown bool }

func (Names) Piece() string               { return "piece.3mf" }
func (Names) Load(id string) string       { return "core/" + id + ".3mf" }
func (Names) Segment(id string) string    { return "core/segments/" + fileName(id) + ".stl" }
func (Names) Blank(id, ext string) string { return "veneer/" + id + "." + ext }

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

// Files makes every file of the job, in a fixed order.
func Files(ctx context.Context, k *solid.Kernel, p *plan.Plan, o Options) ([]File, error) {
	names := Names{FaceDown: o.Sheet.FaceDown}
	var out []File
	cores, err := coreFiles(ctx, k, p, names)
	if err != nil {
		return nil, fmt.Errorf("job: %w", err)
	}
	out = append(out, cores...)
	whole, err := pieceFile(ctx, k, p.Piece, names)
	if err != nil {
		return nil, fmt.Errorf("job: %w", err)
	}
	out = append(out, whole)
	for i := range p.Sheets.Blanks {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("job: %w", err)
		}
		for _, ext := range blankEndings {
			f, err := blankFile(ctx, k, p, i, ext, o)
			if err != nil {
				return nil, fmt.Errorf("job: %w", err)
			}
			out = append(out, f)
		}
	}
	doc, err := Encode(p, names)
	if err != nil {
		return nil, err
	}
	bill, err := billCSV(p)
	if err != nil {
		return nil, err
	}
	patterns, err := patternsCSV(p)
	if err != nil {
		return nil, err
	}
	cuts, err := cutsCSV(p)
	if err != nil {
		return nil, err
	}
	if p.Strength != nil {
		table, err := strengthCSV(p)
		if err != nil {
			return nil, err
		}
		out = append(out, File{"strength.csv", table})
	}
	return append(out, File{"core/cards.txt", cards(p)}, File{"veneer/patterns.csv", patterns}, File{"veneer/sheet-cuts.csv", cuts}, File{"bill.csv", bill}, File{"plan.json", doc}), nil
}

// coreFiles are the STL of every segment as it lies in the printer, and the
// 3MF of every load.
func coreFiles(ctx context.Context, k *solid.Kernel, p *plan.Plan, names Names) ([]File, error) {
	var out []File
	// Loads first: they make their bodies side by side, and the segments' own are then at hand.
	for i := range p.Printing.Loads {
		f, err := loadFile(ctx, k, p, i, names)
		if err != nil {
			return nil, err
		}
		out = append(out, f)
	}
	for i := range p.Printing.Prints {
		f, err := segmentFile(ctx, k, p, i, names)
		if err != nil {
			return nil, err
		}
		out = append(out, f)
	}
	return out, nil
}

// cards are the settings of each load, to be set at the printer: print files
// carry none.
func cards(p *plan.Plan) []byte {
	var b bytes.Buffer
	for _, l := range p.Printing.Loads {
		i := slices.IndexFunc(p.Shop.Printers, func(pr shop.Printer) bool { return pr.ID == l.Printer })
		pr := p.Shop.Printers[i].Profile
		fmt.Fprintf(&b, "%s on %s in %s\n", l.ID, l.Printer, l.Filament)
		fmt.Fprintf(&b, "  layers %g mm, the first %g mm; beads %g mm wide\n", pr.Layer, pr.FirstLayer, pr.Line)
		fmt.Fprintf(&b, "  %d contours, %d cover layers top and bottom, core fill %.0f %% %s\n", pr.Contours, pr.CoverLayers, pr.Fill*100, pr.FillPattern)
		fmt.Fprintf(&b, "  about %s (%s to %s), %s of filament\n", unit.FormatDuration(l.Seconds), unit.FormatDuration(l.Low), unit.FormatDuration(l.High), unit.FormatMass(l.Grams))
		b.WriteString("  parts:")
		for _, it := range l.Items {
			pt := p.Printing.Prints[it.Print]
			b.WriteString(" " + pt.Segment)
			if pt.Overhang >= 25 {
				b.WriteString(" (supports)")
			}
		}
		b.WriteString("\n\n")
	}
	return b.Bytes()
}

func number(x float64, digits int) string { return strconv.FormatFloat(x, 'f', digits, 64) }

func billCSV(p *plan.Plan) ([]byte, error) {
	rows := [][]string{{"section", "item", "quantity", "unit", "price", "cost", "currency", "note"}}
	for _, l := range p.Bill.Lines {
		rows = append(rows, []string{string(l.Section), l.Item, number(l.Quantity, 2), l.Unit, number(l.Price, 4), number(l.Cost, 2), p.Bill.Currency, l.Note})
	}
	rows = append(rows, []string{"total", "", "", "", "", number(p.Bill.Cost, 2), p.Bill.Currency, ""})
	return encodeCSV("bill.csv", rows)
}

func patternsCSV(p *plan.Plan) ([]byte, error) {
	rows := [][]string{{"pattern", "member", "surface", "kind", "veneer", "length_mm", "width_mm", "net_area_mm2", "allowance_mm", "blank", "set", "hold_until_measured", "note"}}
	for i, pat := range p.Patterns {
		member, surface := "", ""
		if pat.Member >= 0 {
			member = p.Piece.Members[pat.Member].ID
			const chord = 0.1 // names only
			surface = p.Layout.Cores[pat.Member].Surfaces(chord)[pat.Surface].Name
		}
		blank := ""
		if b := p.Sheets.Placements[i].Blank; b >= 0 {
			blank = p.Sheets.Blanks[b].ID
		}
		var notes []string
		if pat.KnifeCut {
			notes = append(notes, "cut to length by knife")
		}
		if pat.CutInPlace {
			notes = append(notes, "ends cut in place")
		}
		if pat.Lap != "" {
			notes = append(notes, "fingers of "+pat.Lap)
		}
		rows = append(rows, []string{pat.ID, member, surface, string(pat.Kind), pat.Veneer, number(pat.Length, 2), number(pat.Width, 2), number(pat.NetArea, 1),
			number(pat.Allowance, 2), blank, pat.Set, pat.Release, strings.Join(notes, "; ")})
	}
	return encodeCSV("patterns.csv", rows)
}

// cutsCSV tells how sheets are cut into blanks, cut by cut. Every sheet begins
// with the line of its edges, whether there is something to cut off them or not.
func cutsCSV(p *plan.Plan) ([]byte, error) {
	rows := [][]string{{"sheet", "cut", "of", "across_mm", "along_mm", "direction", "at_mm", "before", "beyond"}}
	made := func(y sheet.Yield) string {
		if y.Is == "" {
			return y.Name
		}
		return y.Is
	}
	for i, s := range p.Sheets.Sheets {
		whole := ""
		for _, b := range p.Sheets.Blanks { // not cut up at all
			if len(s.Cuts) == 0 && b.Sheet == i {
				whole = b.ID
			}
		}
		rows = append(rows, []string{s.ID, "0", "sheet", number(s.Size.X, 1), number(s.Size.Y, 1), "all edges", number(s.Margin, 1), "waste", whole})
		for _, c := range s.Cuts {
			direction, of := "across the grain", c.Of
			if c.Along {
				direction = "along the grain"
			}
			if of == "" {
				of = "sheet"
			}
			size := c.On.Size()
			rows = append(rows, []string{s.ID, strconv.Itoa(c.N), of, number(size.X, 1), number(size.Y, 1), direction, number(c.Where, 1), made(c.Before), made(c.Beyond)})
		}
	}
	return encodeCSV("sheet-cuts.csv", rows)
}

func encodeCSV(name string, rows [][]string) ([]byte, error) {
	var b bytes.Buffer
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		return nil, fmt.Errorf("job: %s: %w", name, err)
	}
	return b.Bytes(), nil
}
