package piece

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/given"
)

// standardGravity is in m/s² (CGPM 1901): a mass in kg weighs so many newtons.
const standardGravity = 9.80665

// Discs that press when the piece file says nothing of them, in mm: common
// practice, no source. A person sits on about as much; a hand or a foot of a
// thing covers the other.
const (
	personAcross = 250.0
	thingAcross  = 50.0
)

// Limits of a load: what a piece of furniture may meet, and no slip of the unit.
const (
	maxLoadMass  = 5e6  // g
	maxLoadForce = 50e3 // N
)

// surfaceOf checks that a rule's surface is one of its members'; false after a
// fault.
func (r *resolver) surfaceOf(on []int, name given.Text) bool {
	for _, i := range on {
		m := r.piece.Members[i]
		if known := m.SurfaceNames(); !slices.Contains(known, name.Value) {
			r.faults.Add(name.Place, given.Suggest(name.Value, known), "%s has no surface %q", m.ID, name.Value)
			return false
		}
	}
	return true
}

// amount reads a mass or a force: more than 0, at most most, its unit written.
// 0 after a fault.
func (r *resolver) amount(n given.Number, kind Quantity, what, example string, most float64) float64 {
	v, ok := r.ns.of(n)
	switch {
	case !ok:
		return 0
	case v.kind == Count:
		r.faults.Add(n.Place, "write it with its unit, as in "+example, "the %s has no unit", what)
	case v.kind != kind:
		r.faults.Add(n.Place, "write it as in "+example, "the %s is %s, not %s", what, article(v.kind), article(kind))
	case v.v <= 0:
		r.faults.Add(n.Place, "make it more than 0", "the %s comes to %s", what, num(v.v))
	case v.v > most:
		in, scale := "N", 1.0
		if kind == Mass {
			in, scale = "kg", 1000.0
		}
		r.faults.Add(n.Place, "look at its unit", "the %s comes to %s %s; more than %g %s is no load of furniture", what, num(v.v/scale), in, most/scale, in)
	default:
		return v.v
	}
	return 0
}

func (r *resolver) loads() {
	for _, d := range r.doc.Loads {
		on, ok := r.member(d.On)
		if !ok {
			continue
		}
		if d.Surface.Written() && !r.surfaceOf(on, d.Surface) {
			continue
		}
		l := LoadRule{Name: d.Name.Value, Member: d.On.Value, Surface: d.Surface.Value, Sustained: d.Sustained.Value, Line: d.Line}
		if d.At != nil {
			l.At = &geom.Vec2{X: r.place(d.At[0], "place of a load"), Y: r.place(d.At[1], "place of a load")}
		}
		switch {
		case d.Across.Written():
			l.Across = r.size(d.Across, "disc of a load")
		case d.Person.Written():
			l.Across = personAcross
		case d.At != nil:
			l.Across = thingAcross
		}
		down := geom.V3(0, 0, -1)
		switch {
		case d.Person.Written():
			l.Force = down.Scale(r.amount(d.Person, Mass, "mass of the person", "110 kg", maxLoadMass) / 1000 * standardGravity)
		case d.Mass.Written():
			l.Force = down.Scale(r.amount(d.Mass, Mass, "mass of the load", "20 kg", maxLoadMass) / 1000 * standardGravity)
		default:
			dir := down
			if d.Towards != nil {
				if dir, ok = r.direction(d.Towards, "direction of the force"); !ok {
					continue
				}
			}
			l.Force = dir.Scale(r.amount(d.Force, Force, "force", "100 N", maxLoadForce))
		}
		r.piece.Loads = append(r.piece.Loads, l)
	}
}

func (r *resolver) held() {
	for _, d := range r.doc.Held {
		if on, ok := r.member(d.On); ok && r.surfaceOf(on, d.Surface) {
			r.piece.Held = append(r.piece.Held, HeldRule{Member: d.On.Value, Surface: d.Surface.Value, Line: d.Line})
		}
	}
}

func (r *resolver) seams() {
	for _, d := range r.doc.Seams {
		on, ok := r.member(d.On)
		if !ok {
			continue
		}
		s := SeamRule{Member: d.On.Value, Axis: slices.Index([]string{"x", "y", "z"}, d.Across.Value), Line: d.Line}
		before := r.trouble()
		switch {
		case d.Whole.Value:
			s.Kind, s.Axis = Whole, 0
		case d.At.Written():
			s.Kind, s.At = SeamAt, r.place(d.At, "place of a seam")
			if r.trouble() == before {
				r.within(on, s, s.At, s.At, d.At.Place)
			}
		default:
			s.Kind = NoSeam
			s.Clear = [2]float64{r.place(d.Clear[0], "start of a stretch without seams"), r.place(d.Clear[1], "end of a stretch without seams")}
			switch {
			case r.trouble() > before:
			case s.Clear[0] >= s.Clear[1]:
				r.faults.Add(d.Clear[0].Place, "give the smaller one first", "a stretch without seams runs from %s mm to %s mm", num(s.Clear[0]), num(s.Clear[1]))
			default:
				r.within(on, s, s.Clear[0], s.Clear[1], d.Clear[0].Place)
			}
		}
		r.piece.Seams = append(r.piece.Seams, s)
	}
}

// within notes a fault where a stretch along an axis misses a member.
func (r *resolver) within(on []int, s SeamRule, from, to float64, at given.Place) {
	for _, i := range on {
		m := r.piece.Members[i]
		lo, hi := m.extent(s.Axis)
		if from < hi && to > lo {
			continue
		}
		where := num(from) + " mm"
		if from != to {
			where = fmt.Sprintf("%s mm to %s mm", num(from), num(to))
		}
		r.faults.Add(at, fmt.Sprintf("%s reaches from %s mm to %s mm along its own %s", m.ID, num(lo), num(hi), "xyz"[s.Axis:s.Axis+1]),
			"there is nothing of %s at %s along its own %s", m.ID, where, "xyz"[s.Axis:s.Axis+1])
		return
	}
}

// extent is how far the member reaches along one of its own axes, end cuts not
// counted.
func (m Member) extent(axis int) (lo, hi float64) {
	b := geom.EmptyBox3()
	switch {
	case m.Board != nil:
		o := m.Board.Outline.Path.Bounds()
		b = b.Add(geom.V3(o.Min.X, o.Min.Y, 0)).Add(geom.V3(o.Max.X, o.Max.Y, m.Board.Thickness))
	case m.Turning != nil:
		o := m.Turning.Profile.Bounds()
		b = b.Add(geom.V3(-o.Max.X, -o.Max.X, o.Min.Y)).Add(geom.V3(o.Max.X, o.Max.X, o.Max.Y))
	case m.Solid != nil:
		for _, v := range m.Solid.Shape.Vertices {
			b = b.Add(v)
		}
	default:
		return math.Inf(-1), math.Inf(1)
	}
	return [3]float64{b.Min.X, b.Min.Y, b.Min.Z}[axis], [3]float64{b.Max.X, b.Max.Y, b.Max.Z}[axis]
}
