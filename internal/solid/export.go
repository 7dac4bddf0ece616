package solid

import (
	"math"
	"slices"

	"groundwork/internal/geom"
)

// roundToSingle rounds a mesh to float32 and mends what the rounding breaks.
func roundToSingle(m *Mesh) *Mesh {
	vertices := make([]geom.Vec3, len(m.Vertices))
	for i, v := range m.Vertices {
		vertices[i] = single(v)
	}
	p := patch{vertices: vertices, triangles: slices.Clone(m.Triangles), tags: slices.Clone(m.Tags)}
	p.mend(0)
	return newMesh(p.vertices, p.triangles, p.tags)
}

// single rounds to float32 by way of whole nanometres: float32 alone keeps
// noise of 1e-13 mm round zero, which leaves triangles next to no height.
func single(v geom.Vec3) geom.Vec3 {
	const nano = 1e6 // per mm
	round := func(x float64) float64 { return float64(float32(math.Round(x*nano) / nano)) }
	return geom.V3(round(v.X), round(v.Y), round(v.Z))
}

// patch is a closed mesh being rid of triangles without size. Two steps do
// it, and each leaves the mesh closed or is not taken: an edge too short is
// drawn together into one vertex; a triangle whose corners lie in line gives
// its longest side away for the other diagonal of the four-sided figure that
// it makes with its neighbour there.
type patch struct {
	vertices  []geom.Vec3
	triangles [][3]int32 // all corners 0: taken out
	tags      []Tag
	at        [][]int32 // vertex -> triangles that have, or had, a corner there
}

// flat is the height of a triangle over its longest side, as a part of that
// side, below which mend takes it for flat. Mesh.Check draws the line lower,
// so that what is left passes.
const flat = 4e-12

// mend takes out edges no longer than short, mm, and flat triangles.
func (p *patch) mend(short float64) {
	var work []int32
	for i := range p.triangles {
		if s, _ := p.fault(int32(i), short); s {
			work = append(work, int32(i))
		}
	}
	if len(work) == 0 {
		return
	}
	p.at = make([][]int32, len(p.vertices))
	for i, t := range p.triangles {
		for _, v := range t {
			p.at[v] = append(p.at[v], int32(i))
		}
	}
	// Every step can make other triangles faulty. Flips alone might go round
	// in circles, so their number is bounded.
	for steps := 64 + 16*len(work); len(work) > 0 && steps > 0; steps-- {
		i := work[len(work)-1]
		work = work[:len(work)-1]
		faulty, side := p.fault(i, short)
		if !faulty {
			continue
		}
		t := p.triangles[i]
		if a, b := p.shortest(t); p.vertices[a].Dist(p.vertices[b]) <= short && p.collapse(a, b) {
			work = append(work, p.at[min(a, b)]...)
			continue
		}
		if j, ok := p.flip(i, side); ok {
			work = append(work, j, i)
		}
	}
	p.compact()
}

// fault reports whether a triangle has no size, and the index of the corner
// where its longest side begins.
func (p *patch) fault(i int32, short float64) (bool, int) {
	t := p.triangles[i]
	if t[0] == t[1] {
		return false, 0 // taken out
	}
	a, b, c := p.vertices[t[0]], p.vertices[t[1]], p.vertices[t[2]]
	sides := [3]float64{a.Dist(b), b.Dist(c), c.Dist(a)}
	long := 0
	for i, s := range sides {
		if s > sides[long] {
			long = i
		}
	}
	l := sides[long]
	return min(sides[0], sides[1], sides[2]) <= short || b.Sub(a).Cross(c.Sub(a)).Len() <= flat*l*l, long
}

func (p *patch) shortest(t [3]int32) (a, b int32) {
	a, b = t[0], t[1]
	for i := range t {
		c, d := t[i], t[(i+1)%3]
		if p.vertices[c].Dist(p.vertices[d]) < p.vertices[a].Dist(p.vertices[b]) {
			a, b = c, d
		}
	}
	return a, b
}

// around are the vertices joined to v by an edge, sorted.
func (p *patch) around(v int32) []int32 {
	var out []int32
	for _, i := range p.at[v] {
		if t := p.triangles[i]; t[0] == v || t[1] == v || t[2] == v {
			for _, c := range t {
				if c != v {
					out = append(out, c)
				}
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// collapse draws an edge together into its vertex of the lower number. It
// does nothing, and returns false, where that would join sheets of the surface
// that only pass each other: unless the ends have exactly two neighbours in common.
func (p *patch) collapse(a, b int32) bool {
	keep, gone := min(a, b), max(a, b)
	common := 0
	others := p.around(keep)
	for _, v := range p.around(gone) {
		if _, ok := slices.BinarySearch(others, v); ok {
			common++
		}
	}
	if common != 2 || len(others)+len(p.around(gone)) < 8 { // 8: what is left of a tetrahedron would be flat
		return false
	}
	for _, i := range p.at[gone] {
		t := &p.triangles[i]
		if t[0] == t[1] {
			continue
		}
		if slices.Contains(t[:], gone) && slices.Contains(t[:], keep) {
			*t = [3]int32{}
			continue
		}
		for j, v := range t {
			if v == gone {
				t[j] = keep
				p.at[keep] = append(p.at[keep], i)
			}
		}
	}
	return true
}

// flip gives the flat triangle i the other diagonal in place of the side that
// begins at its corner number side, and returns the neighbour that shared it.
// Both triangles then lie where the neighbour lay, and have its tag.
func (p *patch) flip(i int32, side int) (int32, bool) {
	t := p.triangles[i]
	a, b, c := t[side], t[(side+1)%3], t[(side+2)%3]
	for _, j := range p.at[a] {
		u := p.triangles[j]
		for r := range u {
			if u[0] == u[1] || u[r] != b || u[(r+1)%3] != a {
				continue
			}
			d := u[(r+2)%3]
			if d == c || slices.Contains(p.around(c), d) {
				return 0, false // the other diagonal is an edge already
			}
			p.triangles[i] = [3]int32{c, a, d}
			p.triangles[j] = [3]int32{c, d, b}
			p.tags[i] = p.tags[j]
			p.at[d] = append(p.at[d], i)
			p.at[c] = append(p.at[c], j)
			return j, true
		}
	}
	return 0, false
}

// compact leaves out what mend has taken out.
func (p *patch) compact() {
	place := make([]int32, len(p.vertices)) // new number + 1
	var vertices []geom.Vec3
	n := 0
	for i, t := range p.triangles {
		if t[0] == t[1] {
			continue
		}
		for j, v := range t {
			if place[v] == 0 {
				vertices = append(vertices, p.vertices[v])
				place[v] = int32(len(vertices))
			}
			t[j] = place[v] - 1
		}
		p.triangles[n], p.tags[n] = t, p.tags[i]
		n++
	}
	p.vertices, p.triangles, p.tags = vertices, p.triangles[:n], p.tags[:n]
}
