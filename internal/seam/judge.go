package seam

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
)

// What a seam costs, by what speaks against it. A part more outweighs all of
// it: these choose among plans with equally few segments. Weights are our own.
const (
	costStress  = 0.5  // at the place of greatest stress in the body, falling with its square
	costUtilise = 1    // at a stress as great as the seam's strength, rising with its square
	costBeyond  = 8    // for as much again beyond half of the strength
	costBore    = 0.2  // just clear of a bore, fading over 40 mm: it still weakens the bore's wall
	costJoint   = 0.1  // just clear of a joint in the veneer, fading over 20 mm
	costBare    = 0.3  // for 100 mm of seam that stays to be seen
	costLength  = 0.03 // for 100 mm of seam at the surface, which in time may show through veneer
	costDowel   = 4    // for a section with no room for two dowels
	costTight   = 0.2  // for a section that only just has
	costArea    = 0.2  // for a seam with no glue area to speak of
	costFeather = 0.5  // for a seam whose whole outline is sharper than 30 degrees
	costUneven  = 0.5  // for a part that is wrong by its own size, falling with the square
	costBeds    = 0.1  // for a bed full of parts
	costHeight  = 0.02 // for 100 mm of height printed
	costMirror  = 0.25 // for a plane without its mirror image in a symmetric body
)

// noCut is a convex region that no plane may enter, unless it runs along the
// axis the region is measured on.
type noCut struct {
	corners []geom.Vec3
	axis    geom.Vec3 // zero: planes of all directions are kept out
}

// allowed reports whether a plane keeps clear, within a cell, of bores, joints
// in the veneer and reserved ranges, and how far away the nearest bore and
// joint lie.
func (c *cutter) allowed(x *cell, pl geom.Plane) (bore, lap float64, ok bool) {
	bore, lap = math.Inf(1), math.Inf(1)
	for _, b := range c.bores {
		if !touches(x.planes, b) {
			continue
		}
		r := boreSpan(b, pl.Normal)
		gap := max(0, r.lo-pl.D, pl.D-r.hi)
		if gap < c.o.BoreClear {
			return 0, 0, false
		}
		bore = min(bore, gap)
	}
	for _, cl := range c.clears {
		for i := 1; i < len(cl.Line); i++ {
			// A seam that crosses a joint cannot be helped; one that runs along it can.
			p, q := cl.Line[i-1], cl.Line[i]
			if along := math.Abs(pl.Normal.Dot(q.Sub(p).Unit())); along > 0.5 {
				continue
			}
			if !inside(x.planes, p, cl.Distance) && !inside(x.planes, q, cl.Distance) {
				continue
			}
			d, e := pl.Distance(p), pl.Distance(q)
			if min(d, e) <= cl.Distance && max(d, e) >= -cl.Distance {
				return 0, 0, false
			}
			lap = min(lap, min(math.Abs(d), math.Abs(e))-cl.Distance)
		}
	}
	for _, n := range c.noCuts {
		if n.axis != (geom.Vec3{}) && math.Abs(n.axis.Dot(pl.Normal)) < 0.5 {
			continue
		}
		if r := span(n.corners, pl.Normal); r.lo < pl.D-1e-9 && r.hi > pl.D+1e-9 {
			return 0, 0, false
		}
	}
	return bore, lap, true
}

// judge prices a plane across a cell, or refuses it: because it would cut a
// bore or come too near a joint in the veneer, or make a part too thin. What
// it costs that its parts are uneven is not known here.
func (c *cutter) judge(x *cell, pl geom.Plane) ([]Term, *sight, bool) {
	bore, lap, ok := c.allowed(x, pl)
	if !ok {
		return nil, nil, false
	}
	c.judged++
	s := c.look(x, pl)
	if -s.min < c.o.Sliver || s.max < c.o.Sliver {
		return nil, nil, false
	}
	return c.price(x, pl, &s, bore, lap), &s, true
}

// price lists what speaks against a plane that has been looked at.
func (c *cutter) price(x *cell, pl geom.Plane, s *sight, bore, lap float64) []Term {
	terms := make([]Term, 0, 8)
	add := func(name string, value, measured float64, unit string) {
		if value > 1e-9 {
			terms = append(terms, Term{Name: name, Value: value, Measured: measured, Unit: unit})
		}
	}
	if c.stress != nil {
		v := 0.0
		if c.peak > 0 {
			v = costStress * square(s.stress/c.peak)
		}
		if c.strength > 0 {
			r := s.stress / c.strength
			v += costUtilise*r*r + costBeyond*max(0, r-0.5)
		}
		add("stress", v, s.stress, "MPa")
	}
	if !math.IsInf(bore, 1) {
		add("near a bore", costBore*math.Exp(-bore/40), bore, "mm")
	}
	if !math.IsInf(lap, 1) {
		add("near a joint in the veneer", costJoint*math.Exp(-lap/20), lap, "mm")
	}
	add("bare seam", costBare*s.bare/100, s.bare, "mm")
	add("seam length", costLength*s.outline/100, s.outline, "mm")
	if c.dowel > 0 {
		hole := c.dowel + c.in.Shop.Fits.GluedDowel + 2*c.o.DowelWall
		switch {
		case s.narrow < max(hole, 2*c.dowel) || s.long < hole+3*c.dowel:
			add("dowel room", costDowel, s.narrow, "mm")
		default:
			add("dowel room", costTight*max(0, 1-s.narrow/(3*c.dowel)), s.narrow, "mm")
		}
	}
	if mean := x.vol / (s.max - s.min); mean > 0 {
		add("glue area", costArea*max(0, 1-s.area/mean), s.area, "mm²")
	}
	if s.outline > 0 {
		add("feather edge", costFeather*s.feather/s.outline, s.feather, "mm")
	}
	return terms
}

func square(v float64) float64 { return v * v }

func sum(terms []Term) float64 {
	var v float64
	for _, t := range terms {
		v += t.Value
	}
	return v
}

// uneven is what it costs that a plane leaves below parts of volume below that
// should take share of the whole, in parts.
func uneven(below, whole float64, parts, of int) Term {
	off := (below/whole - float64(parts)/float64(of)) * float64(of)
	return Term{Name: "uneven parts", Value: costUneven * off * off, Measured: off, Unit: "parts"}
}

// brinks are the offsets across an axis that lie just clear of a bore, a joint
// in the veneer or a reserved range: where room is short, the only good ones.
func (c *cutter) brinks(x *cell, axis geom.Vec3) []float64 {
	const hair = 1e-3
	var out []float64
	for _, b := range c.bores {
		if touches(x.planes, b) {
			r := boreSpan(b, axis)
			out = append(out, r.lo-c.o.BoreClear-hair, r.hi+c.o.BoreClear+hair)
		}
	}
	for _, cl := range c.clears {
		r := span(cl.Line, axis)
		out = append(out, r.lo-cl.Distance-hair, r.hi+cl.Distance+hair)
	}
	for _, n := range c.noCuts {
		r := span(n.corners, axis)
		out = append(out, r.lo-hair, r.hi+hair)
	}
	return out
}

// touches reports whether a bore reaches into what lies within planes.
func touches(planes []geom.Plane, b joint.Bore) bool {
	return inside(planes, b.Mouth, b.Diameter) || inside(planes, b.Mouth.Add(b.Axis.Scale(b.Depth)), b.Diameter)
}

// boreSpan is how far the cylinder of a bore reaches along axis.
func boreSpan(b joint.Bore, axis geom.Vec3) interval {
	along := axis.Dot(b.Axis)
	rim := b.Diameter / 2 * math.Sqrt(max(0, 1-along*along))
	p, q := axis.Dot(b.Mouth), axis.Dot(b.Mouth.Add(b.Axis.Scale(b.Depth)))
	return interval{min(p, q) - rim, max(p, q) + rim}
}
