package mend

import (
	"math"
	"math/rand/v2"

	"groundwork/internal/geom"
	"groundwork/internal/mesh"
)

// The clean solids that tests damage.

// prism is an outline, counter-clockwise and star-shaped from no point in
// particular, raised by h. quads says how to divide the bottom into triangles.
func prism(outline []geom.Vec2, caps [][3]int32, h float64) mesh.Body {
	var b mesh.Body
	n := int32(len(outline))
	for _, z := range []float64{0, h} {
		for _, p := range outline {
			b.Vertices = append(b.Vertices, geom.V3(p.X, p.Y, z))
		}
	}
	for _, t := range caps {
		b.Triangles = append(b.Triangles, [3]int32{t[0], t[2], t[1]}, [3]int32{t[0] + n, t[1] + n, t[2] + n})
	}
	for i := range n {
		j := (i + 1) % n
		b.Triangles = append(b.Triangles, [3]int32{i, j, j + n}, [3]int32{i, j + n, i + n})
	}
	return b
}

func box(x, y, z float64) mesh.Body {
	return prism([]geom.Vec2{{}, {X: x}, {X: x, Y: y}, {Y: y}}, [][3]int32{{0, 1, 2}, {0, 2, 3}}, z)
}

// bracket is an L: 60 x 40 outside, t thick, h high.
func bracket(t, h float64) mesh.Body {
	return prism([]geom.Vec2{{}, {X: 60}, {X: 60, Y: t}, {X: t, Y: t}, {X: t, Y: 40}, {Y: 40}},
		[][3]int32{{0, 1, 3}, {1, 2, 3}, {0, 3, 5}, {3, 4, 5}}, h)
}

// pipe is a cylinder of radius r and height h with a bore of radius q along it.
func pipe(r, q, h float64, n int) mesh.Body {
	var b mesh.Body
	for _, z := range []float64{0, h} {
		for _, rad := range []float64{r, q} {
			for i := range n {
				s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
				b.Vertices = append(b.Vertices, geom.V3(rad*c, rad*s, z))
			}
		}
	}
	at := func(ring, i int) int32 { return int32(ring*n + i%n) }
	quad := func(a, b2, c, d int32) {
		b.Triangles = append(b.Triangles, [3]int32{a, b2, c}, [3]int32{a, c, d})
	}
	for i := range n {
		quad(at(0, i), at(0, i+1), at(2, i+1), at(2, i)) // outside
		quad(at(1, i+1), at(1, i), at(3, i), at(3, i+1)) // bore
		quad(at(2, i), at(2, i+1), at(3, i+1), at(3, i)) // top
		quad(at(0, i+1), at(0, i), at(1, i), at(1, i+1)) // bottom
	}
	return b
}

func cylinder(r, h float64, n int) mesh.Body {
	var b mesh.Body
	for _, z := range []float64{0, h} {
		for i := range n {
			s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			b.Vertices = append(b.Vertices, geom.V3(r*c, r*s, z))
		}
	}
	b.Vertices = append(b.Vertices, geom.V3(0, 0, 0), geom.V3(0, 0, h))
	m := int32(n)
	for i := range m {
		j := (i + 1) % m
		b.Triangles = append(b.Triangles, [3]int32{i, j, j + m}, [3]int32{i, j + m, i + m}, [3]int32{2 * m, j, i}, [3]int32{2*m + 1, i + m, j + m})
	}
	return b
}

func torus(big, small float64, n, k int) mesh.Body {
	var b mesh.Body
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		for j := range k {
			t, d := math.Sincos(2 * math.Pi * float64(j) / float64(k))
			b.Vertices = append(b.Vertices, geom.V3((big+small*d)*c, (big+small*d)*s, small*t))
		}
	}
	at := func(i, j int) int32 { return int32(i%n*k + j%k) }
	for i := range n {
		for j := range k {
			p, q, r, s := at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)
			b.Triangles = append(b.Triangles, [3]int32{p, q, r}, [3]int32{p, r, s})
		}
	}
	return b
}

// finer divides every triangle into four.
func finer(b mesh.Body) mesh.Body {
	out := mesh.Body{Vertices: append([]geom.Vec3{}, b.Vertices...)}
	mids := map[uint64]int32{}
	mid := func(i, j int32) int32 {
		k, ok := mids[edgeKey(i, j)]
		if !ok {
			k = int32(len(out.Vertices))
			mids[edgeKey(i, j)] = k
			out.Vertices = append(out.Vertices, b.Vertices[i].Lerp(b.Vertices[j], 0.5))
		}
		return k
	}
	for _, t := range b.Triangles {
		x, y, z := mid(t[0], t[1]), mid(t[1], t[2]), mid(t[2], t[0])
		out.Triangles = append(out.Triangles, [3]int32{t[0], x, z}, [3]int32{x, t[1], y}, [3]int32{z, y, t[2]}, [3]int32{x, y, z})
	}
	return out
}

func moved(b mesh.Body, d geom.Vec3) mesh.Body {
	out := mesh.Body{Triangles: append([][3]int32{}, b.Triangles...)}
	for _, v := range b.Vertices {
		out.Vertices = append(out.Vertices, v.Add(d))
	}
	return out
}

func turnedOver(b mesh.Body) mesh.Body {
	out := copyOf(b)
	for i, t := range out.Triangles {
		out.Triangles[i] = [3]int32{t[0], t[2], t[1]}
	}
	return out
}

func copyOf(b mesh.Body) mesh.Body { return moved(b, geom.Vec3{}) }

func both(a, b mesh.Body) mesh.Body {
	out := copyOf(a)
	n := int32(len(out.Vertices))
	out.Vertices = append(out.Vertices, b.Vertices...)
	for _, t := range b.Triangles {
		out.Triangles = append(out.Triangles, [3]int32{t[0] + n, t[1] + n, t[2] + n})
	}
	return out
}

func without(b mesh.Body, gone func(i int) bool) mesh.Body {
	out := copyOf(b)
	out.Triangles = nil
	for i, t := range b.Triangles {
		if !gone(i) {
			out.Triangles = append(out.Triangles, t)
		}
	}
	return out
}

// damage is a way in which meshes come broken.
type damage struct {
	name string
	do   func(b mesh.Body, r *rand.Rand) mesh.Body
}

func chosen(r *rand.Rand, n, of int) map[int]bool {
	out := map[int]bool{}
	for len(out) < min(n, of) {
		out[r.IntN(of)] = true
	}
	return out
}

func flipping(share func(n int) int) func(mesh.Body, *rand.Rand) mesh.Body {
	return func(b mesh.Body, r *rand.Rand) mesh.Body {
		out := copyOf(b)
		pick := chosen(r, share(len(b.Triangles)), len(b.Triangles))
		for i, t := range out.Triangles {
			if pick[i] {
				out.Triangles[i] = [3]int32{t[0], t[2], t[1]}
			}
		}
		return out
	}
}

func missing(share func(n int) int) func(mesh.Body, *rand.Rand) mesh.Body {
	return func(b mesh.Body, r *rand.Rand) mesh.Body {
		pick := chosen(r, share(len(b.Triangles)), len(b.Triangles))
		return without(b, func(i int) bool { return pick[i] })
	}
}

func one(int) int { return 1 }

func soup(b mesh.Body, jitter float64, r *rand.Rand) mesh.Body {
	var out mesh.Body
	for _, t := range b.Triangles {
		n := int32(len(out.Vertices))
		for _, k := range t {
			v := b.Vertices[k]
			if jitter > 0 {
				v = v.Add(geom.V3(r.Float64()-0.5, r.Float64()-0.5, r.Float64()-0.5).Scale(2 * jitter))
			}
			out.Vertices = append(out.Vertices, v)
		}
		out.Triangles = append(out.Triangles, [3]int32{n, n + 1, n + 2})
	}
	return out
}

// splitOneSide puts a corner into one side of one triangle only.
func splitOneSide(b mesh.Body, r *rand.Rand, off float64) mesh.Body {
	out := copyOf(b)
	i := r.IntN(len(b.Triangles))
	t := b.Triangles[i]
	k := r.IntN(3)
	from, to, tip := t[k], t[(k+1)%3], t[(k+2)%3]
	p := b.Vertices[from].Lerp(b.Vertices[to], 0.2+0.6*r.Float64())
	p = p.Add(geom.V3(r.Float64()-0.5, r.Float64()-0.5, r.Float64()-0.5).Scale(off))
	m := int32(len(out.Vertices))
	out.Vertices = append(out.Vertices, p)
	out.Triangles[i] = [3]int32{from, m, tip}
	out.Triangles = append(out.Triangles, [3]int32{m, to, tip})
	return out
}

var damages = []damage{
	{"none", func(b mesh.Body, _ *rand.Rand) mesh.Body { return b }},
	{"one turned", flipping(one)},
	{"half turned", flipping(func(n int) int { return n / 2 })},
	{"all turned", flipping(func(n int) int { return n })},
	{"one missing", missing(one)},
	{"three missing", missing(func(int) int { return 3 })},
	{"1 % missing", missing(func(n int) int { return max(1, n/100) })},
	{"doubled", func(b mesh.Body, r *rand.Rand) mesh.Body {
		out := copyOf(b)
		for range 5 {
			t := b.Triangles[r.IntN(len(b.Triangles))]
			out.Triangles = append(out.Triangles, [3]int32{t[1], t[2], t[0]})
		}
		return out
	}},
	{"doubled back to back", func(b mesh.Body, r *rand.Rand) mesh.Body {
		out := copyOf(b)
		for i := range chosen(r, 3, len(b.Triangles)) {
			t := b.Triangles[i]
			out.Triangles = append(out.Triangles, [3]int32{t[1], t[0], t[2]})
		}
		return out
	}},
	{"all twice", func(b mesh.Body, _ *rand.Rand) mesh.Body { return both(b, b) }},
	{"needles put in", func(b mesh.Body, r *rand.Rand) mesh.Body {
		out := splitOneSide(b, r, 0)
		for range 3 { // corner twice
			t := b.Triangles[r.IntN(len(b.Triangles))]
			out.Triangles = append(out.Triangles, [3]int32{t[0], t[1], t[1]})
		}
		// close the T-junction by a triangle of no height
		first, last := out.Triangles[len(b.Triangles)], int32(len(out.Vertices)-1)
		for i, t := range b.Triangles {
			if u := out.Triangles[i]; u != t {
				out.Triangles = append(out.Triangles, [3]int32{u[0], first[1], last})
			}
		}
		return out
	}},
	{"jitter 1e-5", func(b mesh.Body, r *rand.Rand) mesh.Body {
		out := copyOf(b)
		for i, v := range out.Vertices {
			out.Vertices[i] = v.Add(geom.V3(r.Float64()-0.5, r.Float64()-0.5, r.Float64()-0.5).Scale(2e-5))
		}
		return out
	}},
	{"soup", func(b mesh.Body, r *rand.Rand) mesh.Body { return soup(b, 0, r) }},
	{"soup, jitter 1e-5", func(b mesh.Body, r *rand.Rand) mesh.Body { return soup(b, 1e-5, r) }},
	{"T-junction", func(b mesh.Body, r *rand.Rand) mesh.Body { return splitOneSide(b, r, 0) }},
	{"ten T-junctions", func(b mesh.Body, r *rand.Rand) mesh.Body {
		for range 10 {
			b = splitOneSide(b, r, 0)
		}
		return b
	}},
	{"crack of 0.01 mm", func(b mesh.Body, r *rand.Rand) mesh.Body { return splitOneSide(b, r, 0.01) }},
	{"crack of 0.01 mm along a triangle", func(b mesh.Body, r *rand.Rand) mesh.Body {
		out := copyOf(b)
		i := r.IntN(len(b.Triangles))
		d := geom.V3(r.Float64()-0.5, r.Float64()-0.5, r.Float64()-0.5).Unit().Scale(0.01)
		for k, v := range out.Triangles[i] {
			out.Triangles[i][k] = int32(len(out.Vertices))
			out.Vertices = append(out.Vertices, b.Vertices[v].Add(d))
		}
		return out
	}},
	{"soup, 1 % missing, half turned", func(b mesh.Body, r *rand.Rand) mesh.Body {
		b = missing(func(n int) int { return max(1, n/100) })(b, r)
		b = flipping(func(n int) int { return n / 2 })(b, r)
		return soup(b, 1e-5, r)
	}},
}
