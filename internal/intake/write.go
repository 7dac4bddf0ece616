package intake

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// text is the piece file, with what was found as remarks.
func (t *task) text(joints []Proposal) []byte {
	var b strings.Builder
	var names []string
	for _, f := range t.files {
		names = append(names, f.Name)
	}
	fmt.Fprintf(&b, "# Made by groundwork import from %s.\n", strings.Join(names, ", "))
	b.WriteString("# Remarks say what was found; what they say is not read. Change the rest as you like:\n")
	b.WriteString("# names, joints, veneer. `groundwork schema piece` prints every key.\n")
	b.WriteString("groundwork: 1\n")
	fmt.Fprintf(&b, "name: %s\n", t.o.Name)
	if t.o.Title != "" {
		fmt.Fprintf(&b, "title: %s\n", quoted(t.o.Title))
	}
	fmt.Fprintf(&b, "use: %-10s # table, seat, shelf, stand or other: picks the loads\n", t.o.Use)
	fmt.Fprintf(&b, "sizes: %-8s # finished: as drawn it is over the veneer; core: the veneer comes on top\n", t.o.Sizes)
	b.WriteString("\nmembers:\n")
	for _, g := range t.groups {
		t.member(&b, g)
	}
	if len(t.bad) > 0 {
		b.WriteString("# Left out, because they bound no solid:\n")
		for _, p := range t.bad {
			fmt.Fprintf(&b, "#   %s, part %s", t.files[p.file].Name, p.solid.Part)
			for i, f := range p.solid.Shell.Faults {
				sep := "; "
				if i == 0 {
					sep = ": "
				}
				b.WriteString(sep + piece.FaultText(f, p.solid.Unit))
			}
			b.WriteString("\n")
		}
		b.WriteString("\n")
	}
	if len(joints) > 0 {
		b.WriteString("# Where members touch. Kinds: knock-down (screws), glued, rests.\njoints:\n")
		for _, q := range joints {
			dowels := ""
			if q.Dowels >= 0 {
				dowels = fmt.Sprintf(", dowels: %d", q.Dowels)
			}
			fmt.Fprintf(&b, "  - {between: [%s, %s], kind: %s%s}   # %s\n", q.Between[0], q.Between[1], q.Kind, dowels, q.remark())
			if q.Why != "" {
				fmt.Fprintf(&b, "    # glued, since screws have no room: %s\n", oneLine(q.Why))
			}
		}
	}
	return []byte(b.String())
}

func (q Proposal) remark() string {
	what := "flat contact"
	switch {
	case q.Round == q.Contacts:
		what = "round contact"
	case q.Round > 0:
		what = "flat or round contact"
	}
	if q.Contacts == 1 {
		return fmt.Sprintf("1 %s of %s mm2", what, short(q.Area))
	}
	return fmt.Sprintf("%d %ss, the least of %s mm2", q.Contacts, what, short(q.Area))
}

// member writes one member with its copies.
func (t *task) member(b *strings.Builder, g group) {
	first := g.parts[0]
	m := first.solid.Member
	fmt.Fprintf(b, "  %s:\n", g.name)
	fmt.Fprintf(b, "    # %s\n", made(m))
	if m.Source.Note != "" && m.Source.As == "solid" {
		fmt.Fprintf(b, "    # no board or turning, since %s\n", oneLine(m.Source.Note))
	}
	const most = 40 // lines of surfaces; what has more is a carving
	surfaces := m.Surfaces(0.1)
	for i, s := range surfaces {
		if i == most {
			fmt.Fprintf(b, "    #   and %d more\n", len(surfaces)-most)
			break
		}
		fmt.Fprintf(b, "    #   %s: %s\n", s.Name, describe(s))
	}
	fmt.Fprintf(b, "    solid: {file: %s", quoted(t.files[first.file].Name))
	fmt.Fprintf(b, ", part: %s", quoted(first.solid.Part))
	if u := t.units[first.file]; u != "" {
		fmt.Fprintf(b, ", unit: %s", u)
	}
	if t.o.Up != "" && t.o.Up != "z" {
		fmt.Fprintf(b, ", up: %s", t.o.Up)
	}
	if t.o.Holes > 0 {
		fmt.Fprintf(b, ", holes: %s mm", number(t.o.Holes))
	}
	if t.o.Thicken > 0 {
		fmt.Fprintf(b, ", thicken: %s mm", number(t.o.Thicken))
	}
	fmt.Fprintf(b, ",\n            sha256: %s}\n", t.hashes[first.file])
	if len(g.parts) == 1 {
		if t.lift != (geom.Vec3{}) {
			fmt.Fprintf(b, "    at: %s\n", vector(t.lift))
		}
	} else {
		b.WriteString("    repeat:\n      places:   # where each copy puts the coordinates of the file\n")
		for i, f := range g.places {
			f.Origin = f.Origin.Add(t.lift)
			fmt.Fprintf(b, "        - {at: %s", vector(f.Origin))
			if f.X.Dist(geom.V3(1, 0, 0)) > 1e-9 || f.Z.Dist(geom.V3(0, 0, 1)) > 1e-9 {
				fmt.Fprintf(b, ", axes: {x: %s, z: %s}", direction(f.X), direction(f.Z))
			}
			fmt.Fprintf(b, "}   # %s\n", g.parts[i].solid.Part)
		}
	}
	b.WriteString("\n")
}

// made says what a member is.
func made(m piece.Member) string {
	switch {
	case m.Board != nil:
		size := m.Board.Outline.Path.Bounds().Size()
		text := fmt.Sprintf("a board %s mm thick, %s by %s mm", short(m.Board.Thickness), short(max(size.X, size.Y)), short(min(size.X, size.Y)))
		if n := len(m.Board.Cutouts); n > 0 {
			text += fmt.Sprintf(", %d cut-out(s)", n)
		}
		if n := len(m.EndCuts); n > 0 {
			text += fmt.Sprintf(", %d end cut(s)", n)
		}
		return text
	case m.Turning != nil:
		box := m.Turning.Profile.Bounds()
		text := fmt.Sprintf("a turning %s mm long, %s mm at its thickest", short(box.Size().Y), short(2*box.Max.X))
		if n := len(m.EndCuts); n > 0 {
			text += fmt.Sprintf(", %d end cut(s)", n)
		}
		return text
	}
	box := m.Solid.Shape.Bounds().Size()
	return fmt.Sprintf("a solid, %s x %s x %s mm", short(box.X), short(box.Y), short(box.Z))
}

// describe says what a surface is, in a few words.
func describe(s piece.Surface) string {
	if len(s.Region) == 0 {
		return "cut away"
	}
	size := s.Region.Bounds().Size()
	by := fmt.Sprintf("%s by %s mm", short(max(size.X, size.Y)), short(min(size.X, size.Y)))
	var text string
	switch s.Kind {
	case piece.Plane:
		text = "flat, " + by
	case piece.Cylinder:
		text = fmt.Sprintf("cylinder, radius %s mm, %s mm long", short(s.Run.Bounds().Max.X), short(size.Y))
	case piece.Cone:
		r := s.Run.Bounds()
		text = fmt.Sprintf("cone, radius %s to %s mm", short(r.Min.X), short(r.Max.X))
	case piece.Extruded:
		b := s.MinRadius()
		text = "bent, " + by
		if !math.IsInf(b.Radius, 1) {
			text += fmt.Sprintf(", radius %s mm at its tightest", short(b.Radius))
		}
		if b.Hollow {
			text += ", hollow"
		}
	case piece.Developable:
		text = fmt.Sprintf("bent one way at a time, %s laid flat, radius %s mm at its tightest", by, short(s.MinRadius().Radius))
	default:
		text = "curved both ways, about " + by
		if s.Patch != nil {
			text += fmt.Sprintf(", %.1f %% strain laid flat", 100*s.Strain.Stretch)
		}
	}
	if s.Inside {
		text += ", inside a hole"
	}
	return text
}

// short writes a size for people to read.
func short(x float64) string { return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64) }

// number writes a size to the nanometre.
func number(x float64) string {
	r := math.Round(x*1e6) / 1e6
	return strconv.FormatFloat(r+0, 'f', -1, 64) // +0 takes the sign off a zero
}

func vector(v geom.Vec3) string {
	return fmt.Sprintf("[%s, %s, %s]", number(v.X), number(v.Y), number(v.Z))
}

// direction writes a unit vector with all its digits: at the end of a long
// member a lost one is seen.
func direction(v geom.Vec3) string {
	f := func(x float64) string {
		if math.Abs(x) < 1e-12 {
			x = 0
		}
		return strconv.FormatFloat(x, 'g', 15, 64)
	}
	return fmt.Sprintf("[%s, %s, %s]", f(v.X), f(v.Y), f(v.Z))
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// quoted writes a text so that YAML reads it as that text.
func quoted(s string) string { return strconv.Quote(s) }
