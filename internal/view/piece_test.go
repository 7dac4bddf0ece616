package view_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"

	"groundwork/examples"
	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/plan"
	"groundwork/internal/scene"
	"groundwork/internal/solid"
	"groundwork/internal/unit"
	"groundwork/internal/view"
)

var kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

func theKernel(t testing.TB) *solid.Kernel {
	t.Helper()
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

var aparts = map[string]*scene.Apart{}

// apart is an example taken apart.
func apart(t testing.TB, name string, leaves bool) *scene.Apart {
	t.Helper()
	key := fmt.Sprint(name, leaves)
	if a, ok := aparts[key]; ok {
		return a
	}
	pc, err := examples.Piece(name, nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	// All that is needed is known after the patterns.
	var sofar *plan.Plan
	ctx, enough := context.WithCancel(context.Background())
	_, err = plan.Make(ctx, theKernel(t), pc, s, plan.Options{Ready: func(stage string, p *plan.Plan) {
		if stage == "patterns" {
			sofar = p
			enough()
		}
	}})
	if sofar == nil {
		t.Fatal(err)
	}
	a, err := scene.TakeApart(context.Background(), theKernel(t), sofar, leaves, 0)
	if err != nil {
		t.Fatal(err)
	}
	aparts[key] = a
	return a
}

// parts are an example's parts with the slider at a place.
func parts(a *scene.Apart, at float64) (out []view.Part, threads []view.Curve) {
	for _, s := range a.Solids {
		tone := 0.12
		switch s.Kind {
		case "screw", "insert":
			tone = 0.3
		case "leaf":
			tone = 0.2
		}
		weight := 1.0
		if s.Kind != "body" {
			weight = 0.5
		}
		out = append(out, view.Part{ID: s.ID, Mesh: s.Mesh, Motion: s.Moved(at), Tone: tone, Weight: weight})
	}
	for _, t := range a.Threads(at) {
		threads = append(threads, view.Curve{Part: t.Of, Class: view.Thread, Points: []geom.Vec3{t.From, t.To}})
	}
	return out, threads
}

// end is the place of the slider at the end of a stage.
func end(t testing.TB, a *scene.Apart, what string) float64 {
	t.Helper()
	for _, s := range a.Stages {
		if s.What == what {
			return s.To
		}
	}
	t.Fatalf("no stage %s", what)
	return 0
}

func write(t *testing.T, name string, s draw.Sheet) {
	t.Helper()
	var b bytes.Buffer
	if err := draw.WriteSVG(&b, s); err != nil {
		t.Fatal(err)
	}
	golden(t, name+".svg", b.Bytes())
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if os.Getenv("GOLDEN") == "update" {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s is not as it was; see what changed after GOLDEN=update", file)
	}
}

func make3(t testing.TB, ps []view.Part, cs []view.Curve, dir view.Direction, o view.Options) *view.Drawing {
	t.Helper()
	d, err := view.Make(context.Background(), theKernel(t), ps, cs, dir, o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// sheet is a drawing on A4 at 1:5 with dimensions of the whole and a number at every
// body that is seen.
func sheet(t testing.TB, a *scene.Apart, d *view.Drawing, title string, size bool) draw.Sheet {
	t.Helper()
	const width, height = 210, 297
	p := view.Placing{Scale: 0.2, Of: d.Bounds.Center(), At: geom.V2(width, height).Scale(0.5)}
	s := draw.Sheet{Title: title, Width: width, Height: height, Layers: d.Layers(p, "")}
	box := geom.EmptyBox2().Add(p.Point(d.Bounds.Min)).Add(p.Point(d.Bounds.Max))
	var labels []view.Label
	n := 0
	for _, x := range a.Solids {
		if x.Kind != "body" {
			continue
		}
		n++
		if at, clear, ok := d.LabelPlace(x.ID); ok && clear*p.Scale > 0.5 {
			labels = append(labels, view.Label{Text: fmt.Sprint(n), Height: 3.5, Round: true, Target: p.Point(at)})
		}
	}
	placed, err := view.Labelled(box, labels, 10)
	if err != nil {
		t.Fatal(err)
	}
	pen := view.DimensionPen()
	notes := draw.Layer{Name: "labels", Operation: draw.Note, Pen: &pen}
	for _, l := range placed {
		notes.Items = append(notes.Items, l.Items()...)
	}
	if size {
		mm := func(v float64) string { return unit.FormatLength(v, unit.Metric) }
		for _, x := range []view.Dimension{
			{A: box.Min, B: geom.V2(box.Max.X, box.Min.Y), Along: view.Horizontal, Offset: -10, Scale: p.Scale},
			{A: geom.V2(box.Max.X, box.Min.Y), B: box.Max, Along: view.Vertical, Offset: 30, Scale: p.Scale},
		} {
			notes.Items = append(notes.Items, x.Items(mm)...)
		}
	}
	s.Layers = append(s.Layers, notes)
	return s
}

func TestHeron(t *testing.T) {
	a := apart(t, "heron-side-table", false)
	ps, _ := parts(a, 0)
	write(t, "heron-whole", sheet(t, a, make3(t, ps, nil, view.Isometric, view.Options{}), "Heron, whole", false))
	bodies := slices.DeleteFunc(slices.Clone(ps), func(p view.Part) bool { return strings.Contains(p.ID, "/") || strings.Contains(p.ID, "plug") })
	write(t, "heron-front", sheet(t, a, make3(t, bodies, nil, view.Front, view.Options{Hidden: true}), "Heron, from the front", true))
	ps, threads := parts(a, end(t, a, "glued"))
	write(t, "heron-apart", sheet(t, a, make3(t, ps, threads, view.Isometric, view.Options{}), "Heron, taken apart", false))
}

// The joint of a leg and a long rail, cut along its screw and seen at 1:1.
func TestHeronJoint(t *testing.T) {
	ctx, k := context.Background(), theKernel(t)
	a := apart(t, "heron-side-table", false)
	n := slices.IndexFunc(a.Solids, func(s scene.Solid) bool { return s.Kind == "screw" && strings.HasPrefix(s.Member, "leg") })
	if n < 0 {
		t.Fatal("no screw through a leg")
	}
	middle := a.Solids[n].Mesh.Bounds.Center()
	plane := geom.PlaneAt(middle, geom.V3(0, -1, 0)) // the screw lies along X
	ps, _ := parts(a, 0)
	var cut []view.Part
	var hatch []view.Curve
	n = 0
	for _, p := range ps {
		if p.Weight < 1 { // hardware stays whole, where it is not taken away
			if plane.Distance(p.Mesh.Bounds.Center()) <= 1 {
				cut = append(cut, p)
			}
			continue
		}
		h := view.Hatching{Angle: []float64{1, -1}[n%2] * math.Pi / 4, Spacing: []float64{2, 2, 3.2, 3.2}[n%4]}
		c, lines, keep, err := view.Cut(ctx, k, p, plane, h)
		if err != nil {
			t.Fatal(err)
		}
		if !keep {
			continue
		}
		if len(lines) > 0 {
			n++
		}
		cut, hatch = append(cut, c), append(hatch, lines...)
	}
	d := make3(t, cut, hatch, view.Front, view.Options{}).Detail(geom.V2(middle.X, middle.Z), 48)
	p := view.Placing{Scale: 1, Of: d.Bounds.Center(), At: geom.V2(60, 60)}
	pen := view.DimensionPen()
	s := draw.Sheet{Title: "Leg and long rail", Width: 120, Height: 120, Layers: d.Layers(p, "")}
	s.Layers = append(s.Layers, draw.Layer{Name: "circle", Operation: draw.Note, Pen: &pen, Items: []draw.Item{draw.Circle{Center: geom.V2(60, 60), Radius: 48 * p.Scale}}})
	write(t, "heron-joint", s)
}

func BenchmarkHeron(b *testing.B) {
	a := apart(b, "heron-side-table", false)
	for _, at := range []float64{0, end(b, a, "glued")} {
		ps, threads := parts(a, at)
		n := 0
		for _, p := range ps {
			n += len(p.Mesh.Triangles)
		}
		for _, flat := range []bool{true, false} {
			b.Run(fmt.Sprintf("at %.2f, %d parts, %d triangles, flat %v", at, len(ps), n, flat), func(b *testing.B) {
				measured(b, func() { make3(b, ps, threads, view.Isometric, view.Options{Flat: flat}) })
			})
		}
	}
}

// measured reports processor time, too: the machine may have others at work.
func measured(b *testing.B, f func()) {
	var from, to syscall.Rusage
	f() // the kernel is compiled
	syscall.Getrusage(syscall.RUSAGE_SELF, &from)
	n := 0
	for b.Loop() {
		f()
		n++
	}
	syscall.Getrusage(syscall.RUSAGE_SELF, &to)
	b.ReportMetric(float64(to.Utime.Nano()-from.Utime.Nano())/1e6/float64(n), "cpu-ms/op")
}

// BenchmarkField is a field of turned posts, one behind another: how work grows.
func BenchmarkField(b *testing.B) {
	post := mesh(b, solid.Revolve([]geom.Vec2{{X: 0, Y: 0}, {X: 20, Y: 0}, {X: 20, Y: 10}, {X: 8, Y: 20}, {X: 12, Y: 60}, {X: 0, Y: 60}}, []solid.Tag{1, 2, 3, 4, 5, 6}, 48))
	for _, n := range []int{4, 8, 16} {
		var ps []view.Part
		for i := range n * n {
			ps = append(ps, view.Part{ID: fmt.Sprint(i), Mesh: post, Motion: geom.V3(50*float64(i%n), 50*float64(i/n), 0)})
		}
		for _, flat := range []bool{true, false} {
			b.Run(fmt.Sprintf("%d triangles, flat %v", n*n*len(post.Triangles), flat), func(b *testing.B) {
				measured(b, func() { make3(b, ps, nil, view.Isometric, view.Options{Flat: flat}) })
			})
		}
	}
}
