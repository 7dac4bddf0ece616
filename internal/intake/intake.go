// Package intake makes a piece file of solids that were drawn elsewhere: it
// reads and mends them, finds out what each member is, which are alike and
// where they touch, and writes down what it found for the maker to edit.
package intake

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/mend"
	"groundwork/internal/mesh"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/surface"
)

// File is a file with solids.
type File struct {
	Name string // as the piece file is to name it: relative to its own folder, with forward slashes
	Data []byte
}

// Options say what the files do not. The zero value, but for Name, is right
// for files that state their unit and stand upright.
type Options struct {
	Name    string      // of the piece, as piece.ValidName allows
	Title   string      // for people; Name when empty
	Use     piece.Use   // other when empty
	Sizes   piece.Sizes // finished when empty
	Unit    mesh.Unit   // of files that state none; guessed when empty
	Up      string      // which way points up in the files: x, y, z, -x, -y, -z; z when empty
	Holes   float64     // mm; holes in a mesh with a longer border stay open, 0 for what mend does of itself
	Thicken float64     // mm; given to open shells, 0 for none
	Hangs   bool        // the piece keeps the height at which it is drawn; else it is put on the floor
}

// Result is the piece file and what the maker must know about it.
type Result struct {
	Text     []byte       // the piece file
	Piece    *piece.Piece // as Text resolves; nil if nothing could be used
	Parts    int          // solids that the files hold
	Joints   []Proposal
	Findings []finding.Finding
}

// part is one solid of one file, in its place.
type part struct {
	file   int
	title  string // what the drawing calls it; "" for nothing
	solid  piece.Brought
	motion geom.Frame // carries the first of its group onto it
}

// group is a member to be: a solid and its copies.
type group struct {
	name   string
	parts  []*part
	places []geom.Frame // by part: where the file's coordinates of the first come to lie
}

// task is one run of Make.
type task struct {
	files  []File
	hashes []string
	units  []mesh.Unit // by file: what the piece file has to say; "" where the file states it
	o      Options
	parts  []*part
	bad    []*part
	groups []group
	lift   geom.Vec3
	found  []finding.Finding
}

// Make reads the files and writes the piece file. Solids that cannot be used
// are findings of severity stop and remarks in the file; the error is for files
// that cannot be read at all. Contacts are looked for with the hardware of s,
// so that a joint is proposed only where it has room.
func Make(ctx context.Context, k *solid.Kernel, files []File, s *shop.Shop, o Options) (*Result, error) {
	if !piece.ValidName(o.Name) {
		return nil, fmt.Errorf("%q cannot be a piece's name: use lower-case letters, digits and hyphens", o.Name)
	}
	o.Use = cmp.Or(o.Use, piece.Other)
	o.Sizes = cmp.Or(o.Sizes, piece.Finished)
	t := &task{files: files, o: o, units: make([]mesh.Unit, len(files))}
	for _, f := range files {
		sum := sha256.Sum256(f.Data)
		t.hashes = append(t.hashes, hex.EncodeToString(sum[:]))
	}
	if err := t.read(ctx); err != nil {
		return nil, err
	}
	r := &Result{Parts: len(t.parts) + len(t.bad)}
	if len(t.parts) > 0 {
		t.gather()
		t.stand()
		p, _, err := t.resolve(t.text(nil))
		if err != nil {
			return nil, fmt.Errorf("the piece file made of %s does not read back: %w", t.files[0].Name, err)
		}
		if r.Joints, err = t.propose(ctx, k, p, s); err != nil {
			return nil, err
		}
		r.Text = t.text(r.Joints)
		var found []finding.Finding
		if r.Piece, found, err = t.resolve(r.Text); err != nil {
			return nil, fmt.Errorf("the piece file made of %s does not read back: %w", t.files[0].Name, err)
		}
		for _, f := range found {
			if f.Code != "mended" && f.Code != "passed-over" { // told of every part already
				t.found = append(t.found, f)
			}
		}
	}
	r.Findings = finding.Sorted(t.found)
	return r, nil
}

// read brings the solids of every file in.
func (t *task) read(ctx context.Context) error {
	for i, f := range t.files {
		if err := ctx.Err(); err != nil {
			return err
		}
		unit, err := t.unit(i)
		if err != nil {
			return err
		}
		solids, err := piece.ReadSolids(f.Name, f.Data, piece.ReadOptions{
			Unit: unit, Up: t.o.Up, Mend: mend.Options{Hole: t.o.Holes, Thicken: t.o.Thicken},
		})
		if err != nil {
			return err
		}
		for _, b := range solids {
			p := &part{file: i, solid: b, title: b.Title}
			if p.title == "" && len(t.files) > 1 {
				p.title = fileStem(f.Name)
			}
			if b.Shell.Solid() {
				t.parts = append(t.parts, p)
			} else {
				t.bad = append(t.bad, p)
			}
			t.tell(p)
		}
	}
	return nil
}

// unit is the unit of a file that states none: what the maker said, or a guess
// that is told.
func (t *task) unit(i int) (mesh.Unit, error) {
	f := t.files[i]
	scene, err := mesh.Read(f.Name, f.Data, mesh.Limits{})
	if err != nil {
		return "", err
	}
	for _, passed := range scene.Passed {
		t.add(finding.Note, "passed-over", f.Name, "", "leave it, if it is not a part of the piece", "In %s: %s.", f.Name, passed)
	}
	size := scene.Bounds().Size()
	largest := max(size.X, size.Y, size.Z)
	const little, much = 20, 5000 // mm; our own rule: what furniture and its members measure
	implausible := func(mm float64, remedy string) {
		if mm < little || mm > much {
			t.add(finding.Warning, "implausible-size", f.Name, "our own rule: members measure from 20 mm to 5 m", remedy, "The whole of %s is %s mm long.", f.Name, short(mm))
		}
	}
	if scene.Unit != "" { // its numbers have been brought to mm
		implausible(largest, "look at the unit in the program that drew it")
		return "", nil
	}
	u, sure := t.o.Unit, true
	if u == "" {
		u, sure = mesh.GuessUnit(largest)
		sev := finding.Note
		if !sure {
			sev = finding.Warning
		}
		t.add(sev, "unit-guessed", f.Name, "our own rule: furniture measures from 150 mm to 3 m", "if that is wrong, name the unit with --unit",
			"%s states no unit. It is taken to be in %s, which makes its whole %s mm long.", f.Name, u, short(largest*u.MM()))
	}
	implausible(largest*u.MM(), "name another unit with --unit")
	t.units[i] = u
	return u, nil
}

// tell turns what was done to a solid, and what it suffers from, into findings.
func (t *task) tell(p *part) {
	subject := t.files[p.file].Name + ":" + p.solid.Part
	if text := piece.Mended(p.solid.Steps); text != "" {
		t.add(finding.Note, "mended", subject, "", "look at the place, if the part matters there", "%s was mended: %s.", subject, text)
	}
	for _, f := range p.solid.Shell.Faults {
		t.add(finding.Stop, "not-a-solid", subject, "a core encloses a volume", piece.FaultRemedy(f), "%s cannot be used: %s.", subject, piece.FaultText(f, p.solid.Unit))
	}
}

func (t *task) add(sev finding.Severity, code, subject, source, remedy, message string, args ...any) {
	t.found = append(t.found, finding.Finding{
		Severity: sev, Stage: "import", Code: code, Subject: subject, Message: fmt.Sprintf(message, args...), Remedy: remedy, Source: source,
	})
}

// gather puts solids that are alike together as copies of one member and gives
// every member its name.
func (t *task) gather() {
	for _, p := range t.parts {
		at := slices.IndexFunc(t.groups, func(g group) bool {
			if stem(g.parts[0].title) != stem(p.title) {
				return false
			}
			f, ok := surface.Alike(g.parts[0].solid.Solid, p.solid.Solid)
			if ok {
				p.motion = f
			}
			return ok
		})
		if at < 0 {
			t.groups = append(t.groups, group{parts: []*part{p}, places: []geom.Frame{geom.World()}})
			continue
		}
		g := &t.groups[at]
		g.parts = append(g.parts, p)
		g.places = append(g.places, p.motion)
	}
	used := map[string]bool{}
	for i := range t.groups {
		g := &t.groups[i]
		base := slug(stem(g.parts[0].title))
		if base == "" {
			base = g.parts[0].solid.Member.Source.As
		}
		name := base
		for n := 2; clashes(used, name, len(g.parts)); n++ {
			name = fmt.Sprintf("%s-%c", base, 'a'+n-1)
			if n > 26 {
				name = fmt.Sprintf("%s-no%d", base, n)
			}
		}
		g.name = name
		used[name] = true
		for k := range g.parts {
			used[fmt.Sprintf("%s-%d", name, k+1)] = true
		}
	}
}

// clashes reports whether a member of that name, or one of its copies, would
// bear a name that is taken.
func clashes(used map[string]bool, name string, copies int) bool {
	if used[name] {
		return true
	}
	for k := 1; copies > 1 && k <= copies; k++ {
		if used[fmt.Sprintf("%s-%d", name, k)] {
			return true
		}
	}
	return false
}

// stem is a name without the number at its end: "leg-2", "leg 2" and "leg.002"
// are legs.
func stem(name string) string {
	s := strings.TrimRight(name, "0123456789")
	if s == name {
		return name
	}
	return strings.TrimRight(s, " -_.#")
}

func fileStem(name string) string {
	name = name[strings.LastIndexByte(name, '/')+1:]
	if i := strings.LastIndexByte(name, '.'); i > 0 {
		name = name[:i]
	}
	return name
}

// slug is a name as members bear it: a letter first, and not too long.
func slug(name string) string {
	const most = 40
	s := strings.TrimLeft(piece.Slug(name), "0123456789-")
	return strings.TrimRight(s[:min(len(s), most)], "-")
}

// stand puts the piece on the floor.
func (t *task) stand() {
	low := math.Inf(1)
	for _, p := range t.parts {
		low = min(low, p.solid.Solid.Bounds().Min.Z)
	}
	if math.Abs(low) < 1e-6 || t.o.Hangs {
		return
	}
	t.lift = geom.V3(0, 0, -low)
	t.add(finding.Note, "moved-to-floor", "piece", "", "if it hangs on a wall, add --hangs", "The piece was moved by %s mm in height, so that it stands on the floor.", short(-low))
}

// resolve reads a piece file made here.
func (t *task) resolve(text []byte) (*piece.Piece, []finding.Finding, error) {
	doc, err := piece.Parse(t.o.Name+".yaml", text)
	if err != nil {
		return nil, nil, err
	}
	doc.Open = func(name string) ([]byte, error) {
		for _, f := range t.files {
			if f.Name == name {
				return f.Data, nil
			}
		}
		return nil, fs.ErrNotExist
	}
	return doc.Resolve(nil)
}

// Proposal is a joint that the piece file is given for members that touch.
type Proposal struct {
	Between  [2]string // names of members
	Kind     piece.JointKind
	Dowels   int // -1 for as many as the joint stage chooses
	Contacts int
	Round    int     // of these, round ones
	Area     float64 // mm², of the least contact
	Why      string  // why it is not knock-down, "" where it is
}

// propose finds where members touch and what joints have room there. Every
// joint is tried as one that comes apart; where screws have no room it is
// glued.
func (t *task) propose(ctx context.Context, k *solid.Kernel, p *piece.Piece, s *shop.Shop) ([]Proposal, error) {
	r, err := joint.Place(ctx, k, p, s, joint.Options{})
	if err != nil {
		return nil, err
	}
	var out []Proposal
	pair := func(a, b int) [2]string {
		x, y := p.Members[a].Name, p.Members[b].Name
		return [2]string{min(x, y), max(x, y)}
	}
	of := map[string]int{} // proposal of a contact
	note := func(id string, a, b joint.Side, area float64, round bool) {
		key := pair(a.Member, b.Member)
		i := slices.IndexFunc(out, func(q Proposal) bool { return q.Between == key })
		if i < 0 {
			i = len(out)
			out = append(out, Proposal{Between: key, Kind: piece.KnockDown, Dowels: -1, Area: area})
		}
		of[id] = i
		out[i].Contacts++
		out[i].Area = min(out[i].Area, area)
		if round {
			out[i].Round++
		}
	}
	for _, c := range r.Contacts {
		note(c.ID, c.A, c.B, c.Area, false)
	}
	for _, c := range r.Rounds {
		note(c.ID, c.A, c.B, c.Area, true)
	}
	if len(out) == 0 {
		return nil, nil
	}
	// What has no room for screws is tried glued, and then without dowels.
	for range 3 {
		trial := *p
		trial.Joints = nil
		for _, q := range out {
			trial.Joints = append(trial.Joints, piece.JointRule{Between: q.Between, Kind: q.Kind, Dowels: q.Dowels})
		}
		r, err = joint.Place(ctx, k, &trial, s, joint.Options{})
		if err != nil {
			return nil, err
		}
		contact := map[string]string{}
		for _, j := range r.Joints {
			contact[j.ID] = j.Contact
		}
		changed := false
		for _, f := range r.Findings {
			id, _, _ := strings.Cut(f.Subject, " ")
			i, ok := of[contact[id]]
			switch {
			case f.Severity != finding.Stop || !ok:
			case trial.Joints[i].Kind == piece.KnockDown:
				out[i].Kind, changed = piece.Glued, true
				if out[i].Why == "" {
					out[i].Why = f.Message
				}
			case trial.Joints[i].Dowels < 0:
				out[i].Dowels, changed = 0, true
			}
		}
		if !changed {
			break
		}
	}
	return out, nil
}

// ErrNothing says that no solid in the files can be used.
var ErrNothing = errors.New("no solid in the files can be used")
