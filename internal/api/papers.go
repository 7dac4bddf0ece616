package api

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"path/filepath"
	"strings"

	"groundwork/examples"
	"groundwork/internal/finding"
	"groundwork/internal/folder"
	"groundwork/internal/given"
	"groundwork/internal/marks"
	"groundwork/internal/mesh"
	"groundwork/internal/piece"
)

// ordinaryShop is the shop of a folder that has none.
const ordinaryShop = "shop.yaml"

// reading is what a piece file of some version says. It is not changed.
type reading struct {
	version  folder.Version
	solids   string          // stamps of the files that it names
	doc      *piece.Document // nil where the file cannot be read at all
	piece    *piece.Piece    // nil where something is wrong
	findings []finding.Finding
	err      error
}

// papers are a piece file and what belongs to it, as they stand.
type papers struct {
	piece, shop, marks folder.State // the shop's Name is "" where the folder has none
}

// papers reads a piece file and what belongs to it.
func (d *desk) papers(file string) (p papers, err error) {
	if p.piece, err = d.dir.Read(file); err != nil {
		return p, d.refusalOf(file, err)
	}
	if p.marks, err = d.dir.Read(folder.MarksFor(file)); errors.Is(err, fs.ErrNotExist) {
		p.marks = folder.State{Name: folder.MarksFor(file)}
	} else if err != nil {
		return p, d.refusalOf(folder.MarksFor(file), err)
	}
	if p.shop, err = d.shopFile(); err != nil {
		return p, d.refusal(err)
	}
	return p, nil
}

// shopFile is the folder's shop: the one of the ordinary name, else the first,
// else, without a name, the ordinary one of the program.
func (d *desk) shopFile() (s folder.State, err error) {
	files, err := d.dir.List()
	if err != nil {
		return s, err
	}
	name := ""
	for _, f := range files {
		if f.Kind == folder.Shop && f.Fault == "" && (name == "" || f.Name == ordinaryShop) {
			name = f.Name
		}
	}
	if name != "" {
		return d.dir.Read(name)
	}
	s.Data, err = examples.Files.ReadFile(ordinaryShop)
	return s, err
}

// where is a file's full name, as the command line would be given it: findings
// in plan.json name it.
func (d *desk) where(file string) string { return filepath.Join(d.dir.Path(), file) }

// reading is what a piece file says. It is kept until the file is another, or
// one that it names.
func (d *desk) reading(p papers) *reading {
	d.mu.Lock()
	r := d.read[p.piece.Name]
	d.mu.Unlock()
	if r != nil && r.version == p.piece.Version && r.solids == d.stamps(r.doc) {
		return r
	}
	r = &reading{version: p.piece.Version}
	if r.doc, r.err = piece.Parse(d.where(p.piece.Name), p.piece.Data); r.err == nil {
		r.doc.Open = d.solidFile
		r.solids = d.stamps(r.doc) // before they are read: a change meanwhile is noticed the next time
		r.piece, r.findings, r.err = r.doc.Resolve(nil)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	const readings = 8
	if len(d.read) >= readings {
		clear(d.read) // they are quickly read again
	}
	d.read[p.piece.Name] = r
	return r
}

// stamps tell the files apart that a piece names.
func (d *desk) stamps(doc *piece.Document) string {
	if doc == nil {
		return ""
	}
	var b strings.Builder
	for _, m := range doc.Members.Values {
		if m.Solid == nil {
			continue
		}
		if st, err := fs.Stat(d.dir.FS(), path.Clean(m.Solid.File.Value)); err == nil {
			fmt.Fprintf(&b, "%q %d %d\n", m.Solid.File.Value, st.Size(), st.ModTime().UnixNano())
		}
	}
	return b.String()
}

// solidFile reads a file with solids that a piece file names, within what the
// readers of meshes take.
func (d *desk) solidFile(name string) ([]byte, error) {
	name = path.Clean(name)
	if !fs.ValidPath(name) {
		return nil, errors.New("it lies outside the folder, where nothing is read from; put it into the folder")
	}
	// Looked at before it is opened: to open a pipe could take for ever.
	if st, err := fs.Stat(d.dir.FS(), name); err != nil {
		return nil, err
	} else if !st.Mode().IsRegular() {
		return nil, errors.New("it is not a file")
	}
	f, err := d.dir.FS().Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	limit := mesh.DefaultLimits.FileBytes
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err == nil && int64(len(data)) > limit {
		err = fmt.Errorf("it is larger than %d MB; save it with coarser facets", limit>>20)
	}
	return data, err
}

// faults are an error of a reader as the page shows it. File names are those in
// the folder.
func (d *desk) faults(err error, file string) []Fault {
	var es given.Errors
	var one *given.Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &es):
	case errors.As(err, &one):
		es = given.Errors{one}
	default:
		return []Fault{{File: file, Message: err.Error()}}
	}
	var out []Fault
	for _, e := range es {
		out = append(out, Fault{File: file, Line: e.Line, Column: e.Column, Message: e.What, Remedy: e.Remedy})
	}
	return out
}

// names are the files that undo covers.
func (p papers) names() []string {
	out := []string{p.piece.Name, p.marks.Name}
	if p.shop.Name != "" {
		out = append(out, p.shop.Name)
	}
	return out
}

// readMarks is what the marks file says, no marks if there is none.
func readMarks(p papers) (marks.File, error) {
	if p.marks.Version == "" {
		return marks.File{Groundwork: marks.Version}, nil
	}
	return marks.Parse(p.marks.Name, p.marks.Data)
}

// listed is marks without absent lists: the page is promised lists.
func listed(m marks.File) marks.File {
	m.Groundwork = marks.Version
	if m.Reserved == nil {
		m.Reserved = []marks.Reserved{}
	}
	if m.Photographs == nil {
		m.Photographs = []marks.Photograph{}
	}
	blanks := make([]marks.Blank, len(m.Blanks))
	copy(blanks, m.Blanks)
	for i := range blanks {
		if blanks[i].Patterns == nil {
			blanks[i].Patterns = []marks.Pattern{}
		}
	}
	m.Blanks = blanks
	return m
}

// parameters are what the maker may change. Numbers are in the page's units.
func parameters(r *reading) []Parameter {
	out := []Parameter{}
	for _, q := range r.piece.Parameters {
		doc, _ := r.doc.Parameters.Get(q.Name)
		k := 1.0
		if q.Kind == piece.Angle {
			k = 180 / math.Pi
		}
		tidy := func(x float64) float64 { return math.Round(x*k*1e6) / 1e6 }
		p := Parameter{
			Name: q.Name, Label: q.Label, Kind: string(q.Kind), Value: tidy(q.Value), Min: tidy(q.Min), Max: tidy(q.Max), Step: tidy(q.Step),
			Written: doc.Value.Text, Fixed: strings.HasPrefix(strings.TrimSpace(doc.Value.Text), "="),
			Pointer: "/parameters/" + q.Name + "/value",
		}
		// The reader knows plain numbers only as counts; those that may have
		// fractions are another thing to a slider.
		if q.Kind == piece.Count && (q.Step != math.Trunc(q.Step) || q.Value != math.Trunc(q.Value) || q.Min != math.Trunc(q.Min)) {
			p.Kind = "number"
		}
		out = append(out, p)
	}
	return out
}
