package mesh

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
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

// ReadSTL reads one body from binary or ASCII STL. Equal corners become one
// vertex. Stored normals are not used: the order of the corners says where
// outside is. A file is binary if its length fits its triangle count, whatever
// its header says; otherwise it must be ASCII with exactly one solid. Triangles
// are kept as they are, so Check the result. The name comes from the ASCII
// form's first line only.
func ReadSTL(r io.Reader, lim Limits) (Body, error) {
	lim = lim.orDefault()
	data, err := io.ReadAll(io.LimitReader(r, lim.FileBytes+1))
	if err != nil {
		return Body{}, fmt.Errorf("read STL: %w", err)
	}
	if int64(len(data)) > lim.FileBytes {
		return Body{}, fmt.Errorf("read STL: the file is larger than %d bytes", lim.FileBytes)
	}
	if len(data) >= stlPrefix {
		n := uint64(binary.LittleEndian.Uint32(data[stlHeader:]))
		if uint64(len(data)) == stlPrefix+n*stlTriangle {
			return readBinarySTL(data, lim)
		}
	}
	if len(data) >= 5 && strings.EqualFold(string(data[:5]), "solid") {
		return readASCIISTL(data, lim)
	}
	if len(data) < stlPrefix {
		return Body{}, fmt.Errorf("read STL: %d bytes are too few for a binary file, and it does not begin with \"solid\"", len(data))
	}
	n := binary.LittleEndian.Uint32(data[stlHeader:])
	return Body{}, fmt.Errorf("read STL: byte %d: %d triangles need %d bytes, the file has %d", stlHeader, n, stlPrefix+uint64(n)*stlTriangle, len(data))
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

func readBinarySTL(data []byte, lim Limits) (Body, error) {
	n := int(binary.LittleEndian.Uint32(data[stlHeader:]))
	if n > lim.Triangles {
		return Body{}, fmt.Errorf("read STL: %d triangles are more than %d", n, lim.Triangles)
	}
	w := newWelder(n)
	for i := range n {
		at := stlPrefix + i*stlTriangle
		var p [3]geom.Vec3
		for j := range p {
			p[j] = getVec(data[at+12+12*j:])
			if !finite(p[j]) {
				return Body{}, fmt.Errorf("read STL: byte %d: triangle %d has a corner that is not finite", at+12+12*j, i)
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

// asciiSTL walks the lines of an ASCII STL file.
type asciiSTL struct {
	rest []byte
	line int
}

// next is the words of the next line that has any, or nil at the end.
func (a *asciiSTL) next() []string {
	for len(a.rest) > 0 {
		var row []byte
		row, a.rest, _ = bytes.Cut(a.rest, []byte("\n"))
		a.line++
		if words := strings.Fields(string(row)); len(words) > 0 {
			return words
		}
	}
	return nil
}

func (a *asciiSTL) fail(format string, args ...any) error {
	return fmt.Errorf("read STL: line %d: %s", a.line, fmt.Sprintf(format, args...))
}

// numbers parses exactly three numbers after the given words.
func (a *asciiSTL) numbers(words []string, lead ...string) (geom.Vec3, error) {
	if !startsWith(words, lead) || len(words) != len(lead)+3 {
		return geom.Vec3{}, a.fail("expected %q and three numbers, found %s", strings.Join(lead, " "), quoteLine(words))
	}
	var x [3]float64
	for i := range x {
		s := words[len(lead)+i]
		v, err := parseNumber(s)
		if err != nil {
			return geom.Vec3{}, a.fail("%q is not a number", clip(s))
		}
		x[i] = v
	}
	return geom.V3(x[0], x[1], x[2]), nil
}

func (a *asciiSTL) expect(lead ...string) error {
	words := a.next()
	if !startsWith(words, lead) || len(words) != len(lead) {
		return a.fail("expected %q, found %s", strings.Join(lead, " "), quoteLine(words))
	}
	return nil
}

func startsWith(words, lead []string) bool {
	if len(words) < len(lead) {
		return false
	}
	for i, l := range lead {
		if !strings.EqualFold(words[i], l) {
			return false
		}
	}
	return true
}

func quoteLine(words []string) string {
	if words == nil {
		return "the end of the file"
	}
	return strconv.Quote(clip(strings.Join(words, " ")))
}

func clip(s string) string {
	if len(s) > 60 {
		return s[:60] + "…"
	}
	return s
}

func readASCIISTL(data []byte, lim Limits) (Body, error) {
	a := &asciiSTL{rest: data}
	first := a.next()
	w := newWelder(0)
	w.body.Name = strings.Join(first[1:], " ")
	if !strings.EqualFold(first[0], "solid") {
		return Body{}, a.fail("expected \"solid\", found %s", quoteLine(first))
	}
	for {
		words := a.next()
		if startsWith(words, []string{"endsolid"}) {
			break
		}
		if _, err := a.numbers(words, "facet", "normal"); err != nil {
			return Body{}, err
		}
		if len(w.body.Triangles) == lim.Triangles {
			return Body{}, a.fail("more than %d triangles", lim.Triangles)
		}
		if err := a.expect("outer", "loop"); err != nil {
			return Body{}, err
		}
		var p [3]geom.Vec3
		for i := range p {
			var err error
			if p[i], err = a.numbers(a.next(), "vertex"); err != nil {
				return Body{}, err
			}
		}
		if err := a.expect("endloop"); err != nil {
			return Body{}, err
		}
		if err := a.expect("endfacet"); err != nil {
			return Body{}, err
		}
		w.add(p)
	}
	if words := a.next(); words != nil {
		return Body{}, a.fail("expected one solid, found %s after it", quoteLine(words))
	}
	return w.body, nil
}

// parseNumber reads a decimal number, refusing what strconv allows beyond that:
// infinities, hexadecimal and underscores.
func parseNumber(s string) (float64, error) {
	for i := range len(s) {
		switch c := s[i]; {
		case c >= '0' && c <= '9', c == '+', c == '-', c == '.', c == 'e', c == 'E':
		default:
			return 0, strconv.ErrSyntax
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	if err == nil && math.Abs(v) > math.MaxFloat32 {
		return 0, strconv.ErrRange
	}
	return v, err
}
