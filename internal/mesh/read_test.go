package mesh

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

// told is a scene in short: what Read made of a file, for tables.
func told(s Scene) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s %q:", s.Format, s.Unit)
	for _, it := range s.Items {
		body := s.Bodies[it.Body]
		r, err := Check(body.Vertices, body.Triangles)
		if err != nil {
			return err.Error()
		}
		fmt.Fprintf(&b, " %q %d/%d", body.Name, len(body.Vertices), len(body.Triangles))
		if r.Closed && r.Oriented {
			fmt.Fprintf(&b, " volume %.6g", r.Volume)
		}
		if it.Frame != geom.World() {
			fmt.Fprintf(&b, " at %v", it.Frame.Origin)
		}
		b.WriteByte(';')
	}
	if len(s.Passed) > 0 {
		fmt.Fprintf(&b, " passed: %s", strings.Join(s.Passed, " | "))
	}
	return b.String()
}

type reading struct {
	name, file string
	data       string
	want       string
}

func checkReadings(t *testing.T, table []reading) {
	t.Helper()
	for _, c := range table {
		s, err := Read(c.file, []byte(c.data), Limits{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := told(s); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}

// binarySTL is the tetrahedron of volume 10 with changes.
func binarySTL(t testing.TB, change func([]byte) []byte) string {
	return string(change(stlBytes(t, tetrahedron(3, 4, 5))))
}

func TestReadSTLQuirks(t *testing.T) {
	upper := strings.ToUpper(asciiTetrahedron)
	other := strings.ReplaceAll(strings.Replace(asciiTetrahedron, "a leg", "an arm", 2), "5", "6")
	const leg = `STL "": "a leg" 4/4 volume 10;`
	checkReadings(t, []reading{
		{"binary", "leg.stl", binarySTL(t, func(b []byte) []byte { return b }), `STL "": "" 4/4 volume 10;`},
		{"binary with another name", "leg.obj", binarySTL(t, func(b []byte) []byte { return b }), `STL "": "" 4/4 volume 10;`},
		{"binary without a name", "", binarySTL(t, func(b []byte) []byte { return b }), `STL "": "" 4/4 volume 10;`},
		{"binary that says solid", "leg.stl", binarySTL(t, func(b []byte) []byte { copy(b, "solid leg facet normal"); return b }), `STL "": "" 4/4 volume 10;`},
		{"binary that says solid, padded with spaces", "leg.stl", binarySTL(t, func(b []byte) []byte {
			copy(b, "solid"+strings.Repeat(" ", 75))
			return b
		}), `STL "": "" 4/4 volume 10;`},
		{"binary that says solid, with zeros at the end", "leg.stl", binarySTL(t, func(b []byte) []byte {
			copy(b, "solid"+strings.Repeat(" ", 75))
			return append(b, 0, 0, 0)
		}), `STL "": "" 4/4 volume 10; passed: 3 bytes of padding after the last triangle (byte 284)`},
		{"binary with zeros for a triangle at the end", "leg.stl", binarySTL(t, func(b []byte) []byte { return append(b, make([]byte, 50)...) }),
			`STL "": "" 4/4 volume 10; passed: 50 bytes of padding after the last triangle (byte 284)`},
		{"binary with a line's end", "leg.stl", binarySTL(t, func(b []byte) []byte { return append(b, "\r\n\x1a"...) }),
			`STL "": "" 4/4 volume 10; passed: 3 bytes of padding after the last triangle (byte 284)`},
		{"binary with colours", "leg.stl", binarySTL(t, func(b []byte) []byte {
			for i := range 4 {
				binary.LittleEndian.PutUint16(b[84+50*i+48:], 0x8000|uint16(i))
			}
			return b
		}), `STL "": "" 4/4 volume 10;`},
		{"binary with normals that are not numbers", "leg.stl", binarySTL(t, func(b []byte) []byte {
			binary.LittleEndian.PutUint32(b[84:], math.Float32bits(float32(math.NaN())))
			return b
		}), `STL "": "" 4/4 volume 10;`},
		{"ASCII", "leg.stl", asciiTetrahedron, leg},
		{"ASCII with another name", "leg.3mf", asciiTetrahedron, leg},
		{"CRLF", "leg.stl", strings.ReplaceAll(asciiTetrahedron, "\n", "\r\n"), leg},
		{"CR", "leg.stl", strings.ReplaceAll(asciiTetrahedron, "\n", "\r"), leg},
		{"tabs", "leg.stl", strings.ReplaceAll(strings.ReplaceAll(asciiTetrahedron, "  ", "\t"), " ", "\t \t"), leg},
		{"upper case", "leg.stl", upper, `STL "": "A LEG" 4/4 volume 10;`},
		{"byte order mark and empty lines", "leg.stl", "\xef\xbb\xbf\n \n" + asciiTetrahedron, leg},
		{"exponents", "leg.stl", strings.NewReplacer("3 0", "30.0E-01 0", "0 4", "0.0e+00 .4e1", "+5", "5.").Replace(asciiTetrahedron), leg},
		{"nan normals", "leg.stl", strings.Replace(asciiTetrahedron, "normal 0 0 -1", "normal nan -nan(ind) 1.#QNAN", 1), leg},
		{"all on one line", "leg.stl", strings.ReplaceAll(asciiTetrahedron, "\n", " "), leg},
		{"a name that says facet", "leg.stl", strings.ReplaceAll(asciiTetrahedron, "a leg", "facet and leg"), `STL "": "facet and leg" 4/4 volume 10;`},
		{"a name that ends in a backslash", "leg.stl", strings.ReplaceAll(asciiTetrahedron, "a leg", `C:\legs\`), `STL "": "C:\\legs\\" 4/4 volume 10;`},
		{"a name that is not UTF-8", "leg.stl", strings.ReplaceAll(asciiTetrahedron, "a leg", "B\xfcgel"), `STL "": "B?gel" 4/4 volume 10;`},
		{"no name", "leg.stl", strings.ReplaceAll(asciiTetrahedron, " a leg", ""), `STL "": "" 4/4 volume 10;`},
		{"another name at the end", "leg.stl", strings.Replace(asciiTetrahedron, "endsolid a leg", "endsolid something \x80 else", 1), leg},
		{"no name and no line's end at the end", "leg.stl", strings.Replace(asciiTetrahedron, "endsolid a leg\n", "endsolid", 1), leg},
		{"two solids", "leg.stl", asciiTetrahedron + "\n" + other, `STL "": "a leg" 4/4 volume 10; "an arm" 4/4 volume 12;`},
		{"two solids, one without triangles", "leg.stl", "solid\nendsolid\n" + asciiTetrahedron, leg + " passed: solids without triangles (line 1)"},
		{"no endsolid", "leg.stl", strings.Replace(asciiTetrahedron, "endsolid a leg\n", "", 1),
			leg + ` passed: the missing end of solid "a leg": the end of the file stands where "endsolid" should (line 31)`},
		{"no endsolid between solids", "leg.stl", strings.Replace(asciiTetrahedron, "endsolid a leg\n", "", 1) + other,
			leg + ` "an arm" 4/4 volume 12; passed: the missing end of solid "a leg": "solid" stands where "endsolid" should (line 31)`},
		{"a triangle without area is kept", "leg.stl", strings.Replace(asciiTetrahedron, "endsolid", "facet normal 0 0 0 outer loop vertex 1 1 1 vertex 1 1 1 vertex 2 2 2 endloop endfacet endsolid", 1), `STL "": "a leg" 6/5;`},
	})
}

const objTetrahedron = `# a comment
mtllib secret.mtl
o leg
v 0 0 0
v 3 0 0 1.0
v 0 4 0 0.5 0.5 0.5
v 0 0 5 1 0.1 0.2 0.3
vt 0 0
vn 0 0 1
usemtl oak
s off
f 1 3 2
f 1/1 2/1 4/1
f 1//1 4//1 3//1
f 2/1/1 3/1/1 4/1/1
`

func TestReadOBJQuirks(t *testing.T) {
	const leg = `OBJ "": "leg" 4/4 volume 10;`
	// A block of 2 × 3 × 4 with polygons, turned over and over.
	block := "v 0 0 0\nv 2 0 0\nv 2 3 0\nv 0 3 0\nv 0 0 4\nv 2 0 4\nv 2 3 4\nv 0 3 4\n"
	faces := []string{"f 4 3 2 1\n", "f 5 6 7 8\n", "f 1 2 6 5\n", "f 2 3 7 6\n", "f 3 4 8 7\n", "f 4 1 5 8\n"}
	all := strings.Join(faces, "")
	// An L of 1 deep: area 5.
	ell := "v 0 0 0\nv 3 0 0\nv 3 1 0\nv 1 1 0\nv 1 3 0\nv 0 3 0\nv 0 0 1\nv 3 0 1\nv 3 1 1\nv 1 1 1\nv 1 3 1\nv 0 3 1\n" +
		"f 4 3 2 1 6 5\nf 10 11 12 7 8 9\nf 1 2 8 7\nf 2 3 9 8\nf 3 4 10 9\nf 4 5 11 10\nf 5 6 12 11\nf 6 1 7 12\n"
	checkReadings(t, []reading{
		{"all forms of corners", "leg.obj", objTetrahedron, leg},
		{"another name", "leg.stl", objTetrahedron, leg},
		{"CRLF", "leg.obj", strings.ReplaceAll(objTetrahedron, "\n", "\r\n"), leg},
		{"CR", "leg.obj", strings.ReplaceAll(objTetrahedron, "\n", "\r"), leg},
		{"tabs and spaces", "leg.obj", strings.ReplaceAll(strings.ReplaceAll(objTetrahedron, " ", " \t "), "\n", "  \n\n"), leg},
		{"byte order mark", "leg.obj", "\xef\xbb\xbf" + objTetrahedron, leg},
		{"no end of the last line", "leg.obj", strings.TrimSuffix(objTetrahedron, "\n"), leg},
		{"continued lines", "leg.obj", strings.NewReplacer("f 1 3 2", "f 1 \\\n 3\\\r\n2", "v 0 0 0", "v \\\n0 0 0").Replace(objTetrahedron), leg},
		{"comments that end in a backslash", "leg.obj", strings.NewReplacer("# a comment", `# C:\legs\`, "f 1 3 2", `f 1 3 2 # C:\legs\`).Replace(objTetrahedron), leg},
		{"comments after statements", "leg.obj", strings.NewReplacer("v 0 0 0", "v 0 0 0 # origin", "f 1 3 2", "f 1 3 2 #9 9").Replace(objTetrahedron), leg},
		{"negative numbers", "leg.obj", "v 9 9 9\nv 0 0 0\nv 3 0 0\nv 0 4 0\nv 0 0 5\nf -4 -2 -3\nf -4 -3 -1\nv 7 7 7\nf -5 -2 -3\nf -4 -3 -2\n", `OBJ "": "" 4/4 volume 10;`},
		{"faces before their vertices", "leg.obj", "f 1 3 2\nf 1 2 4\nf 1 4 3\nf 2 3 4\nv 0 0 0\nv 3 0 0\nv 0 4 0\nv 0 0 5\n", `OBJ "": "" 4/4 volume 10;`},
		{"empty places between strokes", "leg.obj", strings.Replace(objTetrahedron, "f 1 3 2", "f 1/ 3// 2/1/", 1), leg},
		{"old face statement", "leg.obj", strings.Replace(objTetrahedron, "f 1 3 2", "fo 1 3 2", 1), leg},
		{"a vertex for each corner", "leg.obj", "v 0 0 0\nv 0 4 0\nv 3 0 0\nv 0 0 0\nv 3 0 0\nv 0 0 5\nv 0 0 0\nv 0 0 5\nv 0 4 0\nv 3 0 -0\nv 0 4 0\nv 0 0 5\nf 1 2 3\nf 4 5 6\nf 7 8 9\nf 10 11 12\n", `OBJ "": "" 4/4 volume 10;`},
		{"polygons", "block.obj", block + all, `OBJ "": "" 8/12 volume 24;`},
		{"concave polygons", "ell.obj", ell, `OBJ "": "" 12/20 volume 5;`},
		{"a corner twice in a polygon", "block.obj", block + strings.Replace(all, "f 5 6 7 8", "f 5 5 6 7 7 7 8 5", 1), `OBJ "": "" 8/12 volume 24;`},
		{"groups that part one surface", "block.obj", block + "g bottom\n" + faces[0] + "g top\n" + faces[1] + "g sides\n" + strings.Join(faces[2:], ""), `OBJ "": "bottom" 8/12 volume 24;`},
		{"several groups to a face", "block.obj", block + "g bottom all\n" + faces[0] + "g all\n" + strings.Join(faces[1:], ""), `OBJ "": "bottom all" 8/12 volume 24;`},
		{"two objects", "two.obj", objTetrahedron + "o block\n" + block + relative(faces), leg + ` "block" 8/12 volume 24;`},
		{"two groups, and back to the first", "two.obj", "g leg\n" + objTetrahedron[len("# a comment\nmtllib secret.mtl\no leg\n"):] + "g block\n" + block + relative(faces[:3]) + "g none\ng\ng block\n" + relative(faces[3:]), leg + ` "block" 8/12 volume 24;`},
		{"groups of an object", "two.obj", "o table\ng leg\n" + objTetrahedron[len("# a comment\nmtllib secret.mtl\no leg\n"):] + "g block\n" + block + relative(faces), `OBJ "": "table leg" 4/4 volume 10; "table block" 8/12 volume 24;`},
		// The block and a tetrahedron on its top, joined along an edge: each is
		// closed by itself, so that their vertices in common do not make them one.
		{"closed objects that share vertices", "two.obj", block + "o block\n" + all + "o roof\nv 1 1 9\nf 5 6 9\nf 6 7 9\nf 7 5 9\nf 5 7 6\n", `OBJ "": "block" 8/12 volume 24; "roof" 4/4 volume 5;`},
		{"lines, points and free forms", "leg.obj", objTetrahedron + "p 1\nl 1 2\nl 2 3\ncstype bezier\ndeg 3\ncurv 0 1 1 2 3 4\nsurf 0 1 0 1 1 2 3 4\nend\ncall other.obj\nxyzzy 1\n",
			leg + ` passed: lines and points (3 times, first line 16) | free-form curves and surfaces (5 times, first line 19) | the call of another file (line 24) | statements "xyzzy", unknown to the format (line 25)`},
		{"a face that crosses itself", "bow.obj", "v 0 0 0\nv 4 0 0\nv 0 3 0\nv 4 3 0\nf 1 2 3 4\n", `OBJ "": "" 4/2; passed: the intent of faces that cross themselves or have no area (line 5)`},
		{"a long line", "leg.obj", objTetrahedron + "# " + strings.Repeat("x", 1<<20) + "\nv " + strings.Repeat(" ", 1<<20) + "1 1 1\n", leg},
	})
}

// relative is faces of a block of eight vertices, which must be the last ones,
// with their numbers counted back.
func relative(faces []string) string {
	var back []string
	for i := 1; i <= 8; i++ {
		back = append(back, fmt.Sprint(" ", i), fmt.Sprint(" ", i-9))
	}
	return strings.NewReplacer(back...).Replace(strings.Join(faces, ""))
}

// TestRefusals keeps the words of every refusal in a golden file, and checks the
// place that each of them must name.
func TestRefusals(t *testing.T) {
	swap := func(text, old, new string) string {
		if !strings.Contains(text, old) {
			t.Fatalf("no %q to replace", old)
		}
		return strings.Replace(text, old, new, 1)
	}
	nan := func(at int) string {
		return binarySTL(t, func(b []byte) []byte {
			binary.LittleEndian.PutUint32(b[at:], math.Float32bits(float32(math.Inf(1))))
			return b
		})
	}
	count := func(n uint32) string {
		return binarySTL(t, func(b []byte) []byte { binary.LittleEndian.PutUint32(b[80:], n); return b })
	}
	whole := binarySTL(t, func(b []byte) []byte { return b })
	var out bytes.Buffer
	for _, c := range []struct {
		name, file, data string
		lim              Limits
		place            string
	}{
		{name: "nothing", file: "a.stl", place: "empty"},
		{name: "too large", file: "a.stl", data: whole, lim: Limits{FileBytes: 100}, place: "larger than 100"},
		{name: "neither", file: "notes.txt", data: "Dear maker,", place: "neither"},
		{name: "STEP", file: "a.stl", data: "ISO-10303-21;\nHEADER;", place: "STEP"},
		{name: "PLY", file: "a.ply", data: "ply\nformat ascii 1.0\n", place: "PLY"},
		{name: "UTF-16", file: "a.stl", data: "\xff\xfes\x00o\x00l\x00i\x00d\x00", place: "UTF-16"},
		{name: "a model part alone", file: "a.3mf", data: `<?xml version="1.0"?><model/>`, place: "XML"},

		{name: "binary STL: header only", file: "a.stl", data: whole[:80], place: "80 bytes"},
		{name: "binary STL: cut short", file: "a.stl", data: whole[:250], place: "byte 250"},
		{name: "binary STL: cut short at a triangle", file: "a.stl", data: whole[:234], place: "byte 234"},
		{name: "binary STL: no triangle counted, data", file: "a.stl", data: count(0), place: "byte 84"},
		{name: "binary STL: no triangle", file: "a.stl", data: count(0)[:84], place: "no surface"},
		{name: "binary STL: one counted too few", file: "a.stl", data: count(3), place: "byte 2"},
		{name: "binary STL: many counted", file: "a.stl", data: count(0xffffffff), place: "byte 284"},
		{name: "binary STL: text at the end", file: "a.stl", data: whole + "\x00\x00x", place: "byte 286"},
		{name: "binary STL: infinite", file: "a.stl", data: nan(84 + 2*50 + 12 + 12 + 4), place: "byte 208"},
		{name: "binary STL: too many", file: "a.stl", data: whole, lim: Limits{Triangles: 3}, place: "byte 80"},

		{name: "ASCII STL: no triangle", file: "a.stl", data: "solid x\nendsolid x\n", place: "line 1"},
		{name: "ASCII STL: decimal commas", file: "a.stl", data: swap(asciiTetrahedron, "vertex 3 0 -0.0", "vertex 3,0 0,0 -0,0"), place: "line 6"},
		{name: "ASCII STL: cut within a triangle", file: "a.stl", data: asciiTetrahedron[:150], place: "line 9"},
		{name: "ASCII STL: cut within a corner", file: "a.stl", data: asciiTetrahedron[:strings.Index(asciiTetrahedron, "4 0\n")+1], place: "line 5"},
		{name: "ASCII STL: nan", file: "a.stl", data: swap(asciiTetrahedron, "0 4 0", "0 nan 0"), place: "line 5"},
		{name: "ASCII STL: too large a number", file: "a.stl", data: swap(asciiTetrahedron, "0 4 0", "0 1e39 0"), place: "line 5"},
		{name: "ASCII STL: a quadrangle", file: "a.stl", data: swap(asciiTetrahedron, "0 4 0", "0 4 0\nvertex 1 1 1"), place: "line 7"},
		{name: "ASCII STL: two corners", file: "a.stl", data: swap(asciiTetrahedron, "      vertex 0 4 0\n", ""), place: "line 6"},
		{name: "ASCII STL: rubbish between", file: "a.stl", data: swap(asciiTetrahedron, "FACET", "rubbish FACET"), place: "line 9"},
		{name: "ASCII STL: rubbish after", file: "a.stl", data: asciiTetrahedron + "rubbish", place: "line 32"},
		{name: "ASCII STL: many triangles", file: "a.stl", data: asciiTetrahedron, lim: Limits{Triangles: 3}, place: "line 24"},
		{name: "ASCII STL: many triangles in two solids", file: "a.stl", data: asciiTetrahedron + asciiTetrahedron, lim: Limits{Triangles: 7}, place: "line 55"},
		{name: "ASCII STL: many solids", file: "a.stl", data: asciiTetrahedron + asciiTetrahedron, lim: Limits{Objects: 1}, place: "line 32"},
		{name: "ASCII STL: many lines", file: "a.stl", data: asciiTetrahedron, lim: Limits{Lines: 20}, place: "line 24"},

		{name: "OBJ: no face", file: "a.obj", data: "v 0 0 0\nl 1 1\n", place: "lines and points"},
		{name: "OBJ: two numbers", file: "a.obj", data: swap(objTetrahedron, "v 0 0 0", "v 0 0"), place: "line 4"},
		{name: "OBJ: a word", file: "a.obj", data: swap(objTetrahedron, "v 0 0 0", "v 0 zero 0"), place: "line 4"},
		{name: "OBJ: decimal comma", file: "a.obj", data: swap(objTetrahedron, "v 0 0 0", "v 0 0,5 0"), place: "line 4"},
		{name: "OBJ: nan", file: "a.obj", data: swap(objTetrahedron, "v 0 0 0", "v 0 nan 0"), place: "line 4"},
		{name: "OBJ: corner 0", file: "a.obj", data: swap(objTetrahedron, "f 1 3 2", "f 0 3 2"), place: "line 12"},
		{name: "OBJ: corner too high", file: "a.obj", data: swap(objTetrahedron, "f 1 3 2", "f 1 3 5"), place: "line 12"},
		{name: "OBJ: corner too far back", file: "a.obj", data: swap(objTetrahedron, "f 1 3 2", "f 1 3 -5"), place: "line 12"},
		{name: "OBJ: corner of many digits", file: "a.obj", data: swap(objTetrahedron, "f 1 3 2", "f 1 3 99999999999999999999"), place: "line 12"},
		{name: "OBJ: corner no number", file: "a.obj", data: swap(objTetrahedron, "f 1 3 2", "f 1 3 2.0"), place: "line 12"},
		{name: "OBJ: corner with bad texture", file: "a.obj", data: swap(objTetrahedron, "f 1 3 2", "f 1/x 3 2"), place: "line 12"},
		{name: "OBJ: corner of four", file: "a.obj", data: swap(objTetrahedron, "f 1 3 2", "f 1/1/1/1 3 2"), place: "line 12"},
		{name: "OBJ: two corners", file: "a.obj", data: swap(objTetrahedron, "f 1 3 2", "f 1 3"), place: "line 12"},
		{name: "OBJ: a broken line", file: "a.obj", data: swap(objTetrahedron, "v 0 4 0 0.5", "v 0 4 0\n0.5"), place: "line 7"},
		{name: "OBJ: not text", file: "a.obj", data: objTetrahedron + "v\x00 1", place: "line 16"},
		{name: "OBJ: cut within a number", file: "a.obj", data: "o leg\nv 0 0 0\nv 3 0 0\nv 0 4 -", place: "line 4"},
		{name: "OBJ: many corners", file: "a.obj", data: "v 0 0 0\nf" + strings.Repeat(" 1", maxCorners+1), place: "line 2"},
		{name: "OBJ: many triangles", file: "a.obj", data: objTetrahedron, lim: Limits{Triangles: 4, Lines: 99}, place: ""},
		{name: "OBJ: one triangle more", file: "a.obj", data: objTetrahedron + "f 1 2 3\n", lim: Limits{Triangles: 4}, place: "line 16"},
		{name: "OBJ: many vertices", file: "a.obj", data: objTetrahedron, lim: Limits{Triangles: 3}, place: "line 7"},
		{name: "OBJ: many lines", file: "a.obj", data: objTetrahedron, lim: Limits{Lines: 9}, place: "line 10"},
		{name: "OBJ: many groups", file: "a.obj", data: "o a\no b\no c\n" + objTetrahedron, lim: Limits{Objects: 2}, place: "line 3"},
	} {
		_, err := Read(c.file, []byte(c.data), c.lim)
		switch {
		case c.place == "":
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
			continue
		case err == nil || !strings.Contains(err.Error(), c.place) || !strings.Contains(err.Error(), fmt.Sprintf("read %q", c.file)):
			t.Errorf("%s: %v, want %q", c.name, err, c.place)
		}
		fmt.Fprintf(&out, "%s: %v\n", c.name, err)
	}
	golden(t, "refusals.txt", out.Bytes())
}

// writeOBJ is a writer for tests: quadrangles where two triangles in a row make
// one, counted forward or back.
func writeOBJ(bodies []Body, back bool) []byte {
	var out bytes.Buffer
	before := 0
	for _, b := range bodies {
		fmt.Fprintf(&out, "o %s\n", b.Name)
		for _, v := range b.Vertices {
			fmt.Fprintf(&out, "v %v %v %v\n", v.X, v.Y, v.Z)
		}
		for _, f := range b.Triangles {
			out.WriteByte('f')
			for _, k := range f {
				if back {
					fmt.Fprintf(&out, " %d", int(k)-len(b.Vertices))
				} else {
					fmt.Fprintf(&out, " %d/7", int(k)+1+before)
				}
			}
			out.WriteByte('\n')
		}
		before += len(b.Vertices)
	}
	return out.Bytes()
}

// TestReadBack writes random bodies in every format and reads them back: the
// same corners, the same triangles, the same names.
func TestReadBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var d Document
		for i := range rapid.IntRange(1, 3).Draw(rt, "bodies") {
			b := drawBody(rt)
			b.Name = fmt.Sprintf("body %d", i)
			for j := range b.Vertices { // apart from the others, on the float32 grid
				b.Vertices[j].X += float64(1024 * i)
			}
			b.Vertices, b.Triangles = Weld(b.Vertices, b.Triangles)
			d.Bodies = append(d.Bodies, b)
			d.Items = append(d.Items, Item{Body: i, Frame: lift(b, geom.World())})
		}
		read := func(name string, data []byte) Scene {
			s, err := Read(name, data, Limits{})
			if err != nil {
				rt.Fatal(err)
			}
			if len(s.Passed) > 0 {
				rt.Fatalf("%s: passed over %q", name, s.Passed)
			}
			return s
		}
		var stl bytes.Buffer
		if err := WriteSTL(&stl, d.Bodies[0]); err != nil {
			rt.Fatal(err)
		}
		if s := read("a.stl", stl.Bytes()); len(s.Bodies) != 1 || !sameSurface(s.Bodies[0], d.Bodies[0]) {
			rt.Error("STL differs")
		}
		for _, back := range []bool{false, true} {
			s := read("a.obj", writeOBJ(d.Bodies, back))
			if len(s.Bodies) != len(d.Bodies) {
				rt.Fatalf("OBJ: %d bodies", len(s.Bodies))
			}
			for i, b := range s.Bodies {
				if b.Name != d.Bodies[i].Name || !sameSurface(b, d.Bodies[i]) {
					rt.Errorf("OBJ: body %d differs", i)
				}
			}
		}
		var threeMF bytes.Buffer
		if _, err := d.WriteTo(&threeMF); err != nil {
			rt.Fatal(err)
		}
		s := read("a.3mf", threeMF.Bytes())
		if s.Unit != Millimetre || len(s.Items) != len(d.Items) {
			rt.Fatalf("3MF: unit %q, %d items", s.Unit, len(s.Items))
		}
		for i, it := range s.Items {
			got, want := s.Bodies[it.Body], d.Bodies[i]
			for j, v := range got.Vertices { // printed as float32, read as decimals
				r := round32(v)
				got.Vertices[j] = geom.V3(float64(r[0]), float64(r[1]), float64(r[2]))
			}
			if got.Name != want.Name || !sameSurface(got, want) || it.Frame != d.Items[i].Frame {
				rt.Errorf("3MF: body %d differs", i)
			}
		}
	})
}

// checkScene is what must be true of whatever Read accepts.
func checkScene(t *testing.T, s Scene, lim Limits) {
	triangles := 0
	for _, it := range s.Items {
		b := s.Bodies[it.Body]
		if _, err := Check(b.Vertices, b.Triangles); err != nil {
			t.Fatalf("accepted, but %v", err)
		}
		triangles += len(b.Triangles)
	}
	if len(s.Items) == 0 || triangles > lim.Triangles || len(s.Items) > lim.Items || len(s.Passed) > maxNotes+1 {
		t.Fatalf("%d items, %d triangles, %d passed over", len(s.Items), triangles, len(s.Passed))
	}
}

var fuzzLimits = Limits{FileBytes: 1 << 20, ExpandedBytes: 1 << 20, TotalBytes: 1 << 20, Triangles: 1000, Items: 100, Objects: 100, Lines: 10000, Entries: 16, Depth: 8}

func fuzzRead(t *testing.T, name string, data []byte) {
	s, err := Read(name, data, fuzzLimits)
	if err == nil {
		checkScene(t, s, fuzzLimits)
	}
}

func FuzzReadSTLFile(f *testing.F) {
	f.Add([]byte(asciiTetrahedron))
	f.Add([]byte(asciiTetrahedron[:100]))
	f.Add([]byte("solid a\nendsolid\nsolid b facet normal 0 0 0"))
	f.Add(stlBytes(f, tetrahedron(3, 4, 5)))
	f.Add(append(stlBytes(f, tetrahedron(3, 4, 5)), 0, 0, ' '))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzRead(t, "a.stl", data) })
}

func FuzzReadOBJ(f *testing.F) {
	f.Add([]byte(objTetrahedron))
	f.Add([]byte("v 0 0 0\nv 3 0 0\nv 3 1 0\nv 1 1 0\nv 1 3 0\nv 0 3 0\ng a b\nf 1 2 3 4 5 6\ng c\nf -1 -2 -3 \\\n -4\nl 1 2\nsurf 1\n"))
	f.Add([]byte("v 0 0 0\nv 4 0 0\nv 0 3 0\nv 4 3 1e38\no x\nf 1 2 3 4\no y\nf 4//1 3/2/ 2 1 1 # \\\n"))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzRead(t, "a.obj", data) })
}

func BenchmarkRead(b *testing.B) {
	body, _ := ring(300, 100, 100, 20) // 60,000 triangles
	body.Vertices, body.Triangles = Weld(body.Vertices, body.Triangles)
	var ascii bytes.Buffer
	ascii.WriteString("solid ring\n")
	for _, f := range body.Triangles {
		ascii.WriteString("facet normal 0 0 0\nouter loop\n")
		for _, k := range f {
			v := body.Vertices[k]
			fmt.Fprintf(&ascii, "vertex %v %v %v\n", v.X, v.Y, v.Z)
		}
		ascii.WriteString("endloop\nendfacet\n")
	}
	ascii.WriteString("endsolid\n")
	for _, c := range []struct {
		name string
		data []byte
	}{
		{"binary.stl", stlBytes(b, body)},
		{"ascii.stl", ascii.Bytes()},
		{"a.obj", writeOBJ([]Body{body}, false)},
		{"a.3mf", bytes3MF(b, Document{Bodies: []Body{body}, Items: []Item{{Frame: lift(body, geom.World())}}})},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Read(c.name, c.data, Limits{}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(body.Triangles))*float64(b.N)/b.Elapsed().Seconds(), "triangles/s")
		})
	}
}
