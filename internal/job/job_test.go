package job

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/joint"
	"groundwork/internal/mesh"
	"groundwork/internal/plan"
	"groundwork/internal/solid"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

var kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

// planned is an example's plan, made once and shared by the tests.
func planned(t testing.TB, name string) (*solid.Kernel, *plan.Plan) {
	t.Helper()
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	plansMu.Lock()
	defer plansMu.Unlock()
	if p, ok := plans[name]; ok {
		return k, p
	}
	p := makePlan(t, k, name)
	plans[name] = p
	return k, p
}

var (
	plansMu sync.Mutex
	plans   = map[string]*plan.Plan{}
)

func makePlan(t testing.TB, k *solid.Kernel, name string) *plan.Plan {
	t.Helper()
	pc, err := examples.Piece(name, nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	p, err := plan.Make(context.Background(), k, pc, s, plan.Options{Core: core.Options{Labels: true, Solids: true}})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// read decodes the plan.json of a list of files.
func read(t testing.TB, files []File) Document {
	t.Helper()
	i := slices.IndexFunc(files, func(f File) bool { return f.Name == "plan.json" })
	var d Document
	dec := json.NewDecoder(bytes.NewReader(files[i].Data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&d); err != nil {
		t.Fatal(err)
	}
	return d
}

func TestEveryExampleGivesAWholeJob(t *testing.T) {
	schema := compiled(t)
	if len(examples.Pieces()) < 4 {
		t.Fatalf("the library has %v", examples.Pieces())
	}
	for _, name := range examples.Pieces() {
		t.Run(name, func(t *testing.T) {
			k, p := planned(t, name)
			for _, f := range p.Findings {
				if f.Severity == finding.Stop {
					t.Errorf("stop: %v", f)
				}
			}
			files, err := Files(context.Background(), k, p, Options{})
			if err != nil {
				t.Fatal(err)
			}
			d := read(t, files)
			i := slices.IndexFunc(files, func(f File) bool { return f.Name == "plan.json" })
			instance, err := jsonschema.UnmarshalJSON(bytes.NewReader(files[i].Data))
			if err != nil {
				t.Fatal(err)
			}
			if err := schema.Validate(instance); err != nil {
				t.Errorf("plan.json does not follow its schema: %v", err)
			}
			checkSegments(t, k, p, d, files)
			checkPatterns(t, d)
			checkJoints(t, p)
			checkNames(t, d, files)
		})
	}
}

// checkNames holds the files of a job against those that its plan.json names.
func checkNames(t *testing.T, d Document, files []File) {
	t.Helper()
	there := map[string]bool{}
	for _, f := range files {
		if there[f.Name] {
			t.Errorf("%s is there twice", f.Name)
		}
		if len(f.Data) == 0 {
			t.Errorf("%s is empty", f.Name)
		}
		there[f.Name] = true
	}
	named := map[string]bool{}
	name := func(file string) {
		if named[file] = true; file != "" && !there[file] {
			t.Errorf("plan.json names %s, which is not there", file)
		}
	}
	for _, s := range d.Segments {
		name(s.File)
	}
	for _, l := range slices.Concat(d.Plates, d.FixtureLoads) {
		name(l.File)
	}
	for _, b := range d.Panels {
		name(b.SVG)
		name(b.DXF)
	}
	for _, f := range d.Fixtures {
		for _, p := range f.Parts {
			name(p.File)
		}
		for _, q := range f.Templates {
			name(q.File)
		}
	}
	for _, c := range d.Clamping {
		name(c.Drawing)
	}
	for _, c := range d.Calendar.Charts {
		name(c)
	}
	for _, q := range d.Kit.Parcels {
		name(q.Drawing)
	}
	if len(d.Fixtures) == 0 || len(d.Calendar.Activities) == 0 || len(d.Kit.Parcels) == 0 {
		t.Errorf("%d fixtures, %d activities, %d parcels", len(d.Fixtures), len(d.Calendar.Activities), len(d.Kit.Parcels))
	}
	for f := range there { // what is of one kind of part is named by its part
		if (strings.HasSuffix(f, ".stl") || strings.HasSuffix(f, ".3mf") && f != "piece.3mf" || strings.HasSuffix(f, ".svg")) && !named[f] {
			t.Errorf("%s is of nothing that plan.json tells of", f)
		}
	}
}

func compiled(t testing.TB) *jsonschema.Schema {
	t.Helper()
	b, err := Schema()
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("plan.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("plan.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// checkSegments holds each file against plan.json: the STL is closed and has
// the volume that is written, every segment lies in a load, and the segments
// of a body sum to it.
func checkSegments(t *testing.T, k *solid.Kernel, p *plan.Plan, d Document, files []File) {
	t.Helper()
	byName := map[string][]byte{}
	for _, f := range files {
		byName[f.Name] = f.Data
	}
	sum := map[string]float64{}
	for i, s := range d.Segments {
		b, err := mesh.ReadSTL(bytes.NewReader(byName[s.File]), mesh.Limits{})
		if err != nil {
			t.Errorf("%s: %v", s.File, err)
			continue
		}
		r, err := mesh.Check(b.Vertices, b.Triangles)
		if err != nil || !r.Printable() {
			t.Errorf("%s: not printable: %+v, %v", s.File, r, err)
		}
		scale := p.Printing.Prints[i].Scale
		if want := s.VolumeMM3 * scale.X * scale.Y * scale.Z; math.Abs(r.Volume-want) > 1e-4*want {
			t.Errorf("%s: volume %.3f, plan.json says %.3f", s.File, r.Volume, want)
		}
		if s.Plate == "" {
			t.Errorf("%s lies on no load", s.ID)
		}
		if s.MassG <= 0 || s.Seconds <= 0 {
			t.Errorf("%s weighs %.1f g and takes %.0f s", s.ID, s.MassG, s.Seconds)
		}
		sum[s.Body] += s.VolumeMM3
	}
	for _, m := range d.Members {
		if m.VolumeMM3 > 0 && math.Abs(sum[m.PrintedAs]-m.VolumeMM3) > 1e-6*m.VolumeMM3 {
			t.Errorf("%s: segments sum to %.3f, member has %.3f", m.ID, sum[m.PrintedAs], m.VolumeMM3)
		}
	}
	in := core.Inputs{Cores: p.Layout.Cores, Seams: p.Seams, Cuts: p.Layout.Cuts, Bores: p.Joints.Bores()}
	if err := core.Verify(context.Background(), k, in, p.Cores, core.Options{}, 1e-6); err != nil {
		t.Error(err)
	}
}

// checkPatterns: every pattern lies on a panel, whole.
func checkPatterns(t *testing.T, d Document) {
	t.Helper()
	panels := map[string]PanelDoc{}
	for _, b := range d.Panels {
		panels[b.ID] = b
	}
	for _, p := range d.Patterns {
		b, ok := panels[p.Panel]
		if !ok {
			t.Errorf("%s lies on no panel", p.ID)
			continue
		}
		sin, cos := math.Sincos(p.Rotation * math.Pi / 180)
		for _, q := range p.Outline {
			x, y := q[0]*cos-q[1]*sin+p.X, q[0]*sin+q[1]*cos+p.Y
			if x < -1e-3 || y < -1e-3 || x > b.WidthMM+1e-3 || y > b.HeightMM+1e-3 {
				t.Errorf("%s leaves %s at (%.2f, %.2f)", p.ID, b.ID, x, y)
				break
			}
		}
		// The grain of the pattern lies along the grain of the panel.
		if turn := math.Remainder(p.Grain+p.Rotation-b.Grain, 180); math.Abs(turn) > 1e-3 {
			t.Errorf("%s lies %.2f degrees off the grain of %s", p.ID, turn, b.ID)
		}
		if p.NetMM2 > p.AreaMM2+1e-6 && p.Allowance > 0 {
			t.Errorf("%s: net area %.1f above the gross %.1f", p.ID, p.NetMM2, p.AreaMM2)
		}
	}
}

func checkJoints(t *testing.T, p *plan.Plan) {
	t.Helper()
	asPrinted := *p.Piece
	asPrinted.Members = p.Layout.Cores
	for _, f := range joint.Verify(&asPrinted, p.Joints, p.Shop) {
		t.Errorf("joints: %v", f)
	}
}

func TestSameInputSameBytes(t *testing.T) {
	k, p := planned(t, "heron-side-table")
	a, err := Files(context.Background(), k, p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	other, err := solid.New(solid.Options{Instances: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	b, err := Files(context.Background(), other, makePlan(t, other, "heron-side-table"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(a) != len(b) {
		t.Fatalf("%d files, then %d", len(a), len(b))
	}
	for i := range a {
		if a[i].Name != b[i].Name || !bytes.Equal(a[i].Data, b[i].Data) {
			t.Errorf("%s differs from one run to the next", a[i].Name)
		}
	}
}

func TestWriteIsWholeOrAbsent(t *testing.T) {
	k, p := planned(t, "heron-side-table")
	ctx := context.Background()
	t.Run("fresh, then refused, then replaced", func(t *testing.T) {
		dir := filepath.Join(t.TempDir(), "deep", "job")
		if err := Write(ctx, k, p, dir, Options{}); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "mine.txt"), nil, 0o644); err != nil {
			t.Fatal(err)
		}
		if err := Write(ctx, k, p, dir, Options{}); !errors.Is(err, fs.ErrExist) {
			t.Errorf("a second job over the first: %v, want ErrExist", err)
		}
		if err := Write(ctx, k, p, dir, Options{Replace: true}); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(filepath.Join(dir, "mine.txt")); !errors.Is(err, fs.ErrNotExist) {
			t.Error("the old folder was not replaced whole")
		}
		left(t, filepath.Dir(dir), "job")
	})
	t.Run("not over other things", func(t *testing.T) {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "letters.txt"), nil, 0o644); err != nil {
			t.Fatal(err)
		}
		if err := Write(ctx, k, p, dir, Options{Replace: true}); err == nil || !strings.Contains(err.Error(), "other things") {
			t.Errorf("error %v", err)
		}
		left(t, dir, "letters.txt")
	})
	t.Run("cancelled", func(t *testing.T) {
		parent := t.TempDir()
		gone, cancel := context.WithCancel(ctx)
		cancel()
		if err := Write(gone, k, p, filepath.Join(parent, "job"), Options{}); !errors.Is(err, context.Canceled) {
			t.Errorf("error %v, want context.Canceled", err)
		}
		left(t, parent)
	})
	t.Run("a folder that cannot be written", func(t *testing.T) {
		parent := t.TempDir()
		file := filepath.Join(parent, "file")
		if err := os.WriteFile(file, nil, 0o644); err != nil {
			t.Fatal(err)
		}
		if err := Write(ctx, k, p, filepath.Join(file, "job"), Options{}); err == nil {
			t.Error("no error")
		}
		left(t, parent, "file")
	})
}

// left checks what a folder holds.
func left(t *testing.T, dir string, want ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if !slices.Equal(got, want) {
		t.Errorf("%s holds %v, want %v", dir, got, want)
	}
}
