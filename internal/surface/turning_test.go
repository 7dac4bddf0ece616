package surface_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

type turningCase struct {
	name    string
	profile geom.Path // (radius, z)
	cuts    []geom.Plane
	segs    int // of the profile that comes back, −1 any
	limit   float64
	wide    float64 // limit at 0.5 mm
}

func profileOf(segs ...geom.Seg) geom.Path { return geom.Path{Segs: segs} }

func turningCases() []turningCase {
	line := func(a, b, c, d float64) geom.Seg { return geom.LineTo(geom.V2(a, b), geom.V2(c, d)) }
	// An arc about a centre outside the leg: hollow, from (30, 0) to (30, 200), 6 mm deep.
	sag := 6.0
	r := (100*100 + sag*sag) / (2 * sag)
	waist := geom.ArcOf(geom.V2(30-sag+r, 100), r, r, 0, math.Pi+math.Asin(100/r), -2*math.Asin(100/r))
	vase := geom.CubicTo(geom.V2(40, 0), geom.V2(55, 60), geom.V2(15, 120), geom.V2(25, 180))
	floor := geom.PlaneAt(geom.V3(0, 0, 40), geom.V3(0.12, 0.05, -1))
	const e = 4e-6
	return []turningCase{
		{"cylinder", profileOf(line(25, 0, 25, 300)), nil, 1, e, e},
		{"cone", profileOf(line(24, 0, 31, 437)), nil, 1, e, e},
		{"waist", profileOf(waist), nil, 1, e, 1e-5},
		{"vase", profileOf(vase), nil, -1, 2e-5, 2e-3},
		{"shoulders", profileOf(line(20, 0, 20, 60), line(20, 60, 32, 60), line(32, 60, 28, 200), line(28, 200, 18, 200), line(18, 200, 18, 250)), nil, 5, e, e},
		{"cone on the floor", profileOf(line(24, 0, 31, 437)), []geom.Plane{floor}, 1, e, e},
		{"cone cut at both ends", profileOf(line(24, 0, 31, 437)), []geom.Plane{floor, geom.PlaneAt(geom.V3(0, 0, 400), geom.V3(0.12, 0, 1))}, 1, e, e},
		{"waist on the floor", profileOf(waist), []geom.Plane{floor}, 1, e, 1e-5},
		{"cylinder with part of its end off", profileOf(line(25, 0, 25, 300)), []geom.Plane{geom.PlaneAt(geom.V3(10, 0, 300), geom.V3(1, 0, 1))}, 1, e, e},
	}
}

func (c turningCase) shape(chord float64) solid.Shape {
	low, high := c.profile.Segs[0].From(), c.profile.Segs[len(c.profile.Segs)-1].To()
	pts := []geom.Vec2{{X: 0, Y: low.Y}}
	tags := []solid.Tag{0}
	widest := 0.0
	for _, q := range c.profile.Flatten(chord) {
		pts = append(pts, q.P)
		tags = append(tags, solid.Tag(2+q.Seg))
		widest = max(widest, q.P.X)
	}
	tags[len(tags)-1] = 1
	pts = append(pts, geom.V2(0, high.Y))
	tags = append(tags, solid.NoTag)
	s := solid.Revolve(pts, tags, solid.Facets(widest, chord, false))
	for i, p := range c.cuts {
		s = s.Below(p, solid.Tag(20+i))
	}
	return s
}

// turnedVolume is π ∫ r² dz of the profile between two heights, by Simpson's
// rule on each segment.
func turnedVolume(p geom.Path, from, to float64) float64 {
	var sum float64
	for _, s := range p.Segs {
		const n = 400
		for k := range n + 1 {
			t := float64(k) / n
			w := float64(2 + 2*(k%2))
			if k == 0 || k == n {
				w = 1
			}
			q := s.At(t)
			if q.Y < from || q.Y > to {
				continue
			}
			sum += w * q.X * q.X * s.Deriv(t).Y / (3 * n)
		}
	}
	return math.Pi * sum
}

func radiusAt(p geom.Path, z float64) float64 {
	for _, s := range p.Segs {
		for _, t := range s.Cross(geom.V2(0, 1), z) {
			return s.At(t).X
		}
	}
	return math.NaN()
}

func TestTurningIsFoundAgain(t *testing.T) {
	for _, c := range turningCases() {
		t.Run(c.name, func(t *testing.T) {
			shapes := map[float64]solid.Shape{}
			for _, chord := range testChords {
				shapes[chord] = c.shape(chord)
			}
			length := endHeight(c.profile)
			var worstV, worstR, worstRes float64
			rapid.Check(t, func(t *rapid.T) {
				chord := rapid.SampledFrom(testChords).Draw(t, "chord")
				limit := c.limit
				if chord == 0.5 {
					limit = c.wide
				}
				f := drawFrame(t)
				s := meshOf(t, shapes[chord], f)
				b, err := s.Turning()
				if err != nil {
					var faces string
					for _, f := range s.Faces {
						faces += " " + string(f.Kind)
					}
					t.Fatalf("%v; faces:%s", err, faces)
				}
				if err := b.Profile.Check(1e-7); err != nil {
					t.Fatal(err)
				}
				if c.segs >= 0 && len(b.Profile.Segs) != c.segs {
					t.Fatalf("profile is%s, want %d segments", describePath(b.Profile), c.segs)
				}
				if len(b.Cuts) != len(c.cuts) {
					t.Fatalf("%d cuts, want %d", len(b.Cuts), len(c.cuts))
				}
				// Where the drawn axis' heights are on the one that was found.
				axis := f.Z
				flip := axis.Dot(b.Frame.Z) < 0
				z0 := b.Frame.Local(f.Origin).Z
				at := func(z float64) float64 {
					if flip {
						return z0 - z
					}
					return z0 + z
				}
				if e := b.Frame.Local(f.Origin).XY().Len(); e > 2e-3 {
					t.Fatalf("axis is %.4f mm off", e)
				}
				from, to := 0.0, length
				if len(c.cuts) > 0 {
					from, to = 60, 380
					if c.name == "waist on the floor" {
						to = 190
					}
					if c.name == "cylinder with part of its end off" {
						from, to = 0, 300
					}
				} else {
					want, got := turnedVolume(c.profile, -1, 1e6), turnedVolume(b.Profile, -1, 1e6)
					e := math.Abs(got/want - 1)
					worstV = max(worstV, e)
					if e > limit {
						t.Fatalf("volume off by %.2g:%s", e, describePath(b.Profile))
					}
				}
				for k := range 21 {
					z := from + (to-from)*(0.01+0.98*float64(k)/20)
					want, got := radiusAt(c.profile, z), radiusAt(b.Profile, at(z))
					e := math.Abs(got/want - 1)
					worstR = max(worstR, e)
					if !(e <= 5*limit) {
						t.Fatalf("radius at %.1f is %.6f, want %.6f:%s", z, got, want, describePath(b.Profile))
					}
				}
				worstRes = max(worstRes, b.Residual)
			})
			t.Logf("volume %.1e, radius %.1e, residual %.1e mm", worstV, worstR, worstRes)
		})
	}
}

func endHeight(p geom.Path) float64 { return p.Segs[len(p.Segs)-1].To().Y }

func TestWhatIsNoTurning(t *testing.T) {
	box := func(x0, y0, z0, x1, y1, z1 float64) solid.Shape {
		return solid.Box(geom.Box3{Min: geom.V3(x0, y0, z0), Max: geom.V3(x1, y1, z1)}, 0)
	}
	cyl := func(r, length float64) solid.Shape {
		return solid.Cylinder(geom.Vec3{}, geom.V3(0, 0, 1), r, length, 0, solid.CylinderOptions{})
	}
	for _, c := range []struct {
		name  string
		shape solid.Shape
		why   string
	}{
		{"square bar", box(0, 0, 0, 40, 40, 300), "no round side"},
		{"disc", cyl(200, 18), "disc"},
		{"tube", solid.Difference(cyl(30, 200), solid.Cylinder(geom.V3(0, 0, -1), geom.V3(0, 0, 1), 20, 202, 0, solid.CylinderOptions{})), "hollow"},
		{"ball", solid.Revolve(ballProfile(100, 60), make([]solid.Tag, 61), 96), "round about"},
		{"rounded board", boardCases()[1].shape(0.1), ""},
		{"cross bore", solid.Difference(cyl(30, 200), solid.Cylinder(geom.V3(-40, 0, 100), geom.V3(1, 0, 0), 8, 80, 0, solid.CylinderOptions{})), ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := meshOf(t, c.shape, geom.World())
			_, err := s.Turning()
			if err == nil || !strings.Contains(err.Error(), c.why) {
				t.Fatalf("error %v; want one that says %q", err, c.why)
			}
			t.Log(err)
		})
	}
}
