package mesh

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/geom"
)

// What the first word of an OBJ statement says about it. The format has no
// standard; these are the statements of the "Object Files (.obj)" appendix of
// 1995 that its users go by, from memory.
type statement int

const (
	unknownStatement statement = iota
	vertexStatement
	faceStatement
	partStatement     // opens an object or a group
	lookStatement     // texture, normal, material, smoothing, drawing: no shape in it
	lineStatement     // lines and points
	freeFormStatement // curves and surfaces that are not made of faces
	callStatement     // asks for another file or program
)

var objStatements = func() map[string]statement {
	m := map[string]statement{}
	for s, words := range map[statement]string{
		vertexStatement: "v", faceStatement: "f fo", partStatement: "o g",
		lookStatement:     "vt vn s mg usemtl mtllib usemap maplib bevel c_interp d_interp lod shadow_obj trace_obj ctech stech",
		lineStatement:     "l p",
		freeFormStatement: "vp cstype deg bmat step curv curv2 surf parm trim hole scrv sp end con res bsp bzp cdc cdp",
		callStatement:     "call csh",
	} {
		for _, w := range strings.Fields(words) {
			m[w] = s
		}
	}
	return m
}()

// startsOBJ reports whether the first word of text, comments aside, is one that
// an OBJ file can begin with.
func startsOBJ(text []byte) bool {
	l := &lexer{data: text, line: 1}
	for {
		w := l.word()
		if w == nil {
			return false
		}
		if w[0] != '#' {
			return objStatements[string(w)] != unknownStatement
		}
		l.skipLine()
	}
}

// maxCorners bounds the corners of one polygon, since cutting it into triangles
// takes time that grows with their square.
const maxCorners = 4096

// objFace is one polygon. Its corners are those of objReader.corners from the
// end of the face before it up to its own end.
type objFace struct {
	end  int32 // in objReader.corners
	part int32
	line int32
}

// objReader gathers what an OBJ file holds; vertices belong to the whole file.
type objReader struct {
	*lexer
	lim       Limits
	passed    *notes
	vertices  []geom.Vec3
	corners   []int32 // vertices of the faces, one face after the other
	faces     []objFace
	triangles int
	parts     []string // names, in order of appearance
	partIndex map[string]int32
	part      int32
	object    string
	group     string
}

// readOBJ reads the polygons of an OBJ file. Vertices and faces count; a
// vertex's weight and colour, texture coordinates, normals and materials do not,
// and no other file is opened. Lines, points, free forms and words that the
// format does not know are noted as passed over.
//
// Faces under one object and group name are one body, in whatever order they
// come. Two of these that share an open edge are parts of one surface, parted by
// its author for material's or smoothing's sake, and come out as one body.
func readOBJ(data []byte, lim Limits, passed *notes) ([]Body, error) {
	r := &objReader{
		lexer:  &lexer{data: trimBOM(data), line: 1, joins: true},
		lim:    lim,
		passed: passed,
	}
	if err := r.openPart(); err != nil {
		return nil, err
	}
	for r.at < len(r.data) {
		if r.line > lim.Lines {
			return nil, r.fail("more than %d lines", lim.Lines)
		}
		if err := r.statement(); err != nil {
			return nil, err
		}
		for r.lineWord() != nil { // what a statement did not look at
		}
		if r.atEOL() {
			r.eol()
		}
	}
	if err := r.checkCorners(); err != nil {
		return nil, err
	}
	return r.bodies(), nil
}

// next is the next word of this statement, or nil at its end. A comment ends it;
// a backslash at the end of a comment joins nothing, since it is more often the
// end of a folder's name than meant.
func (r *objReader) next() []byte {
	w := r.lineWord()
	if w != nil && w[0] == '#' {
		r.at -= len(w)
		r.skipLine()
		return nil
	}
	return w
}

func (r *objReader) statement() error {
	w := r.next()
	if w == nil {
		return nil
	}
	if bytes.IndexByte(w, 0) >= 0 {
		return r.fail("%s is not text", shown(w))
	}
	switch objStatements[string(w)] {
	case vertexStatement:
		return r.vertex()
	case faceStatement:
		return r.face()
	case partStatement:
		start := r.at
		for r.lineWord() != nil {
		}
		name := nameOf(bytes.ReplaceAll(r.data[start:min(r.at, start+1024)], []byte("\\"), nil))
		if string(w) == "o" {
			r.object, r.group = name, ""
		} else {
			r.group = name
		}
		return r.openPart()
	case lookStatement:
	case lineStatement:
		r.passOver("lines and points")
	case freeFormStatement:
		r.passOver("free-form curves and surfaces")
	case callStatement:
		r.passOver("the call of another file")
	default:
		if c := w[0]; c >= '0' && c <= '9' || c == '-' || c == '+' || c == '.' {
			return r.fail("a line begins with the number %s, not with a statement", shown(w))
		}
		r.passOver("statements " + shown(w) + ", unknown to the format")
	}
	return nil
}

func (r *objReader) passOver(what string) { r.passed.add(what, fmt.Sprintf("line %d", r.line)) }

// openPart makes the part of the present object and group the current one.
func (r *objReader) openPart() error {
	name := r.object
	if r.group != "" && r.group != "default" && r.group != r.object {
		name = strings.TrimPrefix(name+" "+r.group, " ")
	}
	p, ok := r.partIndex[name]
	if !ok {
		if len(r.parts) > r.lim.Objects { // the one without a name is not counted
			return r.fail("more than %d objects and groups", r.lim.Objects)
		}
		if r.partIndex == nil {
			r.partIndex = map[string]int32{}
		}
		p = int32(len(r.parts))
		r.parts = append(r.parts, name)
		r.partIndex[name] = p
	}
	r.part = p
	return nil
}

func (r *objReader) vertex() error {
	// A closed mesh has about half as many vertices as triangles.
	if len(r.vertices) == r.lim.Triangles {
		return r.fail("more than %d vertices", r.lim.Triangles)
	}
	v, err := r.vec(r.next)
	if err != nil {
		return err
	}
	r.vertices = append(r.vertices, geom.V3(v.X+0, v.Y+0, v.Z+0)) // -0 becomes 0
	return nil
}

func (r *objReader) face() error {
	line := r.line
	start := len(r.corners)
	for {
		w := r.next()
		if w == nil {
			break
		}
		if len(r.corners)-start == maxCorners {
			return r.fail("a face has more than %d corners", maxCorners)
		}
		k, err := r.corner(w)
		if err != nil {
			return err
		}
		r.corners = append(r.corners, k)
	}
	n := len(r.corners) - start
	if n < 3 {
		return failAt(line, "a face has %d corners", n)
	}
	if r.triangles += n - 2; r.triangles > r.lim.Triangles {
		return failAt(line, "more than %d triangles", r.lim.Triangles)
	}
	r.faces = append(r.faces, objFace{end: int32(len(r.corners)), part: r.part, line: int32(min(line, math.MaxInt32))})
	return nil
}

// corner reads "vertex", "vertex/texture", "vertex//normal" or
// "vertex/texture/normal" and returns the vertex, counted from 0. Whether it
// exists is looked at when the whole file is read; a negative number counts back
// from here.
func (r *objReader) corner(w []byte) (int32, error) {
	head, rest, _ := bytes.Cut(w, []byte("/"))
	texture, normal, _ := bytes.Cut(rest, []byte("/"))
	k, ok := wholeNumber(head)
	for _, other := range [][]byte{texture, normal} {
		if _, whole := wholeNumber(other); len(other) > 0 && !whole {
			ok = false
		}
	}
	switch {
	case !ok:
		return 0, r.fail("the corner %s is not of the form vertex/texture/normal in whole numbers", shown(w))
	case k == 0:
		return 0, r.fail("the corner %s names vertex 0; they count from 1", shown(w))
	case k > 0:
		return int32(k - 1), nil
	case -k > len(r.vertices):
		return 0, r.fail("the corner %s counts back beyond the %d vertices before it", shown(w), len(r.vertices))
	}
	return int32(len(r.vertices) + k), nil
}

// wholeNumber reads an integer of at most nine digits.
func wholeNumber(w []byte) (n int, ok bool) {
	digits := bytes.TrimPrefix(w, []byte("-"))
	if len(digits) == 0 || len(digits) > 9 {
		return 0, false
	}
	for _, c := range digits {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = 10*n + int(c-'0')
	}
	if len(digits) < len(w) {
		n = -n
	}
	return n, true
}

func (r *objReader) checkCorners() error {
	i := int32(0)
	for _, f := range r.faces {
		for ; i < f.end; i++ {
			if int(r.corners[i]) >= len(r.vertices) {
				return failAt(int(f.line), "a face names vertex %d of %d", r.corners[i]+1, len(r.vertices))
			}
		}
	}
	return nil
}

// bodies makes the faces into bodies, in the order of their first faces.
func (r *objReader) bodies() []Body {
	// One vertex for each place.
	index := make(map[geom.Vec3]int32, len(r.vertices))
	same := make([]int32, len(r.vertices))
	for i, v := range r.vertices {
		k, ok := index[v]
		if !ok {
			k = int32(i)
			index[v] = k
		}
		same[i] = k
	}
	for i, k := range r.corners {
		r.corners[i] = same[k]
	}

	surface := r.surfaces()
	order := make([]int32, len(r.parts)) // surface: body + 1
	var names []string
	var faces [][]int32 // of each body
	for i, f := range r.faces {
		s := surface[f.part]
		if order[s] == 0 {
			names = append(names, r.parts[f.part])
			faces = append(faces, nil)
			order[s] = int32(len(names))
		}
		faces[order[s]-1] = append(faces[order[s]-1], int32(i))
	}
	place := make([]int32, len(r.vertices)) // vertex: index in the body + 1
	var bodies []Body
	var points []geom.Vec3 // of one polygon
	for i, list := range faces {
		b := Body{Name: names[i]}
		var used []int32
		for _, f := range list {
			polygon := r.polygon(int(f))
			points = points[:0]
			for _, k := range polygon {
				points = append(points, r.vertices[k])
				if place[k] == 0 {
					b.Vertices = append(b.Vertices, r.vertices[k])
					used = append(used, k)
					place[k] = int32(len(b.Vertices))
				}
			}
			if len(points) == 3 {
				b.Triangles = append(b.Triangles, [3]int32{place[polygon[0]] - 1, place[polygon[1]] - 1, place[polygon[2]] - 1})
				continue
			}
			triangles, plain := triangulate(points)
			if !plain {
				r.passed.add("the intent of faces that cross themselves or have no area", fmt.Sprintf("line %d", r.faces[f].line))
			}
			for _, t := range triangles {
				b.Triangles = append(b.Triangles, [3]int32{place[polygon[t[0]]] - 1, place[polygon[t[1]]] - 1, place[polygon[t[2]]] - 1})
			}
		}
		for _, k := range used {
			place[k] = 0
		}
		bodies = append(bodies, b)
	}
	return bodies
}

// polygon is the corners of a face. Of corners that follow one another at one
// place only one is kept, as long as three remain: no edge is lost by it.
func (r *objReader) polygon(face int) []int32 {
	start := int32(0)
	if face > 0 {
		start = r.faces[face-1].end
	}
	all := r.corners[start:r.faces[face].end]
	if len(all) == 3 {
		return all
	}
	kept := slices.Compact(slices.Clone(all))
	for len(kept) > 3 && kept[0] == kept[len(kept)-1] {
		kept = kept[:len(kept)-1]
	}
	if len(kept) < 3 {
		return all[:3] // without area, whichever three they are
	}
	return kept
}

// surfaces joins parts that are one surface: those that share an edge which each
// of them, taken alone, leaves open. It returns for each part the first part of
// its surface.
func (r *objReader) surfaces() []int32 {
	first := make([]int32, len(r.parts))
	for i := range first {
		first[i] = int32(i)
	}
	several := slices.ContainsFunc(r.faces, func(f objFace) bool { return f.part != r.faces[0].part })
	if !several {
		return first
	}
	type use struct {
		edge uint64
		part int32
	}
	var uses []use
	for i, f := range r.faces {
		polygon := r.polygon(i)
		for j, k := range polygon {
			if next := polygon[(j+1)%len(polygon)]; next != k {
				uses = append(uses, use{edgeKey(k, next), f.part})
			}
		}
	}
	slices.SortFunc(uses, func(a, b use) int {
		return cmp.Or(cmp.Compare(a.edge, b.edge), cmp.Compare(a.part, b.part))
	})
	root := func(p int32) int32 {
		for first[p] != p {
			first[p] = first[first[p]]
			p = first[p]
		}
		return p
	}
	open := int32(-1) // a part that leaves the present edge open
	for i := 0; i < len(uses); {
		j := i
		for j < len(uses) && uses[j] == uses[i] {
			j++
		}
		if i > 0 && uses[i].edge != uses[i-1].edge {
			open = -1
		}
		if (j-i)%2 == 1 {
			if open >= 0 {
				a, b := root(open), root(uses[i].part)
				first[max(a, b)] = min(a, b)
			}
			open = uses[i].part
		}
		i = j
	}
	for p := range first {
		first[p] = root(int32(p))
	}
	return first
}
