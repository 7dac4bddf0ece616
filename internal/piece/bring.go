package piece

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"
	"sync"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/given"
	"groundwork/internal/mesh"
)

// maxPath is the longest path of a file with solids.
const maxPath = 240

var hash = regexp.MustCompile(`^[0-9a-fA-F]{64}$`)

// check checks what can be known of a solid without its file.
func (d *SolidDoc) check(f *given.Faults) {
	const remedy = "write the path from the piece file's folder, with forward slashes, as in parts/leg.stl"
	switch name := d.File.Value; {
	case !d.File.Written():
	case name == "" || len(name) > maxPath:
		f.Add(d.File.Place, remedy, "the path of a file has 1 to %d characters, not %d", maxPath, len(name))
	case strings.ContainsAny(name, "\\\x00"):
		f.Add(d.File.Place, remedy, "a path is written with forward slashes")
	case path.IsAbs(name) || len(name) > 1 && name[1] == ':':
		f.Add(d.File.Place, remedy, "%q is no path from the piece file's folder", name)
	}
	if s := d.SHA256; s.Written() && !hash.MatchString(s.Value) {
		f.Add(s.Place, "write the file's SHA-256 as 64 hexadecimal digits, or take the key out", "%q is no SHA-256", s.Value)
	}
}

// shelf keeps what was read from files with solids, by all that it depends on,
// so that a document resolved again with other parameters need not read and
// mend them again. It is safe for several goroutines.
type shelf struct {
	mu   sync.Mutex
	kept map[shelfKey]*shelfEntry
}

type shelfKey struct {
	file, hash, unit, up string
	thicken, holes       float64
}

type shelfEntry struct {
	once   sync.Once
	solids []Brought
	err    error
}

func (s *shelf) get(key shelfKey, read func() ([]Brought, error)) ([]Brought, error) {
	if s == nil {
		return read()
	}
	s.mu.Lock()
	if s.kept == nil {
		s.kept = map[shelfKey]*shelfEntry{}
	}
	const most = 64 // files; a maker who has gone through more settings than that reads again
	if len(s.kept) > most {
		clear(s.kept)
	}
	e := s.kept[key]
	if e == nil {
		e = &shelfEntry{}
		s.kept[key] = e
	}
	s.mu.Unlock()
	e.once.Do(func() { e.solids, e.err = read() })
	return e.solids, e.err
}

// file is a file with solids as it stands.
type file struct {
	data []byte
	hash string
	err  error
}

// open reads a file once in a Resolve.
func (r *resolver) open(name string) file {
	f, ok := r.files[name]
	if !ok {
		if f.data, f.err = r.doc.Open(name); f.err == nil {
			sum := sha256.Sum256(f.data)
			f.hash = hex.EncodeToString(sum[:])
		}
		r.files[name] = f
	}
	return f
}

// bring makes a member of a solid that was drawn elsewhere: its shape, the end
// cuts found on it, and its place among the file's coordinates. false after a
// fault.
func (r *resolver) bring(d *SolidDoc, name string, line int) (Member, bool) {
	before := r.trouble()
	o := ReadOptions{Unit: mesh.Unit(d.Unit.Value), Up: d.Up.Value}
	if d.Holes.Written() {
		o.Mend.Hole = r.between(d.Holes, "length of the border of holes in "+name, 0, 100_000, before)
	}
	if d.Thicken.Written() {
		o.Mend.Thicken = r.size(d.Thicken, "thickness of the shell of "+name)
	}
	if !d.File.Written() || r.trouble() > before {
		return Member{}, false
	}
	fail := func(p given.Place, remedy, what string, args ...any) (Member, bool) {
		r.faults.Add(p, remedy, what, args...)
		return Member{}, false
	}
	fileName := d.File.Value
	if r.doc.Open == nil {
		return fail(d.File.Place, "read the piece from a file, so that others beside it can be found", "there is no folder to read %s from", fileName)
	}
	f := r.open(fileName)
	switch {
	case f.err != nil && missing(f.err):
		return fail(d.File.Place, "put it there, or write its path from the piece file's folder", "the file %s is not there", fileName)
	case f.err != nil:
		return fail(d.File.Place, "look at the file", "the file %s cannot be opened: %s", fileName, f.err)
	}
	key := shelfKey{fileName, f.hash, d.Unit.Value, d.Up.Value, o.Mend.Thicken, o.Mend.Hole}
	solids, err := r.doc.shelf.get(key, func() ([]Brought, error) { return ReadSolids(fileName, f.data, o) })
	switch {
	case errors.Is(err, ErrNoUnit):
		return fail(d.Place, "add unit: mm, or cm, m, in, ft, as it was drawn", "%s states no unit", fileName)
	case errors.Is(err, ErrTwoUnits):
		return fail(d.Unit.Place, "take unit out", "%s states its unit itself", fileName)
	case err != nil:
		return fail(d.File.Place, "save it anew in the program that drew it, as STL, OBJ or 3MF", "the file %s cannot be used: %s", fileName, err)
	}
	b, ok := r.pick(d, name, solids)
	if !ok {
		return Member{}, false
	}
	if !b.Shell.Solid() {
		for _, x := range b.Shell.Faults {
			r.faults.Add(d.where(), FaultRemedy(x), "%s cannot be made of %s: %s", name, fileName, FaultText(x, b.Unit))
		}
		return Member{}, false
	}
	m := b.Member
	if as := d.As.Value; as != "" && as != m.Source.As {
		if m, err = taken(b.Solid, as); err != nil {
			return fail(d.As.Place, "take as out, or write as: solid", "%s is no %s: %s", name, as, err)
		}
		m.Source.Note = ""
	}
	size := b.Solid.Bounds().Size()
	if big, small := max(size.X, size.Y, size.Z), min(size.X, size.Y, size.Z); big > maxSize || small < minSize {
		return fail(d.where(), "look at its unit", "%s measures %s × %s × %s mm; sizes lie between %g mm and %g mm", name, num(size.X), num(size.Y), num(size.Z), minSize, float64(maxSize))
	}
	source := *m.Source
	source.File, source.Part, source.Hash, source.Steps = fileName, d.Part.Value, f.hash, b.Steps
	m.Source = &source
	m.EndCuts = slices.Clone(m.EndCuts)
	for i := range m.EndCuts {
		m.EndCuts[i].Line = line
	}
	r.tellOf(d, name, line, b, m)
	return m, true
}

// where is the most exact place of the part.
func (d *SolidDoc) where() given.Place {
	if d.Part.Written() {
		return d.Part.Place
	}
	return d.File.Place
}

// pick is the part that a solid names; false after a fault.
func (r *resolver) pick(d *SolidDoc, name string, solids []Brought) (Brought, bool) {
	var parts []string
	titled := -1
	for i, b := range solids {
		if d.Part.Written() && b.Part == d.Part.Value {
			return b, true
		}
		if b.Title == d.Part.Value && titled != -2 {
			if titled >= 0 {
				titled = -2 // several have it
			} else {
				titled = i
			}
		}
		parts = append(parts, b.Part)
	}
	const most = 30
	list := strings.Join(parts[:min(most, len(parts))], ", ")
	if n := len(parts) - most; n > 0 {
		list += fmt.Sprintf(" and %d more", n)
	}
	switch {
	case d.Part.Written() && titled >= 0:
		return solids[titled], true
	case d.Part.Written() && len(parts) > most:
		r.faults.Add(d.Part.Place, given.Suggest(d.Part.Value, parts), "%s holds no part %q; it holds %s", d.File.Value, d.Part.Value, list)
	case d.Part.Written():
		r.faults.Add(d.Part.Place, "write one of: "+list, "%s holds no part %q", d.File.Value, d.Part.Value)
	case len(solids) == 1:
		return solids[0], true
	default:
		r.faults.Add(d.Place, "add part: and one of: "+list, "%s holds %d bodies, and %s does not say which it is", d.File.Value, len(solids), name)
	}
	return Brought{}, false
}

// tellOf notes what a maker should know about a solid that was brought in.
func (r *resolver) tellOf(d *SolidDoc, name string, line int, b Brought, m Member) {
	if s := d.SHA256; s.Written() && !strings.EqualFold(s.Value, m.Source.Hash) {
		r.find(finding.Warning, "solid-changed", name, s.Line,
			fmt.Sprintf("%s is not the file that the piece was made with: its SHA-256 begins with %s, not %s.", d.File.Value, m.Source.Hash[:12], strings.ToLower(s.Value[:12])),
			"look the piece over again, then write sha256: "+m.Source.Hash)
	}
	if text := Mended(b.Steps); text != "" {
		r.findFrom(finding.Note, "mended", name, line, "geometry",
			fmt.Sprintf("The mesh of %s was mended: %s.", name, text), "look at the place, if the shape matters there")
	}
	for _, p := range b.Passed {
		r.findFrom(finding.Note, "passed-over", name, line, "geometry", fmt.Sprintf("In %s: %s.", d.File.Value, p), "")
	}
	if m.Solid == nil {
		return
	}
	worst, sag := -1, coarse
	for i, f := range m.Solid.Shape.Faces {
		if f.Sag > sag {
			worst, sag = i, f.Sag
		}
	}
	if worst >= 0 {
		r.findFrom(finding.Warning, "coarse-facets", name, line, "geometry: the rise of a facet under its curve",
			fmt.Sprintf("The facets of %s stray by up to %.2f mm from its curves, most on %s, and the print will show them.", name, sag, m.Solid.Names[worst]),
			"save it with finer facets: 0.05 mm or less from the curve")
	}
}

// coarse is how far, mm, facets may stray from a curve before a print shows
// them: half a layer of 0.2 mm (our own rule).
const coarse = 0.1

// places are the frames that `places` lists.
func (r *resolver) places(d MemberDoc, name string) []geom.Frame {
	var out []geom.Frame
	for _, p := range d.Repeat.Places {
		out = append(out, r.frame(MemberDoc{Place: p.Place, At: p.At, Axes: p.Axes}, name))
	}
	return out
}
