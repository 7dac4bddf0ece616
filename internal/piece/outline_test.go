package piece

import (
	"math"
	"slices"
	"testing"

	"groundwork/internal/geom"
)

// rotateStart is the closed path started k segments later.
func rotateStart(p geom.Path, k int) geom.Path {
	return geom.Path{Closed: true, Segs: slices.Concat(p.Segs[k:], p.Segs[:k])}
}

// dee is half a disc of radius 10 whose arc is in two pieces, on a straight
// side: two corners of a quarter turn.
func dee() geom.Path {
	return geom.Path{Closed: true, Segs: []geom.Seg{
		geom.LineTo(geom.V2(-10, 0), geom.V2(10, 0)),
		geom.ArcOf(geom.Vec2{}, 10, 10, 0, 0, 1),
		geom.ArcOf(geom.Vec2{}, 10, 10, 0, 1, math.Pi-1),
	}}
}

// drop is an arc of three quarters with a point: one corner.
func drop() geom.Path {
	a, b := geom.V2(10, 0), geom.V2(0, -10)
	return geom.Path{Closed: true, Segs: []geom.Seg{
		geom.ArcOf(geom.Vec2{}, 10, 10, 0, 0, 1.5*math.Pi), geom.LineTo(b, geom.V2(10, -10)), geom.LineTo(geom.V2(10, -10), a),
	}}
}

func TestNewOutline(t *testing.T) {
	octagon := geom.Path{Closed: true}
	for i := range 8 {
		at := func(i int) geom.Vec2 { return geom.V2(10, 0).Rotate(float64(i) * math.Pi / 4) }
		octagon.Segs = append(octagon.Segs, geom.LineTo(at(i), at(i+1)))
	}
	for _, c := range []struct {
		name   string
		p      geom.Path
		angle  float64
		runs   []int
		closed bool      // of edge 1
		from   geom.Vec2 // where edge 1 begins
	}{
		{"rectangle", rectangle(4, 3), BreakAngle, []int{0, 1, 2, 3}, false, geom.Vec2{}},
		{"circle", ellipse(geom.Vec2{}, 5, 5), BreakAngle, []int{0}, true, geom.V2(5, 0)},
		{"stadium", stadium(20, 5), BreakAngle, []int{0, 0, 0, 0}, true, geom.V2(0, -5)},
		{"half disc", dee(), BreakAngle, []int{0, 1, 1}, false, geom.V2(-10, 0)},
		{"half disc begun within its arc", rotateStart(dee(), 2), BreakAngle, []int{0, 1, 0}, false, geom.V2(10, 0)},
		{"drop", drop(), BreakAngle, []int{0, 0, 0}, false, geom.V2(10, -10)},
		{"drop begun at its tangent point", rotateStart(drop(), 1), BreakAngle, []int{0, 0, 0}, false, geom.V2(10, -10)},
		{"octagon, corners of 45°", octagon, BreakAngle, []int{0, 1, 2, 3, 4, 5, 6, 7}, false, geom.V2(10, 0)},
		{"round cut-out", ellipse(geom.Vec2{}, 5, 5).Reversed(), BreakAngle, []int{0}, true, geom.V2(5, 0)},
	} {
		o := NewOutline(c.p, c.angle)
		if !slices.Equal(o.Run, c.runs) {
			t.Errorf("%s: runs %v, want %v", c.name, o.Run, c.runs)
			continue
		}
		var total float64
		for k := range o.Runs() {
			total += o.RunPath(k).Length()
		}
		if math.Abs(total-c.p.Length()) > 1e-9 {
			t.Errorf("%s: the edges are %g long together, the outline %g", c.name, total, c.p.Length())
		}
		r := o.RunPath(0)
		if r.Closed != c.closed || r.Segs[0].From().Dist(c.from) > 1e-9 {
			t.Errorf("%s: edge 1 closed %v from %v, want %v from %v", c.name, r.Closed, r.Segs[0].From(), c.closed, c.from)
		}
	}
	// A single corner: one edge, open at the corner, wherever the path begins.
	lens := geom.Path{Closed: true, Segs: []geom.Seg{
		geom.CubicTo(geom.Vec2{}, geom.V2(20, -20), geom.V2(40, -10), geom.V2(40, 10)),
		geom.CubicTo(geom.V2(40, 10), geom.V2(40, 30), geom.V2(20, 20), geom.Vec2{}),
	}}
	for k := range 2 {
		o := NewOutline(rotateStart(lens, k), BreakAngle)
		r := o.RunPath(0)
		if o.Runs() != 1 || r.Closed || r.Segs[0].From() != (geom.Vec2{}) || r.Segs[1].To() != (geom.Vec2{}) {
			t.Errorf("one corner, begun at segment %d: %d runs, closed %v, from %v", k, o.Runs(), r.Closed, r.Segs[0].From())
		}
	}
}

func TestNewTurning(t *testing.T) {
	for _, c := range []struct {
		name  string
		p     geom.Path
		runs  []int
		kinds []SurfaceKind
	}{
		{"taper", frustum(14, 19, 430), []int{0}, []SurfaceKind{Cone}},
		{"post in two lengths", polyline(false, geom.V2(20, 0), geom.V2(20, 50), geom.V2(20, 90)), []int{0, 0}, []SurfaceKind{Cylinder}},
		{"two tapers at a blunt corner", polyline(false, geom.V2(20, 0), geom.V2(22, 50), geom.V2(20, 100)), []int{0, 1}, []SurfaceKind{Cone, Cone}},
		{"shoulder", polyline(false, geom.V2(20, 0), geom.V2(20, 50), geom.V2(30, 50), geom.V2(30, 60)), []int{0, 1, 2}, []SurfaceKind{Cylinder, Plane, Cylinder}},
		{"vase", vaseProfile(), []int{0, 1, 2, 2, 3, 4}, []SurfaceKind{Cylinder, Plane, Free, Cylinder, Cone}},
	} {
		m := turning(c.p)
		if !slices.Equal(m.Turning.Run, c.runs) {
			t.Errorf("%s: runs %v, want %v", c.name, m.Turning.Run, c.runs)
		}
		for k, s := range m.Surfaces(0)[:len(c.kinds)] {
			if s.Kind != c.kinds[k] {
				t.Errorf("%s: side %d is a %s, want %s", c.name, k+1, s.Kind, c.kinds[k])
			}
		}
	}
}
