package solid

import (
	"math"
	"sync"
	"testing"

	"groundwork/internal/geom"
)

var shared = sync.OnceValues(func() (*Kernel, error) { return New(Options{Instances: 2}) })

// testKernel is a kernel of two instances that all tests of the package use.
// Without the kernel's files the test fails and says what to run.
func testKernel(t testing.TB) *Kernel {
	t.Helper()
	k, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// forget empties the caches of solids in all idle instances.
func forget(t testing.TB, k *Kernel) {
	t.Helper()
	var all []*instance
	for range cap(k.pool) {
		all = append(all, <-k.pool)
	}
	for _, in := range all {
		if in != nil {
			in.trim(0)
			if in.err != nil {
				t.Fatal(in.err)
			}
		}
		k.pool <- in
	}
}

var unitBox = geom.Box3{Max: geom.V3(1, 1, 1)}

func v2(xy ...float64) (out []geom.Vec2) {
	for i := 0; i < len(xy); i += 2 {
		out = append(out, geom.V2(xy[i], xy[i+1]))
	}
	return out
}

// loop gives the edges the tags first, first+1 and so on.
func loop(first Tag, points []geom.Vec2) Loop {
	l := Loop{Points: points}
	for i := range points {
		l.Tags = append(l.Tags, first+Tag(i))
	}
	return l
}

// boredBoard is a board of 620 by 60 by 19 with 40 bores of radius 4, 64
// circumscribed facets each, tagged 20 to 59.
func boredBoard() Shape {
	board := Extrude([]Loop{loop(1, v2(0, 0, 620, 0, 620, 60, 0, 60))}, 0, 19, 10, 11)
	var bores []Shape
	for i := range 40 {
		bores = append(bores, Cylinder(geom.V3(10+15*float64(i), 30, -1), geom.V3(0, 0, 1), 4, 21, Tag(20+i),
			CylinderOptions{Circumscribed: true, Facets: 64}))
	}
	return Difference(board, bores...)
}

// boredBoardVolume: a regular n-gon round a circle of radius r has the area
// n r² tan π/n.
var boredBoardVolume = 620.*60*19 - 40*19*64*16*math.Tan(math.Pi/64)

// segments36 cuts the board across into 36 segments.
func segments36() []Shape {
	s := boredBoard()
	var out []Shape
	for i := range 36 {
		a, b := 620*float64(i)/36, 620*float64(i+1)/36
		var cuts []Cut
		if i > 0 {
			cuts = append(cuts, Cut{geom.PlaneAt(geom.V3(a, 0, 0), geom.V3(-1, 0, 0)), 60})
		}
		if i < 35 {
			cuts = append(cuts, Cut{geom.PlaneAt(geom.V3(b, 0, 0), geom.V3(1, 0, 0)), 61})
		}
		out = append(out, s.Within(cuts...))
	}
	return out
}

// halved cuts the board across again and again until there are n segments,
// the way seams are laid: every cut works on what the last one left.
func halved(s Shape, a, b float64, n int) []Shape {
	if n == 1 {
		return []Shape{s}
	}
	m := a + (b-a)*float64(n/2)/float64(n)
	p := geom.PlaneAt(geom.V3(m, 0, 0), geom.V3(1, 0, 0))
	return append(halved(s.Below(p, 61), a, m, n/2), halved(s.Above(p, 60), m, b, n-n/2)...)
}
