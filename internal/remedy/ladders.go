package remedy

import (
	"context"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/stress"
)

// OfBody lists what can be done to a printed body so that it bends less and
// bears more.
func OfBody(in stress.Inputs, body int) []Ladder {
	id, p, f := in.Bodies[body].ID, in.Profile(body), in.Filament(body)
	var out []Ladder

	contours := Ladder{Kind: "contours"}
	for n := p.Contours + 1; n <= p.Contours+5; n++ {
		contours.Steps = append(contours.Steps, profiled(fmt.Sprintf("print %s with %d contours instead of %d", id, n, p.Contours), body, func(p *shop.Profile) { p.Contours = n }))
	}
	covers := Ladder{Kind: "cover layers"}
	for n := p.CoverLayers + 2; n <= p.CoverLayers+10; n += 2 {
		covers.Steps = append(covers.Steps, profiled(fmt.Sprintf("print %s with %d cover layers instead of %d", id, n, p.CoverLayers), body, func(p *shop.Profile) { p.CoverLayers = n }))
	}
	fill := Ladder{Kind: "core fill"}
	for _, share := range []float64{0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8, 1} {
		if share > p.Fill+0.01 {
			fill.Steps = append(fill.Steps, profiled(fmt.Sprintf("print %s with %.0f %% core fill instead of %.0f %%", id, 100*share, 100*p.Fill), body, func(p *shop.Profile) { p.Fill = share }))
		}
	}
	out = append(out, contours, covers, fill)

	for _, other := range in.Shop.Filaments {
		if other.ID == f.ID {
			continue
		}
		out = append(out, Ladder{Kind: "filament", Steps: []Step{{
			Text: fmt.Sprintf("print %s in %s instead of %s", id, other.ID, f.ID),
			Apply: func(_ context.Context, in stress.Inputs) (stress.Inputs, error) {
				was := in.Filament
				in.Filament = func(b int) shop.Filament {
					if b == body {
						return other
					}
					return was(b)
				}
				return in, nil
			},
		}}})
	}
	for _, m := range in.Bodies[body].Members {
		if in.Cores[m].Board == nil {
			continue
		}
		out = append(out, thicker(in, m), rods(in, body, m))
	}
	return slices.DeleteFunc(out, func(l Ladder) bool { return len(l.Steps) == 0 })
}

// profiled is a change of how one body is printed.
func profiled(text string, body int, change func(*shop.Profile)) Step {
	return Step{Text: text, Apply: func(_ context.Context, in stress.Inputs) (stress.Inputs, error) {
		was := in.Profile
		in.Profile = func(b int) shop.Profile {
			p := was(b)
			if b == body {
				change(&p)
			}
			return p
		}
		return in, nil
	}}
}

// thicker lets a board grow on the side where less of it meets other members,
// so that what it is joined to stays where it is.
func thicker(in stress.Inputs, member int) Ladder {
	m := in.Cores[member]
	var face, back float64 // mm² of contacts
	for _, c := range in.Joints.Contacts {
		for _, s := range []struct {
			side joint.Side
			out  geom.Vec3
		}{{c.A, c.Frame.Z}, {c.B, c.Frame.Z.Neg()}} {
			if s.side.Member != member {
				continue
			}
			switch d := s.out.Dot(m.Place.Z); {
			case d > 0.9:
				face += c.Area
			case d < -0.9:
				back += c.Area
			}
		}
	}
	l := Ladder{Kind: "thickness"}
	for grow := 2.0; grow <= 12; grow += 2 {
		l.Steps = append(l.Steps, Step{
			Text: fmt.Sprintf("make %s %.1f mm thick instead of %.1f mm (core)", m.ID, m.Board.Thickness+grow, m.Board.Thickness),
			Apply: func(_ context.Context, in stress.Inputs) (stress.Inputs, error) {
				if face > 0 && back > 0 && min(face, back) > 0.2*max(face, back) {
					return in, fmt.Errorf("%s is held on both sides: %w", m.ID, ErrNotPossible)
				}
				in.Cores = slices.Clone(in.Cores)
				board := *in.Cores[member].Board
				board.Thickness += grow
				c := &in.Cores[member]
				c.Board = &board
				if face > back { // the face stays where it is
					c.Place.Origin = c.Place.Origin.Sub(c.Place.Z.Scale(grow))
				}
				was := in.Weight
				if was != nil { // what it weighs grows with it
					body := bodyOf(in, member)
					share := grow / (board.Thickness - grow)
					in.Weight = func(b int) float64 {
						if b == body {
							return was(b) * (1 + share)
						}
						return was(b)
					}
				}
				return in, nil
			},
		})
	}
	return l
}

func bodyOf(in stress.Inputs, member int) int {
	return slices.IndexFunc(in.Bodies, func(b seam.Body) bool { return slices.Contains(b.Members, member) })
}

// wallOfRod is the plastic kept between a rod and a face or a bore, mm: what
// printed bosses need (J. Manuf. Mater. Process. 7(1) 42, 2023).
const wallOfRod = 2.4

// rods are two steel rods along a board, one under its face and one over its
// back, as far apart as the walls allow.
func rods(in stress.Inputs, body, member int) Ladder {
	m := in.Cores[member]
	l := Ladder{Kind: "rod"}
	box := geom.EmptyBox2()
	for _, q := range m.Board.Outline.Path.Flatten(0.5) {
		box = box.Add(q.P)
	}
	size := box.Size()
	for _, d := range []float64{3, 4, 5, 6, 8, 10} {
		if m.Board.Thickness < 2*d+3*wallOfRod {
			break
		}
		l.Steps = append(l.Steps, Step{
			Text: fmt.Sprintf("let two steel rods of %.0f mm into printed channels along %s, one under each face", d, m.ID),
			Apply: func(_ context.Context, in stress.Inputs) (stress.Inputs, error) {
				pair, ok := place(in, member, box, size, d)
				if !ok {
					return in, fmt.Errorf("no room for rods between the bores of %s: %w", m.ID, ErrNotPossible)
				}
				in.Rods = slices.Clone(in.Rods)
				for _, r := range pair {
					r.Body = body
					in.Rods = append(in.Rods, r)
				}
				return in, nil
			},
		})
	}
	return l
}

// place finds room for two rods along the longer side of a board's outline, as
// near the middle of its breadth as its bores and cut-outs allow.
func place(in stress.Inputs, member int, box geom.Box2, size geom.Vec2, d float64) ([]stress.Rod, bool) {
	m := in.Cores[member]
	long, breadth := geom.V2(1, 0), geom.V2(0, 1)
	if size.Y > size.X {
		long, breadth = breadth, long
	}
	length, across := math.Max(size.X, size.Y), math.Min(size.X, size.Y)
	middle := box.Min.Add(size.Scale(0.5))
	const end, step = 10.0, 2.0 // mm: plastic left at both ends; how finely places are tried
	for off := 0.0; off <= across/2-d/2-wallOfRod; off += step {
		for _, side := range []float64{off, -off} {
			from := middle.Add(breadth.Scale(side)).Sub(long.Scale(length/2 - end))
			to := middle.Add(breadth.Scale(side)).Add(long.Scale(length/2 - end))
			from, to, ok := within(m.Board, from, to, d/2+wallOfRod)
			if !ok || to.Dist(from) < length/2 {
				continue
			}
			var pair []stress.Rod
			free := true
			for _, z := range []float64{d/2 + wallOfRod, m.Board.Thickness - d/2 - wallOfRod} {
				r := stress.Rod{
					From: m.Place.Point(geom.V3(from.X, from.Y, z)), To: m.Place.Point(geom.V3(to.X, to.Y, z)), Diameter: d,
				}
				free = free && clear(in.Joints.Bores(), member, r)
				pair = append(pair, r)
			}
			if free {
				return pair, true
			}
		}
	}
	return nil, false
}

// within shortens a line until it keeps a distance from a board's outline and
// cut-outs; false where its middle does not.
func within(b *piece.Board, from, to geom.Vec2, clear float64) (geom.Vec2, geom.Vec2, bool) {
	var region geom.Polygons
	for _, o := range append([]piece.Outline{b.Outline}, b.Cutouts...) {
		var loop geom.Polygon
		for _, q := range o.Path.Flatten(0.2) {
			loop = append(loop, q.P)
		}
		region = append(region, loop)
	}
	ok := func(p geom.Vec2) bool { return region.Contains(p) && region.Distance(p) >= clear }
	const step = 5.0 // mm
	mid := from.Lerp(to, 0.5)
	if !ok(mid) {
		return from, to, false
	}
	reach := func(end geom.Vec2) geom.Vec2 {
		n := int(mid.Dist(end) / step)
		last := mid
		for i := 1; i <= n; i++ {
			p := mid.Lerp(end, float64(i)/float64(n))
			if !ok(p) {
				break
			}
			last = p
		}
		return last
	}
	return reach(from), reach(to), true
}

// clear reports whether a rod keeps its wall from every bore of a member.
func clear(bores []joint.Bore, member int, r stress.Rod) bool {
	const samples = 60
	for _, b := range bores {
		if b.Member != member {
			continue
		}
		for i := range samples + 1 {
			p := r.From.Lerp(r.To, float64(i)/samples)
			t := max(0, min(b.Depth, p.Sub(b.Mouth).Dot(b.Axis)))
			if p.Dist(b.Mouth.Add(b.Axis.Scale(t))) < (b.Diameter+r.Diameter)/2+wallOfRod {
				return false
			}
		}
	}
	return true
}
