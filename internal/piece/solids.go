package piece

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"groundwork/internal/geom"
	"groundwork/internal/mend"
	"groundwork/internal/mesh"
	"groundwork/internal/surface"
)

// ReadOptions say what a file with solids does not.
type ReadOptions struct {
	Unit mesh.Unit // of a file that states none
	Up   string    // which axis of the file points up: x, y, z, -x, -y, -z; z when empty
	Mend mend.Options
}

// Brought is one solid that a file holds.
type Brought struct {
	Part   string     // unique in the file: the body's name as a slug, or body-1 …; further shells of a body get .2, .3 …
	Title  string     // the body's name as it stands in the file
	Shell  mend.Shell // mm, in the file's own axes
	Steps  []mend.Step
	Passed []string       // what the reader left out of the file, in words
	Unit   mesh.Unit      // of the file's numbers
	Solid  *surface.Solid // mm, upright; nil for a shell with faults
	Member Member         // Board, Turning or Solid, with the end cuts found, its Place among the upright coordinates, and Source but for the file
}

// ErrNoUnit says that a file states no unit and none was given.
var ErrNoUnit = errors.New("the file states no unit")

// ErrTwoUnits says that a unit was given for a file that states its own.
var ErrTwoUnits = errors.New("the file states its unit itself")

// ReadSolids reads a file of triangle meshes and makes of every shell what it
// is: a board, else a turning, else a solid. Shells that bound no solid come
// back with their faults. The error is for a file that cannot be read at all;
// it wraps ErrNoUnit or ErrTwoUnits where the unit is the trouble.
func ReadSolids(name string, data []byte, o ReadOptions) ([]Brought, error) {
	scene, err := mesh.Read(name, data, mesh.Limits{})
	if err != nil {
		return nil, err
	}
	unit, scale := scene.Unit, 1.0
	switch {
	case unit != mesh.Unknown && o.Unit != mesh.Unknown && o.Unit != unit:
		return nil, fmt.Errorf("read %q: %w", name, ErrTwoUnits)
	case unit == mesh.Unknown:
		if unit = o.Unit; unit.MM() == 0 {
			return nil, fmt.Errorf("read %q: %w", name, ErrNoUnit)
		}
		scale = unit.MM()
	}
	up, err := upright(o.Up)
	if err != nil {
		return nil, fmt.Errorf("read %q: %w", name, err)
	}
	var out []Brought
	used := map[string]bool{}
	for i, it := range scene.Items {
		body := scene.Bodies[it.Body]
		b := mesh.Body{Name: body.Name, Triangles: body.Triangles, Vertices: make([]geom.Vec3, len(body.Vertices))}
		for k, v := range body.Vertices {
			b.Vertices[k] = it.Frame.Point(v).Scale(scale)
		}
		r, err := mend.Mend(b, o.Mend)
		if err != nil {
			return nil, fmt.Errorf("read %q: %w", name, err)
		}
		part := Slug(body.Name)
		if part == "" {
			part = fmt.Sprintf("body-%d", i+1)
		}
		for base, n := part, 2; used[part]; n++ {
			part = fmt.Sprintf("%s-%d", base, n)
		}
		used[part] = true
		for j, shell := range r.Shells {
			c := Brought{Part: part, Title: body.Name, Shell: shell, Passed: scene.Passed, Unit: unit}
			if j > 0 {
				c.Part = fmt.Sprintf("%s.%d", part, j+1)
			}
			for _, s := range r.Steps {
				if s.Shell == j || s.Shell < 0 && j == 0 {
					c.Steps = append(c.Steps, s)
				}
			}
			if shell.Solid() {
				if err := c.recognise(up); err != nil {
					return nil, fmt.Errorf("read %q: part %s: %w", name, c.Part, err)
				}
			}
			out = append(out, c)
		}
	}
	return out, nil
}

// recognise finds the surfaces of the shell and what it is.
func (c *Brought) recognise(up geom.Frame) error {
	vertices := make([]geom.Vec3, len(c.Shell.Body.Vertices))
	for i, v := range c.Shell.Body.Vertices {
		vertices[i] = up.Point(v)
	}
	var err error
	if c.Solid, err = surface.Recognise(vertices, c.Shell.Body.Triangles, surface.Options{}); err != nil {
		return err
	}
	if c.Member, err = taken(c.Solid, ""); err != nil {
		return err
	}
	c.Member.Source.Part, c.Member.Source.Steps = c.Part, c.Steps
	return nil
}

// taken is what a solid is made as: as says board, turning or solid; left
// empty, the first of them that it is. The error says why it is not what it is
// to be.
func taken(s *surface.Solid, as string) (Member, error) {
	var why []string
	if as == "" || as == "board" {
		b, err := s.Board()
		if err == nil {
			board := &Board{Outline: NewOutline(b.Outline, BreakAngle), Thickness: b.Thickness}
			for _, c := range b.Cutouts {
				board.Cutouts = append(board.Cutouts, NewOutline(c, BreakAngle))
			}
			return Member{Board: board, Place: b.Frame, EndCuts: endCutsOf(b.Cuts), Source: &Source{As: "board"}}, nil
		}
		if as != "" {
			return Member{}, err
		}
		why = append(why, "no board: "+err.Error())
	}
	if as == "" || as == "turning" {
		t, err := s.Turning()
		if err == nil {
			turning := NewTurning(t.Profile, BreakAngle)
			return Member{Turning: &turning, Place: t.Frame, EndCuts: endCutsOf(t.Cuts), Source: &Source{As: "turning"}}, nil
		}
		if as != "" {
			return Member{}, err
		}
		why = append(why, "no turning: "+err.Error())
	}
	f := s.Natural()
	return Member{Solid: NewSolid(s.In(f.Inverse())), Place: f, Source: &Source{As: "solid", Note: strings.Join(why, "; ")}}, nil
}

func endCutsOf(cuts []geom.Plane) []EndCut {
	var out []EndCut
	for _, c := range cuts {
		out = append(out, EndCut{Plane: c})
	}
	return out
}

// upright carries a file's axes to the piece's: the named one points up, and
// the others turn with it about a level axis.
func upright(up string) (geom.Frame, error) {
	v := geom.V3
	switch up {
	case "", "z", "+z":
		return geom.World(), nil
	case "-z":
		return geom.Frame{X: v(1, 0, 0), Y: v(0, -1, 0), Z: v(0, 0, -1)}, nil
	case "y", "+y":
		return geom.Frame{X: v(1, 0, 0), Y: v(0, 0, 1), Z: v(0, -1, 0)}, nil
	case "-y":
		return geom.Frame{X: v(1, 0, 0), Y: v(0, 0, -1), Z: v(0, 1, 0)}, nil
	case "x", "+x":
		return geom.Frame{X: v(0, 0, 1), Y: v(0, 1, 0), Z: v(-1, 0, 0)}, nil
	case "-x":
		return geom.Frame{X: v(0, 0, -1), Y: v(0, 1, 0), Z: v(1, 0, 0)}, nil
	}
	return geom.Frame{}, fmt.Errorf("%q is no axis that could point up", up)
}

// Slug is a name in lower-case letters, digits and single hyphens, "" if it has
// no letter and no digit.
func Slug(title string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(title) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() >= maxName {
			break
		}
	}
	return strings.Trim(b.String(), "-")
}

// Mended tells what was done to a mesh, in words: "12 vertices joined, 1 hole
// closed (24.1 mm round)". It is empty if nothing was done.
func Mended(steps []mend.Step) string {
	var out []string
	for _, s := range steps {
		one, many, size := "", "", ""
		switch s.Action {
		case mend.Welded:
			one, many, size = "vertex joined to another", "vertices joined to others", "%.3g mm apart at most"
		case mend.Dropped:
			one, many = "triangle without size dropped", "triangles without size dropped"
		case mend.Doubled:
			one, many = "double triangle dropped", "double triangles dropped"
		case mend.Parted:
			one, many = "place taken apart where several sheets shared it", "places taken apart where several sheets shared them"
		case mend.Turned:
			one, many = "triangle turned to face outward", "triangles turned to face outward"
		case mend.Stitched:
			one, many, size = "crack drawn together", "cracks drawn together", "%.3g mm wide at most"
		case mend.Closed:
			one, many, size = "hole closed", "holes closed", "%.4g mm round at most"
		case mend.Inward:
			one, many = "shell that was inside out turned", "shells that were inside out turned"
		case mend.Inner:
			one, many = "inner shell removed", "inner shells removed"
		case mend.Thickened:
			one, many, size = "open shell given a thickness", "open shells given a thickness", "%.4g mm"
		default:
			one, many = string(s.Action), string(s.Action)
		}
		text := fmt.Sprintf("%d %s", s.Count, many)
		if s.Count == 1 {
			text = "1 " + one
		}
		if size != "" && s.Size > 0 {
			text += fmt.Sprintf(" ("+size+")", s.Size)
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// FaultText says what keeps a shell from being a solid, and where: in the
// numbers of its file, whose unit is given, and in mm.
func FaultText(f mend.Fault, unit mesh.Unit) string {
	where := fmt.Sprintf("near %.4g, %.4g, %.4g mm", f.At.X, f.At.Y, f.At.Z)
	if u := unit.MM(); u != 0 && u != 1 {
		p := f.At.Scale(1 / u)
		where = fmt.Sprintf("near %.4g, %.4g, %.4g %s in the file, that is %.4g, %.4g, %.4g mm", p.X, p.Y, p.Z, unit, f.At.X, f.At.Y, f.At.Z)
	}
	size := ""
	if f.Size > 0 {
		size = fmt.Sprintf(" (%.4g mm)", f.Size)
	}
	switch f.Kind {
	case mend.Open:
		return fmt.Sprintf("it is open along %d edges, the largest opening%s lies %s", f.Count, round(f.Size), where)
	case mend.Crossing:
		return fmt.Sprintf("%d pairs of its triangles pass through one another%s, %s", f.Count, size, where)
	case mend.Crowded:
		return fmt.Sprintf("more than two sheets meet along %d of its edges%s and cannot be told apart, %s", f.Count, size, where)
	case mend.OneSided:
		return "it has only one side, as a twisted band has, " + where
	case mend.Empty:
		return "it encloses no volume, " + where
	}
	return fmt.Sprintf("it is %s%s, %s", f.Kind, size, where)
}

func round(size float64) string {
	if size <= 0 {
		return ""
	}
	return fmt.Sprintf(", %.4g mm round,", size)
}

// FaultRemedy says what to do about a fault.
func FaultRemedy(f mend.Fault) string {
	switch f.Kind {
	case mend.Open:
		return "close it in the program that drew it; or have longer holes closed with holes; or, if it is meant to be a thin shell, give it a thickness with thicken"
	case mend.Crossing:
		return "join the parts that overlap into one solid in the program that drew it, or save them as separate bodies"
	case mend.Crowded:
		return "part the bodies that touch along an edge, or join them, in the program that drew it"
	case mend.OneSided:
		return "draw it as a solid with a thickness"
	}
	return "draw it as a solid, or leave the part out"
}

// openBelow reads files by their path from a folder.
func openBelow(dir string) func(string) ([]byte, error) {
	return func(name string) ([]byte, error) { return ReadFile(filepath.Join(dir, filepath.FromSlash(name))) }
}

// ReadFile reads a file of solids, if it is a plain file no larger than the
// readers of meshes take.
func ReadFile(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil {
		return nil, err
	} else if !info.Mode().IsRegular() {
		return nil, errors.New("it is not a file")
	}
	limit := mesh.DefaultLimits.FileBytes
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err != nil {
		return nil, err
	}
	if int64(len(data)) > limit {
		return nil, fmt.Errorf("it is larger than %d MB; save it with coarser facets", limit>>20)
	}
	return data, nil
}

// missing reports whether a file could not be opened because it is not there.
func missing(err error) bool { return errors.Is(err, fs.ErrNotExist) }
