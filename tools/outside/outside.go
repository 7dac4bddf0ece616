// Package outside asks programs that are not ours whether what we wrote is
// right: libassimp about STL files, lib3mf about 3MF files, ezdxf about DXF
// files, shapely about polygons. Only tests with the build tag "outside" use it;
// tools/outside/install.sh installs what it needs.
//
// The two C++ checkers are compiled on first use into a folder of the system's
// temporary directory, named by a hash of their source.
package outside

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"groundwork/internal/geom"
)

//go:embed checkers/meshcheck.cpp
var meshSource string

//go:embed checkers/threemf.cpp
var threeMFSource string

//go:embed checkers/dxfcheck.py
var dxfSource string

//go:embed checkers/polycheck.py
var polySource string

const (
	remedy = "run tools/outside/install.sh"
	// python is Debian's own, which has the Debian packages; another python on
	// the path would not.
	python = "/usr/bin/python3"
)

// Mesh is what libassimp read in an STL file; see meshcheck.cpp.
type Mesh struct {
	File, Error                 string
	Triangles, Vertices, Shells int
	Closed, Oriented            bool
	Degenerate                  int
	Volume, Area                float64 // mm³, mm²
	Min, Max                    [3]float64
}

// Model is what lib3mf read in a 3MF file; see threemf.cpp.
type Model struct {
	File, Error string
	Warnings    []string
	Items       []ModelItem
}

// ModelItem is one build item of a 3MF file, in its place.
type ModelItem struct {
	Name, ObjectPartNumber, PartNumber string
	Manifold                           bool
	Triangles                          int
	Volume                             float64 // mm³
	Min, Max                           [3]float64
}

// Drawing is what ezdxf read in a DXF file; see dxfcheck.py.
type Drawing struct {
	File, Error, Version string
	Audit, Comments      []string
	Layers               []DrawingLayer
}

// DrawingLayer is one layer of a DXF file.
type DrawingLayer struct {
	Name     string
	Color    int
	LineType string
	Closed   []Shape
	Open     []Shape
	Texts    []Writing
}

// Shape is a line, polyline or circle. Area is signed; open shapes have none.
type Shape struct {
	Kind         string
	Area, Length float64
	Min, Max     [2]float64
}

// Writing is one text of a DXF file. Rotation is in degrees.
type Writing struct {
	Text             string
	Height, Rotation float64
	At               [2]float64
	Align            string
}

// Query asks about a region, and about another one in relation to it. Without B
// the relations are not computed.
type Query struct {
	A, B geom.Polygons
}

// Answer is shapely's view of a Query; see polycheck.py.
type Answer struct {
	Error                      string
	Valid                      bool
	Why                        string
	Area, Perimeter            float64
	Min, Max                   [2]float64
	Covers                     bool
	Overlap, Outside, Distance float64
}

// Layout asks whether parts lie on a sheet and clear of one another.
type Layout struct {
	Sheet geom.Polygons
	Parts []geom.Polygons
}

// LayoutAnswer is shapely's view of a Layout; see polycheck.py.
type LayoutAnswer struct {
	Error            string
	Covered          bool
	Outside, Overlap float64
	Pair             [2]int
	Gap              float64
}

// MeshCheck reads STL files with libassimp.
func MeshCheck(t testing.TB, paths ...string) []Mesh {
	t.Helper()
	return lines[Mesh](t, compiled(t, "meshcheck", meshSource, "-lassimp"), nil, paths)
}

// ThreeMF reads 3MF files with lib3mf.
func ThreeMF(t testing.TB, paths ...string) []Model {
	t.Helper()
	return lines[Model](t, compiled(t, "threemf", threeMFSource, "-I/usr/include/lib3mf", "-l3MF"), nil, paths)
}

// DXF reads and audits DXF files with ezdxf.
func DXF(t testing.TB, paths ...string) []Drawing {
	t.Helper()
	return lines[Drawing](t, script(t, "ezdxf"), []string{"-c", dxfSource}, paths)
}

// Polygons asks shapely about regions.
func Polygons(t testing.TB, queries ...Query) []Answer {
	t.Helper()
	asked := make([]map[string]any, len(queries))
	for i, q := range queries {
		asked[i] = map[string]any{"a": rings(q.A), "b": nil}
		if q.B != nil {
			asked[i]["b"] = rings(q.B)
		}
	}
	answers := shapely(t, map[string]any{"queries": asked}).Answers
	if len(answers) != len(queries) {
		t.Fatalf("shapely gave %d answers to %d questions", len(answers), len(queries))
	}
	return answers
}

// Layouts asks shapely whether parts lie on their sheets and clear of one another.
func Layouts(t testing.TB, layouts ...Layout) []LayoutAnswer {
	t.Helper()
	asked := make([]map[string]any, len(layouts))
	for i, l := range layouts {
		parts := make([][][][2]float64, len(l.Parts))
		for j, p := range l.Parts {
			parts[j] = rings(p)
		}
		asked[i] = map[string]any{"sheet": rings(l.Sheet), "parts": parts}
	}
	answers := shapely(t, map[string]any{"layouts": asked}).Layouts
	if len(answers) != len(layouts) {
		t.Fatalf("shapely gave %d answers to %d layouts", len(answers), len(layouts))
	}
	return answers
}

type shapelyReply struct {
	Answers []Answer
	Layouts []LayoutAnswer
}

func shapely(t testing.TB, question any) shapelyReply {
	t.Helper()
	input, err := json.Marshal(question)
	if err != nil {
		t.Fatalf("asking shapely: %v", err)
	}
	var reply shapelyReply
	if err := json.Unmarshal(run(t, script(t, "shapely"), []string{"-c", polySource}, input), &reply); err != nil {
		t.Fatalf("shapely's answer: %v", err)
	}
	return reply
}

func rings(region geom.Polygons) [][][2]float64 {
	out := make([][][2]float64, len(region))
	for i, loop := range region {
		out[i] = make([][2]float64, len(loop))
		for j, p := range loop {
			out[i][j] = [2]float64{p.X, p.Y}
		}
	}
	return out
}

// lines runs a checker on files and decodes one JSON object a line, one a file.
func lines[T any](t testing.TB, program string, args, paths []string) []T {
	t.Helper()
	dec := json.NewDecoder(bytes.NewReader(run(t, program, append(args, paths...), nil)))
	dec.DisallowUnknownFields()
	out := make([]T, len(paths))
	for i := range out {
		if err := dec.Decode(&out[i]); err != nil {
			t.Fatalf("%s on %s: %v", filepath.Base(program), paths[i], err)
		}
	}
	return out
}

func run(t testing.TB, program string, args []string, input []byte) []byte {
	t.Helper()
	cmd := exec.Command(program, args...)
	cmd.Stdin = bytes.NewReader(input)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", filepath.Base(program), err, stderr.Bytes())
	}
	return out
}

// script is the python that has the module.
func script(t testing.TB, module string) string {
	t.Helper()
	if out, err := exec.Command(python, "-c", "import "+module).CombinedOutput(); err != nil {
		t.Fatalf("%s has no module %s (%v: %s): %s", python, module, err, lastLine(out), remedy)
	}
	return python
}

func lastLine(out []byte) string {
	s := strings.TrimSpace(string(out))
	return s[strings.LastIndexByte(s, '\n')+1:]
}

// compiled is the path of the program built from a C++ source.
func compiled(t testing.TB, name, source string, flags ...string) string {
	t.Helper()
	sum := sha256.Sum256([]byte(source + strings.Join(flags, " ")))
	dir := filepath.Join(os.TempDir(), "groundwork-outside")
	program := filepath.Join(dir, fmt.Sprintf("%s-%x", name, sum[:8]))
	if _, err := os.Stat(program); err == nil {
		return program
	}
	if _, err := exec.LookPath("g++"); err != nil {
		t.Fatalf("no g++ to compile %s: %s", name, remedy)
	}
	// Build in a folder of our own and rename, since test packages run side by
	// side.
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatalf("compiling %s: %v", name, err)
	}
	work, err := os.MkdirTemp(dir, name)
	if err != nil {
		t.Fatalf("compiling %s: %v", name, err)
	}
	defer os.RemoveAll(work)
	src, exe := filepath.Join(work, name+".cpp"), filepath.Join(work, name)
	if err := os.WriteFile(src, []byte(source), 0o644); err != nil {
		t.Fatalf("compiling %s: %v", name, err)
	}
	args := append([]string{"-std=c++17", "-O2", "-o", exe, src}, flags...)
	if out, err := exec.Command("g++", args...).CombinedOutput(); err != nil {
		t.Fatalf("compiling %s: %v: %s\n%s", name, err, remedy, out)
	}
	if err := os.Rename(exe, program); err != nil {
		t.Fatalf("compiling %s: %v", name, err)
	}
	return program
}
