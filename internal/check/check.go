// Package check reads the whole plan and says what may go wrong with the
// finished piece: tipping, heat, lifting, traps for fingers; and which
// cautions belong to the work.
//
// Every verdict is an engineering estimate by analogy with the loads of named
// standards. Nothing here certifies anything.
package check

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// Inputs are the results that checks read.
type Inputs struct {
	Piece    *piece.Piece
	Layout   *veneer.Layout
	Patterns []veneer.Pattern
	Joints   *joint.Result
	Cores    *core.Result
	Printing *printing.Result
	Shop     *shop.Shop
	Extra    float64 // g of veneer and hardware, added to the printed mass
}

// Result is what the checks found and measured.
type Result struct {
	Mass     float64      // g, all told
	Center   geom.Vec3    // world; centre of mass of the printed parts
	Support  geom.Polygon // convex hull of the feet on the floor, world XY
	Tips     []Tip
	Cautions []Caution
	Findings []finding.Finding
}

// Tip is how the piece tips about one edge of its support.
type Tip struct {
	Edge     [2]geom.Vec2 // of Support
	Load     geom.Vec3    // where the load presses
	Overhang float64      // mm that the load stands outside the edge; <= 0: cannot tip
	Force    float64      // N pressing down there that lifts the opposite feet; +Inf when it cannot tip
}

// Caution is a warning that belongs to an operation.
type Caution struct {
	Operation string // print, laser, glue, insert, sand, finish, assemble, use
	Text      string
	Source    string
}

const gravity = 9.80665 // m/s², standard acceleration (CGPM 1901)

// Run makes every check.
func Run(in Inputs) *Result {
	r := &Result{}
	r.weigh(in)
	r.tip(in)
	r.heat(in)
	r.mismatch(in)
	r.shrinkage(in)
	r.lift(in)
	r.fingers(in)
	r.Cautions = cautions(in)
	r.note(finding.Note, "estimate", "piece",
		"Loads and limits are engineering estimates by analogy with published furniture standards; nothing here is a certificate.",
		"Have a piece that others will use or buy judged under the codes that apply where you are.", "EN 12521, EN 12520, EN 14749, EN 1022 named by analogy")
	r.Findings = finding.Sorted(r.Findings)
	return r
}

func (r *Result) note(s finding.Severity, code, subject, message, remedy, source string) {
	r.Findings = append(r.Findings, finding.Finding{Severity: s, Stage: "check", Code: code, Subject: subject, Message: message, Remedy: remedy, Source: source})
}

// weigh finds the mass and its centre from the printed segments.
func (r *Result) weigh(in Inputs) {
	grams := map[string]float64{}
	for _, p := range in.Printing.Prints {
		grams[p.Segment] = p.Grams
	}
	var sum float64
	for _, s := range in.Cores.Segments {
		g := grams[s.ID]
		r.Center = r.Center.Add(centroid(s).Scale(g))
		sum += g
	}
	if sum > 0 {
		r.Center = r.Center.Scale(1 / sum)
	}
	r.Mass = sum + in.Extra
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

// load is a vertical load at a distance in from the edge of the highest
// surface, as the standard named presses it.
type load struct {
	newtons, inset, sideways float64
	what, source             string
}

var stabilityLoads = map[piece.Use]load{
	piece.Table: {600, 50, 0, "600 N pressed down 50 mm in from the edge", "Smardzewski, Furniture Design (Springer 2015) ch. 6; method of ISO 7172:1988"},
	piece.Stand: {600, 50, 0, "600 N pressed down 50 mm in from the edge", "Smardzewski, Furniture Design (Springer 2015) ch. 6; method of ISO 7172:1988"},
	piece.Seat:  {600, 60, 20, "600 N pressed down 60 mm in from the edge with 20 N outward", "trade guide to EN 1022:2018"},
}

// tips works out what load on the edge of the top lifts the feet opposite,
// about each side of the polygon that the feet span.
//
//	F e + H h = W d   [N, mm]
//
// with e the load's overhang beyond the side, d the distance of the centre of
// mass inside it, W the weight, and H a horizontal force at the height h of
// the load (statics; by the method of ISO 7172:1988 the load stands a fixed
// distance in from the edge).
func tips(support geom.Polygon, center geom.Vec2, weight float64, rim geom.Polygon, height float64, l load) []Tip {
	var out []Tip
	for i, a := range support {
		edge := [2]geom.Vec2{a, support[(i+1)%len(support)]}
		away := edge[1].Sub(a).Unit().Right()
		far := math.Inf(-1)
		var at geom.Vec2
		for _, p := range rim {
			if e := away.Dot(p.Sub(a)); e > far {
				far, at = e, p
			}
		}
		in := at.Sub(away.Scale(l.inset))
		t := Tip{Edge: edge, Overhang: far - l.inset, Load: geom.V3(in.X, in.Y, height), Force: math.Inf(1)}
		switch hold := weight*inside(edge, center) - l.sideways*height; {
		case t.Overhang > 0:
			t.Force = max(0, hold/t.Overhang)
		case hold-l.newtons*t.Overhang < 0: // the sideways force alone does it, the load not holding enough
			t.Force = 0
		}
		out = append(out, t)
	}
	return out
}

// inside is how far p lies within a side of a counter-clockwise polygon.
func inside(edge [2]geom.Vec2, p geom.Vec2) float64 {
	return edge[1].Sub(edge[0]).Unit().Right().Dot(edge[0].Sub(p))
}

// tip judges stability by the load that belongs to the piece's use.
func (r *Result) tip(in Inputs) {
	l, ok := stabilityLoads[in.Piece.Use]
	if !ok {
		return
	}
	var feet, top []geom.Vec2
	zTop := math.Inf(-1)
	for _, s := range in.Cores.Segments {
		zTop = max(zTop, s.Bounds.Max.Z)
	}
	const floor, skin = 1.0, 1.0 // mm: points this near the floor or the highest surface count
	for _, s := range in.Cores.Segments {
		for _, v := range s.Mesh.Vertices {
			if v.Z < floor {
				feet = append(feet, v.XY())
			}
			if v.Z > zTop-skin {
				top = append(top, v.XY())
			}
		}
	}
	r.Support = hull(feet)
	if len(r.Support) < 3 {
		r.note(finding.Stop, "no-support", "piece", "The piece does not stand: fewer than three points reach the floor at Z = 0.",
			"Move its members so that the feet stand at Z = 0; or give its use as shelf or other if it hangs.", "geometry")
		return
	}
	weight := r.Mass / 1000 * gravity
	r.Tips = tips(r.Support, r.Center.XY(), weight, hull(top), zTop, l)
	for i, t := range r.Tips {
		if d := inside(t.Edge, r.Center.XY()); d <= 0 {
			r.note(finding.Stop, "falls-over", "piece", fmt.Sprintf("The piece falls over by itself: its centre of mass lies %.0f mm outside side %d of its feet.", -d, i+1),
				"Set the feet wider, or move weight inward.", "statics")
		}
	}
	worst := slices.MinFunc(r.Tips, func(a, b Tip) int { return cmp.Compare(a.Force, b.Force) })
	switch {
	case math.IsInf(worst.Force, 1):
		r.note(finding.Note, "stability", "piece", fmt.Sprintf("No load pressed down %.0f mm or more in from the edge of the top can tip the piece: it falls inside the feet.", l.inset), "", l.source)
	case worst.Force < l.newtons:
		r.note(finding.Warning, "stability", "piece", fmt.Sprintf(
			"A load of %.0f N (%.0f kg) at the edge of the top tips the piece; the test it is compared with, by analogy, is %s. The load overhangs the feet by %.0f mm and the piece weighs %.1f kg.",
			worst.Force, worst.Force/gravity, l.what, worst.Overhang, r.Mass/1000),
			fmt.Sprintf("Set the feet %.0f mm further out on that side; or make the top smaller; or put ballast low in the piece.", math.Ceil(wider(worst, weight, r.Center.XY(), l))), l.source)
	default:
		r.note(finding.Note, "stability", "piece", fmt.Sprintf("It takes %.0f N at the edge of the top to tip the piece (compared with %s).", worst.Force, l.what), "", l.source)
	}
}

// wider is how far one side of the support must move out so that the load no
// longer tips the piece: F (e − x) = W (d + x), the weight kept the same.
func wider(t Tip, weight float64, center geom.Vec2, l load) float64 {
	return max(0, (l.newtons*t.Overhang+l.sideways*t.Load.Z-weight*inside(t.Edge, center))/(l.newtons+weight))
}

// hull is the convex hull of points, counter-clockwise (Andrew's monotone
// chain), without points on its sides.
func hull(pts []geom.Vec2) geom.Polygon {
	pts = slices.Clone(pts)
	slices.SortFunc(pts, func(a, b geom.Vec2) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
	pts = slices.Compact(pts)
	if len(pts) < 3 {
		return geom.Polygon(pts)
	}
	half := func(pts []geom.Vec2) []geom.Vec2 {
		var h []geom.Vec2
		for _, p := range pts {
			for len(h) >= 2 && h[len(h)-1].Sub(h[len(h)-2]).Cross(p.Sub(h[len(h)-1])) <= 1e-9 {
				h = h[:len(h)-1]
			}
			h = append(h, p)
		}
		return h[:len(h)-1]
	}
	lower := half(pts)
	slices.Reverse(pts)
	return append(geom.Polygon(lower), half(pts)...)
}

// Temperatures that furniture meets.
const (
	carDash  = 69 // °C after an hour in the sun (Temperature 5, 2018, parked vehicle study)
	carAir   = 68 // °C, mean of clear summer days (Int. J. Biometeorology 2009, Grundstein et al.)
	heatRoom = 15 // K to keep below the temperature of deflection: common practice, no source
)

func (r *Result) heat(in Inputs) {
	for _, id := range filaments(in) {
		f, ok := in.Shop.Filament(id)
		if !ok || f.HDT == 0 {
			continue
		}
		margin := f.HDT - carDash
		switch {
		case margin < 0:
			r.note(finding.Warning, "heat", id, fmt.Sprintf("Parts of %s soften at %.0f °C; a closed car in the sun reaches %d °C and they would sag on the way to a buyer.", id, f.HDT, carDash),
				"Print in ABS, ASA or PC; or never leave the piece in a parked car, by a stove or in a sunny window.", "parked vehicle study, Temperature 5 (2018); HDT of the shop file")
		case margin < heatRoom:
			r.note(finding.Warning, "heat", id, fmt.Sprintf("Parts of %s soften at %.0f °C, only %.0f K above what a closed car in the sun reaches (%d °C).", id, f.HDT, margin, carDash),
				"Print in ABS, ASA or PC; or carry the piece in shade and unloaded.", "parked vehicle study, Temperature 5 (2018); HDT of the shop file")
		default:
			r.note(finding.Note, "heat", id, fmt.Sprintf("Parts of %s soften at %.0f °C, %.0f K above a closed car in the sun (%d °C).", id, f.HDT, margin, carDash), "", "parked vehicle study, Temperature 5 (2018); HDT of the shop file")
		}
	}
	seen := map[string]bool{}
	for _, p := range in.Patterns {
		if seen[p.Veneer] {
			continue
		}
		seen[p.Veneer] = true
		if v, ok := in.Shop.Veneer(p.Veneer); ok && v.ServiceTemperature > 0 && v.ServiceTemperature < carDash {
			r.note(finding.Warning, "adhesive-heat", p.Veneer, fmt.Sprintf("The adhesive of %s is rated to %.0f °C; a closed car in the sun reaches %d °C.", p.Veneer, v.ServiceTemperature, carDash),
				"Ask for an adhesive with a higher service temperature; or keep the piece out of parked cars.", "data sheet value in the shop file")
		}
	}
}

func filaments(in Inputs) []string {
	var ids []string
	for _, l := range in.Printing.Loads {
		ids = append(ids, l.Filament)
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}

// woodAlong is the expansion of wood along the grain, 1e-6/K (3 to 4.5 for
// most species, USDA Wood Handbook ch. 4, from memory).
const woodAlong = 4.0

// mismatch compares how a core and the veneer round it grow by 40 K.
func (r *Result) mismatch(in Inputs) {
	const rise = 40.0
	for _, b := range in.Layout.Bands {
		m := in.Layout.Cores[b.Member]
		id := m.Filament
		if id == "" {
			id = in.Piece.Filament
		}
		f, ok := in.Shop.Filament(id)
		if !ok {
			continue
		}
		length := b.To - b.From
		grow := length * rise * (f.Expansion - woodAlong) * 1e-6
		if grow < 1.5 {
			continue
		}
		r.note(finding.Warning, "thermal-mismatch", b.ID, fmt.Sprintf(
			"Warmed by %.0f K the core under %s grows %.1f mm more than its band of %.0f mm; wood along the grain hardly moves.", rise, b.ID, grow, length),
			"Leave laps free to slide until the adhesive has set; keep the piece out of the sun; or print in a filled filament that expands less.",
			"expansion of the filament in the shop file; wood along the grain from memory of the USDA Wood Handbook ch. 4")
	}
}

// shrinkage says what is unknown while a filament's shrinkage has not been
// measured: prints of unfilled plastics commonly come out 0.4 to 0.7 % small.
func (r *Result) shrinkage(in Inputs) {
	var longest float64
	for _, b := range in.Layout.Bands {
		longest = max(longest, b.To-b.From)
	}
	for _, id := range filaments(in) {
		if f, ok := in.Shop.Filament(id); ok && f.Shrink == (geom.Vec3{}) && longest > 0 {
			r.note(finding.Warning, "shrinkage-unmeasured", id, fmt.Sprintf(
				"The shop file gives no shrinkage for %s. At a common 0.4 to 0.7 %% a run of %.0f mm comes out %.0f to %.0f mm short, and its band would be that much too long.",
				id, longest, longest*0.004, longest*0.007),
				"Print a bar, measure it along each axis and enter the shrinkage; and measure the true perimeter of glued-up cores before cutting the bands that wait for it.",
				"common practice, no source")
		}
	}
}

func (r *Result) lift(in Inputs) {
	limit := in.Shop.LiftLimit
	if limit > 0 && r.Mass > limit {
		r.note(finding.Warning, "lifting", "piece", fmt.Sprintf("The piece weighs %.1f kg, more than one person should lift (%.0f kg).", r.Mass/1000, limit/1000),
			"Carry it by two; pack it in two boxes.", "NIOSH lifting equation, load constant 23 kg")
	}
}

// fingers finds open holes that a finger can be caught in.
func (r *Result) fingers(in Inputs) {
	plugged := map[string]bool{}
	for _, j := range in.Joints.Joints {
		for _, s := range j.Screws {
			if s.Plug != "" {
				plugged[j.ID] = true
			}
		}
	}
	for _, b := range in.Joints.Bores() {
		if b.Shows && !plugged[b.Of] && b.Diameter >= 7 && b.Diameter <= 12 && b.Depth >= 10 {
			r.note(finding.Warning, "finger-hole", b.ID, fmt.Sprintf("The open bore %s, %.1f mm wide and %.0f mm deep, can catch a finger (7 to 12 mm and 10 mm deep are not allowed where hands reach).", b.ID, b.Diameter, b.Depth),
				"Cover it with a plug; or turn the screw to come from a hidden side.", "EN 12520 / EN 12521 on accessible holes, from a secondary source")
		}
	}
}
