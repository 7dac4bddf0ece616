package check

import (
	"math"
	"testing"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
)

// prism is a roof: a rectangle of 200 by 100 mm on the floor, its ridge 50 mm up.
func prism() core.Segment {
	m := &solid.Mesh{
		Vertices:  []geom.Vec3{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 200, Y: 100}, {X: 0, Y: 100}, {X: 0, Y: 50, Z: 50}, {X: 200, Y: 50, Z: 50}},
		Triangles: [][3]int32{{0, 2, 1}, {0, 3, 2}, {0, 1, 5}, {0, 5, 4}, {2, 3, 4}, {2, 4, 5}, {0, 4, 3}, {1, 2, 5}},
	}
	b := geom.EmptyBox3()
	for _, v := range m.Vertices {
		b = b.Add(v)
	}
	return core.Segment{ID: "roof", Mesh: m, Bounds: b}
}

// A triangular prism's centroid is a third of its height up (geometry).
func TestCentroid(t *testing.T) {
	if c := centroid(prism()); c.Dist(geom.V3(100, 50, 50.0/3)) > 1e-9 {
		t.Errorf("centroid %v", c)
	}
}

// Without a level surface the outline of what faces up in the highest tenth counts;
// slopes that reach farther down are no top.
func TestUppermost(t *testing.T) {
	s := prism()
	for i := range s.Mesh.Vertices { // as a hump: both slopes at 5°
		s.Mesh.Vertices[i].Z *= 0.0875
	}
	s.Bounds.Max.Z *= 0.0875
	if r, ok := uppermost([]core.Segment{s}); ok {
		t.Errorf("slopes reach down to the floor and are no top: %v", r.Region)
	}
	for i := range s.Mesh.Vertices[:4] {
		s.Mesh.Vertices[i].Z = 4.2 // nearly as high as the ridge
	}
	r, ok := uppermost([]core.Segment{s})
	if !ok || math.Abs(r.Region.Area()-200*100) > 1e-6 || r.Height != s.Bounds.Max.Z {
		t.Errorf("top %v", r)
	}
}

// Slats lying flush are one top from end to end; a rail below, narrower than what
// one would press on, is none; what another member covers is none either.
func TestRims(t *testing.T) {
	board := func(id string, x, y, z, length, width float64) piece.Member {
		rect := geom.Path{Closed: true}
		corners := []geom.Vec2{{X: -length / 2, Y: -width / 2}, {X: length / 2, Y: -width / 2}, {X: length / 2, Y: width / 2}, {X: -length / 2, Y: width / 2}}
		for i, c := range corners {
			rect.Segs = append(rect.Segs, geom.LineTo(c, corners[(i+1)%4]))
		}
		f := geom.World()
		f.Origin = geom.V3(x, y, z)
		return piece.Member{ID: id, Name: id, Place: f, Board: &piece.Board{Outline: piece.Outline{Path: rect, Run: []int{0, 1, 2, 3}}, Thickness: 20}}
	}
	in := Inputs{
		Piece: &piece.Piece{}, Joints: &joint.Result{}, Cores: &core.Result{}, Printing: &printing.Result{},
		Layout: &veneer.Layout{Cores: []piece.Member{
			board("slat-1", 0, -60, 400, 500, 50), board("slat-2", 0, 0, 400, 500, 50), board("slat-3", 0, 60, 400, 500, 50),
			board("rail", 0, 0, 300, 500, 40), board("shelf", 0, 0, 100, 400, 200),
		}},
	}
	got := rims(in)
	if len(got) != 2 || got[0].Name != "slat-1 to slat-3" || got[1].Name != "shelf" {
		t.Fatalf("rims %+v", got)
	}
	if got[0].Height != 420 || math.Abs(got[0].Region.Area()-500*170) > 1e-6 || got[1].Height != 120 {
		t.Errorf("rims %+v", got)
	}
	box := geom.EmptyBox2()
	for _, p := range got[0].Places(50) {
		box = box.Add(p)
	}
	if box.Min.Dist(geom.V2(-200, -35)) > 1e-6 || box.Max.Dist(geom.V2(200, 35)) > 1e-6 {
		t.Errorf("loads stand within %v", box)
	}
	in.Joints.Contacts = []joint.Contact{{A: joint.Side{Member: 4, Surface: 1, Covered: 0.8}, B: joint.Side{Member: 0, Surface: 0, Covered: 1}}}
	if got := rims(in); len(got) != 1 {
		t.Errorf("a covered shelf counts: %+v", got)
	}
	// With veneer the edge and the surface stand out.
	for _, m := range in.Layout.Cores {
		covs := make([]veneer.Covering, len(m.Surfaces(1)))
		for i := range covs {
			covs[i].Stack = 0.8
		}
		in.Layout.Coverings = append(in.Layout.Coverings, covs)
	}
	if got := rims(in); got[0].Grown != 0.8 || math.Abs(got[0].Height-420.8) > 1e-9 {
		t.Errorf("veneered: %+v", got)
	}
}

// Two blocks of unlike mass: the centre lies on the line between theirs by the
// rule of the lever; hardware hangs at the screws.
func TestMasses(t *testing.T) {
	a, b := prism(), prism()
	b.ID = "other"
	b.Mesh.Vertices = append([]geom.Vec3(nil), b.Mesh.Vertices...)
	for i := range b.Mesh.Vertices {
		b.Mesh.Vertices[i].X += 400
	}
	in := Inputs{
		Layout: &veneer.Layout{}, Joints: &joint.Result{}, Cores: &core.Result{Segments: []core.Segment{a, b}},
		Printing: &printing.Result{Prints: []printing.Print{{Segment: "roof", Grams: 300}, {Segment: "other", Grams: 100}}},
	}
	m, c := masses(in)
	if m != 400 || c.Dist(geom.V3(200, 50, 50.0/3)) > 1e-9 {
		t.Errorf("%.1f g at %v", m, c)
	}
	in.Extra = 40 // nothing to hang it on: spread
	if m, c := masses(in); m != 440 || c.Dist(geom.V3(200, 50, 50.0/3)) > 1e-9 {
		t.Errorf("%.1f g at %v", m, c)
	}
	in.Joints.Joints = []joint.Joint{{Screws: []joint.Screw{{Size: "M6", Length: 20, Head: geom.V3(0, 0, 100), Axis: geom.V3(0, 0, -1)}}}}
	want := geom.V3(200, 50, 50.0/3).Scale(400).Add(geom.V3(0, 0, 90).Scale(40)).Scale(1.0 / 440)
	if m, c := masses(in); m != 440 || c.Dist(want) > 1e-9 {
		t.Errorf("%.1f g at %v, want %v", m, c, want)
	}
}
