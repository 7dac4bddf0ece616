package mesh

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

// golden compares got with a file of testdata; GOLDEN=update rewrites the file.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if os.Getenv("GOLDEN") == "update" {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs from what is written now; look at the difference, then GOLDEN=update", name)
	}
}

func stlBytes(t testing.TB, b Body) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := WriteSTL(&out, b); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestSTLGolden(t *testing.T) {
	b := tetrahedron(3, 4, 5)
	b.Name = "leg 1/2 é"
	data := stlBytes(t, b)
	golden(t, "tetrahedron.stl", data)
	if bytes.HasPrefix(data, []byte("solid")) || len(data) != 84+4*50 {
		t.Errorf("%d bytes beginning %q", len(data), data[:20])
	}
	// The slanted face of legs 3, 4, 5 has the normal (20, 15, 12)/√769.
	for i, want := range []float64{20, 15, 12} {
		got := math.Float32frombits(binary.LittleEndian.Uint32(data[84+3*50+4*i:]))
		if math.Abs(float64(got)-want/math.Sqrt(769)) > 1e-7 {
			t.Errorf("normal %d is %v", i, got)
		}
	}
}

// sameSurface compares triangles by their corners, since a reader numbers
// vertices in its own order.
func sameSurface(a, b Body) bool {
	return slices.Equal(corners(a), corners(b))
}

func corners(b Body) []geom.Vec3 {
	var out []geom.Vec3
	for _, t := range b.Triangles {
		for _, k := range t {
			out = append(out, b.Vertices[k])
		}
	}
	return out
}

func TestSTLRoundTrip(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b := drawBody(rt)
		var out bytes.Buffer
		if err := WriteSTL(&out, b); err != nil {
			rt.Fatal(err)
		}
		got, err := ReadSTL(bytes.NewReader(out.Bytes()), Limits{})
		if err != nil {
			rt.Fatal(err)
		}
		if !sameSurface(b, got) || len(got.Vertices) != len(b.Vertices) {
			rt.Errorf("%d vertices and %d triangles came back as %d and %d", len(b.Vertices), len(b.Triangles), len(got.Vertices), len(got.Triangles))
		}
	})
}

const asciiTetrahedron = `solid  a leg
  facet normal 0 0 -1
    outer loop
      vertex 0 0 0
      vertex 0 4 0
      vertex 3 0 -0.0
    endloop
  endfacet
FACET NORMAL 0 -1 0
OUTER LOOP
VERTEX 0 0 0
VERTEX 3.0e0 0 0
VERTEX 0 0 +5
ENDLOOP
ENDFACET

facet normal -1 0 0
outer loop
vertex 0 0 0
vertex 0 0 5
vertex 0 4 0
endloop
endfacet
facet normal 20 15 12
outer loop
vertex 3 0 0
vertex 0 4 0
vertex 0 0 5
endloop
endfacet
endsolid a leg
`

func TestReadASCIISTL(t *testing.T) {
	for _, text := range []string{asciiTetrahedron, strings.ReplaceAll(asciiTetrahedron, "\n", "\r\n")} {
		got, err := ReadSTL(strings.NewReader(text), Limits{})
		if err != nil {
			t.Fatal(err)
		}
		if got.Name != "a leg" || !sameSurface(got, tetrahedron(3, 4, 5)) || len(got.Vertices) != 4 {
			t.Errorf("%+v", got)
		}
	}
}

// A binary file whose header begins with "solid" is binary all the same.
func TestBinaryHeaderMaySaySolid(t *testing.T) {
	data := stlBytes(t, box(1, 2, 3))
	copy(data, "solid ")
	got, err := ReadSTL(bytes.NewReader(data), Limits{})
	if err != nil || !sameSurface(got, box(1, 2, 3)) {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestReadSTLRefuses(t *testing.T) {
	good := stlBytes(t, box(1, 2, 3))
	notFinite := bytes.Clone(good)
	binary.LittleEndian.PutUint32(notFinite[84+50+12:], math.Float32bits(float32(math.NaN())))
	for _, c := range []struct {
		name string
		data string
		lim  Limits
		want string
	}{
		{"empty", "", Limits{}, "too few"},
		{"cut short", string(good[:len(good)-1]), Limits{}, "byte 683: the file ends within triangle 11: byte 80 counts 12 triangles, which need 684 bytes"},
		{"too long", string(good) + "x", Limits{}, "byte 80"},
		{"not finite", string(notFinite), Limits{}, "byte 146: triangle 1"},
		{"too many triangles", string(good), Limits{Triangles: 11}, "12 triangles are more than 11"},
		{"too many bytes", string(good), Limits{FileBytes: 683}, "larger than 683"},
		{"just few enough", string(good), Limits{Triangles: 12, FileBytes: 684}, ""},
		{"ASCII: too many triangles", asciiTetrahedron, Limits{Triangles: 3}, "line 24: more than 3"},
		{"ASCII: no number", strings.Replace(asciiTetrahedron, "0 4 0", "0 four 0", 1), Limits{}, `line 5: "four" is not a number`},
		{"ASCII: infinity", strings.Replace(asciiTetrahedron, "0 4 0", "0 inf 0", 1), Limits{}, `line 5`},
		{"ASCII: hexadecimal", strings.Replace(asciiTetrahedron, "0 4 0", "0 0x4 0", 1), Limits{}, `line 5`},
		{"ASCII: beyond float32", strings.Replace(asciiTetrahedron, "0 4 0", "0 1e39 0", 1), Limits{}, `line 5`},
		{"ASCII: a fourth corner", strings.Replace(asciiTetrahedron, "0 4 0", "0 4 0\nvertex 1 1 1", 1), Limits{}, `line 7: expected "endloop"`},
		{"ASCII: no end", strings.Replace(asciiTetrahedron, "endsolid a leg\n", "", 1), Limits{}, "the end of the file"},
		{"ASCII: two solids", asciiTetrahedron + asciiTetrahedron, Limits{}, "expected one solid"},
		{"ASCII: another word", "solidity 3\n", Limits{}, `does not begin with "solid"`},
	} {
		_, err := ReadSTL(strings.NewReader(c.data), c.lim)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

func TestWriteSTLRefuses(t *testing.T) {
	var out bytes.Buffer
	b := box(1, 2, 3)
	b.Triangles[5][1] = 8
	if err := WriteSTL(&out, b); err == nil {
		t.Error("an index out of range was written")
	}
	b = box(1, 2, 1e39)
	if err := WriteSTL(&out, b); err == nil {
		t.Error("a length beyond float32 was written")
	}
	if err := WriteSTL(failing{}, box(1, 2, 3)); !errors.Is(err, errFull) {
		t.Errorf("a full disk gave %v", err)
	}
}

var errFull = errors.New("no space left")

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errFull }

func FuzzReadSTL(f *testing.F) {
	f.Add([]byte(asciiTetrahedron))
	f.Add(stlBytes(f, box(1, 2, 3)))
	f.Add([]byte("solid\nendsolid"))
	f.Add([]byte("solid x\nfacet normal 0 0 1\nouter loop\nvertex 1e38 -.5 1."))
	f.Add(make([]byte, 84))
	f.Fuzz(func(t *testing.T, data []byte) {
		lim := Limits{Triangles: 1000, FileBytes: 1 << 20}
		b, err := ReadSTL(bytes.NewReader(data), lim)
		if err != nil {
			return
		}
		if _, err := Check(b.Vertices, b.Triangles); err != nil {
			t.Fatalf("accepted, but %v", err)
		}
		// What was read can be written, and reads back as float32.
		again, err := ReadSTL(bytes.NewReader(stlBytes(t, b)), lim)
		if err != nil || len(again.Triangles) != len(b.Triangles) {
			t.Fatalf("%d triangles came back as %d, %v", len(b.Triangles), len(again.Triangles), err)
		}
	})
}
