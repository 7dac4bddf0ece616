package seam

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"

	"pgregory.net/rapid"
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

// inBox fits what lies within a box square to the world as it stands.
func inBox(size geom.Vec3) func(Body) Fitter {
	return func(Body) Fitter { return boxFitter(size) }
}

func boxFitter(size geom.Vec3) Fitter {
	return func(pts []geom.Vec3) (geom.Frame, geom.Vec3, bool) {
		b := geom.EmptyBox3()
		for _, p := range pts {
			b = b.Add(p)
		}
		s := b.Size()
		return geom.World(), s, s.X <= size.X && s.Y <= size.Y && s.Z <= size.Z
	}
}

func board(id string, outline geom.Path, thick float64, place geom.Frame) piece.Member {
	return piece.Member{ID: id, Name: id, Place: place, Board: &piece.Board{Outline: piece.NewOutline(outline, piece.BreakAngle), Thickness: thick}}
}

func rectangle(w, h float64) geom.Path {
	c := []geom.Vec2{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h}, {X: 0, Y: h}}
	p := geom.Path{Closed: true}
	for i := range c {
		p.Segs = append(p.Segs, geom.LineTo(c[i], c[(i+1)%4]))
	}
	return p
}

func ellipse(w, h float64) geom.Path {
	return geom.Path{Closed: true, Segs: []geom.Seg{geom.ArcOf(geom.Vec2{}, w/2, h/2, 0, 0, 2*math.Pi)}}
}

var ordinary = &shop.Shop{Dowels: []shop.Dowel{{Diameter: 6, Length: 30}, {Diameter: 8, Length: 40}, {Diameter: 4, Length: 20, Printed: true}}}

func TestPlan(t *testing.T) {
	k := kernel(t)
	bed := geom.V3(210, 210, 240)
	for _, tt := range []struct {
		name     string
		member   piece.Member
		bores    []joint.Bore
		clears   []veneer.Clear
		segments int
	}{
		{name: "fits whole", member: board("a", rectangle(200, 60), 20, geom.World()), segments: 1},
		{name: "one seam", member: board("a", rectangle(400, 60), 20, geom.World()), segments: 2},
		{name: "three lengths", member: board("a", rectangle(620, 60), 20, geom.World()), segments: 3},
		{name: "oval top", member: board("a", ellipse(460, 340), 20, geom.World()), segments: 5},
		{name: "bore where the seam would lie", member: board("a", rectangle(400, 60), 20, geom.World()), segments: 2,
			bores: []joint.Bore{{ID: "b", Purpose: joint.DowelBore, Mouth: geom.V3(200, 0, 10), Axis: geom.V3(0, 1, 0), Diameter: 8, Depth: 20}}},
		{name: "lap where the seam would lie", member: board("a", rectangle(400, 60), 20, geom.World()), segments: 2 + 1, // 30 mm off the middle leaves a part too long
			clears: []veneer.Clear{{Line: []geom.Vec3{{X: 200, Y: 0, Z: 0}, {X: 200, Y: 0, Z: 20}}, Distance: 30}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := Plan(context.Background(), k, Inputs{Cores: []piece.Member{tt.member}, Bores: tt.bores, Clears: tt.clears, Shop: ordinary, Fits: inBox(bed)}, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Segments) != tt.segments {
				t.Errorf("%d segments, want %d", len(r.Segments), tt.segments)
			}
			verify(t, r, tt.bores, tt.clears)
		})
	}
}

// verify checks what must hold for any plan without a Stop finding.
func verify(t testing.TB, r *Result, bores []joint.Bore, clears []veneer.Clear) {
	t.Helper()
	for _, f := range r.Findings {
		if f.Severity == finding.Stop {
			t.Errorf("finding: %v", f)
		}
	}
	all := slices.Clone(bores)
	for _, s := range r.Seams {
		all = append(all, s.Bores...)
	}
	for _, s := range r.Seams {
		if len(s.Dowels) < 2 {
			t.Errorf("%s: %d dowels", s.ID, len(s.Dowels))
		}
		for _, b := range bores {
			end := b.Mouth.Add(b.Axis.Scale(b.Depth))
			if d, e := s.Plane.Distance(b.Mouth), s.Plane.Distance(end); d*e <= 0 || min(math.Abs(d), math.Abs(e)) < b.Diameter/2 && math.Abs(s.Plane.Normal.Dot(b.Axis)) < 0.1 {
				t.Errorf("%s cuts bore %s", s.ID, b.ID)
			}
		}
		for _, c := range clears {
			for _, p := range c.Line {
				if d := math.Abs(s.Plane.Distance(p)); d < c.Distance {
					t.Errorf("%s lies %.1f mm from a joint in the veneer", s.ID, d)
				}
			}
		}
		for _, d := range s.Dowels {
			l := s.Frame.Local(d.Center)
			if !s.Section.Contains(l.XY()) || s.Section.Distance(l.XY()) < d.Diameter/2+2.4-1e-6 {
				t.Errorf("%s: a dowel's wall is thin", s.ID)
			}
		}
	}
	for i, a := range all {
		for _, b := range all[:i] {
			if a.Of == b.Of && a.Mouth == b.Mouth { // the two halves of one dowel
				continue
			}
			if d := segmentsApart(a.Mouth, a.Mouth.Add(a.Axis.Scale(a.Depth)), b.Mouth, b.Mouth.Add(b.Axis.Scale(b.Depth))); d < (a.Diameter+b.Diameter)/2+2 {
				t.Errorf("bores %s and %s are %.2f mm apart", a.ID, b.ID, d-(a.Diameter+b.Diameter)/2)
			}
		}
	}
}

func TestTooLargeForAnySeams(t *testing.T) {
	k := kernel(t)
	r, err := Plan(context.Background(), k, Inputs{
		Cores: []piece.Member{board("slab", rectangle(400, 60), 20, geom.World())}, Shop: ordinary, Fits: inBox(geom.V3(500, 500, 10)),
	}, Options{MaxSegments: 8})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Findings) == 0 || r.Findings[0].Severity != finding.Stop || r.Findings[0].Subject != "slab" || r.Findings[0].Remedy == "" {
		t.Errorf("findings %v, want a stop that names the slab and a remedy", r.Findings)
	}
}

// Turning and moving the member turns and moves its seams: with a fitter that
// looks at the member's own axes, counts stay the same.
func TestRigidMotion(t *testing.T) {
	k := kernel(t)
	rapid.Check(t, func(t *rapid.T) {
		ang := rapid.Float64Range(0, 2*math.Pi).Draw(t, "angle")
		w := rapid.Float64Range(250, 900).Draw(t, "width")
		place := geom.FrameFromXZ(geom.V3(rapid.Float64Range(-100, 100).Draw(t, "x"), 3, -7), geom.V3(math.Cos(ang), math.Sin(ang), 0.3), geom.V3(0.1, 0.2, 1))
		own := Fitter(func(pts []geom.Vec3) (geom.Frame, geom.Vec3, bool) {
			var local []geom.Vec3
			for _, p := range pts {
				local = append(local, place.Local(p))
			}
			return boxFitter(geom.V3(210, 210, 240))(local)
		})
		r, err := Plan(context.Background(), k, Inputs{Cores: []piece.Member{board("a", rectangle(w, 70), 20, place)}, Shop: ordinary, Fits: func(Body) Fitter { return own }}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if want := int(math.Ceil(w / 210)); len(r.Segments) != want {
			t.Fatalf("%d segments, want %d", len(r.Segments), want)
		}
		for _, s := range r.Seams {
			if len(s.Dowels) < 2 {
				t.Fatalf("%s has %d dowels", s.ID, len(s.Dowels))
			}
		}
	})
}

func TestDowelKinds(t *testing.T) {
	var got []string
	for _, d := range dowelKinds(ordinary.Dowels, 17.4) {
		got = append(got, fmt.Sprint(d.Diameter))
	}
	// 17.4/3 = 5.8 and 17.4/2 = 8.7: 8 and 6 are within; 0.42 of 17.4 is 7.3, nearest to 8.
	if want := []string{"8", "6", "4"}; !slices.Equal(got, want) {
		t.Errorf("order %v, want %v", got, want)
	}
}

func TestSegmentsApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := func(n string) geom.Vec3 {
			f := rapid.Float64Range(-50, 50)
			return geom.V3(f.Draw(t, n+"x"), f.Draw(t, n+"y"), f.Draw(t, n+"z"))
		}
		a, b, c, d := v("a"), v("b"), v("c"), v("d")
		got := segmentsApart(a, b, c, d)
		least := math.Inf(1)
		const n = 60
		for i := range n + 1 {
			for j := range n + 1 {
				least = min(least, a.Lerp(b, float64(i)/n).Dist(c.Lerp(d, float64(j)/n)))
			}
		}
		step := (a.Dist(b) + c.Dist(d)) / n
		if got > least+1e-9 || got < least-step {
			t.Fatalf("%.4f, sampled %.4f", got, least)
		}
	})
}

func TestLetters(t *testing.T) {
	for i, want := range map[int]string{0: "a", 25: "z", 26: "aa", 27: "ab", 52: "ba"} {
		if got := letter(i); got != want {
			t.Errorf("letter(%d) = %s, want %s", i, got, want)
		}
	}
}
