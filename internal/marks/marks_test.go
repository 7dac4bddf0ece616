package marks_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/marks"
	"groundwork/internal/piece"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

var pieces = []string{"heron-side-table", "otter-stool", "badger-bench", "tern-wall-shelf"}

// work is the patterns of an example, worked out once.
type work struct {
	patterns []veneer.Pattern
	shop     *shop.Shop
	plain    *sheet.Result // without marks
}

var (
	worksMu sync.Mutex
	works   = map[string]*work{}
	kernel  = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{Instances: 1}) })
)

func example(t testing.TB, name string) *work {
	t.Helper()
	return exampleWith(t, name, nil)
}

// exampleWith is an example with other values of its parameters.
func exampleWith(t testing.TB, name string, set map[string]string) *work {
	t.Helper()
	worksMu.Lock()
	defer worksMu.Unlock()
	key := fmt.Sprint(name, set) // maps print in order of their keys
	if w, ok := works[key]; ok {
		return w
	}
	no := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	k, err := kernel()
	no(err)
	text, err := examples.Files.ReadFile("shop.yaml")
	no(err)
	s, err := shop.Parse("shop.yaml", text)
	no(err)
	text, err = examples.Files.ReadFile(name + ".yaml")
	no(err)
	doc, err := piece.Parse(name+".yaml", text)
	no(err)
	p, _, err := doc.Resolve(set)
	no(err)
	ctx := context.Background()
	j, err := joint.Place(ctx, k, p, s, joint.Options{})
	no(err)
	l, err := veneer.Lay(ctx, k, p, j.Contacts, j.Rounds, s, veneer.Options{})
	no(err)
	ps, _, err := veneer.Patterns(ctx, k, p, l, j, s, veneer.Options{})
	no(err)
	w := &work{patterns: ps, shop: s}
	w.plain = w.plan(t, sheet.Options{})
	works[key] = w
	return w
}

func (w *work) plan(t testing.TB, o sheet.Options) *sheet.Result {
	t.Helper()
	r, err := sheet.Plan(context.Background(), nil, w.patterns, w.shop, o)
	if err != nil {
		t.Fatal(err)
	}
	if cs := r.Clashes(w.patterns); len(cs) > 0 {
		t.Errorf("a layout clashes: %v", cs)
	}
	return r
}

// through is marks written, read and settled.
func through(t testing.TB, f marks.File, o sheet.Options) sheet.Options {
	t.Helper()
	got, err := marks.Parse("a.marks.yaml", marks.Format(f))
	if err != nil {
		t.Fatal(err)
	}
	got.Settle("a.marks.yaml", &o)
	return o
}

// same compares two results to the last digit, by what every exported field
// prints and by the drawings' numbers.
func same(t testing.TB, want, got *sheet.Result) {
	t.Helper()
	if d := cmp.Diff(want, got, cmpopts.IgnoreUnexported(sheet.Result{}), cmpopts.EquateEmpty(), cmpopts.IgnoreFields(sheet.Reserved{}, "Line")); d != "" {
		t.Errorf("not the same: %s", d)
	}
	if a, b := fmt.Sprintf("%v", want.Placements), fmt.Sprintf("%v", got.Placements); a != b || want.Bound() != got.Bound() {
		t.Error("placements differ in their last digits, or the bound does")
	}
}

// drawn are the cut sheets, for layouts that have to be the same byte for byte.
func drawn(t testing.TB, w *work, r *sheet.Result, o sheet.Options) string {
	t.Helper()
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	for i := range r.Blanks {
		d, err := r.Drawing(context.Background(), k, i, w.patterns, w.shop, o)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%v\n", d)
	}
	return b.String()
}

// A layout that is kept comes out again to the last digit, with the default
// budget and no clock, and whatever the seed: nothing is left to be searched.
func TestKeptLayoutsComeOutAgain(t *testing.T) {
	for _, name := range pieces {
		w := example(t, name)
		f := marks.Of(w.plain, w.patterns)
		o := through(t, f, sheet.Options{})
		r := w.plan(t, o)
		same(t, w.plain, r)
		if drawn(t, w, w.plain, sheet.Options{FaceDown: true}) != drawn(t, w, r, sheet.Options{FaceDown: true}) {
			t.Errorf("%s: drawings differ", name)
		}
		again := marks.Of(r, w.patterns)
		if d := cmp.Diff(string(marks.Format(f)), string(marks.Format(again))); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

// counted is a clock that counts how often it is asked: a search by the clock
// that can be repeated in a test.
func counted(of int) func() float64 {
	var mu sync.Mutex
	n := 0
	return func() float64 {
		mu.Lock()
		defer mu.Unlock()
		n++
		return float64(n) / float64(of)
	}
}

// A search that is given time, or stopped at once, holds, is no worse than the
// layout without, and can be kept.
func TestSearchesCanBeStoppedAndKept(t *testing.T) {
	consumed := func(r *sheet.Result) float64 {
		bought, _, returned := r.Areas()
		return bought - returned
	}
	for _, name := range pieces {
		w := example(t, name)
		for _, c := range []struct {
			name  string
			spent func() float64
		}{
			{"over before it begins", func() float64 { return 1 }},
			{"stopped on the way", counted(map[string]int{"tern-wall-shelf": 3000}[name])},
		} {
			if c.name == "stopped on the way" && name != "tern-wall-shelf" {
				continue // one is enough: the clock is asked thousands of times
			}
			var told []sheet.Better
			r := w.plan(t, sheet.Options{Spent: c.spent, Watch: sheet.Watch{Better: func(b sheet.Better) { told = append(told, b) }}})
			if c.name == "over before it begins" {
				same(t, w.plain, r)
			}
			if len(told) == 0 {
				t.Fatalf("%s, %s: nothing told", name, c.name)
			}
			last := told[len(told)-1]
			if math.Abs(last.Consumed-consumed(r)) > 1 || last.Blanks != len(r.Blanks) {
				t.Errorf("%s, %s: told %+v last, the result consumes %.0f on %d blanks", name, c.name, last, consumed(r), len(r.Blanks))
			}
			var used, blanks float64
			for _, b := range r.Blanks {
				used, blanks = used+b.Used, blanks+b.Size.X*b.Size.Y
			}
			if math.Abs(last.Density-used/blanks) > 1e-9 {
				t.Errorf("%s, %s: density %.4f told, is %.4f", name, c.name, last.Density, used/blanks)
			}
			if consumed(r) > consumed(w.plain)+1 {
				t.Errorf("%s, %s: consumes %.0f, %.0f without the time", name, c.name, consumed(r), consumed(w.plain))
			}
			kept := through(t, marks.Of(r, w.patterns), sheet.Options{})
			same(t, r, w.plan(t, kept))
			// A search that goes on from it ends with none worse.
			on := w.plan(t, sheet.Options{From: kept.Keep, Iterations: 1, Lines: -1, Spent: func() float64 { return 1 }})
			if consumed(on) > consumed(r)+1 {
				t.Errorf("%s, %s: going on, it consumes %.0f, %.0f before", name, c.name, consumed(on), consumed(r))
			}
			t.Logf("%s, %s: %d told, consumed %.4f m² of %.4f", name, c.name, len(told), consumed(r)/1e6, consumed(w.plain)/1e6)
		}
	}
}

// Knots where blanks lay, on all examples; and what then is kept, comes out again.
func TestReservedOnExamples(t *testing.T) {
	for _, name := range pieces {
		w := example(t, name)
		f := marks.File{Photographs: []marks.Photograph{{Sheet: "walnut-1", File: "a.jpg", Corners: [4][2]float64{{0, 9}, {9, 9}, {9, 0}, {0, 0}}}}}
		for _, s := range w.plain.Sheets {
			for i := range 3 {
				f.Reserved = append(f.Reserved, marks.Reserved{Sheet: s.ID, At: [2]float64{60 + 170*float64(i), 150 + 330*float64(i)}, Size: [2]float64{25, 40}, What: marks.Knot})
			}
		}
		r := w.plan(t, through(t, f, sheet.Options{}))
		clear(t, w, r)
		for i, p := range r.Placements {
			if p.Blank < 0 && w.plain.Placements[i].Blank >= 0 {
				t.Errorf("%s: %s is left out", name, w.patterns[i].ID)
			}
		}
		kept := f.Keeping(r, w.patterns)
		if len(kept.Photographs) != 1 || len(kept.Reserved) != len(f.Reserved) {
			t.Errorf("%s: %+v", name, kept)
		}
		same(t, r, w.plan(t, through(t, kept, sheet.Options{})))
		bought, _, returned := r.Areas()
		before, _, back := w.plain.Areas()
		t.Logf("%s: %d knots, consumed %.3f m², %.3f without", name, len(f.Reserved), (bought-returned)/1e6, (before-back)/1e6)
	}
}

// clear checks that no pattern lies on a reserved area of its sheet, by boxes
// and points, without the verifier.
func clear(t testing.TB, w *work, r *sheet.Result) {
	t.Helper()
	for _, p := range r.Placements {
		if p.Blank < 0 {
			continue
		}
		s := r.Sheets[r.Blanks[p.Blank].Sheet]
		ps := r.Outline(w.patterns, p).Map(func(q geom.Vec2) geom.Vec2 { return r.OnSheet(p.Blank, q) })
		for _, k := range s.Reserved {
			box := geom.Box2{Min: k.At, Max: k.At.Add(k.Size)}
			if !ps.Bounds().Overlaps(box) {
				continue
			}
			for i := range 21 {
				for j := range 21 {
					if q := k.At.Add(geom.V2(k.Size.X*float64(i)/20, k.Size.Y*float64(j)/20)); ps.Contains(q) {
						t.Errorf("%s lies on the %s at %v of %s", w.patterns[p.Pattern].ID, k.What, k.At, s.ID)
						return
					}
				}
			}
		}
	}
}

// Some patterns of an example pinned where they lie, others round them, with
// knots anywhere: everything holds, and what can be pinned is.
func TestPinsOnExamples(t *testing.T) {
	few(t, 12)
	rapid.Check(t, func(rt *rapid.T) {
		w := example(t, rapid.SampledFrom(pieces).Draw(rt, "piece"))
		f := marks.Of(w.plain, w.patterns)
		var blanks []marks.Blank
		pins := map[string]bool{}
		for _, b := range f.Blanks {
			if !rapid.Bool().Draw(rt, "keep") {
				continue
			}
			if b.Rest = rapid.Bool().Draw(rt, "rest"); b.Rest {
				b.Patterns = slices.DeleteFunc(b.Patterns, func(marks.Pattern) bool { return rapid.Bool().Draw(rt, "drop") })
			}
			for _, p := range b.Patterns {
				pins[p.Pattern] = true
			}
			blanks = append(blanks, b)
		}
		f.Blanks = blanks
		for range rapid.IntRange(0, 3).Draw(rt, "knots") {
			f.Reserved = append(f.Reserved, marks.Reserved{Sheet: w.plain.Sheets[0].ID, What: marks.Split, Size: [2]float64{10, 60},
				At: [2]float64{rapid.Float64Range(0, 600).Draw(rt, "x"), rapid.Float64Range(0, 1500).Draw(rt, "y")}})
		}
		r := w.plan(t, through(t, f, sheet.Options{Iterations: 2, Lines: -1}))
		clear(t, w, r)
		for i, p := range r.Placements {
			was := w.plain.Placements[i]
			if id := w.patterns[i].ID; pins[id] && (p.At != was.At || p.Turn != was.Turn) {
				t.Errorf("%s is pinned at %v and lies at %v", id, was.At, p.At)
			}
			if p.Blank < 0 && was.Blank >= 0 {
				t.Errorf("%s is left out", w.patterns[i].ID)
			}
		}
		if fs := slices.DeleteFunc(slices.Clone(r.Findings), func(q finding.Finding) bool {
			return !strings.HasPrefix(q.Code, "pin") && !strings.HasPrefix(q.Code, "kept")
		}); len(fs) > 0 {
			t.Errorf("a pin that held does not: %v", fs)
		}
		if t.Failed() {
			rt.Fatal("failed")
		}
	})
}

// few lets a test that lays out whole sheets make do with fewer random cases
// than rapid's own 100, unless another number is asked for.
func few(t *testing.T, n int) {
	f := flag.Lookup("rapid.checks")
	if old := f.Value.String(); old == f.DefValue {
		if err := f.Value.Set(fmt.Sprint(n)); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Value.Set(old) })
	}
}
