package veneer

import (
	"cmp"
	"math"

	"groundwork/internal/shop"
	"groundwork/internal/unfold"
)

// Options are the rules for cladding. The zero value of a field means its
// default. Unless a source is named they are common practice, no source.
type Options struct {
	Chord     float64 // mm; how far flattened borders may stray from the curves, default 0.02
	Allowance float64 // mm on every free edge, default 2 (1 to 3 for laser-cut adhesive-backed faces)
	Hole      float64 // mm a side by which holes are cut small and trimmed after laying, default 1
	Under     float64 // mm that a leaf reaches under the member that stands on a pad, default 1
	Clearance float64 // mm between a pad and its leaf, and round a member that stands in a window, default 0.3
	Cutter    float64 // mm; radius of the trimming cutter, default 3
	Pin       float64 // mm; diameter of the lap's pins, default 1.2 on bands below 30 mm, 1.6 on wider ones (holes of 3/64 to 1/16 inch, Popular Woodworking 135, 2003)
	Head      float64 // mm; diameter of the pins' heads, default 2 and 3
	Feather   float64 // mm; length over which a lap's inner end is feathered, default 25 (Popular Woodworking 165, 2007: 1 inch)
	LapClear  float64 // mm between a lap and seams, contacts and other joints, default 30
	LeafClear float64 // mm between a joint of leaves and a core seam, default 25
	RingExtra float64 // mm by which the ends of a closed ring are cut long, at least, default 10; never less than 1 %
	Knife     bool    // rip bands that are longer than the bed by knife rather than dividing them

	Strain unfold.Limits // what the veneer bears where a surface curves both ways; default unfold.DefaultLimits
}

func (o Options) withDefaults() Options {
	o.Chord = cmp.Or(o.Chord, 0.02)
	o.Allowance = cmp.Or(o.Allowance, 2)
	o.Hole = cmp.Or(o.Hole, 1)
	o.Under = cmp.Or(o.Under, 1)
	o.Clearance = cmp.Or(o.Clearance, 0.3)
	o.Cutter = cmp.Or(o.Cutter, 3)
	o.Feather = cmp.Or(o.Feather, 25)
	o.LapClear = cmp.Or(o.LapClear, 30)
	o.LeafClear = cmp.Or(o.LeafClear, 25)
	o.RingExtra = cmp.Or(o.RingExtra, 10)
	o.Strain.Along = cmp.Or(o.Strain.Along, unfold.DefaultLimits.Along)
	o.Strain.Across = cmp.Or(o.Strain.Across, unfold.DefaultLimits.Across)
	return o
}

// ringExtra is how much longer than its net length a closed ring is cut, so
// that it can be cut to fit on the core.
func (o Options) ringExtra(net float64) float64 { return max(o.RingExtra, net/100) }

// pin is the diameter of the pins for a band of that width, and of their heads.
func (o Options) pin(width float64) (shank, head float64) {
	shank, head = 1.6, 3
	if width < 30 {
		shank, head = 1.2, 2
	}
	return cmp.Or(o.Pin, shank), cmp.Or(o.Head, head)
}

// room is the largest pattern that can be cut, along and across the grain.
type room struct{ along, across float64 }

// rooms are the ways in which a blank of the veneer goes on the laser bed:
// with its grain along the bed's X, and along its Y.
func rooms(s *shop.Shop, v shop.Veneer) []room {
	along, across := math.Inf(1), math.Inf(1)
	if v.Sheet.Y > 0 {
		along, across = v.Sheet.Y-2*v.EdgeMargin, v.Sheet.X-2*v.EdgeMargin
	}
	if len(s.Lasers) == 0 {
		return []room{{along, across}}
	}
	l := s.Lasers[0]
	x, y := l.Bed.X, l.Bed.Y
	cut := 2*l.Margin + l.Kerf
	return []room{
		{min(x, along) - cut, min(y, across) - cut},
		{min(y, along) - cut, min(x, across) - cut},
	}
}

func fits(rs []room, along, across float64) bool {
	for _, r := range rs {
		if along <= r.along+1e-9 && across <= r.across+1e-9 {
			return true
		}
	}
	return false
}

// longest is the greatest length along the grain that can be cut at the given
// width, or 0.
func longest(rs []room, across float64) float64 {
	best := 0.0
	for _, r := range rs {
		if across <= r.across+1e-9 {
			best = max(best, r.along)
		}
	}
	return best
}

// knifeRoom is what can be ripped from a sheet by knife.
func knifeRoom(v shop.Veneer) room {
	if v.Sheet.Y <= 0 {
		return room{math.Inf(1), math.Inf(1)}
	}
	return room{v.Sheet.Y - 2*v.EdgeMargin, v.Sheet.X - 2*v.EdgeMargin}
}

// skew reports whether a strip that long and wide lies on a bed of x by y at
// some angle.
func skew(x, y, length, width float64) bool {
	for a := 0.0; a <= math.Pi/2; a += math.Pi / 3600 {
		sn, cs := math.Sincos(a)
		if length*cs+width*sn <= x && length*sn+width*cs <= y {
			return true
		}
	}
	return false
}
