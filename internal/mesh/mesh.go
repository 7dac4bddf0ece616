package mesh

import (
	"fmt"
	"math"

	"groundwork/internal/geom"
)

// Body is one surface. Vertices are in millimetres; each triangle holds three
// indices into Vertices, counter-clockwise seen from outside.
type Body struct {
	Name       string
	PartNumber string
	Vertices   []geom.Vec3
	Triangles  [][3]int32
}

// Item places a body of a document.
type Item struct {
	Body       int        // index into Document.Bodies
	Frame      geom.Frame // where the body's own coordinates lie
	PartNumber string
}

// Metadata is one named text about a document. Name is one of the names that
// the 3MF core specification reserves: Title, Designer, Description, Copyright,
// LicenseTerms, Rating, CreationDate, ModificationDate, Application.
type Metadata struct{ Name, Value string }

// Document is a set of bodies and where they stand, such as one print load.
type Document struct {
	Bodies   []Body
	Items    []Item
	Metadata []Metadata // kept in order
}

// Bounds is the smallest box that holds the body in its own coordinates.
func (b Body) Bounds() geom.Box3 {
	box := geom.EmptyBox3()
	for _, v := range b.Vertices {
		box = box.Add(v)
	}
	return box
}

// Bounds is the smallest box that holds every placed item.
func (d Document) Bounds() geom.Box3 {
	box := geom.EmptyBox3()
	for _, it := range d.Items {
		for _, v := range d.Bodies[it.Body].Vertices {
			box = box.Add(it.Frame.Point(v))
		}
	}
	return box
}

// Limits bounds what a reader accepts. A zero field means the default of
// DefaultLimits.
type Limits struct {
	FileBytes     int64 // of the file as it stands on disk
	ExpandedBytes int64 // of any one part of a 3MF archive once expanded
	TotalBytes    int64 // of all parts of a 3MF archive that are read, once expanded
	Entries       int   // files in a 3MF archive
	Depth         int   // of XML elements, and of components within components
	Triangles     int   // over all bodies, and again over all placed bodies; vertices likewise
	Objects       int   // 3MF resources, solids of an STL file, objects and groups of an OBJ file
	Items         int   // placed bodies, once components are taken apart
	Lines         int   // of an ASCII STL or an OBJ file
}

// DefaultLimits are generous for furniture and small enough for a small
// machine: a two-million-triangle body is a 100 MB STL file.
var DefaultLimits = Limits{
	FileBytes:     128 << 20,
	ExpandedBytes: 512 << 20,
	TotalBytes:    768 << 20,
	Entries:       512,
	Depth:         32,
	Triangles:     2_500_000,
	Objects:       10_000,
	Items:         10_000,
	Lines:         20_000_000,
}

func (l Limits) orDefault() Limits {
	d := DefaultLimits
	if l.FileBytes == 0 {
		l.FileBytes = d.FileBytes
	}
	if l.ExpandedBytes == 0 {
		l.ExpandedBytes = d.ExpandedBytes
	}
	if l.TotalBytes == 0 {
		l.TotalBytes = d.TotalBytes
	}
	if l.Entries == 0 {
		l.Entries = d.Entries
	}
	if l.Depth == 0 {
		l.Depth = d.Depth
	}
	if l.Triangles == 0 {
		l.Triangles = d.Triangles
	}
	if l.Objects == 0 {
		l.Objects = d.Objects
	}
	if l.Items == 0 {
		l.Items = d.Items
	}
	if l.Lines == 0 {
		l.Lines = d.Lines
	}
	return l
}

// Report is what Check found.
type Report struct {
	Closed     bool    // every edge belongs to exactly two triangles
	Oriented   bool    // no edge is run twice in the same direction
	Open       int     // edges in one triangle only
	Crowded    int     // edges in more than two triangles
	Flipped    int     // edges in two triangles that run it the same way
	Degenerate int     // triangles with a repeated corner or no area at all
	Volume     float64 // mm³, positive when triangles face outward
	Area       float64 // mm²
	Bounds     geom.Box3
}

// Printable reports whether the surface bounds a solid: closed, oriented,
// outward-facing, with no degenerate triangle.
func (r Report) Printable() bool {
	return r.Closed && r.Oriented && r.Degenerate == 0 && r.Volume > 0
}

// Check examines a mesh as the 3MF core specification asks of a solid: every
// edge in exactly two triangles, in opposite order. Volume is the sum of signed
// tetrahedra taken from the first vertex,
//
//	V = ⅙ Σ a · (b × c)
//
// (the divergence theorem), so it means something only if the mesh is closed.
// It fails if an index is out of range or a vertex is not finite.
func Check(vertices []geom.Vec3, triangles [][3]int32) (Report, error) {
	r := Report{Bounds: geom.EmptyBox3()}
	for i, v := range vertices {
		if !finite(v) {
			return Report{}, fmt.Errorf("mesh: vertex %d is not finite: %v", i, v)
		}
		r.Bounds = r.Bounds.Add(v)
	}
	// forward counts triangles that run an edge from its lower to its higher
	// vertex, backward those that run it the other way.
	type uses struct{ forward, backward int32 }
	edges := make(map[uint64]uses, len(triangles)*3/2)
	var origin geom.Vec3
	if len(vertices) > 0 {
		origin = vertices[0]
	}
	for i, t := range triangles {
		for _, k := range t {
			if k < 0 || int(k) >= len(vertices) {
				return Report{}, fmt.Errorf("mesh: triangle %d names vertex %d of %d", i, k, len(vertices))
			}
		}
		a := vertices[t[0]].Sub(origin)
		b := vertices[t[1]].Sub(origin)
		c := vertices[t[2]].Sub(origin)
		area := b.Sub(a).Cross(c.Sub(a)).Len() / 2
		if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] || area == 0 {
			r.Degenerate++
		}
		r.Area += area
		r.Volume += a.Dot(b.Cross(c)) / 6
		for j := range 3 {
			from, to := t[j], t[(j+1)%3]
			key := edgeKey(from, to)
			u := edges[key]
			if from < to {
				u.forward++
			} else {
				u.backward++
			}
			edges[key] = u
		}
	}
	for _, u := range edges { // only counts leave this loop, so order is free
		switch n := u.forward + u.backward; {
		case n == 1:
			r.Open++
		case n > 2:
			r.Crowded++
		case u.forward != u.backward:
			r.Flipped++
		}
	}
	r.Closed = len(triangles) > 0 && r.Open == 0 && r.Crowded == 0
	r.Oriented = r.Flipped == 0 && r.Crowded == 0
	return r, nil
}

func edgeKey(a, b int32) uint64 {
	if a > b {
		a, b = b, a
	}
	return uint64(uint32(a))<<32 | uint64(uint32(b))
}

func finite(v geom.Vec3) bool {
	return !math.IsNaN(v.X+v.Y+v.Z) && !math.IsInf(v.X, 0) && !math.IsInf(v.Y, 0) && !math.IsInf(v.Z, 0)
}

// Weld rounds vertices to float32, joins those that become equal, and drops
// what vanishes by it: triangles with a repeated corner, pairs of triangles that
// lie face to face, and vertices that no triangle uses. A closed mesh stays
// closed, since an edge loses its two triangles together or not at all, but
// parts that come to touch along an edge leave it crowded; Check tells. Vertices
// keep the order in which triangles first use them.
func Weld(vertices []geom.Vec3, triangles [][3]int32) ([]geom.Vec3, [][3]int32) {
	index := make(map[[3]float32]int32, len(vertices))
	same := make([]int32, len(vertices))
	joined := false
	for i, v := range vertices {
		k := round32(v)
		j, ok := index[k]
		if !ok {
			j = int32(i)
			index[k] = j
		} else {
			joined = true
		}
		same[i] = j
	}
	kept := make([][3]int32, 0, len(triangles))
	for _, t := range triangles {
		t = [3]int32{same[t[0]], same[t[1]], same[t[2]]}
		if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
			kept = append(kept, t)
		}
	}
	if joined { // otherwise nothing came to lie face to face
		kept = cancelOpposites(kept)
	}
	place := make([]int32, len(vertices))
	for i := range place {
		place[i] = -1
	}
	var out []geom.Vec3
	for i, t := range kept {
		for j, k := range t {
			if place[k] < 0 {
				place[k] = int32(len(out))
				r := round32(vertices[k])
				out = append(out, geom.V3(float64(r[0]), float64(r[1]), float64(r[2])))
			}
			kept[i][j] = place[k]
		}
	}
	return out, kept
}

// cancelOpposites drops pairs of triangles on the same three vertices that face
// opposite ways: together they bound nothing.
func cancelOpposites(triangles [][3]int32) [][3]int32 {
	waiting := make(map[[3]int32][]int) // canonical triangle: indices not yet paired
	dropped := make([]bool, len(triangles))
	for i, t := range triangles {
		t = leastFirst(t)
		mirror := [3]int32{t[0], t[2], t[1]}
		if w := waiting[mirror]; len(w) > 0 {
			j := w[len(w)-1]
			waiting[mirror] = w[:len(w)-1]
			dropped[i], dropped[j] = true, true
			continue
		}
		waiting[t] = append(waiting[t], i)
	}
	kept := triangles[:0]
	for i, t := range triangles {
		if !dropped[i] {
			kept = append(kept, t)
		}
	}
	return kept
}

func leastFirst(t [3]int32) [3]int32 {
	for t[0] > t[1] || t[0] > t[2] {
		t = [3]int32{t[1], t[2], t[0]}
	}
	return t
}

// round32 is v on the float32 grid, with -0 made 0 so that equal points are
// equal keys and print alike.
func round32(v geom.Vec3) [3]float32 {
	return [3]float32{float32(v.X) + 0, float32(v.Y) + 0, float32(v.Z) + 0}
}
