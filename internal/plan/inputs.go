package plan

import (
	"io"
	"math"
	"slices"

	"groundwork/internal/bill"
	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/kit"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/schedule"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// filament is what a segment is printed in.
func (pl *Plan) filament(segment int) string {
	return pl.filamentOf(pl.Seams.Bodies[pl.Cores.Segments[segment].Body]).ID
}

// filamentOf is what a body is printed in: its first member's own filament,
// the piece's, or the shop's first. One that the shop does not have is left to
// the printing stage to report.
func (pl *Plan) filamentOf(b seam.Body) shop.Filament {
	id := pl.Piece.Members[b.Members[0]].Filament
	if id == "" {
		id = pl.Piece.Filament
	}
	if id == "" {
		return pl.Shop.Filaments[0]
	}
	if f, ok := pl.Shop.Filament(id); ok {
		return f
	}
	return shop.Filament{ID: id}
}

func seamInputs(pl *Plan) seam.Inputs {
	return seam.Inputs{
		Cores: pl.Layout.Cores, Groups: pl.Piece.PrintAsOne, Cuts: pl.Layout.Cuts,
		Bores: pl.Joints.Bores(), Clears: pl.Layout.Clears, Shop: pl.Shop, Rules: pl.Piece.Seams,
		Stress: pl.pull(), Strength: pl.glue, Covered: pl.covered(),
		Fits: func(b seam.Body) seam.Fitter {
			down := pl.flatFaces(b)
			return pl.fitter(b, func(pts []geom.Vec3, p shop.Printer) (geom.Frame, bool) {
				for i := range down {
					if f, ok := printing.FitsFlat(pts, down[i:i+1], p); ok && steady(f, pts) {
						return f, true
					}
				}
				return geom.Frame{}, false
			})
		},
		Tilted: func(b seam.Body) seam.Fitter { return pl.fitter(b, printing.Fits) },
	}
}

// fitter is the question whether something can be printed whole, asked of each
// printer in turn with room for the body's filament to shrink. pose answers for
// one printer.
func (pl *Plan) fitter(b seam.Body, pose func([]geom.Vec3, shop.Printer) (geom.Frame, bool)) seam.Fitter {
	var room []shop.Printer
	for _, p := range pl.Shop.Printers {
		room = append(room, printing.ForCores(p, pl.filamentOf(b)))
	}
	return func(points []geom.Vec3) (geom.Frame, geom.Vec3, bool) {
		for _, p := range room {
			if f, ok := pose(points, p); ok {
				b := geom.EmptyBox3()
				for _, q := range points {
					b = b.Add(f.Local(q))
				}
				return f, b.Size(), true
			}
		}
		return geom.Frame{}, geom.Vec3{}, false
	}
}

// flatFaces are the directions in which a body has a flat face to lie on:
// surfaces without a pad on them, and the seams across a turning.
func (pl *Plan) flatFaces(b seam.Body) []geom.Vec3 {
	var out []geom.Vec3
	add := func(n geom.Vec3) {
		if !slices.ContainsFunc(out, func(o geom.Vec3) bool { return o.Dist(n) < 1e-6 }) {
			out = append(out, n)
		}
	}
	for _, m := range b.Members {
		core := pl.Layout.Cores[m]
		const chord = 1 // mm; only places and normals are looked at
		for _, s := range core.Surfaces(chord) {
			if s.Kind != piece.Plane || s.Area < 100 {
				continue
			}
			face := geom.PlaneAt(core.Place.Point(s.Point(geom.Vec2{})), core.Place.Dir(s.Normal(geom.Vec2{})))
			if !pl.padded(m, face) {
				add(face.Normal)
			}
		}
		if core.Turning != nil { // seams are square to its axis
			add(core.Place.Z)
			add(core.Place.Z.Neg())
		}
	}
	return out
}

// padded reports whether a pad of the member stands out beyond a plane.
func (pl *Plan) padded(member int, face geom.Plane) bool {
	const proud = 0.05 // mm
	for _, c := range pl.Layout.Cuts {
		if c.Member != member || !c.Add {
			continue
		}
		box := c.Shape.Bounds()
		for i := range 8 {
			corner := box.Min
			if i&1 != 0 {
				corner.X = box.Max.X
			}
			if i&2 != 0 {
				corner.Y = box.Max.Y
			}
			if i&4 != 0 {
				corner.Z = box.Max.Z
			}
			if face.Distance(corner) > proud {
				return true
			}
		}
	}
	return false
}

// slender is how many times as high as its foot is narrow a print may stand
// before it sways under the nozzle; common practice, no source.
const slender = 4

// steady reports whether points stand steadily in a pose: not above slender
// times the least width of their outline on the bed.
func steady(f geom.Frame, points []geom.Vec3) bool {
	var height float64
	for _, p := range points {
		height = max(height, f.Local(p).Z)
	}
	const directions = 24 // over a half turn; the least width is met within 0.2 %
	for i := range directions {
		sin, cos := math.Sincos(math.Pi * float64(i) / directions)
		along := f.X.Scale(cos).Add(f.Y.Scale(sin))
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, p := range points {
			d := along.Dot(p)
			lo, hi = min(lo, d), max(hi, d)
		}
		if height > slender*(hi-lo) {
			return false
		}
	}
	return true
}

// printingOptions adds to the options how a segment is pulled under the loads,
// and on which faces it meets another:
// its seams, and the contacts of its members.
func printingOptions(pl *Plan, o printing.Options) printing.Options {
	if o.Across == nil && pl.field != nil {
		o.Across = func(i int, up geom.Vec3) float64 {
			seg := pl.Seams.Segments[i]
			return pl.field.Across(seg.Body, seg.Planes, up)
		}
	}
	if o.Mating != nil {
		return o
	}
	o.Mating = func(i int) []geom.Plane {
		seg := pl.Seams.Segments[i]
		var out []geom.Plane
		for _, s := range pl.Seams.Seams {
			switch seg.ID {
			case s.Segments[0]:
				out = append(out, s.Plane)
			case s.Segments[1]:
				out = append(out, s.Plane.Flip())
			}
		}
		for _, c := range pl.Joints.Contacts {
			face := geom.PlaneAt(c.Frame.Origin, c.Frame.Z)
			if slices.Contains(pl.Seams.Bodies[seg.Body].Members, c.A.Member) {
				out = append(out, face)
			}
			if slices.Contains(pl.Seams.Bodies[seg.Body].Members, c.B.Member) {
				out = append(out, face.Flip())
			}
		}
		return out
	}
	return o
}

func fixtureInputs(pl *Plan) fixture.Inputs {
	return fixture.Inputs{
		Piece: pl.Piece, Shop: pl.Shop, Joints: pl.Joints, Layout: pl.Layout, Patterns: pl.Patterns, Seams: pl.Seams, Cores: pl.Cores,
		Filament: func(body int) string { return pl.filamentOf(pl.Seams.Bodies[body]).ID },
	}
}

// CouponForm is the form on which is written what the plan's coupons measure.
func (pl *Plan) CouponForm() *shop.Measured { return fixture.CouponForm(fixtureInputs(pl)) }

// fixturePrintingOptions are those of the segments, for the fixtures' parts, some of which
// must be printed as they are drawn.
func fixturePrintingOptions(pl *Plan, o printing.Options) printing.Options {
	upright, fixed := pl.Fixtures.Upright(), pl.Fixtures.Fixed()
	return printing.Options{
		Bridge: o.Bridge, Gap: o.Gap, Pack: o.Pack, Lines: o.Lines, Spent: o.Spent,
		Down: func(i int) (geom.Vec3, bool) { return geom.V3(0, 0, -1), upright(i) || fixed(i) },
	}
}

func billInputs(pl *Plan) bill.Inputs {
	return bill.Inputs{
		Joints: pl.Joints, Seams: pl.Seams, Layout: pl.Layout, Patterns: pl.Patterns,
		Sheets: pl.Sheets, Printing: pl.Printing, Members: len(pl.Piece.Members), Shop: pl.Shop,
		Fixtures: pl.Fixtures, FixturePrinting: pl.FixturePrinting,
	}
}

// Workbook writes the bill as a workbook whose sums go on working.
func (pl *Plan) Workbook(w io.Writer) error {
	return bill.XLSX(w, pl.Piece.Title, pl.Bill, billInputs(pl))
}

// lighter is what there is to say of how fixtures print: less than of the piece,
// which can be made without.
func lighter(fs []finding.Finding) []finding.Finding {
	out := slices.Clone(fs)
	for i := range out {
		switch out[i].Severity {
		case finding.Stop:
			out[i].Severity = finding.Warning
		case finding.Warning:
			out[i].Severity = finding.Note
		}
	}
	return out
}

func scheduleInputs(pl *Plan) schedule.Inputs {
	return schedule.Inputs{
		Piece: pl.Piece, Shop: pl.Shop, Joints: pl.Joints, Layout: pl.Layout, Patterns: pl.Patterns, Seams: pl.Seams, Cores: pl.Cores,
		Sheets: pl.Sheets, Printing: pl.Printing, Bill: pl.Bill, Fixtures: pl.Fixtures, FixturePrinting: pl.FixturePrinting,
	}
}

func kitInputs(pl *Plan) kit.Inputs {
	return kit.Inputs{
		Piece: pl.Piece, Shop: pl.Shop, Joints: pl.Joints, Layout: pl.Layout, Patterns: pl.Patterns, Seams: pl.Seams, Cores: pl.Cores,
		Sheets: pl.Sheets, Printing: pl.Printing, Bill: pl.Bill, Fixtures: pl.Fixtures, FixturePrinting: pl.FixturePrinting,
	}
}

func coreInputs(pl *Plan) core.Inputs {
	return core.Inputs{
		Cores: pl.Layout.Cores, Seams: pl.Seams, Bores: pl.Joints.Bores(), Cuts: pl.Layout.Cuts, Faces: hiddenFaces(pl),
	}
}

// hiddenFaces are where part numbers may go: contacts, seen from both members,
// and flat surfaces left bare.
func hiddenFaces(pl *Plan) []core.Hidden {
	var out []core.Hidden
	for _, c := range pl.Joints.Contacts {
		f := c.Frame
		flipped := geom.Frame{Origin: f.Origin, X: f.X.Neg(), Y: f.Y, Z: f.Z.Neg()}
		out = append(out,
			core.Hidden{Member: c.A.Member, Frame: f, Region: c.Region},
			core.Hidden{Member: c.B.Member, Frame: flipped,
				Region: c.Region.Map(func(p geom.Vec2) geom.Vec2 { return geom.V2(-p.X, p.Y) }).Reversed()})
	}
	const chord = 0.1 // mm; a label needs no finer outline
	for m, printed := range pl.Layout.Cores {
		for i, sf := range printed.Surfaces(chord) {
			if pl.Layout.Coverings[m][i].State != veneer.Bare || sf.Kind != piece.Plane || len(sf.Region) == 0 {
				continue
			}
			out = append(out, core.Hidden{Member: m, Frame: surfaceFrame(sf).In(printed.Place), Region: sf.Region})
		}
	}
	return out
}

// surfaceFrame is a flat surface's chart as a frame in member coordinates.
func surfaceFrame(s piece.Surface) geom.Frame {
	o, x, y := s.Point(geom.V2(0, 0)), s.Point(geom.V2(1, 0)), s.Point(geom.V2(0, 1))
	f := geom.Frame{Origin: o, X: x.Sub(o), Y: y.Sub(o)}
	f.Z = f.X.Cross(f.Y)
	return f
}
