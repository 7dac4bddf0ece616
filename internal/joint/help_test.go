package joint

import (
	"context"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

var kernel *solid.Kernel

func TestMain(m *testing.M) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	kernel = k
	code := m.Run()
	k.Close()
	os.Exit(code)
}

// bench is a shop with ordinary hardware: stock lengths of ISO 4762 screws,
// inserts from the middle of the ranges that makers offer, DIN 68150 dowels
// and short printed ones.
func bench() *shop.Shop {
	return &shop.Shop{
		Name: "test bench",
		Printers: []shop.Printer{{ID: "p", Build: geom.V3(250, 250, 250), Nozzle: 0.4,
			Profile: shop.Profile{Layer: 0.2, Line: 0.45, Contours: 2}}},
		Screws: []shop.Screw{
			{Size: "M4", Lengths: []float64{12, 16, 20, 25, 30, 35, 40, 45, 50}, Washer: true},
			{Size: "M5", Lengths: []float64{16, 20, 25, 30, 35, 40, 45, 50, 60}, Washer: true},
			{Size: "M6", Lengths: []float64{16, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80}, Washer: true},
			{Size: "M8", Lengths: []float64{20, 25, 30, 35, 40, 45, 50, 60, 70, 80}, Washer: true},
		},
		Inserts: []shop.Insert{
			{Size: "M4", Hole: 5.6, Outer: 5.9, Length: 8.1, Melt: 0.8, MinWall: 2.1},
			{Size: "M5", Hole: 6.4, Outer: 6.7, Length: 9.5, Melt: 0.8, MinWall: 2.6},
			{Size: "M6", Hole: 8.0, Outer: 8.3, Length: 12.7, Melt: 1, MinWall: 3.3},
			{Size: "M8", Hole: 10.0, Outer: 10.3, Length: 12.7, Melt: 1, MinWall: 4.5},
		},
		Dowels: []shop.Dowel{
			{Diameter: 4, Length: 16, Printed: true}, {Diameter: 5, Length: 20, Printed: true}, {Diameter: 6, Length: 20, Printed: true},
			{Diameter: 6, Length: 30}, {Diameter: 8, Length: 25, Printed: true}, {Diameter: 8, Length: 35}, {Diameter: 8, Length: 40}, {Diameter: 10, Length: 40},
		},
		Veneers: []shop.Veneer{{ID: "oak", Face: 0.5, Backing: 0.2, Adhesive: 0.1}},
		Fits:    shop.Fits{Hole: 0.15, GluedDowel: 0.2, LooseDowel: 0.3, Plug: 0.2},
	}
}

func polyline(closed bool, pts ...geom.Vec2) geom.Path {
	p := geom.Path{Closed: closed}
	for i := 0; i+1 < len(pts); i++ {
		p.Segs = append(p.Segs, geom.LineTo(pts[i], pts[i+1]))
	}
	if closed {
		p.Segs = append(p.Segs, geom.LineTo(pts[len(pts)-1], pts[0]))
	}
	return p
}

// block is a board w x d x h whose outline lies in X and Y, centred at c.
func block(id string, w, d, h float64, c geom.Vec3) piece.Member {
	fr := geom.World()
	fr.Origin = c.Sub(geom.V3(0, 0, h/2))
	return board(id, h, fr, geom.V2(-w/2, -d/2), geom.V2(w/2, -d/2), geom.V2(w/2, d/2), geom.V2(-w/2, d/2))
}

func board(id string, thick float64, place geom.Frame, pts ...geom.Vec2) piece.Member {
	name := id
	if i := strings.LastIndexByte(id, '-'); i > 0 && len(id) == i+2 {
		name = id[:i]
	}
	return piece.Member{ID: id, Name: name, Place: place, Board: &piece.Board{
		Outline: piece.NewOutline(polyline(true, pts...), piece.BreakAngle), Thickness: thick}}
}

func turning(id string, place geom.Frame, pts ...geom.Vec2) piece.Member {
	m := board(id, 1, place, geom.V2(0, 0), geom.V2(1, 0), geom.V2(0, 1))
	t := piece.NewTurning(polyline(false, pts...), piece.BreakAngle)
	m.Board, m.Turning = nil, &t
	return m
}

// along is a frame at o whose Z is z and whose X is x.
func frame(o, x, z geom.Vec3) geom.Frame { return geom.FrameFromXZ(o, x, z) }

func knock(a, b string) piece.JointRule {
	return piece.JointRule{Between: [2]string{a, b}, Kind: piece.KnockDown, Dowels: -1}
}

func glued(a, b string) piece.JointRule {
	return piece.JointRule{Between: [2]string{a, b}, Kind: piece.Glued, Dowels: -1}
}

// table is a side table: four square legs, four rails between them flush with
// nothing, a top on both. Legs 40, rails 20 x 80, top 20.
func table() *piece.Piece {
	const w, d, h, leg = 460.0, 360.0, 500.0, 40.0
	p := &piece.Piece{Name: "table", Sizes: piece.CoreSize, Use: piece.Table, File: "table.yaml"}
	p.Members = append(p.Members, block("top", w, d, 20, geom.V3(0, 0, h-10)))
	i := 0
	for _, x := range []float64{-1, 1} {
		for _, y := range []float64{-1, 1} {
			i++
			p.Members = append(p.Members, block(fmt.Sprintf("leg-%d", i), leg, leg, h-20, geom.V3(x*(w/2-40), y*(d/2-40), (h-20)/2)))
		}
	}
	lx, ly := w-80-leg, d-80-leg // clear between legs
	for i, y := range []float64{-1, 1} {
		p.Members = append(p.Members, block(fmt.Sprintf("rail-%d", i+1), lx, 20, 80, geom.V3(0, y*(d/2-40), h-20-40)))
	}
	for i, x := range []float64{-1, 1} {
		p.Members = append(p.Members, block(fmt.Sprintf("end-rail-%d", i+1), 20, ly, 80, geom.V3(x*(w/2-40), 0, h-20-40)))
	}
	for i := range p.Members {
		p.Members[i].Name = strings.TrimRight(p.Members[i].Name, "-0123456789")
	}
	p.Joints = []piece.JointRule{knock("leg", "rail"), knock("leg", "end-rail"), knock("top", "rail"), knock("top", "end-rail")}
	return p
}

func place(t testing.TB, p *piece.Piece, s *shop.Shop) *Result {
	t.Helper()
	r, err := Place(context.Background(), kernel, p, s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range Verify(p, r, s) {
		t.Errorf("verify: %v", f)
	}
	return r
}

func stops(r *Result) (out []finding.Finding) {
	for _, f := range r.Findings {
		if f.Severity == finding.Stop {
			out = append(out, f)
		}
	}
	return out
}

func coded(r *Result, code string) (out []finding.Finding) {
	for _, f := range r.Findings {
		if f.Code == code {
			out = append(out, f)
		}
	}
	return out
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }
