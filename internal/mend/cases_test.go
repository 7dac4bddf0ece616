package mend

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/mesh"
)

// said is a result in short: every shell's volume, or its faults, then the
// actions with their counts.
func said(r Result) string {
	var out []string
	for _, s := range r.Shells {
		if s.Solid() {
			out = append(out, fmt.Sprintf("%.6g", s.Volume))
			continue
		}
		var kinds []string
		for _, f := range s.Faults {
			kinds = append(kinds, string(f.Kind))
		}
		out = append(out, strings.Join(kinds, "+"))
	}
	var done []string
	for _, s := range r.Steps {
		done = append(done, fmt.Sprintf("%s %d", s.Action, s.Count))
	}
	return strings.Join(out, ", ") + " | " + strings.Join(done, ", ")
}

func moebius(n int) mesh.Body {
	var b mesh.Body
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		s, c := math.Sincos(a)
		u, v := math.Sincos(a / 2)
		for _, w := range []float64{-5, 5} {
			r := 30 + w*v
			b.Vertices = append(b.Vertices, geom.V3(r*c, r*s, w*u))
		}
	}
	for i := range n {
		p, q := int32(2*i), int32(2*i+1)
		r, s := int32(2*(i+1)), int32(2*(i+1)+1)
		if i == n-1 {
			r, s = 1, 0
		}
		b.Triangles = append(b.Triangles, [3]int32{p, q, r}, [3]int32{q, s, r})
	}
	return b
}

// tray is a box without its lid.
func tray(x, y, z float64) mesh.Body {
	b := box(x, y, z)
	return without(b, func(i int) bool { return i == 1 || i == 3 })
}

// TestCases: the volumes stated are products of sides, and for the pipe of 48
// sides ½·48·sin(2π/48)·(20² − 8²)·30.
func TestCases(t *testing.T) {
	ten := box(10, 10, 10)
	at := func(x, y, z float64) mesh.Body { return moved(ten, geom.V3(x, y, z)) }
	big := moved(box(30, 30, 30), geom.V3(-10, -10, -10))
	sheet := mesh.Body{Vertices: []geom.Vec3{{}, {X: 100}, {X: 100, Y: 50}, {Y: 50}}, Triangles: [][3]int32{{0, 1, 2}, {0, 2, 3}}}
	bowtie := prism([]geom.Vec2{{}, {X: 10, Y: 10}, {X: 10, Y: 0}, {X: 0, Y: 10}}, [][3]int32{{0, 1, 2}, {0, 2, 3}}, 5)
	p48 := pipe(20, 8, 30, 48)
	inBore := func(i int) bool { return i%8 == 2 || i%8 == 3 }
	tapered := pipe(20, 8, 30, 48)
	for i := 48; i < 96; i++ { // the lower rim of the bore
		v := tapered.Vertices[i]
		tapered.Vertices[i] = geom.V3(v.X*1.2, v.Y*1.2, v.Z)
	}
	mortise := pipe(30, 8, 30, 4)
	onTop := func(i int) bool { return i%8 == 4 || i%8 == 5 }
	for _, c := range []struct {
		name string
		body mesh.Body
		o    Options
		want string
	}{
		{"two boxes apart", both(ten, at(20, 0, 0)), Options{}, "1000, 1000 | "},
		{"two boxes on one edge", both(ten, at(10, 10, 0)), Options{}, "1000, 1000 | welded 2, parted 2"},
		{"two boxes on one edge, one inside out", both(ten, turnedOver(at(10, 10, 0))), Options{}, "1000, 1000 | welded 2, parted 2, inside out 1"},
		{"two boxes on one vertex", both(ten, at(10, 10, 10)), Options{}, "1000, 1000 | welded 1, parted 1"},
		{"two boxes on part of a face", both(ten, at(10, 5, 5)), Options{}, "1000, 1000 | "},
		{"two boxes overlapping", both(ten, at(5, 5, 5)), Options{}, "1000, 1000 | "},
		{"two boxes on one face", both(ten, at(10, 0, 0)), Options{}, "1000, 1000 | welded 4, parted 4"},
		{"hollow box", both(big, turnedOver(ten)), Options{}, "26000 | "},
		{"hollow box inside out", turnedOver(both(big, turnedOver(ten))), Options{}, "26000 | inside out 1"},
		{"hollow that touches the outside", both(big, turnedOver(at(10, 3, 3))), Options{}, "crossing, crossing | inside out 1"},
		{"box against the inside of a box", both(big, at(10, 3, 3)), Options{}, "27000, 1000 | "},
		{"two overlapping, both inside out", turnedOver(both(ten, at(5, 5, 5))), Options{}, "1000, 1000 | inside out 1, inside out 1"},
		{"hollows that touch at a vertex", both(both(box(40, 40, 40), turnedOver(at(5, 5, 5))), turnedOver(at(15, 15, 15))), Options{}, "62000 | welded 1, parted 1"},
		{"box inside a box", both(big, ten), Options{}, "27000 | inner 1"},
		{"box in the hollow of a box", both(both(big, turnedOver(ten)), moved(box(4, 4, 4), geom.V3(3, 3, 3))), Options{}, "26000, 64 | "},
		{"two hollows", both(both(box(40, 20, 20), turnedOver(at(3, 5, 5))), turnedOver(at(20, 5, 5))), Options{}, "14000 | "},
		{"two hollows that cross", both(both(box(40, 20, 20), turnedOver(at(3, 5, 5))), turnedOver(at(8, 6, 6))), Options{}, "crossing | "},
		{"Moebius strip", moebius(40), Options{}, "one-sided+open | "},
		{"tray", tray(100, 60, 18), Options{}, "open | "},
		{"tray with a lid let in", tray(100, 60, 18), Options{Hole: 330}, "108000 | closed 1"},
		{"tray, lid too long", tray(100, 60, 18), Options{Hole: 310}, "open | "},
		{"open panel", sheet, Options{}, "open | "},
		{"open panel, both sides", both(sheet, turnedOver(sheet)), Options{}, "open | welded 4, doubled 2"},
		{"open panel thickened", sheet, Options{Thicken: 4}, "20000 | thickened 1"},
		{"tray thickened", tray(100, 60, 18), Options{Thicken: 2}, "21984 | thickened 1"},
		{"bowtie", bowtie, Options{}, "crossing | "},
		{"torus through itself", torus(10, 14, 48, 24), Options{}, "crossing | "},
		{"fin on a box", mesh.Body{Vertices: append(slices.Clone(ten.Vertices), geom.V3(20, 0, 0)), Triangles: append(slices.Clone(ten.Triangles), [3]int32{1, 5, 8})}, Options{}, "1000, open | parted 2"},
		{"bore wall missing", without(p48, inBore), Options{}, "31576.9 | closed 1"},
		{"ring round a bore missing", without(p48, onTop), Options{}, "open | "},
		{"ring round a bore missing, closed", without(p48, onTop), Options{Hole: 1000}, "31576.9 | closed 1"},
		{"bore wall missing, closed", without(p48, inBore), Options{Hole: 100}, "31576.9 | closed 1"},
		{"bore wall missing, tapered", without(tapered, inBore), Options{}, "open | "},
		{"mortise wall missing", without(mortise, inBore), Options{}, "open | "},
		{"fine boxes on one face", both(finer(finer(ten)), moved(finer(finer(ten)), geom.V3(10, 0, 0))), Options{}, "1000, 1000 | welded 25, parted 25"},
		{"fine boxes round an edge", both(both(finer(ten), finer(at(10, 0, 0))), both(finer(at(0, 10, 0)), finer(at(10, 10, 0)))), Options{}, "1000, 1000, 1000, 1000 | welded 33, parted 33"},
		{"flap on a box", mesh.Body{Vertices: append(slices.Clone(ten.Vertices), geom.V3(20, 0, 0), geom.V3(20, 0, 10)), Triangles: append(slices.Clone(ten.Triangles), [3]int32{1, 8, 9}, [3]int32{1, 9, 5}, [3]int32{1, 9, 8}, [3]int32{1, 5, 9})}, Options{}, "1000 | doubled 4"},
		{"twice, not quite in one place", both(p48, moved(p48, geom.V3(1e-5, -1e-5, 1e-5))), Options{}, "31576.9 | doubled 384"},
		{"thin leaf", box(500, 300, 0.004), Options{}, "600 | "},
		{"leaf thinner than float32 can tell", moved(box(500, 300, 2e-4), geom.V3(1e4, -1e4, 2e4)), Options{}, "open | dropped 4, doubled 2"},
		{"thin leaf far out", moved(box(500, 300, 0.5), geom.V3(1e4, -1e4, 2e4)), Options{}, "75000 | "},
		// The rest stands 0.02 mm higher than the bottom; they meet half way: 20.01 mm.
		{"crack of 0.05 mm all along", both(without(box(500, 300, 20), func(i int) bool { return i != 0 && i != 2 }), moved(without(box(500, 300, 20), func(i int) bool { return i == 0 || i == 2 }), geom.V3(0.03, 0.03, 0.02))), Options{}, "3.0015e+06 | stitched 4"},
		{"gap of 0.5 mm all along", both(without(box(500, 300, 20), func(i int) bool { return i != 0 && i != 2 }), moved(without(box(500, 300, 20), func(i int) bool { return i == 0 || i == 2 }), geom.V3(0.3, 0.3, 0.2))), Options{}, "open, open | "},
		{"flat triangle only", mesh.Body{Vertices: []geom.Vec3{{}, {X: 1}, {X: 2}}, Triangles: [][3]int32{{0, 1, 2}}}, Options{}, "empty | dropped 1"},
		{"one triangle", mesh.Body{Vertices: []geom.Vec3{{}, {X: 1}, {Y: 2}}, Triangles: [][3]int32{{0, 1, 2}}}, Options{}, "open | "},
	} {
		t.Run(c.name, func(t *testing.T) {
			for k, f := range []func(b mesh.Body) mesh.Body{
				copyOf,
				func(b mesh.Body) mesh.Body { return soup(b, 0, nil) },
			} {
				r, err := Mend(f(c.body), c.o)
				if err != nil {
					t.Fatal(err)
				}
				verify(t, r)
				got := said(r)
				if k == 1 { // a soup is welded more
					head, tail, _ := strings.Cut(got, " | ")
					if rest, ok := strings.CutPrefix(tail, "welded "); ok {
						_, rest, _ = strings.Cut(rest, ", ")
						got = head + " | " + rest
					}
					head, tail, _ = strings.Cut(c.want, " | ")
					if rest, ok := strings.CutPrefix(tail, "welded "); ok {
						_, rest, _ = strings.Cut(rest, ", ")
						c.want = head + " | " + rest
					}
				}
				if got != c.want {
					t.Errorf("got  %s\nwant %s", got, c.want)
				}
			}
		})
	}
}
