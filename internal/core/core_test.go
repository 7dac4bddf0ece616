package core

import (
	"context"
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

func kernel(t testing.TB) *solid.Kernel {
	t.Helper()
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { k.Close() })
	return k
}

func rectangle(w, h float64) geom.Path {
	c := []geom.Vec2{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h}, {X: 0, Y: h}}
	p := geom.Path{Closed: true}
	for i := range c {
		p.Segs = append(p.Segs, geom.LineTo(c[i], c[(i+1)%4]))
	}
	return p
}

func member(id string, o geom.Path, thick float64) piece.Member {
	return piece.Member{ID: id, Name: id, Place: geom.World(), Board: &piece.Board{Outline: piece.NewOutline(o, piece.BreakAngle), Thickness: thick}}
}

func plan(t testing.TB, k *solid.Kernel, in seam.Inputs) *seam.Result {
	t.Helper()
	in.Shop = &shop.Shop{Dowels: []shop.Dowel{{Diameter: 6, Length: 30}, {Diameter: 8, Length: 40}}}
	fits := func(pts []geom.Vec3) (geom.Frame, geom.Vec3, bool) {
		b := geom.EmptyBox3()
		for _, p := range pts {
			b = b.Add(p)
		}
		s := b.Size()
		return geom.World(), s, s.X <= 210 && s.Y <= 210 && s.Z <= 240
	}
	in.Fits = func(seam.Body) seam.Fitter { return fits }
	r, err := seam.Plan(context.Background(), k, in, seam.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// A board 600 x 80 x 20 with four bores of 8 mm, 18 mm deep into its long edge:
// its volume is the closed form of the box less the bores' circumscribed
// polygons, less dowel bores and part numbers; and its segments sum to it.
func TestSegmentsSumToTheBodyLessItsCuts(t *testing.T) {
	k := kernel(t)
	m := member("shelf", rectangle(600, 80), 20)
	var bores []joint.Bore
	for _, x := range []float64{40, 150, 450, 560} {
		bores = append(bores, joint.Bore{ID: "b", Purpose: joint.DowelBore, Mouth: geom.V3(x, 0, 10), Axis: geom.V3(0, 1, 0), Diameter: 8, Depth: 18, Surface: 2})
	}
	seams := plan(t, k, seam.Inputs{Cores: []piece.Member{m}, Bores: bores})
	in := Inputs{Cores: []piece.Member{m}, Seams: seams, Bores: bores}
	for _, labels := range []bool{false, true} {
		r, err := Build(context.Background(), k, in, Options{Labels: labels, Solids: true})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Segments) != 3 {
			t.Fatalf("%d segments, want 3", len(r.Segments))
		}
		if err := Verify(context.Background(), k, in, r, Options{}, 1e-6); err != nil {
			t.Error(err)
		}
		var sum float64
		for _, s := range r.Segments {
			sum += s.Volume
			if labels && s.Label != s.ID {
				t.Errorf("segment %s carries the part number %q", s.ID, s.Label)
			}
		}
		if math.Abs(r.Bodies[0].Solid-600*80*20) > 1e-3 {
			t.Errorf("solid %.6f mm³, want 960000", r.Bodies[0].Solid)
		}
		if math.Abs(sum-r.Bodies[0].Volume) > 1e-6 {
			t.Errorf("segments sum to %.6f, body says %.6f", sum, r.Bodies[0].Volume)
		}
		if labels {
			continue
		}
		// 4 joint bores and 2 seams x 2 dowels x 2 halves, true cylinders; the facets of
		// a bore lie outside the true circle by at most 0.02 mm.
		var bored float64
		for _, b := range bores {
			bored += math.Pi / 4 * b.Diameter * b.Diameter * b.Depth
		}
		for _, s := range seams.Seams {
			for _, b := range s.Bores {
				d := b.Diameter + b.Fit
				bored += math.Pi / 4 * d * d * b.Depth
			}
		}
		got := r.Bodies[0].Cuts
		if got < bored-1 || got > bored*math.Pow((4+0.02)/4, 2) {
			t.Errorf("cuts take %.1f mm³, true cylinders %.1f", got, bored)
		}
	}
}

// A bore right across a thin board severs it, which must be said.
func TestLooseParts(t *testing.T) {
	k := kernel(t)
	m := member("slip", rectangle(100, 20), 6)
	bores := []joint.Bore{{ID: "b", Mouth: geom.V3(50, -1, 3), Axis: geom.V3(0, 1, 0), Diameter: 8, Depth: 22, Surface: 2}}
	in := Inputs{Cores: []piece.Member{m}, Seams: plan(t, k, seam.Inputs{Cores: []piece.Member{m}}), Bores: bores}
	r, err := Build(context.Background(), k, in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Findings) != 1 || r.Findings[0].Code != "loose-parts" || !strings.Contains(r.Findings[0].Message, "2 loose parts") {
		t.Errorf("findings %v, want one about 2 loose parts", r.Findings)
	}
}

// Two boards printed as one make one body, with one part number.
func TestPrintAsOne(t *testing.T) {
	k := kernel(t)
	a, b := member("hub", rectangle(80, 80), 20), member("boss", rectangle(40, 40), 15)
	b.Place.Origin = geom.V3(20, 20, 20)
	cores := []piece.Member{a, b}
	in := Inputs{Cores: cores, Seams: plan(t, k, seam.Inputs{Cores: cores, Groups: [][]int{{0, 1}}})}
	r, err := Build(context.Background(), k, in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Segments) != 1 || r.Segments[0].ID != "hub+boss" {
		t.Fatalf("segments %v, want one called hub+boss", r.Segments)
	}
	if want := 80.0*80*20 + 40*40*15; math.Abs(r.Segments[0].Volume-want) > 0.01 {
		t.Errorf("volume %.3f, want %.0f", r.Segments[0].Volume, want)
	}
	if n := components(r.Segments[0].Mesh); n != 1 {
		t.Errorf("%d bodies, want 1", n)
	}
}

func BenchmarkBuild(b *testing.B) {
	k := kernel(b)
	m := member("shelf", rectangle(600, 80), 20)
	in := Inputs{Cores: []piece.Member{m}, Seams: plan(b, k, seam.Inputs{Cores: []piece.Member{m}})}
	for b.Loop() {
		if _, err := Build(context.Background(), k, in, Options{Labels: true, Chord: 0.01}); err != nil {
			b.Fatal(err)
		}
	}
}
