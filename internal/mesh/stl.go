package mesh

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strings"

	"groundwork/internal/geom"
)

// The binary STL layout: an 80-byte header, a little-endian count, and per
// triangle twelve float32 (normal, three corners) and a 16-bit attribute. The
// format has no standard; this is the layout in common use since 1989 (StereoLithography
// Interface Specification, from memory).
const (
	stlHeader   = 80
	stlPrefix   = stlHeader + 4
	stlTriangle = 50
)

// WriteSTL writes the body as binary STL, in millimetres by convention since the
// format has no unit. Normals are computed from the rounded corners; a triangle
// without area gets the zero normal. The header holds the body's name and never
// begins with "solid", which is how readers tell the ASCII form.
func WriteSTL(w io.Writer, b Body) error {
	if len(b.Triangles) > math.MaxUint32 {
		return fmt.Errorf("write STL %q: %d triangles are more than the format counts", b.Name, len(b.Triangles))
	}
	bw := bufio.NewWriterSize(w, 1<<16)
	var head [stlPrefix]byte
	copy(head[:stlHeader], asciiOnly("binary STL, millimetres: "+b.Name))
	binary.LittleEndian.PutUint32(head[stlHeader:], uint32(len(b.Triangles)))
	bw.Write(head[:])
	var rec [stlTriangle]byte
	for i, t := range b.Triangles {
		var p [3]geom.Vec3
		for j, k := range t {
			if k < 0 || int(k) >= len(b.Vertices) {
				return fmt.Errorf("write STL %q: triangle %d names vertex %d of %d", b.Name, i, k, len(b.Vertices))
			}
			r := round32(b.Vertices[k])
			p[j] = geom.V3(float64(r[0]), float64(r[1]), float64(r[2]))
			if !finite(p[j]) {
				return fmt.Errorf("write STL %q: vertex %d does not fit: %v", b.Name, k, b.Vertices[k])
			}
		}
		putVec(rec[0:], p[1].Sub(p[0]).Cross(p[2].Sub(p[0])).Unit())
		for j := range p {
			putVec(rec[12+12*j:], p[j])
		}
		bw.Write(rec[:]) // bufio keeps the first error for Flush
	}
	if err := bw.Flush(); err != nil {
		return fmt.Errorf("write STL %q: %w", b.Name, err)
	}
	return nil
}

func putVec(dst []byte, v geom.Vec3) {
	r := round32(v)
	for i := range r {
		binary.LittleEndian.PutUint32(dst[4*i:], math.Float32bits(r[i]))
	}
}

func asciiOnly(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, s)
}

// ReadSTL reads one body from binary or ASCII STL, such as WriteSTL writes. It
// is strict: several solids, anything after the last triangle, or a missing end
// is an error; Read is the one for files of other people. Equal corners become
// one vertex. Stored normals are not used: the order of the corners says where
// outside is. Triangles are kept as they are, so Check the result. The name
// comes from the ASCII form's first line only.
func ReadSTL(r io.Reader, lim Limits) (Body, error) {
	lim = lim.orDefault()
	data, err := io.ReadAll(io.LimitReader(r, lim.FileBytes+1))
	if err != nil {
		return Body{}, fmt.Errorf("read STL: %w", err)
	}
	if int64(len(data)) > lim.FileBytes {
		return Body{}, fmt.Errorf("read STL: the file is larger than %d bytes", lim.FileBytes)
	}
	var passed notes
	bodies, err := readSTL(data, lim, &passed)
	if err != nil {
		return Body{}, fmt.Errorf("read STL: %w", err)
	}
	if len(passed.things) > 0 {
		return Body{}, fmt.Errorf("read STL: %s", passed.words()[0])
	}
	if len(bodies) != 1 {
		return Body{}, fmt.Errorf("read STL: expected one solid, found %d", len(bodies))
	}
	return bodies[0], nil
}

// readSTL reads the bodies of an STL file. A file is binary if its length fits
// its triangle count, whatever its header says; otherwise it is ASCII if it is
// text that begins with "solid".
func readSTL(data []byte, lim Limits, passed *notes) ([]Body, error) {
	if text := trimBOM(data); !fitsBinarySTL(data) && isASCIISTL(text) {
		return readASCIISTL(text, lim, passed)
	}
	b, err := readBinarySTL(data, lim, passed)
	if err != nil || len(b.Triangles) == 0 {
		return nil, err
	}
	return []Body{b}, nil
}

func fitsBinarySTL(data []byte) bool {
	return len(data) >= stlPrefix &&
		uint64(len(data)) == stlPrefix+uint64(binary.LittleEndian.Uint32(data[stlHeader:]))*stlTriangle
}

// isASCIISTL reports whether text begins with the word "solid" and looks like
// text: a binary header is padded, its count and coordinates hold control bytes.
func isASCIISTL(text []byte) bool {
	text = bytes.TrimLeftFunc(text[:min(len(text), 1024)], func(r rune) bool { return r < 0x80 && isSpace(byte(r)) })
	word := []byte("solid")
	return len(text) >= len(word) && bytes.EqualFold(text[:len(word)], word) &&
		(len(text) == len(word) || isSpace(text[len(word)])) && isText(text)
}

// welder gathers corners into vertices, joining equal ones.
type welder struct {
	body  Body
	index map[geom.Vec3]int32
}

func newWelder(triangles int) *welder {
	return &welder{
		body:  Body{Triangles: make([][3]int32, 0, triangles)},
		index: make(map[geom.Vec3]int32, triangles/2),
	}
}

func (w *welder) add(corners [3]geom.Vec3) {
	var t [3]int32
	for i, p := range corners {
		p = geom.V3(p.X+0, p.Y+0, p.Z+0) // -0 becomes 0
		k, ok := w.index[p]
		if !ok {
			k = int32(len(w.body.Vertices))
			w.index[p] = k
			w.body.Vertices = append(w.body.Vertices, p)
		}
		t[i] = k
	}
	w.body.Triangles = append(w.body.Triangles, t)
}

func readBinarySTL(data []byte, lim Limits, passed *notes) (Body, error) {
	if len(data) < stlPrefix {
		return Body{}, fmt.Errorf("%d bytes are too few for a binary file, and it does not begin with \"solid\"", len(data))
	}
	n := int64(binary.LittleEndian.Uint32(data[stlHeader:]))
	rest := int64(len(data)) - stlPrefix
	if n > int64(lim.Triangles) && n*stlTriangle <= rest {
		return Body{}, fmt.Errorf("byte %d: %d triangles are more than %d", stlHeader, n, lim.Triangles)
	}
	if n*stlTriangle > rest {
		place := "within"
		if rest%stlTriangle == 0 {
			place = "before"
		}
		return Body{}, fmt.Errorf("byte %d: the file ends %s triangle %d: byte %d counts %d triangles, which need %d bytes",
			len(data), place, rest/stlTriangle, stlHeader, n, stlPrefix+n*stlTriangle)
	}
	end := stlPrefix + n*stlTriangle
	if extra := data[end:]; len(extra) > 0 {
		if i := bytes.IndexFunc(extra, func(r rune) bool { return r != 0 && r != 0x1a && !(r < 0x80 && isSpace(byte(r))) }); i >= 0 {
			return Body{}, fmt.Errorf("byte %d: byte %d counts %d triangles, which end at byte %d, but %d bytes follow that are not padding (a triangle takes %d)",
				end+int64(i), stlHeader, n, end, len(extra), stlTriangle)
		}
		passed.add(fmt.Sprintf("%d bytes of padding after the last triangle", len(extra)), fmt.Sprintf("byte %d", end))
	}
	w := newWelder(int(n))
	for i := range int(n) {
		at := stlPrefix + i*stlTriangle
		var p [3]geom.Vec3
		for j := range p {
			p[j] = getVec(data[at+12+12*j:])
			if !finite(p[j]) {
				return Body{}, fmt.Errorf("byte %d: triangle %d has a corner that is not finite", at+12+12*j, i)
			}
		}
		w.add(p)
	}
	return w.body, nil
}

func getVec(b []byte) geom.Vec3 {
	f := func(i int) float64 { return float64(math.Float32frombits(binary.LittleEndian.Uint32(b[i:]))) }
	return geom.V3(f(0), f(4), f(8))
}

// readASCIISTL reads the solids of an ASCII STL file, word by word, since line
// breaks carry no meaning in it but at the end of a name.
func readASCIISTL(text []byte, lim Limits, passed *notes) ([]Body, error) {
	a := &asciiSTL{lexer: &lexer{data: text, line: 1}, lim: lim}
	var bodies []Body
	word := a.word()
	for word != nil {
		if !is(word, "solid") {
			return nil, a.fail("expected \"solid\", found %s", shown(word))
		}
		line := a.line
		name := a.name()
		var b Body
		var err error
		if b, word, err = a.solid(); err != nil {
			return nil, err
		}
		b.Name = name
		if is(word, "endsolid") {
			a.skipLine() // whatever name stands there
			word = a.word()
		} else {
			found := shown(word)
			passed.add(fmt.Sprintf("the missing end of solid %q: %s stands where \"endsolid\" should", clip(name), found), fmt.Sprintf("line %d", a.line))
		}
		if len(b.Triangles) == 0 {
			passed.add("solids without triangles", fmt.Sprintf("line %d", line))
			continue
		}
		if len(bodies) == lim.Objects {
			return nil, failAt(line, "more than %d solids", lim.Objects)
		}
		bodies = append(bodies, b)
	}
	return bodies, nil
}

// asciiSTL walks the words of an ASCII STL file.
type asciiSTL struct {
	*lexer
	lim       Limits
	triangles int // over all solids
}

// name is the rest of the line after "solid", up to the first facet if that
// stands on the same line.
func (a *asciiSTL) name() string {
	start := a.at
	end := a.at
	for !a.atEOL() {
		before := a.at
		w := a.lineWord()
		if w == nil {
			break
		}
		if is(w, "facet") || is(w, "endsolid") {
			after, line := a.at, a.line
			if is(w, "endsolid") || is(a.lineWord(), "normal") {
				a.at, a.line = before, line
				break
			}
			a.at, a.line = after, line
		}
		end = a.at
	}
	return nameOf(a.data[start:end])
}

// solid reads facets up to the first word that is not one, and returns it.
func (a *asciiSTL) solid() (Body, []byte, error) {
	w := newWelder(0)
	for {
		word := a.word()
		if word == nil || is(word, "endsolid") || is(word, "solid") {
			return w.body, word, nil
		}
		if !is(word, "facet") {
			return Body{}, nil, a.fail("expected \"facet\" or \"endsolid\", found %s", shown(word))
		}
		if a.triangles++; a.triangles > a.lim.Triangles {
			return Body{}, nil, a.fail("more than %d triangles", a.lim.Triangles)
		}
		if a.line > a.lim.Lines {
			return Body{}, nil, a.fail("more than %d lines", a.lim.Lines)
		}
		p, err := a.facet()
		if err != nil {
			return Body{}, nil, err
		}
		w.add(p)
	}
}

// facet reads what follows the word "facet". The normal's three words are not
// looked at: some programs write "nan" there for a triangle without area.
func (a *asciiSTL) facet() (p [3]geom.Vec3, err error) {
	if err := a.expect("normal"); err != nil {
		return p, err
	}
	for range 3 {
		if w := a.word(); w == nil || is(w, "outer") || is(w, "vertex") {
			return p, a.fail("expected the three numbers of a normal, found %s", shown(w))
		}
	}
	if err := a.expect("outer", "loop"); err != nil {
		return p, err
	}
	for i := range p {
		if err := a.expect("vertex"); err != nil {
			return p, err
		}
		if p[i], err = a.vec(a.word); err != nil {
			return p, err
		}
	}
	return p, a.expect("endloop", "endfacet")
}

func (a *asciiSTL) expect(words ...string) error {
	for _, want := range words {
		if w := a.word(); !is(w, want) {
			return a.fail("expected %q, found %s", want, shown(w))
		}
	}
	return nil
}

// is compares a word of the file with a keyword, whatever its case.
func is(word []byte, keyword string) bool {
	return len(word) == len(keyword) && strings.EqualFold(string(word), keyword)
}
