package veneer

import (
	"math"

	"groundwork/internal/geom"
)

// Fingers is the shape of the swallowtail fingers on the end of a band, drawn
// with their roots at x = 0 and their tips at x = Length, over the band's
// width from y = 0.
//
// The proportions are a parameter set, not a standard: no authority gives one.
// They were set so that the seen oval boxes fall inside (Popular Woodworking
// 135, 2003, and 165, 2007).
type Fingers struct {
	Count  int
	Width  float64 // of the band, mm
	Pitch  float64 // Width / Count
	Root   float64 // width of a finger between the gaps' roots
	Gap    float64 // radius of the rounded root of a gap, at least 1 mm
	Tip    float64 // width of a finger where its rounded tip begins
	Length float64
	Taper  float64 // mean slope of an inner side, radians
	Head   float64
}

// Ranges of the parameter set.
const (
	fingerEvery            = 20.0              // mm of band width for each finger
	rootLeast, rootMost    = 0.75, 0.85        // of the pitch
	tipLeast, tipMost      = 1.3, 1.6          // of the pin's head
	fingerLeast, fingerMax = 1.2, 2.0          // length, of the pitch
	taperLeast, taperMost  = 8 * deg, 14 * deg // mean, a side
	gapLeast               = 1.0               // mm
	plainLeast, plainMost  = 0.7, 1.2          // of the band's width: the lap behind the fingers
	pinFromTip             = 1.5               // of the head, from the tip
	deg                    = math.Pi / 180
)

// NewFingers designs the fingers for a band of the given width in mm that is
// pinned with heads of the given diameter.
func NewFingers(width, head float64) Fingers {
	f := Fingers{Width: width, Head: head, Count: max(2, int(math.Round(width/fingerEvery)))}
	tip := (tipLeast + tipMost) / 2 * head
	// A band too narrow for two tips gets one finger.
	if width/2*rootMost < tip*1.3 {
		f.Count = 1
	}
	f.Pitch = width / float64(f.Count)
	f.Root = max(rootLeast, min(0.8, 1-2*gapLeast/f.Pitch)) * f.Pitch
	f.Gap = (f.Pitch - f.Root) / 2
	f.Tip = min(tip, 0.65*f.Root)
	// The middle of the range of lengths, unless that makes the sides too
	// steep or too flat.
	f.Length = 1.6 * f.Pitch
	reach := (f.Root - f.Tip) / 2
	rest := f.Gap + f.Tip/2 // taken up by the rounded root and tip, about
	f.Length = max(reach/math.Tan(taperMost)+rest, min(reach/math.Tan(taperLeast)+rest, f.Length))
	f.Length = max(fingerLeast*f.Pitch, min(fingerMax*f.Pitch, f.Length))
	f.Taper = math.Atan2(reach, f.Length-rest)
	return f
}

// Lap is the length of the whole lap: the fingers and the plain part behind
// them, which is as long as the band is wide, shorter on a wide band, and
// never shorter than the feathered end that lies under it.
func (f Fingers) Lap(feather float64) float64 {
	plain := max(plainLeast*f.Width, min(f.Width, 40))
	return f.Length + max(plain, feather)
}

// Outline is the comb as one loop, counter-clockwise, from x = -behind (where
// it joins the band) to the tips, its curves flattened to within chord. Every
// finger is a gothic arch: sides that leave the root almost along the band and
// curve in ever more towards a small round tip.
func (f Fingers) Outline(behind, chord float64) geom.Polygon {
	out := geom.Polygon{{X: -behind, Y: 0}}
	for i := range f.Count {
		c := (float64(i) + 0.5) * f.Pitch
		lower := f.side(i == 0)
		upper := f.side(i == f.Count-1)
		var pts geom.Polygon
		for k := len(lower) - 1; k >= 0; k-- { // root to tip, below the middle
			s := lower[k].Reversed()
			for _, q := range flatten(s, chord) {
				pts = append(pts, geom.V2(q.X, c-q.Y))
			}
		}
		for _, s := range upper { // tip to root, above
			for _, q := range flatten(s, chord) {
				pts = append(pts, geom.V2(q.X, c+q.Y))
			}
		}
		out = append(out, pts...)
	}
	out = append(out, geom.V2(-behind, f.Width))
	return dropRepeats(out)
}

// side is one side of a finger from the tip to the root, as distances from the
// finger's middle. An outer side starts on the band's edge, an inner one in
// the rounded root of a gap.
func (f Fingers) side(outer bool) []geom.Seg {
	half := f.Root / 2
	if outer {
		half = f.Pitch / 2
	}
	// The tip is a circle that both sides run into at the slope end.
	mean := f.Taper
	if outer {
		mean = math.Atan2(half-f.Tip/2, f.Length-f.Tip/2)
	}
	wide := math.Atan2(f.Pitch/2-f.Tip/2, f.Length-f.Tip/2)
	end := min(2*f.Taper, max(f.Taper, wide)+5*deg)
	rho := f.Tip / 2 / math.Cos(end)
	centre := f.Length - rho
	touchX := centre + rho*math.Sin(end)
	tip := geom.ArcOf(geom.V2(centre, 0), rho, rho, 0, 0, math.Pi/2-end)
	begin := max(0, 2*mean-end) // of an arc whose chord has the slope mean
	root := geom.Vec2{Y: half}
	var foot []geom.Seg
	if !outer {
		// The gap's root: a circle tangent to the sides, its lowest point at x = 0.
		g := f.Gap / math.Cos(begin)
		root.X = g * (1 - math.Sin(begin))
		from := math.Pi + (math.Pi/2 - begin) // seen from the gap's middle, which is up
		foot = []geom.Seg{geom.ArcOf(geom.V2(g, f.Pitch/2), g, g, 0, from, math.Pi-from)}
	}
	// A cubic with the end slopes: an arch, tangent at the tip.
	a := geom.V2(touchX, f.Tip/2)
	d := a.Dist(root) / 3
	arch := geom.CubicTo(a, a.Add(geom.V2(-math.Cos(end), math.Sin(end)).Scale(d)),
		root.Add(geom.V2(math.Cos(begin), -math.Sin(begin)).Scale(d)), root)
	return append([]geom.Seg{tip, arch}, foot...)
}

// Pins are the centres of the pin holes: one near each tip, one behind each
// root, and, lying len back from the tips, one column near the feathered end.
// The first 2·Count belong to the fingers.
func (f Fingers) Pins(lap float64) []geom.Vec2 {
	var tips, roots, column []geom.Vec2
	for i := range f.Count {
		y := (float64(i) + 0.5) * f.Pitch
		tips = append(tips, geom.V2(f.Length-pinFromTip*f.Head, y))
		roots = append(roots, geom.V2(-pinFromTip*f.Head, y))
		column = append(column, geom.V2(f.Length-lap+2*pinFromTip*f.Head, y))
	}
	return append(append(tips, roots...), column...)
}

func flatten(s geom.Seg, chord float64) geom.Polygon {
	var out geom.Polygon
	for _, q := range (geom.Path{Segs: []geom.Seg{s}}).Flatten(chord) {
		out = append(out, q.P)
	}
	return out
}

// dropRepeats leaves out points that repeat their neighbour but for rounding.
func dropRepeats(p geom.Polygon) geom.Polygon {
	const same = 1e-6
	var out geom.Polygon
	for _, q := range p {
		if len(out) == 0 || q.Dist(out[len(out)-1]) > same {
			out = append(out, q)
		}
	}
	if len(out) > 1 && out[0].Dist(out[len(out)-1]) <= same {
		out = out[:len(out)-1]
	}
	return out
}

// dropShort takes out corners that are hardly any and follow another closely,
// as arise where a curved border is cut at the opening of a chart: an edge
// shorter than what its corners gain could not be moved out.
func dropShort(p geom.Polygon) geom.Polygon {
	const short, straight = 0.3, 0.004 // mm
	if len(p) < 8 {
		return p
	}
	var out geom.Polygon
	for i, q := range p {
		next := p[(i+1)%len(p)]
		if len(out) > 0 && q.Dist(out[len(out)-1]) < short && q.Dist(next) > short && geom.SegmentDistance(q, out[len(out)-1], next) < straight {
			continue
		}
		// And the other way round: the next one follows too closely, and q is the one to go.
		if len(out) > 0 && q.Dist(next) < short && q.Dist(out[len(out)-1]) > short && geom.SegmentDistance(q, out[len(out)-1], next) < straight {
			continue
		}
		out = append(out, q)
	}
	return out
}
