package veneer

import (
	"context"
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/unfold"
)

// cone is a frustum of radii r1 (at z = 0) and r2 and the height h as a
// triangle mesh, from angle from to angle to, its vertices on the cone.
func coneMesh(r1, r2, h, from, to float64, around, along int) (vs []geom.Vec3, ts [][3]int32) {
	full := to-from > 2*math.Pi-1e-9
	columns := around + 1
	if full {
		columns = around
	}
	for i := range columns {
		sn, cs := math.Sincos(from + (to-from)*float64(i)/float64(around))
		for k := range along + 1 {
			f := float64(k) / float64(along)
			r := r1 + (r2-r1)*f
			vs = append(vs, geom.V3(r*cs, r*sn, h*f))
		}
	}
	at := func(i, k int) int32 { return int32((i%columns)*(along+1) + k) }
	for i := range around {
		for k := range along {
			a, b, c, d := at(i, k), at(i+1, k), at(i+1, k+1), at(i, k+1)
			ts = append(ts, [3]int32{a, b, c}, [3]int32{a, c, d})
		}
	}
	return vs, ts
}

// patchSurface is a surface with a patch by itself.
func patchSurface(t testing.TB, kind piece.SurfaceKind, vs []geom.Vec3, ts [][3]int32, o unfold.Options) piece.Surface {
	t.Helper()
	p, d, err := unfold.Flatten(vs, ts, o)
	if err != nil {
		t.Fatal(err)
	}
	return piece.Surface{Name: "cone-1", Kind: kind, Role: piece.Side, Frame: geom.World(), Region: p.Border(), Area: p.Area(), Patch: p, Strain: d}
}

// alone is a member of one surface that is covered.
func alone(sf piece.Surface, v shop.Veneer) *clad {
	c := &clad{core: piece.Member{ID: "leg", Name: "leg", Place: geom.World()}, surfaces: []piece.Surface{sf}, chord: 0.02,
		cover: []Covering{{State: Show, Stack: v.Stack(), Neutral: v.NeutralDepth(), Veneer: v.ID}}, stack: []shop.Veneer{v},
		bare: make([][]geom.Polygons, 1), exact: make([][]bool, 1), rank: []int{0}}
	return c
}

// TestPatchAgainstCone compares the patch of a frustum with its sector: the
// same radii, angle and area over the neutral surface (ConeSector).
func TestPatchAgainstCone(t *testing.T) {
	v := testShop(600, 400).Veneers[0]
	k := v.NeutralDepth()
	const r1, r2, h = 14, 19, 430
	for _, ring := range []bool{false, true} {
		angle := 2 * math.Pi
		if !ring {
			angle = 2.0
		}
		const around = 96
		vs, ts := coneMesh(r1, r2, h, 0, angle, around, 4)
		sf := patchSurface(t, piece.Developable, vs, ts, unfold.Options{})
		c := alone(sf, v)
		if got := c.wraps(0, sf.Region); got != ring {
			t.Fatalf("wraps: %v", got)
		}
		err := testKernel(t).Regions(context.Background(), func(r *solid.Regions) error {
			bases := c.bases(r, 0)
			if len(bases) != 1 {
				t.Fatalf("%d bases", len(bases))
			}
			o := Options{}.withDefaults()
			un := c.unroll(r, 0, bases[0], 2, o)
			if un.neutral.err != nil {
				t.Fatal(un.neutral.err)
			}
			s := ConeSector(r1, r2, h, k)
			sector := s.Angle * angle / (2 * math.Pi)
			facets := math.Pow(angle/around, 2) / 24 // chords are shorter than arcs by that part
			near(t, "net area", un.net.Area(), sector*(s.R2*s.R2-s.R1*s.R1)/2*(1-facets), 0.5)
			slant := math.Hypot(h, r2-r1)
			size := un.net.Bounds().Size()
			near(t, "length", max(size.X, size.Y), s.R2-s.R1*math.Cos(sector/2), 0.02)
			extra := un.gross.Area() - un.net.Area()
			border := (s.R1+s.R2)*sector*2 + 4*math.Pi
			if ring { // ends of the cone with allowance, one side long
				border = (s.R1+s.R2)*sector*2 + o.ringExtra(min(size.X, size.Y))*slant
				near(t, "ring extra", extra, border, 0.02*border)
			} else {
				near(t, "allowance all round", extra, 2*(2*slant+(s.R1+s.R2)*sector)+16, 2)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// TestTightest measures bends of a cone and of a hollow quarter round: round
// the axis a cone bends to r / cos β.
func TestTightest(t *testing.T) {
	vs, ts := coneMesh(14, 40, 300, 0, 3, 100, 10)
	p := patchSurface(t, piece.Developable, vs, ts, unfold.Options{}).Patch
	b, way := tightest(p)
	beta := math.Atan2(26, 300)
	near(t, "cone", b.Radius, 14/math.Cos(beta), 1.5)
	if b.Hollow || math.Abs(p.Point(b.At.Add(way)).Sub(p.Point(b.At)).Z) > 0.3 {
		t.Errorf("%+v %v", b, way)
	}
	for i, f := range ts {
		ts[i] = [3]int32{f[0], f[2], f[1]}
	}
	if b, _ := tightest(patchSurface(t, piece.Developable, vs, ts, unfold.Options{}).Patch); !b.Hollow {
		t.Error("a hollow cone bulges")
	}
}

// capMesh is the cap of a sphere of radius r up to the angle a from its pole,
// hollow side up, as a mesh.
func capMesh(r, a float64, around, rings int) (vs []geom.Vec3, ts [][3]int32) {
	vs = append(vs, geom.V3(0, 0, -r))
	for k := 1; k <= rings; k++ {
		sb, cb := math.Sincos(a * float64(k) / float64(rings))
		for i := range around {
			sn, cs := math.Sincos(2 * math.Pi * float64(i) / float64(around))
			vs = append(vs, geom.V3(r*sb*cs, r*sb*sn, -r*cb))
		}
	}
	at := func(k, i int) int32 { return int32(1 + (k-1)*around + i%around) }
	for i := range around {
		ts = append(ts, [3]int32{0, at(1, i), at(1, i+1)})
		for k := 1; k < rings; k++ {
			ts = append(ts, [3]int32{at(k, i), at(k+1, i), at(k+1, i+1)}, [3]int32{at(k, i), at(k+1, i+1), at(k, i+1)})
		}
	}
	return vs, ts
}

// TestStrain lays caps of a sphere flat. The least that scale must vary over a
// cap of angle a when it is mapped with angles kept is from 1 to 1/cos²(a/2),
// which the stereographic projection reaches (Chebyshev 1856): about a²/8 to
// either side of the mean.
func TestStrain(t *testing.T) {
	for _, c := range []struct {
		r     float64
		bears bool
	}{{1500, true}, {750, true}, {400, false}} {
		a := math.Asin(140 / c.r)
		vs, ts := capMesh(c.r, a, 48, 10)
		sf := patchSurface(t, piece.Free, vs, ts, unfold.Options{})
		v := testShop(600, 400).Veneers[0]
		m := alone(sf, v)
		task := &task{report: report{p: &piece.Piece{}}, o: Options{}.withDefaults()}
		along, across := task.strain(m, 0, wish{})
		want := a * a / 8
		near(t, "along", along/want, 1, 0.15)
		near(t, "across", across/want, 1, 0.15)
		if got := task.bears(m, 0, wish{}); got != c.bears {
			t.Errorf("radius %g: bears %v", c.r, got)
		}
		task.o.Strain = unfold.Limits{Along: want / 2, Across: want / 2}
		if task.bears(m, 0, wish{}) {
			t.Errorf("radius %g: bears twice its limits", c.r)
		}
		task.o = Options{}.withDefaults()
		if c.bears {
			task.strained(m, 0, "seat", wish{})
		} else {
			task.doubleCurved(m, 0, "seat", wish{})
			if !strings.Contains(task.list[0].Remedy, " gores, each at most ") {
				t.Errorf("no proposal: %s", task.list[0].Remedy)
			}
		}
		t.Log(task.list)
	}
}
