package check

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/stability"
)

// What counts as standing on the floor and as something that can be pressed on;
// common practice, no source.
const (
	floor   = 1.0   // mm above Z = 0 within which a point touches the floor
	level   = 0.966 // cosine of 15 degrees: a surface that slopes no more carries things
	flush   = 3.0   // mm by which the parts of one top may differ in height
	narrow  = 60.0  // mm of width below which a level surface under the top is only a rail
	covered = 0.5   // share of a surface covered by other members above which nothing can press on it
	worth   = 0.25  // share of the largest level surface below which one is no top
	chord   = 0.1   // mm that flattened rims may stray
)

// stand asks package stability how the piece stands.
func (r *Result) stand(in Inputs) {
	r.Mass, r.Center = masses(in)
	lowest, highest := math.Inf(1), math.Inf(-1)
	var touch []geom.Vec2
	for _, s := range in.Cores.Segments {
		lowest, highest = min(lowest, s.Bounds.Min.Z), max(highest, s.Bounds.Max.Z)
		for _, v := range s.Mesh.Vertices {
			if math.Abs(v.Z) < floor {
				touch = append(touch, v.XY())
			}
		}
	}
	var held []string
	for _, h := range in.Piece.Held {
		held = append(held, fmt.Sprintf("%s of %s", h.Surface, h.Member))
	}
	if len(held) == 0 {
		r.Support = stability.Hull(touch)
	}
	on := rims(in)
	for _, g := range on { // its veneer stands out above the core
		highest = max(highest, g.Height)
	}
	r.Standing = stability.Judge(stability.Inputs{
		Use: in.Piece.Use, Held: strings.Join(held, ", "), Height: highest, Floor: lowest,
		Body: stability.Body{Support: r.Support, Mass: r.Mass, Center: r.Center},
		Rims: on, Own: own(in),
	})
	r.Tips = r.Standing.Tips
	r.Findings = append(r.Findings, r.Standing.Findings...)
}

// masses are the mass of all, g, and its centre: printed plastic segment by
// segment, veneer where it lies, and what is left of Inputs.Extra at the screws
// or, without any, spread like the rest.
func masses(in Inputs) (float64, geom.Vec3) {
	grams := map[string]float64{}
	for _, p := range in.Printing.Prints {
		grams[p.Segment] = p.Grams
	}
	var mass float64
	var moment geom.Vec3
	add := func(g float64, at geom.Vec3) { mass, moment = mass+g, moment.Add(at.Scale(g)) }
	for _, s := range in.Cores.Segments {
		add(grams[s.ID], centroid(s))
	}
	veneer := laid(in)
	share := 1.0
	var sum float64
	for _, v := range veneer {
		sum += v.grams
	}
	if sum > in.Extra {
		share = in.Extra / sum
	}
	for _, v := range veneer {
		add(v.grams*share, v.at)
	}
	screws, bulk := screwed(in)
	left := max(0, in.Extra-sum)
	for _, s := range screws {
		add(left*s.grams/bulk, s.at)
	}
	if mass == 0 {
		return in.Extra, geom.Vec3{}
	}
	center := moment.Scale(1 / mass)
	if len(screws) == 0 {
		mass += left
	}
	return mass, center
}

// lump is mass at a place.
type lump struct {
	grams float64
	at    geom.Vec3
}

// laid is the veneer on each surface. 0.7 g/cm³ for face, paper and adhesive
// together, as the bill reckons them.
func laid(in Inputs) []lump {
	const density = 0.0007 // g/mm³
	var out []lump
	for m, c := range in.Layout.Cores {
		if m >= len(in.Layout.Coverings) {
			break
		}
		for i, s := range c.Surfaces(chord) {
			if cov := in.Layout.Coverings[m][i]; cov.Stack > 0 && s.Area > 0 && len(s.Region) > 0 {
				out = append(out, lump{s.Area * cov.Stack * density, c.Place.Point(center(s))})
			}
		}
	}
	return out
}

// center is the middle of a surface's area, in member coordinates; of a curved
// one the mean over a grid in its chart.
func center(s piece.Surface) geom.Vec3 {
	const n = 24
	box := s.Region.Bounds()
	size := box.Size()
	var sum geom.Vec3
	var count float64
	for i := range n {
		for j := range n {
			uv := box.Min.Add(geom.V2(size.X*(float64(i)+0.5)/n, size.Y*(float64(j)+0.5)/n))
			if s.Region.Contains(uv) {
				sum, count = sum.Add(s.Point(uv)), count+1
			}
		}
	}
	if count == 0 {
		return s.Point(box.Center())
	}
	return sum.Scale(1 / count)
}

// screwed are the screws, each weighing as its shank's bulk; and the bulk of all.
func screwed(in Inputs) (out []lump, bulk float64) {
	for _, j := range in.Joints.Joints {
		for _, s := range j.Screws {
			var d float64
			if _, err := fmt.Sscanf(s.Size, "M%g", &d); err != nil {
				continue
			}
			l := lump{d * d * s.Length, s.Head.Add(s.Axis.Scale(s.Length / 2))}
			out, bulk = append(out, l), bulk+l.grams
		}
	}
	return out, bulk
}

// centroid of a closed mesh by signed tetrahedra about its first vertex.
func centroid(s core.Segment) geom.Vec3 {
	o := s.Mesh.Vertices[0]
	var c geom.Vec3
	var vol float64
	for _, t := range s.Mesh.Triangles {
		p, q, u := s.Mesh.Vertices[t[0]].Sub(o), s.Mesh.Vertices[t[1]].Sub(o), s.Mesh.Vertices[t[2]].Sub(o)
		v := p.Dot(q.Cross(u))
		c = c.Add(p.Add(q).Add(u).Scale(v / 4))
		vol += v
	}
	return o.Add(c.Scale(1 / vol))
}

// rims are what can be pressed on: the top, whose parts together count as one,
// and every broad level surface below it that lies open. A piece without any
// has the outline of its highest tenth, as far as that faces up.
func rims(in Inputs) []stability.Rim {
	type ground struct {
		stability.Rim
		area, width float64
	}
	over := map[[2]int]float64{}
	for _, c := range in.Joints.Contacts {
		over[[2]int{c.A.Member, c.A.Surface}] += c.A.Covered
		over[[2]int{c.B.Member, c.B.Surface}] += c.B.Covered
	}
	var all []ground
	largest := 0.0
	for m, c := range in.Layout.Cores {
		var edge float64 // veneer round it
		surfaces := c.Surfaces(chord)
		stack := func(i int) float64 {
			if m >= len(in.Layout.Coverings) {
				return 0
			}
			return in.Layout.Coverings[m][i].Stack
		}
		for i, s := range surfaces {
			if !s.Inside && (s.Role == piece.Edge || s.Role == piece.Side) {
				edge = max(edge, stack(i))
			}
		}
		for i, s := range surfaces {
			f := s.Frame.In(c.Place)
			if s.Kind != piece.Plane || s.Inside || len(s.Region) == 0 || over[[2]int{m, i}] > covered {
				continue
			}
			if f.Z.Z < level {
				continue
			}
			name := c.ID
			if s.Name != "face" && s.Name != "back" {
				name = s.Name + " of " + c.ID
			}
			size := s.Region.Bounds().Size()
			plan := s.Region.Map(func(p geom.Vec2) geom.Vec2 { return f.Point(geom.V3(p.X, p.Y, 0)).XY() })
			middle := f.Point(geom.V3(s.Region.Bounds().Center().X, s.Region.Bounds().Center().Y, 0))
			g := ground{stability.Rim{Name: name, Region: plan, Height: middle.Z + stack(i), Grown: edge}, s.Area, min(size.X, size.Y)}
			all, largest = append(all, g), max(largest, s.Area)
		}
	}
	high := math.Inf(-1)
	for _, g := range all {
		if g.area >= worth*largest {
			high = max(high, g.Height)
		}
	}
	var top, out []stability.Rim
	for _, g := range all {
		switch {
		case math.Abs(g.Height-high) <= flush:
			top = append(top, g.Rim)
		case g.width >= narrow:
			out = append(out, g.Rim)
		}
	}
	switch {
	case len(top) == 1:
		out = append(out, top[0])
	case len(top) > 1:
		out = append(out, together(top))
	case len(all) == 0:
		if r, ok := uppermost(in.Cores.Segments); ok {
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(a, b stability.Rim) int { return -cmp.Compare(a.Height, b.Height) })
	return out
}

// together is one rim round several that lie flush: slats, leaves.
func together(top []stability.Rim) stability.Rim {
	var pts []geom.Vec2
	var names []string
	out := stability.Rim{Height: math.Inf(-1)}
	for _, r := range top {
		for _, p := range r.Region {
			pts = append(pts, p...)
		}
		names = append(names, r.Name)
		out.Height, out.Grown = max(out.Height, r.Height), max(out.Grown, r.Grown)
	}
	out.Region = geom.Polygons{stability.Hull(pts)}
	out.Name = names[0]
	if n := len(names); n == 2 {
		out.Name += " and " + names[1]
	} else if n > 2 {
		out.Name += fmt.Sprintf(" to %s", names[n-1])
	}
	return out
}

// uppermost is the outline of what faces up in the highest tenth of a piece that
// has no level surface.
func uppermost(segments []core.Segment) (stability.Rim, bool) {
	const share, up = 0.1, 0.7
	box := geom.EmptyBox3()
	for _, s := range segments {
		box = box.Union(s.Bounds)
	}
	var pts []geom.Vec2
	for _, s := range segments {
		for _, t := range s.Mesh.Triangles {
			a, b, c := s.Mesh.Vertices[t[0]], s.Mesh.Vertices[t[1]], s.Mesh.Vertices[t[2]]
			if b.Sub(a).Cross(c.Sub(a)).Unit().Z < up || min(a.Z, b.Z, c.Z) < box.Max.Z-share*box.Size().Z {
				continue
			}
			pts = append(pts, a.XY(), b.XY(), c.XY())
		}
	}
	outline := stability.Hull(pts)
	return stability.Rim{Name: "what faces up at its top", Region: geom.Polygons{outline}, Height: box.Max.Z}, len(outline) >= 3
}

// own are the loads of the piece file, each copy at the middle of where it
// presses.
func own(in Inputs) []stability.Force {
	var out []stability.Force
	for _, l := range in.Piece.Loads {
		for _, c := range in.Layout.Cores {
			if c.ID != l.Member && c.Name != l.Member {
				continue
			}
			best, most := piece.Surface{}, math.Inf(-1)
			for _, s := range c.Surfaces(chord) {
				if len(s.Region) == 0 || l.Surface != "" && s.Name != l.Surface || l.Surface == "" && s.Inside {
					continue
				}
				against := -c.Place.Dir(s.Normal(s.Region.Bounds().Center())).Dot(l.Force.Unit())
				if against > most+1e-9 {
					best, most = s, against
				}
			}
			if math.IsInf(most, -1) {
				continue // the strength stage tells of it
			}
			uv := best.Region.Bounds().Center()
			at := center(best)
			if l.At != nil {
				at = best.Point(uv.Add(*l.At))
			}
			out = append(out, stability.Force{ID: l.Name, At: c.Place.Point(at), N: l.Force})
		}
	}
	return out
}
